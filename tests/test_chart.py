"""What goes out to a page that draws a chart, and when."""

from __future__ import annotations

import asyncio
import subprocess
import sys
from typing import Any

import plotly.graph_objects as go
import pytest

from fitgraph.lab.charts import blank, keep_state
from tests.looping import in_a_loop


def _chart() -> tuple[Any, list[dict[str, Any]]]:
    figure = blank("a, mm", "b, mm", [go.Scatter(x=[1], y=[1], marker={"size": 5})])
    sent: list[dict[str, Any]] = []
    figure.observe(lambda c: c["new"] and sent.append(c["new"]), names="_py2js_update")
    figure.observe(lambda c: c["new"] and sent.append(c["new"]), names="_py2js_restyle")
    return figure, sent


def _seen(figure: Any, edit: int) -> None:
    """Say what a page says once it has drawn."""
    figure._js2py_traceDeltas = {"trace_deltas": [], "trace_edit_id": edit}


def test_charts_share_their_code_and_bring_all_their_traces() -> None:
    one, other = _chart()[0], _chart()[0]
    state = one.get_state()
    assert state["_code"] == other.get_state()["_code"] == f"IPY_MODEL_{one._code.model_id}"
    assert len(state["_esm"]) < 2_000 < 1_000_000 < len(one._code.get_state()["text"])
    assert [trace["x"] for trace in state["_widget_data"]] == [[1]]


def test_code_that_was_closed_is_sent_again() -> None:
    first = _chart()[0]._code
    first.close()
    assert _chart()[0]._code is not first


def test_changes_wait_while_a_page_draws_for_the_first_time() -> None:
    async def drawing() -> list[dict[str, Any]]:
        figure, sent = _chart()
        before = figure._last_trace_edit_id
        figure._view_count = 1
        figure.data[0].x = [1, 2]
        with figure.batch_update():
            figure.data[0].marker.size = 7
            figure.layout.xaxis.title.text = "c, mm"
        keep_state(figure)
        assert sent == []
        _seen(figure, before)
        assert len(sent) == 1
        _seen(figure, figure._last_trace_edit_id)
        await asyncio.sleep(0.7)
        return sent

    sent = in_a_loop(drawing())
    assert len(sent) == 1
    assert sent[0]["style_data"]["x"] == [[1, 2]]
    assert sent[0]["style_data"]["marker.size"] == [7]
    assert sent[0]["layout_data"]["xaxis.title.text"] == "c, mm"
    assert not {"uid", "type"} & sent[0]["style_data"].keys()
    assert "height" not in sent[0]["layout_data"]  # or it would be taken as fixed


def test_what_a_page_knew_when_it_began_to_draw_is_not_sent_again() -> None:
    async def drawing() -> list[dict[str, Any]]:
        figure, sent = _chart()
        figure._view_count = 1
        figure.data[0].x = [1, 2]
        _seen(figure, figure._last_trace_edit_id)
        await asyncio.sleep(0.7)
        return sent

    assert in_a_loop(drawing()) == []


def test_a_drawing_that_missed_a_change_gets_it_again() -> None:
    async def late() -> list[dict[str, Any]]:
        figure, sent = _chart()
        figure.data[0].x = [1, 2]
        assert len(sent) == 1
        _seen(figure, figure._last_trace_edit_id - 1)
        await asyncio.sleep(0.7)
        assert len(sent) == 2
        _seen(figure, figure._last_trace_edit_id)
        await asyncio.sleep(0.7)
        return sent

    sent = in_a_loop(late())
    assert len(sent) == 2
    assert sent[1]["style_data"]["x"] == [[1, 2]]


@pytest.mark.long
def test_no_page_waits_for_a_grammar_of_addresses() -> None:
    code = (
        "import sys, fitgraph.lab as lab; [getattr(lab, name) for name in lab.__all__];"
        " print('plotly' in sys.modules, 'rfc3987_syntax' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["True", "False"]
