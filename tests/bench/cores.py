"""Spaces of nothing but tables: rings and cliques of roles of which no two parts are alike."""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from types import MappingProxyType

import numpy as np

from fitgraph.graph.joints import JointTable
from fitgraph.model import Catalogue, Fill, Joint, Option, Part, Role, Vocabulary
from fitgraph.solve import Space
from fitgraph.solve.space import compile_tables


def _space(roles: int, parts: int, pairs: Iterable[tuple[int, int]], share: float) -> Space:
    """Return roles with so many parts, of which some pairs are tied at random."""
    rng = np.random.default_rng(roles * 1000 + parts)
    names = [f"r{n:02d}" for n in range(roles)]
    vocabulary = Vocabulary(
        "free",
        "EUR",
        2,
        {},
        MappingProxyType({n: Role(n, n, Fill.ALWAYS, {}) for n in names}),
        (),
    )
    made = {
        name: tuple(
            Part(
                f"{name}-{k}".upper(),
                name,
                price=int(rng.integers(100, 9000)),
                mass_g=float(rng.integers(10, 900)),
            )
            for k in range(parts)
        )
        for name in names
    }
    every = {p.sku: p for of_role in made.values() for p in of_role}
    catalogue = Catalogue(vocabulary, MappingProxyType(every), by_role=MappingProxyType(made))
    options = {n: tuple(Option(n, p, (), {}) for p in made[n]) for n in names}
    each = np.arange(parts, dtype=np.intp)
    tables = [
        JointTable(
            Joint(f"{names[a]} and {names[b]}", "", "present"),
            (names[a], names[b]),
            (each, each),
            np.where(rng.random((parts, parts)) < share, 2, 0).astype(np.int8),
        )
        for a, b in pairs
    ]
    return compile_tables(catalogue, options, tables)


def ring(roles: int, parts: int) -> Space:
    """Return a ring of roles, each tied to the next by a table of chance, half of it full."""
    return _space(roles, parts, ((n, (n + 1) % roles) for n in range(roles)), 0.5)


def clique(roles: int, parts: int) -> Space:
    """Return roles of which every two are tied, loosely: 95 of 100 pairs go together."""
    return _space(roles, parts, itertools.combinations(range(roles), 2), 0.95)
