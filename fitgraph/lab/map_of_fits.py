"""The map of fits: interfaces by size, unfolded by a press; a way traced step by step."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import ipywidgets as widgets
import networkx as nx
from markupsafe import Markup

from fitgraph.draw import nests
from fitgraph.draw.fit_map import fit_map_svg
from fitgraph.explain.map_search import search
from fitgraph.explain.tracing import WayStep as Traced
from fitgraph.explain.tracing import steps
from fitgraph.explain.ways import Way, ways
from fitgraph.graph.size_map import SizeMap, drawn_roles
from fitgraph.lab.answering import Answering, Task
from fitgraph.lab.debounce import Debounce
from fitgraph.lab.fields import Fields, field
from fitgraph.lab.form import number_in, part_label
from fitgraph.lab.leads import page_link, parts_link
from fitgraph.lab.look import (
    LABEL,
    button,
    checkbox,
    dropdown,
    field_layout,
    fold,
    grid,
    heading,
    html,
    note,
    row,
    sides,
    style,
    text_field,
    verdict_line,
)
from fitgraph.lab.opened import MOST_MISS_MM, OpenCatalogue
from fitgraph.lab.pressable import Pressable
from fitgraph.lab.session import SessionBar
from fitgraph.lab.shown import Piece
from fitgraph.lab.slider import Slider
from fitgraph.report import size_maps
from fitgraph.report.blocks import Say, status
from fitgraph.report.cross_sections import cross_section
from fitgraph.report.ways_told import way_text
from fitgraph.solve.request import find_part

#: How far the tolerance goes to either side, and its step [mm].
STEP_MM = 0.01

#: Ways offered.
_MOST_WAYS = 100


class MapOfFits(Answering):
    """A map of interfaces that can be searched, unfolded and walked along.

    Parameters
    ----------
    opened : OpenCatalogue
        A catalogue that :func:`fitgraph.lab.open_catalogue` has opened.
    role : str, optional
        The role around which the map is drawn at first; all of it by default.
    way : pair of str, optional
        Stock numbers whose way is traced at first.
    """

    invites = "see the map of fits"
    public = ("found",)

    def __init__(
        self, opened: OpenCatalogue, role: str = "", way: tuple[str, str] = ("", "")
    ) -> None:
        super().__init__()
        self.opened = opened
        catalogue = opened.catalogue
        # Of many parts the map is made beside the page's fields, so that they can be used.
        known = opened.knows("sizes")
        self.whole = opened.sizes if known else SizeMap(catalogue, nx.MultiDiGraph(), {}, {})
        self._drawn: tuple[object, SizeMap] = (None, self.whole)
        self.found: tuple[Way, ...] = ()
        self.unfolded = ""
        self.part = ""
        self._make_fields(role)
        for end, sku in zip((self.one, self.other), way, strict=True):
            end.value = part_label(catalogue.parts[sku]) if sku in catalogue.parts else ""
        self.session = SessionBar(self, "map", f"MapOfFits {catalogue.name} {way}")
        self.children = self._arranged()
        self._watch()
        self.session.begin()

    # ------------------------------------------------------------ what it is made of

    def _make_fields(self, role: str) -> None:
        catalogue = self.opened.catalogue
        roles = catalogue.vocabulary.roles
        drawn = drawn_roles(catalogue)
        circles = [(f"around: {roles[r].title}", r) for r in roles if r in drawn]
        self.around = dropdown(
            "Drawn", [("everything", ""), *circles], value=role if role in drawn else ""
        )
        self.search = text_field("Search", "size, name, stock number")
        self.tolerance = Slider(
            min=-MOST_MISS_MM, max=MOST_MISS_MM, step=STEP_MM, description="Tolerance", unit="mm"
        )
        self.doubt = checkbox("Draw what cannot be told", value=True)
        self.map = Pressable()
        labels = tuple(part_label(p) for p in catalogue.parts.values())
        self.one, self.other = (
            widgets.Combobox(
                options=labels,
                description=end,
                placeholder="number or name",
                style=LABEL,
                layout=field_layout(),
            )
            for end in ("From", "To")
        )
        self.any_part = checkbox("Any part between, not only adapters")
        self.way = dropdown("Way", [("none", -1)], value=-1)
        self.back = button("Step back", lambda: self._go(self.at - 1), disabled=True)
        self.on = button("Next step", lambda: self._go(self.at + 1), disabled=True)
        self.from_here = button("From this part", lambda: self._take(self.one), disabled=True)
        self.to_here = button("To this part", lambda: self._take(self.other), disabled=True)
        self.at = 0
        self.status, self.problems, self.details = verdict_line(), html(), html()
        self.step_told, self.section, self.in_words_table = html(), html(), html()

    def _arranged(self) -> tuple[widgets.Widget, ...]:
        question = [
            heading("The map"),
            grid([self.search, self.around, self.tolerance, self.doubt], "340px"),
            self.map,
            note("Press a dot to unfold its parts, and a part to go on with it."),
        ]
        answer = [
            heading("What was pressed"),
            self.details,
            row([self.from_here, self.to_here]),
            heading("A way from one part to another"),
            # Each as wide as there is room, so that a name and its number are seen whole.
            grid([self.one, self.other, self.way, self.any_part], "100%"),
            self.problems,
            row([self.back, self.on]),
            self.step_told,
            self.section,
        ]
        return (
            style(self),
            self.status,
            sides(question, answer, halves=True),
            fold("The map in words", [self.in_words_table]),
            self.session,
        )

    def _watch(self) -> None:
        self.fields = Fields(
            **{
                "from": field(self.one),
                "to": field(self.other),
                "any_part": field(self.any_part),
                "drawn": field(self.around),
                "search": field(self.search),
                "tolerance": field(self.tolerance),
                "doubt": field(self.doubt),
            }
        )
        widgets.jslink((self.tolerance, "value"), (self.map, "tolerance"))
        self.fields.watch(self._draw, self.around)
        self.fields.watch(Debounce(self._tell), self.doubt, self.search, self.tolerance)
        self.fields.watch(Debounce(self._seek), self.one, self.other, self.any_part)
        self.fields.watch(lambda: self._go(0), self.way)
        self.map.observe(self._pressed, names="pressed")
        self.map.observe(lambda _: self._draw(), names="narrow")

    # ------------------------------------------------------------ the map

    @property
    def shown(self) -> SizeMap:
        """Return what is drawn of the map."""
        on_the_way = [reference for step in self.trace for reference, _ in step.ends]
        key = id(self.whole), self.around.value, tuple(on_the_way)
        if self._drawn[0] != key:
            self._drawn = key, self.whole.around(self.around.value or None, on_the_way)
        return self._drawn[1]

    @property
    def trace(self) -> Sequence[Traced]:
        """Return the steps of the way that is traced."""
        chosen = self.way.value
        return steps(self.found[chosen]) if 0 <= chosen < len(self.found) else ()

    def _draw(self) -> None:
        if not self.opened.knows("sizes"):
            self.write(self.status, status("Drawing the map …"))
            return
        with self.in_words(self.problems):
            self.map.svg = fit_map_svg(
                self.shown,
                trace=self.trace,
                at=self.at,
                unfolded=self.unfolded or None,
                pressable=True,
                narrow=self.map.narrow,
            )
            self._tell()

    def _tell(self) -> None:
        """Mark what is sought, and say what is drawn."""
        if not self.opened.knows("sizes"):
            return
        with self.in_words(self.problems):
            shown, tolerance = self.shown, round(self.tolerance.value, 4)
            self.map.hidden = [] if self.doubt.value else ["fg-unknown"]
            match = search(shown, self.search.value)
            told = size_maps.tolerance(shown, tolerance)
            self.map.marked = [n for n in match.interfaces if n in shown.view] + [*match.parts]
            if self.search.value.strip():
                told = (
                    size_maps.matched(match, self.search.value, self.opened.catalogue) + " " + told
                )
            self.write(self.status, status(told))
            self.write(self.details, *self._details(shown, tolerance))
            self.write(self.in_words_table, size_maps.whole(shown, tolerance))
            self.keep()

    def _pressed(self, change: Mapping[str, Any]) -> None:
        sort, name, _ = change["new"]
        if sort == "part":
            self.part = name if name in self.opened.catalogue.parts else ""
        elif name in self.whole.view:
            self.part = ""
            self.unfolded = "" if name == self.unfolded else name
        self.from_here.disabled = self.to_here.disabled = not self.part
        self._draw()

    def _details(self, shown: SizeMap, tolerance: float) -> Iterator[Piece]:
        """Yield what is told of the part and of the interface that were pressed."""
        if self.part:
            yield size_maps.part(shown, self.part)
            yield self._links()
        if self.unfolded in shown.view:
            yield size_maps.interface(shown, self.unfolded, tolerance)
        elif not self.part:
            yield Say("Nothing yet.")

    def _links(self) -> Markup:
        catalogue = self.opened.catalogue
        links = (
            parts_link("why", [self.part], catalogue, "why it fits or not"),
            parts_link("builds", [self.part], catalogue, "what can be built with it"),
            page_link("gaps", "gaps in stock"),
            page_link("adapters", "the next adapter"),
        )
        told = Markup("<p>Go on with {}: {}.</p>")
        return told.format(catalogue.called(self.part), Markup(", ").join(links))

    def _take(self, field: widgets.Combobox) -> None:
        if self.part:
            field.value = part_label(self.opened.catalogue.parts[self.part])

    # ------------------------------------------------------------ ways

    def _ends(self) -> tuple[str, str] | None:
        catalogue = self.opened.catalogue
        names = [number_in(f.value, catalogue) for f in (self.one, self.other)]
        if not all(names):
            return None
        return find_part(catalogue, names[0]).sku, find_part(catalogue, names[1]).sku

    def refresh(self) -> None:
        """Draw the map as the fields have it, and look for the way."""
        if not self.opened.knows("sizes"):
            self._draw()
        self._seek()

    def _arrived(self, found: SizeMap) -> None:
        self.whole = found
        self._draw()

    def _seek(self) -> None:
        with self.in_words(self.problems):
            self.write(self.problems)
            ends, explainer = self._ends(), self.opened.explainer
            roles = self.opened.catalogue.vocabulary.roles if self.any_part.value else None
            drawn = Task(
                lambda: self.opened.sizes, self._arrived, slow=not self.opened.knows("sizes")
            )
            step = Task(
                lambda: () if ends is None else ways(explainer, *ends, through=roles),
                lambda found: self._offer(
                    found[:_MOST_WAYS], "none" if ends is None else "no path"
                ),
            )
            first = [] if self._drawn[0] else [drawn]
            self.work_out(lambda: [*first, step], self.problems)

    def _offer(self, found: tuple[Way, ...], none: str) -> None:
        self.found = found
        offered = [(way_text(w, self.opened.catalogue), n) for n, w in enumerate(found)]
        with self.fields.quietly():
            self.way.options = offered or [(none, -1)]
            self.way.value = 0 if found else -1
        self._go(0)

    def _go(self, at: int) -> None:
        """Look at a step of the way."""
        trace = self.trace
        self.at = max(0, min(at, len(trace) - 1))
        self.back.disabled = self.at == 0
        self.on.disabled = self.at >= len(trace) - 1
        if trace:
            one = trace[self.at]
            catalogue = self.opened.catalogue
            self.write(self.step_told, size_maps.step(one, catalogue, self.at + 1, len(trace)))
            roles = {o.role for o in one.options}
            telling = [n for n in nests(one.joined, catalogue.vocabulary) if roles <= n.roles]
            drawn = [cross_section(n, catalogue.vocabulary) for n in telling[:1]]
            self.write(self.section, *drawn)
        else:
            named = self.one.value.strip() and self.other.value.strip()
            text = "No path with these parts between." if named else "Name two parts."
            self.write(self.step_told, Say(text))
            self.write(self.section)
        self._draw()
