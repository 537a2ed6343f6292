"""A limit that is typed or moved: a field for the figure, a slider beside it."""

from __future__ import annotations

from collections.abc import Callable

import ipywidgets as widgets

from fitgraph.lab.fields import FieldProblem, Fields
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
        self._fields = Fields()
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
        self._fields.watch(self._moved, self.slider)
        self.text.observe(lambda _: self._typed(), names="value")
        #: What is wrong with the entry stands under it.
        self.problem = FieldProblem()
        super().__init__(
            [self.text, self.problem, self.slider], layout=widgets.Layout(width="100%")
        )

    def reach(self, most: int, step: int) -> None:
        """Move the slider's right end; what is typed stays."""
        with self._fields.quietly():
            self.slider.step, self.slider.max = step, most
        self._typed()

    def _moved(self) -> None:
        value = self.slider.value
        self.text.value = "" if value >= self.slider.max else f"{value:.0f} {self._unit}"

    def _typed(self) -> None:
        text = self.text.value
        try:
            value = self._read(text) if text.strip() else float(self.slider.max)
        except UnitError:
            return
        with self._fields.quietly():
            self.slider.value = min(max(value, self.slider.min), self.slider.max)
