"""Two made parts in one build: the enquiries that neither of them serves alone.

A part for one role may only fit behind a part for another that is not made yet either. So the
worth of two parts made together can exceed that of both, each on its own. Every pair of parts of
different roles is asked about, but first each part with *any* of the other role: a pair can only
serve what both of its parts serve in that way.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from concurrent.futures import Executor

import numpy as np

from fitgraph.adapters.compiled import compiled_with
from fitgraph.adapters.design_scan import Scan
from fitgraph.array_types import Bools, Ints
from fitgraph.demand.menus import IN_STOCK, SOLD, Menus, Shelf
from fitgraph.demand.questions import Questions, questions_of
from fitgraph.demand.served import witnesses
from fitgraph.graph.options import plain
from fitgraph.records import dataclass


@dataclass(frozen=True, slots=True)
class MadePair:
    """Two made parts and what only both of them in one build serve.

    Parameters
    ----------
    first, second : int
        Places of the parts among the columns of all scans, one scan after another.
    serves : ndarray of bool, shape (n_enquiries,)
        Which enquiries; none that is served now or with either part alone.
    """

    first: int
    second: int
    serves: Bools


def pairs(
    scans: Sequence[Scan], *, in_stock: bool = False, executor: Executor | None = None
) -> tuple[MadePair, ...]:
    """Return the pairs of made parts that serve in one build what neither serves alone.

    Parameters
    ----------
    scans : sequence of Scan
        Of one catalogue.
    in_stock : bool
        Whether enquiries are served from stock only; as the scans were made.
    executor : concurrent.futures.Executor, optional
        Where questions are answered; here by default.

    Returns
    -------
    tuple of MadePair
        Exact; empty where all scans are of one role, which a build holds one part of.
    """
    begins = np.cumsum([0, *(len(s.worths) for s in scans)])
    found: list[MadePair] = []
    for (k, one), (h, other) in itertools.combinations(enumerate(scans), 2):
        if one.make.role == other.make.role or not (one.worths and other.worths):
            continue
        shelf = IN_STOCK if in_stock else SOLD
        for a, b, serves in _of_roles(one, other, shelf, executor):
            found.append(MadePair(int(begins[k]) + a, int(begins[h]) + b, serves))
    return tuple(found)


def _of_roles(
    one: Scan, other: Scan, shelf: Shelf, executor: Executor | None
) -> list[tuple[int, int, Bools]]:
    """Return pairs of a part of one scan and a part of the other, and what they serve."""
    catalogue = one.catalogue
    roles = (one.make.role, other.make.role)
    made = [[plain(w.candidate.part) for w in s.worths] for s in (one, other)]
    menus = Menus(compiled_with(catalogue, dict(zip(roles, made, strict=True))))
    questions = questions_of(menus, catalogue.enquiries)[0]
    at = tuple(menus.roles.index(role) for role in roles)
    # What a rider owns of either role is what they ride.
    free = np.asarray((questions.own[:, at] < 0).all(axis=1))
    enquiry = np.flatnonzero(~one.before & free[questions.of]).astype(np.intp)
    if not len(enquiry):
        return []
    ask = _Asking(questions, at, shelf, executor)
    each = [[np.array([n]) for n in range(len(options))] for options in made]
    every = [[np.arange(len(options))] for options in made]
    # Each part with any of the other role.
    n, a = _product(len(enquiry), len(made[0]))
    first = ask.served(enquiry[n], (each[0], every[1]), (a, np.zeros_like(a)))
    m, b = _product(len(enquiry), len(made[1]))
    second = ask.served(enquiry[m], (every[0], each[1]), (np.zeros_like(b), b))
    may_first = first.reshape(len(enquiry), -1) & ~one.serves[enquiry]
    may_second = second.reshape(len(enquiry), -1) & ~other.serves[enquiry]
    q, a, b = np.nonzero(may_first[:, :, None] & may_second[:, None, :])
    yes = ask.served(enquiry[q], each, (a, b))
    serves: dict[tuple[int, int], Bools] = {}
    for k in np.flatnonzero(yes).tolist():
        key = (int(a[k]), int(b[k]))
        serves.setdefault(key, np.zeros(len(one.before), dtype=bool))[enquiry[q[k]]] = True
    return [(*key, rows) for key, rows in sorted(serves.items(), key=lambda entry: entry[0])]


def _product(rows: int, columns: int) -> tuple[Ints, Ints]:
    """Return the row and the column of every cell of a table."""
    row, column = np.divmod(np.arange(rows * columns, dtype=np.intp), max(columns, 1))
    return row, column


class _Asking:
    """Enquiries asked with menus of two roles set."""

    def __init__(
        self, questions: Questions, at: tuple[int, ...], shelf: Shelf, executor: Executor | None
    ) -> None:
        self.questions, self.at = questions, at
        self.shelf, self.executor = shelf, executor

    def served(
        self, enquiry: Ints, choices: Sequence[Sequence[Ints]], which: Sequence[Ints]
    ) -> Bools:
        """Return which enquiries are served with the given choice of each of the roles."""
        if not len(enquiry):
            return np.zeros(0, dtype=bool)
        questions, menus = self.questions, self.questions.menus
        place = questions.of[enquiry]
        asked, material = questions.asked_of(self.shelf, place), questions.material[place]
        for at, of, chosen in zip(self.at, choices, which, strict=True):
            numbers = np.array(
                [[menus.bought(at, some, word) for some in of] for word in questions.materials]
            )
            asked.menus[:, at] = numbers[material, chosen]
        return witnesses(menus, asked, executor=self.executor).yes
