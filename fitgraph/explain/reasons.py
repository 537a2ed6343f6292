"""What a joint says, with every figure it rests on: data, not yet words."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from fitgraph.graph.columns import Columns, WordCodes, word_of
from fitgraph.graph.joints import conditions_of
from fitgraph.graph.options import presence_of, skus_of
from fitgraph.graph.said import judge
from fitgraph.graph.sums import ring_there
from fitgraph.mechanics.rules import RULES
from fitgraph.model import Condition, Dimension, Joint, Option, Presence, Reference, Verdict
from fitgraph.records import dataclass


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure that a verdict rests on.

    Parameters
    ----------
    argument : str
        What the rule calls it: bore, spigot, slot, ...
    reference : Reference
        Where the vocabulary finds it.
    option : Option
        The part it is of.
    dimension : Dimension or None
        For lengths.
    word : str or None
        For words; None where it is not known.
    presence : Presence
        Whether the part has the feature.
    """

    argument: str
    reference: Reference
    option: Option
    dimension: Dimension | None
    word: str | None
    presence: Presence


@dataclass(frozen=True, slots=True)
class Clash:
    """A joint that fails, or of which nobody can tell.

    Parameters
    ----------
    joint : Joint
        The joint and the rule that governs.
    verdict : Verdict
        What it says.
    margin_mm : float or None
        What is lacking, in mm (below zero); None where it is no length.
    options : mapping of str to Option
        The roles it touches.
    figures : tuple of Figure
        What it rests on.
    free : frozenset of str
        Roles that nobody named: what stands there is the nearest there is.
    interval_mm, wanted_mm : tuple of float or None
        What the joint measures (a clearance, a difference, a sum), and what that has to lie in;
        infinite where it is not known or not bounded, None where it has no lengths.
    """

    joint: Joint
    verdict: Verdict
    margin_mm: float | None
    options: Mapping[str, Option]
    figures: tuple[Figure, ...]
    free: frozenset[str] = frozenset()
    interval_mm: tuple[float, float] | None = None
    wanted_mm: tuple[float, float] | None = None

    @property
    def parts(self) -> tuple[str, ...]:
        """Return the stock numbers it is between."""
        return tuple(skus_of(self.options).values())


def figures_of(joint: Joint, chosen: Mapping[str, Option]) -> tuple[Figure, ...]:
    """Return every figure that a joint compares, or adds up, in a combination.

    Of a nest those of the rings that are there, of a stack those of the spans: each figure's
    argument says what it is there (``bore``, ``outside``, ``slot``; ``add``, ``take``).
    """
    if joint.shares:
        told = (f for shared in joint.shares for f in figures_of(shared, chosen))
        return tuple({f.reference: f for f in told}.values())
    rule = RULES[joint.rule]
    figures = []
    for argument, reference in joint.arguments.items():
        option = chosen[reference.role]
        if argument in rule.words:
            presence = presence_of(option, reference.feature)
            word = word_of(option, reference)
            figures.append(Figure(argument, reference, option, None, word, presence))
        elif argument not in rule.may_lack or _there(chosen, (), reference):
            figures.append(_length(argument, reference, option, argument in rule.optional))
    for place, ring in enumerate(joint.rings):
        if not _there(chosen, ring_there(ring)):
            continue
        last = place == len(joint.rings) - 1
        for argument, of in (("bore", ring.bore), ("outside", ring.outside), ("slot", ring.slot)):
            if of is None or (argument == "slot" and not last):
                continue
            if argument == "slot" or _there(chosen, (), of):
                figures.append(_length(argument, of, chosen[of.role], argument == "slot"))
    for span in joint.spans:
        if _there(chosen, span.when, span.length):
            argument = "add" if span.sign > 0 else "take"
            figures.append(_length(argument, span.length, chosen[span.length.role], False))
    return tuple(figures)


def _there(
    chosen: Mapping[str, Option],
    conditions: Iterable[Condition],
    reference: Reference | None = None,
) -> bool:
    """Return whether conditions may hold, and a dimension's feature may be there."""
    for condition in conditions:
        presence = presence_of(chosen[condition.role], condition.feature)
        if presence is (Presence.ABSENT if condition.wanted else Presence.PRESENT):
            return False
    if reference is None:
        return True
    return presence_of(chosen[reference.role], reference.feature) is not Presence.ABSENT


def _length(argument: str, reference: Reference, option: Option, optional: bool) -> Figure:
    presence = presence_of(option, reference.feature)
    columns = Columns([option], WordCodes())
    lo, hi = (float(end.item()) for end in columns.limits(reference, optional=optional))
    feature = option.features.get(reference.feature or "")
    source = feature.lengths.get(reference.name) if feature is not None else None
    if source is None:
        dimension = Dimension(lo, hi)
    else:  # what nobody knows stays unknown, whatever is plausible
        dimension = replace(source, lo=lo, hi=hi) if source.known else source
    return Figure(argument, reference, option, dimension, None, presence)


def _unseen(chosen: Mapping[str, Option], condition: Condition) -> bool:
    return presence_of(chosen[condition.role], condition.feature) is Presence.UNKNOWN


def clashes(
    joints: Iterable[Joint],
    chosen: Mapping[str, Option],
    *,
    at_most: Verdict,
    free: frozenset[str] = frozenset(),
) -> list[Clash]:
    """Return the joints of a combination whose verdict is no better than `at_most`.

    Parameters
    ----------
    joints : iterable of Joint
        The joints to judge.
    chosen : mapping of str to Option
        An option for every role they touch.
    at_most : Verdict
        ``FAILS`` for what fails, ``UNKNOWN`` for what cannot be told as well,
        ``FITS`` for all that are there.
    free : frozenset of str
        Roles that nobody named.
    """
    found = []
    for joint in joints:
        said = judge(joint, chosen)
        if said.verdict > at_most or said.there is Presence.ABSENT:
            continue
        roles = dict.fromkeys(
            [r.role for r in joint.measures]
            + [c.role for c in conditions_of(joint) if c.wanted or _unseen(chosen, c)]
            + ([joint.subject.role] if joint.subject else [])
        )
        found.append(
            Clash(
                joint,
                said.verdict,
                said.margin,
                {role: chosen[role] for role in roles if not chosen[role].empty},
                figures_of(joint, chosen),
                free & set(roles),
                said.interval,
                said.wanted,
            )
        )
    return found


def _open(figure: Figure) -> bool:
    """Return whether a figure's limits leave anything to measure."""
    if figure.option.part is None or figure.presence is Presence.ABSENT:
        return False
    if figure.dimension is None:
        return figure.word is None
    return figure.dimension.hi > figure.dimension.lo


def to_measure(clash: Clash) -> tuple[Figure, ...]:
    """Return the figures of an undecided joint that a measurement could narrow, worst first.

    Parameters
    ----------
    clash : Clash
        A joint of which nobody can tell.
    """

    def width(figure: Figure) -> float:
        d = figure.dimension
        return float("inf") if d is None else d.hi - d.lo

    return tuple(sorted((f for f in clash.figures if _open(f)), key=width, reverse=True))
