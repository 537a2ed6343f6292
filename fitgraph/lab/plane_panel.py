"""The map of what could be made, and the list that says the same: one part of it is looked at."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

import ipywidgets as widgets
from markupsafe import escape

from fitgraph.adapters import Scan, Worth
from fitgraph.adapters.trials import Plane
from fitgraph.lab.adapter_charts import AdapterChart, legend
from fitgraph.lab.adapter_entries import Entry, entries
from fitgraph.lab.answering import Panel
from fitgraph.lab.debounce import Debounce
from fitgraph.lab.fields import Field, Fields, field
from fitgraph.lab.look import LABEL, framed, heading, html
from fitgraph.lab.opened import OpenCatalogue
from fitgraph.report.blocks import Say, quiet
from fitgraph.report.made_parts import axis_title

#: What the size of a dot can follow: what decides it, and whether it spreads over powers of ten,
#: where it is no label.
_METRICS: Mapping[str, tuple[Callable[[Worth], float], bool]] = {
    "newly served": (lambda worth: worth.gained, False),
    "served in all": (lambda worth: worth.served, False),
    "builds": (lambda worth: worth.builds, True),
    "stranded stock released": (lambda worth: worth.released_value, False),
}

#: Of them the amounts of money.
_AMOUNTS = ("stranded stock released",)

_MEANING = (
    "Shaded cells: sizes that certainly fit parts of the catalogue, the stronger the shade the "
    "more. Click a dot to look at it, or choose it in the list: both say the same. Where several "
    "stand at one place, the dot is the best of them."
)


class PlanePanel(Panel):
    """A dot on the map and a line of the list for each part that could be made.

    Parameters
    ----------
    opened : OpenCatalogue
        The catalogue.
    changed : callable
        Called when an entry has changed, so that the page keeps it.
    look : callable
        Called when another part is looked at.
    """

    def __init__(
        self, opened: OpenCatalogue, changed: Callable[[], None], look: Callable[[], None]
    ) -> None:
        super().__init__(opened, changed)
        self.shown: dict[str, Entry] = {}
        self.plane: Plane | None = None
        self._wanted = ""
        self._near: Entry | None = None
        self._look = look
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
        self.note = html()
        self.chart = AdapterChart(self._clicked)
        self.frame = framed(self.chart.widget)
        self.fields = Fields(
            metric=field(self.metric),
            part=Field(lambda: self._wanted or self.list.value or "", self._want),
        )
        look_soon = Debounce(look, 0.05)

        def listed() -> None:
            changed()
            look_soon()

        self.fields.watch(self._drawn, self.metric)
        self.fields.watch(listed, self.list)
        self.children = (heading("The map"), self.metric, self.note, self.frame)

    @property
    def entry(self) -> Entry | None:
        """Return the part that is looked at."""
        return self.shown.get(self.list.value or "")

    def _want(self, part: str) -> None:
        self._wanted = str(part)

    def keep_looking(self, *, there: bool = True) -> None:
        """Look at the same part again once the map is drawn anew; at the first if it is not there.

        Parameters
        ----------
        there : bool
            Whether the next map may have it.
        """
        self._wanted = (self.list.value or "") if there else ""

    def put_off(self) -> None:
        """Say that it waits; axes without anything tell nobody anything."""
        self.write(self.note, Say("It stands here once it has been worked out."))
        self.frame.layout.display = "none"

    def draw(self, plane: Plane, scan: Scan | None, word: str) -> None:
        """Draw the parts of a make, weighed or not.

        Parameters
        ----------
        plane : Plane
            What there is.
        scan : Scan or None
            What they are worth.
        word : str
            Only parts with these words.
        """
        self.plane = plane
        self.shown = {e.key: e for e in entries(plane, scan, word)}
        self.frame.layout.display = None
        vocabulary = self.opened.catalogue.vocabulary
        titles = ["" if a is None else axis_title(a, plane.make, vocabulary) for a in plane.axes]
        with self.chart.widget.change():
            self.chart.plane(plane, (titles[0], titles[1]), list(self.shown.values()))
            self._drawn()
        kinds = [e.kind for e in self.shown.values()]
        signs = legend(kinds, wall=bool(len(plane.region.wall)))
        self.write(self.note, signs, quiet(_MEANING))

    def _drawn(self) -> None:
        """Draw the dots in the chosen size."""
        of, steep = _METRICS[self.metric.value]
        vocabulary = self.opened.catalogue.vocabulary
        shown = vocabulary.money if self.metric.value in _AMOUNTS else "{:,g}".format

        def value(entry: Entry) -> float:
            return 0.0 if entry.worth is None else of(entry.worth)

        def text(entry: Entry) -> str:
            figure = 0 if steep else value(entry)
            return shown(figure) if figure > 0 else ""

        def told(entry: Entry) -> str:
            return str(escape(entry.text(vocabulary)))

        self.chart.parts(list(self.shown.values()), value, text, told, steep=steep)
        self._changed()

    def fill(self) -> None:
        """List what is drawn, and look at what was looked at before, or at the first."""
        wanted, self._wanted = self._wanted, ""
        vocabulary = self.opened.catalogue.vocabulary
        options = [(e.text(vocabulary), key) for key, e in self.shown.items()]
        with self.fields.quietly():
            self.list.options = options
            self.list.value = wanted if wanted in self.shown else self._nearest(wanted)
            self.list.disabled = not options
        self._look()

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

    def mark(self, best: Iterable[Worth]) -> None:
        """Mark the part that is looked at, and the best few together."""
        self._near = self.entry or self._near
        few = [self.shown.get(worth.candidate.part.sku) for worth in best]
        self.chart.mark(self.entry, [e for e in few if e is not None and e.worth is not None])
