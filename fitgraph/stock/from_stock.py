"""What a shop's enquiries come to from stock alone, and without a part or two of it.

Coverage, reliance and serving in turn all begin with it, so it is worked out once an engine.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import Executor

import numpy as np

from fitgraph.array_types import Bools, Ints
from fitgraph.demand.menus import IN_STOCK, Menus, Shelf
from fitgraph.demand.questions import LeftOut, Questions, questions_of
from fitgraph.demand.served import Asked, Progress, Served, sums_of, witnesses
from fitgraph.model import Enquiry
from fitgraph.records import dataclass
from fitgraph.solve import TreeEngine
from fitgraph.solve.kept import keeps_joints, keeps_sums

Skus = frozenset[str]

#: Builds with one part swapped that are looked at in one go.
_AT_ONCE = 1 << 18


@dataclass(frozen=True, slots=True)
class Without:
    """Questions asked from stock without some parts, and a build of each that is still served.

    Parameters
    ----------
    of : ndarray of int, shape (n,)
        The question.
    gone : tuple of frozenset of str
        The stock numbers that are taken as gone.
    yes : ndarray of bool, shape (n,)
        Whether it is served.
    places : ndarray of int, shape (n, n_roles)
        The options of one build that serves it, -1 where none does.
    """

    of: Ints
    gone: tuple[Skus, ...]
    yes: Bools
    places: Ints


class FromStock:
    """A shop's distinct questions and what they come to, worked out at the first call.

    Parameters
    ----------
    questions : Questions
        The distinct ones.
    enquiries : tuple of Enquiry
        Those that could be asked, in order.
    left_out : tuple of LeftOut
        Enquiries that could not be asked, and why.
    """

    def __init__(
        self,
        questions: Questions,
        enquiries: tuple[Enquiry, ...],
        left_out: tuple[LeftOut, ...],
    ) -> None:
        self.questions, self.enquiries, self.left_out = questions, enquiries, left_out
        self._served: Served | None = None
        self._without: dict[int, Without] = {}

    def served(self, executor: Executor | None = None, progress: Progress | None = None) -> Served:
        """Return which questions are served from stock, with a build for each that is.

        Parameters
        ----------
        executor, progress
            As in :func:`fitgraph.demand.served.in_pieces`.
        """
        if self._served is None:
            asked = self.questions.asked_of(IN_STOCK)
            self._served = witnesses(
                self.questions.menus, asked, executor=executor, progress=progress
            )
        return self._served

    def without(
        self, parts: int, executor: Executor | None = None, progress: Progress | None = None
    ) -> Without:
        """Return the questions without each part, or each two, that might end them.

        Parameters
        ----------
        parts : int
            How many parts are gone; none: as they stand. Only those of a build that serves with
            one part less can end a question.
        executor, progress
            As in :func:`fitgraph.demand.served.in_pieces`.
        """
        if not parts:
            every = np.arange(len(self.questions))
            served = self.served(executor, progress)
            return Without(every, (frozenset(),) * len(every), served.yes, served.places)
        if parts not in self._without:
            before = self.without(parts - 1, executor, progress)
            self._without[parts] = self._less(before, executor, progress)
        return self._without[parts]

    def _less(
        self, before: Without, executor: Executor | None, progress: Progress | None
    ) -> Without:
        """Return the questions without one more part of what serves them.

        Another of the same role often does in its place. To see that is far less work than to
        look for a build, so only the others are looked for.
        """
        numbers: dict[tuple[int, Skus], int] = {}
        base: list[tuple[int, int, int]] = []
        for n in np.flatnonzero(before.yes).tolist():
            question = int(before.of[n])
            for sku, at in self._taken(question, before.places[n]):
                key = (question, before.gone[n] | {sku})
                base.append((numbers.setdefault(key, len(numbers)), n, at))
        of = np.array([q for q, _ in numbers], dtype=np.intp)
        gone = tuple(g for _, g in numbers)
        asked = self._asked(of, gone)
        yes = np.zeros(len(of), dtype=bool)
        places = np.full((len(of), asked.menus.shape[1]), -1, dtype=np.intp)
        self._swapped(asked, base, before.places, yes, places)
        left = np.flatnonzero(~yes)
        found = witnesses(
            self.questions.menus, asked.take(left), executor=executor, progress=progress
        )
        yes[left], places[left] = found.yes, found.places
        return Without(of, gone, yes, places)

    def _taken(self, question: int, places: Ints) -> list[tuple[str, int]]:
        """Return what a question's build takes from the shelf, and for which role."""
        menus, own = self.questions.menus, self.questions.own[question]
        found = []
        for at, (role, place) in enumerate(zip(menus.roles, places.tolist(), strict=True)):
            part = menus.space.options[role][place].part if own[at] < 0 else None
            if part is not None:
                found.append((part.sku, at))
        return found

    def _asked(self, of: Ints, gone: Sequence[Skus]) -> Asked:
        """Return questions as menus without what is gone."""
        questions, menus = self.questions, self.questions.menus
        base = questions.asked_of(IN_STOCK, of)
        rows = base.menus.copy()
        role_of = {s: menus.roles.index(p.role) for s, p in menus.space.catalogue.parts.items()}
        for n, (question, skus) in enumerate(zip(of.tolist(), gone, strict=True)):
            material = questions.materials[questions.material[question]]
            for at in {role_of[s] for s in skus}:
                rows[n, at] = menus.shelf(at, Shelf(True, frozenset(), skus), material)
        return Asked(rows, base.budget, base.tenths)

    def _swapped(
        self,
        asked: Asked,
        base: Sequence[tuple[int, int, int]],
        known: Ints,
        yes: Bools,
        places: Ints,
    ) -> None:
        """Fill in builds that serve, each a known one with another option of one role.

        ``base`` holds the places of a question, of a known build and of a role.
        """
        menus = self.questions.menus
        options: list[Ints] = []
        for question, _, at in base:
            number, light = int(asked.menus[question, at]), np.isfinite(asked.tenths[question])
            useful = menus.useful(at, number, weighed=bool(light))
            options.append(menus.menu(at, number).place[useful])
        ends = np.cumsum([len(o) for o in options])
        begin = 0
        while begin < len(base):
            before = ends[begin - 1] if begin else 0
            end = max(begin + 1, int(np.searchsorted(ends, before + _AT_ONCE, side="right")))
            sizes = [len(o) for o in options[begin:end]]
            who, build, role = (np.repeat(c, sizes) for c in zip(*base[begin:end], strict=True))
            tried = known[build].copy()
            tried[np.arange(len(tried)), role] = np.concatenate(options[begin:end])
            good = np.flatnonzero(self._serve(asked.take(who), tried))[::-1]
            yes[who[good]], places[who[good]] = True, tried[good]
            begin = end

    def _serve(self, asked: Asked, places: Ints) -> Bools:
        """Return which builds of what is on their menus fit for certain, within the limits."""
        menus = self.questions.menus
        price, tenths = sums_of(menus, asked, places)
        kept = np.flatnonzero((price <= asked.budget) & (tenths <= asked.tenths))
        for keeps in (keeps_joints, keeps_sums):
            options = {role: places[kept, at] for at, role in enumerate(menus.roles)}
            kept = kept[keeps(menus.space, options, certain=True)]
        good = np.zeros(len(places), dtype=bool)
        good[kept] = True
        return good


def from_stock(
    engine: TreeEngine,
    enquiries: Sequence[Enquiry] | None = None,
    *,
    stock: Mapping[str, int] | None = None,
) -> FromStock:
    """Return what a shop's enquiries come to from stock.

    Parameters
    ----------
    engine : TreeEngine
        A compiled catalogue.
    enquiries : sequence of Enquiry, optional
        The catalogue's own by default.
    stock : mapping of str to int, optional
        Pieces held by stock number, instead of the catalogue's own.
    """

    def made() -> FromStock:
        asked = engine.catalogue.enquiries if enquiries is None else enquiries
        return FromStock(*questions_of(Menus(engine.space, stock), asked))

    if enquiries is None and stock is None:
        return engine.space.kept(("from stock",), made)
    return made()
