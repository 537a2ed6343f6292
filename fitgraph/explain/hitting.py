"""What has to be dropped, and what clashes, where sums along a nest or a stack count as well.

Elimination that carries sets of broken elements (:mod:`fitgraph.explain.broken`) is quick where
joints tie two parts, and hopeless where lengths of six parts add up. The search itself takes
sums easily, so it serves as an oracle: is a build left when these elements go? Conflicts between
pairs are known beforehand; every set that is dropped has to hit them all. A smallest set that
does, and leaves no build, teaches one more conflict (implicit hitting sets). When every smallest
hitting set leaves a build, those are all minimal sets to drop, and the smallest sets that hit
each of them are all minimal conflicts.

References
----------
.. [1] M. H. Liffiton, K. A. Sakallah, "Algorithms for computing minimal unsatisfiable subsets of
   constraints", J. Automated Reasoning 40 (2008) 1-33 (from memory).
.. [2] E. Moreno-Centeno, R. M. Karp, "The implicit hitting set approach to solve combinatorial
   optimization problems", Operations Research 61 (2013) 453-468 (from memory).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np
import numpy.typing as npt

from fitgraph.explain.elements import Question
from fitgraph.explain.transversals import bits, minimal, minimal_transversals
from fitgraph.solve.algebra import COUNT
from fitgraph.solve.passes import Demands, Passes
from fitgraph.solve.plan import Plan

Ints = npt.NDArray[np.intp]

#: Requests that are asked at once.
_AT_ONCE = 64


class Oracle:
    """Says whether a build is left when elements of a question go.

    Parameters
    ----------
    plan : Plan
        For what is certain, or for what is possible.
    class_of : mapping of str to ndarray of int
        The base class of each option.
    question : Question
        Its limits are not looked at.
    """

    def __init__(self, plan: Plan, class_of: Mapping[str, Ints], question: Question) -> None:
        self.plan, self.class_of, self.question = plan, class_of, question
        self.every = (1 << len(question.elements)) - 1
        self._mask = {
            role: sum(1 << n for n in set(places) if n is not None)
            for role, places in question.meaning.items()
        }
        self._known: dict[int, bool] = {}

    def left(self, dropped: Sequence[int]) -> list[bool]:
        """Return for each set of elements, as bits, whether a build is left without them."""
        asked = [d for d in dict.fromkeys(dropped) if d not in self._known]
        for start in range(0, len(asked), _AT_ONCE):
            some = asked[start : start + _AT_ONCE]
            for d, yes in zip(some, self._ask(some), strict=True):
                self._known[d] = yes
        return [self._known[d] for d in dropped]

    def _ask(self, dropped: Sequence[int]) -> list[bool]:
        values: dict[str, npt.NDArray[np.float64]] = {}
        of: dict[str, Ints] = {}
        for role in self.plan.roles:
            masks = [d & self._mask[role] for d in dropped]
            distinct = list(dict.fromkeys(masks))
            rows = []
            for mask in distinct:
                lets = self.question.lets(role, mask)
                row = np.zeros(self.plan.sizes[role])
                row[self.class_of[role][lets]] = 1.0
                rows.append(row)
            values[role] = np.array(rows)
            of[role] = np.array([distinct.index(m) for m in masks], dtype=np.intp)
        passes = Passes(self.plan, Demands(values, of), COUNT)
        return [bool(total > 0) for total in passes.totals()]

    def shrunk(self, clashing: int) -> int:
        """Return a minimal conflict within a set of elements that clash.

        Notes
        -----
        Each round asks of all beginnings of the set at once which of them clash already; the
        last element of the first that does belongs to the conflict.
        """
        kept = 0
        rest = list(bits(clashing))
        while True:
            tried = [kept]
            for element in rest:
                tried.append(tried[-1] | element)
            holds = self.left([self.every & ~some for some in tried])
            first = holds.index(False)
            if first == 0:
                return kept
            kept |= rest[first - 1]
            rest = rest[: first - 1]


def drops_and_conflicts(oracle: Oracle, known: Iterable[int]) -> tuple[list[int], list[int]]:
    """Return every minimal set to drop, and every minimal conflict, of elements as bits.

    Parameters
    ----------
    oracle : Oracle
        Says what is left.
    known : iterable of int
        Conflicts that are known already; they need not be minimal.

    Returns
    -------
    drops, conflicts : list of int
        No set to drop, and the empty conflict, where no build is left whatever goes.
    """
    conflicts = minimal(known)
    while True:
        drops = minimal_transversals(conflicts)
        *holds, any_left = oracle.left([*drops, oracle.every])
        if not any_left:
            return [], [0]
        if all(holds):
            return drops, minimal_transversals(drops)
        failing = [d for d, yes in zip(drops, holds, strict=True) if not yes]
        learnt: list[int] = []
        for dropped in failing:
            left = oracle.every & ~dropped
            if not any(not conflict & ~left for conflict in learnt):
                learnt.append(oracle.shrunk(left))
        conflicts = minimal([*conflicts, *learnt])
