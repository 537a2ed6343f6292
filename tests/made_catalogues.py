"""Small catalogues with a gap between pins and tubes, and what plain arithmetic says of them.

A pin is fixed in a tube, straight or with a sleeve between them; a lid has to catch the sleeve's
end. Some tubes have a cut of their own, and have to close on pin and sleeve together. The trade
is made up, as are all sizes. :func:`fits_of` judges made sleeves by the inequalities
themselves, without the package's rules, tables or trees.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np
import numpy.typing as npt
from hypothesis import strategies as st

from fitgraph.adapters import Worth, make_part
from fitgraph.adapters.candidates import Candidate, label
from fitgraph.adapters.cells import Cell
from fitgraph.adapters.made import Words
from fitgraph.model import (
    ABSENT,
    Catalogue,
    Condition,
    CostModel,
    Dimension,
    DimensionKind,
    Enquiry,
    Feature,
    FeatureKind,
    Fill,
    FreeSize,
    Joint,
    Make,
    Part,
    Presence,
    Reference,
    Ring,
    Role,
    Vocabulary,
    Word,
)

Bools = npt.NDArray[np.bool_]

#: Windows of the joints and the width of the made sleeve's slot, in mm.
ON_PIN, IN_TUBE, CATCH, SLOT = 0.0, (0.02, 0.3), 0.2, 1.0

#: What a tube has to have left when it has closed, in mm.
RESERVE = 0.02

#: Deviations that the process holds on bore and outside, in mm.
BORE_HELD, OUTSIDE_HELD = (0.0, 0.04), (-0.03, 0.01)

BORE = Reference("sleeve", "bore", "d")
OUTSIDE = Reference("sleeve", "outside", "d")
KEY = Reference("sleeve", "key", "maker")


def _kind(name: str, kind: str, missing: Presence, *dimensions: DimensionKind) -> FeatureKind:
    return FeatureKind(name, kind, missing, MappingProxyType({d.name: d for d in dimensions}))


def _role(name: str, fill: Fill, *features: FeatureKind) -> Role:
    return Role(name, name, fill, MappingProxyType({f.name: f for f in features}))


def _size(hole: bool = False) -> DimensionKind:
    return DimensionKind("d", hole=hole, plausible=(8.0, 16.0))


def _joint(name: str, rule: str, limits: dict[str, float], *when: Condition, **of: str) -> Joint:
    arguments = {}
    for argument, path in of.items():
        role, feature, dimension = (*path.split("."), "")[:3]
        arguments[argument] = (
            Reference(role, feature, dimension) if dimension else Reference(role, None, feature)
        )
    return Joint(name, name, rule, MappingProxyType(arguments), MappingProxyType(limits), when)


def vocabulary(least_wall: float = 0.5, wordless: bool = False) -> Vocabulary:
    """Return the words of the made-up trade."""
    roles = [
        _role("pin", Fill.ALWAYS, _kind("post", "spigot", Presence.PRESENT, _size())),
        _role(
            "tube",
            Fill.ALWAYS,
            _kind("hole", "bore", Presence.PRESENT, _size(True)),
            _kind("cut", "slot", Presence.ABSENT, DimensionKind("w", hole=True)),
        ),
        _role("lid", Fill.ALWAYS, _kind("edge", "spigot", Presence.PRESENT, _size())),
        _role(
            "sleeve",
            Fill.ADAPTER,
            _kind("bore", "bore", Presence.PRESENT, _size(True)),
            _kind("outside", "spigot", Presence.PRESENT, _size()),
            _kind("cut", "slot", Presence.PRESENT, DimensionKind("w", hole=True)),
            _kind("key", "key", Presence.ABSENT, DimensionKind("maker", worded=True)),
        ),
    ]
    with_sleeve, without = Condition("sleeve", None), Condition("sleeve", None, False)
    joints = (
        _joint(
            "sleeve-on-pin",
            "closes-by-slot",
            {"least": ON_PIN},
            bore="sleeve.bore.d",
            spigot="pin.post.d",
            slot="sleeve.cut.w",
        ),
        _joint(
            "sleeve-in-tube",
            "clearance",
            {"least": IN_TUBE[0], "most": IN_TUBE[1]},
            bore="tube.hole.d",
            spigot="sleeve.outside.d",
        ),
        _joint(
            "pin-in-tube",
            "clearance",
            {"least": IN_TUBE[0], "most": IN_TUBE[1]},
            without,
            bore="tube.hole.d",
            spigot="pin.post.d",
        ),
        _joint(
            "lid-catches",
            "at-least",
            {"least": CATCH},
            with_sleeve,
            whole="lid.edge.d",
            part="sleeve.bore.d",
        ),
        _joint("made-for", "key", {}, key="sleeve.key.maker", lock="pin.maker"),
        Joint(
            "tube-closing",
            "tube-closing",
            "nest",
            limits=MappingProxyType({"reserve": RESERVE}),
            when=(Condition("tube", "cut"), with_sleeve),
            rings=(
                Ring(None, Reference("pin", "post", "d")),
                Ring(BORE, OUTSIDE, Reference("sleeve", "cut", "w")),
                Ring(Reference("tube", "hole", "d"), None, Reference("tube", "cut", "w")),
            ),
        ),
    )
    make = Make(
        name="sleeve",
        title="sleeve, turned",
        role="sleeve",
        free=(FreeSize(BORE, "", *BORE_HELD), FreeSize(OUTSIDE, "", *OUTSIDE_HELD)),
        words=(KEY,),
        wordless=wordless,
        fixed=MappingProxyType({"cut": (MappingProxyType({"w": Dimension(SLOT, SLOT)}), {})}),
        outside=OUTSIDE,
        bore=BORE,
        slot=Reference("sleeve", "cut", "w"),
        length=20.0,
        least_wall=least_wall,
        step=0.05,
        material="aluminium-6061-t6",
        process="turned",
        price=300,
        cost=CostModel(900, 6000, 2.0, 20000.0, 60.0, 50, 2.0),
    )
    return Vocabulary(
        "pins",
        "EUR",
        2,
        MappingProxyType({}),
        MappingProxyType({r.name: r for r in roles}),
        joints,
        makes=MappingProxyType({"sleeve": make}),
    )


def part(
    role: str,
    number: int,
    feature: str,
    size: Dimension,
    maker: str = "",
    price: int = 100,
    mass_g: float | None = 10.0,
    stock: int = 1,
    cut: float | None = None,
) -> Part:
    """Return a part with one size, and perhaps a cut."""
    features = {feature: Feature(lengths=MappingProxyType({"d": size}))}
    if cut is not None:
        features["cut"] = Feature(lengths=MappingProxyType({"w": Dimension(cut, cut)}))
    return Part(
        f"{role[0].upper()}{number}",
        role,
        maker=maker,
        price=price,
        mass_g=mass_g,
        stock=stock,
        features=MappingProxyType(features),
    )


def sleeve(number: int, bore: float, outside: float, maker: str | None, stock: int = 1) -> Part:
    """Return a sleeve that exists."""
    key = ABSENT if maker is None else Feature(words=MappingProxyType({"maker": Word(maker)}))
    return Part(
        f"S{number}",
        "sleeve",
        price=250,
        mass_g=5.0,
        stock=stock,
        features=MappingProxyType(
            {
                "bore": Feature(lengths={"d": Dimension(bore, bore + 0.04)}),
                "outside": Feature(lengths={"d": Dimension(outside - 0.03, outside)}),
                "cut": Feature(lengths={"w": Dimension(SLOT, SLOT)}),
                "key": key,
            }
        ),
    )


def catalogue_of(
    parts: Sequence[Part], enquiries: Sequence[Enquiry] = (), *, words: Vocabulary | None = None
) -> Catalogue:
    """Return a catalogue of some parts."""
    words = vocabulary() if words is None else words
    return Catalogue(
        words,
        MappingProxyType({p.sku: p for p in parts}),
        tuple(enquiries),
        "trial",
        MappingProxyType({r: tuple(p for p in parts if p.role == r) for r in words.roles}),
    )


@st.composite
def sizes(draw: st.DrawFn) -> Dimension:
    """Draw a size from 9 to 15 mm with limits."""
    low = draw(st.integers(180, 300)) / 20
    return Dimension(low, round(low + draw(st.sampled_from([0.0, 0.05, 0.1, 0.15])), 6))


@st.composite
def catalogues(draw: st.DrawFn) -> Catalogue:
    """Draw a few pins, tubes, lids and sleeves, and enquiries for them."""
    makers = ("Ash", "Beech")
    parts = [
        *(
            part("pin", n, "post", draw(sizes()), draw(st.sampled_from(makers)))
            for n in range(draw(st.integers(1, 4)))
        ),
        *(
            part(
                "tube",
                n,
                "hole",
                draw(sizes()),
                price=draw(st.sampled_from([100, 400])),
                mass_g=draw(st.sampled_from([10.0, 30.0, None])),
                stock=draw(st.sampled_from([1, 1, 0])),
                cut=draw(st.sampled_from([None, 0.8, 1.2, 1.6])),
            )
            for n in range(draw(st.integers(1, 4)))
        ),
        *(
            part("lid", n, "edge", draw(sizes()), price=draw(st.sampled_from([50, 90])))
            for n in range(draw(st.integers(1, 2)))
        ),
    ]
    for n in range(draw(st.integers(0, 2))):
        bore = draw(st.integers(180, 260)) / 20
        outside = bore + draw(st.sampled_from([1.0, 2.0]))
        parts.append(sleeve(n, bore, outside, draw(st.sampled_from([*makers, None]))))
    skus = [p.sku for p in parts]
    enquiries = [
        Enquiry(
            f"E{n}",
            have=tuple(draw(st.lists(st.sampled_from(skus), max_size=3, unique=True))),
            budget=draw(st.sampled_from([None, 300, 450, 700])),
            max_mass_g=draw(st.sampled_from([None, None, 40.0, 60.0])),
            weight=float(draw(st.integers(1, 3))),
        )
        for n in range(draw(st.integers(1, 5)))
    ]
    words = vocabulary(draw(st.sampled_from([0.0, 0.5, 1.2])), draw(st.booleans()))
    return catalogue_of(parts, enquiries, words=words)


@dataclass(frozen=True, slots=True)
class Grid:
    """Made sleeves on a fine grid, and which combinations of pin, tube and lid each joins."""

    bore: npt.NDArray[np.float64]
    outside: npt.NDArray[np.float64]
    maker: npt.NDArray[np.object_]
    fits: Bools


def fits_of(
    catalogue: Catalogue,
    bore: npt.NDArray[np.float64],
    outside: npt.NDArray[np.float64],
    maker: npt.NDArray[np.object_],
) -> Bools:
    """Return which combinations of pin, tube and lid each made sleeve certainly joins."""
    low_b, high_b = bore + BORE_HELD[0], bore + BORE_HELD[1]
    low_o, high_o = outside + OUTSIDE_HELD[0], outside + OUTSIDE_HELD[1]
    eps = 1e-9
    found = []
    for pin, tube, lid in itertools.product(*(catalogue.of(r) for r in ("pin", "tube", "lid"))):
        post, hole, edge = (
            p.features[f].lengths["d"] for p, f in ((pin, "post"), (tube, "hole"), (lid, "edge"))
        )
        goes = (low_b - post.hi >= ON_PIN - eps) & (high_b - post.lo <= SLOT / math.pi + eps)
        goes &= (hole.lo - high_o >= IN_TUBE[0] - eps) & (hole.hi - low_o <= IN_TUBE[1] + eps)
        goes &= edge.lo - high_b >= CATCH - eps
        cut = tube.features.get("cut")
        if cut is not None:  # the tube takes up its own clearance and the sleeve's
            loose = (hole.hi - low_o) + (high_b - post.lo)
            goes &= loose + RESERVE <= cut.lengths["w"].lo / math.pi + eps
        goes &= np.array([m is None or m == pin.maker for m in maker])
        found.append(goes)
    return np.array(found).T.reshape(len(bore), -1)


def fine_grid(catalogue: Catalogue, step: float = 0.05) -> Grid:
    """Return every sleeve of a fine grid that leaves the wall.

    The tubes' holes are of whole twentieths as well, so that the widest outside that slides into
    one of them is on the grid.
    """
    make = catalogue.vocabulary.makes["sleeve"]
    ladder = np.round(np.arange(8.0, 16.0 + step / 2, step), 6)
    shifted = np.round(ladder[:-1] + step - IN_TUBE[0] - OUTSIDE_HELD[1], 6)
    makers: list[str | None] = sorted({p.maker for p in catalogue.of("pin")})
    if make.wordless:
        makers = [*makers, None]
    bore, outside, which = (
        x.ravel() for x in np.meshgrid(ladder, shifted, np.arange(len(makers)), indexing="ij")
    )
    wall = (outside + OUTSIDE_HELD[0] - bore - BORE_HELD[1]) / 2 >= make.least_wall - 1e-9
    maker = np.array(makers, dtype=object)[which[wall].astype(int)]
    return Grid(
        bore[wall], outside[wall], maker, fits_of(catalogue, bore[wall], outside[wall], maker)
    )


def thinned(catalogue: Catalogue, most: int = 8) -> Catalogue:
    """Return a catalogue with so many parts a role at most, and no enquiries."""
    by_role = {role: parts[:most] for role, parts in catalogue.by_role.items()}
    parts = {part.sku: part for of in by_role.values() for part in of}
    return replace(catalogue, enquiries=(), by_role=by_role, parts=parts)


def unweighed(catalogue: Catalogue, name: str, *sizes: float, word: str | None = None) -> Worth:
    """Return a part that a make makes at these sizes, as a drawing needs it.

    What it is worth is left at nothing: no figure of a drawing depends on it, and to weigh all
    that could be made takes seconds.
    """
    make = catalogue.vocabulary.makes[name]
    at = dict(zip((f.size for f in make.free), sizes, strict=True))
    words: Words = dict.fromkeys(make.words, word)
    part = make_part(make, catalogue.vocabulary, label(make, at, words), at, words)
    cells = {r: Cell(mm, mm, True, True, True, True, 0.0, 0.0, (mm, mm)) for r, mm in at.items()}
    return Worth(Candidate(make, at, cells, words, part), 0, 0, 0.0, 0.0, 0.0, (), 0)
