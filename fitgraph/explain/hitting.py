"""What has to be dropped, and what clashes, where sums along a nest or a stack count as well.

Elimination that carries sets of broken elements (:mod:`fitgraph.explain.broken`) is quick where
joints tie two parts, and hopeless where lengths of six parts add up. A search for one build takes
sums easily, so it serves as an oracle: is a build left when these elements go? Conflicts between
pairs are known beforehand; every set that is dropped has to hit them all. A smallest set that
does, and leaves no build, teaches one more conflict (implicit hitting sets). When every smallest
hitting set leaves a build, those are all minimal sets to drop, and the smallest sets that hit
each of them are all minimal conflicts.

References
----------
.. [1] M. H. Liffiton, K. A. Sakallah, "Algorithms for computing minimal unsatisfiable subsets of
   constraints", J. Automated Reasoning 40 (2008) 1-33 (reference checked).
.. [2] E. Moreno-Centeno, R. M. Karp, "The implicit hitting set approach to solve combinatorial
   optimization problems with an application to multigenome alignment", Operations Research 61
   (2013) 453-468 (reference checked).
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Protocol

import numpy as np

from fitgraph.explain.elements import AskedElements
from fitgraph.explain.narrowed import narrowed
from fitgraph.explain.network import Domains, Network, TooLongError
from fitgraph.explain.transversals import bits, minimal, minimal_transversals
from fitgraph.solve.algebra import EXISTS
from fitgraph.solve.messages import Demands
from fitgraph.solve.passes import Passes
from fitgraph.solve.plan import Plan
from fitgraph.stopping import check


class Oracle:
    """Says whether a build is left when elements of a question go.

    Parameters
    ----------
    network : Network
        For what is certain, or for what is possible.
    question : AskedElements
        Its limits are not looked at.
    sums : frozenset of str, optional
        Names of the conditions on sums that count; all by default.
    wider : Oracle, optional
        Of the same question with fewer sums, whose work is gone on with.
    """

    def __init__(
        self,
        network: Network,
        question: AskedElements,
        sums: frozenset[str] | None = None,
        wider: Oracle | None = None,
    ) -> None:
        self.network, self.question, self.sums = network, question, sums
        self.every = (1 << len(question.elements)) - 1
        self._mask = {
            role: sum(1 << n for n in set(places) if n is not None)
            for role, places in question.meaning.items()
        }
        self._classes: dict[tuple[str, int], int] = {}
        self._broken: dict[tuple[str, int, int], int] = {}
        self._leaving: list[int] = []
        self._clashing: list[int] = []
        self._plan: Plan | None = None
        #: What is left when everything is dropped.
        self.root: Domains | None = None
        if wider is None:
            self.root = network.narrowed(self.domains(self.every), sums)
        else:
            self._classes = wider._classes
            if wider.root is not None:
                self.root = network.tightened(
                    wider.root, wider.root, sums, network.roles_of_sums(sums)
                )

    def domains(self, dropped: int) -> Domains:
        """Return the classes of each role that break nothing but dropped elements, as bits."""
        found = []
        for role in self.network.roles:
            key = role, dropped & self._mask[role]
            if key not in self._classes:
                lets = self.question.lets(role, dropped)
                self._classes[key] = self.network.classes(role, lets)
            found.append(self._classes[key])
        return found

    def left(self, dropped: int) -> bool:
        """Return whether a build is left without some elements, as bits."""
        if any(not broken & ~dropped for broken in self._leaving):
            return True
        if any(not conflict & dropped for conflict in self._clashing):
            return False
        try:
            build = self.build(dropped)
        except TooLongError:
            if self._passed(dropped):
                self._leaving.append(dropped)
                return True
            build = None
        if build is None:
            self._clashing.append(self.every & ~dropped)
            return False
        self._leaving.append(self._breaks(build, dropped))
        return True

    def build(self, dropped: int) -> Domains | None:
        """Return a build that breaks nothing but dropped elements, None where there is none.

        Raises
        ------
        TooLongError
            If the search takes too many decisions.
        """
        if self.root is None:
            return None
        left = self.network.tightened(self.root, self.domains(dropped), self.sums)
        return None if left is None else self.network.build(left, self.sums, ready=True)

    def _breaks(self, build: Domains, dropped: int) -> int:
        """Return the dropped elements that a build breaks."""
        broken = 0
        for role, one in zip(self.network.roles, build, strict=True):
            if mine := dropped & self._mask[role]:
                key = role, one, mine
                if key not in self._broken:
                    self._broken[key] = self._breaks_of(role, one, mine)
                broken |= self._broken[key]
        return broken

    def _breaks_of(self, role: str, one: int, dropped: int) -> int:
        lets = self.question.lets(role, dropped)
        lets &= self.question.space.class_of[role] == one.bit_length() - 1
        codes = sorted(set(self.question.broken[role][lets].tolist()))
        return min((self.question.broken_by(role, c) for c in codes), key=int.bit_count)

    def _passed(self, dropped: int) -> bool:
        """Return whether a build is left, by a pass over all of them at once."""
        question, space = self.question, self.question.space
        if self._plan is None:
            self._plan = narrowed(question, certain=self.network.certain, sums=self.sums)
        values = {}
        for role in self._plan.roles:
            values[role] = np.zeros((1, self._plan.sizes[role]))
            values[role][0, space.class_of[role][question.lets(role, dropped)]] = 1.0
        of = dict.fromkeys(values, np.zeros(1, dtype=np.intp))
        return bool(Passes(self._plan, Demands(values, of), EXISTS).totals()[0] > 0)


class Leaves(Protocol):
    """Says whether a build is left when elements of a question go."""

    every: int

    def left(self, dropped: int, /) -> object:
        """Return something that is true where a build is left without some elements, as bits."""
        ...


def shrunk(oracle: Leaves, clashing: int) -> int:
    """Return a minimal conflict within a set of elements that clash.

    The last element of the shortest beginning that clashes belongs to the conflict; with it in
    front, the next is looked for among those before it.
    """
    kept = 0
    rest = list(bits(clashing))
    while oracle.left(oracle.every & ~kept):
        check()
        clear, clashes = 0, len(rest)  # so many leave a build; so many do not
        while clashes - clear > 1:
            middle = (clear + clashes) // 2
            if oracle.left(oracle.every & ~(kept | sum(rest[:middle]))):
                clear = middle
            else:
                clashes = middle
        kept |= rest[clashes - 1]
        rest = rest[: clashes - 1]
    return kept


def drops_and_conflicts(oracle: Leaves, known: Iterable[int]) -> tuple[list[int], list[int]]:
    """Return every minimal set to drop, and every minimal conflict, of elements as bits.

    Parameters
    ----------
    oracle : Leaves
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
        if not oracle.left(oracle.every):
            return [], [0]
        learnt: list[int] = []
        for dropped in drops:
            left = oracle.every & ~dropped
            if any(not conflict & ~left for conflict in learnt) or oracle.left(dropped):
                continue
            learnt.append(shrunk(oracle, left))
        if not learnt:
            return drops, minimal_transversals(drops)
        conflicts = minimal([*conflicts, *learnt])
