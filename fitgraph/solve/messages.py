"""Messages along a junction tree: exact counts, and counts for every class at once."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt

from fitgraph.solve.tree import Tree

#: Arrays of float64, or of Python integers.
Numbers = npt.NDArray[Any]

#: Whole numbers below this are exact in float64.
EXACT_FLOAT = float(2**53)


def _segment_sums(values: Numbers, starts: npt.NDArray[np.intp]) -> Numbers:
    return np.add.reduceat(values, starts) if len(values) else values[:0]


def upward(
    tree: Tree, weights: Mapping[str, Numbers], *, certain: bool
) -> tuple[list[Numbers], list[Numbers], float]:
    """Pass messages from the leaves to the roots.

    Returns
    -------
    messages : list of ndarray, shape (n_groups,) each
        For each group of a clique's rows, the solutions of its subtree.
    values : list of ndarray, shape (n_rows,) each
        For each row, the solutions of its subtree.
    largest : float
        The largest number met, to tell whether float64 rounded.
    """
    messages: list[Numbers] = []
    values: list[Numbers] = []
    largest = 0.0
    for clique in tree.cliques:
        kind = next(iter(weights.values())).dtype
        value: Numbers = np.ones(len(clique.rows), dtype=kind)
        if certain:
            value = value * clique.certain
        for variable in clique.own:
            if variable in weights:
                value = value * weights[variable][clique.column(variable)]
        for child in clique.children:
            value = value * messages[child][tree.cliques[child].group_in_parent]
        message = _segment_sums(value, clique.starts)
        messages.append(message)
        values.append(value)
        if kind == np.float64 and len(value):
            largest = max(largest, float(value.max()), float(message.max()))
    return messages, values, largest


def _total(tree: Tree, messages: list[Numbers]) -> Any:
    total = 1
    for root in tree.roots:
        message = messages[root]
        total = total * (message[0] if len(message) else 0)
    return total


def as_integers(weights: Mapping[str, npt.NDArray[np.float64]]) -> dict[str, Numbers]:
    """Return weights as Python integers, which never round."""
    return {v: np.array([int(x) for x in w], dtype=object) for v, w in weights.items()}


def count(tree: Tree, weights: Mapping[str, npt.NDArray[np.float64]], *, certain: bool) -> int:
    """Return the exact number of solutions.

    Parameters
    ----------
    tree : Tree
        The junction tree.
    weights : mapping of str to ndarray of float
        How many options each class of each variable stands for.
    certain : bool
        Whether rows that are only possible are left out.

    Returns
    -------
    int
        Exact at any size: where float64 would round, Python integers count.
    """
    messages, _, largest = upward(tree, weights, certain=certain)
    total = _total(tree, messages)
    if max(largest, float(total)) < EXACT_FLOAT:
        return int(total)
    messages, _, _ = upward(tree, as_integers(weights), certain=certain)
    return int(_total(tree, messages))


def count_each(
    tree: Tree,
    weights: Mapping[str, npt.NDArray[np.float64]],
    *,
    certain: bool,
    exact: bool = True,
) -> dict[str, Numbers]:
    """Return, for every class of every variable, the solutions through one of its options.

    Parameters
    ----------
    tree, weights, certain
        As in :func:`count`.
    exact : bool
        Whether large numbers must be exact; where only zero or not matters,
        float64 is enough.

    Returns
    -------
    dict of str to ndarray
        One number a class: the solutions in which one given option of that
        class fills the variable, whatever weight the class itself has.
    """
    result, largest = _count_each(tree, weights, certain=certain)
    if exact and largest >= EXACT_FLOAT:
        result, _ = _count_each(tree, as_integers(weights), certain=certain)
    return result


def _count_each(
    tree: Tree, weights: Mapping[str, Numbers], *, certain: bool
) -> tuple[dict[str, Numbers], float]:
    messages, _, largest = upward(tree, weights, certain=certain)
    kind = next(iter(weights.values())).dtype
    one = np.ones(1, dtype=kind)[0]
    root_totals = {r: (messages[r][0] if len(messages[r]) else 0 * one) for r in tree.roots}
    outside: dict[int, Numbers] = {}
    for root in tree.roots:
        rest = one
        for other, total in root_totals.items():
            if other != root:
                rest = rest * total
        outside[root] = np.array([rest], dtype=kind)
    result: dict[str, Numbers] = {}
    for at in tree.preorder:
        clique = tree.cliques[at]
        n = len(clique.rows)
        base: Numbers = outside[at][clique.group_of] if n else np.ones(0, dtype=kind)
        if certain:
            base = base * clique.certain
        own = [v for v in clique.own if v in weights]
        factors: list[Numbers] = [weights[v][clique.column(v)] for v in own]
        factors += [messages[c][tree.cliques[c].group_in_parent] for c in clique.children]
        # Products of all factors but one, from both ends, so that nothing is divided.
        after: list[Numbers] = [np.ones(n, dtype=kind)]
        for factor in reversed(factors):
            after.append(after[-1] * factor)
        after.reverse()
        before = base
        for k, factor in enumerate(factors):
            but_this = before * after[k + 1]
            if k < len(own):
                variable = own[k]
                sums = np.zeros(tree.sizes[variable], dtype=kind)
                if n:
                    np.add.at(sums, clique.column(variable), but_this)
                result[variable] = sums
                if kind == np.float64 and len(sums):
                    largest = max(largest, float(sums.max()))
            else:
                child = clique.children[k - len(own)]
                below = tree.cliques[child]
                into = np.zeros(len(below.starts), dtype=kind)
                if n:
                    np.add.at(into, below.group_in_parent, but_this)
                outside[child] = into
                if kind == np.float64 and len(into):
                    largest = max(largest, float(into.max()))
            before = before * factor
    return result, largest
