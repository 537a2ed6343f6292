"""What can I build with what I own, and why not the rest?"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from functools import partial
from typing import Any

import ipywidgets as widgets
import scipy.stats  # noqa: F401  loaded now, so that no first answer waits for it

from fitgraph.draw import main_nest, nests
from fitgraph.draw.style import SIGNS
from fitgraph.explain import Explanation, Prefer
from fitgraph.explain.kept_out import limit_lines, no_build_lines
from fitgraph.explain.requested import Listed
from fitgraph.explain.standing import PartStanding, nearest_combination, standings, together
from fitgraph.explain.words_rider import builds_text
from fitgraph.lab.answering import Answering, Task
from fitgraph.lab.debounce import Debounce
from fitgraph.lab.fields import Field, Fields, field
from fitgraph.lab.form import Entries, part_label, read_entries
from fitgraph.lab.front_panel import FrontPanel
from fitgraph.lab.limit_field import LimitField
from fitgraph.lab.look import (
    checkbox,
    dropdown,
    field_layout,
    fold,
    grid,
    heading,
    html,
    note,
    sides,
    style,
    verdict_line,
)
from fitgraph.lab.opened import OpenCatalogue
from fitgraph.lab.picker import PartsForm
from fitgraph.lab.session import SessionBar
from fitgraph.lab.shown import Piece
from fitgraph.lab.ways_panel import WaysPanel
from fitgraph.mechanics.materials import MATERIALS
from fitgraph.model import Verdict
from fitgraph.report import builds, explanations, remainders
from fitgraph.report.blocks import Report, Say, say_all, status
from fitgraph.report.cross_sections import cross_sections, telling
from fitgraph.report.hints import Hints
from fitgraph.solve import Request, Services
from fitgraph.solve.engine import SORTS, Build
from fitgraph.solve.first_guess import first_guess
from fitgraph.solve.limits import Counted
from fitgraph.solve.query import ask
from fitgraph.units import parse_mass

#: Builds shown at once.
SHOWN = 8

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

#: Where there is more than is shown.
_HINTS = Hints(rest="fitgraph why --json")

#: Said until the changes are there.
_SEEKING = status("Looking for the smallest changes …")

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

    invites = "see the fields, and what fits"
    public = ("builds", "cores", "counted", "possible", "request", "standing")

    def __init__(self, opened: OpenCatalogue, have: tuple[str, ...] = ()) -> None:
        super().__init__()
        self.opened = opened
        self.request: Request | None = None
        self.counted: Counted | None = None
        self.possible: Counted | None = None
        self.cores: Counted | None = None
        self.builds: list[Build] = []
        self.standing: dict[str, tuple[PartStanding, ...]] = {}
        self._make_fields()
        self._make_answers()
        self.form.name(have)
        self.session = SessionBar(self, "builds", f"BuildExplorer {opened.catalogue.name} {have}")
        self.children = self._arranged()
        self._watch()
        self.session.begin()

    # ------------------------------------------------------------ what it is made of

    def _make_fields(self) -> None:
        catalogue = self.opened.catalogue
        self.form = PartsForm(catalogue, "Adapters and extras I own", self._pointed)
        self.pickers = self.form.pickers
        chosen_by = [r for r in catalogue.vocabulary.roles.values() if r.by_material]
        materials = {p.material for r in chosen_by for p in catalogue.of(r.name) if p.material}
        families = sorted({MATERIALS[m].family for m in materials})
        self.budget_field, self.mass_field = self._limit_fields()
        self.budget, self.max_mass = self.budget_field.text, self.mass_field.text
        of = f" of {', '.join(r.title for r in chosen_by)}" if chosen_by else ""
        self.material = dropdown(f"Material{of}", [("any", ""), *((f, f) for f in families)])
        self.services = dropdown("Workshop work", _SERVICES, value=Services.OWNED)
        self.in_stock = checkbox("Only what is in stock")
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
        vocabulary, ends = self.opened.catalogue.vocabulary, self.opened.ends

        def limit(
            name: str,
            unit: str,
            example: str,
            read: Callable[[str], float],
            values: Sequence[float],
            step: int,
        ) -> LimitField:
            least = math.floor(min(values, default=0) / step) * step
            most = math.ceil(1.25 * max(values, default=0) / step) * step
            hint = f"no limit; e.g. {example}"
            return LimitField(name, unit, hint, read, least, max(most, least + step), step)

        def money(text: str) -> float:
            return vocabulary.major(vocabulary.read_money(text))

        currency, prices = vocabulary.currency, [vocabulary.major(b.price) for b in ends]
        masses = [b.mass_g for b in ends if b.mass_g is not None]
        return (
            limit("Budget", currency, f"250 {currency}", money, prices, _MONEY_STEP),
            limit("Mass limit", "g", "3.6 kg or 3600 g", parse_mass, masses, _MASS_STEP_G),
        )

    def _make_answers(self) -> None:
        self.problems, self.number = html(), verdict_line()
        self.number.add_class("fg-count")
        self.table, self.build_section, self.roles_table = html(), html(), html()
        self.why_text, self.changes_text, self.why_section = html(), html(), html()
        self.front_panel = FrontPanel(self.opened, self.keep)
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
        asked = (
            *(self.budget, self.max_mass, self.material, self.services, self.in_stock, self.sort),
            *self.form.typed,
        )
        self.fields = Fields(
            parts=Field(lambda: self.form.entries, self.form.enter),
            budget=field(self.budget, str),
            max_mass=field(self.max_mass, str),
            material=field(self.material),
            services=Field(
                lambda: self.services.value.value,
                lambda name: setattr(self.services, "value", Services(name)),
            ),
            in_stock=field(self.in_stock, bool),
            sort=field(self.sort),
            role=field(self.role),
            picks=Field(lambda: [{**p} for p in self.front_panel.picks], self.front_panel.want),
        )
        self.fields.problems = {
            **self.form.problems,
            "budget": self.budget_field.problem,
            "max_mass": self.mass_field.problem,
        }
        self._ask_soon = Debounce(self.refresh)
        self.fields.watch(self._ask_soon, *asked)
        self.fields.watch(Debounce(self._list_parts), self.find, self.role, self.which)
        self.fields.watch(self._explain, self.part)
        self.fields.watch(self._draw_build, self.shown_build)

    # ------------------------------------------------------------ asking

    @property
    def entries(self) -> Entries:
        """Return the form as it is filled in."""
        return Entries(
            self.form.entries,
            self.budget.value,
            self.max_mass.value,
            self.material.value,
            self.in_stock.value,
            self.services.value,
        )

    def refresh(self) -> None:
        """Read the form and answer it."""
        with self.in_words(self.problems):
            request = read_entries(self.entries, self.opened.catalogue)
            self.fields.tell({})
            self.write(self.problems)
            self.request = request
            self._draw_product(None)
            self.keep()
            self.drop(self.why_text)
            self.work_out(lambda: self._steps(request), self.problems)
            self.front_panel.ask(request)

    def _steps(self, request: Request) -> list[Task[Any]]:
        engine, sort = self.opened.engine, self.sort.value
        limited = request.budget is not None or request.max_mass_g is not None
        # The count is there with the page; what else is asked follows it.
        counts: list[Task[Any]] = [
            Task(lambda: engine.count(request), self._show_count, slow=limited),
            Task(lambda: engine.count_possible(request), self._show_possible),
        ]
        self.counted = self.possible = self.cores = None
        guess = Task(lambda: first_guess(ask(engine.space, request)), self._tell_count, slow=False)
        rest: list[Task[Any]] = [
            Task(lambda: self._first_builds(request, sort), self._show_builds),
            Task(lambda: self.ways_panel.find(request, sort), self._show_ways),
            Task(lambda: standings(engine, request), partial(self._show_roles, request)),
        ]
        return [guess, *rest, *counts] if limited else [*counts, *rest]

    def _tell_count(self, certain: Counted | None) -> None:
        self.write(self.number, *builds.count_told(certain, self.possible, self.cores))

    def _show_count(self, counted: Counted) -> None:
        if self.counted is None or not self.counted.exact:  # else it was added up with the ways
            self.counted = counted
        self._tell_count(self.counted)

    def _show_possible(self, possible: Counted) -> None:
        self.possible = possible
        self._tell_count(self.counted)

    def _show_ways(self, listed: Listed) -> None:
        self.ways_panel.show(listed)
        self.cores = None if listed.none else listed.cores
        if self.counted is None or listed.count.exact:
            self.counted = listed.count
        self._tell_count(self.counted)

    def _first_builds(self, request: Request, sort: str) -> tuple[list[Build], Sequence[Piece]]:
        """Return the first builds, and what is shown of them."""
        found = self.opened.engine.best(request, sort=sort, limit=SHOWN)
        if not found:
            return found, self._why_none(request)
        vocabulary = self.opened.catalogue.vocabulary
        only = len(found) == 1
        told = builds.first_told(found, sort, request.have, vocabulary, only=only)
        return found, [Report("", told, builds.cautions_of(found, vocabulary))]

    def _why_none(self, request: Request) -> Sequence[Piece]:
        """Return why no build is certain: what is owned, or else the limits."""
        none = Say("No build is certain to fit.")
        said = self.opened.explainer.why(request.have)
        if said.verdict is Verdict.FITS:
            return none, *say_all(no_build_lines(self.opened.engine, request))
        return none, *self._reasons(said), self._changes(said)

    def _reasons(self, said: Explanation, *besides: str) -> Sequence[Piece]:
        catalogue = self.opened.catalogue
        verdict = explanations.verdict_told(said, catalogue)
        return verdict, *say_all(besides), explanations.in_short(said, catalogue)

    def _changes(self, said: Explanation) -> Report:
        return explanations.changes(said, self.opened.catalogue, Prefer.OWNED, _HINTS)

    def _show_builds(self, answer: tuple[list[Build], Sequence[Piece]]) -> None:
        self.builds, told = answer
        self.write(self.table, *told)
        self._list_builds()

    def _show_roles(
        self, request: Request, standing: Mapping[str, tuple[PartStanding, ...]]
    ) -> None:
        self.standing = dict(standing)
        left_out = self.opened.engine.left_out
        told = remainders.report(standing, self.opened.catalogue, left_out, request.have)
        self.write(self.roles_table, told)
        self._list_parts()

    # ------------------------------------------------------------ the product

    def _pointed(self, role: str) -> None:
        """List the parts of the role that was pressed."""
        self.role.value = role

    def _draw_product(self, looked_at: PartStanding | None) -> None:
        """Show the product with what is owned, and the part that is looked at."""
        catalogue = self.opened.catalogue
        have = () if self.request is None else self.request.have
        named = {catalogue.parts[sku].role: sku for sku in have}
        verdicts = {}
        if looked_at is not None:
            named[looked_at.part.role] = looked_at.part.sku
            verdicts[looked_at.part.role] = looked_at.verdict
        self.form.draw(named, verdicts)
        self.form.product.marked = [self.role.value]

    # ------------------------------------------------------------ drawing a build

    def _list_builds(self) -> None:
        numbers = list(range(1, len(self.builds) + 1))
        self.shown_build.disabled = not numbers
        if list(self.shown_build.options) != numbers:
            self.shown_build.options = numbers
        if self.shown_build.value is None and numbers:
            self.shown_build.value = numbers[0]
        self._draw_build()

    def _draw_build(self) -> None:
        with self.in_words(self.build_section):
            number = self.shown_build.value
            if not self.builds or number is None:
                self.write(self.build_section)
                return
            vocabulary = self.opened.catalogue.vocabulary
            found = nests(self.builds[number - 1].options, vocabulary)
            first = main_nest(found, vocabulary)
            ordered = sorted(found, key=lambda n: n is not first)
            self.write(self.build_section, *cross_sections(ordered, vocabulary))

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
                    f"{SIGNS[s.verdict]} {part_label(s.part)}"
                    + (f": {builds_text(s.builds)}" if s.builds else "")
                    + (f" ({s.kept_out})" if s.kept_out else ""),
                    s.part.sku,
                )
                for s in listed
            ]
            chosen = self.part.value
            if tuple(options) != tuple(self.part.options):
                skus = [sku for _, sku in options]
                with self.fields.quietly():
                    self.part.options = options
                    self.part.value = chosen if chosen in skus else (skus[0] if skus else None)
            self._explain()

    def _explain(self) -> None:
        standing = next(
            (s for s in self.standing.get(self.role.value, ()) if s.part.sku == self.part.value),
            None,
        )
        self._draw_product(standing)
        if standing is None or self.request is None:
            self.drop(self.why_text)
            self.write(self.why_text, Say("No part of this role is called that."))
            self.write(self.changes_text)
            self.write(self.why_section)
            return
        explainer, request = self.opened.explainer, self.request
        skus = together(request.have, standing.part, self.opened.catalogue)
        steps: list[Task[Any]] = [
            Task(
                lambda: explainer.why(skus, with_changes=False),
                partial(self._show_reason, request, standing),
                slow=False,
            ),
            Task(lambda: explainer.why(skus), self._show_changes),
        ]
        self.work_out(lambda: steps, self.why_text)

    def _show_reason(self, request: Request, standing: PartStanding, said: Explanation) -> None:
        catalogue, explainer = self.opened.catalogue, self.opened.explainer
        skus = together(request.have, standing.part, catalogue)
        lines = limit_lines(self.opened.engine, request, standing)
        if standing.services and standing.verdict > said.verdict:
            done = " and ".join(catalogue.vocabulary.services[s].title for s in standing.services)
            lines.append(f"With workshop work ({done}) it goes.")
        near = nests(nearest_combination(explainer, skus), catalogue.vocabulary)
        found = telling(near, [standing.part.role])
        self.write(self.why_text, *self._reasons(said, *lines))
        self.write(self.changes_text, *([] if said.verdict is Verdict.FITS else [_SEEKING]))
        self.write(self.why_section, *cross_sections(found, catalogue.vocabulary))

    def _show_changes(self, said: Explanation) -> None:
        if said.verdict is not Verdict.FITS:
            self.write(self.changes_text, self._changes(said))
