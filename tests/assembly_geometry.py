"""A judge of assemblies that builds them: rings as explicit geometry, closed step by step.

Nothing is shared with the package but its data (parts, references, joints as lists of rings).
A ring is a set of fibres, circles through its wall from bore to outside, that end at the straight
face of its slot. It is squeezed onto a round core: the mean line becomes a smaller circle and
keeps its length, sections stay plane, the wall keeps its thickness. It stops where its bore sits
on what is inside, or where a point of its face reaches the plane in the slot's middle, where the
other face stands. Rings close from the core outwards; one that stops before it sits is held open,
and what is around it has to go around it as it is. Lengths are in mm, arrays hold one assembly
each.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from shapely import Polygon

from fitgraph.model import (
    ABSENT,
    Condition,
    Joint,
    Option,
    Presence,
    Reference,
    Ring,
    Vocabulary,
)

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]
Chosen = Mapping[str, Option]

#: Lengths below it are nothing: twice what the rules forgive typed decimals, and a hundred
#: thousand times the rounding here.
NOTHING_MM = 2e-9

#: Circles through a wall whose ends are looked at, bore and outside among them.
FIBRES = 3

#: Share of the mean radius by which a ring is bent at each step.
STEP = 0.004

# ---------------------------------------------------------------- one ring, bent


def face(bore: Floats, outside: Floats, width: Floats) -> tuple[Floats, Floats]:
    """Return radius and angle of points on the slot's right face, from the section opposite."""
    first = np.maximum(bore, width) / 2  # a slot wider than the bore has no face further in
    through = np.linspace(0.0, 1.0, FIBRES)
    radius = first[..., None] + through * (outside / 2 - first)[..., None]
    across = np.broadcast_to(width[..., None] / 2, radius.shape)
    up = np.sqrt(np.maximum(radius**2 - across**2, 0.0))
    return radius, np.arctan2(across, -up)


def bent(radius: Floats, angle: Floats, mean: Floats, smaller: Floats) -> tuple[Floats, Floats]:
    """Return radius and angle of points when a ring's mean line has become a smaller circle."""
    return radius - mean + smaller, angle * mean / smaller


def shut_bore(bore: Floats, outside: Floats, width: Floats) -> Floats:
    """Return the bore's diameter at which a ring's faces meet, by bending it step by step."""
    bore, outside, width = (np.atleast_1d(np.asarray(x, float)) for x in (bore, outside, width))
    mean, half_wall = (outside + bore) / 4, (outside - bore) / 4
    radius, angle = face(bore, outside, width)

    def room(at: npt.NDArray[np.intp], smaller: Floats) -> Floats:
        """Return how far the face's nearest point is from the plane it must not pass."""
        moved, turned = bent(radius[at], angle[at], mean[at, None], smaller[:, None])
        return np.asarray((moved * np.sin(turned)).min(axis=-1))

    every = np.arange(len(mean))
    clear, met = mean.copy(), mean.copy()
    room_clear, room_met = room(every, clear), np.zeros(len(mean))
    moving = every
    while len(moving):
        tried = clear[moving] - STEP * mean[moving]
        left = room(moving, tried)
        free = left > 0
        clear[moving[free]], room_clear[moving[free]] = tried[free], left[free]
        met[moving[~free]], room_met[moving[~free]] = tried[~free], left[~free]
        moving = moving[free]
    # The last step more finely: by false position between the two (Illinois), down to rounding.
    was = np.ones(len(mean), dtype=bool)
    tried = clear
    for n in range(8):
        apart = np.maximum(room_clear - room_met, 1e-300)
        tried = np.clip(met - room_met / apart * (clear - met), met, clear)
        left = room(every, tried)
        free = left > 0
        again = (free == was) & (n > 0)
        room_met = np.where(free, np.where(again, room_met / 2, room_met), left)
        room_clear = np.where(free, left, np.where(again, room_clear / 2, room_clear))
        clear, met, was = np.where(free, tried, clear), np.where(free, met, tried), free
    return np.asarray(2 * (tried - half_wall))


# ---------------------------------------------------------------- a nest, closed


@dataclass(frozen=True)
class RingSizes:
    """One ring of many assemblies: where it is there, its sizes, and what is asked of it."""

    there: Flags
    bore: Floats
    outside: Floats
    slot: Floats
    least: Floats
    reserve: float


@dataclass(frozen=True)
class Closed:
    """What closing a nest came to, ring by ring: shape (rings, assemblies).

    `slides` is the clearance to spare before it is closed, `presses` the closure to spare when
    the bore sits; below zero it is lacking, plus infinity where the ring is not there. `bore`
    is where each bore ends up.
    """

    slides: Floats
    presses: Floats
    bore: Floats
    there: Flags

    @property
    def spare(self) -> Floats:
        """Return what the whole assembly has to spare at its tightest place."""
        return np.minimum(self.slides, self.presses).min(axis=0)


def close(core: Floats, rings: Sequence[RingSizes]) -> Closed:
    """Put rings around a core and close them from the core outwards."""
    open_outside, squeezed_outside = core, core
    slides, presses, bores = [], [], []
    for ring in rings:
        at = ring.there
        shut = ring.bore.copy()
        shut[at] = shut_bore(ring.bore[at], ring.outside[at], ring.slot[at])
        slides.append(np.where(at, ring.bore - open_outside - ring.least, np.inf))
        presses.append(np.where(at, squeezed_outside - shut - ring.reserve, np.inf))
        rests = np.maximum(shut, squeezed_outside)
        bores.append(np.where(at, rests, np.nan))
        open_outside = np.where(at, ring.outside, open_outside)
        squeezed_outside = np.where(at, rests + ring.outside - ring.bore, squeezed_outside)
    there = np.array([ring.there for ring in rings])
    return Closed(np.array(slides), np.array(presses), np.array(bores), there)


# ---------------------------------------------------------------- the same as polygons


def halves(
    bore: float, outside: float, width: float, to: float, points: int = 800
) -> list[Polygon]:
    """Return the halves of a ring as polygons, slot at the top, bent until its bore is `to`."""
    wall = (outside - bore) / 2
    mean, smaller = np.array((outside + bore) / 4), np.array((to + wall) / 2)
    through = np.linspace(bore / 2, outside / 2, 60)
    ends = np.arctan2(width / 2, -np.sqrt(through**2 - (width / 2) ** 2))
    around = np.linspace(0.0, 1.0, points)
    radius = np.concatenate([np.full(points, bore / 2), through, np.full(points, outside / 2)])
    angle = np.concatenate([around * ends[0], ends, around[::-1] * ends[-1]])
    radius, angle = bent(radius, angle, mean, smaller)
    x, y = radius * np.sin(angle), -radius * np.cos(angle)
    return [Polygon(np.column_stack([side * x, y])) for side in (1, -1)]


# ---------------------------------------------------------------- from parts to sizes


def holds(condition: Condition, chosen: Chosen) -> bool:
    """Return whether a condition holds of parts whose features are all known to be there or not."""
    option = chosen[condition.role]
    if option.part is None:
        there = False
    elif condition.feature is None:
        there = True
    else:
        there = option.features.get(condition.feature, ABSENT).presence is Presence.PRESENT
    return there is condition.wanted


def decided(chosen: Chosen, rng: np.random.Generator) -> dict[str, Option]:
    """Return the parts with every feature there or not that nobody knows to be, by lot."""
    found = {}
    for role, option in chosen.items():
        features = dict(option.features)
        for name, feature in features.items():
            if feature.presence is Presence.UNKNOWN:
                there = Presence.PRESENT if rng.random() < 0.5 else Presence.ABSENT
                features[name] = replace(feature, presence=there)
        found[role] = replace(option, features=features)
    return found


def limits(reference: Reference, chosen: Chosen, vocabulary: Vocabulary) -> tuple[float, float]:
    """Return between which sizes a dimension is; what nobody knows is anything plausible."""
    assert reference.feature is not None
    if chosen[reference.role].empty:
        return 0.0, 0.0
    feature = chosen[reference.role].features.get(reference.feature, ABSENT)
    size = feature.lengths.get(reference.name)
    if size is not None and np.isfinite(size.bounds).all():
        return size.bounds
    kind = vocabulary.roles[reference.role].features[reference.feature]
    plausible = kind.dimensions[reference.name].plausible
    assert plausible is not None
    return plausible


def longest(joints: Iterable[Joint]) -> list[Joint]:
    """Return the nests that no other nest goes on from: of each, the one with all its rings."""
    nests = [j for j in joints if j.rings]
    return [
        one
        for one in nests
        if not any(o.when == one.when and o.rings[:-1] == one.rings for o in nests)
    ]


def in_nest(ring: Ring, chosen: Chosen) -> bool:
    """Return whether a ring is there."""
    told = ring.bore or ring.outside
    assert told is not None
    return holds(Condition(told.role, told.feature), chosen) and all(
        holds(c, chosen) for c in ring.when
    )


class Assemblies:
    """Many assemblies of parts from one vocabulary: their limits of size, and sizes drawn.

    Parameters
    ----------
    vocabulary : Vocabulary
        Its nests say which rings lie around which, and its pairs with what clearance they
        slide on.
    chosen : sequence of mapping
        The parts of each assembly, every feature decided.
    """

    def __init__(self, vocabulary: Vocabulary, chosen: Sequence[Chosen]) -> None:
        self.nests = longest(vocabulary.joints)
        self.references = tuple(dict.fromkeys(r for j in self.nests for r in j.measures))
        self.holes = np.array(
            [
                any(r in (x.bore, x.slot) for j in self.nests for x in j.rings)
                for r in self.references
            ]
        )
        self._least = {
            (j.arguments["bore"], j.arguments["spigot"]): j.limits["least"]
            for j in vocabulary.joints
            if {"bore", "spigot"} <= set(j.arguments)
        }
        slots = {x.slot for j in self.nests for x in j.rings}
        self.lo, self.hi = np.zeros((2, len(chosen), len(self.references)))
        for k, reference in enumerate(self.references):
            for i, of in enumerate(chosen):
                if reference in slots and not holds(
                    Condition(reference.role, reference.feature), of
                ):
                    continue  # uncut
                self.lo[i, k], self.hi[i, k] = limits(reference, of, vocabulary)
        self.there = [
            np.array(
                [
                    [all(holds(c, of) for c in nest.when) and in_nest(x, of) for of in chosen]
                    for x in nest.rings
                ]
            )
            for nest in self.nests
        ]

    def column(self, reference: Reference) -> int:
        """Return where a dimension stands among the sizes."""
        return self.references.index(reference)

    def lean(self, nest: int, ring: int) -> Floats:
        """Return for each size which end leaves a ring the most to close, and the least to.

        1 stands for the upper end, 0 for the lower.
        """
        loose = np.where(self.holes, 1.0, 0.0)
        for k, x in enumerate(self.nests[nest].rings):
            if x.slot is not None:
                loose[self.column(x.slot)] = 0.0
            if k == ring and x.outside is not None:
                loose[self.column(x.outside)] = 1.0
        return loose

    def drawn(self, rows: npt.NDArray[np.intp], rng: np.random.Generator) -> Floats:
        """Return one size between its limits for each dimension of each row.

        A third at random, a third at corners by lot, a third at a corner that is hard on some
        ring, or kind to it, but for a few sizes.
        """
        n, m = len(rows), len(self.references)
        share = rng.random((n, m))
        corner = np.round(rng.random((n, m)))
        leans = np.array(
            [
                self.lean(nest, ring)
                for nest, j in enumerate(self.nests)
                for ring in range(1, len(j.rings))
            ]
        )
        hard = leans[rng.integers(len(leans), size=n)]
        hard = np.where(rng.random((n, 1)) < 0.5, hard, 1 - hard)
        hard = np.where(rng.random((n, m)) < rng.choice([0.0, 0.15], size=(n, 1)), 1 - hard, hard)
        way = rng.integers(3, size=(n, 1))
        share = np.where(way == 0, share, np.where(way == 1, corner, hard))
        return self.lo[rows] + share * (self.hi - self.lo)[rows]

    def rings(self, nest: int, rows: npt.NDArray[np.intp], sizes: Floats) -> list[RingSizes]:
        """Return the rings of one nest around its core, of the assemblies in `rows`."""
        first, *others = self.nests[nest].rings
        zero = np.zeros(len(rows))
        there = self.there[nest][:, rows]
        inner: list[tuple[Ring, Flags]] = [(first, there[0])]
        found = []
        for k, ring in enumerate(others, start=1):
            assert ring.bore is not None and ring.outside is not None
            # With what clearance it slides on is told for each ring that it may lie on.
            least = zero.copy()
            for below, at in inner:
                assert below.outside is not None
                least = np.where(at, self._least.get((ring.bore, below.outside), 0.0), least)
            inner.append((ring, there[k]))
            slot = zero if ring.slot is None else sizes[:, self.column(ring.slot)]
            found.append(
                RingSizes(
                    there[k] & there[0],
                    sizes[:, self.column(ring.bore)],
                    sizes[:, self.column(ring.outside)],
                    slot,
                    least,
                    self.nests[nest].limits.get("reserve", 0.0),
                )
            )
        return found

    def core(self, nest: int, sizes: Floats) -> Floats:
        """Return the outside of a nest's core."""
        reference = self.nests[nest].rings[0].outside
        assert reference is not None
        return sizes[:, self.column(reference)]

    def are_rings(self, rows: npt.NDArray[np.intp], sizes: Floats) -> Flags:
        """Return whether every ring has a wall and a slot that leaves most of it."""
        good = np.ones(len(rows), dtype=bool)
        for nest in range(len(self.nests)):
            for ring in self.rings(nest, rows, sizes):
                sound = (ring.outside - ring.bore > 0.02) & (ring.slot < 0.9 * ring.bore)
                good &= sound | ~ring.there
        return good

    def spare(self, rows: npt.NDArray[np.intp], sizes: Floats) -> Floats:
        """Return what assemblies have to spare at their tightest place; below zero they fail."""
        least = np.full(len(rows), np.inf)
        for nest in range(len(self.nests)):
            closed = close(self.core(nest, sizes), self.rings(nest, rows, sizes))
            least = np.minimum(least, closed.spare)
        return least


def between(
    references: Sequence[Reference], chosen: Sequence[Chosen], vocabulary: Vocabulary
) -> tuple[Floats, Floats]:
    """Return the limits of several dimensions of each assembly: shape (assemblies, references)."""
    told = np.array([[limits(r, of, vocabulary) for r in references] for of in chosen])
    return told[..., 0], told[..., 1]
