"""Write the demo catalogue: parts, features, stock and enquiries of an invented shop.

Run ``python tests/make_demo.py [FOLDER]``. The same seeds give the same bytes, so the
tables in ``data/demo`` can be checked against this file. Makers, models, prices, stock and
riders are invented. Sizes follow common practice of the trade (no source) unless a comment
names a standard; ``data/demo/README.md`` tells the scenario in words.
"""

from __future__ import annotations

import csv
import datetime
import math
import random
import sys
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

FOLDER = Path(__file__).resolve().parent.parent / "data" / "demo"

MAKERS = {
    "SKE": "Skerrowby",
    "VEN": "Vendlemoor",
    "OST": "Ostrathby",
    "TAR": "Tarnholt",
    "OXE": "Oxenfirth",
    "PEL": "Pellanwick",
    "CUL": "Culverdane",
    "MAR": "Marrowick",
    "BRA": "Brackenvoe",
    "QUA": "Quarrelby",
    "ELL": "Ellerskaw",
    "WYN": "Wyndlethorpe",
}
CODES = {
    "deck": "DECK",
    "fork": "FORK",
    "headset": "HSET",
    "kit": "KIT",
    "clamp": "CLMP",
    "bar": "BAR",
    "sleeve": "SLV",
    "liner": "LIN",
    "insert": "INS",
    "grips": "GRIP",
    "plugs": "PLUG",
    "wheels": "WHL",
    "bearings": "BRG",
    "axles": "AXL",
    "brake": "BRK",
    "pegs": "PEG",
}
# kg/m3, for the masses of bars; the same figures as the materials table of the package.
DENSITY = {
    "steel-4130": 7850,
    "steel-mild": 7870,
    "steel": 7850,
    "aluminium-6061-t6": 2700,
    "aluminium-7005-t6": 2780,
    "aluminium-7075-t6": 2810,
    "aluminium": 2700,
    "titanium-3al-2.5v": 4480,
    "titanium-6al-4v": 4430,
    "titanium": 4480,
}
INCHES = {25.4: '1"', 28.6: '1 1/8"', 31.8: '1 1/4"', 34.9: '1 3/8"'}
MM_PER_INCH = {'1"': 25.4, '1 1/8"': 28.575, '1 1/4"': 31.75, '1 3/8"': 34.925}

# A third of the parts is poorly documented, and those lack most of their figures: about one
# dimension in ten is unknown.
POORLY = 0.34
LACKING = 0.62
# A bare nominal figure has wide limits, so that only a share of its pairs fits for certain.
BARE = 0.05
TWO_SOURCES = 0.04

Window = tuple[float, float]


def spigot(nominal: float) -> Window:
    """Return the limits within which makers hold an outside that goes into something."""
    return (nominal - 0.10, nominal)


def bore(nominal: float) -> Window:
    """Return the limits within which makers hold a bore that goes over something."""
    return (nominal, nominal + 0.20)


def about(nominal: float, half: float = 0.5) -> Window:
    """Return a window around a size that mates with nothing closely."""
    return (nominal - half, nominal + half)


@dataclass
class Made:
    """A part as made, with what the enquiries want to know about it."""

    sku: str
    role: str
    maker: str
    documented: bool
    tags: dict[str, Any] = field(default_factory=dict)


class Shelf:
    """Collects the rows of all tables."""

    def __init__(self, seed: int) -> None:
        self.seed = seed
        self.rng = random.Random(seed)
        self.parts: list[tuple[str, ...]] = []
        self.features: list[tuple[str, ...]] = []
        self.made: list[Made] = []
        self.forced: dict[str, int] = {}
        self.count: dict[tuple[str, str], int] = {}

    def of(self, role: str, **tags: Any) -> list[Made]:
        """Return the parts of a role whose tags have these values."""
        return [
            m
            for m in self.made
            if m.role == role and all(m.tags.get(k) == v for k, v in tags.items())
        ]

    def add(
        self,
        role: str,
        maker: str,
        name: str,
        price: float | None,
        mass: float | None,
        material: str = "",
        note: str = "",
        *,
        keep: bool = False,
        stock: int | None = None,
        **tags: Any,
    ) -> Made:
        """Add a part; `keep` keeps every figure known, `stock` fixes the pieces held."""
        place = self.count[role, maker] = self.count.get((role, maker), 0) + 1
        sku = f"{CODES[role]}-{maker}-{place:02d}"
        # Each part draws for itself, so that a change to one leaves the others alone.
        self.rng = random.Random(f"{self.seed} {sku}")
        documented = keep or self.rng.random() >= POORLY
        weighed = mass is not None and (documented or self.rng.random() >= LACKING)
        if mass is None or not weighed:
            shown = ""
        elif mass >= 1000 and self.rng.random() < 0.3:
            shown = f"{mass / 1000:.2f} kg"
        else:
            shown = f"{mass:.0f} g"
        cost = "" if price is None else f"{price:.2f}"
        full = f"{MAKERS[maker]} {name}"
        self.parts.append((sku, role, full, MAKERS[maker], cost, shown, material, note))
        made = Made(sku, role, MAKERS[maker], documented, {"keep": keep, **tags})
        self.made.append(made)
        if stock is not None:
            self.forced[sku] = stock
        return made

    def row(
        self,
        part: Made,
        feature: str,
        dimension: str,
        value: str,
        basis: str = "",
        note: str = "",
    ) -> None:
        """Add one row as it stands."""
        self.features.append((part.sku, feature, dimension, value, basis, note))

    def has(self, part: Made, feature: str, answer: str, note: str = "") -> None:
        """State only whether a feature is there."""
        self.row(part, feature, "", answer, "", note)

    def word(self, part: Made, feature: str, dimension: str, value: str) -> None:
        """Add a worded value, or a question mark in a poorly documented part."""
        if not part.documented and self.rng.random() < LACKING / 2:
            value = "?"
        self.row(part, feature, dimension, value, "maker" if value != "?" else "")

    def size(
        self,
        part: Made,
        feature: str,
        dimension: str,
        window: Window,
        nominal: float,
        *,
        hole: bool = False,
        close: bool = True,
        optional: bool = False,
        sure: bool = False,
    ) -> None:
        """Add a length whose limits lie in `window`, in one of the ways people type it.

        `close` says that the size mates with another, `optional` that a part without any
        row for the feature counts as not having it, so that the unknown has to be said.
        `sure` sizes are marked on the part, so they are known even where little else is.
        """
        rng = self.rng
        if not part.documented and not sure and rng.random() < LACKING:
            if optional or rng.random() < 0.5:
                self.row(part, feature, dimension, "?")
            return
        if close and not part.tags["keep"] and rng.random() < BARE:
            self.row(part, feature, dimension, f"{nominal:g}", rng.choice(("nominal", "")))
            return
        value, basis, limits = typed(rng, window, nominal, hole)
        self.row(part, feature, dimension, value, basis)
        if close and rng.random() < TWO_SOURCES and basis != "measured":
            middle = round(sum(limits) / 2, 2)
            if limits[0] <= middle - 0.03 and middle + 0.03 <= limits[1]:
                self.row(part, feature, dimension, f"{middle:.2f}", "measured", "checked here")

    def length(
        self,
        part: Made,
        feature: str,
        dimension: str,
        nominal: float,
        half: float = 0.5,
        *,
        sure: bool = False,
    ) -> None:
        """Add a figure along the axis, or a question mark.

        It draws from numbers of its own, so that the figures around it stay as they are.
        """
        rng = random.Random(f"{self.seed} {part.sku} {feature} {dimension}")
        if not part.documented and not sure and rng.random() < LACKING:
            self.row(part, feature, dimension, "?")
            return
        value, basis, _ = typed(rng, about(nominal, half), nominal, False)
        self.row(part, feature, dimension, value, basis)


# Standard tolerance grade IT9 of ISO 286-1:2010, table 1, in mm, by the range of sizes.
IT9 = ((6, 10, 0.036), (10, 18, 0.043), (18, 30, 0.052), (30, 50, 0.062))


def typed(
    rng: random.Random, window: Window, nominal: float, hole: bool
) -> tuple[str, str, Window]:
    """Return a figure as people type it, its basis, and its limits, which lie in `window`."""
    low, high = round(window[0], 3), round(window[1], 3)
    wide = high - low > 0.8
    ways: list[tuple[str, str, Window]] = []

    def take(value: str, basis: str, lo: float, hi: float) -> None:
        if low - 1e-9 <= lo and hi <= high + 1e-9:
            ways.append((value, basis, (lo, hi)))

    if wide:
        half = rng.choice((0.2, 0.3, 0.5))
        take(f"{nominal:g} ±{half:g}", "maker", nominal - half, nominal + half)
        take(f"{nominal:g}", rng.choice(("nominal", "")), nominal - 0.1, nominal + 0.1)
        take(f"{nominal:g} mm", "maker", nominal - 0.05, nominal + 0.05)
        take(f"{nominal:g}".replace(".", ",") + " mm", "maker", nominal - 0.05, nominal + 0.05)
        shift = rng.choice((-0.2, -0.1, 0.1, 0.2))
        take(f"{nominal + shift:.1f}", "measured", nominal + shift - 0.03, nominal + shift + 0.03)
        return rng.choice(ways)
    half = rng.choice((0.02, 0.03, 0.04, 0.05))
    room = round((high - low - 2 * half) * 100)
    middle = round(low + half + rng.randint(0, max(room, 0)) / 100, 2)
    take(f"{middle:.2f} ±{half:.2f}", "maker", middle - half, middle + half)
    take(f"{middle:.2f} ±{half:.2f}".replace(".", ","), "maker", middle - half, middle + half)
    lo = round(low + rng.randint(0, 2) / 100, 2)
    hi = round(high - rng.randint(0, 2) / 100, 2)
    if hi - lo >= 0.04:
        take(f"{lo:.2f}..{hi:.2f}", "maker", lo, hi)
    over, under = round(high - nominal, 2), round(nominal - low, 2)
    if over >= 0 and under >= 0:
        take(f"{nominal:g} +{over:g}/-{under:g}", "maker", nominal - under, nominal + over)
    middle = round(low + 0.03 + rng.randint(0, max(int((high - low - 0.06) * 100), 0)) / 100, 2)
    take(f"{middle:.2f}", "measured", middle - 0.03, middle + 0.03)
    take(f"{middle:.2f} mm".replace(".", ","), "measured", middle - 0.03, middle + 0.03)
    middle = round((low + high) / 2, 2)
    take(f"{middle:.2f}", "maker", middle - 0.05, middle + 0.05)
    if nominal in INCHES and not hole:
        mm = MM_PER_INCH[INCHES[nominal]]
        take(INCHES[nominal], "measured", mm - 0.03, mm + 0.03)
    for above, upto, grade in IT9:
        if above < nominal <= upto and hole:
            take(f"{nominal:g} H9", "maker", nominal, nominal + grade)
        elif above < nominal <= upto:
            take(f"{nominal:g} h9", "maker", nominal - grade, nominal)
    return rng.choice(ways)


def price(rng: random.Random, low: float, high: float) -> float:
    """Return a shop price between two amounts."""
    return round(rng.uniform(low, high)) - rng.choice((0.10, 0.10, 0.05, 0.50))


# ---------------------------------------------------------------- the scooter's lower half

# Hub width, axle and bearing seat that go together.
HUBS = {"24": (24, 8, 22), "30": (30, 8, 22), "30/12": (30, 12, 24), "30/10": (30, 10, 22)}


def dropouts(shelf: Shelf, part: Made, hub: str) -> None:
    """Add the fork ends of a fork or a deck."""
    width, axle, _ = HUBS[hub]
    shelf.size(part, "dropout", "width", (width + 0.1, width + 0.6), width + 0.3, hole=True)
    shelf.size(part, "dropout", "hole", (axle + 0.1, axle + 0.35), axle + 0.2, hole=True)


DECKS = (
    # maker, model, board, head, hub, largest wheel, brake pattern, price band, mass
    ("SKE", "Sedgarth", "490 x 115", "45", "24", 110, "flex, two holes", (120, 150), 1260),
    ("SKE", "Sedgarth", "520 x 125", "45", "24", 110, "flex, two holes", (125, 155), 1340),
    ("SKE", "Sedgarth", "550 x 135", "45", "30", 120, "flex, two holes", (135, 165), 1490),
    ("SKE", "Tussenby", "560 x 150", "45", "30", 120, "flex, two holes", (150, 185), 1610),
    ("SKE", "Tussenby", "580 x 160", "45", "30", 125, "flex, two holes", (160, 195), 1720),
    ("VEN", "Culmory", "480 x 110", "45", "24", 110, "two bolts, 40 mm", (110, 140), 1190),
    ("VEN", "Culmory", "510 x 120", "45", "24", 110, "two bolts, 40 mm", (115, 145), 1270),
    ("VEN", "Culmory", "540 x 135", "45", "30", 115, "two bolts, 40 mm", (130, 160), 1420),
    ("VEN", "Ferloby", "560 x 150", "45", "30/12", 120, "two bolts, 40 mm", (165, 190), 1580),
    ("OST", "Lintoft", "500 x 120", "45", "24", 110, "flex, two holes", (125, 160), 1280),
    ("OST", "Lintoft", "530 x 130", "45", "30", 115, "flex, two holes", (140, 170), 1430),
    ("OST", "Lintoft", "560 x 145", "45", "30", 120, "flex, two holes", (150, 180), 1560),
    ("OST", "Corveth", "570 x 155", "45", "30/12", 125, "flex, two holes", (170, 205), 1690),
    ("TAR", "Pintaby", "490 x 115", "45", "24", 110, "two bolts, 40 mm", (105, 135), 1230),
    ("TAR", "Pintaby", "530 x 130", "45", "24", 115, "two bolts, 40 mm", (115, 145), 1350),
    ("TAR", "Gudvoe", "550 x 145", "45", "30", 120, "two bolts, 40 mm", (140, 170), 1520),
    ("OXE", "Tholvoe", "510 x 120", "45", "24", 110, "flex, two holes", (115, 145), 1290),
    ("OXE", "Tholvoe", "540 x 140", "45", "30", 120, "flex, two holes", (135, 165), 1470),
    ("OXE", "Strakeby", "560 x 150", "45", "30/10", 120, "flex, two holes", (150, 180), 1590),
    ("PEL", "Ullaby", "500 x 115", "45", "24", 110, "flex, two holes", (145, 175), 1130),
    ("PEL", "Ullaby", "530 x 130", "45", "30", 115, "flex, two holes", (155, 190), 1260),
    ("MAR", "Dapplow", "450 x 105", "flat", "24", 100, "spring lever", (38, 50), 1380),
    ("MAR", "Dapplow", "470 x 105", "flat", "24", 110, "spring lever", (42, 56), 1430),
    ("MAR", "Dapplow", "480 x 110", "flat", "24", 110, "spring lever", (45, 60), 1470),
    ("MAR", "Fallowick", "490 x 110", "45", "24", 110, "two bolts, 40 mm", (60, 78), 1400),
    ("MAR", "Fallowick", "500 x 115", "45", "24", 110, "two bolts, 40 mm", (64, 84), 1450),
)
HEADS = {
    # bore of the head tube, bearing angle as marked (or flat for pressed cups)
    "45": (41.8, "45"),
    "36": (41.8, "36"),
    "flat": (34.0, "flat"),
    "44": (44.0, "45"),
}


#: Length of the head tube in mm, by maker.
HEAD_LENGTHS = {
    "SKE": 110,
    "VEN": 105,
    "OST": 112,
    "TAR": 108,
    "OXE": 110,
    "PEL": 104,
    "MAR": 102,
    "QUA": 110,
}

#: Head tube and headset, in mm, for which the forks' steerers are cut.
USUAL_HEAD = 110 + 22


def deck(
    shelf: Shelf,
    maker: str,
    name: str,
    head: str,
    hub: str,
    wheel: int,
    pattern: str,
    cost: float | None,
    mass: float,
    note: str = "",
    **more: Any,
) -> Made:
    """Add a deck for wheels up to `wheel` mm."""
    part = shelf.add(
        "deck",
        maker,
        name,
        cost,
        mass,
        "aluminium-6061-t6",
        note,
        head=head,
        hub=hub,
        wheel=wheel,
        pattern=pattern,
        **more,
    )
    tube, angle = HEADS[head]
    shelf.size(part, "head", "diameter", (tube, tube + 0.15), tube, hole=True)
    shelf.word(part, "head", "angle", angle)
    shelf.length(part, "head_length", "length", HEAD_LENGTHS[maker])
    shelf.size(part, "wheel_gap", "diameter", about(wheel + 6), wheel + 6, hole=True, close=False)
    dropouts(shelf, part, hub)
    shelf.word(part, "brake_mount", "pattern", pattern)
    return part


def make_decks(shelf: Shelf) -> None:
    """Add the decks."""
    for place, (maker, model, board, head, hub, wheel, pattern, band, mass) in enumerate(DECKS):
        cost = price(shelf.rng, *band)
        name = f"{model} deck {board}"
        keep = place % 4 == 2
        deck(shelf, maker, name, head, hub, wheel, pattern, cost, mass, keep=keep)
    deck(
        shelf,
        "QUA",
        "Spraggeth deck 540 x 140",
        "36",
        "30",
        115,
        "flex, two holes",
        139.90,
        1440,
        "HANDMADE: the only deck for 36 degree bearings, and sold out",
        keep=True,
        stock=0,
    )
    deck(
        shelf,
        "QUA",
        "Spraggeth deck 520 x 130, early",
        "44",
        "24",
        110,
        "flex, two holes",
        None,
        1390,
        "HANDMADE: a head tube of 44 mm, no longer sold; no headset here goes into it",
        keep=True,
        stock=0,
    )


FORKS = (
    # maker, model, system, hub, largest wheel, top length, price band, mass, material
    ("SKE", "Gorsewick", "IHC", "24", 110, 90, (70, 85), 480, "steel-4130"),
    ("SKE", "Gorsewick", "IHC", "24", 115, 95, (72, 88), 492, "steel-4130"),
    ("SKE", "Gorsewick", "IHC", "30", 120, 100, (78, 95), 530, "steel-4130"),
    ("SKE", "Teasoe", "IHC", "24", 110, 95, (85, 105), 405, "aluminium-7075-t6"),
    ("SKE", "Teasoe", "IHC", "30", 120, 105, (92, 112), 448, "aluminium-7075-t6"),
    ("VEN", "Sorvoe", "IHC", "24", 110, 90, (68, 82), 476, "steel-4130"),
    ("VEN", "Sorvoe", "IHC", "30", 115, 95, (74, 90), 505, "steel-4130"),
    ("VEN", "Yarrith", "IHC", "30/12", 120, 100, (95, 118), 498, "steel-4130"),
    ("VEN", "Yarrith", "IHC", "30", 120, 100, (88, 110), 512, "steel-4130"),
    ("OST", "Mullaby", "IHC", "24", 110, 92, (72, 90), 488, "steel-4130"),
    ("OST", "Mullaby", "IHC", "30", 120, 102, (80, 98), 521, "steel-4130"),
    ("OXE", "Rowlaby", "IHC", "24", 110, 90, (66, 82), 470, "steel-4130"),
    ("OST", "Transith", "HIC", "24", 110, 100, (75, 92), 515, "steel-4130"),
    ("OST", "Transith", "HIC", "30", 115, 100, (78, 96), 530, "steel-4130"),
    ("OST", "Transith", "HIC", "30", 120, 110, (82, 100), 548, "steel-4130"),
    ("OST", "Transith", "HIC", "30/12", 125, 110, (90, 110), 560, "steel-4130"),
    ("VEN", "Fennathby", "HIC", "24", 110, 95, (70, 86), 498, "steel-4130"),
    ("VEN", "Fennathby", "HIC", "30", 120, 105, (76, 94), 533, "steel-4130"),
    ("TAR", "Shackleth", "HIC", "24", 110, 95, (58, 74), 520, "steel-4130"),
    ("TAR", "Shackleth", "HIC", "24", 115, 100, (60, 78), 528, "steel-4130"),
    ("TAR", "Shackleth", "HIC", "30", 120, 105, (66, 84), 552, "steel-4130"),
    ("PEL", "Bunnoch", "HIC", "24", 110, 95, (95, 115), 392, "aluminium-7075-t6"),
    ("PEL", "Bunnoch", "HIC", "30", 115, 100, (98, 120), 415, "aluminium-7075-t6"),
    ("OST", "Purloe", "bare", "30", 120, 110, (62, 78), 540, "steel-4130"),
    ("SKE", "Burrith", "bare", "24", 110, 100, (58, 72), 505, "steel-4130"),
    ("OXE", "Billoway", "ICS", "24", 110, 95, (60, 75), 468, "steel-4130"),
    ("OXE", "Billoway", "ICS", "30", 115, 100, (64, 80), 490, "steel-4130"),
    ("OXE", "Billoway", "ICS", "30/10", 120, 105, (70, 86), 512, "steel-4130"),
    ("TAR", "Clevoe", "both", "24", 110, 100, (68, 84), 510, "steel-4130"),
    ("TAR", "Clevoe", "both", "30", 120, 105, (72, 90), 536, "steel-4130"),
    ("MAR", "Dapplow", "threaded", "24", 100, 68, (22, 30), 690, "steel-mild"),
    ("MAR", "Dapplow", "threaded", "24", 110, 70, (24, 32), 720, "steel-mild"),
    ("MAR", "Fallowick", "threaded", "24", 110, 72, (26, 36), 705, "steel-mild"),
)


SHORT_FORKS = (
    # For external clamps, whose lower half the steerer fills and no more.
    # maker, model, hub, largest wheel, steerer above the headset, price, mass, material
    ("TAR", "Shackleth", "24", 110, 27, 61.90, 496, "steel-4130"),
    ("TAR", "Shackleth", "30", 120, 32, 68.90, 524, "steel-4130"),
    ("OST", "Transith", "24", 115, 31, 84.90, 499, "steel-4130"),
    ("OST", "Transith", "30", 120, 36, 88.90, 517, "steel-4130"),
    ("PEL", "Bunnoch", "24", 110, 29, 109.90, 376, "aluminium-7075-t6"),
    ("VEN", "Fennathby", "30", 115, 34, 79.90, 509, "steel-4130"),
)


def fork(
    shelf: Shelf,
    maker: str,
    name: str,
    system: str,
    hub: str,
    wheel: int,
    length: float,
    cost: float | None,
    mass: float,
    material: str,
    note: str = "",
    **more: Any,
) -> Made:
    """Add a fork; the system is nothing but the sizes and threads given here."""
    part = shelf.add(
        "fork", maker, name, cost, mass, material, note, system=system, hub=hub, wheel=wheel, **more
    )
    top = 25.4 if system in ("IHC", "orphan") else 28.6
    shelf.size(part, "steerer", "diameter", spigot(28.6), 28.6)
    if not more.get("own_top"):
        shelf.size(part, "top", "diameter", spigot(top), top)
    shelf.size(part, "top", "length", about(length, 1), length, close=False)
    shelf.length(part, "steerer_length", "length", length + USUAL_HEAD)
    if system == "IHC":
        shelf.word(part, "anchor", "thread", "M8")
    elif system in ("HIC", "both", "orphan", "SCS"):
        shelf.word(part, "anchor", "thread", "M6")
    if system in ("IHC", "HIC", "both", "orphan", "SCS"):
        deep = 4 if system == "IHC" else 12
        shelf.length(part, "anchor_depth", "length", deep + sum(map(ord, maker)) % 5)
    if system in ("ICS", "both"):
        way = shelf.rng.choice((8.6, 9.0, 9.0, 6.6))
        shelf.size(
            part, "through", "diameter", about(way, 0.1), way, hole=True, close=False, optional=True
        )
    if system == "threaded":
        shelf.row(part, "thread", "size", "1 1/8-26", "maker")
    shelf.size(part, "wheel_gap", "diameter", about(wheel + 6), wheel + 6, hole=True, close=False)
    dropouts(shelf, part, hub)
    return part


def make_forks(shelf: Shelf) -> None:
    """Add the forks."""
    for place, fork_ in enumerate(FORKS):
        maker, model, system, hub, wheel, length, band, mass, material = fork_
        cost = price(shelf.rng, *band)
        # The popular Skerrowby forks stay fully known: the tempting gap hangs on them.
        keep = (maker == "SKE" and system == "IHC") or length == 70 or place % 3 == 0
        name = f"{model} fork {wheel} x {HUBS[hub][0]}"
        fork(shelf, maker, name, system, hub, wheel, length, cost, mass, material, keep=keep)
    fork(
        shelf,
        "TAR",
        "Shackleth fork 115 x 24, first run",
        "orphan",
        "24",
        115,
        90,
        59.90,
        474,
        "steel-4130",
        "HANDMADE: turned down to 25.4 but tapped M6; no kit and no sleeve here has both",
        keep=True,
        stock=6,
    )
    worn = fork(
        shelf,
        "TAR",
        "Shackleth fork 110 x 24, second hand",
        "HIC",
        "24",
        110,
        95,
        34.90,
        518,
        "steel-4130",
        "HANDMADE: maker's figure and calliper disagree; the measured one goes first",
        keep=True,
        own_top=True,
        stock=1,
    )
    shelf.row(worn, "top", "diameter", "28.6 +0/-0.1", "maker")
    shelf.row(worn, "top", "diameter", "28.21", "measured", "HANDMADE: filed down by a rider")
    doubtful = fork(
        shelf,
        "VEN",
        "Fennathby fork 110 x 24, unboxed",
        "bare",
        "24",
        110,
        95,
        49.90,
        500,
        "steel-4130",
        "HANDMADE: nobody looked whether a star nut is in it",
        keep=True,
        stock=2,
    )
    shelf.has(doubtful, "anchor", "?", "HANDMADE: one look decides")
    before = shelf.rng
    for place, (maker, model, hub, wheel, length, cost, mass, material) in enumerate(SHORT_FORKS):
        name = f"{model} fork {wheel} x {HUBS[hub][0]}, short steerer"
        more = {"keep": place in (0, 2, 3), "late": True}
        fork(shelf, maker, name, "SCS", hub, wheel, length, cost, mass, material, **more)
    shelf.rng = before  # what comes next is drawn as if these were not there


def make_headsets(shelf: Shelf) -> None:
    """Add the headsets."""
    rows = (
        ("SKE", "integrated headset 45", "45", 88),
        ("VEN", "integrated headset 45", "45", 92),
        ("OST", "integrated headset 45", "45", 90),
        ("OST", "integrated headset 45, sealed", "45", 95),
        ("TAR", "integrated headset 45", "45", 98),
        ("PEL", "integrated headset 45, light", "45", 71),
        ("BRA", "integrated headset 45", "45", 86),
        ("BRA", "integrated headset 45, blue", "45", 86),
        ("OXE", "integrated headset 45", "45", 94),
        ("QUA", "integrated headset 36", "36", 93),
        ("MAR", "threaded headset, pressed cups", "flat", 140),
        ("BRA", "threaded headset, pressed cups", "flat", 132),
        ("MAR", "threaded headset, integrated", "45", 118),
    )
    for place, (maker, name, head, mass) in enumerate(rows):
        threaded = name.startswith("threaded")
        low, high = (9, 15) if threaded else (18, 36)
        more: dict[str, Any] = {"keep": place in (0, 2, 10, 11)}
        note = ""
        if head == "36":
            more |= {"keep": True, "stock": 9}
            note = "HANDMADE: stranded, as its only deck is sold out"
        cost = price(shelf.rng, low, high)
        part = shelf.add(
            "headset", maker, name, cost, mass, "", note, head=head, threaded=threaded, **more
        )
        tube, angle = HEADS[head]
        shelf.size(part, "outside", "diameter", (tube - 0.06, tube), tube, sure=True)
        shelf.word(part, "outside", "angle", angle)
        shelf.size(part, "bore", "diameter", (28.6, 28.72), 28.6, hole=True)
        pressed, tall = "pressed" in name, "sealed" in name or threaded
        shelf.length(
            part, "stack_height", "length", 34 if pressed else 25 if tall else 22 - place % 3
        )
        if threaded:
            shelf.row(part, "thread", "size", "1 1/8-26", "maker")


# ---------------------------------------------------------------- compression kits


#: Length of the kit's sleeve in mm, where it is not the usual one.
SHIM_LENGTHS = {
    "KIT-OST-01": 118,
    "KIT-BRA-02": 108,
    "KIT-OST-03": 126,
    "KIT-VEN-02": 118,
    "KIT-PEL-01": 102,
}


def kit(
    shelf: Shelf,
    maker: str,
    name: str,
    system: str,
    cost: float | None,
    mass: float,
    note: str = "",
    *,
    bolt: str = "",
    **more: Any,
) -> Made:
    """Add a compression kit."""
    part = shelf.add("kit", maker, name, cost, mass, "", note, system=system, **more)
    if system in ("IHC", "HIC"):
        inner, outer, cap = (25.4, 28.6, 27.2) if system == "IHC" else (28.6, 31.8, 30.2)
        shelf.size(part, "shim_bore", "diameter", bore(inner), inner, hole=True, sure=True)
        shelf.size(part, "shim_outside", "diameter", spigot(outer), outer, sure=True)
        shelf.size(
            part,
            "shim_slot",
            "width",
            about(3.0, 0.25),
            3.0,
            hole=True,
            close=False,
            sure=True,
        )
        shelf.size(part, "sleeve_cap", "diameter", about(cap, 0.2), cap, close=False, optional=True)
        shelf.length(part, "shim_length", "length", SHIM_LENGTHS.get(part.sku, 114))
        shelf.length(part, "bolt_length", "length", 50 if system == "IHC" else 60)
    if system == "SCS":
        shelf.size(
            part, "clamp_cap", "diameter", about(26.5, 0.2), 26.5, close=False, optional=True
        )
    if system == "ICS":
        shelf.size(
            part,
            "through_bolt",
            "diameter",
            (more["long_bolt"] - 0.1, more["long_bolt"]),
            more["long_bolt"],
            close=False,
            optional=True,
        )
        shelf.size(part, "bar_nut", "diameter", (29.3, 29.5), 29.4, close=False, optional=True)
    elif system == "IHC":
        shelf.row(part, "bolt", "thread", "M8", "maker")
    else:
        shelf.word(part, "bolt", "thread", bolt or "M6")
    return part


def make_kits(shelf: Shelf) -> None:
    """Add the compression kits."""
    rows = (
        ("SKE", "IHC kit", "IHC", 74, {"keep": True}),
        ("VEN", "IHC kit", "IHC", 72, {"keep": True}),
        ("OST", "IHC kit", "IHC", 70, {}),
        ("BRA", "IHC kit, black", "IHC", 78, {}),
        ("BRA", "IHC kit, raw", "IHC", 78, {}),
        ("OST", "HIC kit", "HIC", 81, {"keep": True}),
        ("OST", "HIC kit, long", "HIC", 88, {}),
        ("TAR", "HIC kit", "HIC", 84, {"keep": True}),
        ("VEN", "HIC kit", "HIC", 80, {}),
        ("PEL", "HIC kit, light", "HIC", 62, {}),
        ("BRA", "HIC kit", "HIC", 85, {}),
        ("TAR", "SCS kit", "SCS", 55, {"keep": True}),
        ("TAR", "SCS kit, low", "SCS", 52, {}),
        ("OST", "SCS kit", "SCS", 57, {"keep": True}),
        ("BRA", "SCS kit", "SCS", 60, {}),
        ("OXE", "ICS kit", "ICS", 48, {"keep": True, "stock": 0, "long_bolt": 6}),
        ("OXE", "ICS kit, stout", "ICS", 56, {"stock": 0, "long_bolt": 8}),
        ("TAR", "ICS kit", "ICS", 50, {"keep": True, "stock": 1, "long_bolt": 6}),
        ("BRA", "ICS kit", "ICS", 53, {"stock": 0, "long_bolt": 8}),
    )
    for maker, name, system, mass, more in rows:
        kit(shelf, maker, name, system, price(shelf.rng, 18, 40), mass, **more)
    kit(
        shelf,
        "VEN",
        "SCS kit with M8 bolt",
        "SCS",
        32.90,
        61,
        "HANDMADE: puts a Vendlemoor IHC fork under an external clamp, with the 28.6 sleeve",
        bolt="M8",
        keep=True,
        stock=4,
    )
    unread = shelf.add(
        "kit",
        "QUA",
        "kit from an estate, unmarked",
        12.90,
        82,
        "",
        "HANDMADE: its bolt was never measured; screw it into a fork of known thread",
        keep=True,
        stock=3,
        system="HIC",
    )
    shelf.row(unread, "shim_bore", "diameter", "28,68 ±0,03", "measured")
    shelf.row(unread, "shim_outside", "diameter", "31.74", "measured")
    shelf.row(unread, "shim_slot", "width", "2.9", "measured")
    shelf.row(unread, "sleeve_cap", "diameter", "30.1", "measured")
    shelf.row(unread, "shim_length", "length", "115", "measured")
    shelf.row(unread, "bolt", "thread", "?")


# ---------------------------------------------------------------- clamps


def clamp(
    shelf: Shelf,
    maker: str,
    name: str,
    nominal: float,
    height: float,
    bolts: int,
    cost: float,
    mass: float,
    note: str = "",
    *,
    external: bool = False,
    **more: Any,
) -> Made:
    """Add a collar, or an external clamp that also grips the steerer."""
    part = shelf.add(
        "clamp",
        maker,
        name,
        cost,
        mass,
        "aluminium-6061-t6",
        note,
        nominal=nominal,
        height=height,
        external=external,
        **more,
    )
    if not more.get("own_bore"):
        shelf.size(part, "bore", "diameter", bore(nominal), nominal, hole=True)
    if not more.get("own_slot"):
        cut = about(3.2, 0.3)
        shelf.size(part, "slot", "width", cut, 3.2, hole=True, close=False, sure=external)
    shelf.size(part, "height", "length", about(height, 0.5), height, close=False)
    shelf.length(part, "ring_outside", "diameter", nominal + (13 if external else 11))
    if external:
        lower = round(height / 2) - 2
        shelf.length(part, "lower", "depth", lower)
        shelf.length(part, "upper", "depth", height - lower - 4)
        shelf.size(part, "fork_bore", "diameter", bore(28.6), 28.6, hole=True, optional=True)
        shelf.size(
            part, "seat", "diameter", about(24, 0.3), 24, hole=True, close=False, optional=True
        )
    shelf.word(part, "bolts", "thread", "M8" if nominal == 31.8 and bolts == 2 else "M6")
    shelf.row(part, "bolts", "count", str(bolts), "maker")
    return part


def make_clamps(shelf: Shelf) -> None:
    """Add the clamps."""
    rows = (
        ("MAR", "Dapplow", 31.8, 40, 2, 130, {"keep": True}),
        ("MAR", "Fallowick", 31.8, 44, 2, 138, {}),
        ("SKE", "Rivenby", 31.8, 44, 2, 142, {"keep": True}),
        ("TAR", "Cottrith", 31.8, 50, 3, 168, {"keep": True}),
        ("OST", "Cleavoe", 31.8, 50, 3, 172, {}),
        ("VEN", "Toggeth", 31.8, 56, 3, 181, {}),
        ("OST", "Cleavoe", 31.8, 62, 4, 214, {}),
        ("SKE", "Rivenby", 34.9, 44, 2, 156, {"keep": True}),
        ("TAR", "Cottrith", 34.9, 44, 2, 160, {}),
        ("TAR", "Cottrith", 34.9, 50, 3, 184, {"keep": True}),
        ("OST", "Cleavoe", 34.9, 50, 3, 188, {"keep": True}),
        ("VEN", "Toggeth", 34.9, 56, 3, 197, {}),
        ("PEL", "Thimvoe", 34.9, 50, 3, 158, {}),
        ("OST", "Cleavoe", 34.9, 62, 4, 232, {"keep": True}),
        ("VEN", "Toggeth", 34.9, 62, 4, 228, {}),
        ("SKE", "Rivenby", 34.9, 56, 4, 219, {}),
    )
    counts = {2: "two bolts", 3: "three bolts", 4: "four bolts"}
    for maker, model, nominal, height, bolts, mass, more in rows:
        name = f"{model} collar {nominal:g}, {counts[bolts]}"
        cost = price(shelf.rng, 10 + 6 * bolts, 18 + 9 * bolts)
        clamp(shelf, maker, name, nominal, height, bolts, cost, mass, **more)
    externals = (
        ("TAR", "Haspeth", 31.8, 70, 4, 290, {"keep": True}),
        ("OST", "Bolvary", 31.8, 78, 4, 305, {}),
        ("TAR", "Haspeth", 34.9, 70, 4, 310, {"keep": True}),
        ("TAR", "Haspeth", 34.9, 84, 4, 348, {}),
        ("OST", "Bolvary", 34.9, 78, 4, 332, {"keep": True}),
        ("OST", "Bolvary", 34.9, 90, 4, 360, {}),
        ("VEN", "Capstoft", 34.9, 64, 2, 268, {}),
    )
    for maker, model, nominal, height, bolts, mass, more in externals:
        name = f"{model} external clamp {nominal:g} x {height}"
        cost = price(shelf.rng, 34, 62)
        clamp(shelf, maker, name, nominal, height, bolts, cost, mass, external=True, **more)
    edge = clamp(
        shelf,
        "WYN",
        "Grommeth collar 31.8, three bolts",
        31.8,
        50,
        3,
        24.90,
        170,
        "HANDMADE: its limits overlap the limits of most bars; only a share of pairs goes on",
        own_bore=True,
        keep=True,
        stock=5,
    )
    shelf.row(edge, "bore", "diameter", "31.70..31.84", "maker")
    shelf.row(edge, "bolts", "thread", "M8", "measured", "HANDMADE: the maker says M6")
    narrow = clamp(
        shelf,
        "WYN",
        "Grommeth collar 34.9, two bolts",
        34.9,
        44,
        2,
        19.90,
        149,
        "HANDMADE: a saw cut of 1 mm closes a third of a millimetre at most",
        own_bore=True,
        own_slot=True,
        keep=True,
        stock=7,
    )
    shelf.row(narrow, "bore", "diameter", "35.10 ±0.05", "maker")
    shelf.row(narrow, "slot", "width", "1.0 ±0.05", "maker")


# ---------------------------------------------------------------- bars

TUBES = {
    # outside, bore, grip end's bore
    "standard": (31.8, 28.6),
    "oversized": (34.9, 31.8),
    "mix": (34.9, 28.6),
    "thick": (31.8, 25.4),
}
GRIP_BORE = {"steel": 19.7, "aluminium": 17.6, "titanium": 19.6}


def bar_mass(
    material: str, outside: float, inside: float, height: float, width: float, end: float
) -> float:
    """Return the mass of a T bar in g: upright, cross tube, and a share for gusset and welds."""
    thin = GRIP_BORE[material.split("-")[0]] + (end - 22.2)
    upright = math.pi / 4 * (outside**2 - inside**2) * height
    cross = math.pi / 4 * (end**2 - thin**2) * width
    return (upright + cross) * DENSITY[material] * 1e-6 * 1.18


def bar(
    shelf: Shelf,
    maker: str,
    name: str,
    tube: str,
    material: str,
    height: float,
    width: float,
    slot: tuple[float, float] | str,
    cost: float | None,
    note: str = "",
    *,
    end: float = 22.2,
    mass: float | None = None,
    **more: Any,
) -> Made:
    """Add a bar; `slot` is its width and length, or "no", or "?"."""
    outside, inside = TUBES[tube]
    family = material.split("-")[0]
    if mass is None:
        mass = round(bar_mass(material, outside, inside, height, width, end) / 5) * 5
        mass += shelf.rng.choice((-10, -5, 0, 5, 10, 15))
    part = shelf.add(
        "bar",
        maker,
        f"{name} {width:g} x {height:g}",
        cost,
        mass,
        material,
        note,
        tube=tube,
        family=family,
        end=end,
        slotted=not isinstance(slot, str),
        slot=slot if isinstance(slot, str) else "yes",
        slot_length=0 if isinstance(slot, str) else slot[1],
        **more,
    )
    if not more.get("own_outside"):
        shelf.size(part, "outside", "diameter", spigot(outside), outside)
    if not more.get("own_bore"):
        shelf.size(part, "bore", "diameter", bore(inside), inside, hole=True)
    if more.get("own_slot"):
        pass
    elif slot == "no":
        shelf.has(part, "slot", "no")
    elif slot == "?":
        if shelf.rng.random() < 0.5:
            shelf.has(part, "slot", "?")
    elif not isinstance(slot, str):
        wide, long = slot
        # A slot of unknown width still gets a row, which says that there is one.
        shelf.size(
            part, "slot", "width", about(wide, 0.25), wide, hole=True, close=False, optional=True
        )
        shelf.size(part, "slot", "length", about(long, 0.5), long, close=False)
    shelf.size(part, "height", "length", about(height, 1), height, close=False)
    shelf.length(part, "stem", "length", 90 + 10 * (round(height) % 4), 1)
    shelf.size(part, "grip_end", "diameter", spigot(end), end)
    grip = shelf.rng.choice((140, 150, 160, 170, 180))
    shelf.size(part, "grip_end", "length", about(grip, 1), grip, close=False)
    thin = GRIP_BORE[family] + (end - 22.2)
    shelf.size(part, "end_bore", "diameter", about(thin, 0.1), thin, hole=True, close=False)
    return part


BARS = (
    # maker, model, tube, material, price band, heights and widths, slots in turn, grip end
    ("SKE", "Bramvoe", "standard", "steel-4130", (62, 84), 5, "sssns"),
    ("TAR", "Tenneth", "standard", "steel-4130", (58, 80), 5, "sss?s"),
    ("OST", "Raftoe", "standard", "steel-4130", (66, 92), 4, "ssns"),
    ("VEN", "Brackeby", "standard", "steel-4130", (64, 88), 3, "ssn"),
    ("MAR", "Fallowick", "standard", "steel-mild", (28, 42), 5, "sssss"),
    ("OST", "Girdoe", "oversized", "steel-4130", (78, 108), 7, "ssnsnss"),
    ("TAR", "Mortaby", "oversized", "steel-4130", (70, 98), 6, "snss?n"),
    ("VEN", "Hawthoe", "oversized", "steel-4130", (76, 104), 5, "ssnss"),
    ("SKE", "Blethoe", "oversized", "steel-4130", (80, 110), 4, "snsn"),
    ("PEL", "Coopith", "mix", "aluminium-6061-t6", (82, 112), 6, "snss?s"),
    ("PEL", "Stavoe", "mix", "aluminium-7005-t6", (98, 138), 5, "snssn"),
    ("OXE", "Tillith", "mix", "aluminium-6061-t6", (80, 105), 4, "snsn"),
    ("PEL", "Spilvoe", "thick", "aluminium-7075-t6", (105, 145), 4, "nnnn"),
    ("CUL", "Fenvoe", "oversized", "titanium-3al-2.5v", (260, 380), 6, "snsnsn"),
    ("CUL", "Carrith", "oversized", "titanium-6al-4v", (320, 420), 4, "snsn"),
    ("CUL", "Fenvoe", "standard", "titanium-3al-2.5v", (225, 320), 4, "snsn"),
)
SHAPES = (
    (560, 540),
    (600, 580),
    (630, 600),
    (660, 610),
    (700, 630),
    (520, 520),
    (610, 560),
    (680, 640),
)
SLOTS = ((3.0, 52.0), (3.5, 58.0), (3.0, 46.0), (4.0, 64.0), (3.2, 52.0))


def make_bars(shelf: Shelf) -> None:
    """Add the bars."""
    for line, (maker, model, tube, material, band, count, slots) in enumerate(BARS):
        for place in range(count):
            height, width = SHAPES[(line + place) % len(SHAPES)]
            cut: tuple[float, float] | str = SLOTS[(line + 2 * place) % len(SLOTS)]
            if slots[place] != "s":
                cut = {"n": "no", "?": "?"}[slots[place]]
            end = 25.4 if maker == "CUL" and place in (2, 3) else 22.2
            more: dict[str, Any] = {"keep": place in (0, 1)}
            if maker == "CUL" and tube == "standard" and slots[place] == "s":
                more["stock"] = 0
            cost = price(shelf.rng, *band)
            # Some makers only say what family of metal it is.
            alloy = {("Tenneth", 2): "steel", ("Tillith", 2): "aluminium"}.get(
                (model, place), material
            )
            name = f"{model} bar"
            bar(shelf, maker, name, tube, alloy, height, width, cut, cost, end=end, **more)
    make_taught_bars(shelf)


def make_taught_bars(shelf: Shelf) -> None:
    """Add the bars that teach one thing each."""
    plain: dict[str, Any] = {"keep": True}
    part = bar(
        shelf,
        "OST",
        "Girdoe bar, returned",
        "oversized",
        "steel-4130",
        600,
        580,
        (3.0, 52.0),
        69.90,
        "HANDMADE: maker's outside and the measured one contradict each other",
        own_outside=True,
        stock=1,
        **plain,
    )
    shelf.row(part, "outside", "diameter", "34.9 +0/-0.1", "maker")
    shelf.row(part, "outside", "diameter", "34.42", "measured", "HANDMADE: stripped and sanded")
    part = bar(
        shelf,
        "TAR",
        "Tenneth bar, ridden loose",
        "standard",
        "steel-4130",
        630,
        600,
        (3.0, 52.0),
        29.90,
        "HANDMADE: the bore is worn so wide that its slot cannot close it any more",
        own_bore=True,
        stock=1,
        **plain,
    )
    shelf.row(part, "bore", "diameter", "28.65 ±0.05", "maker")
    shelf.row(part, "bore", "diameter", "29.72", "measured", "HANDMADE: across and along alike")
    part = bar(
        shelf,
        "WYN",
        "Plovith bar",
        "standard",
        "steel-4130",
        600,
        560,
        (1.5, 52.0),
        54.90,
        "HANDMADE: a narrow slot and a roomy bore; with which sleeves is a matter of hundredths",
        own_slot=True,
        own_bore=True,
        stock=4,
        **plain,
    )
    shelf.row(part, "bore", "diameter", "28.90..29.04", "maker")
    shelf.row(part, "slot", "width", "1.4 ±0.1", "maker")
    shelf.row(part, "slot", "length", "52 ±0.5", "maker")
    part = bar(
        shelf,
        "WYN",
        "Plovith bar, low",
        "oversized",
        "steel-4130",
        560,
        540,
        "?",
        74.90,
        "HANDMADE: everything is known but the slot; one look decides",
        own_slot=True,
        stock=3,
        **plain,
    )
    shelf.has(part, "slot", "?", "HANDMADE: still in its wrapping")
    part = bar(
        shelf,
        "WYN",
        "Dunlith bar",
        "mix",
        "aluminium-6061-t6",
        610,
        580,
        "yes",
        92.90,
        "HANDMADE: a slot is there, its width and length were never noted",
        own_slot=True,
        stock=2,
        **plain,
    )
    shelf.has(part, "slot", "yes")
    part = bar(
        shelf,
        "WYN",
        "Dunlith bar, swapped",
        "standard",
        "steel-4130",
        600,
        560,
        (3.0, 52.0),
        71.90,
        "HANDMADE: outside and bore were noted the wrong way round",
        own_outside=True,
        own_bore=True,
        stock=2,
        **plain,
    )
    shelf.row(part, "outside", "diameter", "28.65 ±0.05", "measured", "HANDMADE: swapped")
    shelf.row(part, "bore", "diameter", "31.75 ±0.05", "measured", "HANDMADE: swapped")
    part = bar(
        shelf,
        "WYN",
        "Godveth bar",
        "standard",
        "steel-4130",
        660,
        600,
        (3.0, 52.0),
        68.90,
        "HANDMADE: a slot of 30 mm is a slip of the decimal point",
        own_slot=True,
        stock=2,
        **plain,
    )
    shelf.row(part, "slot", "width", "30", "maker", "HANDMADE: 3.0 was meant")
    shelf.row(part, "slot", "length", "52", "maker")
    bar(
        shelf,
        "CUL",
        "Carrith bar, show piece",
        "oversized",
        "titanium-6al-4v",
        600,
        580,
        "no",
        399.90,
        "HANDMADE: no bar of these tubes weighs so little; a digit is missing",
        mass=82,
        stock=1,
        **plain,
    )
    bar(
        shelf,
        "PEL",
        "Stavoe bar, sample",
        "mix",
        "aluminium-7005-t6",
        630,
        600,
        (3.0, 52.0),
        109.90,
        "HANDMADE: the mass is that of a steel bar; mass or material is wrong",
        mass=2390,
        stock=2,
        **plain,
    )


# ---------------------------------------------------------------- adapters


def make_sleeves(shelf: Shelf) -> None:
    """Add the adapter sleeves. Nobody makes the 25.4 to 31.8 one for Skerrowby forks."""
    rows = (
        ("VEN", 25.4, 31.8, "Vendlemoor", 14.90, 62, 3, ""),
        ("VEN", 25.4, 28.6, "Vendlemoor", 12.90, 38, 4, ""),
        ("OST", 25.4, 31.8, "Ostrathby", 16.90, 64, 0, "HANDMADE: asked for, and out of stock"),
        ("OST", 28.6, 31.8, "Ostrathby", 13.90, 40, 5, ""),
        ("OXE", 25.4, 31.8, "Oxenfirth", 15.90, 63, 1, ""),
        ("TAR", 28.6, 31.8, "", 9.90, 41, 6, ""),
        ("BRA", 28.6, 31.8, "", 11.90, 40, 0, ""),
        ("OXE", 25.4, 28.6, "Oxenfirth", 13.90, 39, 2, ""),
    )
    for maker, inner, outer, key, cost, mass, held, note in rows:
        part = shelf.add(
            "sleeve",
            maker,
            f"adapter sleeve {inner:g} to {outer:g}",
            cost,
            mass,
            "aluminium-6061-t6",
            note,
            keep=maker != "BRA",
            stock=held,
        )
        shelf.size(part, "bore", "diameter", bore(inner), inner, hole=True, sure=True)
        shelf.size(part, "outside", "diameter", spigot(outer), outer, sure=True)
        slot = about(3.0, 0.25)
        shelf.size(part, "slot", "width", slot, 3.0, hole=True, close=False, sure=True)
        shelf.length(part, "length", "length", 122 if outer > 30 else 118)
        if key:
            shelf.row(part, "key", "maker", key, "maker")
    edge = shelf.add(
        "sleeve",
        "WYN",
        "adapter sleeve 28.6 to 31.8, turned",
        8.90,
        42,
        "brass",
        "HANDMADE: a plain 28.6 without limits; with which forks it goes is not certain",
        keep=True,
        stock=3,
    )
    shelf.row(edge, "bore", "diameter", "28.6", "nominal")
    shelf.row(edge, "outside", "diameter", "31.7", "measured")
    shelf.row(edge, "slot", "width", "2,5 mm", "maker")
    shelf.row(edge, "length", "length", "110 mm", "maker")


def make_liners_and_inserts(shelf: Shelf) -> None:
    """Add clamp liners and slot inserts."""
    for maker, material, cost, held in (
        ("OST", "aluminium-6061-t6", 9.90, 6),
        ("TAR", "pom", 6.90, 0),
        ("BRA", "aluminium-6061-t6", 8.90, 3),
        ("WYN", "pom", 5.90, None),
    ):
        part = shelf.add(
            "liner",
            maker,
            "clamp liner 31.8 to 34.9",
            cost,
            38 if material == "pom" else 52,
            material,
            keep=maker in ("OST", "TAR"),
            stock=held,
        )
        shelf.size(part, "bore", "diameter", bore(31.8), 31.8, hole=True)
        shelf.size(part, "outside", "diameter", spigot(34.9), 34.9)
        slot = about(3.0, 0.25)
        shelf.size(part, "slot", "width", slot, 3.0, hole=True, close=False, sure=True)
    lost = shelf.add(
        "liner",
        "QUA",
        "clamp liner 34.9 to 38.1",
        4.90,
        60,
        "aluminium-6061-t6",
        "HANDMADE: stranded; no clamp here has a bore of 38.1",
        keep=True,
        stock=11,
    )
    shelf.row(lost, "bore", "diameter", "34.98 ±0.04", "maker")
    shelf.row(lost, "outside", "diameter", "38.05 ±0.05", "maker")
    shelf.row(lost, "slot", "width", "3", "maker")
    for maker, nominal, length, held in (
        ("TAR", 28.6, 80, 4),
        ("OST", 28.6, 50, None),
        ("WYN", 28.6, 75, None),
        ("TAR", 31.8, 80, 2),
        ("OST", 31.8, 60, None),
        ("BRA", 31.8, 100, 0),
        ("PEL", 25.4, 80, 1),
    ):
        part = shelf.add(
            "insert",
            maker,
            f"slot insert {nominal:g} x {length}",
            price(shelf.rng, 7, 13),
            round(nominal * length / 40),
            "aluminium-6061-t6",
            keep=maker == "TAR",
            stock=held,
        )
        shelf.size(part, "outside", "diameter", spigot(nominal), nominal)
        shelf.size(part, "length", "length", about(length, 0.5), length, close=False)


# ---------------------------------------------------------------- grips, wheels and the rest


def make_grips_and_plugs(shelf: Shelf) -> None:
    """Add grips and end plugs."""
    lengths = (130, 135, 140, 145, 150, 155, 160, 165, 170, 175)
    colours = ("black", "clear", "grey", "green", "red")
    for place in range(20):
        maker = ("ELL", "ELL", "SKE", "WYN", "OST")[place % 5]
        wide = place in (7, 11, 16)
        inside = 24.0 if wide else 21.0
        length = lengths[(place * 3) % len(lengths)]
        part = shelf.add(
            "grips",
            maker,
            f"grips {length}{' for 25.4' if wide else ''}, {colours[place % len(colours)]}",
            price(shelf.rng, 8, 19),
            round(length * 0.62),
            keep=place in (0, 1, 11),
            end=25.4 if wide else 22.2,
            length=length,
        )
        shelf.size(part, "bore", "diameter", about(inside, 0.45), inside, hole=True, close=False)
        shelf.size(part, "length", "length", about(length, 1), length, close=False)
    for place in range(14):
        maker = ("ELL", "WYN", "BRA", "PEL")[place % 4]
        size, word = ((20.0, "22.2 thin"), (17.9, "22.2 thick"), (23.0, "25.4"))[
            (0, 1, 0, 1, 0, 0, 1, 2, 0, 1, 0, 2, 0, 1)[place]
        ]
        part = shelf.add(
            "plugs",
            maker,
            f"end plugs for {word} ends, {colours[place % len(colours)]}",
            price(shelf.rng, 3, 9),
            round(size * 0.9),
            keep=place in (0, 1, 7),
            size=size,
        )
        shelf.size(part, "outside", "diameter", about(size, 0.15), size, close=False)


def wheels(
    shelf: Shelf,
    maker: str,
    name: str,
    tyre: float,
    width: float,
    seat: float,
    cost: float | None,
    note: str = "",
    **more: Any,
) -> Made:
    """Add a pair of wheels; a bearing is pressed in, so that its seat is a little smaller."""
    mass = round(tyre * (2.9 if width == 24 else 3.4))
    part = shelf.add(
        "wheels", maker, name, cost, mass, "", note, tyre=tyre, width=width, seat=seat, **more
    )
    if not more.get("own_tyre"):
        shelf.size(part, "tyre", "diameter", about(tyre), tyre, close=False)
    shelf.size(part, "hub", "width", (width - 0.15, width + 0.05), width, close=False)
    shelf.size(part, "seat", "diameter", (seat - 0.08, seat - 0.01), seat - 0.04, hole=True)
    return part


def make_wheels(shelf: Shelf) -> None:
    """Add wheels, bearings and axles."""
    rows = (
        ("MAR", "Dapplow", 100, 24, 22),
        ("MAR", "Dapplow", 110, 24, 22),
        ("BRA", "Cobrath", 100, 24, 22),
        ("BRA", "Cobrath", 110, 24, 22),
        ("BRA", "Cobrath", 115, 24, 22),
        ("BRA", "Cobrath", 110, 30, 22),
        ("BRA", "Settleby", 110, 24, 22),
        ("BRA", "Settleby", 115, 30, 22),
        ("BRA", "Settleby", 120, 30, 22),
        ("BRA", "Settleby", 120, 30, 24),
        ("QUA", "Gravoe", 100, 24, 22),
        ("QUA", "Gravoe", 110, 24, 22),
        ("QUA", "Gravoe", 110, 30, 22),
        ("QUA", "Gravoe", 120, 30, 22),
        ("QUA", "Scronby", 110, 24, 22),
        ("QUA", "Scronby", 115, 30, 22),
        ("QUA", "Scronby", 120, 30, 22),
        ("QUA", "Scronby", 120, 30, 24),
        ("QUA", "Scronby", 125, 30, 24),
        ("OST", "Pavoe", 110, 24, 22),
        ("OST", "Pavoe", 115, 30, 22),
        ("OST", "Pavoe", 120, 30, 22),
        ("VEN", "Towathby", 110, 24, 22),
        ("VEN", "Towathby", 115, 24, 22),
        ("VEN", "Towathby", 120, 30, 24),
        ("SKE", "Causelby", 110, 24, 22),
        ("SKE", "Causelby", 110, 30, 22),
        ("SKE", "Causelby", 120, 30, 22),
        ("SKE", "Causelby", 125, 30, 22),
    )
    firsts: set[tuple[int, int, int]] = set()
    for maker, model, tyre, width, seat in rows:
        low, high = (16, 26) if maker == "MAR" else (44, 92)
        first = (tyre, width, seat) not in firsts
        firsts.add((tyre, width, seat))
        wheels(
            shelf,
            maker,
            f"{model} wheels {tyre} x {width}",
            tyre,
            width,
            seat,
            price(shelf.rng, low, high),
            keep=first,
        )
    wheels(
        shelf,
        "QUA",
        "Gravoe wheels 110 x 28",
        110,
        28,
        22,
        49.90,
        "HANDMADE: stranded; no fork or deck here has ends 28 mm apart",
        keep=True,
        stock=14,
    )
    wheels(
        shelf,
        "QUA",
        "Gravoe wheels 115 x 24, large bearing",
        115,
        24,
        26,
        46.90,
        "HANDMADE: stranded; nobody here sells a bearing of 26 mm",
        keep=True,
        stock=6,
    )
    slip = wheels(
        shelf,
        "WYN",
        "Whinneth wheels 110 x 24",
        110,
        24,
        22,
        57.90,
        "HANDMADE: 1100 mm is a slip",
        own_tyre=True,
        keep=True,
        stock=2,
    )
    shelf.row(slip, "tyre", "diameter", "1100", "maker", "HANDMADE: 110.0 was meant")
    # Boundary dimensions 608: 8 x 22 x 7, 6900: 10 x 22 x 6, 6901: 12 x 24 x 6 mm
    # (ISO 15:2017, checked against other programs); limits of the normal class: outside 0/-9 um,
    # bore 0/-8 um (ISO 492, whose edition of 2023 replaced that of 2014; looked up in makers'
    # tables on 2026-11-29).
    for maker, code, inner, outer, known in (
        ("BRA", "608", 8, 22, True),
        ("BRA", "608 sealed", 8, 22, True),
        ("QUA", "608", 8, 22, False),
        ("QUA", "608 quick", 8, 22, True),
        ("MAR", "608 plain", 8, 22, False),
        ("WYN", "608", 8, 22, False),
        ("BRA", "6900", 10, 22, True),
        ("QUA", "6900", 10, 22, False),
        ("BRA", "6901", 12, 24, True),
        ("QUA", "6901", 12, 24, True),
    ):
        part = shelf.add(
            "bearings",
            maker,
            f"bearings {code}, set of four",
            price(shelf.rng, 8, 24),
            48 if inner == 8 else 40,
            keep=known,
            inner=inner,
            outer=outer,
        )
        if known:
            shelf.row(part, "outside", "diameter", f"{outer} +0/-0.009", "maker")
            shelf.row(part, "bore", "diameter", f"{inner} +0/-0.008", "maker")
        else:
            # Without limits of its own a bearing's figure says less than a press fit asks.
            shelf.row(part, "outside", "diameter", f"{outer}", "nominal")
            shelf.size(part, "bore", "diameter", (inner - 0.008, inner + 0.07), inner, hole=True)
    for maker, shank, length in (
        ("BRA", 8, 45),
        ("QUA", 8, 45),
        ("MAR", 8, 42),
        ("BRA", 8, 50),
        ("QUA", 8, 55),
        ("OST", 8, 50),
        ("SKE", 8, 50),
        ("WYN", 8, 70),
        ("WYN", 8, 75),
        ("BRA", 10, 52),
        ("OXE", 10, 55),
        ("BRA", 12, 52),
        ("VEN", 12, 55),
        ("WYN", 12, 75),
    ):
        part = shelf.add(
            "axles",
            maker,
            f"axles {shank} x {length}",
            price(shelf.rng, 5, 15),
            round(2 * (shank**2 * 0.785 * length * 0.00785 + 11)),
            "steel",
            keep=maker in ("BRA", "WYN"),
            shank=shank,
            length=length,
        )
        shelf.size(part, "shank", "diameter", (shank - 0.12, shank - 0.02), shank)
        shelf.size(part, "shank", "length", about(length), length, close=False)


def make_brakes_and_pegs(shelf: Shelf) -> None:
    """Add brakes and pegs."""
    for place, (maker, pattern, wheel) in enumerate(
        (
            ("SKE", "flex, two holes", 110),
            ("SKE", "flex, two holes", 125),
            ("OST", "flex, two holes", 120),
            ("OST", "flex, two holes", 125),
            ("OXE", "flex, two holes", 120),
            ("WYN", "flex, two holes", 115),
            ("VEN", "two bolts, 40 mm", 110),
            ("VEN", "two bolts, 40 mm", 120),
            ("TAR", "two bolts, 40 mm", 120),
            ("WYN", "two bolts, 40 mm", 115),
            ("MAR", "spring lever", 110),
            ("MAR", "spring lever", 100),
        )
    ):
        kind = {"f": "flex brake", "t": "bolted brake", "s": "spring brake"}[pattern[0]]
        part = shelf.add(
            "brake",
            maker,
            f"{kind} {wheel}",
            price(shelf.rng, 6, 18),
            56 if kind == "flex brake" else 84,
            keep=place in (1, 3, 7, 8, 10),
            pattern=pattern,
            wheel=wheel,
        )
        shelf.word(part, "mount", "pattern", pattern)
        shelf.size(part, "reach", "diameter", about(wheel + 4), wheel + 4, hole=True, close=False)
    for place, (maker, shank, wall) in enumerate(
        (
            ("WYN", 8, 6),
            ("WYN", 8, 8),
            ("SKE", 8, 6),
            ("OST", 8, 10),
            ("WYN", 10, 6),
            ("WYN", 12, 6),
            ("OST", 12, 10),
            ("MAR", 8, 5),
        )
    ):
        part = shelf.add(
            "pegs",
            maker,
            f"pegs for {shank} mm axles",
            price(shelf.rng, 12, 28),
            120 + 10 * wall,
            "steel" if maker == "MAR" else "aluminium-6061-t6",
            keep=place == 0,
            shank=shank,
        )
        shelf.size(part, "bore", "diameter", (shank + 0.02, shank + 0.3), shank + 0.2, hole=True)
        shelf.size(part, "wall", "length", about(wall, 0.3), wall, close=False)


# ---------------------------------------------------------------- stock

PLACES = {
    "deck": "wall",
    "bar": "bar rack",
    "fork": "shelf A",
    "headset": "drawer 1",
    "kit": "drawer 2",
    "clamp": "drawer 3",
    "sleeve": "drawer 4",
    "liner": "drawer 4",
    "insert": "drawer 4",
    "grips": "shelf B",
    "plugs": "drawer 5",
    "wheels": "shelf C",
    "bearings": "drawer 6",
    "axles": "drawer 6",
    "brake": "drawer 7",
    "pegs": "shelf B",
}


def make_stock(shelf: Shelf, seed: int) -> list[tuple[str, ...]]:
    """Return the stock rows; about a third of the parts has run out."""
    rng = random.Random(seed)
    sold = {part[0] for part in shelf.parts if part[4]}
    rows = []
    for part in shelf.made:
        draw = random.Random(f"{seed} {part.sku}") if part.tags.get("late") else rng
        held = draw.choices((0, 1, 2, 3, 4, 6, 9, 12), (34, 18, 16, 12, 8, 6, 4, 2))[0]
        held = shelf.forced.get(part.sku, held)
        if part.sku in sold:
            rows.append((part.sku, str(held), PLACES[part.role]))
    return rows


# ---------------------------------------------------------------- enquiries


class Desk:
    """Draws what riders ask for; what they own fits together wherever it can."""

    def __init__(self, shelf: Shelf, seed: int) -> None:
        self.shelf = shelf
        self.rng = random.Random(seed)
        self.rows: list[tuple[datetime.date, tuple[str, ...]]] = []

    def ask(
        self,
        have: Iterable[Made],
        style: str,
        note: str,
        *,
        budget: float | None = None,
        mass: float | None = None,
        material: str = "",
        count: int = 1,
    ) -> None:
        """Add one enquiry at a date in 2026."""
        date = datetime.date(2026, 1, 5) + datetime.timedelta(days=self.rng.randint(0, 300))
        self.rows.append(
            (
                date,
                (
                    " ".join(part.sku for part in have),
                    "" if budget is None else f"{budget:.2f}",
                    "" if mass is None else f"{mass / 1000:.1f} kg",
                    material,
                    style,
                    str(count),
                    note,
                ),
            )
        )

    def one(self, parts: Sequence[Made]) -> Made:
        """Draw a part, a fully known one where there is any."""
        known = [p for p in parts if p.documented]
        return self.rng.choice(known or list(parts))

    def fork(self, *systems: str, maker: str = "") -> Made:
        """Draw a fork of one of the systems."""
        forks = [
            f
            for f in self.shelf.of("fork")
            if f.tags["system"] in systems and maker in ("", f.maker) and not f.tags.get("own_top")
        ]
        return self.one(forks)

    def bar(self, *tubes: str, slotted: bool, family: str = "") -> Made:
        """Draw a bar of one of the tube families, with ends for the usual grips."""
        bars = [
            b
            for b in self.shelf.of("bar", slotted=slotted, slot="yes" if slotted else "no")
            if b.tags["tube"] in tubes
            and family in ("", b.tags["family"])
            and b.tags["end"] == 22.2
            and b.maker != MAKERS["WYN"]
            and not b.tags.get("own_outside")
            and not b.tags.get("own_bore")
        ]
        return self.one(bars)

    def collar(self, nominal: float, slot_length: float) -> Made:
        """Draw a collar no higher than a slot is long."""
        return self.one(
            [
                c
                for c in self.shelf.of("clamp", nominal=nominal, external=False)
                if c.tags["height"] < slot_length and c.maker != MAKERS["WYN"]
            ]
        )

    def rest(self, fork: Made) -> list[Made]:
        """Draw the lower half of a scooter around a fork: deck, headset, wheels and brake."""
        threaded = fork.tags["system"] == "threaded"
        hub = fork.tags["hub"]
        width, axle, seat = HUBS[hub]
        decks = [
            d
            for d in self.shelf.of("deck", hub=hub)
            if d.tags["head"] == ("flat" if threaded else "45")
        ]
        deck_ = self.one(decks)
        largest = min(deck_.tags["wheel"], fork.tags["wheel"])
        wheels_ = self.one(
            [
                w
                for w in self.shelf.of("wheels", width=width, seat=seat)
                if w.tags["tyre"] <= largest and not w.tags.get("own_tyre")
            ]
        )
        brake = self.one(
            [
                b
                for b in self.shelf.of("brake", pattern=deck_.tags["pattern"])
                if b.tags["wheel"] >= wheels_.tags["tyre"]
            ]
        )
        return [
            deck_,
            self.one(self.shelf.of("headset", head=deck_.tags["head"], threaded=threaded)),
            wheels_,
            self.one(
                [b for b in self.shelf.of("bearings", inner=axle, outer=seat) if b.tags["keep"]]
            ),
            self.one(
                [
                    a
                    for a in self.shelf.of("axles", shank=axle)
                    if a.tags["length"] >= width + 16 and a.tags["length"] < 70
                ]
            ),
            brake,
            self.one([g for g in self.shelf.of("grips", end=22.2) if g.tags["length"] <= 140]),
        ]


def make_enquiries(shelf: Shelf, seed: int) -> list[tuple[str, ...]]:
    """Return the enquiry rows, in order of date."""
    desk = Desk(shelf, seed)
    rng = desk.rng
    styles = ("street", "park", "street", "park", "beginner", "unbudgeted")
    for place in range(46):
        fork_ = desk.fork("IHC", maker="Skerrowby")
        family = "titanium" if place % 9 == 4 else "steel"
        bar_ = desk.bar("oversized", slotted=True, family=family)
        have = [fork_, bar_]
        if place % 3:
            have = [*desk.rest(fork_), fork_, bar_]
        if place % 2:
            have.append(desk.collar(34.9, bar_.tags["slot_length"]))
        desk.ask(
            have,
            rng.choice(styles[:4]),
            "wants this bar on this fork",
            budget=rng.choice((75, 90, 110, None)) if place % 3 else None,
            count=rng.choice((1, 1, 2, 3)),
        )
    for place in range(16):
        fork_ = desk.fork("IHC", maker=("Vendlemoor", "Ostrathby", "Vendlemoor")[place % 3])
        bar_ = desk.bar("oversized", slotted=True)
        desk.ask(
            [*desk.rest(fork_), fork_, bar_],
            rng.choice(styles),
            "wants this bar on this fork",
            budget=rng.choice((90, 120, 150)),
            count=rng.choice((1, 1, 2)),
        )
    for place in range(34):
        fork_ = desk.fork("IHC", "HIC", "both")
        material = ("steel", "aluminium", "titanium", "")[place % 4]
        least = {"steel": 110, "aluminium": 140, "titanium": 320, "": 100}[material]
        desk.ask(
            [*desk.rest(fork_), fork_],
            rng.choice(styles),
            f"new {material or 'lighter'} bar wanted" if material else "new bar wanted",
            budget=least + rng.choice((0, 20, 40, 90)),
            material=material,
            mass=rng.choice((3600, 3800, 4000)) if place % 5 == 0 else None,
        )
    for place in range(20):
        fork_ = desk.fork("HIC", "bare")
        tube = ("standard", "oversized")[place % 2]
        bar_ = desk.bar(tube, slotted=True, family="steel")
        clamp_ = desk.one(shelf.of("clamp", nominal=TUBES[tube][0], external=True))
        desk.ask(
            [*desk.rest(fork_), fork_, bar_, clamp_],
            "street",
            "wants an external clamp on a slotted bar",
            budget=rng.choice((50, 70, 90)),
        )
    for _ in range(18):
        fork_ = desk.fork("IHC")
        bar_ = desk.bar("standard", slotted=True, family="steel")
        desk.ask(
            [*desk.rest(fork_), fork_, bar_, desk.collar(34.9, bar_.tags["slot_length"])],
            rng.choice(styles),
            "already bought an oversized collar",
            budget=rng.choice((45, 70, 95)),
        )
    for place in range(22):
        fork_ = desk.fork("threaded")
        oversized = place % 4 == 3
        have = [*desk.rest(fork_), fork_]
        if oversized:
            have.append(desk.bar("oversized", slotted=True, family="steel"))
        desk.ask(
            have,
            "beginner",
            "was given a larger bar" if oversized else "bar bent, wants a new one",
            budget=rng.choice((60, 75, 90)),
            count=rng.choice((1, 2, 2)),
        )
    for place in range(26):
        style = styles[place % len(styles)]
        low = {"beginner": 260, "street": 420, "park": 460, "unbudgeted": 760}[style]
        desk.ask(
            [],
            style,
            "whole scooter",
            budget=low + rng.choice((-60, 0, 60, 140)),
            mass={"unbudgeted": 3400, "park": 3800}.get(style) if place % 2 else None,
            material={"unbudgeted": "titanium", "park": "aluminium"}.get(style, ""),
            count=rng.choice((1, 1, 2)),
        )
    for _ in range(16):
        fork_ = desk.fork("HIC", "IHC")
        lower = desk.rest(fork_)
        rolling = ("wheels", "bearings", "axles")
        bar_ = desk.bar(
            "standard" if fork_.tags["system"] == "IHC" else "oversized",
            slotted=True,
            family="steel",
        )
        desk.ask(
            [*(p for p in lower if p.role not in rolling), fork_, bar_],
            rng.choice(styles[:4]),
            "wheels worn out",
            budget=rng.choice((130, 160, 190)),
        )
    for place in range(12):
        fork_ = desk.fork("ICS", "both")
        bar_ = desk.bar("mix", slotted=True, family="aluminium")
        desk.ask(
            [*desk.rest(fork_), fork_, bar_],
            ("park", "street")[place % 2],
            "light set-up without a sleeve",
            budget=rng.choice((70, 90)),
        )
    for place in range(12):
        if place % 3 == 0:
            have = shelf.of("deck", head="44")
            note = "owns the old 44 mm head tube"
        elif place % 3 == 1:
            have = shelf.of("fork", system="orphan")
            note = "cannot find a kit for this fork"
        else:
            have = shelf.of("headset", head="36")
            note = "bought the wrong headset, wants to keep it"
        desk.ask(have, rng.choice(styles[:4]), note, budget=rng.choice((350, 450, 600)))
    for place in range(14):
        fork_ = desk.fork("HIC", "IHC")
        lower = [p for p in desk.rest(fork_) if p.role != "axles"]
        pegs = desk.one(shelf.of("pegs", shank=HUBS[fork_.tags["hub"]][1]))
        desk.ask(
            [*lower, fork_, pegs],
            "street",
            "wants pegs on",
            budget=rng.choice((140, 180, 220)),
            material="steel" if place % 2 else "",
        )
    rows = sorted(desk.rows, key=lambda row: (row[0], row[1]))
    return [(f"E{n:03d}", date.isoformat(), *cells) for n, (date, cells) in enumerate(rows, 1)]


# ---------------------------------------------------------------- files


def build() -> dict[str, list[tuple[str, ...]]]:
    """Return every table with its header, by file name."""
    shelf = Shelf(2026)
    make_decks(shelf)
    make_forks(shelf)
    make_headsets(shelf)
    make_kits(shelf)
    make_clamps(shelf)
    make_bars(shelf)
    make_sleeves(shelf)
    make_liners_and_inserts(shelf)
    make_grips_and_plugs(shelf)
    make_wheels(shelf)
    make_brakes_and_pegs(shelf)
    parts = ("sku", "role", "name", "maker", "price", "mass", "material", "note")
    features = ("sku", "feature", "dimension", "value", "basis", "note")
    enquiries = (
        *("number", "date", "have", "budget", "max_mass"),
        *("material", "style", "count", "note"),
    )
    return {
        "parts.csv": [parts, *shelf.parts],
        "features.csv": [features, *shelf.features],
        "stock.csv": [("sku", "quantity", "place"), *make_stock(shelf, 7)],
        "enquiries.csv": [enquiries, *make_enquiries(shelf, 11)],
    }


def write(folder: Path) -> None:
    """Write the tables into a folder, which is made if it is not there."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, rows in build().items():
        with (folder / name).open("w", encoding="utf-8", newline="") as file:
            csv.writer(file, lineterminator="\n").writerows(rows)


if __name__ == "__main__":
    write(Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER)
