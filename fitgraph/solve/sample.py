"""Random builds, each as likely as its weight says, drawn down a plan."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from fitgraph.array_types import Floats, Ints
from fitgraph.solve.algebra import COUNT
from fitgraph.solve.arrays import distinct, spread
from fitgraph.solve.messages import Demands
from fitgraph.solve.passes import Passes
from fitgraph.solve.plan import Plan
from fitgraph.solve.rows import Members, Rows
from fitgraph.stopping import check


def of_classes(weight: Floats, class_of: Ints, size: int) -> Floats:
    """Return the weights of options added up by class."""
    return np.bincount(class_of, weight, minlength=size).astype(float)


class Lottery:
    """What drawing builds by weight needs.

    Parameters
    ----------
    plan : Plan
        It must have a build.
    class_of : mapping of str to ndarray of int
        The base class of each option.
    weight : mapping of str to ndarray of float
        The weight of each option; a build is as likely as the product of its options' weights.
    """

    def __init__(
        self, plan: Plan, class_of: Mapping[str, Ints], weight: Mapping[str, Floats]
    ) -> None:
        self.plan, self.weight = plan, weight
        values = {r: of_classes(w, class_of[r], plan.sizes[r]) for r, w in weight.items()}
        self.passes = Passes(plan, Demands.one(values), COUNT)
        self.total = float(self.passes.totals()[0])
        self.members = Members(class_of, {r: w > 0 for r, w in weight.items()})

    def draw(self, size: int, rng: np.random.Generator) -> dict[str, Ints]:
        """Return the options of random builds.

        Parameters
        ----------
        size : int
            How many to draw, with repetition.
        rng : numpy.random.Generator
            Where chance comes from.

        Returns
        -------
        dict of str to ndarray of int, shape (size,)
            The option of each role.
        """
        passes = self.passes
        shares = np.array([float(passes.of_case(case)[0]) for case in self.plan.cases])
        of_case = rng.choice(len(shares), size, p=shares / shares.sum())
        found = {role: np.zeros(size, dtype=np.intp) for role in self.plan.roles}
        rows = Rows(passes)
        for number in distinct(of_case):
            at = np.flatnonzero(of_case == number)
            for role, options in self._within(int(number), len(at), rows, rng).items():
                found[role][at] = options
        return found

    def _within(
        self, number: int, size: int, rows: Rows, rng: np.random.Generator
    ) -> dict[str, Ints]:
        case = self.plan.cases[number]
        cells = {root: np.zeros(size, dtype=np.intp) for root in case.roots}
        chosen: dict[str, Ints] = {}
        for place in reversed(case.order):
            check()
            step, cell = self.plan.steps[place], cells.pop(place)
            distinct, of_draw = np.unique(cell, return_inverse=True)
            owner, kind = rows.expand(place, distinct)
            after = rows.after(place, distinct[owner], kind)
            if step.decided is None:
                weights = self.passes.weights(step, np.zeros(1, dtype=np.intp))
                assert weights is not None
                value = weights[0][kind]
                for child, at in after.items():
                    value = value * self.passes.at(child, at)[0]
                counts = np.bincount(owner, minlength=len(distinct))
                row = _by_weight(value, counts, of_draw.reshape(-1), rng)
            else:
                row = of_draw.reshape(-1)
            for child, at in after.items():
                cells[child] = at[row]
            if step.is_role:
                chosen[step.variable] = self._option(place, kind[row], rng)
        return chosen

    def _option(self, place: int, kind: Ints, rng: np.random.Generator) -> Ints:
        """Return an option of each kind, by weight."""
        step = self.plan.steps[place]
        ordered, _, counts = self.members.of(step)
        weight = self.weight[step.variable][ordered]
        at = _by_weight(weight, counts, kind, rng)
        return ordered[at]


def _by_weight(value: Floats, counts: Ints, of_draw: Ints, rng: np.random.Generator) -> Ints:
    """Return, for each draw, one place of its segment, by weight.

    Segments stand one after the other; each is scaled by its own largest value, so that sums of
    large numbers keep their digits.
    """
    starts = np.cumsum(counts) - counts
    owner, _ = spread(counts)
    largest = np.ones(len(counts))
    full = np.flatnonzero(counts)
    largest[full] = np.maximum(np.maximum.reduceat(value, starts[full]), 1e-300)
    running = np.concatenate([[0.0], np.cumsum(value / largest[owner])])
    low, high = running[starts[of_draw]], running[(starts + counts)[of_draw]]
    aim = low + rng.random(len(of_draw)) * (high - low)
    at = np.searchsorted(running, aim, side="right") - 1
    return np.clip(at, starts[of_draw], (starts + counts)[of_draw] - 1).astype(np.intp)
