"""What a page is told of a chart, and what it tells of a press."""

from __future__ import annotations

import json
import subprocess
import sys

import plotly.graph_objects as go
import pytest

from fitgraph.lab.chart import Chart
from fitgraph.lab.charts import blank


def _chart() -> Chart:
    return blank("a, mm", "b, mm", [go.Scatter(x=[1, 2], y=[1, 3]), go.Scatter(x=[5], y=[5])])


def test_charts_share_their_code_and_bring_only_what_is_drawn() -> None:
    one, other = _chart().get_state(), _chart().get_state()
    assert one["_code"] == other["_code"]
    assert len(json.dumps(one)) < 20_000
    assert [trace["x"] for trace in one["drawn"]["data"]] == [[1, 2], [5]]
    assert one["drawn"]["layout"]["xaxis"]["title"]["text"] == "a, mm"


def test_the_code_is_sent_once_and_again_when_it_was_closed() -> None:
    first = _chart()._code
    assert first is _chart()._code and len(first.text) > 1_000_000
    first.close()
    assert _chart()._code is not first


def test_a_page_is_told_of_a_change_once_and_whole() -> None:
    chart, told = _chart(), []
    chart.observe(lambda change: told.append(change["new"]), names="drawn")
    with chart.change() as figure:
        with chart.change():
            figure.data[0].x, figure.data[0].y = [1, 2, 3], [1, 3, None]
        figure.layout.xaxis.title.text = "c, mm"
    (drawn,) = told
    assert drawn["data"][0]["y"] == [1, 3, None] and drawn["data"][1]["x"] == [5]
    assert drawn["layout"]["xaxis"]["title"]["text"] == "c, mm"
    assert chart.get_state()["drawn"] == drawn


def test_a_press_is_told_to_who_asked_for_its_trace() -> None:
    chart, pressed = _chart(), []
    chart.on_press(0, pressed.append)
    for trace, point in ((0, 1), (1, 0), (0, 7), (0, -1), (0, 1)):
        chart.press(trace, point)
    assert pressed == [1, 1]


@pytest.mark.long
def test_no_page_waits_for_a_grammar_of_addresses() -> None:
    code = (
        "import sys, fitgraph.lab as lab; [getattr(lab, name) for name in lab.__all__];"
        " print('plotly' in sys.modules, 'rfc3987_syntax' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["True", "False"]
