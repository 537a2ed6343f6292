"""What nobody enters by hand, a page takes without harm: addresses, numbers, signs."""

from __future__ import annotations

import base64
import json
import zlib
from dataclasses import replace
from html import unescape
from typing import Any

import pytest

from fitgraph.draw import nests
from fitgraph.lab import FitLesson, OpenCatalogue, WhyExplorer, open_catalogue
from fitgraph.lab.charts import blank
from fitgraph.lab.coverage_panel import CoveragePanel
from fitgraph.lab.session import SessionError, from_address
from fitgraph.model import Verdict
from fitgraph.stock import Coverage, Standing

PARTS = ("FORK-VEN-04", "BAR-MAR-05", "CLMP-SKE-02")


@pytest.fixture(scope="module")
def opened() -> OpenCatalogue:
    return open_catalogue(demo=True)


def address(page: str, entries: str) -> str:
    """Return an address with entries as they stand in the text."""
    text = f'{{"format":"fitgraph-session","version":1,"page":"{page}","entries":{entries}}}'
    packed = zlib.compress(text.encode())
    return "session=" + base64.urlsafe_b64encode(packed).decode().rstrip("=")


@pytest.mark.parametrize(
    "entries",
    [
        '{"parts": {"bar": "\\ud800"}}',
        '{"parts": {"\\udfff": ""}}',
        '{"parts": [["\\ud800"]]}',
        '{"moved": {"bar.bore.diameter": 1e999}}',
        '{"moved": {"bar.bore.diameter": -1e300}}',
        '{"moved": {"bar.bore.diameter": NaN}}',
        '{"moved": ' + "9" * 30 + "}",
        '{"moved": ' + "9" * 5000 + "}",
        '{"parts": ' * 600 + "1" + "}" * 600,
        '{"parts": ' + "[" * 900 + "]" * 900 + "}",
    ],
)
def test_what_cannot_have_been_entered_is_refused_in_words(entries: str) -> None:
    with pytest.raises(SessionError):
        from_address(address("why", entries), "why")


@pytest.mark.parametrize("page", ["\\ud800", "x" * 5000])
def test_the_name_of_another_page_is_told_in_what_can_be_sent(page: str) -> None:
    with pytest.raises(SessionError) as told:
        from_address(address(page, "{}"), "why")
    assert len(str(told.value).encode()) < 200


@pytest.mark.parametrize(
    "state",
    [
        {"parts": {"bar": "BAR-MAR-05"}, "moved": {"bar.bore.diameter": 1e9}},
        {"parts": "bar"},
        {"moved": 7},
        {"example": {}},
    ],
)
def test_a_page_stays_as_it_began_under_a_crafted_session(
    opened: OpenCatalogue, monkeypatch: pytest.MonkeyPatch, state: dict[str, Any]
) -> None:
    monkeypatch.setenv("VOILA_REQUEST_URL", "http://127.0.0.1/")
    monkeypatch.setenv("QUERY_STRING", address("lesson", json.dumps(state)))
    page = FitLesson(opened, {"one": PARTS})
    assert page.drawing.value != "" and page.told.value != ""
    for value in (page.state(), [s.value for s in page.sliders.values()]):
        json.dumps(value).encode()
    assert all(abs(s.value) <= 1000 for s in page.sliders.values())


def test_a_crafted_address_leaves_why_not_answering(
    opened: OpenCatalogue, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("VOILA_REQUEST_URL", "http://127.0.0.1/")
    monkeypatch.setenv("QUERY_STRING", address("why", '{"parts": {"bar": "\\ud800"}}'))
    page = WhyExplorer(opened, ("FORK-SKE-01", "BAR-OST-03"))
    assert "does not fit" in page.answer.value
    assert "nobody can have entered" in page.session.message.value


def test_enquiries_with_one_number_keep_their_own_explanations(opened: OpenCatalogue) -> None:
    one = replace(opened.catalogue.enquiries[0], number="", note="first")
    two = replace(opened.catalogue.enquiries[1], number="", note="second")
    said = {one: "Said of the first.", two: "Said of the second."}
    opened.lacking.update(said)
    panel = CoveragePanel(opened, lambda: None)
    panel.show(Coverage(opened.catalogue, (one, two), (Standing.NEITHER,) * 2, 2))
    shown = unescape(panel.list.value)
    rows = shown.split("<tr>")
    assert len([r for r in rows if "first" in r and "Said of the first." in r]) == 1
    assert len([r for r in rows if "second" in r and "Said of the second." in r]) == 1


def test_a_charts_text_is_no_mathematics() -> None:
    assert blank("", "", []).config["typesetMath"] is False


def test_the_lesson_lists_every_joint_that_it_draws_with_its_verdict(opened: OpenCatalogue) -> None:
    """The bar over the steerer lacks 2.31 mm here, and needs a kit that nobody named."""
    page = FitLesson(opened, {"one": PARTS})
    listed = unescape(page.all_joints.value)
    drawn = nests(page.options(), opened.catalogue.vocabulary)
    matings = {m.joint.name: m for n in drawn for m in n.matings}
    assert matings["bar-on-steerer"].verdict is Verdict.FAILS
    for mating in matings.values():
        (line,) = [x for x in listed.split("<tr>") if f">{mating.joint.title}<" in x]
        assert ("does not fit" in line) == (mating.verdict is Verdict.FAILS)
    assert "do not close the rings" not in listed


def test_an_example_shows_its_parts_around_the_axis_and_leaves_out_the_others(
    opened: OpenCatalogue,
) -> None:
    other = "wheels"
    whole = (*PARTS, opened.catalogue.of(other)[0].sku)
    page, bare = FitLesson(opened, {"one": whole}), FitLesson(opened, {"one": PARTS})
    assert other not in page.pickers
    assert page.state() == bare.state() and page.drawing.value == bare.drawing.value
