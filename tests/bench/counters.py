"""Independent counters of formulas, each at the fastest of the ways we know.

They get the formula as its file has it. Numbers of solutions are worked out here in whole
numbers, as PySDD's own are floats and those of dd's CUDD as well.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Sequence
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import networkx as nx

from tests.bench.clauses import Clause, Clauses
from tests.bench.groups import elimination

#: Literals from which a clause does not count where variables are put in order.
_LONG = 20


def ganak(formula: Clauses) -> int:
    """Count with Ganak, with its own preprocessing (pyganak)."""
    from pyganak import Counter

    counter = Counter()
    counter.new_vars(formula.variables)
    counter.add_clauses([list(c) for c in formula.clauses])
    return int(counter.count())


def _order(formula: Clauses) -> tuple[list[int], dict[int, int]]:
    """Return variables as they are eliminated, and what each hangs on."""
    graph = nx.Graph()
    graph.add_nodes_from(range(1, formula.variables + 1))
    for clause in formula.clauses:
        if len(clause) < _LONG:
            names = sorted({abs(x) for x in clause})
            graph.add_edges_from((a, b) for n, a in enumerate(names) for b in names[n + 1 :])
    order, above, _ = elimination(graph, [2] * (formula.variables + 1))
    return order, above


def _by_bucket(formula: Clauses, place: dict[int, int]) -> list[Clause]:
    """Return clauses by the last of their variables to be eliminated."""
    return sorted(set(formula.clauses), key=lambda c: max(place[abs(x)] for x in c))


def _vtree(order: Sequence[int], above: dict[int, int]) -> str:
    """Return the tree of elimination as a vtree, in the format of the SDD package."""
    below: dict[int, list[int]] = defaultdict(list)
    for v in order:
        below[above.get(v, 0)].append(v)
    lines: list[str] = []

    def node(text: str) -> int:
        lines.append(text)
        return len(lines) - 1

    def joined(nodes: Sequence[int]) -> int:
        if len(nodes) == 1:
            return nodes[0]
        half = len(nodes) // 2
        left, right = joined(nodes[:half]), joined(nodes[half:])
        return node(f"I {len(lines)} {left} {right}")

    made: dict[int, int] = {}
    for v in order:
        under = [made[u] for u in below[v]]
        leaf = node(f"L {len(lines)} {v}")
        if under:
            rest = joined(under)
            leaf = node(f"I {len(lines)} {leaf} {rest}")
        made[v] = leaf
    joined([made[v] for v in below[0]])
    return "\n".join([f"vtree {len(lines)}", *lines, ""])


def pysdd(formula: Clauses) -> int:
    """Count with PySDD, along the tree of elimination, clauses from the inside out."""
    from pysdd.sdd import SddManager, Vtree

    order, above = _order(formula)
    place = {v: n for n, v in enumerate(order)}
    with TemporaryDirectory() as folder:
        file = Path(folder, "elimination.vtree")
        file.write_text(_vtree(order, above), encoding="ascii")
        manager = SddManager.from_vtree(Vtree.from_file(str(file).encode()))
    whole = manager.true()
    for clause in _by_bucket(formula, place):
        one = manager.false()
        for literal in clause:
            one = one | manager.literal(literal)
        whole = whole & one
    many: dict[int, int] = {}  # variables under each place of the vtree

    def sized(vtree: Any) -> int:
        number = 1 if vtree.is_leaf() else sized(vtree.left()) + sized(vtree.right())
        many[vtree.position()] = number
        return number

    sized(manager.vtree())
    known: dict[int, int] = {}

    def models(node: Any, vtree: Any) -> int:
        if node.is_false():
            return 0
        under = many[vtree.position()]
        if node.is_true():
            return 1 << under
        own = node.vtree()
        if node.id not in known:
            known[node.id] = (
                1
                if node.is_literal()
                else sum(
                    models(prime, own.left()) * models(sub, own.right())
                    for prime, sub in node.elements()
                )
            )
        return known[node.id] << (under - many[own.position()])

    return models(whole, manager.vtree())


def cudd(formula: Clauses) -> int:
    """Count with dd's CUDD, variables along a walk through the tree of elimination."""
    from dd.cudd import BDD

    order, above = _order(formula)
    below: dict[int, list[int]] = defaultdict(list)
    for v in order:
        below[above.get(v, 0)].append(v)
    walk: list[int] = []
    waiting = list(below[0])
    while waiting:
        v = waiting.pop()
        walk.append(v)
        waiting += below[v]
    level = {v: n for n, v in enumerate(walk)}
    manager = BDD()
    manager.configure(reordering=False)
    manager.declare(*(f"x{v}" for v in walk))
    whole = manager.true
    for clause in sorted(set(formula.clauses), key=lambda c: -max(level[abs(x)] for x in c)):
        one = manager.false
        for literal in sorted(clause, key=lambda x: -level[abs(x)]):
            variable = manager.var(f"x{abs(literal)}")
            one = one | (variable if literal > 0 else ~variable)
        whole = whole & one
    total = formula.variables
    known: dict[int, tuple[int, int]] = {}

    def models(node: Any) -> tuple[int, int]:
        """Return the models over the variables from a node's own level on, and the level."""
        if node == manager.true:
            return 1, total
        if node == manager.false:
            return 0, total
        key = int(node)
        if key not in known:
            at, low, high = manager.succ(node)
            if node.negated:
                low, high = ~low, ~high
            (fewer, one), (more, other) = models(low), models(high)
            known[key] = (fewer << (one - at - 1)) + (more << (other - at - 1)), at
        return known[key]

    number, at = models(whole)
    return number << at


COUNTERS: dict[str, Callable[[Clauses], int]] = {"ganak": ganak, "pysdd": pysdd, "cudd": cudd}
