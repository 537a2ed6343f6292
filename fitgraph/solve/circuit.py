"""Exact counts by a circuit of the rows that some build has.

Of a wide plan's cells few lie on a build. Those that do, and what can follow each of them, are
worked out once (:func:`fitgraph.solve.circuit_rows.circuit_of`); then a count is one look along
them, and what remains a second one back. Sorted tuples are not listed cell by cell: a cell is some
runs of a sorted list, and what a run comes to is the difference of two running sums.

Numbers are kept as remainders (:mod:`fitgraph.solve.residues`). How many words it takes is proven
before: a sum of products with no negative term is at most what it is where every option is let
in, and that is known (:meth:`Circuit.most`).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence

import numpy as np

from fitgraph.array_types import Bools, Floats, Ints
from fitgraph.solve.arrays import distinct_below, spread
from fitgraph.solve.plan import Case, Plan
from fitgraph.solve.residues import (
    SOME,
    AtMost,
    MachineWord,
    Objects,
    Rough,
    Words,
    all_but_one,
    few,
    is_few,
    joined,
    taken,
    words_of,
)
from fitgraph.solve.support import ROW as SUPPORT_ROW
from fitgraph.solve.support import CircuitStep, Sorted, StepRows, Support
from fitgraph.stopping import check

#: Numbers of a matrix that are worth one row of a step, and that the matrices of a step may have.
_DENSE, _MATRIX = 8, 1 << 23


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
            raise self.plan.too_wide(widest, sum(needed), ceiling)
        found = []
        for step in self.steps:
            node, row = step.one_by_one()
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
            for rows, alive, around in self._rows_around(step, reached[place], SOME):
                row = rows.start + (np.flatnonzero(around) if alive is None else alive)
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

    def own(self, weights: Mapping[str, Floats], word: MachineWord) -> list[Words | None]:
        """Return what each kind of each step adds itself; None where that is one."""
        found: list[Words | None] = []
        for step in self.plan.steps:
            if not step.is_role:
                found.append(None)
                continue
            kinds = np.zeros(step.kinds, dtype=word.given)
            given = weights[step.variable][step.domain].astype(word.given)
            np.add.at(kinds, step.kind_of[step.domain], given)
            found.append(word.rest(kinds))
        return found

    def below(
        self,
        own: Sequence[Words | None],
        word: MachineWord,
        known: Mapping[int, Words] | None = None,
    ) -> list[Words]:
        """Return the value of each node with all below it.

        Parameters
        ----------
        own
            As from :meth:`own`.
        word : MachineWord
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
        step: CircuitStep, own: Words | None, below: Sequence[Words], word: MachineWord
    ) -> Words | None:
        """Return what each kind comes to with all that it alone opens; None where that is one."""
        if not len(step.kind):
            return own
        for child, at in step.of_kind.items():
            value = taken(below[child], at)
            own = value if own is None else word.both(own, value)
        return own

    @staticmethod
    def _rows_below(
        step: CircuitStep,
        rows: slice,
        kinds: Words | None,
        below: Sequence[Words],
        word: MachineWord,
    ) -> Words:
        """Return the values of some rows of a step with all below them.

        ``kinds`` is what each kind comes to, as :meth:`_of_kinds` has it.
        """
        values = None if kinds is None else taken(kinds, step.kind[rows])
        alive = None if values is None else few(values)
        if values is not None and alive is not None:
            values = taken(values, alive)
        for child, at in step.opens.items():
            some = at[rows]
            value = taken(below[child], some if alive is None else taken(some, alive))
            values = value if values is None else word.both(values, value)
        if values is None:
            return np.ones(rows.stop - rows.start, dtype=word.dtype)
        if alive is None:
            return values
        every = np.zeros(rows.stop - rows.start, dtype=word.dtype)
        every[alive] = values
        return every

    def _beside(self, case: Case, but: int, below: Sequence[Words], word: MachineWord) -> Words:
        """Return what the roots of a case come to together, but for one."""
        found = np.ones(1, dtype=word.dtype)
        for root in case.roots:
            if root != but:
                found = word.both(found, below[root][:1])
        return found

    def in_all(self, below: Sequence[Words], word: MachineWord) -> Words:
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
        word: MachineWord,
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
                for rows, alive, values in self._rows_around(step, around, word):
                    kind, opens = step.kind[rows], {c: at[rows] for c, at in step.opens.items()}
                    if alive is not None:
                        kind = taken(kind, alive)
                        opens = {c: taken(at, alive) for c, at in opens.items()}
                    if word is SOME:
                        self._mark(place, kind, opens, values, mine, below, kinds, outside)
                        continue
                    # Each is looked up twice, and numpy would widen it twice.
                    kind = kind.astype(np.intp)
                    opens = {c: at.astype(np.intp) for c, at in opens.items()}
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
        kind: Ints,
        opens: Mapping[int, Ints],
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
        kind, opens
            Of some of its rows, as in :class:`CircuitStep`.
        values : ndarray of bool
            Whether there is anything around them.
        mine : ndarray or None
            What each kind comes to, as :meth:`_of_kinds` has it.
        below
            As in :meth:`each`.
        kinds, outside
            What is marked, of the step's own kinds and of the nodes of all steps.
        """
        step = self.steps[place]
        opened = [(c, at, taken(below[c], at)) for c, at in opens.items()]
        if self.plan.steps[place].is_role or step.of_kind:
            through = values & ~taken(kinds, kind)
            for *_, value in opened:
                through &= value
            kinds[kind[through]] = True
        for child, at, _ in opened:
            if outside[child].all():
                continue
            share = values & ~taken(outside[child], at)
            for other, _, value in opened:
                if other != child:
                    share &= value
            new = np.flatnonzero(share)
            if mine is not None:
                new = new[taken(mine, taken(kind, new))]
            outside[child][taken(at, new)] = True

    def _shares(
        self,
        place: int,
        kind: Ints,
        opens: Mapping[int, Ints],
        values: Words,
        mine: Words | None,
        below: Sequence[Words],
        word: MachineWord,
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
        opened = [(c, at, taken(below[c], at)) for c, at in opens.items()]
        if self.plan.steps[place].is_role or self.steps[place].of_kind:
            through = values
            for _, _, value in opened:
                through = word.both(through, value)
            yield -1, kind, through
        if mine is not None and opened:
            values = word.both(values, taken(mine, kind))
        for n, share in enumerate(all_but_one(values, [value for *_, value in opened], word)):
            yield *opened[n][:2], share

    @staticmethod
    def _of_kinds_shares(
        step: CircuitStep,
        own: Words | None,
        values: Words,
        below: Sequence[Words],
        word: MachineWord,
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
        opened = [taken(below[c], at) for c, at in step.of_kind.items()]
        through = values
        for value in opened:
            through = word.both(through, value)
        yield -1, through
        if own is not None:
            values = word.both(values, own)
        yield from zip(step.of_kind, all_but_one(values, opened, word), strict=True)

    def across(
        self, place: int, own: Sequence[Words | None], below: Sequence[Words], word: MachineWord
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
        self, step: CircuitStep, around: Words, word: MachineWord
    ) -> Iterator[tuple[slice, Ints | None, Words]]:
        """Yield rows of a step, which of them something is around, and what.

        Rows that nothing is around may miss; where they are few, None stands for all.
        """
        pieces, of_piece = step.pieces, self._around(step, around, word)
        for some, rows in pieces.batches:
            values, cuts = of_piece[some], pieces.cuts[some.start : some.stop + 1]
            live, counts = np.flatnonzero(values), np.diff(cuts)
            if not len(live):
                continue
            if len(live) < len(values):
                lengths = counts[live]
                if is_few(int(lengths.sum()), rows.stop - rows.start):
                    owner, number = spread(lengths)
                    at = taken(cuts[live] - rows.start, owner) + number
                    yield rows, at, taken(values[live], owner)
                    continue
            yield rows, None, np.repeat(values, counts)

    @staticmethod
    def _around(step: CircuitStep, around: Words, word: MachineWord) -> Words:
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
        words = words_of(self.most(weights).bit_length())
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
        words, found = words_of(self.most(weights).bit_length()), []
        for word in words:
            own = self.own(weights, word)
            found.append(self.each(own, self.below(own, word), word))
        return {r: joined([f[r] for f in found], words) for r in self.plan.sizes}

    def possible(self, weights: Mapping[str, Floats]) -> dict[str, Bools]:
        """Return, for every base class of every role, whether a build has one of its options."""
        own = self.own(weights, SOME)
        return self.each(own, self.below(own, SOME), SOME)

    def rough(self, weights: Mapping[str, Floats]) -> dict[str, Floats]:
        """Return, for every base class of every role, the weight of all builds with one option.

        Parameters
        ----------
        weights : mapping of str to ndarray of float
            Of any size, none of them negative.

        Returns
        -------
        dict of str to ndarray of float
            To float64's digits of the whole; zero just where there is no build.
        """
        word = Rough()
        own = self.own(weights, word)
        found = self.each(own, self.below(own, word), word)
        possible = self.possible({r: (w > 0).astype(float) for r, w in weights.items()})
        return {r: np.where(possible[r], n, 0.0) for r, n in found.items()}
