"""Near misses: pairs of parts that fail by less than a stated length, and what would close them."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from fitgraph.graph.chains import adapter_roles
from fitgraph.graph.interfaces import (
    Fits,
    between_two,
    find_interfaces,
    pair_joints,
    pair_of,
)
from fitgraph.graph.joints import judge_pairs
from fitgraph.graph.options import length_of, variants
from fitgraph.mechanics.rules import EPSILON_MM, RULES
from fitgraph.model import Catalogue, Joint, Option, Presence, Reference, Verdict, with_length
from fitgraph.records import dataclass


@dataclass(frozen=True, slots=True)
class NearMiss:
    """Parts that a joint keeps apart by a little.

    Parameters
    ----------
    joint : Joint
        As the vocabulary has it; conditions on further parts are taken to hold.
    ends : tuple of Reference
        The two features.
    options : tuple of Option
        One part of each side.
    parts : tuple of tuple of str
        Stock numbers on each side; every pair of them lacks the same.
    margin_mm : float
        What is lacking at the most favourable sizes [mm], below zero.
    """

    joint: Joint
    ends: tuple[Reference, Reference]
    options: tuple[Option, Option]
    parts: tuple[tuple[str, ...], tuple[str, ...]]
    margin_mm: float


@dataclass(frozen=True, slots=True)
class Closer:
    """What would close a near miss, so that it no longer fails.

    Parameters
    ----------
    kind : {"size", "service", "adapter"}
        Another size, work on one of the two, or a part between them.
    size : Reference or None
        The dimension that would have to change, for a size.
    by_mm : float or None
        By how much at least [mm].
    what : str
        The label of the part after the service, or the adapter's stock number.
    verdict : Verdict
        What the joint then comes to; the worse of both for an adapter.
    """

    kind: str
    size: Reference | None
    by_mm: float | None
    what: str
    verdict: Verdict


def _told(joint: Joint, option: Option) -> bool:
    """Return whether an option's sizes that a joint cannot do without are known.

    What lacks a size fails only whatever the size is; it misses by nothing.
    """
    rule = RULES[joint.rule]
    for name, reference in joint.arguments.items():
        if reference.role != option.role or name in (*rule.optional, *rule.may_lack, *rule.words):
            continue
        size = length_of(option, reference)
        if size is None or not size.known:
            return False
    return True


def near_misses(catalogue: Catalogue, mm: float, fits: Fits | None = None) -> tuple[NearMiss, ...]:
    """Return the pairs of parts that a joint keeps apart by `mm` or less, the nearest first.

    Parameters
    ----------
    catalogue : Catalogue
        Where the parts come from.
    mm : float
        The most that may be lacking [mm].
    fits : Fits, optional
        Interfaces of the catalogue's parts without services, where they are known already.

    Returns
    -------
    tuple of NearMiss
        Parts that offer the same figures are told together, so it is never gone through all
        pairs of parts.
    """
    fits = find_interfaces(catalogue, services=False) if fits is None else fits
    found = []
    for joint in pair_joints(catalogue.vocabulary.joints):
        pair, judged = pair_of(joint), fits.judged.get(joint.name)
        if pair is None or judged is None:
            continue
        near = (judged.verdicts == Verdict.FAILS) & (judged.there != Presence.ABSENT)
        near &= judged.margins >= -mm - EPSILON_MM
        roles = between_two(joint).roles
        axes = [roles.index(r.role) for r in pair]
        members: list[dict[int, list[int]]] = [{}, {}]
        for axis in (0, 1):
            for place, row in enumerate(judged.row_of[axis]):
                members[axis].setdefault(int(row), []).append(place)
        for at in np.argwhere(near):
            sides = [
                [fits.shapes[pair[n].role][k] for k in members[axes[n]].get(int(at[axes[n]]), ())]
                for n in (0, 1)
            ]
            if not all(sides) or not all(_told(joint, side[0].option) for side in sides):
                continue
            found.append(
                NearMiss(
                    joint,
                    pair,
                    (sides[0][0].option, sides[1][0].option),
                    (
                        tuple(p.sku for s in sides[0] for p in s.parts),
                        tuple(p.sku for s in sides[1] for p in s.parts),
                    ),
                    float(judged.margins[tuple(at)]),
                )
            )
    return tuple(sorted(found, key=lambda m: (-m.margin_mm, m.joint.name, m.parts)))


def _shifted(option: Option, size: Reference, by_mm: float) -> Option:
    feature = size.feature or ""
    before = option.features[feature].lengths[size.name]
    return with_length(option, feature, size.name, before.shifted(by_mm))


def _sizes(miss: NearMiss, option: Option) -> Iterator[tuple[Closer, Option]]:
    """Yield a part with one of its sizes changed, for all that could close it, little first."""
    rule = RULES[miss.joint.rule]
    for name, size in miss.joint.arguments.items():
        feature = option.features.get(size.feature or "")
        if name in rule.words or size.role != option.role or feature is None:
            continue
        if feature.presence is Presence.ABSENT or size.name not in feature.lengths:
            continue
        if not feature.lengths[size.name].known:
            continue
        for sign in (1, -1):
            # Most sizes count in full; what a slot closes counts by a share of it.
            for times in (1.0, math.pi, 2 * math.pi):
                by_mm = sign * (-miss.margin_mm * times + EPSILON_MM)
                yield (
                    Closer("size", size, by_mm, "", Verdict.FITS),
                    _shifted(option, size, by_mm),
                )


def _changed(miss: NearMiss, catalogue: Catalogue) -> Iterator[Closer]:
    """Yield the changes of one of the two parts that would close it: sizes, then services."""
    joint = between_two(miss.joint)
    ends = {o.role: o for o in miss.options}
    found: list[Closer] = []
    for option in miss.options:
        tried = list(_sizes(miss, option))
        if option.part is not None:
            for served in variants(option.part, catalogue.vocabulary):
                if served.services:
                    said = Closer("service", None, None, served.label, Verdict.FITS)
                    tried.append((said, served))
        if not tried:
            continue
        sides = [[o for _, o in tried] if r == option.role else [ends[r]] for r in joint.roles]
        table, _, presence = judge_pairs(joint, *sides)
        verdicts, there = table.reshape(-1).tolist(), presence.reshape(-1).tolist()
        seen: set[tuple[Reference, bool]] = set()
        for (closer, _), verdict, held in zip(tried, verdicts, there, strict=True):
            if verdict == Verdict.FAILS or (closer.kind == "service" and held == Presence.ABSENT):
                continue
            if closer.size is not None:
                way = (closer.size, (closer.by_mm or 0.0) > 0)
                if way in seen:
                    continue
                seen.add(way)
            found.append(replace(closer, verdict=Verdict(verdict)))
    yield from sorted(found, key=lambda c: c.kind != "size")


def _adapters(miss: NearMiss, catalogue: Catalogue, fits: Fits) -> Iterator[Closer]:
    joints = pair_joints(catalogue.vocabulary.joints)
    for role in sorted(adapter_roles(catalogue) - {o.role for o in miss.options}):
        options = [s.option for s in fits.shapes[role]]
        if not options:
            continue
        said = []
        for end in miss.options:
            both = {role, end.role}
            best = np.full(len(options), -1, dtype=np.int8)
            worst = np.full(len(options), int(Verdict.FITS), dtype=np.int8)
            for joint in joints:
                if {r.role for r in pair_of(joint) or ()} != both:
                    continue
                bare = between_two(joint)
                sides = [options if r == role else [end] for r in bare.roles]
                verdicts, _, there = (x.reshape(-1) for x in judge_pairs(bare, *sides))
                here = there != Presence.ABSENT
                best = np.where(here, np.maximum(best, verdicts), best)
                worst = np.where(here, np.minimum(worst, verdicts), worst)
            said.append(np.where(best < 0, Verdict.FAILS, worst))
        for n in np.flatnonzero(np.minimum(*said) > Verdict.FAILS):
            for part in fits.shapes[role][int(n)].parts:
                yield Closer("adapter", None, None, part.sku, Verdict(int(min(s[n] for s in said))))


def closers(miss: NearMiss, catalogue: Catalogue, fits: Fits | None = None) -> tuple[Closer, ...]:
    """Return what would close a near miss: another size, a service, an adapter between.

    Parameters
    ----------
    miss : NearMiss
        What is apart.
    catalogue : Catalogue
        Where services and adapters come from.
    fits : Fits, optional
        Interfaces of the catalogue's parts without services, where they are known already.

    Returns
    -------
    tuple of Closer
        None of them says that a whole build exists; ``fitgraph why`` does.
    """
    fits = find_interfaces(catalogue, services=False) if fits is None else fits
    return (*_changed(miss, catalogue), *_adapters(miss, catalogue, fits))
