"""Parts on the shelf that no complete build from stock can use, and what each lacks."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from fitgraph.array_types import Ints
from fitgraph.demand.least import cheapest
from fitgraph.demand.menus import IN_STOCK, SOLD, Menus, Shelf
from fitgraph.model import Verdict
from fitgraph.records import dataclass
from fitgraph.solve import Space, TreeEngine
from fitgraph.solve.nearest import nearest
from fitgraph.stock.coverage import Standing


@dataclass(frozen=True, slots=True)
class Stranded:
    """A part held without a use.

    Parameters
    ----------
    sku : str
        Its stock number.
    pieces : int
        How many are held.
    value : int or None
        What they would sell for, in minor currency units; None without a price.
    standing : Standing
        ``CATALOGUE``: ordering what it needs gives it a build. ``POSSIBLY``: an unknown
        dimension decides. ``NEITHER``: no part that is sold goes with it.
    needs : tuple of str
        The fewest parts to order, the cheapest such set, after which it has a build; for
        ``POSSIBLY``, those of a build that is possible.
    joints : tuple of str
        For ``NEITHER``, the joints that fail in the combination nearest to a build; for
        ``POSSIBLY``, those that nobody can tell yet in the build that has the fewest of them.
    """

    sku: str
    pieces: int
    value: int | None
    standing: Standing
    needs: tuple[str, ...] = ()
    joints: tuple[str, ...] = ()


def _rows(menus: Menus, skus: list[str], shelf: list[int]) -> Ints:
    """Return for each part the menus of a build that has to hold it."""
    parts = menus.space.catalogue.parts
    rows = np.tile(np.array(shelf, dtype=np.intp), (len(skus), 1))
    for n, sku in enumerate(skus):
        at = menus.roles.index(parts[sku].role)
        rows[n, at] = menus.owned(at, frozenset((sku,)))[0]
    return rows


def _nearest_each(menus: Menus, shelves: Mapping[str, Shelf]) -> dict[str, dict[str, int]]:
    """Return for each part the combination with it that is nearest to a build.

    Parts whose options are of the same classes are asked about once.

    Parameters
    ----------
    menus : Menus
        The menus of every role.
    shelves : mapping of str to Shelf
        What may go with each part.
    """
    space = menus.space
    known: dict[tuple[str, frozenset[int], Shelf], dict[str, int]] = {}
    found = {}
    for sku, shelf in shelves.items():
        own = space.catalogue.parts[sku].role
        places = list(space.facts[own].places[sku])
        key = (own, frozenset(space.class_of[own][places].tolist()), shelf)
        if key not in known:
            lets = {role: np.zeros(len(space.options[role]), dtype=bool) for role in menus.roles}
            for at, (role, mask) in enumerate(lets.items()):
                mask[places if role == own else menus.menu(at, menus.shelf(at, shelf)).place] = True
            known[key] = nearest(space, lets) or {}
        found[sku] = known[key]
    return found


def _joints(space: Space, chosen: Mapping[str, int], verdict: Verdict) -> tuple[str, ...]:
    """Return the names of the joints that come to a verdict in a combination.

    Of what joints ask together of an unknown figure, each joint is named.
    """
    found = []
    for table in space.joint_tables:
        at = tuple(c[chosen[r]] for r, c in zip(table.roles, table.class_of, strict=True))
        if table.verdicts[at] == verdict:
            found.append(table.joint)
    found += [s.joint for s in space.sums if s.verdict(chosen) == verdict]
    return tuple(dict.fromkeys(one.name for joint in found for one in joint.shares or (joint,)))


def _undecided(
    space: Space, role: str, near: Mapping[str, int], possible: Mapping[str, int]
) -> tuple[str, ...]:
    """Return the joints that nobody can tell yet of a part of a role.

    What comes nearest leaves sums aside, and what joints ask together of an unknown figure, so
    it may be none that is possible. Of a build that is, what touches the part is told: the
    joints between others may be undecided there and certain in another.
    """
    if near and not _joints(space, near, Verdict.FAILS):
        return _joints(space, near, Verdict.UNKNOWN)
    joints = _joints(space, possible, Verdict.UNKNOWN)
    vocabulary = space.catalogue.vocabulary
    return tuple(j for j in joints if role in vocabulary.joint(j).roles) or joints


def stranded(engine: TreeEngine, stock: Mapping[str, int] | None = None) -> tuple[Stranded, ...]:
    """Return every part held that has no certain build from stock.

    Parameters
    ----------
    engine : TreeEngine
        A compiled catalogue.
    stock : mapping of str to int, optional
        Pieces held, instead of the catalogue's own.

    Returns
    -------
    tuple of Stranded
        Most value first. The workshop may work on any part.
    """
    menus = Menus(engine.space, stock)
    parts = engine.catalogue.parts
    held = {s: p.stock for s, p in parts.items()} if stock is None else dict(stock)
    skus = [s for s in parts if held.get(s, 0) > 0]
    places = range(len(menus.roles))
    here = [menus.shelf(at, IN_STOCK) for at in places]
    value, _ = cheapest(menus, _rows(menus, skus, here), (0.0, 0.0), certain=True)
    left = [s for s, v in zip(skus, value, strict=True) if not np.isfinite(v)]
    lacking = [menus.missing(at) for at in places]
    answers = []
    rows = _rows(menus, left, lacking)
    sure, chosen = cheapest(menus, rows, (1.0, 0.0), certain=True, witness=True)
    maybe, likely = sure.copy(), chosen.copy()
    unsure = np.flatnonzero(~np.isfinite(sure))
    maybe[unsure], likely[unsure] = cheapest(
        menus, rows[unsure], (1.0, 0.0), certain=False, witness=True
    )
    builds = {
        sku: dict(zip(menus.roles, places.tolist(), strict=True))
        for sku, places in zip(left, likely, strict=True)
    }
    certain, possible = (
        {sku for sku, v in zip(left, values, strict=True) if np.isfinite(v)}
        for values in (sure, maybe)
    )
    lacks = {sku: _needs(menus, sku, builds[sku]) if sku in possible else () for sku in left}
    near = _nearest_each(
        menus,
        {
            sku: Shelf(stocked=True, plus=frozenset(lacks[sku])) if sku in possible else SOLD
            for sku in left
            if sku not in certain
        },
    )
    for sku in left:
        price = parts[sku].price
        standing = Standing.NEITHER
        joints: tuple[str, ...] = ()
        if sku in certain:
            standing = Standing.CATALOGUE
        elif sku in possible:
            standing = Standing.POSSIBLY
            joints = _undecided(menus.space, parts[sku].role, near[sku], builds[sku])
        elif near[sku]:
            joints = _joints(menus.space, near[sku], Verdict.FAILS)
        worth = None if price is None else price * held[sku]
        answers.append(Stranded(sku, held[sku], worth, standing, lacks[sku], joints))
    return tuple(sorted(answers, key=lambda s: (-(s.value or 0), s.sku)))


def _needs(menus: Menus, sku: str, build: Mapping[str, int]) -> tuple[str, ...]:
    """Return the parts of a build that are neither the part itself nor in stock."""
    chosen = (menus.space.options[role][place].part for role, place in build.items())
    role = menus.space.catalogue.parts[sku].role
    return tuple(
        p.sku for p in chosen if p is not None and p.role != role and p.sku not in menus.in_stock
    )
