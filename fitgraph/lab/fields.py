"""The fields of a page, declared once: what is kept, what follows from a change, what is wrong."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from typing import Any

import ipywidgets as widgets

from fitgraph.lab.session import SessionError
from fitgraph.lab.shown import shown
from fitgraph.records import dataclass
from fitgraph.report.blocks import fault


@dataclass(frozen=True, slots=True)
class Field:
    """An entry that is kept.

    Parameters
    ----------
    read : callable
        Returns it as plain data.
    enter : callable
        Enters what `read` returned; raises what it likes where it does not fit.
    """

    read: Callable[[], Any]
    enter: Callable[[Any], None]


def field(of: object, take: Callable[[Any], Any] | None = None, name: str = "value") -> Field:
    """Return the entry that a widget holds, or a page itself.

    Parameters
    ----------
    of : object
        The widget, or the page.
    take : callable, optional
        Makes what it holds of what was kept.
    name : str
        Of the attribute that is the entry.
    """

    def enter(entry: Any) -> None:
        setattr(of, name, entry if take is None else take(entry))

    return Field(lambda: getattr(of, name), enter)


class Fields:
    """What somebody enters into a page.

    Parameters
    ----------
    *parts : Fields
        Those of what it is made of, which are kept and set with its own.
    **kept : Field
        What of it is kept, by its name in sessions; entered in this order.
    """

    def __init__(self, *parts: Fields, **kept: Field) -> None:
        self.kept: dict[str, Field] = {
            name: one for part in parts for name, one in part.kept.items()
        } | kept
        #: What is wrong with an entry stands here, by the entry.
        self.problems: Mapping[str, FieldProblem] = {}
        self._parts = parts
        self._quiet = 0
        self._first = self.state()

    @contextmanager
    def quietly(self) -> Iterator[None]:
        """Let fields be set without what follows from a change of theirs."""
        with ExitStack() as parts:
            for part in self._parts:
                parts.enter_context(part.quietly())
            self._quiet += 1
            try:
                yield
            finally:
                self._quiet -= 1

    def watch(
        self, function: Callable[[], object], *watched: widgets.Widget, names: str = "value"
    ) -> None:
        """Call a function once one of some widgets has changed, unless that was done quietly."""

        def changed(_change: object) -> None:
            if not self._quiet:
                function()

        for widget in watched:
            widget.observe(changed, names=names)

    def tell(self, at: Mapping[str, str]) -> None:
        """Say at each field what is wrong with its entry, and nothing at the others."""
        for name, problem in self.problems.items():
            problem.tell(at.get(name, ""))

    def state(self) -> dict[str, Any]:
        """Return what is kept, as plain data."""
        return {name: one.read() for name, one in self.kept.items()}

    def enter(self, state: Mapping[str, Any]) -> None:
        """Enter what was kept, quietly; what is not named is as it was at the beginning.

        Raises
        ------
        SessionError
            If an entry does not fit here; then all is as it was before.
        """
        before = self.state()
        try:
            with self.quietly():
                for name, one in self.kept.items():
                    one.enter(state.get(name, self._first[name]))
        except Exception as error:
            with self.quietly():
                for name, one in self.kept.items():
                    one.enter(before[name])
            if isinstance(error, SessionError):
                raise
            raise SessionError(f"The entry {name!r} of this session does not fit here.") from None


class FieldProblem(widgets.HTML):
    """What is wrong with an entry, under its field; it takes no room while all is well."""

    def __init__(self) -> None:
        super().__init__(layout=widgets.Layout(width="auto", margin="0", display="none"))

    def tell(self, message: str) -> None:
        """Say it; an empty message says that all is well."""
        self.value = shown(fault(message)) if message else ""
        self.layout.display = None if message else "none"
