"""Two parts, or two builds, side by side: what differs, and which joints each opens or closes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from functools import cached_property

import numpy as np

from fitgraph.explain.reasons import Clash
from fitgraph.explain.why import Explainer, Explanation
from fitgraph.graph.hold import clamp_ratio, hold_ratio
from fitgraph.graph.joints import asked, judge_pairs
from fitgraph.graph.options import plain, presence_of, strength_nm
from fitgraph.mechanics.grip import GripRatio
from fitgraph.model import (
    Catalogue,
    Dimension,
    Joint,
    Option,
    Part,
    Presence,
    Verdict,
    Word,
)
from fitgraph.records import dataclass
from fitgraph.solve import NamingError, Request, TreeEngine
from fitgraph.solve.only_named import asked_of_named
from fitgraph.solve.plan import TooWideError
from fitgraph.solve.request import find_part


@dataclass(frozen=True, slots=True)
class Side:
    """One figure of one of the two.

    Parameters
    ----------
    presence : Presence
        Whether the feature is there.
    size : Dimension or None
        The limits in mm, for lengths.
    word : Word or None
        For words.
    """

    presence: Presence
    size: Dimension | None = None
    word: Word | None = None


@dataclass(frozen=True, slots=True)
class FigurePair:
    """A figure of the one beside that of the other.

    Parameters
    ----------
    feature : str
        Of which feature.
    dimension : str or None
        Which figure; None for whether the feature is there.
    sides : tuple of Side
        The first's and the second's.
    same : bool
        Whether both are known and equal.
    """

    feature: str
    dimension: str | None
    sides: tuple[Side, Side]
    same: bool


@dataclass(frozen=True, slots=True)
class Mates:
    """What a joint says of a part with every part of one counterpart role.

    Parameters
    ----------
    fits, unknown, fails : tuple of str
        Stock numbers. Those for which the joint is not there are in none.
    """

    fits: tuple[str, ...]
    unknown: tuple[str, ...]
    fails: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Opened:
    """A joint, with the counterparts of each of the two parts.

    Parameters
    ----------
    joint : Joint
        The joint; conditions on further parts are taken to hold.
    role : str
        The counterpart's role.
    mates : tuple of Mates
        The first's and the second's.
    """

    joint: Joint
    role: str
    mates: tuple[Mates, Mates]

    def opens(self, side: int) -> tuple[str, ...]:
        """Return the counterparts that certainly fit one side (0 or 1) and not the other."""
        other = set(self.mates[1 - side].fits)
        return tuple(s for s in self.mates[side].fits if s not in other)


@dataclass(frozen=True, slots=True)
class Totals:
    """Figures of a part or of a build as a whole.

    Parameters
    ----------
    price : int or None
        In minor currency units.
    mass_g : float or None
        In g.
    strength_nm : float or None
        Bending moment borne again and again, in N m; a comparison.
    builds : int
        Complete builds that are certain with it, adapters and work on it included.
    possible : int or None
        The same, with those that are only possible; None where to count them would need more
        memory than the ceiling.
    """

    price: int | None
    mass_g: float | None
    strength_nm: float | None
    builds: int
    possible: int | None


@dataclass(frozen=True, slots=True)
class ComparedParts:
    """Two parts of a role side by side.

    Parameters
    ----------
    parts : tuple of Part
        The two.
    totals : tuple of Totals
        Their figures.
    differences : tuple of FigurePair
        Every figure of either.
    joints : tuple of Opened
        Every joint they take part in, by counterpart.
    grip : GripRatio or None
        Of two clamps: how much more the first holds, each on what just fills its bore.
    """

    parts: tuple[Part, Part]
    totals: tuple[Totals, Totals]
    differences: tuple[FigurePair, ...]
    joints: tuple[Opened, ...]
    grip: GripRatio | None = None


@dataclass(frozen=True, slots=True)
class JointInBoth:
    """A joint as it stands in each of two builds; None where it is not there."""

    joint: Joint
    sides: tuple[Clash | None, Clash | None]

    @property
    def same(self) -> bool:
        """Whether both builds have it with one verdict."""
        one, other = self.sides
        return one is not None and other is not None and one.verdict is other.verdict


@dataclass(frozen=True, slots=True)
class ComparedBuilds:
    """Two builds, complete or not, side by side.

    Parameters
    ----------
    named : tuple of tuple of str
        Their stock numbers.
    answers : tuple of Explanation
        Whether each fits, and why not.
    totals : tuple of Totals
        Sums over the named parts.
    roles : mapping of str to tuple
        For each role in which they differ, the part of each; None where it has none.
    joints : tuple of JointInBoth
        Every joint between the named parts of either.
    grip : GripRatio or None
        How much more the first holds, where both say so; what they share cancels.
    """

    named: tuple[tuple[str, ...], tuple[str, ...]]
    answers: tuple[Explanation, Explanation]
    totals: tuple[Totals, Totals]
    roles: Mapping[str, tuple[str | None, str | None]]
    joints: tuple[JointInBoth, ...]
    grip: GripRatio | None = None


def _side(option: Option, feature: str, dimension: str | None) -> Side:
    presence = presence_of(option, feature)
    if dimension is None or presence is not Presence.PRESENT:
        return Side(presence)
    found = option.features[feature]
    return Side(presence, found.lengths.get(dimension), found.words.get(dimension))


def _same(one: Side, other: Side) -> bool:
    if one.presence is not other.presence or Presence.UNKNOWN in (one.presence, other.presence):
        return False
    if one.size is not None and other.size is not None:
        return one.size.known and (one.size.lo, one.size.hi) == (other.size.lo, other.size.hi)
    if one.word is not None and other.word is not None:
        return one.word.value is not None and one.word.value == other.word.value
    return one.presence is Presence.ABSENT or (one.size, one.word) == (other.size, other.word)


def differences(catalogue: Catalogue, one: Part, other: Part) -> tuple[FigurePair, ...]:
    """Return every figure of two parts of a role, side by side."""
    options = plain(one), plain(other)
    found = []
    for kind in catalogue.vocabulary.roles[one.role].features.values():
        if all(presence_of(o, kind.name) is Presence.ABSENT for o in options):
            continue
        names: list[str | None] = list(kind.dimensions)
        names = names or [None]
        for name in names:
            sides = _side(options[0], kind.name, name), _side(options[1], kind.name, name)
            told = any(s.size is not None or s.word is not None for s in sides)
            if told or name is None or Presence.UNKNOWN in (s.presence for s in sides):
                found.append(FigurePair(kind.name, name, sides, _same(*sides)))
    return tuple(found)


def _pairs(joint: Joint, role: str) -> Iterable[tuple[str, Joint]]:
    """Yield the counterpart roles of a joint, with the joint as two roles see it."""
    compared = {r.role for r in joint.arguments.values()}
    if joint.subject is not None:
        compared.add(joint.subject.role)
    if role not in joint.roles:
        return
    others = compared - {role} if role in compared else compared
    for other in [r for r in joint.roles if r in others]:
        two = {role, other}
        if compared <= two:
            yield other, replace(joint, when=tuple(c for c in joint.when if c.role in two))


def _mates(joint: Joint, part: Part, role: str, counterparts: Sequence[Part]) -> Mates | None:
    """Return what a joint says of a part with each counterpart; None where it is never there."""
    options = {part.role: [plain(part)], role: [plain(p) for p in counterparts]}
    if set(joint.roles) != set(options):
        return None
    verdicts, _, there = judge_pairs(joint, *(options[r] for r in joint.roles))
    row, seen = np.ravel(verdicts), np.ravel(there)
    if not (seen != Presence.ABSENT).any():
        return Mates((), (), ())
    by_verdict: dict[int, list[str]] = {int(v): [] for v in Verdict}
    for n, counterpart in enumerate(counterparts):
        if seen[n] != Presence.ABSENT:
            by_verdict[int(row[n])].append(counterpart.sku)
    return Mates(*(tuple(by_verdict[v]) for v in (Verdict.FITS, Verdict.UNKNOWN, Verdict.FAILS)))


def opened(catalogue: Catalogue, one: Part, other: Part) -> tuple[Opened, ...]:
    """Return the joints of two parts of a role, with the counterparts each of them opens."""
    found = []
    for joint in asked(catalogue.vocabulary.joints, tidy=False):
        for role, pair in _pairs(joint, one.role):
            counterparts = catalogue.of(role)
            if not counterparts or role == one.role:
                continue
            sides = [_mates(pair, p, role, counterparts) for p in (one, other)]
            first, second = sides
            if first is None or second is None or first == second == Mates((), (), ()):
                continue
            found.append(Opened(joint, role, (first, second)))
    return tuple(found)


class Comparer:
    """Compares parts and builds of one catalogue.

    Parameters
    ----------
    catalogue : Catalogue
        Where they come from.
    engine : TreeEngine, optional
        Counts their builds, where one is compiled already.
    explainer : Explainer, optional
        Judges them, where one is compiled already.
    """

    def __init__(
        self,
        catalogue: Catalogue,
        engine: TreeEngine | None = None,
        explainer: Explainer | None = None,
    ) -> None:
        self.catalogue = catalogue
        self.engine = TreeEngine(catalogue) if engine is None else engine
        self._explainer = explainer

    @cached_property
    def explainer(self) -> Explainer:
        """Return what judges whole builds; two parts need none."""
        return self._explainer or Explainer(self.catalogue, self.engine)

    def parts(self, one: str, other: str) -> ComparedParts:
        """Return two parts of a role side by side.

        Raises
        ------
        NamingError
            If there is no such part, or they are of different roles.
        """
        pair = find_part(self.catalogue, one), find_part(self.catalogue, other)
        if pair[0].role != pair[1].role:
            roles = self.catalogue.vocabulary.roles
            titles = [roles[p.role].title for p in pair]
            raise NamingError(
                f"{pair[0].sku} is of one role ({titles[0]}) and {pair[1].sku} of another "
                f"({titles[1]}); compare two of one role, or two builds"
            )
        return ComparedParts(
            pair,
            (self._part_totals(pair[0]), self._part_totals(pair[1])),
            differences(self.catalogue, *pair),
            opened(self.catalogue, *pair),
            clamp_ratio(plain(pair[0]), plain(pair[1]), self.catalogue.vocabulary),
        )

    def _part_totals(self, part: Part) -> Totals:
        strength = strength_nm(plain(part), self.catalogue.vocabulary)
        return Totals(part.price, part.mass_g, strength, *self._counts((part.sku,)))

    def _counts(self, skus: tuple[str, ...]) -> tuple[int, int | None]:
        """Return how many builds have some parts, and how many may; None where it is too much."""
        request = Request(have=skus)
        builds, engine = asked_of_named(self.engine, skus, lambda e: e.count(request).number)
        try:
            possible, _ = asked_of_named(engine, skus, lambda e: e.count_possible(request).number)
        except TooWideError:
            return builds, None
        return builds, possible

    def builds(self, one: Sequence[str], other: Sequence[str]) -> ComparedBuilds:
        """Return two builds side by side.

        Raises
        ------
        NamingError
            If a stock number is unknown, or a build has two of one role.
        """
        skus = tuple(self._skus(one)), tuple(self._skus(other))
        answers = (
            self.explainer.why(skus[0], with_changes=False),
            self.explainer.why(skus[1], with_changes=False),
        )
        by_role = [{self.catalogue.parts[s].role: s for s in each} for each in skus]
        roles = {
            r: (by_role[0].get(r), by_role[1].get(r))
            for r in self.catalogue.vocabulary.roles
            if by_role[0].get(r) != by_role[1].get(r)
        }
        return ComparedBuilds(
            skus,
            answers,
            (self._build_totals(skus[0]), self._build_totals(skus[1])),
            roles,
            self._joints(answers),
            hold_ratio(self._chosen(skus[0]), self._chosen(skus[1]), self.catalogue.vocabulary),
        )

    def _chosen(self, skus: Sequence[str]) -> dict[str, Option]:
        named = {self.catalogue.parts[s].role: plain(self.catalogue.parts[s]) for s in skus}
        return {r: named.get(r, Option(r, None)) for r in self.catalogue.vocabulary.roles}

    def _skus(self, named: Sequence[str]) -> list[str]:
        return list(dict.fromkeys(find_part(self.catalogue, s).sku for s in named))

    def _joints(self, answers: tuple[Explanation, Explanation]) -> tuple[JointInBoth, ...]:
        sides = [{c.joint.name: c for c in answer.joints} for answer in answers]
        return tuple(
            JointInBoth(joint, (sides[0].get(joint.name), sides[1].get(joint.name)))
            for joint in self.catalogue.vocabulary.joints
            if joint.name in sides[0] or joint.name in sides[1]
        )

    def _build_totals(self, skus: Sequence[str]) -> Totals:
        parts = [self.catalogue.parts[s] for s in skus]
        prices = [p.price for p in parts]
        masses = [p.mass_g for p in parts]
        strengths = [strength_nm(plain(p), self.catalogue.vocabulary) for p in parts]
        known = [s for s in strengths if s is not None]
        return Totals(
            None if None in prices else sum(p for p in prices if p is not None),
            None if None in masses else sum(m for m in masses if m is not None),
            min(known, default=None),
            *self._counts(tuple(skus)),
        )
