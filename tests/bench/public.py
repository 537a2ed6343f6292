"""Public instances as spaces: DIMACS clauses, read and counted by the engine's core.

A Boolean variable is a role with two options. A short clause is a table over its variables, a
long one a condition on a sum: so many literals that hold, less one, is nothing or more.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType

import numpy as np

from fitgraph.graph.joints import JointTable
from fitgraph.graph.sums import SumCondition, Term
from fitgraph.model import Catalogue, Fill, Joint, Option, Part, Role, Verdict, Vocabulary
from fitgraph.solve import Space
from fitgraph.solve.space import compile_tables

#: Literals up to which a clause is a table.
_SHORT = 8

#: Where the instances lie, beside the repository.
FOLDER = Path(__file__).resolve().parents[3] / "shared" / "instances"


@dataclass(frozen=True)
class Clauses:
    """A formula in conjunctive normal form.

    Parameters
    ----------
    variables : int
        Numbered from one.
    clauses : tuple of tuple of int
        Literals; a negative one holds where its variable does not.
    """

    variables: int
    clauses: tuple[tuple[int, ...], ...]


def read_dimacs(text: str) -> Clauses:
    """Return the formula of a file in DIMACS CNF.

    Raises
    ------
    ValueError
        If the head is missing, or the numbers do not agree with it.
    """
    variables = number = -1
    literals: list[int] = []
    for line in text.splitlines():
        words = line.split()
        if not words or words[0].startswith("c"):
            continue
        if words[0] == "p":
            if len(words) != 4 or words[1] != "cnf":
                raise ValueError(f"no head of a CNF: {line!r}")
            variables, number = int(words[2]), int(words[3])
            continue
        if words[0] == "%":
            break
        literals += map(int, words)
    if variables < 0:
        raise ValueError("no line that begins with 'p cnf'")
    clauses: list[tuple[int, ...]] = []
    start = 0
    for end, literal in enumerate(literals):
        if literal == 0:
            clauses.append(tuple(literals[start:end]))
            start = end + 1
    if start < len(literals):
        clauses.append(tuple(literals[start:]))
    if len(clauses) != number or any(abs(x) > variables for c in clauses for x in c):
        raise ValueError(f"{len(clauses)} clauses do not agree with a head of {number}")
    return Clauses(variables, tuple(clauses))


def propagated(formula: Clauses) -> tuple[list[tuple[int, ...]], set[int], bool]:
    """Return clauses after unit propagation, the literals that must hold, and whether all can."""
    clauses = list({tuple(sorted(set(c))) for c in formula.clauses})
    clauses = [c for c in clauses if not any(-x in c for x in c)]
    held: set[int] = set()
    while True:
        units = {c[0] for c in clauses if len(c) == 1}
        if not units:
            return clauses, held, True
        held |= units
        if any(-x in held for x in held):
            return [], held, False
        left = []
        for clause in clauses:
            if any(x in held for x in clause):
                continue
            shorter = tuple(x for x in clause if -x not in held)
            if not shorter:
                return [], held, False
            left.append(shorter)
        clauses = left


def space_of(variables: Sequence[int], clauses: Sequence[tuple[int, ...]]) -> Space:
    """Return the space whose builds are the assignments that keep every clause."""
    names = {v: f"x{v:05d}" for v in sorted(variables)}
    roles = {n: Role(n, n, Fill.ALWAYS, {}) for n in names.values()}
    vocabulary = Vocabulary("clauses", "EUR", 2, {}, MappingProxyType(roles), ())
    made = {
        name: tuple(Part(f"{name}-{k}".upper(), name, price=1, mass_g=1.0) for k in (0, 1))
        for name in names.values()
    }
    every = {p.sku: p for of_role in made.values() for p in of_role}
    catalogue = Catalogue(vocabulary, MappingProxyType(every), by_role=MappingProxyType(made))
    options = {n: tuple(Option(n, p, (), {}) for p in made[n]) for n in names.values()}
    each = np.arange(2, dtype=np.intp)
    tables: list[JointTable] = []
    sums: list[SumCondition] = []
    for number, clause in enumerate(clauses):
        scope = tuple(names[abs(x)] for x in clause)
        joint = Joint(f"clause {number}", "", "present")
        if len(clause) <= _SHORT:
            verdicts = np.full((2,) * len(clause), Verdict.FITS, dtype=np.int8)
            verdicts[tuple(0 if x > 0 else 1 for x in clause)] = Verdict.FAILS
            tables.append(JointTable(joint, scope, (each,) * len(clause), verdicts))
            continue
        terms = []
        for n, (role, literal) in enumerate(zip(scope, clause, strict=True)):
            values = np.array([0.0, 1.0] if literal > 0 else [1.0, 0.0]) - (0.5 if n == 0 else 0.0)
            terms.append(Term((role,), (each,), values, values))
        sums.append(SumCondition(joint, joint.name, tuple(terms)))
    return compile_tables(catalogue, options, tables, sums=sums)
