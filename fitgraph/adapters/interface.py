"""What the rest of a build asks of the one part that is made, and which made parts keep it.

The catalogue is compiled with all that could be made as options of their role, and in its plan
this role goes first. So a node of the role's steps is a group of rests of a build: all of those
that the same of its options complete. Which options these are is all that has to be known of a
group, and a pass along the rows answers for every option at once, and exactly.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence

import numpy as np
import numpy.typing as npt

from fitgraph.adapters.compiled import compiled_with
from fitgraph.array_types import Bools, Floats, Ints
from fitgraph.demand.least import least_through
from fitgraph.graph.classes import distinct_rows
from fitgraph.graph.sums import SumCondition, Term
from fitgraph.model import Catalogue, Option
from fitgraph.records import dataclass
from fitgraph.solve.circuit import Circuit
from fitgraph.solve.messages import Demands
from fitgraph.solve.space import Space
from fitgraph.solve.support import CircuitStep

Bytes = npt.NDArray[np.uint8]

#: Lengths in mm are compared to so many decimals, so that a sum is the same in any order.
_DECIMALS = 9


@dataclass(frozen=True, slots=True)
class RoleInterface:
    """What the rest of a build asks of one role.

    Parameters
    ----------
    space : Space
        The catalogue with the options that could stand in that role.
    role : str
        The role.
    circuit : Circuit
        The rows of a plan in which it goes first, with nothing that is not certain.
    """

    space: Space
    role: str
    circuit: Circuit

    @property
    def class_of(self) -> Ints:
        """Return the class of each option of the role."""
        return self.space.class_of[self.role]

    def _steps(self) -> Iterator[tuple[int, CircuitStep, Ints]]:
        """Yield the steps of the role, their rows, and the node of each."""
        for place, lines in enumerate(self.circuit.steps):
            if self.circuit.plan.steps[place].variable == self.role:
                yield place, lines, np.repeat(np.arange(lines.nodes), lines.end - lines.begin)

    def fits(self) -> Bytes:
        """Return which groups each option certainly fits.

        Returns
        -------
        ndarray of uint8, shape (n_options, n_groups / 8)
            A bit a group.
        """
        found = []
        for place, lines, node in self._steps():
            step = self.circuit.plan.steps[place]
            rows = np.zeros((step.kinds + 1, -(-lines.nodes // 8)), dtype=np.uint8)
            bit = np.left_shift(1, 7 - (node & 7)).astype(np.uint8)
            np.bitwise_or.at(rows, (lines.kind, node >> 3), bit)
            found.append(rows[step.kind_of[self.class_of]])  # -1, the last row, fits nothing
        return np.hstack([np.zeros((len(self.class_of), 0), dtype=np.uint8), *found])

    def builds(self, weights: Mapping[str, Floats]) -> list[int]:
        """Return the builds with each option, exactly.

        Parameters
        ----------
        weights : mapping of str to ndarray of float
            How many options of each class of the other roles are let in.
        """
        return _builds(self.circuit, self.role, weights)[self.class_of].tolist()

    def shared(self, weights: Mapping[str, Floats], others: Ints) -> list[int]:
        """Return the builds with each option whose rest one of some others completes as well.

        Parameters
        ----------
        weights
            As in :meth:`builds`.
        others : ndarray of int
            Options of the role.
        """
        circuit, steps = self.circuit, list(self.circuit.steps)
        for place, lines, node in self._steps():
            step = circuit.plan.steps[place]
            theirs = np.zeros(step.kinds + 1, dtype=bool)
            theirs[step.kind_of[self.class_of[others]]] = True
            theirs[-1] = False
            known = np.zeros(lines.nodes, dtype=bool)
            known[node[theirs[lines.kind]]] = True
            steps[place] = _left(lines, known)
        some = Circuit(circuit.plan, tuple(steps), circuit.cases, circuit.whole, circuit.total)
        return _builds(some, self.role, weights)[self.class_of].tolist()

    def spare(self) -> Floats:
        """Return what is left in the nearest of the nests that each option closes in.

        Returns
        -------
        ndarray of float, shape (n_options,)
            Certainly left at the worst sizes [mm]; infinite where there is no nest.
        """
        found = np.full(len(self.class_of), np.inf)
        for condition in self.space.sums:
            if condition.joint.rings and self.role in condition.roles:
                np.minimum(found, self._left_in(condition), out=found)
        return found

    def _left_in(self, condition: SumCondition) -> Floats:
        """Return what is left in one nest with each option, infinite where it is not there."""
        role, count = self.role, len(self.class_of)
        own, deciding = np.zeros(count), [np.zeros(count, dtype=np.intp)]
        for term in condition.terms:
            if term.roles == (role,):
                own = own + term.worst[term.class_of[0]]
            elif role in term.roles:
                deciding.append(term.class_of[term.roles.index(role)])
        first, way_of = distinct_rows(np.column_stack(deciding))
        found = np.full(count, np.inf)
        for way, example in enumerate(first):
            terms = [_fixed(t, role, int(example)) for t in condition.terms if t.roles != (role,)]
            least = np.full(self.circuit.plan.sizes[role], np.inf)
            for cost in self._costs(terms):
                demands = Demands.one(cost)
                np.minimum(least, least_through(self.circuit, demands, role)[0], out=least)
            mine = way_of == way
            found[mine] = own[mine] + np.round(least[self.class_of[mine]], _DECIMALS)
        return found

    def _costs(self, terms: Sequence[Term]) -> Iterator[dict[str, Floats]]:
        """Yield what classes add to a sum, for each way to decide which of its shares count."""
        space = self.space
        deciding: dict[str, list[Ints]] = {}
        for term in terms:
            for role, of_term in zip(term.roles[1:], term.class_of[1:], strict=True):
                deciding.setdefault(role, []).append(of_term)
        ways = {r: distinct_rows(np.column_stack(columns)) for r, columns in deciding.items()}
        for chosen in itertools.product(*(range(len(first)) for first, _ in ways.values())):
            options = {r: np.zeros(len(os)) for r, os in space.options.items()}
            example: dict[str, int] = {}
            for (role, (first, way_of)), way in zip(ways.items(), chosen, strict=True):
                options[role][way_of != way] = np.inf
                example[role] = int(first[way])
            for term in terms:
                at = [
                    of[example[r]] for r, of in zip(term.roles[1:], term.class_of[1:], strict=True)
                ]
                worst = term.worst[(slice(None), *at)]
                options[term.roles[0]] += worst[term.class_of[0]]
            yield {r: _of_classes(v, space.class_of[r]) for r, v in options.items()}


def _fixed(term: Term, role: str, option: int) -> Term:
    """Return what a term comes to with one option of a role."""
    if role not in term.roles:
        return term
    at = term.roles.index(role)
    place = int(term.class_of[at][option])
    return Term(
        tuple(r for r in term.roles if r != role),
        tuple(c for k, c in enumerate(term.class_of) if k != at),
        np.take(term.worst, place, axis=at),
        np.take(term.best, place, axis=at),
    )


def _of_classes(values: Floats, class_of: Ints) -> Floats:
    """Return the least value of each class's options."""
    found = np.full(int(class_of.max(initial=-1)) + 1, np.inf)
    np.minimum.at(found, class_of, values)
    return found


def _builds(circuit: Circuit, role: str, weights: Mapping[str, Floats]) -> npt.NDArray[np.object_]:
    """Return the builds with each class of a role."""
    every = {**weights, role: np.ones(circuit.plan.sizes[role])}
    return circuit.count_each(every)[role]


def _left(lines: CircuitStep, nodes: Bools) -> CircuitStep:
    """Return a step with the rows of some nodes only."""
    counts = lines.end - lines.begin
    kept = np.repeat(nodes, counts)
    end = np.cumsum(np.where(nodes, counts, 0))
    return CircuitStep(
        lines.kind[kept],
        lines.of_kind,
        {c: at[kept] for c, at in lines.opens.items()},
        end - np.where(nodes, counts, 0),
        end,
        None,
        lines.nodes,
    )


def interface(
    catalogue: Catalogue,
    role: str,
    made: Sequence[Option],
    options: Mapping[str, tuple[Option, ...]],
) -> RoleInterface | None:
    """Compile what the rest of a build asks of a role.

    Parameters
    ----------
    catalogue : Catalogue
        Where the other parts come from.
    role : str
        The role of the made part.
    made : sequence of Option
        Options of that role: parts that exist and parts that could be made.
    options : mapping of str to tuple of Option
        The options of every role.

    Returns
    -------
    RoleInterface or None
        None where nothing is made, or some other role that has to be filled has no part.

    Raises
    ------
    TooWideError
        If it would need more memory than the ceiling.
    """
    if not made or not all(os for r, os in options.items() if r != role):
        return None
    space = compiled_with(catalogue, {role: made})
    return RoleInterface(space, role, space.around(role, certain=True))
