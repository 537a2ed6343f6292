"""Which orders a question cannot do without: cuts, found with the engine as the oracle.

A question that is not served keeps being unserved while parts are added, up to a point. From
there on each part that would serve it is in the cut: every set of orders that serves the
question holds one of them. A build has one part a role, so a whole role is tried at once, and
if it is too much, each of its parts alone; that finds a largest unserved set. A part of which only
a search would tell is taken to serve: the cut is then wider than it has to be, and as true.

References
----------
.. [1] J. N. Hooker, G. Ottosson, "Logic-based Benders decomposition", Mathematical Programming
   96 (2003) 33-60 (reference checked).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from fitgraph.array_types import Bools, Ints
from fitgraph.demand.menus import Shelf
from fitgraph.demand.questions import Questions
from fitgraph.demand.served import Asked, served


class Lacking:
    """The oracle of a set of questions and of the parts that can be ordered.

    Parameters
    ----------
    questions : Questions
        Distinct questions.
    candidates : sequence of str
        Stock numbers that can be ordered.
    """

    def __init__(self, questions: Questions, candidates: Sequence[str]) -> None:
        self.questions = questions
        menus = questions.menus
        parts = menus.space.catalogue.parts
        self.of_role: list[tuple[str, ...]] = [
            tuple(s for s in candidates if parts[s].role == role) for role in menus.roles
        ]
        self._number: dict[tuple[int, int, frozenset[str]], int] = {}

    def _menu(self, role: int, question: int, plus: frozenset[str]) -> int:
        """Return the menu of one role for a question with some of its candidates ordered."""
        own = int(self.questions.own[question, role])
        if own >= 0:
            return own
        material = int(self.questions.material[question])
        key = (role, material, plus)
        if key not in self._number:
            shelf = Shelf(True, plus)
            word = self.questions.materials[material]
            self._number[key] = self.questions.menus.shelf(role, shelf, word)
        return self._number[key]

    def _asked(self, at: Ints, menus: Ints) -> Asked:
        return Asked(menus, self.questions.budget[at], self.questions.tenths[at])

    def served(self, at: Ints, ordered: frozenset[str]) -> Bools:
        """Return which of some questions are served from stock and some orders."""
        if not len(at):
            return np.zeros(0, dtype=bool)
        asked = self.questions.asked_of(Shelf(True, ordered), at)
        return served(self.questions.menus, asked, certain=True).yes

    def cuts(
        self, at: Ints, ordered: frozenset[str], orders: Sequence[Sequence[int]]
    ) -> list[tuple[int, frozenset[str]]]:
        """Return cuts for questions that some orders do not serve.

        Parameters
        ----------
        at : ndarray of int
            The questions.
        ordered : frozenset of str
            What is ordered.
        orders : sequence of sequence of int
            In which orders the roles are tried; each gives a cut of its own.

        Returns
        -------
        list of (int, frozenset of str)
            A question and the parts of which it needs at least one. An empty set: nothing
            that can be ordered serves it.
        """
        who = np.repeat(at, len(orders))
        found: list[set[str]] = [set() for _ in who]
        held = [frozenset(s for s in of if s in ordered) for of in self.of_role]
        rows = np.array(
            [[self._menu(r, int(q), held[r]) for r in range(len(held))] for q in who], dtype=np.intp
        ).reshape(-1, len(held))
        for step in range(len(held)):
            role = np.array([orders[k % len(orders)][step] for k in range(len(who))], dtype=np.intp)
            todo = np.array(
                [
                    k
                    for k, r in enumerate(role)
                    if self.questions.own[who[k], r] < 0 and len(self.of_role[r]) > len(held[r])
                ],
                dtype=np.intp,
            )
            if not len(todo):
                continue
            whole = rows[todo].copy()
            for n, k in enumerate(todo):
                every = frozenset(self.of_role[role[k]])
                whole[n, role[k]] = self._menu(int(role[k]), int(who[k]), every)
            yes = served(self.questions.menus, self._asked(who[todo], whole), certain=True).yes
            rows[todo[~yes]] = whole[~yes]
            self._one_by_one(todo[yes], role, who, rows, held, found)
        return [(int(q), frozenset(parts)) for q, parts in zip(who, found, strict=True)]

    def _one_by_one(
        self,
        hard: Ints,
        role: Ints,
        who: Ints,
        rows: Ints,
        held: Sequence[frozenset[str]],
        found: list[set[str]],
    ) -> None:
        """Add to each cut the parts of a role that serve alone; take the others as ordered."""
        tries = [(int(k), s) for k in hard for s in self.of_role[role[k]] if s not in held[role[k]]]
        if not tries:
            return
        asker = np.array([k for k, _ in tries], dtype=np.intp)
        menus = rows[asker].copy()
        for n, (k, sku) in enumerate(tries):
            plus = held[role[k]] | {sku}
            menus[n, role[k]] = self._menu(int(role[k]), int(who[k]), plus)
        asked = self._asked(who[asker], menus)
        told = served(self.questions.menus, asked, certain=True, exact=False)
        yes = told.yes | told.open
        for (k, sku), alone in zip(tries, yes.tolist(), strict=True):
            if alone:
                found[k].add(sku)
        for k in hard.tolist():
            rest = frozenset(self.of_role[role[k]]) - found[k]
            rows[k, role[k]] = self._menu(int(role[k]), who[k], rest)


def minimal_cuts(
    cuts: Mapping[int, Sequence[frozenset[str]]], new: Sequence[tuple[int, frozenset[str]]]
) -> list[tuple[int, frozenset[str]]]:
    """Return the new cuts that no known or other new cut of their question implies."""
    kept: list[tuple[int, frozenset[str]]] = []
    for question, cut in sorted(set(new), key=lambda c: (c[0], len(c[1]), sorted(c[1]))):
        known = [*cuts.get(question, ()), *(c for q, c in kept if q == question)]
        if not any(k <= cut for k in known):
            kept.append((question, cut))
    return kept
