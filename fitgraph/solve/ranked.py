"""The k best builds where conditions on sums make the plan wide.

Lengths that add up over several parts, with hardly two parts alike, make a plan of millions of
cells; without them it is small. So the builds of the catalogue without these conditions are
ranked, in full order, and each is held to the conditions as it comes: the first k that keep them
are the k best of all. It is quick where a fair share keeps them; where hardly any does, the plan
with all conditions is asked instead.
"""

from __future__ import annotations

import contextlib
import itertools
from collections.abc import Iterator, Mapping

import numpy as np

from fitgraph.array_types import Bools, Floats, Ints
from fitgraph.solve.best import Criteria, k_best
from fitgraph.solve.kept import keeps_sums
from fitgraph.solve.plan import TooWideError
from fitgraph.solve.space import Space

#: The first builds of an endless ranking that are asked for.
_FIRST = 16

#: Builds that are ranked at most to find those that keep all conditions on sums, before and after
#: the plan with all conditions is looked at, and the share of the ceiling that partial ones may
#: take.
_SOON, _MOST, _SHARE = 1 << 12, 1 << 17, 1.0 / 8

#: Pairs of a cell and a kind up to which a plan with all conditions is as quick.
_LOOKED = 5e7


def best_of(
    space: Space, lets: Mapping[str, Bools], criteria: Criteria, k: int, *, certain: bool
) -> tuple[dict[str, Ints], Floats]:
    """Return the k builds of a space of least cost that keep the limits.

    Parameters
    ----------
    space : Space
        A compiled catalogue.
    lets : mapping of str to ndarray of bool
        Which options may be used.
    criteria : Criteria
        Costs and limits.
    k : int
        How many to return; fewer where there are fewer.
    certain : bool
        Whether builds that are only possible are left out.

    Returns
    -------
    options, costs
        As from :func:`fitgraph.solve.best.k_best`.

    Raises
    ------
    TooWideError
        If it would need more memory than the ceiling.
    """
    for most in (_SOON, _MOST):
        with contextlib.suppress(TooWideError):  # where few of them keep the sums, too many wait
            found = _sifted(space, lets, criteria, k, most, certain=certain)
            if found is not None:
                return found
        plan, rows = space.plan(certain=certain), space.few_rows(certain=certain)
        if rows is None:
            plan = space.plan_for(space.weights(lets), certain=certain)
        if rows is not None or plan.looked <= _LOOKED:
            break
    return k_best(plan, space.class_of, lets, criteria, k, rows)


def _sifted(
    space: Space,
    lets: Mapping[str, Bools],
    criteria: Criteria,
    k: int,
    most: int,
    *,
    certain: bool,
) -> tuple[dict[str, Ints], Floats] | None:
    """Return the k best by ranking builds that need not keep the sums; None where that is long."""
    plain = space.without_sums(certain=certain)
    if plain is None:
        return None
    plan, rows = plain.plan(certain=certain), plain.few_rows(certain=certain)
    room = plan.ceiling * _SHARE
    asked = k + k // 4 + 8
    while asked <= max(most, 2 * k):
        options, costs = k_best(plan, plain.class_of, lets, criteria, asked, rows, room=room)
        kept = np.flatnonzero(keeps_sums(space, options, certain=certain))
        if len(kept) >= k or len(costs) < asked:
            kept = kept[:k]
            return {r: o[kept] for r, o in options.items()}, costs[kept]
        share = max(len(kept) / asked, 1.0 / 16)
        asked = max(2 * asked, int(1.2 * k / share))
    return None


def ranked(
    space: Space, lets: Mapping[str, Bools], criteria: Criteria, *, certain: bool
) -> Iterator[tuple[dict[str, Ints], Floats]]:
    """Yield all builds of a space that keep the limits, cheapest first, in growing pieces.

    Each piece takes about as long as asking for all up to its end would, and they grow fourfold:
    so the k-th build comes after at most a small multiple of the time that the k best take, and
    no more is held than these.

    Parameters
    ----------
    space, lets, criteria, certain
        As in :func:`best_of`.

    Yields
    ------
    options, costs
        As from :func:`fitgraph.solve.best.k_best`; together every build, each once.
    """
    told = 0
    for n in itertools.count():
        k = _FIRST * 4**n
        options, costs = best_of(space, lets, criteria, k, certain=certain)
        end = len(costs)
        if end == k:
            # Of those that cost as much as the last there may be more: they wait for the rest.
            end = int(np.searchsorted(costs[:, 0], costs[-1, 0]))
        if end > told:
            yield {r: o[told:end] for r, o in options.items()}, costs[told:end]
            told = end
        if len(costs) < k:
            return
