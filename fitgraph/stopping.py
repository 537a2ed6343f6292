"""Stop a computation that nobody waits for any more, where it says that it can be stopped.

Whoever computes for long calls :func:`check` once a turn of its outer loops; whoever may lose
interest runs it with a :class:`Stop` and sets that. Without one a check costs next to nothing.

>>> stop = Stop()
>>> with stopped_by(stop):
...     check()  # nobody has set it
...     stop.set()
...     check()
Traceback (most recent call last):
    ...
fitgraph.stopping.StoppedError
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar


class StoppedError(BaseException):
    """Somebody stopped a computation.

    No ``Exception``: nothing went wrong, so nobody who mends what goes wrong is to take it.
    """


class Stop:
    """Whether what is computed with it is to stop; may be set from another thread."""

    __slots__ = ("is_set",)

    def __init__(self) -> None:
        self.is_set = False

    def set(self) -> None:
        """Stop it at its next check."""
        self.is_set = True


_stop: ContextVar[Stop | None] = ContextVar("fitgraph_stop", default=None)


def check() -> None:
    """Go on, unless this computation is to stop.

    Raises
    ------
    StoppedError
        If the stop that this runs with is set.
    """
    stop = _stop.get()
    if stop is not None and stop.is_set:
        raise StoppedError


@contextmanager
def stopped_by(stop: Stop) -> Iterator[None]:
    """Let a stop end what is computed inside, in this thread and in copies of its context.

    Parameters
    ----------
    stop : Stop
        Set by whoever loses interest.
    """
    token = _stop.set(stop)
    try:
        yield
    finally:
        _stop.reset(token)
