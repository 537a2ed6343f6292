"""What a page shows until its widgets are there: the same answer, and nothing that is pressed."""

from __future__ import annotations

import asyncio
import gc
import threading
import time
import weakref
from html import unescape
from html.parser import HTMLParser

import pytest

from fitgraph.lab import BuildExplorer, Counter, StockGaps, WhyExplorer, open_catalogue
from fitgraph.lab.answering import Answering, beside
from fitgraph.lab.early import MIME
from fitgraph.stock import Standing
from fitgraph.stopping import Stop, StoppedError, check

#: Elements that somebody could press or fill in.
CONTROLS = {"button", "input", "select", "textarea"}


class Read(HTMLParser):
    """Controls, classes and words of a page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.controls: list[dict[str, str | None]] = []
        self.classes: set[str] = set()
        self.words = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        self.classes |= set((given.get("class") or "").split())
        if tag in CONTROLS or given.get("role") == "button":
            self.controls.append(given)

    def handle_data(self, data: str) -> None:
        self.words += data


def opened(make: type[Answering], **given: object) -> tuple[Answering, dict[str, str]]:
    async def shown() -> tuple[Answering, dict[str, str]]:
        page = make(open_catalogue(), **given)
        sent = page._repr_mimebundle_()
        page.stop()
        return page, sent

    return asyncio.run(shown())


@pytest.mark.parametrize(
    "make, given, told",
    [
        (Counter, {}, "Say what they have"),
        (WhyExplorer, {"parts": ("FORK-SKE-01", "BAR-OST-03")}, "bar over the kit's sleeve"),
        (BuildExplorer, {"have": ("FORK-SKE-01",)}, "builds certain to fit"),
        (StockGaps, {}, "Unmet demand over time"),
    ],
)
def test_a_page_is_sent_with_its_first_answer_and_no_control_that_is_dead(
    make: type[Answering], given: dict[str, object], told: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("VOILA_REQUEST_URL", "http://127.0.0.1/")
    page, sent = opened(make, **given)
    early = Read(sent[MIME])
    assert told in unescape(early.words)
    assert early.controls
    assert [c for c in early.controls if "disabled" not in c] == []
    # It is no form of its own: whoever waits for the form waits for the widgets.
    assert "fg-early" in early.classes and "fg-form" not in early.classes
    # Sent once; what is shown again later is the component alone.
    assert MIME not in page._repr_mimebundle_()


def test_a_notebook_is_sent_no_copy(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("VOILA_REQUEST_URL", raising=False)
    assert MIME not in opened(Counter)[1]


def test_what_was_asked_ahead_is_the_same_answer() -> None:
    from fitgraph.lab.forehand import quick
    from fitgraph.stock import coverage

    shop = open_catalogue()
    for _ in quick(shop):
        pass
    assert not shop.covered
    assert shop.coverage().total == coverage(shop.engine).total
    assert shop.covered and shop.coverage() is shop.coverage()


def test_stock_is_sent_with_its_table_where_that_is_known(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("VOILA_REQUEST_URL", "http://127.0.0.1/")
    shop = open_catalogue()
    total = shop.coverage().total
    served = f"{total.of(Standing.STOCK):g} of {total.total:g}"

    async def sent() -> tuple[StockGaps, str]:
        page = StockGaps(shop)
        text = page._repr_mimebundle_()[MIME]
        page.stop()
        return page, str(text)

    page, text = asyncio.run(sent())
    early = Read(text)
    assert f"{served} enquiries ({total.share():.0%}) can be built from stock" in early.words
    table = page.covered.cells
    told = [c["text"] for row in table.cells for c in row if c is not None]
    assert told and all(words in early.words for words in told)
    assert "fg-cells" in early.classes


def test_what_a_stopped_computation_held_is_let_go_at_once() -> None:
    held: list[weakref.ref[object]] = []

    class Large:
        pass

    def compute() -> None:
        large = Large()
        held.append(weakref.ref(large))
        while True:
            check()
            time.sleep(0.001)

    async def stopped() -> None:
        threads, stop = threading.active_count(), Stop()
        waiting = asyncio.create_task(beside(compute, stop))
        while not held:
            await asyncio.sleep(0.001)
        stop.set()
        with pytest.raises(StoppedError):
            await waiting
        while threading.active_count() > threads:
            await asyncio.sleep(0.001)

    gc.collect()
    gc.disable()
    try:
        asyncio.run(stopped())
        assert held[0]() is None
    finally:
        gc.enable()
