"""A limit that is typed or moved: a field for the figure, a slider beside it."""

from __future__ import annotations

from collections.abc import Callable

import ipywidgets as widgets

from fitgraph.lab.field_problem import FieldProblem
from fitgraph.lab.look import LABEL
from fitgraph.lab.slider import Slider
from fitgraph.units import UnitError


class LimitField(widgets.VBox):
    """A text field with a slider; the slider's right end means no limit.

    Parameters
    ----------
    name : str
        What is limited.
    unit : str
        The slider's unit, for its label.
    placeholder : str
        An example to type.
    read : callable
        Reads a typed figure in the slider's unit; raises UnitError.
    least, most : int
        Ends of the slider.
    step : int
        Its step.
    """

    def __init__(
        self,
        name: str,
        unit: str,
        placeholder: str,
        read: Callable[[str], float],
        least: int,
        most: int,
        step: int,
    ) -> None:
        self._read, self._unit = read, unit
        self._following = False
        self.text = widgets.Text(
            description=name,
            placeholder=placeholder,
            style=LABEL,
            layout=widgets.Layout(width="auto"),
        )
        self.slider = Slider(
            value=most,
            min=least,
            max=most,
            step=step,
            digits=0,
            at_end="no limit",
            description=f"{name} slider",
            unit=unit,
        )
        self.slider.observe(self._moved, names="value")
        self.text.observe(self._typed, names="value")
        #: What is wrong with the entry stands under it.
        self.problem = FieldProblem()
        super().__init__(
            [self.text, self.problem, self.slider], layout=widgets.Layout(width="100%")
        )

    def reach(self, most: int, step: int) -> None:
        """Move the slider's right end; what is typed stays."""
        self._following = True
        try:
            self.slider.step, self.slider.max = step, most
        finally:
            self._following = False
        self._typed({"new": self.text.value})

    def _moved(self, change: dict[str, float]) -> None:
        if self._following:
            return
        at_end = change["new"] >= self.slider.max
        self.text.value = "" if at_end else f"{change['new']:.0f} {self._unit}"

    def _typed(self, change: dict[str, str]) -> None:
        try:
            value = self._read(change["new"]) if change["new"].strip() else float(self.slider.max)
        except UnitError:
            return
        self._following = True
        try:
            self.slider.value = min(max(value, self.slider.min), self.slider.max)
        finally:
            self._following = False
