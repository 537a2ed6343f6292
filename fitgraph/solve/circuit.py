"""Exact counts by a circuit of the rows that some build has.

Of a wide plan's cells few lie on a build. Those that do, and what can follow each of them, are
worked out once; then a count is one look along them, and what remains a second one back. Sorted
tuples are not listed cell by cell: a cell is some runs of a sorted list, and what a run comes to
is the difference of two running sums.

Numbers are kept as remainders. One word is the remainder modulo 2**64, which numpy's unsigned
arithmetic keeps without a division: sums, products and differences of running sums are exact
modulo 2**64 whatever overflows on the way. Where a number may be larger, further words are its
remainders modulo primes below 2**31, put together with the first by mixed radices [1]. How many
it takes is proven before: a sum of products with no negative term is at most what it is where
every option is let in, and that is known (:meth:`Circuit.most`).

References
----------
.. [1] D. E. Knuth, *The Art of Computer Programming*, vol. 2, section 4.3.2: modular
   arithmetic (reference checked: the section's title in lists of the book's contents).
"""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from fitgraph.array_types import Bools, Floats, Ints
from fitgraph.records import dataclass
from fitgraph.solve import leading, summing
from fitgraph.solve.algebra import EXISTS
from fitgraph.solve.arrays import SPREAD, distinct, distinct_below, spread
from fitgraph.solve.passes import Demands, Passes
from fitgraph.solve.plan import Case, Plan, Step, TooWideError
from fitgraph.solve.rows import Rows
from fitgraph.solve.support import ROW as SUPPORT_ROW
from fitgraph.solve.support import CircuitStep, Pieces, Sorted, StepRows, Support, nodes_of
from fitgraph.stopping import check

Objects = npt.NDArray[np.object_]
Words = npt.NDArray[Any]

#: Kinds and nodes of rows are numbered in this type where it holds them all.
_NARROW: Any = np.int32

#: Rows that are numbered in one go, and cells whose rows are worked out in one go.
_AT_ONCE, _CELLS = 1 << 16, 1 << 13

#: Numbers in a block: more bytes than the allocator keeps for itself.
_BLOCK = 1 << 24

#: Of so many pairs of a cell and a kind one is looked at, where parts are measured.
_REACHED = 20

#: Bits of the first word.
_BITS = 64

#: Numbers of a matrix that are worth one row of a step, and that the matrices of a step may have.
_DENSE, _MATRIX = 8, 1 << 23


class Word:
    """Remainders modulo 2**64, or modulo a prime.

    Parameters
    ----------
    prime : int
        Below 2**31, so that a product of two remainders and a sum of 2**32 of them stay below
        2**64; zero for 2**64.
    """

    dtype: Any = np.uint64
    #: Of running sums; their differences are exact below 2**64.
    sums: Any = np.uint64

    def __init__(self, prime: int = 0) -> None:
        self.prime = np.uint64(prime)

    def rest(self, values: Words) -> Words:
        """Return remainders of numbers below 2**64."""
        if not self.prime:
            return values
        # numpy divides by one number in vectors, and takes remainders one by one.
        whole = np.asarray(values // self.prime)
        whole *= self.prime
        return np.subtract(values, whole, out=whole)

    def both(self, a: Words, b: Words) -> Words:
        """Return products."""
        return self.rest(a * b)

    def gather(self, into: Words, at: Ints, values: Words) -> None:
        """Add values to places; the remainders are left to :meth:`rest`."""
        np.add.at(into, at, values)

    def added(self, values: Words, starts: Ints) -> Words:
        """Return the sums of pieces of rows."""
        return np.asarray(np.add.reduceat(values, starts))

    def of_runs(self, pieces: Pieces, sums: Words) -> Words:
        """Return what runs of pieces come to, as differences of running sums."""
        running = np.append(np.zeros(1, dtype=self.sums), np.cumsum(sums, dtype=self.sums))
        return np.asarray(running[pieces.high] - running[pieces.low])

    def across(self, matrix: Words, values: Words) -> Words:
        """Return a matrix times a vector, of remainders modulo 2**64."""
        return np.asarray(matrix @ values)


class Some(Word):
    """Whether there is any: "or" over alternatives, "and" over the parts of one build."""

    dtype = np.bool_
    sums = np.int32  # no step has so many rows

    def rest(self, values: Words) -> Words:
        """Return whether numbers are above zero."""
        return values > 0

    def both(self, a: Words, b: Words) -> Words:
        """Return whether both are."""
        return a & b

    def added(self, values: Words, starts: Ints) -> Words:
        """Return whether pieces of rows have any."""
        return np.asarray(np.logical_or.reduceat(values, starts))

    def gather(self, into: Words, at: Ints, values: Words) -> None:
        """Mark places."""
        np.maximum.at(into.view(np.uint8), at, values.view(np.uint8))

    def across(self, matrix: Words, values: Words) -> Words:
        """Return where a row of a matrix has any of the marked columns."""
        return np.asarray((matrix & values).any(axis=1))


class AtMost(Word):
    """Numbers that are at least the true ones, but for the rounding of single operations."""

    dtype = np.float64
    sums: Any = np.float64

    def rest(self, values: Words) -> Words:
        """Return the numbers as they are."""
        return values.astype(np.float64, copy=False)

    def of_runs(self, pieces: Pieces, sums: Words) -> Words:
        """Return what runs come to, with all that running sums may have lost to rounding."""
        running = np.append(0.0, np.cumsum(sums))
        last, added = running[pieces.high], int(pieces.cuts[-1]) + len(running)
        return np.asarray(last - running[pieces.low] + last * (added * np.finfo(float).eps))


#: Whether there is a build at all.
SOME = Some()


def _taken(values: Words, at: Ints) -> Words:
    """Return values at places, all of them inside: so they need not be looked at before."""
    return values.take(at, mode="clip")


def _slices(size: int) -> Iterator[slice]:
    """Yield pieces of so many rows that fit in one go."""
    for begin in range(0, size, _AT_ONCE):
        yield slice(begin, min(size, begin + _AT_ONCE))


def _narrow(values: Ints, size: int) -> Ints:
    """Return numbers below a size in few bytes, where these hold them."""
    return values.astype(_NARROW) if size <= np.iinfo(_NARROW).max else values


class _Strung:
    """Numbers below a size, put one after the other.

    They lie in blocks so large that each is given back to the system once it is copied.
    """

    def __init__(self, size: int) -> None:
        self.dtype = _narrow(np.zeros(0, dtype=np.intp), size).dtype
        self._blocks: list[Ints] = []
        self._filled = _BLOCK

    def add(self, values: Ints) -> None:
        """Add some at the end."""
        while len(values):
            if self._filled == _BLOCK:
                self._blocks.append(np.empty(_BLOCK, dtype=self.dtype))
                self._filled = 0
            room = min(len(values), _BLOCK - self._filled)
            self._blocks[-1][self._filled : self._filled + room] = values[:room]
            self._filled += room
            values = values[room:]

    def whole(self) -> Ints:
        """Return all of them, and let go of the blocks."""
        if not self._blocks:
            return np.zeros(0, dtype=self.dtype)
        self._blocks[-1] = self._blocks[-1][: self._filled]
        found = np.concatenate(self._blocks)
        self._blocks.clear()
        return found


def _few(values: Words) -> Ints | None:
    """Return where values are not zero, if they are few; None where that is not worth it."""
    if 3 * np.count_nonzero(values) > len(values):
        return None
    return np.flatnonzero(values)


@functools.cache
def _words(bits: int) -> tuple[Word, ...]:
    """Return words that tell numbers of so many bits apart."""
    found = [Word()]
    modulus, number = 1 << _BITS, 1 << 31
    while modulus < 1 << bits:
        number -= 1
        if all(number % d for d in range(2, math.isqrt(number) + 1)):
            found.append(Word(number))
            modulus *= number
    return tuple(found)


def joined(rests: Sequence[Words], words: Sequence[Word]) -> Objects:
    """Return the numbers, below the product of all moduli, with the given remainders.

    Parameters
    ----------
    rests : sequence of ndarray of uint64
        A word each.
    words : sequence of Word
        The first modulo 2**64.
    """
    found = np.asarray(rests[0].astype(object), dtype=object)
    modulus = 1 << _BITS
    for rest, word in zip(rests[1:], words[1:], strict=True):
        prime = int(word.prime)
        digit = (rest.astype(object) - found) * pow(modulus, -1, prime) % prime
        found = found + digit * modulus
        modulus *= prime
    return np.asarray(found, dtype=object)


def _all_but_one(values: Words, factors: Sequence[Words], word: Word) -> Iterator[Words]:
    """Yield products of values and all factors but one, for each of these in turn.

    From both ends, so that nothing is divided.
    """
    after: list[Words | None] = [None]
    for factor in factors[:0:-1]:
        after.append(factor if after[-1] is None else word.both(after[-1], factor))
    for factor in factors:
        rest = after.pop()
        yield values if rest is None else word.both(values, rest)
        if after:
            values = word.both(values, factor)


class Circuit:
    """The rows of a plan, as runs.

    Parameters
    ----------
    plan : Plan
        What they are of.
    steps : tuple of CircuitStep
        In the order of the plan's.
    cases : tuple of Case
        Those of the plan's that have a build at all.
    whole : mapping of str to ndarray of float
        Weights of the base classes of each role, none of them zero.
    total : float
        No less than what these come to, but for float64's rounding of single operations.
    """

    def __init__(
        self,
        plan: Plan,
        steps: tuple[CircuitStep, ...],
        cases: tuple[Case, ...],
        whole: Mapping[str, Floats],
        total: float | None = None,
    ) -> None:
        self.plan, self.steps, self.cases = plan, steps, cases
        self.whole = whole
        self.total = self._at_most() if total is None else total

    def _at_most(self) -> float:
        """Return a bound on how many builds there are."""
        word = AtMost()
        return float(self.in_all(self.below(self.own(self.whole, word), word), word)[0])

    @property
    def rows(self) -> int:
        """Return how many rows there are."""
        return sum(len(s.kind) for s in self.steps)

    @property
    def bytes(self) -> float:
        """Return how many bytes they take."""
        return float(
            sum(
                a.nbytes
                for s in self.steps
                for a in (s.kind, *s.of_kind.values(), *s.opens.values(), s.begin, s.end, s.first)
                if a is not None
            )
        )

    def expanded(self, ceiling: float) -> Support:
        """Return the rows one by one: each cell's own, whatever it shares with others.

        Raises
        ------
        TooWideError
            If they would take more bytes than the ceiling.
        """
        needed = [SUPPORT_ROW * float((step.end - step.begin).sum()) for step in self.steps]
        if sum(needed) > ceiling:
            widest = self.plan.steps[int(np.argmax(needed))]
            raise _refused(self.plan, widest, sum(needed), ceiling)
        found = []
        for step in self.steps:
            of_run, number = spread(step.end - step.begin)
            row = step.begin[of_run] + number
            node = of_run
            if step.first is not None:
                last = np.append(step.first[1:], len(step.begin)).astype(np.intp)
                node = spread(last - step.first)[0][of_run]
                order = np.lexsort((row, node))
                row, node = row[order], node[order]
            found.append(
                StepRows(
                    Sorted.of(step.kind[row].astype(np.intp)),
                    node,
                    np.flatnonzero(np.diff(node, prepend=-1)),
                    {c: Sorted.of(at[row].astype(np.intp)) for c, at in step.opened.items()},
                )
            )
        return Support(self.plan, tuple(found), self.cases)

    def within(self, lets: Mapping[str, Bools]) -> Circuit:
        """Return the rows that some build of what is let in has.

        Parameters
        ----------
        lets : mapping of str to ndarray of bool
            Which base classes of each role are let in.

        Returns
        -------
        Circuit
            Its nodes are numbered anew. Other classes count for nothing there, whatever their
            weight.
        """
        own = self.own({r: some.astype(float) for r, some in lets.items()}, SOME)
        below = self.below(own, SOME)
        cases = tuple(c for c in self.cases if all(below[r][0] for r in c.roots))
        reached = [np.zeros(s.nodes, dtype=bool) for s in self.steps]
        for case in cases:
            for root in case.roots:
                reached[root][0] = True
        kept: list[Ints] = []
        for place in range(len(self.steps) - 1, -1, -1):
            check()
            step, some = self.steps[place], list[Ints]()
            mine = self._of_kinds(step, own[place], below, SOME)
            for rows, around in self._rows_around(step, reached[place], SOME):
                row = rows.start + np.flatnonzero(around)
                if mine is not None:
                    row = row[mine[step.kind[row]]]
                for child, at in step.opens.items():
                    row = row[below[child][at[row]]]
                for child, at in step.opens.items():
                    reached[child][at[row]] = True
                some.append(row)
            kept.append(np.concatenate(some) if some else np.zeros(0, dtype=np.intp))
            if step.of_kind:
                kinds = distinct_below(self.plan.steps[place].kinds, step.kind[kept[-1]])
                for child, at in step.of_kind.items():
                    reached[child][at[kinds]] = True
        number = [np.cumsum(r, dtype=np.int32) - np.int32(1) for r in reached]
        steps = [
            step.only(row, node, {c: number[c] for c in (*step.of_kind, *step.opens)})
            for step, row, node in zip(self.steps, reversed(kept), reached, strict=True)
        ]
        return Circuit(self.plan, tuple(steps), cases, self.whole, self.total)

    def most(self, weights: Mapping[str, Floats]) -> int:
        """Return a number that no count with some weights exceeds, in all or through an option.

        Parameters
        ----------
        weights : mapping of str to ndarray of float
            How many options each base class of each role stands for.

        Notes
        -----
        A count is a sum of products of weights, one of each role, with no negative term, and so
        is a count through an option, with one in place of the weight of its class. Weights w
        that are nowhere above f times W, with f and W at least one, hence give at most the
        product of the f times the count of W. Float64 sums and multiplies numbers that are not
        negative with a relative error of 2**-53 an operation; fewer than 2**50 follow one
        another here, so twice what it finds is above the count.
        """
        most = 2 * int(self.total) + 2
        for role, own in weights.items():
            most *= max(1, math.ceil(float((own / self.whole[role]).max(initial=1.0))))
        return most

    # -- one word --------------------------------------------------------

    def own(self, weights: Mapping[str, Floats], word: Word) -> list[Words | None]:
        """Return what each kind of each step adds itself; None where that is one."""
        found: list[Words | None] = []
        for step in self.plan.steps:
            if not step.is_role:
                found.append(None)
                continue
            kinds = np.zeros(step.kinds, dtype=np.uint64)
            given = weights[step.variable][step.domain].astype(np.uint64)
            np.add.at(kinds, step.kind_of[step.domain], given)
            found.append(word.rest(kinds))
        return found

    def below(
        self,
        own: Sequence[Words | None],
        word: Word,
        known: Mapping[int, Words] | None = None,
    ) -> list[Words]:
        """Return the value of each node with all below it.

        Parameters
        ----------
        own
            As from :meth:`own`.
        word : Word
            What is asked.
        known : mapping of int to ndarray, optional
            Of steps that need not be worked out.
        """
        found: list[Words] = []
        for place, step in enumerate(self.steps):
            check()
            if known is not None and place in known:
                found.append(known[place])
                continue
            mine, pieces = self._of_kinds(step, own[place], found, word), step.pieces
            sums = np.zeros(len(pieces), dtype=word.dtype)
            for some, rows in pieces.batches:
                values = self._rows_below(step, rows, mine, found, word)
                sums[some] = word.added(values, pieces.cuts[some] - rows.start)
            runs = sums if pieces.alone else word.of_runs(pieces, sums)
            if step.first is not None and len(runs):
                runs = np.add.reduceat(runs, step.first)
            found.append(word.rest(runs))
        return found

    @staticmethod
    def _of_kinds(
        step: CircuitStep, own: Words | None, below: Sequence[Words], word: Word
    ) -> Words | None:
        """Return what each kind comes to with all that it alone opens; None where that is one."""
        if not len(step.kind):
            return own
        for child, at in step.of_kind.items():
            value = _taken(below[child], at)
            own = value if own is None else word.both(own, value)
        return own

    @staticmethod
    def _rows_below(
        step: CircuitStep,
        rows: slice,
        kinds: Words | None,
        below: Sequence[Words],
        word: Word,
    ) -> Words:
        """Return the values of some rows of a step with all below them.

        ``kinds`` is what each kind comes to, as :meth:`_of_kinds` has it.
        """
        values = None if kinds is None else _taken(kinds, step.kind[rows])
        alive = None if values is None else _few(values)
        if values is not None and alive is not None:
            values = _taken(values, alive)
        for child, at in step.opens.items():
            some = at[rows]
            value = _taken(below[child], some if alive is None else _taken(some, alive))
            values = value if values is None else word.both(values, value)
        if values is None:
            return np.ones(rows.stop - rows.start, dtype=word.dtype)
        if alive is None:
            return values
        every = np.zeros(rows.stop - rows.start, dtype=word.dtype)
        every[alive] = values
        return every

    def _beside(self, case: Case, but: int, below: Sequence[Words], word: Word) -> Words:
        """Return what the roots of a case come to together, but for one."""
        found = np.ones(1, dtype=word.dtype)
        for root in case.roots:
            if root != but:
                found = word.both(found, below[root][:1])
        return found

    def in_all(self, below: Sequence[Words], word: Word) -> Words:
        """Return the value of all builds, as an array of one."""
        found = np.zeros(1, dtype=word.dtype)
        for case in self.cases:
            # Remainders are added one by one, so that a sum stays below 2**64.
            found = word.rest(found + self._beside(case, -1, below, word))
        return found

    def each(
        self,
        own: Sequence[Words | None],
        below: Sequence[Words],
        word: Word,
        across: Callable[[int], Mapping[int, Words] | None] = lambda place: None,
    ) -> dict[str, Words]:
        """Return, for every base class of every role, the value of builds through one option.

        Parameters
        ----------
        own, below, word
            As in :meth:`below`, and what it returned.
        across : callable
            Of a step, matrices as :meth:`across` has them, if they are at hand.

        Returns
        -------
        dict of str to ndarray
            Whatever the weights say of the class itself.
        """
        outside = [np.zeros(s.nodes, dtype=word.dtype) for s in self.steps]
        for case in self.cases:
            for root in case.roots:
                beside = self._beside(case, root, below, word)
                word.gather(outside[root], np.zeros(1, dtype=np.intp), beside)
        found = {r: np.zeros(size, dtype=word.dtype) for r, size in self.plan.sizes.items()}
        for place in range(len(self.steps) - 1, -1, -1):
            check()
            step, of_step = self.steps[place], self.plan.steps[place]
            around = word.rest(outside[place])
            if not around.any():
                continue
            kinds = np.zeros(of_step.kinds, dtype=word.dtype)
            mine = self._of_kinds(step, own[place], below, word)
            matrices = across(place)
            if matrices is not None:
                for target, matrix in matrices.items():
                    into = kinds if target < 0 else outside[target]
                    into += word.across(matrix, around)
            else:
                for rows, values in self._rows_around(step, around, word):
                    if word is SOME:
                        self._mark(place, rows, values, mine, below, kinds, outside)
                        continue
                    # Each is looked up twice, and numpy would widen it twice.
                    kind = step.kind[rows].astype(np.intp)
                    opens = {c: at[rows].astype(np.intp) for c, at in step.opens.items()}
                    alive = _few(values)
                    if alive is not None:
                        values, kind = _taken(values, alive), _taken(kind, alive)
                        opens = {c: _taken(at, alive) for c, at in opens.items()}
                    shares = self._shares(place, kind, opens, values, mine, below, word)
                    for target, at, share in shares:
                        # Remainders of no more than 2**32 rows in all: a sum stays below 2**64.
                        word.gather(kinds if target < 0 else outside[target], at, share)
            if step.of_kind:
                for child, share in self._of_kinds_shares(
                    step, own[place], word.rest(kinds), below, word
                ):
                    if child < 0:
                        kinds = share
                    else:
                        word.gather(outside[child], step.of_kind[child], share)
            if of_step.is_role:
                of_class = word.rest(kinds)[of_step.kind_of[of_step.domain]]
                word.gather(found[of_step.variable], of_step.domain, of_class)
        return {r: word.rest(v) for r, v in found.items()}

    def _mark(
        self,
        place: int,
        rows: slice,
        values: Words,
        mine: Words | None,
        below: Sequence[Words],
        kinds: Words,
        outside: Sequence[Words],
    ) -> None:
        """Mark the kinds and the children's nodes that some rows of a step lead to.

        What is marked soon is most of what can be: so of each row it is asked first whether it
        leads to anything new.

        Parameters
        ----------
        place : int
            Which step.
        rows : slice
            Which of its rows.
        values : ndarray of bool
            Whether there is anything around them.
        mine : ndarray or None
            What each kind comes to, as :meth:`_of_kinds` has it.
        below
            As in :meth:`each`.
        kinds, outside
            What is marked, of the step's own kinds and of the nodes of all steps.
        """
        step, kind = self.steps[place], self.steps[place].kind[rows]
        opens = {c: at[rows] for c, at in step.opens.items()}
        alive = _few(values)
        if alive is not None:
            values, kind = _taken(values, alive), _taken(kind, alive)
            opens = {c: _taken(at, alive) for c, at in opens.items()}
        opened = [(c, at, _taken(below[c], at)) for c, at in opens.items()]
        if self.plan.steps[place].is_role or step.of_kind:
            through = values & ~_taken(kinds, kind)
            for *_, value in opened:
                through &= value
            kinds[kind[through]] = True
        for child, at, _ in opened:
            if outside[child].all():
                continue
            share = values & ~_taken(outside[child], at)
            for other, _, value in opened:
                if other != child:
                    share &= value
            new = np.flatnonzero(share)
            if mine is not None:
                new = new[_taken(mine, _taken(kind, new))]
            outside[child][_taken(at, new)] = True

    def _shares(
        self,
        place: int,
        kind: Ints,
        opens: Mapping[int, Ints],
        values: Words,
        mine: Words | None,
        below: Sequence[Words],
        word: Word,
    ) -> Iterator[tuple[int, Ints, Words]]:
        """Yield what rows of a step hand on: to which child, or -1 for kinds; where; how much.

        Parameters
        ----------
        place : int
            Which step.
        kind, opens
            Of some rows, as in :class:`CircuitStep`. What the kind alone opens is left to
            :meth:`_of_kinds_shares`.
        values : ndarray
            What is around them.
        mine : ndarray or None
            What each kind comes to, as :meth:`_of_kinds` has it.
        below, word
            As in :meth:`each`.
        """
        opened = [(c, at, _taken(below[c], at)) for c, at in opens.items()]
        if self.plan.steps[place].is_role or self.steps[place].of_kind:
            through = values
            for _, _, value in opened:
                through = word.both(through, value)
            yield -1, kind, through
        if mine is not None and opened:
            values = word.both(values, _taken(mine, kind))
        for n, share in enumerate(_all_but_one(values, [value for *_, value in opened], word)):
            yield *opened[n][:2], share

    @staticmethod
    def _of_kinds_shares(
        step: CircuitStep,
        own: Words | None,
        values: Words,
        below: Sequence[Words],
        word: Word,
    ) -> Iterator[tuple[int, Words]]:
        """Yield what kinds hand on to the children that they alone decide, and what they keep.

        Parameters
        ----------
        step : CircuitStep
            The step.
        own : ndarray or None
            What each kind adds itself.
        values : ndarray
            What is around each kind, but for what it alone opens.
        below, word
            As in :meth:`each`.

        Yields
        ------
        child : int
            Or -1, for what is around the kinds themselves.
        share : ndarray
            For each kind.
        """
        opened = [_taken(below[c], at) for c, at in step.of_kind.items()]
        through = values
        for value in opened:
            through = word.both(through, value)
        yield -1, through
        if own is not None:
            values = word.both(values, own)
        yield from zip(step.of_kind, _all_but_one(values, opened, word), strict=True)

    def across(
        self, place: int, own: Sequence[Words | None], below: Sequence[Words], word: Word
    ) -> dict[int, Words] | None:
        """Return what a step makes of what is around its nodes, as matrices.

        Parameters
        ----------
        place : int
            Which step.
        own, below, word
            As in :meth:`each`.

        Returns
        -------
        dict of int to ndarray, shape (nodes of the child, or kinds, nodes), or None
            By child, and for -1 the kinds; None where the rows themselves are quicker.
        """
        step, of_step = self.steps[place], self.plan.steps[place]
        sizes = {c: self.steps[c].nodes for c in step.opens}
        if of_step.is_role or step.of_kind:
            sizes[-1] = of_step.kinds
        dense = step.nodes * sum(sizes.values())
        quicker = dense <= _DENSE * len(step.kind) * max(len(step.opens), 1)
        if word.prime or not dense or dense > _MATRIX or not quicker:
            return None
        run = np.arange(len(step.begin))
        node = run if step.first is None else np.searchsorted(step.first, run, side="right") - 1
        of_run, number = spread(step.end - step.begin)
        row, owner = step.begin[of_run] + number, node[of_run]
        ones = np.ones(len(step.kind), dtype=word.dtype)
        found, mine = {}, self._of_kinds(step, own[place], below, word)
        for target, at, share in self._shares(
            place, step.kind, step.opens, ones, mine, below, word
        ):
            matrix = np.zeros(sizes[target] * step.nodes, dtype=word.dtype)
            word.gather(matrix, at[row].astype(np.intp) * step.nodes + owner, share[row])
            found[target] = matrix.reshape(sizes[target], step.nodes)
        return found

    def _rows_around(
        self, step: CircuitStep, around: Words, word: Word
    ) -> Iterator[tuple[slice, Words]]:
        """Yield rows of a step, and what is around each: those that nothing is around may miss."""
        pieces, of_piece = step.pieces, self._around(step, around, word)
        for some, rows in pieces.batches:
            values = of_piece[some]
            if values.any():
                yield rows, np.repeat(values, np.diff(pieces.cuts[some.start : some.stop + 1]))

    @staticmethod
    def _around(step: CircuitStep, around: Words, word: Word) -> Words:
        """Return, for each piece of a step's rows, what is around the nodes that it follows."""
        runs = around
        if step.first is not None:
            runs = np.repeat(around, np.diff(np.append(step.first, len(step.begin))))
        if step.pieces.alone:
            return word.rest(runs)
        found = np.zeros(len(step.pieces) + 1, dtype=word.sums)
        some = np.flatnonzero(runs)
        runs = runs[some].astype(word.sums)
        # A row is in no more than 2**32 runs, so the true sums stay below 2**64 for a prime; and
        # what goes below zero on the way comes back, modulo 2**64.
        np.add.at(found, step.pieces.low[some], runs)
        np.subtract.at(found, step.pieces.high[some], runs)
        return word.rest(np.cumsum(found[:-1], dtype=word.sums))

    # -- whole numbers -----------------------------------------------------

    def count(self, weights: Mapping[str, Floats]) -> int:
        """Return the exact number of builds.

        Parameters
        ----------
        weights : mapping of str to ndarray of float
            How many options each base class of each role stands for.
        """
        words = _words(self.most(weights).bit_length())
        rests = [self.in_all(self.below(self.own(weights, w), w), w) for w in words]
        return int(joined(rests, words)[0])

    def count_each(self, weights: Mapping[str, Floats]) -> dict[str, Objects]:
        """Return, for every base class of every role, the builds through one of its options.

        Parameters
        ----------
        weights : mapping of str to ndarray of float
            As in :meth:`count`.

        Returns
        -------
        dict of str to ndarray
            Python integers, whatever weight the class itself has.
        """
        words, found = _words(self.most(weights).bit_length()), []
        for word in words:
            own = self.own(weights, word)
            found.append(self.each(own, self.below(own, word), word))
        return {r: joined([f[r] for f in found], words) for r in self.plan.sizes}

    def possible(self, weights: Mapping[str, Floats]) -> dict[str, Bools]:
        """Return, for every base class of every role, whether a build has one of its options."""
        own = self.own(weights, SOME)
        return self.each(own, self.below(own, SOME), SOME)


class CircuitHome:
    """Counts of requests that differ from one of them in a role or two.

    Parameters
    ----------
    circuit : Circuit
        The rows.
    weights : mapping of str to ndarray of float
        Of the one that most others share a part of.
    """

    def __init__(self, circuit: Circuit, weights: Mapping[str, Floats]) -> None:
        self.circuit, self.weights = circuit, dict(weights)
        self._below: dict[int, list[Words]] = {}
        self._each: dict[str, Objects] | None = None
        self._limit = 0
        self._matrices: dict[tuple[int, bool], Mapping[int, Words] | None] = {}

    def _moved(self, weights: Mapping[str, Floats]) -> frozenset[str]:
        return frozenset(r for r, w in weights.items() if not np.array_equal(w, self.weights[r]))

    @staticmethod
    def _key(word: Word) -> int:
        return -1 if word is SOME else int(word.prime)

    def _known(self, moved: frozenset[str], word: Word) -> dict[int, Words]:
        """Return what is below the nodes of steps that hold none of some roles' weights."""
        circuit, key = self.circuit, self._key(word)
        if key not in self._below:
            self._below[key] = circuit.below(circuit.own(self.weights, word), word)
        return {
            place: values
            for place, (step, values) in enumerate(
                zip(circuit.plan.steps, self._below[key], strict=True)
            )
            if not step.below & moved
        }

    def _words(self, weights: Mapping[str, Floats]) -> tuple[Word, ...]:
        """Return words that tell all counts with some weights apart.

        What is known exactly for the unmoved request bounds a request of no larger weights: its
        counts are sums of no more products.
        """
        most = self.circuit.most(weights)
        if self._limit and all((w <= self.weights[r]).all() for r, w in weights.items()):
            most = min(most, self._limit)
        return _words(most.bit_length())

    def ready(self) -> None:
        """Count what remains of the unmoved request, if that was not done."""
        if self._each is None:
            each = self._counted(self.weights, frozenset())
            through = max((max(n.tolist(), default=0) for n in each.values()), default=0)
            role, own = next(iter(self.weights.items()))
            total = sum(int(w) * n for w, n in zip(own, each[role].tolist(), strict=True))
            self._each, self._limit = each, max(through, total)

    def _across(
        self, moved: frozenset[str], word: Word
    ) -> Callable[[int], Mapping[int, Words] | None]:
        """Return what gives the matrices of steps that hold none of some roles' weights."""
        circuit = self.circuit
        own = circuit.own(self.weights, word)

        def across(place: int) -> Mapping[int, Words] | None:
            if word.prime or circuit.plan.steps[place].below & moved:
                return None
            key = place, word is SOME
            if key not in self._matrices:
                below = self._below[self._key(word)]
                self._matrices[key] = circuit.across(place, own, below, word)
            return self._matrices[key]

        return across

    def _counted(self, weights: Mapping[str, Floats], moved: frozenset[str]) -> dict[str, Objects]:
        words, found = self._words(weights), []
        for word in words:
            own = self.circuit.own(weights, word)
            below = self.circuit.below(own, word, self._known(moved, word))
            across = self._across(moved, word)
            found.append(self.circuit.each(own, below, word, across))
        return {r: joined([f[r] for f in found], words) for r in found[0]}

    def count(self, weights: Mapping[str, Floats]) -> int:
        """Return the exact number of builds.

        Where weights of one role alone are moved, it is what each of its classes has in the
        unmoved request, times its weight.
        """
        self.ready()
        assert self._each is not None
        moved, circuit = self._moved(weights), self.circuit
        if len(moved) <= 1:
            role = next(iter(moved or weights))
            own = np.flatnonzero(weights[role])
            through = self._each[role][own].tolist()
            return sum(int(w) * n for w, n in zip(weights[role][own], through, strict=True))
        words = self._words(weights)
        rests = [
            circuit.in_all(circuit.below(circuit.own(weights, w), w, self._known(moved, w)), w)
            for w in words
        ]
        return int(joined(rests, words)[0])

    def count_each(self, weights: Mapping[str, Floats]) -> dict[str, Objects]:
        """Return what :meth:`Circuit.count_each` does."""
        self.ready()
        assert self._each is not None
        moved = self._moved(weights)
        return self._counted(weights, moved) if moved else self._each

    def possible(self, weights: Mapping[str, Floats]) -> dict[str, Bools]:
        """Return what :meth:`Circuit.possible` does."""
        circuit = self.circuit
        own, moved = circuit.own(weights, SOME), self._moved(weights)
        below = circuit.below(own, SOME, self._known(moved, SOME))
        return circuit.each(own, below, SOME, self._across(moved, SOME))


# ---------------------------------------------------------------- working it out


@dataclass(slots=True)
class _Raw:
    """Rows of a step before nodes are numbered: ``owner`` of each run is one of its cells."""

    cells: Ints
    kind: Ints
    of_kind: dict[int, Ints]
    after: dict[int, Ints]
    owner: Ints
    begin: Ints
    end: Ints
    runs: bool

    @property
    def bytes(self) -> float:
        """Return how many bytes its rows and runs take."""
        held = (self.kind, *self.after.values(), self.owner, self.begin, self.end)
        return float(sum(a.nbytes for a in held))


def _listed(rows: Rows, place: int, cells: Ints) -> _Raw:
    """Return the rows of a step, cell by cell."""
    kinds, opened = _strung(rows, place)
    counts = [np.zeros(0, dtype=np.intp)]
    for begin in range(0, len(cells), _CELLS):
        check()
        some = cells[begin : begin + _CELLS]
        owner, kind = rows.expand(place, some)
        counts.append(np.bincount(owner, minlength=len(some)))
        kinds.add(kind)
        for child, cell in rows.after(place, some[owner], kind, of_kinds=False).items():
            opened[child].add(cell)
    of_cell = np.concatenate(counts).astype(np.intp)
    end = np.cumsum(of_cell)
    after = {c: opened[c].whole() for c in opened}
    every = np.arange(len(cells), dtype=np.intp)
    of_kind = rows.of_kinds(place)
    return _Raw(cells, kinds.whole(), of_kind, after, every, end - of_cell, end, runs=False)


def _strung(rows: Rows, place: int) -> tuple[_Strung, dict[int, _Strung]]:
    """Return what holds the kinds of a step's rows, and the cells that they open."""
    steps = rows.plan.steps
    decided = rows.of_kinds(place)
    opened = {
        c: _Strung(math.prod(steps[c].shape)) for c in rows.children(place) if c not in decided
    }
    return _Strung(steps[place].kinds), opened


def _led(rows: Rows, place: int, cells: Ints) -> _Raw:
    """Return the rows of the role that goes first; its sums are worth one, and left out."""
    owner, kind = leading.following(rows.passes, rows.plan.steps[place], cells)
    counts = np.bincount(owner, minlength=len(cells))
    end = np.cumsum(counts)
    every = np.arange(len(cells), dtype=np.intp)
    return _Raw(cells, kind, {}, {}, every, end - counts, end, runs=False)


def _in_runs(rows: Rows, place: int, cells: Ints) -> _Raw:
    """Return the rows of a step of sorted tuples: a sorted list for outer cells that are alike."""
    step = rows.plan.steps[place]
    summed = summing.summed_of(step)
    stride = math.prod(step.shape[summed.sum + 1 :])
    where = np.unravel_index(cells, step.shape)
    bases = distinct(cells - where[summed.sum] * stride)
    at_base = np.unravel_index(bases, step.shape)
    outer = at_base[summed.outer]
    others = np.zeros(len(bases), dtype=np.intp)
    for axis, size in enumerate(step.shape):
        if axis not in (summed.outer, summed.sum):
            others = others * size + at_base[axis]
    kinds, opened = _strung(rows, place)
    none = np.zeros(0, dtype=np.intp)
    owners, begins, ends = [none], [none], [none]
    once = [part for part in step.parts if not part.axes]
    every = rows.possible(once, (), np.arange(step.kinds, dtype=np.intp))
    asked_at = [p for p in step.parts if p.axes and not summing.tells_kinds(step, p)]
    length = 0
    for same, mine in summing.groups(step, every, distinct(outer)):
        inside = np.flatnonzero(np.isin(outer, same))
        for other in distinct(others[inside]):
            here = inside[others[inside] == other]
            at = [int(along[here[0]]) for along in at_base]
            kind = rows.possible(asked_at, at, mine)
            tuples = summed.kinds[kind]
            cover = np.zeros(len(kind) + 1, dtype=np.intp)
            mine_of: list[tuple[Ints, Ints, Ints]] = []
            for base in here.tolist():
                begin, to = summed.along(int(outer[base]), tuples)
                asked = bases[base] + to * stride
                owner = np.searchsorted(cells, asked)
                good = cells[np.minimum(owner, len(cells) - 1)] == asked
                end = np.append(begin[1:], len(kind))[good]
                mine_of.append((owner[good], begin[good], end))
                np.add.at(cover, begin[good], 1)
                np.subtract.at(cover, end, 1)
            # Rows that no cell has are left out.
            kept = np.cumsum(cover)[:-1] > 0
            row = np.append(0, np.cumsum(kept)).astype(np.intp) + length
            for owner, begin, end in mine_of:
                owners.append(owner)
                begins.append(row[begin])
                ends.append(row[end])
            kind = kind[kept]
            kinds.add(kind)
            base = bases[here[:1]]  # the same for all of them
            for child, cell in rows.after(place, base, kind, of_kinds=False).items():
                opened[child].add(cell)
            length += len(kind)
    owner, begin, end = np.concatenate(owners), np.concatenate(begins), np.concatenate(ends)
    order = np.lexsort((begin, owner))
    return _Raw(
        cells,
        kinds.whole(),
        rows.of_kinds(place),
        {c: opened[c].whole() for c in opened},
        owner[order],
        begin[order],
        end[order],
        runs=True,
    )


def _one_by_one(plan: Plan, step: Step) -> bool:
    """Return whether pairs of a cell and a kind are looked at one by one."""
    return step.summed is None and step.decided is None and step.variable != plan.leading


def _way(plan: Plan, step: Step) -> Callable[[Rows, int, Ints], _Raw]:
    """Return what makes the rows of a step."""
    if step.variable == plan.leading:
        return _led
    return _listed if step.summed is None else _in_runs


def _refused(plan: Plan, step: Step, needed: float, ceiling: float) -> TooWideError:
    roles = [v for v in (step.variable, *step.separator) if v in plan.sizes]
    return TooWideError(needed, ceiling, roles, step.names)


def circuit_of(plan: Plan, whole: Mapping[str, Floats], ceiling: float) -> Circuit:
    """Return the rows of a plan, as runs.

    Parameters
    ----------
    plan : Plan
        The plan.
    whole : mapping of str to ndarray of float
        How many options each base class of each role has: no request lets in more.
    ceiling : float
        Bytes that the rows may take.

    Raises
    ------
    TooWideError
        If they would take more.
    """
    for step in plan.steps:  # a pass would take long, and what it is for could not be held
        if _one_by_one(plan, step) and step.work / _REACHED > ceiling:
            raise _refused(plan, step, step.work / _REACHED, ceiling)
    some = {r: (w > 0).astype(EXISTS.dtype) for r, w in whole.items()}
    passes = Passes(plan, Demands.one(some), EXISTS)
    walked = Rows(passes)
    cases = tuple(c for c in plan.cases if all(passes.up[r].values.any() for r in c.roots))
    reached: dict[int, list[Ints]] = {}
    for case in cases:
        for root in case.roots:
            reached.setdefault(root, []).append(np.zeros(1, dtype=np.intp))
    raw: dict[int, _Raw] = {}
    held = 0.0
    for place in range(len(plan.steps) - 1, -1, -1):
        check()
        step = plan.steps[place]
        cells = distinct_below(math.prod(step.shape), *reached.pop(place, []))
        # A byte for each pair of a cell and a kind that is looked at one by one; a row stays.
        looked = float(len(cells)) * step.kinds if _one_by_one(plan, step) else 0.0
        if held + looked > ceiling:
            raise _refused(plan, step, held + looked, ceiling)
        mine = _way(plan, step)(walked, place, cells)
        held += mine.bytes
        if held > ceiling:
            raise _refused(plan, step, held, ceiling)
        if mine.of_kind:
            kinds = distinct_below(step.kinds, mine.kind)
            for child, at in mine.of_kind.items():
                reached.setdefault(child, []).append(at[kinds])
        for child, at in mine.after.items():
            opened = distinct_below(math.prod(plan.steps[child].shape), at)
            reached.setdefault(child, []).append(opened)
        raw[place] = mine
    del walked, passes  # they hold much, and what follows needs room
    return Circuit(plan, tuple(_numbered(raw, plan)), cases, dict(whole))


def _nodes_at(node_of: Ints, cells: Ints, at: Ints, size: int) -> Ints:
    """Return the node of each cell, of so many there may be, that some rows open."""
    node_of = _narrow(node_of, int(node_of.max(initial=0)) + 1)
    found = np.empty(len(at), dtype=node_of.dtype)
    dense = size <= SPREAD * len(at)
    if dense:
        by_cell = np.zeros(size, dtype=node_of.dtype)
        by_cell[cells] = node_of
    for rows in _slices(len(at)):
        some = at[rows]
        found[rows] = by_cell[some] if dense else node_of[np.searchsorted(cells, some)]
    return found


def _numbered(raw: dict[int, _Raw], plan: Plan) -> Iterator[CircuitStep]:
    """Yield the steps, with cells that are followed by the same as one node."""
    node_of: list[Ints] = []
    cells: list[Ints] = []
    for place in range(len(raw)):
        mine = raw.pop(place)
        opens = {
            c: _nodes_at(node_of[c], cells[c], mine.after.pop(c), math.prod(plan.steps[c].shape))
            for c in tuple(mine.after)
        }
        of_kind = {}
        for c, at in mine.of_kind.items():
            kinds = distinct_below(plan.steps[place].kinds, mine.kind)
            size = math.prod(plan.steps[c].shape)
            of_kind[c] = np.zeros(len(at), dtype=np.intp)
            of_kind[c][kinds] = _nodes_at(node_of[c], cells[c], at[kinds], size)
        many = len(mine.cells)
        cells.append(mine.cells)
        if mine.runs:
            node, kept = nodes_of(mine.owner, many, mine.begin, {-1: mine.end})
            node_of.append(node)
            owner = node[mine.owner[kept]]
            first = np.flatnonzero(np.diff(owner, prepend=-1))
            begin, end = mine.begin[kept], mine.end[kept]
            yield CircuitStep(mine.kind, of_kind, opens, begin, end, first, len(first))
            continue
        owner = np.repeat(mine.owner, mine.end - mine.begin)
        kind = _narrow(mine.kind, plan.steps[place].kinds)
        node, kept = nodes_of(owner, many, kind, opens)
        node_of.append(node)
        begin = np.flatnonzero(np.diff(node[owner[kept]], prepend=-1))
        yield CircuitStep(
            kind[kept],
            of_kind,
            {c: at[kept] for c, at in opens.items()},
            begin,
            np.append(begin[1:], len(kept)).astype(np.intp) if len(begin) else begin,
            None,
            len(begin),
        )
