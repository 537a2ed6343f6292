"""Long walks over builds: in pieces, on any executor, with an end in sight.

A piece is a range of indices. Pieces run one after the other here, or on any
``concurrent.futures`` executor: a process pool, or that of a
``dask.distributed`` client (``client.get_executor()``), so that a cluster
runs the same code. What a piece needs is pickled once; a worker unpacks it once
and keeps it, with the tables it has made, for its next piece.
"""

from __future__ import annotations

import pickle
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future
from typing import Generic, TypeVar

from fitgraph.records import dataclass
from fitgraph.solve.query import Query
from fitgraph.solve.stream import Batch, Stream

T = TypeVar("T")

#: Builds in a piece, and pieces under way at once on an executor.
PIECE, UNDER_WAY = 1 << 22, 8


@dataclass(frozen=True, slots=True)
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

    def over(self, walked: int, seconds: float) -> str:
        """Return why a walk of so many builds and seconds has to end; empty where it may go on."""
        if self.cancelled is not None and self.cancelled():
            return "it was cancelled"
        if self.seconds is not None and seconds >= self.seconds:
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


#: The stream that a worker's thread walked last, and what it was unpacked from.
_held = threading.local()


def _run(packed: bytes, work: Callable[[Batch], T], start: int, stop: int) -> list[T]:
    if getattr(_held, "packed", None) != packed:
        _held.stream, _held.packed = pickle.loads(packed), packed
    return [work(batch) for batch in _held.stream.batches(start, stop)]


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
    patience, began = patience or Patience(), time.monotonic()
    stream = Stream(query, certain=certain)
    last = stream.total if stop is None else min(stop, stream.total)
    cut = last if patience.builds is None else min(last, start + patience.builds)
    ranges = ((a, min(a + piece, cut)) for a in range(start, cut, piece))
    if executor is None:
        for begin, end in ranges:
            if reason := patience.over(begin - start, time.monotonic() - began):
                yield Piece(begin, begin, [], reason)
                return
            yield Piece(begin, end, [work(b) for b in stream.batches(begin, end)])
    else:
        packed = pickle.dumps(stream)
        waiting: deque[tuple[int, int, Future[list[T]]]] = deque()
        try:
            while True:
                while len(waiting) < UNDER_WAY and (nearby := next(ranges, None)):
                    job = executor.submit(_run, packed, work, nearby[0], nearby[1])
                    waiting.append((*nearby, job))
                if not waiting:
                    break
                begin, end, future = waiting[0]
                if reason := patience.over(begin - start, time.monotonic() - began):
                    yield Piece(begin, begin, [], reason)
                    return
                yield Piece(begin, end, future.result())
                waiting.popleft()
        finally:
            for _, _, future in waiting:
                future.cancel()
    if cut < last:
        yield Piece(cut, cut, [], patience.over(cut - start, time.monotonic() - began))
