"""Interfaces: features that no joint can tell apart, and the joints between them.

A catalogue of thousands of parts has thousands of bores but only dozens of interfaces, for a
joint asks little of a bore: which spigots go with it. Two parts' features are one interface
where every joint on that feature says the same of them with every counterpart there is.

Joints between two parts' features become links between interfaces. A condition on a further
part ("not with a sleeve") is taken to hold there, and named. What touches more parts than two,
or asks only whether something is there, is no link: see :func:`hyper_joints`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from fitgraph.array_types import Floats, Ints
from fitgraph.graph.classes import distinct_rows
from fitgraph.graph.columns import WordCodes, columns_of
from fitgraph.graph.joints import Judged, asked, judge_rows
from fitgraph.graph.shapes import Shape, shapes_by_role
from fitgraph.mechanics.rules import RULES
from fitgraph.model import Catalogue, Joint, Part, Presence, Reference, Verdict
from fitgraph.records import dataclass


@dataclass(frozen=True, slots=True)
class Interface:
    """A feature of some shapes that no joint can tell apart.

    Parameters
    ----------
    name : str
        Unique: role, feature and sizes.
    role, feature : str
        What it is.
    sizes : mapping of Reference to tuple of float
        For each known length that its joints look at, least and most over all its shapes [mm].
    words : mapping of Reference to tuple of str
        The same for what is compared.
    shapes : tuple of int
        Places of its shapes among those of the role.
    """

    name: str
    role: str
    feature: str
    sizes: Mapping[Reference, tuple[float, float]]
    words: Mapping[Reference, tuple[str, ...]]
    shapes: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Link:
    """What a joint says of two interfaces.

    Parameters
    ----------
    joint : Joint
        As the vocabulary has it.
    ends : tuple of int
        Places of the two interfaces, in the order of the joint's arguments.
    verdict : Verdict
        The same for every pair of their shapes.
    least_mm, most_mm : float or None
        The smallest and the largest margin of a pair [mm]; None where it is no length.
    """

    joint: Joint
    ends: tuple[int, int]
    verdict: Verdict
    least_mm: float | None
    most_mm: float | None


@dataclass(frozen=True, slots=True)
class Fits:
    """Parts as shapes, their interfaces, and the links between these.

    Parameters
    ----------
    catalogue : Catalogue
        Where the words come from.
    shapes : mapping of str to sequence of Shape
        By role.
    interfaces : tuple of Interface
        In the order of the vocabulary, the smallest sizes first.
    links : tuple of Link
        Those that do not fail, and those that fail narrowly as far as asked for.
    judged : mapping of str to Judged
        Each joint between two parts over the shapes, by name.
    """

    catalogue: Catalogue
    shapes: Mapping[str, Sequence[Shape]]
    interfaces: tuple[Interface, ...]
    links: tuple[Link, ...]
    judged: Mapping[str, Judged]

    def held(self) -> dict[tuple[str, int], list[int]]:
        """Return the interfaces of each shape, by role and place."""
        found: dict[tuple[str, int], list[int]] = {}
        for n, interface in enumerate(self.interfaces):
            for place in interface.shapes:
                found.setdefault((interface.role, place), []).append(n)
        return found


def pair_of(joint: Joint) -> tuple[Reference, Reference] | None:
    """Return the two features of different roles that a joint brings together.

    None where it compares features of more roles than two, or of one, or none at all. Of
    each role the first argument counts that the joint cannot do without.
    """
    rule = RULES[joint.rule]
    if rule.sums or not joint.arguments:
        return None
    roles = list(dict.fromkeys(r.role for r in joint.arguments.values()))
    if len(roles) != 2:
        return None
    ends = []
    for role in roles:
        own = {n: r for n, r in joint.arguments.items() if r.role == role}
        needed = [r for n, r in own.items() if n not in (*rule.optional, *rule.may_lack)]
        ends.append((needed or list(own.values()))[0])
    return ends[0], ends[1]


def feature_of(reference: Reference) -> str:
    """Return the feature that a reference is about: an attribute of the part is its own."""
    return reference.feature or reference.name


def between_two(joint: Joint) -> Joint:
    """Return a joint of two parts' features without its conditions on further parts."""
    pair = pair_of(joint)
    roles = {r.role for r in pair or ()}
    return replace(joint, when=tuple(c for c in joint.when if c.role in roles))


def pair_joints(joints: Iterable[Joint]) -> list[Joint]:
    """Return the joints that decide a combination and bring two features together."""
    return [j for j in asked(joints, tidy=False) if pair_of(j) is not None]


def hyper_joints(joints: Iterable[Joint]) -> list[Joint]:
    """Return the joints that decide a combination and are no link between two features."""
    return [j for j in asked(joints, tidy=False) if pair_of(j) is None]


def _merged(judged: Judged, axis: int) -> Ints:
    """Return the class of each option of one role that a joint cannot tell apart; -1 without it."""
    size = judged.verdicts.shape[axis]
    said = np.moveaxis(judged.verdicts, axis, 0).reshape(size, -1)
    there = np.moveaxis(judged.there, axis, 0).reshape(size, -1)
    _, class_of = distinct_rows(np.concatenate([said, there], axis=1))
    class_of = np.where(judged.holds[axis] == Presence.ABSENT, -1, class_of)
    found: Ints = class_of[judged.row_of[axis]]
    return found


def _hull(
    shapes: Sequence[Shape], references: Iterable[Reference]
) -> tuple[dict[Reference, tuple[float, float]], dict[Reference, tuple[str, ...]]]:
    """Return the least and the most of each length, and the words that there are."""
    sizes: dict[Reference, tuple[float, float]] = {}
    words: dict[Reference, dict[str, None]] = {}
    for shape in shapes:
        option = shape.option
        for reference in references:
            if reference.feature is None:
                if value := getattr(option.part, reference.name):
                    words.setdefault(reference, {}).setdefault(str(value))
                continue
            feature = option.features.get(reference.feature)
            if feature is None or feature.presence is Presence.ABSENT:
                continue
            size, word = feature.lengths.get(reference.name), feature.words.get(reference.name)
            if size is not None and size.known:
                lo, hi = sizes.get(reference, (size.lo, size.hi))
                sizes[reference] = (min(lo, size.lo), max(hi, size.hi))
            if word is not None and word.value:
                words.setdefault(reference, {}).setdefault(word.value)
    return sizes, {r: tuple(ws) for r, ws in words.items()}


def size_text(sizes: Iterable[tuple[float, float]], words: Iterable[Sequence[str]]) -> str:
    """Return sizes and words in short, "?" where nothing is known."""
    pieces = [f"{lo:.6g}" if lo == hi else f"{lo:.6g}..{hi:.6g}" for lo, hi in sizes]
    pieces += [" or ".join(ws) for ws in words]
    return ", ".join(pieces) or "?"


def _interfaces(
    role: str,
    feature: str,
    shapes: Sequence[Shape],
    columns: Sequence[Ints],
    references: Sequence[Reference],
) -> list[Interface]:
    """Return the interfaces of a role's feature: shapes alike in every column."""
    there = np.column_stack(columns)
    groups: dict[bytes, list[int]] = {}
    for place in np.flatnonzero((there >= 0).any(axis=1)):
        groups.setdefault(there[place].tobytes(), []).append(int(place))
    found: list[Interface] = []
    for group in groups.values():
        sizes, words = _hull([shapes[k] for k in group], references)
        own = [r for r in references if feature_of(r) == feature]
        text = size_text(
            [sizes[r] for r in own if r in sizes], [words[r] for r in own if r in words]
        )
        found.append(
            Interface(f"{role}.{feature}/{text}", role, feature, sizes, words, tuple(group))
        )
    found.sort(key=lambda i: (not i.sizes, list(i.sizes.values()), list(i.words.values())))
    seen: dict[str, int] = {}
    for n, interface in enumerate(found):
        seen[interface.name] = seen.get(interface.name, 0) + 1
        if seen[interface.name] > 1:
            found[n] = replace(interface, name=f"{interface.name} #{seen[interface.name]}")
    return found


def _spread(
    judged: Judged, at: Mapping[int, int], ends: tuple[Sequence[Interface], Sequence[Interface]]
) -> tuple[npt.NDArray[np.int8], npt.NDArray[np.int8], Floats, Floats]:
    """Return verdicts, presence and the least and most margin over pairs of interfaces."""
    pairs = []
    for side, interfaces in enumerate(ends):
        rows = judged.row_of[at[side]]
        pairs.append(
            np.array(
                sorted({(int(rows[p]), n) for n, i in enumerate(interfaces) for p in i.shapes}),
                dtype=np.intp,
            ).reshape(-1, 2)
        )
    table = [
        np.moveaxis(x, [at[0], at[1]], [0, 1])[np.ix_(pairs[0][:, 0], pairs[1][:, 0])]
        for x in (judged.verdicts, judged.there, judged.margins)
    ]
    shape = (len(ends[0]), len(ends[1]))
    where = (pairs[0][:, 1][:, None], pairs[1][:, 1][None, :])
    verdicts, there = np.full(shape, Verdict.FITS, np.int8), np.full(shape, 2, np.int8)
    least, most = np.full(shape, np.nan), np.full(shape, np.nan)
    np.minimum.at(verdicts, where, table[0])
    np.minimum.at(there, where, table[1])
    np.fmin.at(least, where, table[2])
    np.fmax.at(most, where, table[2])
    return verdicts, there, least, most


def _number(value: float) -> float | None:
    # To a millionth of a micrometre: what differences of decimals leave behind is no margin.
    return None if np.isnan(value) else round(float(value), 9) + 0.0


def find_interfaces(
    catalogue: Catalogue,
    parts: Iterable[Part] | None = None,
    *,
    services: bool = True,
    misses_mm: float = 0.0,
    joints: Iterable[str] | None = None,
) -> Fits:
    """Return the interfaces of a catalogue and the links between them.

    Parameters
    ----------
    catalogue : Catalogue
        Gives the vocabulary, and the parts where none are named.
    parts : iterable of Part, optional
        The parts to look at.
    services : bool
        Whether what the workshop can make of them counts as well.
    misses_mm : float
        Links that fail are given as well where the most favourable pair lacks no more than
        this [mm].
    joints : iterable of str, optional
        Names of the joints that count, such as those on diameters alone; all by default.

    Returns
    -------
    Fits
        Found in time linear in the parts; joints are judged over distinct figures.
    """
    vocabulary = catalogue.vocabulary
    chosen = catalogue.parts.values() if parts is None else parts
    shapes = shapes_by_role(chosen, vocabulary, services=services)
    options = {role: [s.option for s in of_role] for role, of_role in shapes.items()}
    columns = columns_of(options, WordCodes())
    judged: dict[str, Judged] = {}
    bare: dict[str, Joint] = {}
    looked: dict[tuple[str, str], list[tuple[Ints, list[Reference]]]] = {}
    wanted_names = None if joints is None else frozenset(joints)
    counted = [
        j for j in pair_joints(vocabulary.joints) if wanted_names is None or j.name in wanted_names
    ]
    for joint in counted:
        pair = pair_of(joint)
        if pair is None or not all(options[r.role] for r in pair):
            continue
        bare[joint.name] = alone = between_two(joint)
        judged[joint.name] = judge_rows(alone, columns)
        for end in pair:
            own = [r for r in joint.arguments.values() if r.role == end.role]
            axis = alone.roles.index(end.role)
            looked.setdefault((end.role, feature_of(end)), []).append(
                (_merged(judged[joint.name], axis), own)
            )
    interfaces: list[Interface] = []
    span: dict[tuple[str, str], slice] = {}
    for role in vocabulary.roles:
        for (of, feature), seen in looked.items():
            if of == role:
                references = list(dict.fromkeys(r for _, own in seen for r in own))
                made = _interfaces(role, feature, shapes[role], [c for c, _ in seen], references)
                span[(role, feature)] = slice(len(interfaces), len(interfaces) + len(made))
                interfaces += made
    links: list[Link] = []
    for joint in counted:
        pair = pair_of(joint)
        if pair is None or joint.name not in judged:
            continue
        at = {n: bare[joint.name].roles.index(r.role) for n, r in enumerate(pair)}
        spans = [span[(r.role, feature_of(r))] for r in pair]
        ends = (interfaces[spans[0]], interfaces[spans[1]])
        verdicts, there, least, most = _spread(judged[joint.name], at, ends)
        # What lacks a size fails only whatever the size is; it misses by nothing.
        told = [
            np.array([r in i.sizes for i in side], dtype=bool)
            for r, side in zip(pair, ends, strict=True)
        ]
        near = (most >= -misses_mm) & told[0][:, None] & told[1][None, :]
        wanted = (verdicts != Verdict.FAILS) | near
        for i, j in np.argwhere(wanted & (there != Presence.ABSENT)):
            links.append(
                Link(
                    joint,
                    (spans[0].start + int(i), spans[1].start + int(j)),
                    Verdict(int(verdicts[i, j])),
                    _number(least[i, j]),
                    _number(most[i, j]),
                )
            )
    return Fits(catalogue, shapes, tuple(interfaces), tuple(links), judged)
