"""Parts on which much depends: how many builds and enquiries end if one, or two, are gone.

An enquiry that is served has a witness, one build from stock. Only a part of that build can
be one that it depends on, so each is taken away in turn and the question asked again; where it
is still served, the new witness says which second part could end it.

References
----------
.. [1] R. Reiter, "A theory of diagnosis from first principles", Artificial Intelligence 32
   (1987) 57-95: hitting sets from witnesses (reference checked).
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Executor

import numpy as np
import numpy.typing as npt

from fitgraph.demand.menus import IN_STOCK, Menus, Shelf
from fitgraph.demand.served import Progress
from fitgraph.model import Enquiry
from fitgraph.records import dataclass
from fitgraph.solve import TreeEngine
from fitgraph.solve.plan import naming_none
from fitgraph.stock.from_stock import from_stock


@dataclass(frozen=True, slots=True)
class Weak:
    """A part, or two, whose absence ends builds or enquiries.

    Parameters
    ----------
    skus : tuple of str
        One stock number, or two.
    builds : int
        Builds from stock that need one of them.
    share : float
        Of all builds from stock.
    enquiries : float
        Enquiries served from stock that are not without them.
    together : float
        Of these, enquiries that end only if both are gone; for one part the same as
        `enquiries`.
    """

    skus: tuple[str, ...]
    builds: int
    share: float
    enquiries: float
    together: float


@dataclass(frozen=True, slots=True)
class Reliance:
    """What stock and enquiries depend on.

    Parameters
    ----------
    builds : int
        Builds from stock alone.
    parts : tuple of Weak
        Every part in stock that some build needs: most enquiries first, then most builds.
    pairs : tuple of Weak
        Pairs that end enquiries which neither ends alone, most such first; empty if they
        were not looked for.
    """

    builds: int
    parts: tuple[Weak, ...]
    pairs: tuple[Weak, ...]


def _weights(menus: Menus, shelf: Shelf) -> dict[str, npt.NDArray[np.float64]]:
    space = menus.space
    return {
        role: np.bincount(
            menus.menu(at, menus.shelf(at, shelf)).klass, minlength=space.sizes[role]
        ).astype(float)
        for at, role in enumerate(menus.roles)
    }


def builds_through(menus: Menus) -> tuple[int, dict[str, int]]:
    """Return the number of builds from stock, and of those with each part in stock."""
    space, weights = menus.space, _weights(menus, IN_STOCK)
    each = space.through(weights, certain=True)
    # Every build has one option of a role, so those through all of them are all builds.
    some = menus.roles[0]
    total = sum(int(n) * int(w) for n, w in zip(each[some], weights[some], strict=True))
    through: dict[str, int] = {}
    for at, role in enumerate(menus.roles):
        menu = menus.menu(at, menus.shelf(at, IN_STOCK))
        for place, klass in zip(menu.place.tolist(), menu.klass.tolist(), strict=True):
            part = space.options[role][place].part
            if part is not None:
                through[part.sku] = through.get(part.sku, 0) + int(each[role][klass])
    return total, through


@naming_none()
def reliance(
    engine: TreeEngine,
    enquiries: Sequence[Enquiry] | None = None,
    *,
    pairs: bool = True,
    executor: Executor | None = None,
    progress: Progress | None = None,
) -> Reliance:
    """Return the parts, and pairs of parts, whose absence ends most.

    Parameters
    ----------
    engine : TreeEngine
        A compiled catalogue.
    enquiries : sequence of Enquiry, optional
        The catalogue's own by default.
    pairs : bool
        Whether pairs are looked for as well.
    executor, progress
        As in :func:`fitgraph.stock.coverage`.

    Returns
    -------
    Reliance
        Exact. What a rider owns is not taken away.
    """
    shelf = from_stock(engine, enquiries)
    questions, menus = shelf.questions, shelf.questions.menus
    total, through = builds_through(menus)
    none: frozenset[str] = frozenset()
    one = shelf.without(1, executor, progress)
    ends: dict[frozenset[str], float] = {}
    for n in np.flatnonzero(~one.yes).tolist():
        ends[one.gone[n]] = ends.get(one.gone[n], 0.0) + float(questions.weight[one.of[n]])
    singles = [
        Weak((sku,), builds, builds / total if total else 0.0, lost, lost)
        for sku, builds in through.items()
        if (lost := ends.get(frozenset((sku,)), 0.0)) or builds
    ]
    singles.sort(key=lambda w: (-w.enquiries, -w.builds, w.skus))
    doubles: list[Weak] = []
    if pairs:
        two = shelf.without(2, executor, progress)
        both: dict[frozenset[str], float] = {}
        alone = {(int(one.of[n]), one.gone[n]) for n in np.flatnonzero(~one.yes)}
        for n in np.flatnonzero(~two.yes).tolist():
            question, gone = int(two.of[n]), two.gone[n]
            if not any((question, frozenset((s,))) in alone for s in gone):
                both[gone] = both.get(gone, 0.0) + float(questions.weight[question])
        single = {w.skus[0]: w for w in singles}
        without = [_weights(menus, Shelf(True, none, gone)) for gone in both]
        stacked = {r: np.array([w[r] for w in without]) for r in menus.roles} if both else {}
        counted = menus.space.counts(stacked, certain=True) if both else []
        for (gone, together), left in zip(both.items(), counted, strict=True):
            skus = tuple(sorted(gone))
            lost = sum(single[s].enquiries for s in skus if s in single)
            lost -= sum(
                float(questions.weight[q])
                for q in {q for q, g in alone if g == frozenset(skus[:1])}
                & {q for q, g in alone if g == frozenset(skus[1:])}
            )
            share = (total - left) / total if total else 0.0
            doubles.append(Weak(skus, total - left, share, lost + together, together))
        doubles.sort(key=lambda w: (-w.together, -w.enquiries, -w.builds, w.skus))
    return Reliance(total, tuple(singles), tuple(doubles))
