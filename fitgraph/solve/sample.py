"""Uniform random solutions, drawn down the junction tree."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from fitgraph.solve.messages import upward
from fitgraph.solve.tree import Tree

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]


def sample_rows(
    tree: Tree,
    weights: Mapping[str, Floats],
    size: int,
    rng: np.random.Generator,
    *,
    certain: bool,
) -> dict[str, Ints]:
    """Return random solutions over classes, each as likely as the options it stands for.

    Parameters
    ----------
    tree : Tree
        The junction tree; it must have a solution.
    weights : mapping of str to ndarray of float
        How many options each class stands for.
    size : int
        How many to draw, with repetition.
    rng : numpy.random.Generator
        Where chance comes from.
    certain : bool
        Whether rows that are only possible are left out.

    Returns
    -------
    dict of str to ndarray of int, shape (size,)
        The class of each variable.
    """
    _, values, _ = upward(tree, weights, certain=certain)
    chosen: dict[int, Ints] = {}
    classes: dict[str, Ints] = {}
    for at in tree.preorder:
        clique = tree.cliques[at]
        if clique.parent < 0:
            group = np.zeros(size, dtype=np.intp)
        else:
            group = clique.group_in_parent[chosen[clique.parent]]
        ends = np.append(clique.starts[1:], len(clique.rows))
        # Scaled within each group, so that sums of large numbers keep their digits.
        running = np.cumsum(values[at] / max(float(values[at].max()), 1.0))
        before = np.where(clique.starts > 0, running[clique.starts - 1], 0.0)
        aim = before[group] + rng.random(size) * (running[ends - 1] - before)[group]
        row = np.searchsorted(running, aim, side="right").astype(np.intp)
        chosen[at] = np.clip(row, clique.starts[group], ends[group] - 1)
        for variable in clique.own:
            classes[variable] = clique.column(variable)[chosen[at]]
    return classes
