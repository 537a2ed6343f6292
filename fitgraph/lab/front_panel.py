"""Price against mass with the Pareto front, builds picked from it, compared and handed out."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import ipywidgets as widgets

from fitgraph.lab.answering import Panel, Task
from fitgraph.lab.charts import FrontChart, build_text, thinned
from fitgraph.lab.debounce import Debounce
from fitgraph.lab.look import button, framed, heading, html, note, row
from fitgraph.lab.meter import Meter
from fitgraph.lab.opened import OpenCatalogue
from fitgraph.lab.saved_answer import sheet_files
from fitgraph.lab.saves import Saves
from fitgraph.report.blocks import Say
from fitgraph.report.build_sheet import sheet_of
from fitgraph.report.builds import cautions_of
from fitgraph.report.sides import side_by_side
from fitgraph.solve import Request
from fitgraph.solve.engine import Build
from fitgraph.solve.histogram import Histogram, histogram
from fitgraph.solve.query import ask
from fitgraph.wording import plural

#: Builds beyond these do not fit side by side.
MOST_PICKS = 4

#: The front is looked for once nothing has been changed for so long, in seconds.
_PATIENCE_S = 0.6


class FrontPanel(Panel):
    """The chart, the list that says the same in words, the comparison and the sheets."""

    def __init__(self, opened: OpenCatalogue, changed: Callable[[], None]) -> None:
        super().__init__(opened, changed)
        self.front: list[Build] = []
        self.picked: list[Build] = []
        self._request = Request()
        self._wanted: list[Mapping[str, Any]] = []
        self._look_soon = Debounce(self.look, _PATIENCE_S)
        self.chart = FrontChart(opened.catalogue.vocabulary)
        self.meter = Meter(
            "Stop looking", "Stop looking for the builds that no other betters", self.stop
        )
        self.list = widgets.Select(
            options=[],
            rows=8,
            description="Builds",
            layout=widgets.Layout(width="100%", max_width="640px"),
        )
        self.pick_button = button(
            "Pick this build",
            self._listed,
            disabled=True,
            tooltip="Pick the build chosen in the list, or drop it again",
        )
        self.empty_picks = button("Pick none", lambda: self._pick([]), disabled=True)
        self.compared = html()
        self.sheet_number = widgets.Dropdown(
            options=[],
            description="Sheet of pick",
            style={"description_width": "initial"},
            layout=widgets.Layout(width="11em"),
        )
        self.sheet_note, self.sheet = html(), Saves("Build sheet")
        self.fields.watch(self._write_sheet, self.sheet_number)
        self.chart.widget.on_press(1, self._clicked)
        self.children = (
            note(
                "Shaded: where builds lie, the stronger the shade the more. Blue dots: builds "
                "that no other betters in price, mass or strength without losing in another. Click "
                f"dots to pick up to {MOST_PICKS}, or choose builds in the list."
            ),
            self.meter,
            framed(self.chart.widget),
            row([self.list, widgets.VBox([self.pick_button, self.empty_picks])]),
            heading("Side by side"),
            self.compared,
            heading("Build sheet"),
            row([self.sheet_number, self.sheet_note, self.sheet]),
        )
        self._pick([])

    # ------------------------------------------------------------ asking

    def ask(self, request: Request) -> None:
        """Look for the front of a request once nothing has changed for a moment.

        What was picked stays picked if it is still on the front. Without an event loop nothing
        runs by itself: call :meth:`look`.
        """
        self._request = request
        if not self._wanted:
            self._wanted = self.picks
        self.drop(self.meter.status)
        try:
            asyncio.get_running_loop()
        except RuntimeError:
            return
        self.meter.end("The chart follows in a moment …")
        self._look_soon()

    def look(self) -> None:
        """Look for the front of the last request."""
        engine, request = self.opened.engine, self._request
        steps: list[Task[Any]] = [
            Task(lambda: None, self._begin, slow=False),
            Task(lambda: engine.first_front(request), lambda first: self.chart.show(None, first)),
            Task(lambda: histogram(ask(engine.space, request)), self._show_spread),
            Task(lambda: engine.front(request), self._show_front),
        ]
        self.work_out(lambda: steps, self.meter.status, self._over)

    def _begin(self, _nothing: None) -> None:
        self.meter.begin("Looking where builds lie …")

    def _show_spread(self, found: Histogram) -> None:
        self.chart.show(found, None)
        self.meter.begin("Looking for the builds that no other betters …")

    def _over(self, whole: bool) -> None:
        if not whole:
            told = "Stopped. Change an entry to look again; the dots are those found before."
            self.meter.end(told, stopped=True)

    def _show_front(self, found: list[Build]) -> None:
        self.front = found
        vocabulary = self.opened.catalogue.vocabulary
        self.chart.show(None, self.front)
        if self.front:
            first, last = self.front[0], min(self.front, key=lambda b: b.mass_g or 0)
            self.meter.end(
                f"{plural(len(self.front), 'build is', 'builds are')} bettered by no other, from "
                f"the cheapest ({build_text(first, vocabulary)}) to the lightest "
                f"({build_text(last, vocabulary)})."
            )
        else:
            self.meter.end("No build of known mass is certain, so there is nothing to draw.")
        wanted, self._wanted = self._wanted, []
        at = {tuple(sorted(self.labels(b).items())): b for b in self.front}
        kept = [at.get(tuple(sorted(w.items()))) for w in wanted]
        self.list.options = [
            (f"{n + 1}: {build_text(self.front[n], vocabulary)}", int(n))
            for n in thinned(len(self.front))
        ]
        self.pick_button.disabled = not self.front
        self._pick([b for b in kept if b is not None])

    # ------------------------------------------------------------ picking

    @staticmethod
    def labels(build: Build) -> dict[str, str]:
        """Return what fills each role, as a session keeps it."""
        return {role: o.label for role, o in build.options.items()}

    @property
    def picks(self) -> list[Mapping[str, str]]:
        """Return what is picked, as a session keeps it."""
        return [self.labels(b) for b in self.picked]

    def want(self, picks: Sequence[Any]) -> None:
        """Pick these builds as soon as the front is there and has them."""
        self._wanted = [p for p in picks if isinstance(p, Mapping)][:MOST_PICKS]

    def _listed(self) -> None:
        if self.list.value is not None:
            self._turn(self.front[self.list.value])

    def _clicked(self, place: int) -> None:
        self._turn(self.front[self.chart.figure.data[1].customdata[place]])

    def _turn(self, build: Build) -> None:
        """Pick a build, or drop it where it was picked."""
        if any(b is build for b in self.picked):
            self._pick([b for b in self.picked if b is not build])
        else:
            self._pick([*self.picked, build][-MOST_PICKS:])

    def _pick(self, builds: list[Build]) -> None:
        with self.in_words(self.compared):
            self.picked = builds
            with self.fields.quietly():
                self.sheet_number.options = list(range(1, len(builds) + 1))
                self.sheet_number.value = len(builds) or None
            self.sheet_number.disabled = self.empty_picks.disabled = not builds
            self.chart.mark(builds)
            vocabulary = self.opened.catalogue.vocabulary
            owned = frozenset(self._request.have)
            if builds:
                told = side_by_side(builds, owned, vocabulary)
                self.write(self.compared, *told, cautions=cautions_of(builds, vocabulary))
            else:
                self.write(self.compared, Say("Pick builds above; they then stand side by side."))
            self._write_sheet()
            self._changed()

    def _write_sheet(self) -> None:
        with self.in_words(self.sheet_note):
            number = self.sheet_number.value
            if number is None:
                self.write(self.sheet_note, Say("Pick a build first; its sheet can then be saved."))
                self.sheet.offer({})
                return
            build = self.picked[number - 1]
            vocabulary = self.opened.catalogue.vocabulary
            made = sheet_of(build, frozenset(self._request.have), vocabulary)
            self.write(self.sheet_note)
            self.sheet.offer(
                sheet_files(made, build.options, vocabulary, "build-sheet", "Save as PDF")
            )
