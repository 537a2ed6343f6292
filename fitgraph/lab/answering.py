"""A widget that answers in steps, tells faults in words and can be stopped."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from contextvars import copy_context
from itertools import chain
from typing import Any

import ipywidgets as widgets

from fitgraph.lab import tables
from fitgraph.lab.arrival import within
from fitgraph.lab.early import MIME, early_html
from fitgraph.lab.form import FormError
from fitgraph.lab.session import SessionError, page_address
from fitgraph.solve import NamingError
from fitgraph.stopping import Stop, StoppedError, check, stopped_by

#: Shows a result.
Show = Callable[[], None]

#: Whether it may take long, and what computes and returns what shows the result.
Step = tuple[bool, Callable[[], Show]]


class Work:
    """One long computation beside the event loop.

    Parameters
    ----------
    function : callable
        Without arguments; what it returns is the result.
    """

    def __init__(self, function: Callable[[], Show]) -> None:
        self._function, self._stop = function, Stop()
        self._thread: threading.Thread | None = None

    async def result(self) -> Show:
        """Return what the function returns.

        Raises
        ------
        StoppedError
            If it was stopped.
        """
        loop = asyncio.get_running_loop()
        done: asyncio.Future[Show] = loop.create_future()

        def settle(value: Show | None, error: BaseException | None) -> None:
            if done.done():
                return
            if value is None:
                done.set_exception(error or StoppedError())
            else:
                done.set_result(value)

        def compute() -> None:
            value: Show | None = None
            error: BaseException | None = None
            try:
                with stopped_by(self._stop):
                    value = self._function()
                    check()
            except StoppedError:
                value = None  # the error itself would keep all that was being computed
            except BaseException as raised:
                error = raised
            # The loop may be gone by now, with everybody who waited.
            with suppress(RuntimeError):
                loop.call_soon_threadsafe(settle, value, error)

        # In a copy of the context, so that what is printed goes where the page's output goes.
        self._thread = threading.Thread(target=copy_context().run, args=(compute,), daemon=True)
        self._thread.start()
        return await done

    def stop(self) -> None:
        """Stop it at its next check."""
        self._stop.set()


class Answering(widgets.VBox):
    """A component whose answers follow its fields.

    Only the last question is answered: a new one stops what is still being computed for
    the one before.
    """

    def __init__(self) -> None:
        super().__init__()
        self._tasks: set[asyncio.Task[None]] = set()
        self._work: dict[int, Work] = {}
        self._is_sent = False
        self.add_class("fg")
        self.add_class("fg-form")

    @contextmanager
    def in_words(self, place: widgets.HTML) -> Iterator[None]:
        """Show what goes wrong where the answer would stand, never as a traceback."""
        try:
            yield
        except (FormError, NamingError, SessionError) as error:
            place.value = tables.wrap(tables.alert(str(error)))
        except Exception as error:  # a person at a counter can do nothing with a traceback
            place.value = tables.wrap(
                tables.alert(
                    f"This could not be worked out ({type(error).__name__}: {error}). "
                    "Take the last entry back; if it stays, report it with your entries."
                )
            )

    @property
    def opening(self) -> bool:
        """Whether a page is still to show this for the first time."""
        return not self._is_sent and page_address() is not None

    def _repr_mimebundle_(self, **kwargs: Any) -> Any:
        """Return what a notebook shows; a page shows a copy until the widgets are there."""
        bundle = super()._repr_mimebundle_(**kwargs)
        if self.opening:
            with suppress(Exception):  # the widgets follow in any case
                bundle[MIME] = early_html(self)
        for part in within(self):
            if isinstance(part, Answering):
                part._is_sent = True
        return bundle

    def run(
        self, steps: Callable[[], Iterable[Step]], current: Callable[[], bool], place: widgets.HTML
    ) -> None:
        """Run the steps of an answer one after the other, and drop it once it is outdated.

        Parameters
        ----------
        steps : callable
            Returns them; an iterator makes each step once the one before is shown.
        current : callable
            Whether the answer is still wanted.
        place : HTML
            Where a fault is told.

        Notes
        -----
        A step that is slow computes beside the event loop, so that the fields stay alive;
        what it returns then shows the result. Without an event loop all of it happens at
        once. On a page that is opening, so does what comes before the first slow step: it is
        sent with the page.
        """
        try:
            loop = asyncio.get_running_loop()
        except RuntimeError:
            loop = None
        rest: Iterable[Step] = ()
        if loop is None or self.opening:
            over = True
            with self.in_words(place):
                whole = iter(steps())
                for slow, compute in whole:
                    if slow and loop is not None:
                        rest, over = chain([(slow, compute)], whole), False
                        break
                    compute()()
            if over:
                return

        async def in_turn() -> None:
            with self.in_words(place):
                for slow, compute in rest or steps():
                    await asyncio.sleep(0)
                    if not current():
                        return
                    show = await self._beside(compute, place) if slow else compute()
                    if not current() or show is None:
                        return
                    show()

        assert loop is not None
        task = loop.create_task(in_turn())
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    async def _beside(self, compute: Callable[[], Show], place: widgets.HTML) -> Show | None:
        """Compute in a thread; one a place, so that an outdated one makes room."""
        key = id(place)
        if key in self._work:
            self._work[key].stop()
        work = self._work[key] = Work(compute)
        try:
            return await work.result()
        except StoppedError:
            return None
        finally:
            if self._work.get(key) is work:
                del self._work[key]

    def stop(self) -> None:
        """Stop whatever is still being computed."""
        for work in self._work.values():
            work.stop()
