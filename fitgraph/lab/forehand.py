"""What pages ask first, asked before anybody opens them.

The process that kernels are forked from asks it, so that a page's first answer is there when the
page is; a page that is opened earlier asks for itself.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import suppress

from fitgraph.lab.opened import OpenCatalogue
from fitgraph.solve import Request


def quick(opened: OpenCatalogue) -> Iterator[None]:
    """Ask what is answered within a second each; what comes first is needed first.

    Parameters
    ----------
    opened : OpenCatalogue
        The catalogue that the pages are about; it keeps the answers.

    Yields
    ------
    None
        After each.
    """
    engine = opened.engine
    yield from _each(
        [
            lambda: engine.space,
            lambda: opened.explainer,
            opened.shop.check,
            _questions(opened),
            _charts,
            lambda: engine.count(Request()),
            lambda: engine.count_possible(Request()),
            lambda: opened.ends,
            lambda: opened.sizes,
        ]
    )


def slow(opened: OpenCatalogue) -> None:
    """Ask what takes seconds.

    Parameters
    ----------
    opened : OpenCatalogue
        As for :func:`quick`.
    """
    from fitgraph.adapters.trials import ChangedMake
    from fitgraph.lab.coverage_panel import PAGE
    from fitgraph.shop.weighed import weighed

    def scanned() -> None:
        vocabulary = opened.catalogue.vocabulary
        make = next((m for m in vocabulary.makes.values() if m.role in vocabulary.roles), None)
        if make is not None and not opened.is_wide:  # it waits until somebody asks for it
            found, choice = weighed(opened.shop), ChangedMake.of(make)
            found.plane(choice)
            found.scan(choice)

    def weak() -> None:
        from fitgraph.stock.reliance import reliance

        reliance(opened.engine)  # what it asks without each part is kept with the engine

    def lacking() -> None:
        if opened.is_wide:  # it waits until somebody asks for it
            return
        for enquiry, _ in opened.coverage().unserved[:PAGE]:
            opened.lacks(enquiry)

    kept = (lambda: opened.turn, lambda: opened.curve)
    for _ in _each([opened.coverage, lambda: opened.stranded, scanned, weak, lacking, *kept]):
        pass


def _each(asked: list[Callable[[], object]]) -> Iterator[None]:
    for ask in asked:
        with suppress(Exception):  # whatever is wrong is told on the page that asks
            ask()
        yield


def _questions(opened: OpenCatalogue) -> Callable[[], object]:
    def first() -> None:
        if opened.catalogue.vocabulary.identify is not None and not opened.is_wide:
            opened.rider  # noqa: B018  it is kept

    return first


def _charts() -> None:
    """Draw one, so that what draws them is read."""
    import plotly.graph_objects as go

    from fitgraph.lab.charts import blank

    blank("", "", [go.Scatter(), go.Bar(), go.Heatmap()]).close()
