"""How a catalogue's builds are summed up: which variable goes when, and over what.

Variables are eliminated one by one. Each step sums a variable out of the relations that hold it
and leaves a message over those that it shared them with (bucket elimination [1]). A step looks
at no more classes than its own relations tell apart.

Where a relation ties many roles of which most only have to be there or not, the plan first
splits into cases by what is there (conditioning, as in AND/OR search [2]); within a case little
of such a relation is left (context-specific independence [3]). Steps that cases have in common
stand once.

References
----------
.. [1] R. Dechter, "Bucket elimination: a unifying framework for reasoning", Artificial
   Intelligence 113 (1999) 41-85 (reference checked).
.. [2] R. Dechter, R. Mateescu, "AND/OR search spaces for graphical models", Artificial
   Intelligence 171 (2007) 73-106 (reference checked).
.. [3] C. Boutilier, N. Friedman, M. Goldszmidt, D. Koller, "Context-specific independence in
   Bayesian networks", UAI 1996, 115-123 (reference checked).
"""

from __future__ import annotations

import contextlib
import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from fitgraph.array_types import Bools, Ints
from fitgraph.errors import InputError
from fitgraph.records import dataclass
from fitgraph.solve.bundles import Runs

#: Bytes that answers may need, unless another ceiling is given.
CEILING = 2 * 10**9

#: Cells from which a running sum's message is read through what decides it, and not held.
READ = 1 << 16

#: Joints that a refusal names.
_NAMED = 8

#: What leaves less to look at, by whether the question can name parts.
_NAME = "name parts of some of these roles"
_FEWER = "ask of a catalogue with fewer parts of these roles"


class TooWideError(InputError):
    """Answers would need more memory than the ceiling; says what is to blame and what is left.

    Parameters
    ----------
    needed, ceiling : float
        In bytes.
    roles, joints : tuple of str
        Roles that have to be looked at together, and the joints that tie them.
    naming : bool
        Whether the question can name parts.
    """

    def __init__(
        self,
        needed: float,
        ceiling: float,
        roles: Sequence[str],
        joints: Sequence[str],
        *,
        naming: bool = True,
    ) -> None:
        self.needed, self.ceiling, self.naming = needed, ceiling, naming
        self.roles, self.joints = tuple(roles), tuple(joints)
        super().__init__(
            f"this would need {memory_text(needed)} of memory, and the ceiling is "
            f"{memory_text(ceiling)}: "
            f"{', '.join(self.roles)} have to be looked at together, because of "
            f"{_first_of(self.joints) or 'the joints between them'}. What helps: leave one of "
            f"these joints out, or {_NAME if naming else _FEWER}"
        )

    def again(self, *, naming: bool | None = None) -> TooWideError:
        """Return the same refusal, without what was held where it arose."""
        naming = self.naming if naming is None else naming
        return TooWideError(self.needed, self.ceiling, self.roles, self.joints, naming=naming)


@contextlib.contextmanager
def naming_none() -> Iterator[None]:
    """Refuse what is too wide, of a question that names no parts, without the advice to do so."""
    try:
        yield
    except TooWideError as refused:
        raise refused.again(naming=False) from None


def _first_of(names: Sequence[str]) -> str:
    more = len(names) - _NAMED
    return ", ".join(names[:_NAMED]) + (f" and {more} more" if more > 0 else "")


def memory_text(number: float) -> str:
    """Return so many bytes as people read them.

    Examples
    --------
    >>> memory_text(2e9)
    '2 GB'
    """
    for unit, size in (("TB", 1e12), ("GB", 1e9), ("MB", 1e6)):
        if number >= size:
            return f"{number / size:,.3g} {unit}" if number < 1e15 else "more than 1,000 TB"
    return f"{number / 1e3:,.3g} kB"


@dataclass(frozen=True, slots=True, eq=False)
class Operand:
    """One relation, or the message of an earlier step, as a step sees it.

    Parameters
    ----------
    child : int
        Place of the step whose message it is; -1 for a relation.
    table : ndarray of bool or None
        The relation, the step's variable first.
    at : int
        Where the step's variable stands among the axes of the message.
    kind : ndarray of int or None
        For each kind of the variable, its place along the axis; None where they are the same.
    axes : tuple of int
        For each other axis, which of the step's separator it is.
    cells : tuple of (ndarray of int or None)
        For each other axis, the place of each of the separator's cells.
    """

    child: int
    table: Bools | None
    at: int
    kind: Ints | None
    axes: tuple[int, ...]
    cells: tuple[Ints | None, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Group:
    """Parts that are multiplied out before two groups meet.

    Parameters
    ----------
    parts : tuple of int
        Which.
    axes : tuple of int
        What they are over, of the separator.
    few : tuple of ndarray or None
        One of each of the kinds that they can tell apart, and which of them each kind is; None
        where that makes them hardly fewer.
    """

    parts: tuple[int, ...]
    axes: tuple[int, ...]
    few: tuple[Ints, Ints] | None


@dataclass(frozen=True, slots=True, eq=False)
class Summed:
    """How a step's variable, sorted tuples, decides a sum with another variable.

    Parameters
    ----------
    outer, sum : int
        The axes of the separator that stand for the other variable and for the sum.
    runs : Runs
        The values of the sum along the tuples.
    place : ndarray of int
        The place of each of the outer variable's cells among the runs.
    cell : ndarray of int
        The cell of each value of the sum.
    kinds : ndarray of int
        The tuple of each of the step's kinds; ascending.
    """

    outer: int
    sum: int
    runs: Runs
    place: Ints
    cell: Ints
    kinds: Ints

    def along(self, cell: int, tuples: Ints) -> tuple[Ints, Ints]:
        """Return where runs of the sum begin for a cell of the outer variable, and their cells.

        Parameters
        ----------
        cell : int
            Of the outer variable.
        tuples : ndarray of int
            The tuples that are left, ascending: those of `kinds` that count.
        """
        place = self.place[cell]
        at = slice(self.runs.starts[place], self.runs.starts[place + 1])
        begin: Ints = self.runs.begin[at]
        value = self.runs.value[at]
        begin = np.searchsorted(tuples, begin)
        there = np.diff(begin, append=len(tuples)) > 0
        return begin[there], self.cell[value[there]]


@dataclass(frozen=True, slots=True, eq=False)
class Step:
    """The elimination of one variable.

    Parameters
    ----------
    variable : str
        A role, what some relations see of a role, or a running sum.
    is_role : bool
        Whether its kinds are options; other variables cost nothing and are worth one.
    domain : ndarray of int
        Its base classes that may be used.
    kind_of : ndarray of int
        The kind of each base class; -1 outside the domain.
    kinds : int
        How many kinds there are: what the step's parts tell apart.
    separator : tuple of str
        The variables that the message is over.
    cell_of : tuple of ndarray of int
        For each, the cell of each of its base classes.
    shape : tuple of int
        How many cells each has.
    parts : tuple of Operand
        What is multiplied.
    groups : tuple of Group
        The parts in one or two groups that are multiplied out before they meet.
    bridges : tuple of int
        Parts in neither group.
    bridged : mapping of int to ndarray of int
        For each axis of the separator that a bridge is over, the block of each cell.
    decided : tuple or None
        Of a running sum, the places in the separator of the two variables that decide it, and
        its kind for each pair of their cells, in as few bytes as will do.
    summed : Summed or None
        Of tuples, the sum that they decide with another variable; it is an axis of the separator.
    below : frozenset of str
        The roles whose weights the message holds.
    work : float
        Kinds times cells.
    names : tuple of str
        Joints that tie the variable and the separator.
    """

    variable: str
    is_role: bool
    domain: Ints
    kind_of: Ints
    kinds: int
    separator: tuple[str, ...]
    cell_of: tuple[Ints, ...]
    shape: tuple[int, ...]
    parts: tuple[Operand, ...]
    groups: tuple[Group, ...]
    bridges: tuple[int, ...]
    bridged: Mapping[int, Ints]
    decided: tuple[int, int, npt.NDArray[Any]] | None
    summed: Summed | None
    below: frozenset[str]
    work: float
    names: tuple[str, ...]

    @property
    def read(self) -> bool:
        """Whether its message is too wide to be held where it can be read: a running sum's."""
        return self.decided is not None and math.prod(self.shape) > READ

    @property
    def children(self) -> tuple[int, ...]:
        """Return the places of the steps whose messages it takes."""
        return tuple(p.child for p in self.parts if p.child >= 0)


@dataclass(frozen=True, slots=True, eq=False)
class Case:
    """One case: its steps in the order of elimination, and those that end in a number."""

    order: tuple[int, ...]
    roots: tuple[int, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Plan:
    """Every case, and the steps they share; a step stands after those it needs.

    Parameters
    ----------
    roles : tuple of str
        In the vocabulary's order.
    sizes : mapping of str to int
        Base classes of each role.
    steps : tuple of Step
        A forest that cases share branches of.
    cases : tuple of Case
        A build is in exactly one.
    last : str or None
        The role that goes last in every case, if one was asked for.
    ceiling : float
        Bytes that a pass may need.
    leading : str or None
        The role that goes first in every case, if one was asked for.
    """

    roles: tuple[str, ...]
    sizes: Mapping[str, int]
    steps: tuple[Step, ...]
    cases: tuple[Case, ...]
    last: str | None = None
    ceiling: float = CEILING
    leading: str | None = None

    @property
    def reads(self) -> bool:
        """Return whether it has messages that are too wide to be held."""
        return any(step.read for step in self.steps)

    @property
    def adds(self) -> bool:
        """Return whether sums over measured parts make it wide: its rows are told as runs."""
        return self.reads or any(step.summed is not None for step in self.steps)

    @property
    def bytes(self) -> float:
        """Return the memory that one pass with the messages that are held takes at most."""
        tables = sum(float(s.decided[2].nbytes) for s in self.steps if s.decided is not None)
        return tables + self._bytes([s for s in self.steps if not s.read])

    @property
    def bytes_whole(self) -> float:
        """Return the memory that one pass with all messages takes at most."""
        return self._bytes(self.steps)

    @property
    def looked(self) -> float:
        """Return how many pairs of a cell and a kind are looked at one by one."""
        return sum(s.work for s in self.steps if self.one_by_one(s))

    def one_by_one(self, step: Step) -> bool:
        """Return whether pairs of a cell and a kind of a step are looked at one by one."""
        return step.decided is None and step.summed is None and step.variable != self.leading

    def _bytes(self, held: Sequence[Step]) -> float:
        messages = sum(8.0 * math.prod(s.shape) for s in held)
        return 2 * messages + max((8.0 * _held_at_once(s) for s in self.steps), default=0.0)

    def refuse(self, needed: float) -> None:
        """Say what is to blame if so many bytes are too many.

        Raises
        ------
        TooWideError
            If they are more than the ceiling.
        """
        if needed > self.ceiling:
            widest = max(self.steps, key=lambda s: math.prod(s.shape))
            raise self.too_wide(widest, needed, self.ceiling)

    def too_wide(self, step: Step, needed: float, ceiling: float) -> TooWideError:
        """Return what says that a step needs so many bytes, which are too many."""
        roles = [v for v in (step.variable, *step.separator) if v in self.sizes]
        return TooWideError(needed, ceiling, roles, step.names)


#: Cells that a step works on at once where it can be done in slices.
SLICE = 1 << 17


def _held_at_once(step: Step) -> float:
    widest = max(
        (step.kinds * math.prod(step.shape[a] for a in group.axes) for group in step.groups),
        default=0,
    )
    return min(float(widest), SLICE) * 3
