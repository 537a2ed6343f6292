"""Which adapter should be made next? A map of all that could be, and the sheet of one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from html import escape
from typing import Any

import ipywidgets as widgets

from fitgraph.adapters import (
    Edge,
    GradeYield,
    Scan,
    Sheet,
    Together,
    Worth,
    edges,
    frontier,
    grade_of,
    grades_of,
    held_to,
    yields_by_grade,
)
from fitgraph.adapters.candidates import Candidate
from fitgraph.adapters.kept_parts import FOLDER, kept
from fitgraph.adapters.kept_parts import keep as keep_parts
from fitgraph.adapters.pairs import pairs
from fitgraph.adapters.trials import ChangedMake, MadeUp, Plane
from fitgraph.errors import InputError
from fitgraph.lab import adapter_tables as told
from fitgraph.lab import tables
from fitgraph.lab.adapter_charts import AdapterChart, frontier_svg, legend_html, yields_svg
from fitgraph.lab.adapter_entries import Entry, entries, words_text
from fitgraph.lab.adapter_files import files_of, lacking_html
from fitgraph.lab.answering import Answering, Task
from fitgraph.lab.choices import Choices
from fitgraph.lab.debounce import Debounce
from fitgraph.lab.fields import Field, Fields, field
from fitgraph.lab.look import (
    LABEL,
    button,
    checkbox,
    dropdown,
    fold,
    framed,
    grid,
    heading,
    html,
    note,
    row,
    sides,
    style,
    verdict_line,
)
from fitgraph.lab.meter import Meter
from fitgraph.lab.opened import OpenCatalogue
from fitgraph.lab.saves import Saves
from fitgraph.lab.session import SessionBar
from fitgraph.lab.slider import Slider
from fitgraph.mechanics.materials import MATERIALS
from fitgraph.model import Make, Vocabulary
from fitgraph.report.designs import now_text
from fitgraph.shop.weighed import Weighed, weighed
from fitgraph.solve import Request
from fitgraph.stock import grouping_names
from fitgraph.wording import capital, plural

#: More parts than this are not chosen together.
MOST_TOGETHER = 8

#: The least wall a slider offers, in mm, and its step.
_WALLS, _WALL_STEP = (0.2, 5.0), 0.1

#: What the size of a dot can follow: title, whether it spreads over powers of ten.
_METRICS = {
    "newly served": False,
    "served in all": False,
    "builds": True,
    "stranded stock released": False,
}


def _metric(entry: Entry, name: str) -> float:
    worth = entry.worth
    if worth is None:
        return 0.0
    values = (worth.gained, worth.served, float(worth.builds), float(worth.released_value))
    return dict(zip(_METRICS, values, strict=True))[name]


class AdapterMap(Answering):
    """What could be made, on a map; the best few together; the sheet of one; a trial of it.

    Parameters
    ----------
    opened : OpenCatalogue
        A catalogue that :func:`fitgraph.lab.open_catalogue` has opened.
    make : str, optional
        Name of the make to begin with; the vocabulary's first by default.
    """

    invites = "see the map of what could be made"
    public = ("added", "choice", "entry", "scan", "steps")

    def __init__(self, opened: OpenCatalogue, make: str = "") -> None:
        super().__init__()
        self.opened = opened
        vocabulary = opened.catalogue.vocabulary
        self.makes = {n: m for n, m in vocabulary.makes.items() if m.role in vocabulary.roles}
        if not self.makes:
            self.children = (
                style(self),
                heading("What could be made"),
                html(
                    tables.wrap(
                        "<p>This catalogue's vocabulary does not say what could be made. Add a "
                        "[make.NAME] table to it; docs/catalogue.md shows one.</p>"
                    )
                ),
            )
            return
        self.scan: Scan | None = None
        self.plane: Plane | None = None
        self.steps: list[Together] = []
        self.shown: dict[str, Entry] = {}
        self.added: tuple[MadeUp, ...] = ()
        self._wanted, self._asked = "", False
        self._near: Entry | None = None
        self._make_fields(make if make in self.makes else next(iter(self.makes)))
        self._make_answers()
        self._offer(self.makes[self.make.value])
        self.session = SessionBar(self, "adapters", f"AdapterMap {opened.catalogue.name} {make}")
        self.children = self._arranged()
        self._watch()
        self._show_kept()
        self.session.begin()

    # ------------------------------------------------------------ what it is made of

    def _make_fields(self, first: str) -> None:
        titles = [(m.title, n) for n, m in self.makes.items()]
        self.make = dropdown("What is made", titles, value=first)
        self.material, self.grade = dropdown("Material", []), dropdown("Tolerance", [])
        self.word = dropdown("Made for", [("any", "")])
        self.wall = Slider(
            min=_WALLS[0],
            max=_WALLS[1],
            step=_WALL_STEP,
            digits=1,
            description="Least wall",
            unit="mm",
        )
        self.in_stock = checkbox("Serve from stock only")
        self.metric = widgets.Dropdown(
            options=list(_METRICS),
            description="Size of the dots",
            style=LABEL,
            layout=widgets.Layout(width="24em"),
        )
        self.list = widgets.Select(
            options=[],
            rows=9,
            description="Parts",
            layout=widgets.Layout(width="calc(100% - 4px)", max_width="900px"),
        )
        self.k = Slider(
            value=1.0,
            min=1.0,
            max=float(MOST_TOGETHER),
            step=1.0,
            digits=0,
            description="Made at most",
        )
        self.mixed = checkbox("Choose among all kinds of parts", "2px")
        self.meter = Meter("Stop weighing", "Stop working out what the parts are worth", self.stop)
        self.ask = button(
            "Work out what could be made",
            self._ask,
            tooltip="Look for every size that could be made, and weigh what each is worth",
        )
        self.ask.layout.display = "none"
        self.add = button(
            "Add the part looked at",
            self._add_looked_at,
            disabled=True,
            tooltip="Add it to the catalogue for a trial, and ask everything again",
        )
        self.add_best = button(
            "Add the best together",
            self._add_best_few,
            disabled=True,
            tooltip="Add the best few to the catalogue for a trial, and ask everything again",
        )
        self.keep_button = button(
            "Keep the part looked at",
            self._keep_looked_at,
            disabled=True,
            tooltip=f"Write it into the folder {FOLDER} beside the catalogue's tables",
        )

    def _make_answers(self) -> None:
        self.problems, self.map_note = html(), html()
        self.details, self.ends = html(), html()
        self.together, self.yield_table = html(), html()
        self.sheet_view = html()
        self.verdict = verdict_line()
        self.files = Saves("Files of the part looked at")
        self.trial = html()
        self.taken_out = Choices("Added parts; press one to take it out again")
        self.taken_out.on_press(self._take_out)
        self.kept_told = html()
        self.kept_parts = Choices("Kept proposals; press one to try it")
        self.kept_parts.on_press(self._try_kept)
        self.chart = AdapterChart(self._clicked)
        self.frame = framed(self.chart.widget)

    def _arranged(self) -> tuple[widgets.Widget, ...]:
        question = [
            heading("What could be made"),
            grid([self.make, self.material, self.grade, self.word], "300px"),
            grid([self.wall, self.in_stock], "300px"),
            row([self.meter, self.ask]),
            heading("The part looked at"),
            self.list,
            self.details,
            self.ends,
            self.files,
            html(lacking_html()),
        ]
        answer = [
            heading("The map"),
            self.metric,
            self.map_note,
            self.frame,
            heading("The best few together"),
            grid([self.k, self.mixed], "300px"),
            self.together,
        ]
        return (
            style(self),
            self.verdict,
            self.problems,
            sides(question, answer),
            fold("Spec sheet", [self.sheet_view]),
            fold(
                "Tolerance against yield",
                [
                    note(
                        "The nominal sizes stay; only the grade changes that the process holds. "
                        "Sizes are taken as uniform within their limits."
                    ),
                    self.yield_table,
                ],
            ),
            heading("If it were made"),
            note(
                "A trial: the part is added to the catalogue, one in stock, and everything here is "
                "asked again. Nothing is written to your folder."
            ),
            row([self.add, self.add_best]),
            self.taken_out,
            self.trial,
            heading("Proposals that are kept"),
            note(
                f"A file each in the folder {FOLDER} beside the catalogue's tables. They are no "
                "stock and no part of the catalogue; press one to try it again."
            ),
            row([self.keep_button]),
            self.kept_told,
            self.kept_parts,
            self.session,
        )

    def _watch(self) -> None:
        self.fields = Fields(
            make=Field(lambda: self.make.value, self._enter_make),
            material=field(self.material),
            grade=field(self.grade),
            least_wall=field(self.wall, float),
            word=field(self.word),
            in_stock=field(self.in_stock),
            metric=field(self.metric),
            k=field(self.k),
            mixed=field(self.mixed),
            part=Field(
                lambda: self._wanted or self.list.value or "",
                lambda part: setattr(self, "_wanted", str(part)),
            ),
            added=Field(lambda: [made.plain() for made in self.added], self._enter_added),
        )
        self._ask_soon = Debounce(self.refresh)
        self._look_soon = Debounce(self.look, 0.05)
        asked = (self.material, self.grade, self.word, self.wall, self.in_stock, self.mixed)
        self.fields.watch(self._made, self.make)
        self.fields.watch(self._changed, *asked)
        self.fields.watch(self._draw, self.metric)
        self.fields.watch(self._listed, self.list)
        self.fields.watch(self._show_together, self.k)

    # ------------------------------------------------------------ state

    @property
    def choice(self) -> ChangedMake:
        """Return the make as the fields have it."""
        return ChangedMake(
            self.make.value,
            self.material.value,
            self.grade.value or 0,
            round(self.wall.value, 3),
            self.in_stock.value,
        )

    @property
    def vocabulary(self) -> Vocabulary:
        """Return the catalogue's words."""
        return self.opened.catalogue.vocabulary

    @property
    def entry(self) -> Entry | None:
        """Return the part that is looked at."""
        return self.shown.get(self.list.value or "")

    def _enter_make(self, make: str) -> None:
        self.make.value = make
        self._offer(self.makes[make])

    def _enter_added(self, entries: Sequence[Any]) -> None:
        added = tuple(MadeUp.read(entry) for entry in entries)
        weighed(self.opened.shop, added)
        self.added = added

    def _changed(self) -> None:
        self._wanted = self.list.value or ""
        self._ask_soon()

    def _made(self) -> None:
        """Offer what another make can be, and begin with how the vocabulary has it."""
        with self.fields.quietly():
            self._offer(self.makes[self.make.value])
        self._wanted = ""
        self._ask_soon()

    def _offer(self, make: Make) -> None:
        vocabulary = self.vocabulary
        self.material.options = [
            (m.title, n) for n, m in MATERIALS.items() if make.works(n, m.family)
        ]
        self.material.value = make.material
        grades = grades_of(make, vocabulary)
        self.grade.options = [(self._classes(make, g), g) for g in grades] or [
            ("as the vocabulary has it", 0)
        ]
        self.grade.disabled = not grades
        self.grade.value = grade_of(make) or 0
        self.wall.disabled = make.bore is None
        self.wall.layout.display = "none" if make.bore is None else None
        self.wall.value = make.least_wall
        known = make.words and not self._waits
        found = (
            weighed(self.opened.shop, self.added).plane(ChangedMake.of(make)).found if known else ()
        )
        self._offer_words(found)

    def _offer_words(self, found: Sequence[Candidate]) -> None:
        words = sorted({words_text(c.words) for c in found})
        self.word.options = [("any", ""), *((w, w) for w in words)]
        self.word.value = ""
        self.word.layout.display = None if words else "none"

    @property
    def _waits(self) -> bool:
        """Whether nothing is worked out until somebody asks: it takes minutes and much memory."""
        return self.opened.is_wide and not self._asked

    def _ask(self) -> None:
        self._asked = True
        self.refresh()

    def _put_off(self) -> None:
        """Say that the map waits, and for what."""
        self.verdict.value = tables.wrap(
            tables.status("What could be made has not been worked out yet.")
        )
        self.meter.end(
            "In a catalogue as large as this one, all of whose parts differ, this takes minutes "
            "and gigabytes of memory. It can be stopped at any time."
        )
        self.ask.layout.display = None
        self.map_note.value = tables.wrap("<p>It stands here once it has been worked out.</p>")
        self.frame.layout.display = "none"  # axes without anything tell nobody anything

    @staticmethod
    def _classes(make: Make, grade: int) -> str:
        held = held_to(make, grade)
        return f"IT{grade}: {', '.join(f.klass for f in held.free if f.klass)}"

    # ------------------------------------------------------------ weighing

    def refresh(self) -> None:
        """Read the fields and answer them."""
        if not self.makes:
            return
        with self.in_words(self.problems):
            self.problems.value = ""
            self.keep()
            if self._waits:
                self._put_off()
                return
            self.ask.layout.display, self.frame.layout.display = "none", None
            found, choice = weighed(self.opened.shop, self.added), self.choice
            word, mixed = self.word.value, self.mixed.value
            known = choice in found.scans and not word
            steps: list[Task[Any]] = [
                Task(
                    lambda: _plane(found, choice, word),
                    lambda plane: self._show_plane(plane, found.scans.get(choice)),
                    slow=not known,
                ),
                Task(lambda: found.scan(choice, self._on), self._show_weighed, slow=not known),
                Task(lambda: self._few(found, choice, mixed=mixed), self._show_few),
            ]
            self.work_out(lambda: steps, self.meter.status, self._over)
            self._try()

    def _show_plane(self, plane: Plane, scan: Scan | None) -> None:
        self.plane, self.scan = plane, scan
        if len(self.word.options) == 1 and plane.make.words:  # they had to wait for the sizes
            with self.fields.quietly():
                self._offer_words(plane.found)
        if scan is None:
            self._begin()
        self._draw_plane()

    def _show_weighed(self, scan: Scan) -> None:
        self.scan = scan
        with self.chart.widget.change():
            self._draw_plane()
            self._fill_list()

    def _few(self, found: Weighed, choice: ChangedMake, *, mixed: bool) -> list[Together]:
        """Return the best choices of one part, of two, and so on."""
        others = [m for n, m in self.makes.items() if n != choice.make] if mixed else []
        scans = [found.scan(choice)]
        scans += [found.scan(ChangedMake.of(m, in_stock=choice.in_stock), self._on) for m in others]
        both = pairs(scans, in_stock=choice.in_stock) if others else ()
        return list(frontier(scans, MOST_TOGETHER, both))

    def _show_few(self, steps: list[Together]) -> None:
        self.steps = steps
        self.meter.end(self._weighed_text())
        self._show_together()

    def _over(self, whole: bool) -> None:
        if whole:
            return
        told = "Stopped. Change an entry to weigh again; the sizes below are not weighed."
        self.meter.end(told, stopped=True)
        self._fill_list()

    def _on(self, done: int, total: int) -> None:
        """Take how far a scan is; it is told in the event loop."""
        self.meter.on(done, total, "looks")

    def _begin(self) -> None:
        self.meter.begin("Weighing every part …")
        self.list.disabled = True
        self.verdict.value = tables.wrap("<p>The parts are being weighed …</p>")
        self.drop(self.sheet_view)
        self._clear(self.details, self.ends, self.sheet_view, self.together, self.yield_table)

    def _weighed_text(self) -> str:
        assert self.scan is not None and self.plane is not None
        scan = self.scan
        looked = f"{plural(len(self.plane.found), 'best size')} looked at"
        if not scan.worths:
            return f"{looked}; none of them fits anything on all its sides."
        now = now_text(scan.covered, scan.total, in_stock=self.in_stock.value)
        served = f" {now}." if scan.total else ""
        left = len(scan.worths)
        return f"{looked}, {left} left: whatever another fits, one of these fits as well.{served}"

    # ------------------------------------------------------------ the map

    def _entries(self) -> list[Entry]:
        assert self.plane is not None
        return list(
            entries(
                self.plane.axes, self.scan, self.plane.found, self.plane.barred, self.word.value
            )
        )

    def _draw_plane(self) -> None:
        assert self.plane is not None
        shown = self._entries()
        self.shown = {e.key: e for e in shown}
        titles = told.axis_titles(self.plane, self.vocabulary)
        with self.chart.widget.change():
            self.chart.plane(self.plane, titles, shown)
            self._draw()
        self.map_note.value = tables.wrap(
            legend_html([e.kind for e in shown], wall=bool(len(self.plane.region.wall)))
            + '<p class="fg-note">Shaded cells: sizes that certainly fit parts of the catalogue, '
            "the stronger the shade the more. Click a dot to look at it, or choose it in the "
            "list: both say the same. Where several stand at one place, the dot is the best of "
            "them.</p>"
        )

    def _draw(self) -> None:
        """Draw the dots in the chosen size."""
        name = self.metric.value
        vocabulary = self.vocabulary

        def text(entry: Entry) -> str:
            value = _metric(entry, name)
            if value <= 0 or name == "builds":
                return ""
            if name == "stranded stock released":
                return vocabulary.money(value)
            return f"{value:,g}"

        self.chart.parts(
            list(self.shown.values()),
            lambda e: _metric(e, name),
            text,
            lambda e: escape(told.entry_text(e, vocabulary)),
            steep=_METRICS[name],
        )
        self.keep()

    def _fill_list(self) -> None:
        """List what is shown, and look at what was looked at before, or at the first."""
        wanted, self._wanted = self._wanted, ""
        options = [(told.entry_text(e, self.vocabulary), key) for key, e in self.shown.items()]
        with self.fields.quietly():
            self.list.options = options
            self.list.value = wanted if wanted in self.shown else self._nearest(wanted)
            self.list.disabled = not options
        self.look()

    def _nearest(self, wanted: str) -> str | None:
        """Return what is listed nearest to what was looked at, which is not there any more."""
        near = self._near
        if not wanted or near is None or near.key != wanted:
            return next(iter(self.shown), None)
        x, y = near.x, near.y
        return min(
            self.shown,
            key=lambda k: abs(self.shown[k].x - x) + abs(self.shown[k].y - y),
            default=None,
        )

    def _clicked(self, key: str) -> None:
        if key in self.shown and not self.list.disabled:
            self.list.value = key

    def _listed(self) -> None:
        self.keep()
        self._look_soon()

    # ------------------------------------------------------------ one part

    def look(self) -> None:
        """Show the part chosen in the list."""
        self.drop(self.sheet_view)
        entry = self.entry
        self.add.disabled = self.keep_button.disabled = entry is None or entry.candidate is None
        self._near = entry or self._near
        if entry is None:
            self._show_nothing()
            return
        self.work_out(lambda: self._look_steps(entry), self.sheet_view)

    def _show_nothing(self) -> None:
        with self.in_words(self.details):
            self.chart.mark(None, [])
            self._clear(self.details, self.ends, self.sheet_view, self.yield_table)
            self.verdict.value = tables.wrap(
                "<p>Nothing of this kind fits anything. Take another kind, another word, or a "
                "thinner wall.</p>"
            )

    def _clear(self, *places: widgets.HTML) -> None:
        """Empty places that tell of the part looked at, and offer none of its files."""
        for place in places:
            place.value = ""
        self.files.offer({})

    def _look_steps(self, entry: Entry) -> list[Task[Any]]:
        found, choice = weighed(self.opened.shop, self.added), self.choice
        catalogue, candidate, worth = found.shop.catalogue, entry.candidate, entry.worth
        make = choice.variant(self.vocabulary)
        if candidate is None:
            barred = told.barred_html(entry, make, self.vocabulary)
            return [Task(lambda: barred, partial(self._show_barred, entry), slow=False)]
        steps: list[Task[Any]] = [
            Task(
                lambda: edges(catalogue, candidate, found.options),
                partial(self._show_worth, entry),
                slow=False,
            ),
            Task(
                lambda: yields_by_grade(catalogue, candidate, grades_of(make, self.vocabulary)),
                partial(self._show_yields, grade_of(make) or 0),
            ),
        ]
        if worth is not None:
            gained = self._gained_by(worth)
            steps.append(Task(lambda: _drawn(found.sheet(choice, worth, gained)), self._show_sheet))
        return steps

    def _show_details(self, entry: Entry, details: str, ends: str) -> None:
        line = escape(capital(told.entry_text(entry, self.vocabulary, named=True)))
        self.verdict.value = tables.wrap(
            f'<p role="status"><strong>{line}</strong></p>{self._beside_trial(entry)}'
        )
        self.details.value, self.ends.value = tables.wrap(details), tables.wrap(ends)
        self._mark()
        self.files.offer({})

    def _beside_trial(self, entry: Entry) -> str:
        """Return beside what a part was weighed, where something was added for a trial."""
        one = entry.candidate
        if not self.added or one is None:
            return ""
        looked_at = (one.make.name, tuple(one.sizes.values()), tuple(one.words.values()))
        if looked_at in {(m.choice.make, m.sizes, m.words) for m in self.added}:
            text = "It was added for the trial: these figures are those of a second one like it."
        else:
            text = "Weighed beside what was added for the trial."
        return f'<p class="fg-note">{text}</p>'

    def _show_barred(self, entry: Entry, details: str) -> None:
        self._show_details(entry, details, "")
        self.yield_table.value = self.sheet_view.value = tables.wrap(
            "<p>What cannot be made has none.</p>"
        )

    def _show_worth(self, entry: Entry, ends: Sequence[Edge]) -> None:
        words = self.vocabulary
        edged = told.edges_html(ends, words) if ends else ""
        self._show_details(entry, told.worth_html(entry, words), edged)
        waits = "<p>The sheet follows in a moment …</p>" if entry.worth is not None else ""
        self.sheet_view.value = tables.wrap(waits)

    def _show_yields(self, grade: int, shares: Sequence[GradeYield]) -> None:
        self.yield_table.value = tables.wrap(
            tables.drawn_html(*(yields_svg(shares, grade, narrow=n) for n in (False, True)))
            + told.yields_html(shares, grade, self.vocabulary)
            if shares
            else "<p>This kind of part names no class, only plain limits.</p>"
        )

    def _show_sheet(self, drawn: tuple[Sheet, str]) -> None:
        made, view = drawn
        self.sheet_view.value = view
        self.files.offer(files_of(made))

    def _gained_by(self, worth: Worth) -> tuple[str, ...]:
        return () if self.scan is None else self.scan.gained_by(worth)

    # ------------------------------------------------------------ the best few

    @property
    def step(self) -> Together | None:
        """Return the best choice of as many parts as the slider says."""
        useful = [s for s in self.steps if s.worths]
        return useful[min(int(self.k.value), len(useful)) - 1] if useful else None

    def _show_together(self) -> None:
        if self.scan is None:
            return
        with self.in_words(self.together):
            scan, k = self.scan, int(self.k.value)
            useful = [s for s in self.steps if s.worths]
            text = told.together_html(
                *(self.steps, k, scan.total, scan.covered, self.vocabulary),
                in_stock=self.in_stock.value,
            )
            if useful:
                both = (frontier_svg(scan.covered, useful, k, narrow=n) for n in (False, True))
                text += tables.drawn_html(*both)
            self.together.value = tables.wrap(text)
            self.add_best.disabled = self.step is None
            self._mark()
            self.keep()

    def _mark(self) -> None:
        step = self.step
        best = [self.shown.get(w.candidate.part.sku) for w in step.worths] if step else []
        self.chart.mark(self.entry, [e for e in best if e is not None and e.worth is not None])

    # ------------------------------------------------------------ a trial

    def _add_looked_at(self) -> None:
        entry = self.entry
        if entry is not None and entry.worth is not None:
            self._add([entry.worth])

    def _add_best_few(self) -> None:
        if self.step is not None:
            self._add(self.step.worths)

    def _name(self, sku: str) -> str:
        """Return a stock number that no added part has."""
        taken = {made.sku for made in self.added}
        numbers = range(len(taken) + 1, 2 * len(taken) + 2)
        return next(name for n in numbers if (name := f"{sku}-MADE{n}") not in taken)

    def _add(self, worths: Sequence[Worth]) -> None:
        with self.in_words(self.problems):
            for worth in worths:
                candidate = worth.candidate
                plain = self.choice
                if candidate.make.name != plain.make:
                    plain = ChangedMake.of(self.makes[candidate.make.name], in_stock=plain.in_stock)
                sku = self._name(candidate.part.sku)
                self.added = (*self.added, MadeUp.of(plain, candidate, sku))
            self._wanted = self.list.value or ""
            self.refresh()

    def _take_out(self, sku: str) -> None:
        with self.in_words(self.problems):
            self.added = tuple(made for made in self.added if made.sku != sku)
            self._wanted = self.list.value or ""
            self.refresh()

    # ------------------------------------------------------------ proposals that are kept

    def _keep_looked_at(self) -> None:
        entry = self.entry
        if entry is None or entry.candidate is None:
            return
        with self.in_words(self.problems):
            made = MadeUp.of(self.choice, entry.candidate, entry.candidate.part.sku)
            try:
                files = keep_parts(self.opened.shop.folder, [made])
            except InputError as error:
                self.kept_told.value = tables.wrap(tables.alert(str(error)))
                return
            self._show_kept(f"Kept as {FOLDER}/{files[0].name}.")

    def _show_kept(self, told: str = "") -> None:
        """Show what the folder of proposals holds, and what of it is of no use."""
        found, problems = kept(self.opened.shop.folder, self.vocabulary)
        text = tables.status(told) if told else ""
        text += "".join(tables.alert(problem) for problem in problems)
        self.kept_told.value = tables.wrap(text or ("" if found else "<p>None is kept yet.</p>"))
        self.kept_parts.show([self._choice(m, "Try the {}") for m in found])

    def _choice(self, made: MadeUp, words: str) -> dict[str, str]:
        title = made.title(self.vocabulary)
        return {"name": made.sku, "label": words.format(title), "numbers": made.sku}

    def _try_kept(self, sku: str) -> None:
        with self.in_words(self.problems):
            found, _ = kept(self.opened.shop.folder, self.vocabulary)
            one = next((made for made in found if made.sku == sku), None)
            if one is not None:
                self.added = (*self.added, replace(one, sku=self._name(one.sku)))
                self._wanted = self.list.value or ""
                self.refresh()

    def _try(self) -> None:
        """Show what the added parts change."""
        added = self.added
        self.taken_out.show([self._choice(m, "Take the {} out again") for m in added])
        if not added:
            self.drop(self.trial)
            self.trial.value = tables.wrap("<p>Nothing has been added yet.</p>")
            return
        self.trial.value = tables.wrap(tables.status("Asking of every enquiry again …"))
        self.work_out(
            lambda: [Task(lambda: self._tried(added), self._show_tried)],
            self.trial,
            lambda whole: None if whole else self._show_tried("<p>Stopped.</p>"),
        )

    def _tried(self, added: tuple[MadeUp, ...]) -> str:
        shop, vocabulary = self.opened.shop, self.vocabulary
        before, after = (
            (one.coverage(), one.shop.engine.count(Request()).number)
            for one in (weighed(shop), weighed(shop, added))
        )
        lines = []
        for n, made in enumerate(added):
            worth = weighed(shop, added[:n]).worth(made)
            if worth is not None:
                lines.append(
                    f"The {made.title(vocabulary)} takes "
                    f"{plural(worth.taken, vocabulary.customer)} from its like, and an existing "
                    f"part joins {worth.shared:,} of its {plural(worth.builds, 'build')} as well."
                )
        by = next(iter(vocabulary.groups), grouping_names(self.opened.catalogue)[0])
        title = vocabulary.groups[by].title if by in vocabulary.groups else by
        return told.before_after_html(before, after, by, title) + tables.lines_html(lines)

    def _show_tried(self, text: str) -> None:
        self.trial.value = tables.wrap(text)


def _plane(found: Weighed, choice: ChangedMake, word: str) -> Plane:
    """Return the sizes of what could be made; of what is made for a word, if there is one."""
    plane = found.plane(choice)
    words = next((c.words for c in plane.found if words_text(c.words) == word), None)
    return plane if not word or words is None else found.plane(choice, words)


def _drawn(made: Sheet) -> tuple[Sheet, str]:
    return made, told.sheet_shown(made)
