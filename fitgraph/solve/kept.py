"""Which of some given builds keep all joints, and the conditions on sums."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from fitgraph.array_types import Bools, Ints
from fitgraph.mechanics.rules import EPSILON_MM
from fitgraph.model import Verdict
from fitgraph.solve.space import Space


def keeps_joints(space: Space, options: Mapping[str, Ints], *, certain: bool) -> Bools:
    """Return which builds keep a space's joints, sums aside.

    Parameters
    ----------
    space : Space
        With the joints.
    options : mapping of str to ndarray of int, shape (n,)
        The option of each role, build by build.
    certain : bool
        Whether what is only possible does not keep them.
    """
    least = Verdict.FITS if certain else Verdict.UNKNOWN
    size = len(next(iter(options.values())))
    left = np.arange(size)
    for table in space.joint_tables:
        at = tuple(c[options[r][left]] for r, c in zip(table.roles, table.class_of, strict=True))
        left = left[table.verdicts[at] >= least]
    kept = np.zeros(size, dtype=bool)
    kept[left] = True
    return kept


def keeps_sums(space: Space, options: Mapping[str, Ints], *, certain: bool) -> Bools:
    """Return which builds keep a space's conditions on sums.

    Parameters
    ----------
    space, options
        As in :func:`keeps_joints`.
    certain : bool
        Whether they have to be kept whatever the figures turn out to be, within their limits.
    """
    size = len(next(iter(options.values())))
    kept = np.ones(size, dtype=bool)
    for condition in space.sums:
        total = np.zeros(size)
        for term in condition.terms:
            at = tuple(c[options[r]] for r, c in zip(term.roles, term.class_of, strict=True))
            total += (term.worst if certain else term.best)[at]
        kept &= total >= -EPSILON_MM
    return kept
