"""Spaces of nothing but tables: rings and cliques of roles of which no two parts are alike."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

from fitgraph.graph.joints import JointTable
from fitgraph.model import Catalogue, Fill, Joint, Option, Part, Role, Verdict, Vocabulary
from fitgraph.solve import Space
from fitgraph.solve.space import compile_tables


@dataclass(frozen=True)
class Table:
    """What goes together.

    Parameters
    ----------
    roles : tuple of str
        One axis each.
    allowed : ndarray of bool
        Over places.
    maps : tuple of ndarray of int, optional
        For each role, the place of each of its options; the options themselves by default.
    """

    roles: tuple[str, ...]
    allowed: npt.NDArray[np.bool_]
    maps: tuple[npt.NDArray[np.intp], ...] | None = None


def space_of(
    sizes: Mapping[str, int], tables: Iterable[Table], *, otherwise: Verdict = Verdict.FAILS
) -> Space:
    """Return roles with so many options each, and what goes together; nothing costs anything."""
    names = sorted(sizes)
    roles = {n: Role(n, n, Fill.ALWAYS, {}) for n in names}
    vocabulary = Vocabulary("free", "EUR", 2, {}, MappingProxyType(roles), ())
    made = {
        name: tuple(Part(f"{name}-{k}".upper(), name, price=1, mass_g=1.0) for k in range(size))
        for name, size in sorted(sizes.items())
    }
    every = {p.sku: p for of_role in made.values() for p in of_role}
    catalogue = Catalogue(vocabulary, MappingProxyType(every), by_role=MappingProxyType(made))
    options = {n: tuple(Option(n, p, (), {}) for p in made[n]) for n in names}
    joints = [
        JointTable(
            Joint(f"table {n}", "", "present"),
            t.roles,
            t.maps or tuple(np.arange(sizes[r], dtype=np.intp) for r in t.roles),
            np.where(t.allowed, Verdict.FITS, otherwise).astype(np.int8),
        )
        for n, t in enumerate(tables)
    ]
    return compile_tables(catalogue, options, joints)


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
