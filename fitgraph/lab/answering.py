"""A widget that answers in steps, tells faults in words and can be stopped."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from contextvars import copy_context
from itertools import chain
from typing import TYPE_CHECKING, Any, Generic, TypeVar

import ipywidgets as widgets

from fitgraph.errors import InputError
from fitgraph.lab.arrival import within
from fitgraph.lab.early import MIME, early_html
from fitgraph.lab.fields import Fields
from fitgraph.lab.form import STILL_BEFORE, FormError
from fitgraph.lab.session import SessionBar, SessionError, page_address
from fitgraph.lab.shown import Piece, shown
from fitgraph.lab.unused import given_back
from fitgraph.records import dataclass
from fitgraph.report.blocks import fault
from fitgraph.report.too_wide import too_wide_text
from fitgraph.solve import TooWideError
from fitgraph.stopping import Stop, StoppedError, check, stopped_by

if TYPE_CHECKING:
    from fitgraph.lab.opened import OpenCatalogue

T = TypeVar("T")


async def beside(ask: Callable[[], T], stop: Stop) -> T:
    """Return what a function without arguments returns, computed beside the event loop.

    Raises
    ------
    StoppedError
        If it was stopped.
    """
    loop = asyncio.get_running_loop()
    done: asyncio.Future[T] = loop.create_future()

    def settle(settled: Callable[[Any], None], value: object) -> None:
        if not done.done():
            settled(value)

    def tell(settled: Callable[[Any], None], value: object) -> None:
        # The loop may be gone by now, with everybody who waited.
        with suppress(RuntimeError):
            loop.call_soon_threadsafe(settle, settled, value)

    def compute() -> None:
        try:
            with stopped_by(stop):
                answer = ask()
                check()
        except StoppedError:  # the error itself would keep all that was being computed
            tell(done.set_exception, StoppedError())
        except BaseException as error:
            tell(done.set_exception, error)
        else:
            tell(done.set_result, answer)

    # In a copy of the context, so that what is printed goes where the page's output goes.
    threading.Thread(target=copy_context().run, args=(compute,), daemon=True).start()
    return await done


@dataclass(frozen=True, slots=True)
class Task(Generic[T]):
    """A question and where its answer goes.

    Parameters
    ----------
    ask : callable
        Returns the answer. Where it takes long it is called beside the event loop, so it touches
        no widget.
    fill : callable
        Takes the answer, and fills what shows it.
    slow : bool
        Whether it may take long.
    """

    ask: Callable[[], T]
    fill: Callable[[T], object]
    slow: bool = True


#: What of every component somebody may touch in a notebook.
_OFFERED = ("close", "enter", "opened", "refresh", "restore", "state", "stop")


class Answering(widgets.VBox):
    """A component whose answers follow its fields.

    Only the last question is answered: a new one stops what is still being computed for
    the one before.
    """

    #: Keeps the entries, where a page has one.
    session: SessionBar | None = None

    #: What somebody sees once the cell is run.
    invites = "see it"

    #: What can be had where a question would need too much memory.
    instead = "Name parts of these, and it can be answered."

    #: The catalogue that it is about.
    opened: OpenCatalogue

    #: What of it somebody may touch in a notebook, beside what all components have.
    public: tuple[str, ...] = ()

    def __init__(self) -> None:
        super().__init__()
        self.fields = Fields()
        self._tasks: set[asyncio.Task[None]] = set()
        #: What stops what is being answered and who is told, by the place where faults are told.
        self._runs: dict[int, tuple[Stop, Callable[[bool], None]]] = {}
        self._is_sent = False
        self.add_class("fg")
        self.add_class("fg-form")

    def __repr__(self) -> str:
        """Return what a notebook shows in its place until the cell is run."""
        return f"Run this cell to {self.invites}."

    def __dir__(self) -> list[str]:
        """Return what somebody may touch in a notebook; the rest may change without notice."""
        offered = {
            n for n in (*_OFFERED, *self.public) if n in vars(self) or hasattr(type(self), n)
        }
        return sorted(offered.union(n for n in super().__dir__() if n.startswith("_")))

    def write(self, place: widgets.HTML, *pieces: Piece, cautions: Iterable[str] = ()) -> None:
        """Show something in a place; stock numbers open the cards of their parts.

        Parameters
        ----------
        place : HTML
            The place; nothing is left of what it showed before.
        *pieces : Report, Block or Markup
            In reading order; none empties the place.
        cautions : iterable of str
            What has to be shown with it.
        """
        catalogue = self.opened.catalogue if hasattr(self, "opened") else None
        place.value = shown(*pieces, catalogue=catalogue, cautions=cautions) if pieces else ""

    @contextmanager
    def in_words(self, place: widgets.HTML) -> Iterator[None]:
        """Show what goes wrong where the answer would stand, never as a traceback."""
        try:
            yield
        except TooWideError as error:
            told = too_wide_text(error, self.opened.catalogue.vocabulary, self.instead)
            self.write(place, fault(told))
        except FormError as error:
            self.fields.tell(error.at)
            rest = (line for line in str(error).splitlines() if line not in error.at.values())
            self.write(place, fault("\n".join((*rest, STILL_BEFORE))))
        except InputError as error:
            self.write(place, fault(str(error)))
        except Exception as error:  # a person at a counter can do nothing with a traceback
            self.write(
                place,
                fault(
                    f"This could not be worked out ({type(error).__name__}: {error}). "
                    "Take the last entry back; if it stays, report it with your entries."
                ),
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

    def work_out(
        self,
        steps: Callable[[], Iterable[Task[Any]]],
        place: widgets.HTML,
        over: Callable[[bool], None] = lambda whole: None,
    ) -> None:
        """Answer questions one after the other, in place of those asked for a place before.

        Parameters
        ----------
        steps : callable
            Returns them; an iterator makes each once the answer before is shown.
        place : HTML
            Where a fault is told.
        over : callable, optional
            Told whether all are answered, once they are or nobody answers them any more. Not
            told where they are dropped, or others are asked in their place.

        Notes
        -----
        What is slow is computed beside the event loop, so that the fields stay alive. Without
        an event loop all of it happens at once. On a page that is opening, so does what comes
        before the first slow step: it is sent with the page.
        """
        self.drop(place)
        stop = Stop()
        self._runs[id(place)] = stop, over
        try:
            loop = asyncio.get_running_loop()
        except RuntimeError:
            loop = None

        def ended(whole: bool) -> None:
            if not stop.is_set:
                stop.set()
                del self._runs[id(place)]
                over(whole)

        @contextmanager
        def faults() -> Iterator[None]:
            with self.in_words(place):
                try:
                    yield
                except Exception:
                    ended(False)  # now: a fault may be told in the same place
                    raise

        rest: Iterable[Task[Any]] | None = None
        if loop is None or self.opening:
            with faults():
                ahead = iter(steps())
                for step in ahead:
                    if step.slow and loop is not None:
                        rest = chain([step], ahead)
                        break
                    step.fill(step.ask())
                    if stop.is_set:
                        break
            if rest is None:
                ended(True)
                return

        async def in_turn() -> None:
            with given_back(), faults(), suppress(StoppedError):
                for step in steps() if rest is None else rest:
                    await asyncio.sleep(0)
                    if stop.is_set:
                        return
                    answer = await beside(step.ask, stop) if step.slow else step.ask()
                    if stop.is_set:
                        return
                    step.fill(answer)
            ended(True)

        assert loop is not None
        task = loop.create_task(in_turn())
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    def drop(self, place: widgets.HTML) -> None:
        """Stop what is being answered for a place; nobody waits for it any more."""
        if id(place) in self._runs:
            self._runs.pop(id(place))[0].set()

    def stop(self) -> None:
        """Stop whatever is being answered."""
        runs, self._runs = self._runs, {}
        for stop, over in runs.values():
            stop.set()
            over(False)

    # ------------------------------------------------------------ what is kept

    def state(self) -> dict[str, Any]:
        """Return the entries as plain data."""
        return self.fields.state()

    def restore(self, state: Mapping[str, Any]) -> None:
        """Enter what :meth:`state` returned, and answer it.

        Raises
        ------
        SessionError
            If it names something that this catalogue does not have; then all stays as it is.
        """
        self.fields.enter(state)
        self.refresh()

    def enter(self, **entries: Any) -> None:
        """Enter some of what :meth:`state` returns, and answer it; the others stay.

        Parameters
        ----------
        **entries
            By their names.

        Raises
        ------
        SessionError
            If there is no such entry, or one does not fit here; then all stays as it is.

        Examples
        --------
        >>> from fitgraph.lab import BuildExplorer, open_catalogue
        >>> page = BuildExplorer(open_catalogue())
        >>> page.enter(budget="320")
        >>> page.state()["budget"], page.request.budget
        ('320', 32000)
        """
        strange = sorted(entries.keys() - self.fields.kept.keys())
        if strange:
            known = ", ".join(self.fields.kept) or "none"
            raise SessionError(f"There is no entry {strange[0]!r} here; there are: {known}.")
        self.restore({**self.state(), **entries})

    def refresh(self) -> None:
        """Read the fields and answer them."""

    def keep(self) -> None:
        """Take the entries as they now are into the session, where there is one."""
        if self.session is not None:
            self.session.changed()


class Panel(Answering):
    """A part of a page.

    Parameters
    ----------
    opened : OpenCatalogue
        The catalogue.
    changed : callable, optional
        Called when an entry has changed, so that the page keeps it.
    """

    def __init__(self, opened: OpenCatalogue, changed: Callable[[], None] = lambda: None) -> None:
        super().__init__()
        self.opened, self._changed = opened, changed

    def _entered(self) -> None:
        """Show what the fields now ask for, and say that they have changed."""
        self.refresh()
        self._changed()
