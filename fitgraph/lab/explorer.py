"""What can I build with what I own, and why not the rest?"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import ipywidgets as widgets
import scipy.stats  # noqa: F401  loaded now, so that no first answer waits for it

from fitgraph.draw import Nest, main_nest, nests
from fitgraph.draw.product import product_svg
from fitgraph.draw.style import SIGNS
from fitgraph.explain.kept_out import limit_lines, no_build_lines
from fitgraph.explain.standing import PartStanding, nearest_combination, standings, together
from fitgraph.lab import tables
from fitgraph.lab.answering import Answering, Step
from fitgraph.lab.debounce import Debounce
from fitgraph.lab.form import STILL_BEFORE, Entries, FormError, part_label, read_entries
from fitgraph.lab.front_panel import FrontPanel
from fitgraph.lab.limit_field import LimitField
from fitgraph.lab.look import (
    LABEL,
    field_layout,
    fold,
    grid,
    heading,
    html,
    note,
    sides,
    style,
)
from fitgraph.lab.opened import OpenCatalogue
from fitgraph.lab.picker import PartsForm
from fitgraph.lab.pressable import Pressable
from fitgraph.lab.session import SessionBar, SessionError, in_kernel
from fitgraph.lab.ways_panel import WaysPanel
from fitgraph.mechanics.materials import MATERIALS
from fitgraph.model import Verdict
from fitgraph.solve import Request, Services
from fitgraph.solve.engine import SORTS, Build
from fitgraph.solve.first_guess import first_guess
from fitgraph.solve.limits import Counted
from fitgraph.solve.query import ask
from fitgraph.units import major, parse_mass, parse_money

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
_VERDICT_WORDS = {
    "all": None,
    "fits": Verdict.FITS,
    "cannot be told": Verdict.UNKNOWN,
    "does not fit": Verdict.FAILS,
}

#: Steps of the sliders: in major currency units and in g.
_MONEY_STEP, _MASS_STEP_G = 5, 20


class BuildExplorer(Answering):
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
        self.standing: dict[str, tuple[PartStanding, ...]] = {}
        self._asked = 0
        self._why_asked = 0
        self._listing = False
        self._make_fields()
        self._make_answers()
        for sku in have:
            part = opened.catalogue.parts.get(sku)
            if part is not None:
                self.pickers[part.role].field.value = part_label(part)
        key = f"BuildExplorer {opened.catalogue.name} {have}" if in_kernel() else None
        self.session = SessionBar(self, "builds", key)
        self.children = self._arranged()
        self._watch()
        self.refresh()

    def __repr__(self) -> str:
        """Return what a notebook shows in its place until the cell is run."""
        return "Run this cell to see the fields, and what fits."

    # ------------------------------------------------------------ what it is made of

    def _make_fields(self) -> None:
        catalogue = self.opened.catalogue
        self.form = PartsForm(catalogue, "Adapters and extras I own")
        self.pickers, self.more = self.form.pickers, self.form.more
        chosen_by = [r for r in catalogue.vocabulary.roles.values() if r.by_material]
        materials = {p.material for r in chosen_by for p in catalogue.of(r.name) if p.material}
        families = sorted({MATERIALS[m].family for m in materials})
        self.budget_field, self.mass_field = self._limit_fields()
        self.budget, self.max_mass = self.budget_field.text, self.mass_field.text
        of = f" of {', '.join(r.title for r in chosen_by)}" if chosen_by else ""
        self.material = widgets.Dropdown(
            options=[("any", ""), *((f, f) for f in families)],
            description=f"Material{of}",
            style=LABEL,
            layout=field_layout(),
        )
        self.services = widgets.Dropdown(
            options=_SERVICES,
            value=Services.OWNED,
            description="Workshop work",
            style=LABEL,
            layout=field_layout(),
        )
        self.in_stock = widgets.Checkbox(
            description="Only what is in stock",
            indent=False,
            layout=widgets.Layout(width="auto", margin="2px 2px 2px 9em"),
        )
        self.more = widgets.ToggleButton(
            description="Adapters and extras I own",
            tooltip="Show or hide the fields for adapters and extras",
            layout=widgets.Layout(width="auto", margin="4px 2px"),
        )
        self.sort = widgets.Dropdown(
            options=[(_SORT_WORDS[s], s) for s in SORTS],
            description="Sort",
            layout=widgets.Layout(width="16em"),
        )
        self.shown_build = widgets.Dropdown(
            options=[], description="Draw no.", layout=widgets.Layout(width="12em")
        )
        roles = list(catalogue.vocabulary.roles.values())
        self.role = widgets.Dropdown(
            options=[(r.title, r.name) for r in roles],
            value=next((r.name for r in roles if r.by_material), roles[0].name),
            description="Role",
            layout=widgets.Layout(width="auto"),
        )
        self.which = widgets.Dropdown(
            options=list(_VERDICT_WORDS), description="Show", layout=field_layout()
        )
        self.find = widgets.Text(
            description="Find",
            placeholder="part of a name or number",
            layout=widgets.Layout(width="auto"),
        )
        self.part = widgets.Select(
            options=[], description="Part", rows=9, layout=widgets.Layout(width="auto")
        )

    def _limit_fields(self) -> tuple[LimitField, LimitField]:
        """Return the fields for budget and mass, their sliders as wide as builds go."""
        vocabulary = self.opened.catalogue.vocabulary
        ends = self.opened.ends
        prices = [major(b.price, vocabulary.minor_digits) for b in ends] or [0.0]
        masses = [b.mass_g for b in ends if b.mass_g is not None] or [0.0]

        def reach(values: Sequence[float], step: int) -> tuple[int, int]:
            least, most = min(values), max(values)
            ends = (math.floor(least / step) * step, math.ceil(1.25 * most / step) * step)
            return ends[0], max(ends[1], ends[0] + step)

        def money(text: str) -> float:
            digits = vocabulary.minor_digits
            return major(parse_money(text, digits, vocabulary.currency), digits)

        least, most = reach(prices, _MONEY_STEP)
        budget = LimitField(
            "Budget",
            vocabulary.currency,
            f"no limit; e.g. 250 {vocabulary.currency}",
            money,
            least,
            most,
            _MONEY_STEP,
        )
        least, most = reach(masses, _MASS_STEP_G)
        mass = LimitField(
            "Mass limit",
            "g",
            "no limit; e.g. 3.6 kg or 3600 g",
            parse_mass,
            least,
            most,
            _MASS_STEP_G,
        )
        return budget, mass

    def _make_answers(self) -> None:
        self.product = Pressable()
        self.problems = html()
        self.number = html()
        self.table = html()
        self.build_section = html()
        self.roles_table = html()
        self.why_text = html()
        self.changes_text = html()
        self.why_section = html()
        self.front_panel = FrontPanel(self.opened, self._keep)
        self.ways_panel = WaysPanel(self.opened, self)

    def _arranged(self) -> tuple[widgets.Widget, ...]:
        chooser = [
            note("How many builds each leads to, budget and mass limit aside."),
            grid([self.role, self.which], "220px"),
            self.find,
            self.part,
        ]
        left = [
            heading("What I own"),
            note(
                "Press a role to go to its field and to see its parts below; the part looked at "
                "there stands in the drawing too, with its sign."
            ),
            self.product,
            self.form,
            heading("Limits"),
            grid([self.budget_field, self.mass_field], "300px"),
            grid([self.material, self.services, self.in_stock], "300px"),
        ]
        right = [
            heading("What fits"),
            self.sort,
            self.ways_panel,
            fold("The first builds, one by one", [self.shown_build, self.table]),
            fold("The cross-section of one", [self.build_section]),
        ]
        self.number.add_class("fg-verdict")
        return (
            style(self),
            self.number,
            self.problems,
            sides(left, right),
            fold("Price against mass", [self.front_panel], is_open=True),
            sides(
                [fold("What is left of each role", [self.roles_table], is_open=True)],
                [
                    fold(
                        "Each part, and why or why not",
                        [*chooser, self.why_text, self.changes_text, self.why_section],
                        is_open=True,
                    )
                ],
                halves=True,
            ),
            self.session,
        )

    def _watch(self) -> None:
        self.product.observe(self._pointed, names="pressed")
        self._ask_soon = Debounce(self.refresh)
        self._list_soon = Debounce(self._list_parts)
        fields = [p.field for p in self.pickers.values()]
        for field in (
            *fields,
            self.budget,
            self.max_mass,
            self.material,
            self.services,
            self.in_stock,
            self.sort,
        ):
            field.observe(self._ask_soon, names="value")
        self.find.observe(self._list_soon, names="value")
        self.role.observe(self._list_soon, names="value")
        self.which.observe(self._list_soon, names="value")
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

    def state(self) -> dict[str, Any]:
        """Return the entries and the picks as plain data."""
        return {
            "parts": self.form.entries,
            "budget": self.budget.value,
            "max_mass": self.max_mass.value,
            "material": self.material.value,
            "services": self.services.value.value,
            "in_stock": self.in_stock.value,
            "sort": self.sort.value,
            "role": self.role.value,
            "picks": [dict(p) for p in self.front_panel.picks],
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Enter what :meth:`state` returned.

        Raises
        ------
        SessionError
            If it names something that this catalogue does not have.
        """
        try:
            self.form.enter(state.get("parts", {}))
            self.budget.value = str(state.get("budget", ""))
            self.max_mass.value = str(state.get("max_mass", ""))
            self.material.value = state.get("material", "")
            self.services.value = Services(state.get("services", Services.OWNED.value))
            self.in_stock.value = bool(state.get("in_stock", False))
            self.sort.value = state.get("sort", self.sort.value)
            self.role.value = state.get("role", self.role.value)
        except SessionError:
            raise
        except Exception as error:
            raise SessionError(f"An entry of this session does not fit here: {error}") from None
        self.front_panel.want(state.get("picks", []))

    def _keep(self) -> None:
        if hasattr(self, "session"):
            self.session.changed()

    def refresh(self) -> None:
        """Read the form and answer it."""
        try:
            request = read_entries(self.entries, self.opened.catalogue)
        except FormError as error:
            self._tell(error.at)
            rest = "\n".join(s for s in str(error).splitlines() if s not in error.at.values())
            self.problems.value = tables.wrap(
                tables.alert(f"{rest}\n{STILL_BEFORE}" if rest else STILL_BEFORE)
            )
            return
        self._tell({})
        self.problems.value = ""
        self.request = request
        self._draw_product(None)
        self._keep()
        self._asked += 1
        asked = self._asked
        self.run(lambda: self._steps(request), lambda: asked == self._asked, self.problems)
        self.front_panel.ask(request)

    def _tell(self, at: Mapping[str, str]) -> None:
        """Say at each field what is wrong with its entry."""
        self.form.tell(at)
        self.budget_field.problem.tell(at.get("budget", ""))
        self.mass_field.problem.tell(at.get("max_mass", ""))

    def _steps(self, request: Request) -> list[Step]:
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

        def guess() -> Callable[[], None]:
            about = first_guess(ask(engine.space, request))
            text = tables.count_html(about, None)

            def show() -> None:
                self.number.value = tables.wrap(text)

            return show

        def builds() -> Callable[[], None]:
            sort = self.sort.value
            found = engine.best(request, sort=sort, limit=SHOWN)
            text = tables.builds_html(found, frozenset(request.have), sort, vocabulary)
            if not found:
                text += self._why_none(request)

            text = tables.with_cards(text, self.opened.catalogue)

            def show() -> None:
                self.builds = found
                self.table.value = tables.wrap(text)
                self._list_builds()

            return show

        def ways() -> Callable[[], None]:
            return self.ways_panel.find(request, self.sort.value)

        def roles() -> Callable[[], None]:
            standing = standings(engine, request)

            def show() -> None:
                self.standing = standing
                text = tables.roles_html(standing, owned, vocabulary)
                self.roles_table.value = tables.wrap(tables.with_cards(text, self.opened.catalogue))
                self._list_parts()

            return show

        # The count is there with the page; what else is asked follows it.
        counts = [(limited, count), (True, count_possible)]
        rest = [(True, builds), (True, ways), (True, roles)]
        return [(False, guess), *rest, *counts] if limited else [*counts, *rest]

    def _why_none(self, request: Request) -> str:
        """Return why no build is certain: what is owned, or else the limits."""
        catalogue = self.opened.catalogue
        explanation = self.opened.explainer.why(request.have)
        if explanation.verdict is Verdict.FITS:
            return tables.lines_html(no_build_lines(self.opened.engine, request))
        return tables.why_html(explanation, catalogue) + tables.changes_html(
            explanation.changes, catalogue
        )

    # ------------------------------------------------------------ the product

    def _pointed(self, change: Mapping[str, Any]) -> None:
        """Go to the field of the role that was pressed, and list its parts."""
        _, role, _ = change["new"]
        if role in self.pickers:
            self.role.value = role
            self.form.go_to(role)

    def _draw_product(self, looked_at: PartStanding | None) -> None:
        """Show the product with what is owned, and the part that is looked at."""
        catalogue = self.opened.catalogue
        have = () if self.request is None else self.request.have
        named = {catalogue.parts[sku].role: sku for sku in have}
        verdicts = {}
        if looked_at is not None:
            named[looked_at.part.role] = looked_at.part.sku
            verdicts[looked_at.part.role] = looked_at.verdict
        self.product.svg = product_svg(catalogue.vocabulary, named, verdicts)
        self.product.marked = [self.role.value]

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
        with self.in_words(self.build_section):
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
        with self.in_words(self.why_text):
            wanted = self.find.value.strip().casefold()
            only = _VERDICT_WORDS[self.which.value]
            listed = sorted(
                (
                    s
                    for s in self.standing.get(self.role.value, ())
                    if wanted in part_label(s.part).casefold() and only in (None, s.verdict)
                ),
                key=lambda s: (-s.verdict, bool(s.kept_out), -s.builds),
            )
            options = [
                (
                    f"{SIGNS[s.verdict]} {s.part.sku}"
                    + (f": {tables.builds_text(s.builds)}" if s.builds else "")
                    + (f" ({s.kept_out})" if s.kept_out else "")
                    + (f" · {s.part.name}" if s.part.name else ""),
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
        self._draw_product(standing)
        if standing is None or self.request is None:
            self.why_text.value = tables.wrap("<p>No part of this role is called that.</p>")
            self.changes_text.value = self.why_section.value = ""
            return
        request = self.request
        self.run(
            lambda: self._why_steps(request, standing),
            lambda: asked == self._why_asked and question == self._asked,
            self.why_text,
        )

    def _why_steps(self, request: Request, standing: PartStanding) -> list[Step]:
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
            found = self._telling(
                nests(nearest_combination(explainer, skus), catalogue.vocabulary),
                standing.part.role,
            )

            def show() -> None:
                told = tables.why_html(explanation, catalogue) + tables.lines_html(lines)
                self.why_text.value = tables.wrap(tables.with_cards(told, catalogue))
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
                    told = tables.changes_html(explanation.changes, catalogue)
                    self.changes_text.value = tables.wrap(tables.with_cards(told, catalogue))

            return show

        return [(False, reason), (True, change)]

    def _telling(self, found: tuple[Nest, ...], role: str) -> list[Nest]:
        """Return the sections that show the part or a clash, the clashes first."""
        telling = [
            n for n in found if n.verdict is not Verdict.FITS or role in {r.role for r in n.rings}
        ]
        return sorted(telling, key=lambda n: n.verdict)[:_MOST_SECTIONS]
