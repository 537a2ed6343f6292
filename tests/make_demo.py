"""Write the demo catalogue: parts, features, stock and enquiries of an invented shop.

Run ``python -m tests.make_demo [FOLDER]``. The same seeds give the same bytes, so the tables in
``data/demo`` can be checked against this file, which holds only what is drawn by lot. What is
made by hand stands in ``tests/demo``; to add a part or a figure, add a row there.

- ``ROLE.csv`` has a row for each part of a role: its number, its price (an amount, or
  ``least..most`` to draw between) and what it is measured by. With `known` every figure is
  there, otherwise some lack by lot; `stock` fixes the pieces held. A part that comes later is
  marked `late`: it draws for itself and no rider owns it, so that all others stay as they are.
  A bar's mass left blank is worked out.
- ``figures.csv`` says which rows of ``features.csv`` a role's parts get: a figure is a column of
  the part, a number, or a sum of them, with limits around it that makers keep to. A part whose
  column is blank gets no row. How: `loose` mates with nothing closely, `sure` is marked on the
  part and so known even where little else is, `optional` says so where it is not known, as a
  part without any row would count as not having the feature, and `apart` draws from numbers of
  its own. `word`, `marked` and `bare` are no lengths.
- ``features.csv`` has rows of the catalogue written by hand. Lengths among them replace those
  that would be drawn, words stand beside them.
- ``shop.toml`` has what rows share, and what riders ask for.

Makers, models, prices, stock and riders are invented. Sizes follow common practice of the trade
(no source) unless a comment names a standard; ``data/demo/README.md`` tells the scenario.
"""

from __future__ import annotations

import csv
import datetime
import math
import random
import sys
import tomllib
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

from fitgraph.mechanics.limits_and_fits import standard_tolerance_mm
from fitgraph.mechanics.materials import material

TABLES = Path(__file__).resolve().parent / "demo"
FOLDER = TABLES.parent.parent / "data" / "demo"


def rows_of(path: Path) -> list[dict[str, str]]:
    """Return the rows of a table."""
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


SHOP = tomllib.loads((TABLES / "shop.toml").read_text(encoding="utf-8"))
BY_ROLE = {role: rows_of(TABLES / f"{role}.csv") for role in SHOP["roles"]}

# A third of the parts is poorly documented, and those lack most of their figures: about one
# dimension in ten is unknown.
POORLY = 0.34
LACKING = 0.62
# A bare nominal figure has wide limits, so that only a share of its pairs fits for certain.
BARE = 0.05
TWO_SOURCES = 0.04

INCHES = {25.4: ('1"', 25.4), 28.6: ('1 1/8"', 28.575), 31.8: ('1 1/4"', 31.75)}
INCHES[34.9] = ('1 3/8"', 34.925)

Window = tuple[float, float]
Row = Callable[..., None]


def by_lot(rng: random.Random, text: str) -> str:
    """Draw one of what a text offers, ``a or b or c``; nothing is drawn where it offers one."""
    offered = text.split(" or ")
    drawn = rng.choice(offered) if len(offered) > 1 else text
    return "" if drawn == "none" else drawn


def price(rng: random.Random, text: str) -> str:
    """Return a shop price, drawn where a text says between which amounts."""
    if ".." not in text:
        return text
    low, high = map(float, text.split(".."))
    return f"{round(rng.uniform(low, high)) - rng.choice((0.10, 0.10, 0.05, 0.50)):.2f}"


def typed(
    rng: random.Random, window: Window, nominal: float, hole: bool
) -> tuple[str, str, Window]:
    """Return a figure as people type it, its basis, and its limits, which lie in `window`."""
    low, high = round(window[0], 3), round(window[1], 3)
    ways: list[tuple[str, str, Window]] = []

    def take(value: str, basis: str, lo: float, hi: float) -> None:
        if low - 1e-9 <= lo and hi <= high + 1e-9:
            ways.append((value, basis, (lo, hi)))

    if high - low > 0.8:
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
        inches, mm = INCHES[nominal]
        take(inches, "measured", mm - 0.03, mm + 0.03)
    if 6 < nominal <= 50:
        grade = standard_tolerance_mm(nominal, 9)
        if hole:
            take(f"{nominal:g} H9", "maker", nominal, nominal + grade)
        else:
            take(f"{nominal:g} h9", "maker", nominal - grade, nominal)
    return rng.choice(ways)


# ---------------------------------------------------------------- parts and their figures


class Part(dict[str, str]):
    """A part's row, with what its role and its kinds add to it; the rest is blank."""

    rng: random.Random
    #: Whether the part has all figures that it is to have, rather than some by lot.
    documented: bool
    #: Whether a length is written by hand in place of one drawn: no rider owns such a part.
    odd = False

    def __missing__(self, column: str) -> str:
        return ""

    def number(self, text: str, column: str) -> float:
        """Return the number that a column's text is."""
        try:
            return float(text)
        except ValueError:
            place = f"tests/demo/{self['role']}.csv, {self['sku']}, {column}"
            raise SystemExit(f"{place}: {text!r} is no number; write one like 31.8") from None

    def mm(self, column: str) -> float:
        """Return a column's number."""
        return self.number(self[column], column)

    def figure(self, of: str) -> str:
        """Return what a column, a number, or a sum of them comes to; blank where one is."""
        terms = of.replace(" - ", " + -").split(" + ")
        values = [self[term] if term[0].isalpha() else term for term in terms]
        if "" in values:
            return ""
        return (
            values[0] if len(values) == 1 else str(sum(self.number(value, of) for value in values))
        )


def looked_up(names: dict[str, Any], name: str, place: str) -> Any:
    """Return what `shop.toml` has under a name."""
    if name not in names:
        told = f"write one of these or add it there: {', '.join(names)}"
        raise SystemExit(f"tests/demo/{place}: {name!r} is not in shop.toml; {told}")
    return names[name]


def as_part(role: str, row: dict[str, str]) -> Part:
    """Return a row with what its role and the words in it stand for."""
    said = {column: text for column, text in row.items() if text}
    shared = dict(SHOP["roles"][role])
    for column, kinds in SHOP["kinds"].items():
        if column in said:
            shared |= looked_up(kinds, said[column], f"{role}.csv, {row['sku']}, {column}")
    maker = looked_up(SHOP["makers"], row["sku"].split("-")[1], f"{role}.csv, {row['sku']}")
    return Part({k: str(v) for k, v in shared.items()} | said, role=role, maker=maker)


def bar_mass(rng: random.Random, bar: Part) -> float:
    """Return the mass of a T bar in g: upright, cross tube, and a share for gusset and welds."""
    upright = math.pi / 4 * (bar.mm("outside") ** 2 - bar.mm("bore") ** 2) * bar.mm("height")
    cross = math.pi / 4 * (bar.mm("end") ** 2 - bar.mm("end_bore") ** 2) * bar.mm("width")
    mass = (upright + cross) * material(bar["material"]).density_kg_m3 * 1e-6 * 1.18
    return round(mass / 5) * 5 + rng.choice((-10, -5, 0, 5, 10, 15))


class Shelf:
    """Draws the parts and the figures of each."""

    def __init__(self, seed: int) -> None:
        self.seed = seed
        self.rng = random.Random(seed)
        self.made: list[Part] = []
        self.parts: list[tuple[str, ...]] = []
        self.features: list[tuple[str, ...]] = []
        by_hand: dict[str, list[tuple[str, ...]]] = {}
        for row in rows_of(TABLES / "features.csv"):
            by_hand.setdefault(row["sku"], []).append(tuple(row.values()))
        rules = rows_of(TABLES / "figures.csv")
        for role, rows in BY_ROLE.items():
            for row in rows:
                part = self.add(as_part(role, row))
                told = by_hand.get(part["sku"], [])
                for rule in rules:
                    if rule["role"] == role:
                        self.figure(part, rule, {of[1:3] for of in told})
                self.features += told
        for sku in by_hand.keys() - {part["sku"] for part in self.made}:
            raise SystemExit(f"tests/demo/features.csv: no table there has a part {sku}; add it")

    def of(self, role: str, **wanted: str) -> list[Part]:
        """Return the parts of a role that have these words in these columns."""
        wanted["role"] = role
        return [p for p in self.made if all(p[column] == text for column, text in wanted.items())]

    def add(self, part: Part) -> Part:
        """Add a part."""
        # Each part draws for itself, so that a change to one leaves the others alone; what it
        # costs and weighs is drawn from the numbers of the part before.
        rng = part.rng = random.Random(f"{self.seed} {part['sku']}")
        before = rng if part["late"] else self.rng
        part["price"] = price(before, part["price"])
        if part["role"] == "bar" and not part["mass"]:
            part["mass"] = str(bar_mass(before, part))
        part.documented = bool(part["known"]) or rng.random() >= POORLY
        shown = ""
        if part["mass"] and (part.documented or rng.random() >= LACKING):
            mass = part.mm("mass")
            heavy = mass >= 1000 and rng.random() < 0.3
            shown = f"{mass / 1000:.2f} kg" if heavy else f"{mass:.0f} g"
        head = (part["sku"], part["role"], f"{part['maker']} {part['name']}", part["maker"])
        self.parts.append((*head, part["price"], shown, part["material"], part["note"]))
        self.made.append(part)
        if not part["late"]:
            self.rng = rng
        return part

    def figure(self, part: Part, rule: dict[str, str], by_hand: set[tuple[str, ...]]) -> None:
        """Add what a rule says of a part, unless it is written by hand."""
        feature, dimension, how = rule["feature"], rule["dimension"], rule["how"].split()
        text = part.figure(rule["figure"])

        def row(value: str, basis: str = "", note: str = "", of: str = dimension) -> None:
            self.features.append((part["sku"], feature, of, value, basis, note))

        if not text:
            return
        if "word" in how:
            lost = not part.documented and part.rng.random() < LACKING / 2
            row("?") if lost else row(text, "maker")
        elif "marked" in how or "bare" in how:
            row(text, "maker" if "marked" in how else "nominal")
        elif by_hand & {(feature, dimension), (feature, "")}:
            part.odd = True
        elif text in ("no", "?"):
            # Of half the features of which nobody knows whether they are there, nothing is said.
            if text == "no" or part.rng.random() < 0.5:
                row(text, of="")
        else:
            self.length(part, rule, part.number(by_lot(part.rng, text), rule["figure"]), row)

    def length(self, part: Part, rule: dict[str, str], nominal: float, row: Row) -> None:
        """Add a length that makers keep within limits, in one of the ways people type it."""
        how = rule["how"].split()
        apart, rng = "apart" in how, part.rng
        if apart:
            rng = random.Random(f"{self.seed} {part['sku']} {rule['feature']} {rule['dimension']}")
        if not part.documented and "sure" not in how and rng.random() < LACKING:
            # A part without any row for the feature counts as not having it.
            if apart or "optional" in how or rng.random() < 0.5:
                row("?")
            return
        close = not apart and "loose" not in how
        if close and not part["known"] and rng.random() < BARE:
            row(f"{nominal:g}", rng.choice(("nominal", "")))
            return
        window = (nominal + float(rule["low"]), nominal + float(rule["high"]))
        value, basis, limits = typed(rng, window, nominal, "hole" in how)
        row(value, basis)
        if close and rng.random() < TWO_SOURCES and basis != "measured":
            middle = round(sum(limits) / 2, 2)
            if limits[0] <= middle - 0.03 and middle + 0.03 <= limits[1]:
                row(f"{middle:.2f}", "measured", "checked here")


def make_stock(shelf: Shelf, seed: int) -> list[tuple[str, ...]]:
    """Return the stock rows; about a third of the parts has run out."""
    rng = random.Random(seed)
    rows: list[tuple[str, ...]] = []
    for part in shelf.made:
        draw = random.Random(f"{seed} {part['sku']}") if part["late"] else rng
        held = draw.choices((0, 1, 2, 3, 4, 6, 9, 12), (34, 18, 16, 12, 8, 6, 4, 2))[0]
        if part["price"]:
            rows.append((part["sku"], part["stock"] or str(held), part["place"]))
    return rows


# ---------------------------------------------------------------- enquiries


class Desk:
    """Draws what riders ask for; what they own fits together wherever it can."""

    def __init__(self, shelf: Shelf, seed: int) -> None:
        self.shelf = shelf
        self.rng = random.Random(seed)

    def ask(self, asked: dict[str, str]) -> tuple[str, ...]:
        """Return one enquiry at a date in 2026."""
        drawn: dict[str, list[Part]] = {"rest": []}
        for word in asked.get("have", "").split():
            drawn[word] = self.own(word, asked, drawn)
        style, budget, mass, count = (
            by_lot(self.rng, asked.get(of, usual))
            for of, usual in (("style", ""), ("budget", ""), ("mass", ""), ("count", "1"))
        )
        date = datetime.date(2026, 1, 5) + datetime.timedelta(days=self.rng.randint(0, 300))
        have = " ".join(part["sku"] for parts in drawn.values() for part in parts)
        budget = budget and f"{float(budget):.2f}"
        cells = (have, budget, mass, asked.get("material", ""), style, count, asked["note"])
        return (date.isoformat(), *cells)

    def one(self, parts: Iterable[Part]) -> list[Part]:
        """Draw a part, a fully known one where there is any."""
        parts = [p for p in parts if not p.odd and not p["late"]]
        return [self.rng.choice([p for p in parts if p.documented] or parts)]

    def own(self, word: str, asked: dict[str, str], drawn: dict[str, list[Part]]) -> list[Part]:
        """Draw what a word of an enquiry names, to go with what was drawn before."""
        of = self.shelf.of
        fork, bar = (drawn.get(role, [Part()])[0] for role in ("fork", "bar"))
        if word == "fork":
            maker = {"maker": SHOP["makers"][asked["maker"]]} if "maker" in asked else {}
            systems = asked["systems"].split()
            return self.one(f for f in of("fork", **maker) if f["system"] in systems)
        if word == "bar":
            bars = of("bar", tube=asked.get("tube", fork["usual_tube"]), end="22.2")
            family = asked.get("family", "")
            return self.one(b for b in bars if b["slot_length"] and family in b["material"])
        if word == "collar":
            collars = of("clamp", bore=asked["collar"], kind="collar")
            return self.one(c for c in collars if c.mm("height") < bar.mm("slot_length"))
        if word == "clamp":
            return self.one(of("clamp", bore=bar["outside"], kind="external"))
        if word == "pegs":
            return self.one(of("pegs", shank=fork["axle"]))
        if word == "rest":
            without = asked.get("without", "").split()
            return [part for part in self.rest(fork) if part["role"] not in without]
        return [part for part in self.shelf.made if part["sku"] == word]

    def rest(self, fork: Part) -> list[Part]:
        """Draw the lower half of a scooter round a fork: deck, headset, wheels and brake."""
        of = self.shelf.of
        axle, width, seat = fork["axle"], fork["hub_width"], fork["hub_seat"]
        (deck,) = self.one(of("deck", hub=fork["hub"], head=fork["head"]))
        largest = min(deck.mm("wheel"), fork.mm("wheel"))
        (wheels,) = self.one(
            w for w in of("wheels", width=width, seat=seat) if w.mm("tyre") <= largest
        )
        brakes = of("brake", pattern=deck["pattern"])
        brake = self.one(b for b in brakes if b.mm("wheel") >= wheels.mm("tyre"))
        axles = of("axles", shank=axle)
        return [
            deck,
            *self.one(of("headset", head=deck["head"], thread=fork["thread"])),
            wheels,
            *self.one(of("bearings", inner=axle, outer=seat, known="yes")),
            *self.one(a for a in axles if float(width) + 16 <= a.mm("length") < 70),
            *brake,
            *self.one(g for g in of("grips", end="22.2") if g.mm("length") <= 140),
        ]


def make_enquiries(shelf: Shelf, seed: int) -> list[tuple[str, ...]]:
    """Return the enquiry rows, in order of date."""
    desk = Desk(shelf, seed)
    rows = []
    for asked in SHOP["enquiries"]:
        for place in range(asked["times"]):
            turn = {k: v[place % len(v)] if isinstance(v, list) else v for k, v in asked.items()}
            rows.append(desk.ask(turn))
    return [(f"E{n:03d}", *row) for n, row in enumerate(sorted(rows), 1)]


# ---------------------------------------------------------------- files


def build() -> dict[str, list[tuple[str, ...]]]:
    """Return every table with its header, by file name."""
    shelf = Shelf(2026)
    parts = "sku role name maker price mass material note"
    features = "sku feature dimension value basis note"
    enquiries = "number date have budget max_mass material style count note"
    return {
        "parts.csv": [tuple(parts.split()), *shelf.parts],
        "features.csv": [tuple(features.split()), *shelf.features],
        "stock.csv": [("sku", "quantity", "place"), *make_stock(shelf, 7)],
        "enquiries.csv": [tuple(enquiries.split()), *make_enquiries(shelf, 11)],
    }


def write(folder: Path, tables: dict[str, list[tuple[str, ...]]]) -> None:
    """Write tables into a folder, which is made if it is not there."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, rows in tables.items():
        with (folder / name).open("w", encoding="utf-8", newline="") as file:
            csv.writer(file, lineterminator="\n").writerows(rows)


if __name__ == "__main__":
    write(Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER, build())
