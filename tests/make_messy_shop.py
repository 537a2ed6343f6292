"""A shop's own spreadsheet as life makes it: 400 products with titles only, made by lot.

``python -m tests.make_messy_shop FILE`` writes it; the seed is fixed. Makers and models are
invented. A :class:`Product` keeps what its title truly says, for tests.
"""

from __future__ import annotations

import random
import sys
from dataclasses import dataclass, field
from pathlib import Path

MAKERS = ("Vendlemoor", "Skerrowby", "Ostrathby", "Tarnholt", "Oxenfirth", "Marrowick", "Culverine")
MODELS = (
    "Sedgarth",
    "Culmory",
    "Gorsewick",
    "Yarrith",
    "Transith",
    "Shackleth",
    "Billoway",
    "Strakeby",
    "Fallowick",
)
COLOURS = ("black", "raw", "neo", "blue", "schwarz", "oil slick", "white", "")

#: Kinds whose titles give no size.
OTHERS = {
    "headset": "integrated headset",
    "plugs": "bar ends",
    "bearings": "wheel bearings, set of four",
    "axles": "axles, pair",
    "brake": "fender brake",
    "kit": "compression kit",
}


@dataclass
class Product:
    """A row, and what it truly says."""

    cells: list[str]
    role: str = ""
    figures: dict[str, float] = field(default_factory=dict)
    fault: str = ""


def _size(rng: random.Random, mm: float) -> str:
    text = rng.choice([f"{mm}", f"{mm} mm", f"{mm}mm", f"ø{mm}"])
    return text.replace(".", ",") if rng.random() < 0.4 else text


def _price(rng: random.Random, least: int, most: int) -> str:
    amount = rng.randint(least, most) - 0.1
    return rng.choice(
        [
            f"{amount:.2f}".replace(".", ","),
            f"{amount:.2f} €".replace(".", ","),
            f"€ {amount:.2f}".replace(".", ","),
        ]
    )


def products(seed: int = 1, count: int = 400) -> list[Product]:
    """Return so many products, some of them with a fault."""
    rng = random.Random(seed)
    found: list[Product] = []
    for n in range(count):
        maker, model, colour = rng.choice(MAKERS), rng.choice(MODELS), rng.choice(COLOURS)
        kind = rng.choice(
            ["bar"] * 4
            + ["fork"] * 3
            + ["clamp"] * 3
            + ["wheels", "wheels", "deck", "grips", *OTHERS]
        )
        figures: dict[str, float] = {}
        if kind == "bar":
            outside, bore = rng.choice([(34.9, 31.8), (31.8, 28.6), (34.9, 28.6)])
            figures = {"outside.diameter": outside, "bore.diameter": bore}
            word = rng.choice(["bar", "Lenker", "handlebar"])
            slot = rng.choice(["slotted", "no slot", "geschlitzt"])
            title = f"{maker} {model} {word} {_size(rng, outside)} OD / {_size(rng, bore)} ID {slot} CrMo {colour}"
            price = _price(rng, 60, 140)
        elif kind == "fork":
            top, wheel = rng.choice([28.6, 25.4]), rng.choice([110, 120])
            figures = {"top.diameter": top, "wheel_gap.diameter": wheel + 6.5}
            title = f"{maker} {model} {rng.choice(['fork', 'Gabel'])} {_size(rng, top)} steerer for {wheel} mm wheels {colour}"
            price = _price(rng, 70, 110)
        elif kind == "clamp":
            bore = rng.choice([31.8, 34.9])
            figures = {"bore.diameter": bore}
            title = f"{maker} {rng.choice(['triple', 'double', 'quad'])} {rng.choice(['clamp', 'Klemme'])} for {_size(rng, bore)} bars {colour}"
            price = _price(rng, 20, 50)
        elif kind == "wheels":
            size = rng.choice([100, 110, 120])
            figures = {"tyre.diameter": size}
            title = f"{maker} {model} wheels {size} x 24 pair {colour}"
            price = _price(rng, 30, 80)
        elif kind in OTHERS:
            title = f"{maker} {model} {OTHERS[kind]} {colour}"
            price = _price(rng, 6, 25)
        elif kind == "deck":
            title = f"{maker} {model} deck 6061 {colour}"
            price = _price(rng, 70, 160)
        else:
            title = f"{maker} {model} grips 160 mm long {colour}"
            figures = {"length.length": 160}
            price = _price(rng, 8, 20)
        product = Product(
            [f"{maker[:3].upper()}-{n:04}", " ".join(title.split()), price, str(rng.randint(0, 9))],
            kind,
            figures,
        )
        roll = rng.random()
        if roll < 0.01:
            product.cells[0], product.fault = "", "no number"
        elif roll < 0.02 and found:
            earlier = next(p for p in reversed(found) if p.cells[0])
            product.cells[0], product.fault = earlier.cells[0].lower(), "number twice"
        elif roll < 0.035:
            product.cells[1], product.fault = f"{maker} gift voucher", "no kind"
        elif roll < 0.045:
            product.cells[2] = rng.choice(["on request", "1,000", "£39.99", "-"])
        found.append(product)
    return found


def text(made: list[Product]) -> bytes:
    """Return the spreadsheet as it was saved: a title, a gap, semicolons, Windows' letters."""
    lines = ["Warenbestand Laden;;;", ";;;", "Art.-Nr.;Bezeichnung;VK brutto;Bestand"]
    lines += [";".join(p.cells) for p in made]
    total = sum(int(p.cells[3]) for p in made)
    lines.append(f"Summe;;;{total}")
    return ("\r\n".join(lines) + "\r\n").encode("cp1252")


if __name__ == "__main__":
    Path(sys.argv[1]).write_bytes(text(products()))
