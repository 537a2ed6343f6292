"""What share of whole assemblies fits, over all the joints of a combination at once."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from fitgraph.array_types import Bools, Floats
from fitgraph.graph.drawn import holds_at, measures_of, surely
from fitgraph.graph.joints import asked, conditions_of
from fitgraph.mechanics.rules import RULES
from fitgraph.mechanics.stackup import AssemblyShare, is_point
from fitgraph.model import Joint, Option, Reference, Vocabulary

#: Assemblies drawn, and the seed they are drawn with.
SAMPLES, SEED = 100_000, 20260101

#: The limits in mm of what a joint rests on; None where one is not known, or it is not there.
_Measures = Mapping[Reference, tuple[float, float]] | None


class Assemblies:
    """Assemblies drawn of any combinations; what is alike in two of them is judged once.

    Parameters
    ----------
    vocabulary : Vocabulary
        Its joints on bores and spigots, its nests and its stacks make the chain.
    samples : int
        Assemblies drawn of each combination, seeded.

    Notes
    -----
    Joints of one part share its sizes, so shares of single pairs must not be multiplied: every
    dimension is drawn once, uniform within its limits, and every joint is judged at the sizes
    drawn. A wall that nobody knows counts as the worst.
    """

    def __init__(self, vocabulary: Vocabulary, samples: int = SAMPLES) -> None:
        self._joints = [
            joint
            for joint in asked(vocabulary.joints, tidy=False)
            if RULES[joint.rule].sums or "bore" in joint.arguments
        ]
        self._conditions = {j.name: conditions_of(j) for j in self._joints}
        self._samples, self._random = samples, np.random.default_rng(SEED)
        self._draws: list[Floats] = []
        #: The options that were asked about, which are known by where they lie.
        self._told: dict[int, Option] = {}
        #: By a joint and its options: whether it is there, and what it rests on.
        self._measures: dict[tuple[object, ...], tuple[bool, _Measures]] = {}
        self._fits: dict[tuple[object, ...], Bools] = {}

    def share(self, chosen: Mapping[str, Option]) -> AssemblyShare | None:
        """Return the share of assemblies of some parts in which every length comes out right.

        Parameters
        ----------
        chosen : mapping of str to Option
            An option for each role of the combination, empty ones included.

        Returns
        -------
        AssemblyShare or None
            None where no such joint is there, or one rests on a size that nobody knows.
        """
        self._told.update((id(option), option) for option in chosen.values())
        there: list[tuple[Joint, tuple[object, ...], Mapping[Reference, tuple[float, float]]]] = []
        for joint in self._joints:
            if any(role not in chosen for role in joint.roles):
                continue
            key = (joint.name, *(id(chosen[role]) for role in joint.roles))
            if key not in self._measures:
                self._measures[key] = self._measured(joint, chosen)
            is_there, measures = self._measures[key]
            if is_there and measures is None:
                return None
            if is_there and measures is not None:
                there.append((joint, key, measures))
        if not there:
            return None
        limits = {size: ends for _, _, measures in there for size, ends in measures.items()}
        # Each size that is no point has a draw of its own, in the order of mention.
        spread = [size for size, ends in limits.items() if not is_point(ends)]
        number = {size: n for n, size in enumerate(spread)}
        sizes: dict[Reference, Floats] = {}
        fits = np.ones((len(there), self._samples), dtype=bool)
        for row, (joint, key, measures) in enumerate(there):
            drawn = (*key, *(number.get(size) for size in measures))
            if drawn not in self._fits:
                for size in measures:
                    if size not in sizes:
                        sizes[size] = self._sizes(limits[size], number.get(size))
                self._fits[drawn] = holds_at(joint, chosen, sizes)
            fits[row] = self._fits[drawn]
        return AssemblyShare.of(fits)

    def _measured(self, joint: Joint, chosen: Mapping[str, Option]) -> tuple[bool, _Measures]:
        if not surely(chosen, self._conditions[joint.name]):
            return False, None
        try:
            return True, measures_of(joint, chosen)
        except LookupError:
            return True, None

    def _sizes(self, ends: tuple[float, float], number: int | None) -> Floats:
        """Return the sizes drawn within limits, by the draw of a number; None for a point."""
        lo, hi = ends
        if number is None:
            return np.full(self._samples, (lo + hi) / 2)
        while len(self._draws) <= number:
            self._draws.append(self._random.random(self._samples))
        return lo + (hi - lo) * self._draws[number]


def assembly_share(
    chosen: Mapping[str, Option], vocabulary: Vocabulary, *, samples: int = SAMPLES
) -> AssemblyShare | None:
    """Return the share of assemblies of one combination, as :meth:`Assemblies.share` does.

    Parameters
    ----------
    chosen, vocabulary, samples
        As :class:`Assemblies` takes them.
    """
    return Assemblies(vocabulary, samples).share(chosen)
