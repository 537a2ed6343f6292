"""Counts of requests that differ from one of them in a role or two, along the same circuit."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from fitgraph.array_types import Bools, Floats
from fitgraph.solve.circuit import Circuit
from fitgraph.solve.residues import SOME, MachineWord, Objects, Words, joined, words_of


class CircuitHome:
    """Counts of requests that differ from one of them in a role or two.

    Parameters
    ----------
    circuit : Circuit
        The rows.
    weights : mapping of str to ndarray of float
        Of the one that most others share a part of.
    """

    def __init__(self, circuit: Circuit, weights: Mapping[str, Floats]) -> None:
        self.circuit, self.weights = circuit, dict(weights)
        self._below: dict[int, list[Words]] = {}
        self._each: dict[str, Objects] | None = None
        self._limit = 0
        self._matrices: dict[tuple[int, bool], Mapping[int, Words] | None] = {}

    def _moved(self, weights: Mapping[str, Floats]) -> frozenset[str]:
        return frozenset(r for r, w in weights.items() if not np.array_equal(w, self.weights[r]))

    @staticmethod
    def _key(word: MachineWord) -> int:
        return -1 if word is SOME else int(word.prime)

    def _known(self, moved: frozenset[str], word: MachineWord) -> dict[int, Words]:
        """Return what is below the nodes of steps that hold none of some roles' weights."""
        circuit, key = self.circuit, self._key(word)
        if key not in self._below:
            self._below[key] = circuit.below(circuit.own(self.weights, word), word)
        return {
            place: values
            for place, (step, values) in enumerate(
                zip(circuit.plan.steps, self._below[key], strict=True)
            )
            if not step.below & moved
        }

    def _words(self, weights: Mapping[str, Floats]) -> tuple[MachineWord, ...]:
        """Return words that tell all counts with some weights apart.

        What is known exactly for the unmoved request bounds a request of no larger weights: its
        counts are sums of no more products.
        """
        most = self.circuit.most(weights)
        if self._limit and all((w <= self.weights[r]).all() for r, w in weights.items()):
            most = min(most, self._limit)
        return words_of(most.bit_length())

    def ready(self) -> None:
        """Count what remains of the unmoved request, if that was not done."""
        if self._each is None:
            each = self._counted(self.weights, frozenset())
            through = max((max(n.tolist(), default=0) for n in each.values()), default=0)
            role, own = next(iter(self.weights.items()))
            total = sum(int(w) * n for w, n in zip(own, each[role].tolist(), strict=True))
            self._each, self._limit = each, max(through, total)

    def _across(
        self, moved: frozenset[str], word: MachineWord
    ) -> Callable[[int], Mapping[int, Words] | None]:
        """Return what gives the matrices of steps that hold none of some roles' weights."""
        circuit = self.circuit
        own = circuit.own(self.weights, word)

        def across(place: int) -> Mapping[int, Words] | None:
            if word.prime or circuit.plan.steps[place].below & moved:
                return None
            key = place, word is SOME
            if key not in self._matrices:
                below = self._below[self._key(word)]
                self._matrices[key] = circuit.across(place, own, below, word)
            return self._matrices[key]

        return across

    def _counted(self, weights: Mapping[str, Floats], moved: frozenset[str]) -> dict[str, Objects]:
        words, found = self._words(weights), []
        for word in words:
            own = self.circuit.own(weights, word)
            below = self.circuit.below(own, word, self._known(moved, word))
            across = self._across(moved, word)
            found.append(self.circuit.each(own, below, word, across))
        return {r: joined([f[r] for f in found], words) for r in found[0]}

    def count(self, weights: Mapping[str, Floats]) -> int:
        """Return the exact number of builds.

        Where weights of one role alone are moved, it is what each of its classes has in the
        unmoved request, times its weight.
        """
        self.ready()
        assert self._each is not None
        moved, circuit = self._moved(weights), self.circuit
        if len(moved) <= 1:
            role = next(iter(moved or weights))
            own = np.flatnonzero(weights[role])
            through = self._each[role][own].tolist()
            return sum(int(w) * n for w, n in zip(weights[role][own], through, strict=True))
        words = self._words(weights)
        rests = [
            circuit.in_all(circuit.below(circuit.own(weights, w), w, self._known(moved, w)), w)
            for w in words
        ]
        return int(joined(rests, words)[0])

    def count_each(self, weights: Mapping[str, Floats]) -> dict[str, Objects]:
        """Return what :meth:`Circuit.count_each` does."""
        self.ready()
        assert self._each is not None
        moved = self._moved(weights)
        return self._counted(weights, moved) if moved else self._each

    def possible(self, weights: Mapping[str, Floats]) -> dict[str, Bools]:
        """Return what :meth:`Circuit.possible` does."""
        circuit = self.circuit
        own, moved = circuit.own(weights, SOME), self._moved(weights)
        below = circuit.below(own, SOME, self._known(moved, SOME))
        return circuit.each(own, below, SOME, self._across(moved, SOME))
