"""Light, strong, affordable: what each part and each family of materials really trades."""

from __future__ import annotations

from collections.abc import Mapping
from statistics import median

import numpy as np

from fitgraph.catalogue.check import contradictions, weights
from fitgraph.graph.options import length_of, plain, strengths_nm
from fitgraph.mechanics.materials import MATERIALS
from fitgraph.mechanics.tubes import stiffness_nm2
from fitgraph.model import Catalogue
from fitgraph.records import dataclass


@dataclass(frozen=True, slots=True)
class TubeFigures:
    """The figures of one part that trade against each other.

    Parameters
    ----------
    sku, family : str
        Stock number, and family of its material.
    strength_nm : float
        Bending moment that the plain tube bears again and again, in N m: what
        the end of a slot costs is the cut's doing, not the material's.
    stiffness_nm2 : float
        Bending stiffness E I in N m2.
    mass_g : float
        In g.
    price : int
        In minor currency units.
    """

    sku: str
    family: str
    strength_nm: float
    stiffness_nm2: float
    mass_g: float
    price: int


@dataclass(frozen=True, slots=True)
class Corner:
    """What a family of materials reaches of the three.

    Parameters
    ----------
    family : str
        The family.
    parts : int
        How many parts the medians are over.
    strength_nm, stiffness_nm2, mass_g, price : float
        Medians.
    reaches : tuple of str
        In which of light, strong, affordable its median part is not the last
        of the families.
    """

    family: str
    parts: int
    strength_nm: float
    stiffness_nm2: float
    mass_g: float
    price: float
    reaches: tuple[str, ...]


def doubtful(catalogue: Catalogue) -> frozenset[str]:
    """Return the parts whose own figures cannot be true together."""
    row_of = dict.fromkeys(catalogue.parts, 0)
    found = [*contradictions(catalogue, row_of, ""), *weights(catalogue, row_of, "")]
    return frozenset(f.sku for f in found)


def tube_figures(catalogue: Catalogue) -> list[TubeFigures]:
    """Return the figures of every part whose tube is compared and fully known.

    Parts whose own figures cannot be true together are left out.

    Parameters
    ----------
    catalogue : Catalogue
        Its vocabulary names the tube (``[strength]``).
    """
    source = catalogue.vocabulary.strength
    if source is None:
        return []
    odd = doubtful(catalogue)
    options = [plain(p) for p in catalogue.of(source.outside.role) if p.sku not in odd]
    found = []
    strengths = strengths_nm(options, catalogue.vocabulary, slot_end=False)
    for option, strength in zip(options, strengths, strict=True):
        part = option.part
        material = MATERIALS.get((part.material if part else None) or "")
        if part is None or material is None or np.isnan(strength):
            continue
        outside, bore = length_of(option, source.outside), length_of(option, source.bore)
        if not part.price or not part.mass_g or material.modulus_gpa is None:
            continue
        if outside is None or bore is None:
            continue
        stiffness = float(stiffness_nm2(outside.mid, bore.mid, material.modulus_gpa))
        found.append(
            TubeFigures(
                part.sku, material.family, float(strength), stiffness, part.mass_g, part.price
            )
        )
    return found


def triangle(catalogue: Catalogue) -> Mapping[str, Corner]:
    """Return what each family of materials trades, over the parts of a catalogue.

    Parameters
    ----------
    catalogue : Catalogue
        Its parts.

    Returns
    -------
    mapping of str to Corner
        By family, so that what each gives up for what it is good at can be
        read off. Strength compares plain tubes; it is no certificate.
    """
    figures = tube_figures(catalogue)
    if not figures:
        return {}
    names = ("strength_nm", "stiffness_nm2", "mass_g", "price")
    medians = {
        family: {n: median(getattr(f, n) for f in figures if f.family == family) for n in names}
        for family in dict.fromkeys(f.family for f in figures)
    }
    heaviest = max(m["mass_g"] for m in medians.values())
    weakest = min(m["strength_nm"] for m in medians.values())
    dearest = max(m["price"] for m in medians.values())
    corners = {}
    for family, mine in medians.items():
        reaches = [
            word
            for word, last in (
                ("light", mine["mass_g"] == heaviest),
                ("strong", mine["strength_nm"] == weakest),
                ("affordable", mine["price"] == dearest),
            )
            if not last
        ]
        parts = sum(f.family == family for f in figures)
        corners[family] = Corner(family, parts, reaches=tuple(reaches), **mine)
    return corners
