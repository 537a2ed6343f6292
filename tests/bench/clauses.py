"""Formulas in conjunctive normal form: read from DIMACS, and made smaller with the same count.

What is done to a formula keeps its assignments one to one: units and failed literals are held,
of equivalent literals one stays, literals and clauses that unit propagation shows to be implied
go. Names and methods are those of A. Biere, M. Heule, H. van Maaren, T. Walsh (eds), "Handbook
of Satisfiability", 2nd edition, chapter 9, preprocessing (reference checked).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

Clause = tuple[int, ...]


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
    clauses: tuple[Clause, ...]


@dataclass(frozen=True)
class Simplified:
    """What is left of a formula, and what its count is to be multiplied by.

    Parameters
    ----------
    variables : tuple of int
        Those that clauses still name.
    clauses : tuple of tuple of int
        Each of two literals or more; none where the formula cannot be kept.
    free : int
        Variables that nothing binds.
    implied : mapping of int to frozenset of int
        For each literal, what unit propagation says must hold with it.
    possible : bool
        Whether the formula can be kept at all, as far as was seen.
    """

    variables: tuple[int, ...]
    clauses: tuple[Clause, ...]
    free: int
    implied: Mapping[int, frozenset[int]]
    possible: bool = True


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
    clauses: list[Clause] = []
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


class Propagation:
    """Unit propagation over clauses of two literals or more, with two watched literals each."""

    def __init__(self, clauses: Iterable[Clause]) -> None:
        self.pairs: dict[int, list[int]] = defaultdict(list)
        self.watched: dict[int, list[list[int]]] = defaultdict(list)
        for clause in clauses:
            self.add(clause)

    def add(self, clause: Sequence[int]) -> None:
        """Add a clause."""
        if len(clause) == 2:
            self.pairs[-clause[0]].append(clause[1])
            self.pairs[-clause[1]].append(clause[0])
            return
        literals = list(clause)
        for literal in literals[:2]:
            self.watched[literal].append(literals)

    def remove(self, clause: Clause) -> None:
        """Take a clause out."""
        if len(clause) == 2:
            self.pairs[-clause[0]].remove(clause[1])
            self.pairs[-clause[1]].remove(clause[0])
            return
        same = sorted(clause)
        found = next(
            one
            for literal in clause
            for one in self.watched[literal]
            if len(one) == len(same) and sorted(one) == same
        )
        for literal in found[:2]:
            self.watched[literal] = [one for one in self.watched[literal] if one is not found]

    def closure(self, literals: Iterable[int]) -> list[int] | None:
        """Return what must hold with some literals, themselves included; None at a conflict."""
        held: set[int] = set()
        queue: list[int] = []
        for literal in literals:
            if -literal in held:
                return None
            if literal not in held:
                held.add(literal)
                queue.append(literal)
        for literal in queue:  # grows while it is gone through
            for other in self.pairs.get(literal, ()):
                if -other in held:
                    return None
                if other not in held:
                    held.add(other)
                    queue.append(other)
            if self.watched.get(-literal) and not self._watch(-literal, held, queue):
                return None
        return queue

    def _watch(self, broken: int, held: set[int], queue: list[int]) -> bool:
        """Look at the clauses that watch a broken literal; False where one cannot be kept."""
        watching = self.watched[broken]
        kept: list[list[int]] = []
        for n, clause in enumerate(watching):
            if clause[0] == broken:
                clause[0], clause[1] = clause[1], clause[0]
            if clause[0] in held:
                kept.append(clause)
                continue
            for k in range(2, len(clause)):
                if -clause[k] not in held:
                    clause[1], clause[k] = clause[k], clause[1]
                    self.watched[clause[1]].append(clause)
                    break
            else:
                kept.append(clause)
                if -clause[0] in held:
                    self.watched[broken] = kept + watching[n + 1 :]
                    return False
                held.add(clause[0])
                queue.append(clause[0])
        self.watched[broken] = kept
        return True


def _tidy(clauses: Iterable[Clause]) -> list[Clause]:
    """Return clauses sorted and each once, without those that always hold."""
    found = dict.fromkeys(tuple(sorted(set(c))) for c in clauses)
    return [c for c in found if not any(-x in c for x in c)]


def _held(clauses: Iterable[Clause], held: set[int]) -> list[Clause] | None:
    """Hold literals, and the units that follow; add these to `held`. None where that fails."""
    left = _tidy(clauses)
    new = set(held)
    while True:
        held |= new
        if any(-x in held for x in held):
            return None
        if new:
            left = [
                tuple(x for x in c if -x not in new) for c in left if not any(x in new for x in c)
            ]
        if not all(left):
            return None
        new = {c[0] for c in left if len(c) == 1}
        if not new:
            return _tidy(left)


def simplified(formula: Clauses) -> Simplified:
    """Return a smaller formula of which every assignment stands for just as many."""
    nothing = Simplified((), (), 0, {}, possible=False)
    held: set[int] = set()
    gone = 0  # variables that follow another
    left = _held(formula.clauses, held)
    while left is not None:
        variables = sorted({abs(x) for c in left for x in c})
        propagation = Propagation(left)
        implied: dict[int, frozenset[int]] = {}
        sure: set[int] = set()
        for v in variables:
            for literal in (v, -v):
                found = propagation.closure([literal])
                if found is None:
                    sure.add(-literal)
                else:
                    implied[literal] = frozenset(found)
            if v in implied and -v in implied:
                sure |= implied[v] & implied[-v]
        if sure:
            held |= sure
            left = _held(left, held)
            continue
        same = _equivalent(variables, implied)
        if not same:
            clauses = _shortened(left, implied)
            free = formula.variables - len({abs(x) for x in held}) - gone - len(variables)
            return Simplified(tuple(variables), tuple(clauses), free, implied)
        gone += len(same)
        left = _held(([_renamed(x, same) for x in c] for c in left), held)
    return nothing


def _equivalent(variables: Iterable[int], implied: Mapping[int, frozenset[int]]) -> dict[int, int]:
    """Return, for variables that are as another literal is, that literal: the smallest such."""
    same: dict[int, int] = {}
    for v in variables:
        if v in same:
            continue
        for other in implied[v]:
            if abs(other) > v and abs(other) not in same and v in implied[other]:
                same[abs(other)] = v if other > 0 else -v
    return same


def _renamed(literal: int, same: Mapping[int, int]) -> int:
    found = same.get(abs(literal))
    if found is None:
        return literal
    return found if literal > 0 else -found


def _shortened(clauses: Iterable[Clause], implied: Mapping[int, frozenset[int]]) -> list[Clause]:
    """Return clauses without literals that imply another of theirs."""
    found = []
    for clause in clauses:
        left = list(clause)
        if len(left) > 2:
            for literal in clause:
                if any(m != literal and m in implied[literal] for m in left):
                    left.remove(literal)
        found.append(tuple(left))
    return _tidy(found)


def needed(clauses: Sequence[Clause], first: Mapping[Clause, object]) -> list[Clause]:
    """Return clauses without those that unit propagation says follow from the rest.

    Parameters
    ----------
    clauses : sequence of tuple of int
        Each of two literals or more.
    first : mapping
        What clauses are sorted by: the greatest are tried first.
    """
    propagation = Propagation(clauses)
    dropped = set()
    for clause in sorted(clauses, key=lambda c: (first[c], c), reverse=True):  # type: ignore[arg-type, return-value]
        propagation.remove(clause)
        if propagation.closure([-x for x in clause]) is None:
            dropped.add(clause)
        else:
            propagation.add(clause)
    return [c for c in clauses if c not in dropped]
