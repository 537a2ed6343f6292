"""What measuring a figure may turn out, and how likely each outcome is.

A figure nobody knows is taken to be like those of the other parts of its role: each known
size or word counts once. Where no part of the role has it known, every size of the plausible
range is as likely. A figure that is known between wide limits may lie anywhere between them
with equal chance. Whether a feature is there follows Laplace's rule of succession, so that a
look is never taken to be certain before it is made.

References
----------
.. [1] Rule of succession: E. T. Jaynes, "Probability Theory: The Logic of Science", Cambridge
   2003, section 18.6 (reference checked): after k of n, the next has it with
   (k + 1) / (n + 2).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction
from types import MappingProxyType

from fitgraph.graph.columns import fold
from fitgraph.mechanics.rules import RULES
from fitgraph.model import (
    ABSENT,
    Basis,
    Catalogue,
    Dimension,
    DimensionKind,
    Feature,
    Part,
    Presence,
    Reference,
    Word,
    with_features,
)
from fitgraph.records import dataclass

#: Into how many equally likely pieces limits, or a plausible range, are cut.
PIECES = 5

#: Sizes closer than this, in mm, are one outcome: a calliper tells no more apart.
SAME_MM = 0.005


@dataclass(frozen=True, slots=True)
class OpenFigure:
    """A figure of a part that a measurement would settle.

    Parameters
    ----------
    part : Part
        The part as the catalogue has it.
    feature : str
        Of which feature.
    dimension : str or None
        Which figure of it; None for the question whether it is there.
    """

    part: Part
    feature: str
    dimension: str | None

    @property
    def known(self) -> bool:
        """Whether the figure has limits, only too wide ones."""
        size = self.part.features[self.feature].lengths.get(self.dimension or "")
        return size is not None and size.known


#: Features as a measurement would leave them, by name.
Changes = Mapping[str, Feature]


@dataclass(frozen=True, slots=True)
class Possibility:
    """One thing that a measurement may show.

    Parameters
    ----------
    share : Fraction
        How likely it is.
    values : tuple of float, str or bool
        What is read: sizes in mm, words, or whether the feature is there.
    changes : mapping of str to Feature
        The part's features that change with it.
    """

    share: Fraction
    values: tuple[float | str | bool, ...]
    changes: Changes


def measured(part: Part, changes: Changes) -> Part:
    """Return a part as it stands in the catalogue after a measurement."""
    return with_features(part, changes)


def _with_word(feature: Feature, dimension: str, value: str) -> Feature:
    words = MappingProxyType({**feature.words, dimension: Word(value, Basis.MEASURED)})
    return Feature(feature.presence, feature.lengths, words)


def _around(value: float, half: float) -> Dimension:
    return Dimension(value - half, value + half, Basis.MEASURED)


def open_figures(catalogue: Catalogue, part: Part) -> Iterator[OpenFigure]:
    """Yield the figures of a part that are not known, or known only between wide limits.

    Of a feature that may not be there at all, the look comes first: its sizes follow when it
    is known to be there.
    """
    half = catalogue.vocabulary.half_width.get(Basis.MEASURED, 0.0)
    for name, kind in catalogue.vocabulary.roles[part.role].features.items():
        feature = part.features.get(name, ABSENT)
        if feature.presence is Presence.ABSENT:
            continue
        if feature.presence is Presence.UNKNOWN:
            yield OpenFigure(part, name, None)
            continue
        for dimension in kind.dimensions.values():
            if dimension.worded:
                word = feature.words.get(dimension.name)
                if word is None or not (word.value or "").strip():
                    yield OpenFigure(part, name, dimension.name)
                continue
            size = feature.lengths.get(dimension.name)
            if size is None or not size.known or size.hi - size.lo > 2 * half + SAME_MM:
                yield OpenFigure(part, name, dimension.name)


def _features(catalogue: Catalogue, role: str, name: str) -> list[Feature]:
    found = (p.features.get(name, ABSENT) for p in catalogue.of(role))
    return [f for f in found if f.presence is Presence.PRESENT]


def sizes_seen(catalogue: Catalogue, role: str, feature: str, dimension: str) -> list[float]:
    """Return the middle of every known size that parts of a role have there, in mm."""
    sizes = (f.lengths.get(dimension) for f in _features(catalogue, role, feature))
    return sorted(s.mid for s in sizes if s is not None and s.known)


def words_seen(catalogue: Catalogue, role: str, feature: str, dimension: str) -> list[str]:
    """Return every known word that parts of a role have there, repeated as often as seen."""
    words = (f.words.get(dimension) for f in _features(catalogue, role, feature))
    return [w.value for w in words if w is not None and w.value]


def share_present(catalogue: Catalogue, role: str, feature: str) -> Fraction:
    """Return how likely a part of a role has a feature nobody has looked for."""
    seen = [p.features.get(feature, ABSENT).presence for p in catalogue.of(role)]
    there = seen.count(Presence.PRESENT)
    return Fraction(there + 1, there + seen.count(Presence.ABSENT) + 2)


def _merged(values: Sequence[float]) -> list[tuple[float, int]]:
    """Return sizes that a calliper can tell apart, with how often each was seen."""
    groups: list[list[float]] = []
    for value in sorted(values):
        if groups and value - groups[-1][0] <= SAME_MM:
            groups[-1].append(value)
        else:
            groups.append([value])
    return [(sum(g) / len(g), len(g)) for g in groups]


def _middles(lo: float, hi: float) -> list[float]:
    return [lo + (hi - lo) * (n + 0.5) / PIECES for n in range(PIECES)]


def _partners(catalogue: Catalogue, reference: Reference) -> list[str]:
    """Return the words that joints compare with a word."""
    found: list[str] = []
    for joint in catalogue.vocabulary.joints:
        words = {n: r for n, r in joint.arguments.items() if n in RULES[joint.rule].words}
        if reference not in words.values():
            continue
        for other in words.values():
            if other.feature is None:
                attributes = (getattr(p, other.name) for p in catalogue.of(other.role))
                found.extend(a for a in attributes if a)
            elif other != reference:
                found.extend(words_seen(catalogue, other.role, other.feature, other.name))
    return found


def _of_length(
    catalogue: Catalogue, figure: OpenFigure, kind: DimensionKind
) -> Iterator[Possibility]:
    name, dimension = figure.feature, kind.name
    feature = figure.part.features[name]
    half = catalogue.vocabulary.half_width.get(Basis.MEASURED, 0.0)
    if figure.known:
        limits = feature.lengths[dimension]
        width = min(half, (limits.hi - limits.lo) / 2)
        seen = [(value, 1) for value in _middles(limits.lo + width, limits.hi - width)]
        half = width
    else:
        seen = _merged(sizes_seen(catalogue, figure.part.role, name, dimension))
        if not seen and kind.plausible is not None:
            seen = [(value, 1) for value in _middles(*kind.plausible)]
    total = sum(times for _, times in seen)
    for value, times in seen:
        after = feature.with_length(dimension, _around(value, half))
        yield Possibility(Fraction(times, total), (value,), {name: after})


def _of_word(catalogue: Catalogue, figure: OpenFigure, dimension: str) -> Iterator[Possibility]:
    part, name = figure.part, figure.feature
    seen = words_seen(catalogue, part.role, name, dimension)
    seen = seen or _partners(catalogue, Reference(part.role, name, dimension))
    spelled: dict[str, list[str]] = {}
    for word in seen:
        spelled.setdefault(fold(word), []).append(word)
    for same in spelled.values():
        after = _with_word(part.features[name], dimension, same[0])
        yield Possibility(Fraction(len(same), len(seen)), (same[0],), {name: after})


def possibilities(catalogue: Catalogue, figure: OpenFigure) -> list[Possibility]:
    """Return what measuring a figure may show; the shares add up to 1.

    Parameters
    ----------
    catalogue : Catalogue
        Whose other parts say what such figures are like.
    figure : OpenFigure
        What is measured.

    Returns
    -------
    list of Possibility
        Empty where nothing says what the figure could be.
    """
    part, name = figure.part, figure.feature
    if figure.dimension is None:
        yes = share_present(catalogue, part.role, name)
        before = part.features[name]
        there = Feature(Presence.PRESENT, before.lengths, before.words)
        return [
            Possibility(yes, (True,), {name: there}),
            Possibility(1 - yes, (False,), {name: ABSENT}),
        ]
    kind = catalogue.vocabulary.roles[part.role].features[name].dimensions[figure.dimension]
    if kind.worded:
        return list(_of_word(catalogue, figure, kind.name))
    return list(_of_length(catalogue, figure, kind))


def together(catalogue: Catalogue, figures: Sequence[OpenFigure]) -> list[Possibility]:
    """Return what measuring several unknown figures of one part at once may show.

    Parameters
    ----------
    catalogue : Catalogue
        Each other part of the role that has them all known is one possibility: sizes of one
        part belong together.
    figures : sequence of OpenFigure
        Of one part; what is known between limits is left as it is.

    Returns
    -------
    list of Possibility
        Empty where no other part has them all known.
    """
    unknown = [f for f in figures if not f.known]
    if not unknown:
        return []
    part = unknown[0].part
    half = catalogue.vocabulary.half_width.get(Basis.MEASURED, 0.0)
    found: list[Changes] = []
    for other in catalogue.of(part.role):
        changes: dict[str, Feature] = {}
        for figure in unknown:
            now = changes.get(figure.feature, part.features[figure.feature])
            after = _like(now, other.features.get(figure.feature, ABSENT), figure.dimension, half)
            if after is None:
                break
            changes[figure.feature] = after
        else:
            if other.sku != part.sku:
                found.append(changes)
    return [Possibility(Fraction(1, len(found)), (), changes) for changes in found]


def _like(feature: Feature, theirs: Feature, dimension: str | None, half: float) -> Feature | None:
    """Return a feature with a figure as another part has it; None where that is not known."""
    if theirs.presence is Presence.UNKNOWN:
        return None
    if dimension is None:
        if theirs.presence is Presence.ABSENT:
            return ABSENT
        if any(w.value is None for w in theirs.words.values()):
            return None
        if not all(size.known for size in theirs.lengths.values()):
            return None
        sizes = {name: _around(size.mid, half) for name, size in theirs.lengths.items()}
        return Feature(Presence.PRESENT, MappingProxyType(sizes), theirs.words)
    if theirs.presence is Presence.ABSENT:
        return None
    word = theirs.words.get(dimension)
    if word is not None and word.value:
        return _with_word(feature, dimension, word.value)
    length = theirs.lengths.get(dimension)
    if length is None or not length.known:
        return None
    return feature.with_length(dimension, _around(length.mid, half))
