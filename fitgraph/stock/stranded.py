"""Parts on the shelf that no complete build from stock can use, and what each lacks."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from fitgraph.array_types import Ints
from fitgraph.demand.least import cheapest
from fitgraph.demand.menus import IN_STOCK, SOLD, Menus
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
        ``POSSIBLY``, those of the likeliest build that are not in stock.
    joints : tuple of str
        For ``NEITHER``, the joints that fail in the combination nearest to a build; for
        ``POSSIBLY``, those of the likeliest build that nobody can tell yet.
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


def _in_the_way(menus: Menus, skus: list[str]) -> dict[str, tuple[str, ...]]:
    """Return for each part the joints that fail in the combination of what is sold nearest to it.

    Parts whose options are of the same classes are asked about once.
    """
    space = menus.space
    sold = {
        role: menus.menu(at, menus.shelf(at, SOLD)).place for at, role in enumerate(menus.roles)
    }
    known: dict[tuple[str, frozenset[int]], tuple[str, ...]] = {}
    found = {}
    for sku in skus:
        own = space.catalogue.parts[sku].role
        places = list(space.facts[own].places[sku])
        key = (own, frozenset(space.class_of[own][places].tolist()))
        if key not in known:
            lets = {role: np.zeros(len(space.options[role]), dtype=bool) for role in menus.roles}
            for role, mask in lets.items():
                mask[places if role == own else sold[role]] = True
            near = nearest(space, lets)
            known[key] = () if near is None else _joints(space, near, Verdict.FAILS)
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
    never = ~np.isfinite(maybe)
    failing = _in_the_way(menus, [s for s, n in zip(left, never.tolist(), strict=True) if n])
    for n, sku in enumerate(left):
        price = parts[sku].price
        standing = Standing.NEITHER
        needs: tuple[str, ...] = ()
        joints: tuple[str, ...] = ()
        if np.isfinite(sure[n]):
            standing = Standing.CATALOGUE
            needs = _needs(menus, sku, dict(zip(menus.roles, chosen[n].tolist(), strict=True)))
        elif np.isfinite(maybe[n]):
            build = dict(zip(menus.roles, likely[n].tolist(), strict=True))
            standing = Standing.POSSIBLY
            needs = _needs(menus, sku, build)
            joints = _joints(menus.space, build, Verdict.UNKNOWN)
        else:
            joints = failing[sku]
        worth = None if price is None else price * held[sku]
        answers.append(Stranded(sku, held[sku], worth, standing, needs, joints))
    return tuple(sorted(answers, key=lambda s: (-(s.value or 0), s.sku)))


def _needs(menus: Menus, sku: str, build: Mapping[str, int]) -> tuple[str, ...]:
    """Return the parts of a build that are neither the part itself nor in stock."""
    chosen = (menus.space.options[role][place].part for role, place in build.items())
    role = menus.space.catalogue.parts[sku].role
    return tuple(
        p.sku for p in chosen if p is not None and p.role != role and p.sku not in menus.in_stock
    )
