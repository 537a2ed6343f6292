"""Small changes that make an impossible combination possible, cheapest first."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fitgraph.model import Option
from fitgraph.solve.best import Criteria, k_best
from fitgraph.solve.messages import count_each
from fitgraph.solve.space import Space

Bools = npt.NDArray[np.bool_]

#: The kinds of change, in the order in which equal ones are told: what the
#: workshop can do to the part comes before another part.
ADD, SERVICE, LEAVE_OUT, SWAP = "add", "service", "leave out", "swap"

#: Changes of more steps than this are no help at a counter.
MOST_STEPS = 3


@dataclass(frozen=True, slots=True)
class Action:
    """One step of a change.

    Parameters
    ----------
    kind : {'add', 'service', 'leave out', 'swap'}
        What is done.
    role : str
        To which role.
    before, after : Option
        What fills it.
    price : int
        What it costs, in minor currency units; None of the old part comes
        back.
    mass_change_g : float or None
        In g; None where a mass is not known.
    """

    kind: str
    role: str
    before: Option
    after: Option

    @property
    def price(self) -> int:
        """Return what the step costs, in minor currency units."""
        part = self.after.part
        own = 0 if part is None or part == self.before.part else (part.price or 0)
        return own + self.after.service_price

    @property
    def mass_change_g(self) -> float | None:
        """Return what the step adds to the mass, in g; None where that is not known."""
        before, after = self.before.mass_g, self.after.mass_g
        if self.before.part is not None and self.before.part == self.after.part:
            return self.after.service_mass_g - self.before.service_mass_g
        return None if before is None or after is None else after - before


@dataclass(frozen=True, slots=True)
class Change:
    """A smallest set of steps after which everything fits.

    Parameters
    ----------
    actions : tuple of Action
        The steps, none of which can be dropped.
    alternatives : int
        How many parts could take the last step's place; 1 where only this one.
    """

    actions: tuple[Action, ...]
    alternatives: int = 1

    @property
    def price(self) -> int:
        """Return what the change costs, in minor currency units."""
        return sum(a.price for a in self.actions)

    @property
    def mass_change_g(self) -> float | None:
        """Return what the change adds to the mass, in g; None where that is not known."""
        each = [a.mass_change_g for a in self.actions]
        return None if None in each else sum(m for m in each if m is not None)


def _kinds_of(space: Space, chosen: Mapping[str, int | None]) -> dict[tuple[str, str], Bools]:
    """Return every single step: the options that it lets in, by kind and role."""
    steps: dict[tuple[str, str], Bools] = {}
    for role, options in space.options.items():
        fill = space.catalogue.vocabulary.roles[role].fill
        now = chosen[role]
        plain = np.array([not o.services and o.part is not None for o in options])
        sold = np.array([o.part is not None and o.part.price is not None for o in options])
        void = np.array([o.empty for o in options])
        if now is None:
            if not fill.free:
                steps[(ADD, role)] = plain & sold
            continue
        same = np.array([o.part == options[now].part for o in options])
        steps[(SERVICE, role)] = same & ~plain & ~void
        if fill.may_be_empty:
            steps[(LEAVE_OUT, role)] = void
        steps[(SWAP, role)] = plain & sold & ~same
    return {step: lets for step, lets in steps.items() if lets.any()}


def _weights(space: Space, lets: Mapping[str, Bools]) -> dict[str, npt.NDArray[np.float64]]:
    sizes = space.tree.sizes
    return {
        r: np.bincount(space.class_of[r][m], minlength=sizes[r]).astype(float)
        for r, m in lets.items()
    }


def _sets_of_steps(
    space: Space,
    base: Mapping[str, Bools],
    steps: Mapping[tuple[str, str], Bools],
) -> Iterator[tuple[tuple[str, str], ...]]:
    """Yield every smallest set of steps after which a build is certain."""
    found: list[frozenset[tuple[str, str]]] = []
    names = list(steps)
    for size in range(1, MOST_STEPS + 1):
        for first in itertools.combinations(names, size - 1):
            if len({role for _, role in first}) < len(first):
                continue
            if any(set(first) >= smaller for smaller in found):
                continue
            lets = dict(base)
            for step in first:
                lets[step[1]] = steps[step]
            through = count_each(space.tree, _weights(space, lets), certain=True, exact=False)
            after = names.index(first[-1]) + 1 if first else 0
            for last in names[after:]:
                if last[1] in {role for _, role in first}:
                    continue
                both = frozenset((*first, last))
                if any(both >= smaller for smaller in found):
                    continue
                opened = through[last[1]][space.class_of[last[1]]] > 0
                if (opened & steps[last]).any():
                    found.append(both)
                    yield (*first, last)
        if found and size > 1:
            return


def changes(
    space: Space, base: Mapping[str, Bools], chosen: Mapping[str, int | None]
) -> list[Change]:
    """Return the smallest changes that make a combination fit for certain.

    Parameters
    ----------
    space : Space
        The compiled catalogue.
    base : mapping of str to ndarray of bool
        What may fill each role as things stand.
    chosen : mapping of str to int or None
        The option that fills each role now; None where it is open, or empty
        because nobody named it.

    Returns
    -------
    list of Change
        For every smallest set of steps its cheapest way, cheapest first.
    """
    steps = _kinds_of(space, chosen)
    found = []
    for wanted in _sets_of_steps(space, base, steps):
        lets = dict(base)
        costs = {r: np.zeros((1, len(o))) for r, o in space.options.items()}
        for kind, role in wanted:
            lets[role] = steps[(kind, role)]
            now = chosen[role]
            costs[role] = np.array(
                [
                    [
                        float(_action(space, kind, role, now, n).price)
                        for n in range(len(space.options[role]))
                    ]
                ]
            )
        best, _ = k_best(
            space.tree, space.class_of, lets, Criteria(costs, np.zeros(0)), 1, certain=True
        )
        actions = tuple(
            _action(space, kind, role, chosen[role], int(best[role][0])) for kind, role in wanted
        )
        found.append(Change(actions, _alternatives(space, lets, wanted)))
    return sorted(found, key=lambda c: (c.price, len(c.actions), [a.kind for a in c.actions]))


def _action(space: Space, kind: str, role: str, now: int | None, then: int) -> Action:
    options = space.options[role]
    before = options[now] if now is not None else Option(role, None)
    return Action(kind, role, before, options[then])


def _alternatives(
    space: Space, lets: Mapping[str, Bools], wanted: tuple[tuple[str, str], ...]
) -> int:
    """Return how many parts could take the last step's place, the others being free."""
    through = count_each(space.tree, _weights(space, lets), certain=True, exact=False)
    _, role = wanted[-1]
    opened = through[role][space.class_of[role]] > 0
    return int((opened & lets[role]).sum())
