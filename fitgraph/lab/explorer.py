"""What can I build with what I own, and why not the rest?"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import ipywidgets as widgets

from fitgraph.draw import Nest, main_nest, nests
from fitgraph.draw.style import SIGNS, page_css
from fitgraph.lab import tables
from fitgraph.lab.debounce import Debounce
from fitgraph.lab.form import Entries, FormError, part_label, read_entries
from fitgraph.lab.limits import limit_lines, no_build_lines
from fitgraph.lab.opened import OpenCatalogue
from fitgraph.lab.picker import PartPicker
from fitgraph.lab.standing import Standing, nearest_combination, standings, together
from fitgraph.mechanics.materials import MATERIALS
from fitgraph.model import Verdict
from fitgraph.solve import NamingError, Request, Services
from fitgraph.solve.engine import SORTS, Build
from fitgraph.solve.limits import Counted

#: Builds shown at once.
SHOWN = 8

#: Cross-sections shown for one combination.
_MOST_SECTIONS = 4

_SERVICES = (
    ("none", Services.NONE),
    ("on what I own", Services.OWNED),
    ("on anything", Services.ANY),
)
_SORT_WORDS = {"price": "cheapest first", "mass": "lightest first", "strength": "strongest first"}
_WIDE = {"description_width": "8.5em"}


def _html(value: str = "") -> widgets.HTML:
    return widgets.HTML(value=value, layout=widgets.Layout(width="auto", margin="0"))


def _grid(children: list[widgets.Widget], least: str) -> widgets.GridBox:
    return widgets.GridBox(
        children,
        layout=widgets.Layout(
            grid_template_columns=f"repeat(auto-fill, minmax({least}, 1fr))",
            grid_gap="2px 14px",
            width="100%",
        ),
    )


def _heading(text: str) -> widgets.HTML:
    return _html(tables.wrap(f"<h3>{text}</h3>"))


class BuildExplorer(widgets.VBox):
    """Fields for what somebody owns and for their limits; under them, live, what fits.

    Parameters
    ----------
    opened : OpenCatalogue
        A catalogue that :func:`fitgraph.lab.open_catalogue` has opened.
    have : sequence of str
        Stock numbers to begin with.
    """

    def __init__(self, opened: OpenCatalogue, have: tuple[str, ...] = ()) -> None:
        super().__init__()
        self.opened = opened
        self.request: Request | None = None
        self.counted: Counted | None = None
        self.possible: Counted | None = None
        self.builds: list[Build] = []
        self.standing: dict[str, tuple[Standing, ...]] = {}
        self._asked = 0
        self._why_asked = 0
        self._listing = False
        self._tasks: set[asyncio.Task[None]] = set()
        self._counting: asyncio.Lock | None = None
        self._make_fields()
        self._make_answers()
        for sku in have:
            part = opened.catalogue.parts.get(sku)
            if part is not None:
                self.pickers[part.role].field.value = part_label(part)
        self.add_class("fg-form")
        self.children = self._arranged()
        self._watch()
        self.refresh()

    def __repr__(self) -> str:
        """Return what a notebook shows in its place until the cell is run."""
        return "Run this cell to see the fields, and what fits."

    # ------------------------------------------------------------ what it is made of

    def _make_fields(self) -> None:
        catalogue = self.opened.catalogue
        self.pickers = {role: PartPicker(catalogue, role) for role in catalogue.vocabulary.roles}
        chosen_by = [r for r in catalogue.vocabulary.roles.values() if r.by_material]
        materials = {p.material for r in chosen_by for p in catalogue.of(r.name) if p.material}
        families = sorted({MATERIALS[m].family for m in materials})
        self.budget = widgets.Text(
            description="Budget", placeholder=f"e.g. 250 {catalogue.vocabulary.currency}",
            style=_WIDE, layout=widgets.Layout(width="auto"),
        )
        self.max_mass = widgets.Text(
            description="Mass limit", placeholder="e.g. 3.6 kg or 3600 g",
            style=_WIDE, layout=widgets.Layout(width="auto"),
        )
        of = f" of {', '.join(r.title for r in chosen_by)}" if chosen_by else ""
        self.material = widgets.Dropdown(
            options=[("any", ""), *((f, f) for f in families)], description=f"Material{of}",
            style=_WIDE, layout=widgets.Layout(width="auto"),
        )
        self.services = widgets.Dropdown(
            options=_SERVICES, value=Services.OWNED, description="Workshop work",
            style=_WIDE, layout=widgets.Layout(width="auto"),
        )
        self.in_stock = widgets.Checkbox(
            description="Only what is in stock", indent=False,
            layout=widgets.Layout(width="auto", margin="2px 2px 2px 9em"),
        )
        self.more = widgets.ToggleButton(
            description="Adapters and extras I own",
            tooltip="Show or hide the fields for adapters and extras",
            layout=widgets.Layout(width="auto", margin="4px 2px"),
        )
        self.sort = widgets.Dropdown(
            options=[(_SORT_WORDS[s], s) for s in SORTS], description="Sort",
            layout=widgets.Layout(width="16em"),
        )
        self.shown_build = widgets.Dropdown(
            options=[], description="Draw no.", layout=widgets.Layout(width="12em")
        )
        roles = list(catalogue.vocabulary.roles.values())
        self.role = widgets.Dropdown(
            options=[(r.title, r.name) for r in roles],
            value=next((r.name for r in roles if r.by_material), roles[0].name),
            description="Role", layout=widgets.Layout(width="auto"),
        )
        self.find = widgets.Text(
            description="Find", placeholder="part of a name or number",
            layout=widgets.Layout(width="auto"),
        )
        self.part = widgets.Select(
            options=[], description="Part", rows=9, layout=widgets.Layout(width="auto")
        )

    def _make_answers(self) -> None:
        self.problems = _html()
        self.number = _html()
        self.table = _html()
        self.build_section = _html()
        self.roles_table = _html()
        self.why_text = _html()
        self.changes_text = _html()
        self.why_section = _html()

    def _arranged(self) -> tuple[widgets.Widget, ...]:
        roles = self.opened.catalogue.vocabulary.roles
        usual = [p for r, p in self.pickers.items() if roles[r].fill.free]
        others = [p for r, p in self.pickers.items() if not roles[r].fill.free]
        # A button, because the headers of ipywidgets' accordion cannot be reached by keyboard.
        extras = _grid(others, "300px")
        extras.layout.display = "none"
        self.more.observe(
            lambda change: setattr(extras.layout, "display", "grid" if change["new"] else "none"),
            names="value",
        )
        chooser = widgets.VBox(
            [self.role, self.find, self.part],
            layout=widgets.Layout(flex="1 1 300px", min_width="280px", max_width="460px"),
        )
        reason = widgets.VBox(
            [self.why_text, self.changes_text],
            layout=widgets.Layout(flex="3 1 380px", min_width="320px"),
        )
        return (
            _html(f"<style>{page_css()}</style>"),
            _heading("What I own"),
            _grid(usual, "300px"),
            self.more,
            extras,
            _heading("Limits"),
            _grid(
                [self.budget, self.max_mass, self.material, self.services, self.in_stock], "300px"
            ),
            self.problems,
            _heading("What fits"),
            self.number,
            widgets.HBox(
                [self.sort, self.shown_build], layout=widgets.Layout(flex_flow="row wrap")
            ),
            self.table,
            self.build_section,
            _heading("What is left of each role"),
            self.roles_table,
            _heading("Why, or why not, this part?"),
            widgets.Box(
                [chooser, reason],
                layout=widgets.Layout(display="flex", flex_flow="row wrap", grid_gap="6px 18px"),
            ),
            self.why_section,
        )

    def _watch(self) -> None:
        self._ask_soon = Debounce(self.refresh)
        self._list_soon = Debounce(self._list_parts)
        fields = [p.field for p in self.pickers.values()]
        for field in (*fields, self.budget, self.max_mass, self.material, self.services,
                      self.in_stock, self.sort):
            field.observe(self._ask_soon, names="value")
        self.find.observe(self._list_soon, names="value")
        self.role.observe(self._list_soon, names="value")
        self.part.observe(self._explain_soon, names="value")
        self.shown_build.observe(self._draw_soon, names="value")

    # ------------------------------------------------------------ asking

    @property
    def entries(self) -> Entries:
        """Return the form as it is filled in."""
        return Entries(
            {role: picker.value for role, picker in self.pickers.items()},
            self.budget.value,
            self.max_mass.value,
            self.material.value,
            self.in_stock.value,
            self.services.value,
        )

    @contextmanager
    def _in_words(self, place: widgets.HTML) -> Iterator[None]:
        """Show what goes wrong where the answer would stand, never as a traceback."""
        try:
            yield
        except (FormError, NamingError) as error:
            place.value = tables.wrap(tables.alert(str(error)))
        except Exception as error:  # a person at a counter can do nothing with a traceback
            place.value = tables.wrap(
                tables.alert(
                    f"This could not be worked out ({type(error).__name__}: {error}). "
                    "Take the last entry back; if it stays, report it with your entries."
                )
            )

    def _run(self, steps: Callable[[], list[tuple[bool, Callable[[], Callable[[], None]]]]],
             current: Callable[[], bool], place: widgets.HTML) -> None:
        """Run the steps of an answer one after the other, and drop it once it is outdated.

        A step that is slow computes beside the event loop, so that the fields stay alive; what
        it returns then shows the result.
        """

        def at_once() -> None:
            with self._in_words(place):
                for _, compute in steps():
                    compute()()

        async def in_turn() -> None:
            with self._in_words(place):
                for slow, compute in steps():
                    await asyncio.sleep(0)
                    if not current():
                        return
                    if slow:
                        if self._counting is None:
                            self._counting = asyncio.Lock()
                        async with self._counting:
                            if not current():
                                return
                            show = await asyncio.to_thread(compute)
                    else:
                        show = compute()
                    if not current():
                        return
                    show()

        try:
            loop = asyncio.get_running_loop()
        except RuntimeError:
            at_once()
            return
        task = loop.create_task(in_turn())
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    def refresh(self) -> None:
        """Read the form and answer it."""
        try:
            request = read_entries(self.entries, self.opened.catalogue)
        except FormError as error:
            self.problems.value = tables.wrap(
                tables.alert(f"{error}\nThe answers below are still those to the entries before.")
            )
            return
        self.problems.value = ""
        self.request = request
        self._asked += 1
        asked = self._asked
        self._run(lambda: self._steps(request), lambda: asked == self._asked, self.problems)

    def _steps(self, request: Request) -> list[tuple[bool, Callable[[], Callable[[], None]]]]:
        engine, vocabulary = self.opened.engine, self.opened.catalogue.vocabulary
        limited = request.budget is not None or request.max_mass_g is not None
        owned = {self.opened.catalogue.parts[sku].role: sku for sku in request.have}

        def count() -> Callable[[], None]:
            counted = engine.count(request)

            def show() -> None:
                self.counted, self.possible = counted, None
                self.number.value = tables.wrap(tables.count_html(counted, None))

            return show

        def count_possible() -> Callable[[], None]:
            possible = engine.count_possible(request)

            def show() -> None:
                self.possible = possible
                self.number.value = tables.wrap(tables.count_html(self.counted, possible))

            return show

        def waiting() -> Callable[[], None]:
            return lambda: setattr(
                self.number, "value", tables.wrap(tables.count_html(None, None))
            )

        def builds() -> Callable[[], None]:
            sort = self.sort.value
            found = engine.best(request, sort=sort, limit=SHOWN)
            text = tables.builds_html(found, frozenset(request.have), sort, vocabulary)
            if not found:
                text += self._why_none(request)

            def show() -> None:
                self.builds = found
                self.table.value = tables.wrap(text)
                self._list_builds()

            return show

        def roles() -> Callable[[], None]:
            standing = standings(engine, request)

            def show() -> None:
                self.standing = standing
                self.roles_table.value = tables.wrap(
                    tables.roles_html(standing, owned, vocabulary)
                )
                self._list_parts()

            return show

        counts = [(limited, count), (limited, count_possible)]
        rest = [(False, builds), (False, roles)]
        return [(False, waiting), *rest, *counts] if limited else [*counts, *rest]

    def _why_none(self, request: Request) -> str:
        """Return why no build is certain: what is owned, or else the limits."""
        catalogue = self.opened.catalogue
        explanation = self.opened.explainer.why(request.have)
        if explanation.verdict is Verdict.FITS:
            return tables.lines_html(no_build_lines(self.opened.engine, request))
        return tables.why_html(explanation, catalogue) + tables.changes_html(
            explanation.changes, catalogue
        )

    # ------------------------------------------------------------ drawing a build

    def _list_builds(self) -> None:
        numbers = list(range(1, len(self.builds) + 1))
        self.shown_build.disabled = not numbers
        if list(self.shown_build.options) != numbers:
            self.shown_build.options = numbers
        if self.shown_build.value is None and numbers:
            self.shown_build.value = numbers[0]
        self._draw_soon()

    def _draw_soon(self, _change: object = None) -> None:
        with self._in_words(self.build_section):
            number = self.shown_build.value
            if not self.builds or number is None:
                self.build_section.value = ""
                return
            vocabulary = self.opened.catalogue.vocabulary
            found = nests(self.builds[number - 1].options, vocabulary)
            first = main_nest(found, vocabulary)
            ordered = sorted(found, key=lambda n: n is not first)[:_MOST_SECTIONS]
            self.build_section.value = tables.wrap(tables.sections_html(ordered, vocabulary))

    # ------------------------------------------------------------ why a part

    def _list_parts(self) -> None:
        with self._in_words(self.why_text):
            wanted = self.find.value.strip().casefold()
            order = {Verdict.FAILS: 0, Verdict.UNKNOWN: 1, Verdict.FITS: 2}
            listed = sorted(
                (
                    s
                    for s in self.standing.get(self.role.value, ())
                    if wanted in part_label(s.part).casefold()
                ),
                key=lambda s: (order[s.verdict], not s.kept_out),
            )
            options = [
                (
                    f"{SIGNS[s.verdict]} {part_label(s.part)}"
                    + (f" ({s.kept_out})" if s.kept_out else ""),
                    s.part.sku,
                )
                for s in listed
            ]
            chosen = self.part.value
            if tuple(options) != tuple(self.part.options):
                self._listing = True
                try:
                    self.part.options = options
                    skus = [sku for _, sku in options]
                    self.part.value = chosen if chosen in skus else (skus[0] if skus else None)
                finally:
                    self._listing = False
            self._explain_soon()

    def _explain_soon(self, _change: object = None) -> None:
        if self._listing:
            return
        self._why_asked += 1
        asked, question = self._why_asked, self._asked
        standing = next(
            (s for s in self.standing.get(self.role.value, ()) if s.part.sku == self.part.value),
            None,
        )
        if standing is None or self.request is None:
            self.why_text.value = tables.wrap("<p>No part of this role is called that.</p>")
            self.changes_text.value = self.why_section.value = ""
            return
        request = self.request
        self._run(
            lambda: self._why_steps(request, standing),
            lambda: asked == self._why_asked and question == self._asked,
            self.why_text,
        )

    def _why_steps(
        self, request: Request, standing: Standing
    ) -> list[tuple[bool, Callable[[], Callable[[], None]]]]:
        catalogue, explainer = self.opened.catalogue, self.opened.explainer
        skus = together(request.have, standing.part, catalogue)

        def reason() -> Callable[[], None]:
            explanation = explainer.why(skus, with_changes=False)
            lines = limit_lines(self.opened.engine, request, standing)
            if standing.services and standing.verdict > explanation.verdict:
                done = " and ".join(
                    catalogue.vocabulary.services[s].title for s in standing.services
                )
                lines.append(f"With workshop work ({done}) it goes.")
            found = self._telling(nests(nearest_combination(explainer, skus),
                                        catalogue.vocabulary), standing.part.role)

            def show() -> None:
                self.why_text.value = tables.wrap(
                    tables.why_html(explanation, catalogue) + tables.lines_html(lines)
                )
                self.changes_text.value = (
                    ""
                    if explanation.verdict is Verdict.FITS
                    else tables.wrap(tables.changes_html(None, catalogue))
                )
                self.why_section.value = tables.wrap(
                    tables.sections_html(found, catalogue.vocabulary)
                )

            return show

        def change() -> Callable[[], None]:
            explanation = explainer.why(skus)

            def show() -> None:
                if explanation.verdict is not Verdict.FITS:
                    self.changes_text.value = tables.wrap(
                        tables.changes_html(explanation.changes, catalogue)
                    )

            return show

        return [(False, reason), (True, change)]

    def _telling(self, found: tuple[Nest, ...], role: str) -> list[Nest]:
        """Return the sections that show the part or a clash, the clashes first."""
        telling = [
            n
            for n in found
            if n.verdict is not Verdict.FITS or role in {r.role for r in n.rings}
        ]
        return sorted(telling, key=lambda n: n.verdict)[:_MOST_SECTIONS]
