"""The best few parts together, as many as a slider says."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from fitgraph.adapters import Scan, Together, Worth
from fitgraph.lab.answering import Panel
from fitgraph.lab.fields import Fields, field
from fitgraph.lab.look import checkbox, grid, heading, html
from fitgraph.lab.opened import OpenCatalogue
from fitgraph.lab.slider import Slider
from fitgraph.report.designs import best_few

#: More parts than this are not chosen together.
MOST_TOGETHER = 8


class BestFewPanel(Panel):
    """The best one, the best two and so on, with the proof.

    Parameters
    ----------
    opened : OpenCatalogue
        The catalogue.
    changed : callable
        Called when another number of parts is shown.
    """

    def __init__(self, opened: OpenCatalogue, changed: Callable[[], None]) -> None:
        super().__init__(opened, changed)
        self.scan: Scan | None = None
        self.steps: Sequence[Together] = ()
        self._in_stock = False
        counts = {"value": 1.0, "min": 1.0, "max": float(MOST_TOGETHER), "step": 1.0, "digits": 0}
        self.k = Slider(**counts, description="Made at most")
        self.mixed = checkbox("Choose among all kinds of parts", "2px")
        self.together = html()
        self.fields = Fields(k=field(self.k), mixed=field(self.mixed))
        self.fields.watch(self.refresh, self.k)
        self.children = (
            heading("The best few together"),
            grid([self.k, self.mixed], "300px"),
            self.together,
        )

    @property
    def chosen(self) -> tuple[Worth, ...]:
        """Return the best parts, as many as the slider says."""
        useful = [step for step in self.steps if step.worths]
        return useful[min(int(self.k.value), len(useful)) - 1].worths if useful else ()

    def clear(self) -> None:
        """Show nothing."""
        self.scan, self.steps = None, ()
        self.write(self.together)

    def show(self, scan: Scan, steps: Sequence[Together], *, in_stock: bool) -> None:
        """Show the best few of what was weighed."""
        self.scan, self.steps, self._in_stock = scan, steps, in_stock
        self.refresh()

    def refresh(self) -> None:
        """Show as many as the slider says."""
        if self.scan is None:
            return
        with self.in_words(self.together):
            k, in_stock = int(self.k.value), self._in_stock
            self.write(self.together, *best_few(self.scan, self.steps, k, in_stock=in_stock))
            self._changed()
