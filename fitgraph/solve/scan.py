"""Long walks over builds: in pieces, on any executor, with an end in sight.

A piece is a range of indices. Pieces run one after the other here, or on any
``concurrent.futures`` executor: a process pool, or that of a
``dask.distributed`` client (``client.get_executor()``), so that a cluster
runs the same code.
"""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future
from dataclasses import dataclass, field
from typing import Generic, TypeVar

from fitgraph.solve.query import Query
from fitgraph.solve.stream import Batch, Stream

T = TypeVar("T")

#: Builds in a piece, and pieces under way at once on an executor.
PIECE, UNDER_WAY = 1 << 22, 8


@dataclass
class Patience:
    """When a walk has to end, whether it is through or not.

    Parameters
    ----------
    seconds : float or None
        How long it may take.
    builds : int or None
        How many builds it may walk.
    cancelled : callable or None
        Asked between pieces; true ends the walk (a widget that moved on).
    """

    seconds: float | None = None
    builds: int | None = None
    cancelled: Callable[[], bool] | None = None
    _started: float = field(default_factory=time.monotonic, repr=False)

    def over(self, walked: int) -> str:
        """Return why the walk has to end now; empty where it may go on."""
        if self.cancelled is not None and self.cancelled():
            return "it was cancelled"
        if self.seconds is not None and time.monotonic() - self._started >= self.seconds:
            return f"it reached its limit of {self.seconds:g} seconds"
        if self.builds is not None and walked >= self.builds:
            return f"it reached its limit of {self.builds:,} builds"
        return ""


@dataclass(frozen=True)
class Piece(Generic[T]):
    """What came of one piece of a walk.

    Parameters
    ----------
    start, stop : int
        Its range of indices.
    results : list
        What the work returned for each batch.
    ended : str
        Why the walk ended before the last piece; empty otherwise.
    """

    start: int
    stop: int
    results: list[T]
    ended: str = ""


def _run(query: Query, certain: bool, work: Callable[[Batch], T], start: int, stop: int) -> list[T]:
    return [work(batch) for batch in Stream(query, certain=certain).batches(start, stop)]


def scan(
    query: Query,
    work: Callable[[Batch], T],
    *,
    certain: bool = True,
    start: int = 0,
    stop: int | None = None,
    piece: int = PIECE,
    executor: Executor | None = None,
    patience: Patience | None = None,
) -> Iterator[Piece[T]]:
    """Yield what some work makes of all builds, piece by piece, in order.

    Parameters
    ----------
    query : Query
        The question over a compiled catalogue.
    work : callable
        Takes a :class:`fitgraph.solve.stream.Batch`; on an executor it and
        its results have to be picklable.
    certain : bool
        Whether builds that are only possible are left out.
    start, stop : int
        Range of indices; all by default. A walk that ended early goes on
        from the `stop` of its last piece.
    piece : int
        Builds in a piece.
    executor : concurrent.futures.Executor, optional
        Where the pieces run; here, one by one, by default.
    patience : Patience, optional
        When to end early.

    Yields
    ------
    Piece
        The last one says why the walk ended early, if it did.
    """
    patience = patience or Patience()
    stream = Stream(query, certain=certain)
    last = stream.total if stop is None else min(stop, stream.total)
    ranges = ((a, min(a + piece, last)) for a in range(start, last, piece))
    if executor is None:
        at = start
        for begin, end in ranges:
            if reason := patience.over(begin - start):
                yield Piece(begin, begin, [], reason)
                return
            at = end
            yield Piece(begin, at, [work(b) for b in stream.batches(begin, end)])
        return
    waiting: deque[tuple[int, int, Future[list[T]]]] = deque()
    try:
        while True:
            while len(waiting) < UNDER_WAY and (nearby := next(ranges, None)):
                job = executor.submit(_run, query, certain, work, nearby[0], nearby[1])
                waiting.append((*nearby, job))
            if not waiting:
                return
            begin, end, future = waiting.popleft()
            if reason := patience.over(begin - start):
                future.cancel()
                yield Piece(begin, begin, [], reason)
                return
            yield Piece(begin, end, future.result())
    finally:
        for _, _, future in waiting:
            future.cancel()
