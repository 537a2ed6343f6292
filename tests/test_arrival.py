"""What a page is sent once it shows a component."""

from __future__ import annotations

from typing import Any

import ipywidgets as widgets
import pytest

from fitgraph.lab import MaterialTriangle, StockGaps, open_catalogue
from fitgraph.lab.arrival import Arrival, within
from fitgraph.lab.look import html, style


class _Component(widgets.VBox):
    def __init__(self) -> None:
        self.words = html("Looking …")
        self.choice = widgets.Dropdown(options=["one"])
        super().__init__()
        self.children = (style(self), widgets.VBox([self.words, self.choice]))


def _arrival(component: widgets.Widget) -> Arrival:
    return next(w for w in within(component) if isinstance(w, Arrival))


def test_a_page_gets_what_it_missed(monkeypatch: pytest.MonkeyPatch) -> None:
    component = _Component()
    component.words.value = "Found."
    component.choice.options = ["one", "two"]
    component.choice.layout.display = "none"
    sent: dict[str, dict[str, Any]] = {}
    monkeypatch.setattr(
        widgets.Widget, "send", lambda self, content, buffers=None: sent.update(content["states"])
    )
    _arrival(component).set_state({"times": 1})
    assert sent[component.words.model_id]["value"] == "Found."
    assert list(sent[component.choice.model_id]["_options_labels"]) == ["one", "two"]
    assert sent[component.choice.layout.model_id]["display"] == "none"
    assert not any({"_esm", "_css"} & state.keys() for state in sent.values())


def test_what_stands_inside_goes_first_and_nothing_twice() -> None:
    found = list(within(_Component()))
    assert len({w.model_id for w in found}) == len(found)
    assert isinstance(found[-1], _Component)


def test_the_code_of_charts_is_not_sent_again(monkeypatch: pytest.MonkeyPatch) -> None:
    page = MaterialTriangle(open_catalogue())
    sent: dict[str, dict[str, Any]] = {}
    monkeypatch.setattr(
        widgets.Widget, "send", lambda self, content, buffers=None: sent.update(content["states"])
    )
    _arrival(page).set_state({"times": 1})
    assert page.table.model_id in sent
    assert page.chart.model_id in sent and page.chart._code.model_id not in sent


@pytest.mark.long
def test_every_component_of_the_gaps_is_reached() -> None:
    page = StockGaps(open_catalogue())
    found = {w.model_id for w in within(page)}
    for widget in (page.restock.orders, page.covered.cells, page.restock.budget.slider.layout):
        assert widget.model_id in found
