"""A junction tree with only those rows that a question leaves alive."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from fitgraph.solve.tree import Clique, Tree

Ints = npt.NDArray[np.intp]
Bools = npt.NDArray[np.bool_]


def narrowed(
    tree: Tree, class_of: Mapping[str, Ints], lets: Mapping[str, Bools], *, certain: bool
) -> Tree:
    """Return a tree without the rows that need an option which may not be used.

    Parameters
    ----------
    tree : Tree
        The junction tree over classes.
    class_of : mapping of str to ndarray of int
        The class of each option.
    lets : mapping of str to ndarray of bool
        Which options may be used.
    certain : bool
        Whether rows that are only possible go as well.

    Returns
    -------
    Tree
        With the same solutions among those options. One question on a narrow tree takes a
        fraction of the time.
    """
    alive = {
        v: np.bincount(class_of[v][mask], minlength=tree.sizes[v]) > 0 for v, mask in lets.items()
    }
    cliques: list[Clique] = []
    number: list[Ints] = []  # the new number of each old group, -1 where it is gone
    for clique in tree.cliques:
        keep = clique.certain.copy() if certain else np.ones(len(clique.rows), dtype=bool)
        for variable in (v for v in clique.variables if v in alive):
            keep &= alive[variable][clique.column(variable)]
        for child in clique.children:
            keep &= number[child][tree.cliques[child].group_in_parent] >= 0
        at = np.flatnonzero(keep)
        kept, starts = np.unique(clique.group_of[at], return_index=True)
        renumbered = np.full(len(clique.starts), -1, dtype=np.intp)
        renumbered[kept] = np.arange(len(kept))
        number.append(renumbered)
        for child in clique.children:
            into = number[child][tree.cliques[child].group_in_parent[at]]
            cliques[child] = replace(cliques[child], group_in_parent=into)
        cliques.append(
            replace(
                clique,
                rows=clique.rows[at],
                certain=clique.certain[at],
                starts=starts.astype(np.intp),
                group_in_parent=clique.group_in_parent[:0],
            )
        )
    return Tree(tuple(cliques), tree.sizes)
