"""Catalogues of any size, made from the demo's shapes, seeded."""

from __future__ import annotations

from dataclasses import replace
from types import MappingProxyType

import numpy as np

from fitgraph.catalogue import demo_folder, load
from fitgraph.model import Catalogue, Feature, Part

#: Roles in the order in which a smaller catalogue keeps them.
ROLES = (
    "fork",
    "bar",
    "clamp",
    "kit",
    "headset",
    "deck",
    "sleeve",
    "grips",
    "wheels",
    "axles",
    "bearings",
    "insert",
    "liner",
    "plugs",
    "brake",
    "pegs",
)


def scaled(parts_a_role: int, roles: int = 12, *, seed: int = 1, shapes: int = 40) -> Catalogue:
    """Return a catalogue with so many parts in each of so many roles.

    Parameters
    ----------
    parts_a_role : int
        Parts in each role.
    roles : int
        How many of :data:`ROLES`.
    seed : int
        For prices, masses and the choice of shapes.
    shapes : int
        At most so many of the demo's parts of a role lend their features, so
        that the number of classes stays fixed while parts grow.
    """
    demo = load(demo_folder()).catalogue
    kept = ROLES[:roles]
    vocabulary = replace(
        demo.vocabulary,
        roles=MappingProxyType({r: demo.vocabulary.roles[r] for r in kept}),
        joints=tuple(j for j in demo.vocabulary.joints if set(j.roles) <= set(kept)),
        makes=MappingProxyType({n: m for n, m in demo.vocabulary.makes.items() if m.role in kept}),
        services=MappingProxyType(
            {n: s for n, s in demo.vocabulary.services.items() if s.role in kept}
        ),
    )
    rng = np.random.default_rng(seed)
    parts: dict[str, Part] = {}
    by_role: dict[str, tuple[Part, ...]] = {}
    for role in kept:
        models = [p for p in demo.of(role) if p.price and p.mass_g][:shapes]
        made = []
        for n in range(parts_a_role):
            model = (
                models[n % len(models)] if n < len(models) else models[rng.integers(len(models))]
            )
            part = replace(
                model,
                sku=f"{role.upper()}-{n:05d}",
                price=int(round((model.price or 0) * rng.uniform(0.7, 1.4), -1)),
                mass_g=float(round((model.mass_g or 0) * rng.uniform(0.85, 1.15))),
                stock=int(rng.integers(0, 4)),
            )
            made.append(part)
            parts[part.sku] = part
        by_role[role] = tuple(made)
    return Catalogue(
        vocabulary,
        MappingProxyType(parts),
        (),
        f"{parts_a_role} x {roles}",
        MappingProxyType(by_role),
    )


def measured(catalogue: Catalogue, *, seed: int = 3, by_mm: float = 0.05) -> Catalogue:
    """Return a catalogue of which no two parts are alike, as a shop finds that measures.

    Parameters
    ----------
    catalogue : Catalogue
        Every known dimension of every part is shifted by its own draw.
    seed : int
        For the draws.
    by_mm : float
        Uniform within plus and minus so much.
    """
    rng = np.random.default_rng(seed)

    def shifted(feature: Feature) -> Feature:
        lengths = {
            name: d.shifted(float(rng.uniform(-by_mm, by_mm))) if d.known else d
            for name, d in feature.lengths.items()
        }
        return replace(feature, lengths=MappingProxyType(lengths))

    by_role = {
        role: tuple(
            replace(
                part,
                features=MappingProxyType({n: shifted(f) for n, f in part.features.items()}),
            )
            for part in parts
        )
        for role, parts in catalogue.by_role.items()
    }
    parts = {p.sku: p for of_role in by_role.values() for p in of_role}
    return replace(catalogue, parts=MappingProxyType(parts), by_role=MappingProxyType(by_role))
