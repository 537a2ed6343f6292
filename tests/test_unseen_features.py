"""Two joints that hang on one slot that nobody has seen, through the front door.

A band around a bar and around a bolt: with its slot it closes on both, without it on neither
where they are loose. Sizes are this file's own, verdicts by hand.
"""

from __future__ import annotations

import itertools
from pathlib import Path

import pytest

import fitgraph

ROLE = """
[roles.{0}]
fill = "always"
[roles.{0}.features.skin]
kind = "spigot"
dimensions.d = {{ plausible = "5..20 mm" }}
"""
VOCABULARY = (
    '[trade]\nname = "Bands"\ncurrency = "EUR"\nminor_digits = 2\n'
    + "".join(map(ROLE.format, ("bar", "bolt")))
    + """
[roles.band]
fill = "always"
[roles.band.features.big]
kind = "bore"
dimensions.d = { plausible = "5..20 mm" }
[roles.band.features.small]
kind = "bore"
dimensions.d = { plausible = "5..20 mm" }
[roles.band.features.cut]
kind = "slot"
if_missing = "unknown"
dimensions.w = { plausible = "1..3 mm" }
"""
    + "".join(
        f"""
[[joints]]
id = "{other}-in-band"
title = "{other} in the band"
rule = "closes-by-slot"
bore = "band.{bore}.d"
spigot = "{other}.skin.d"
slot = "band.cut.w"
least = "0 mm"
"""
        for other, bore in (("bar", "big"), ("bolt", "small"))
    )
)
#: What they are smaller than their bore, and what that comes to: with a slot of at most 3 mm
#: the band closes 0.95 mm.
LOOSE = {"0.5": "unknown", "2.0": "fails", "-1.0": "fails"}


@pytest.mark.parametrize("known", ["", "A,cut,w,3,maker\n"])
def test_joints_on_one_unseen_slot_are_told_apart(tmp_path: Path, known: str) -> None:
    (tmp_path / "vocabulary.toml").write_text(VOCABULARY)
    parts = ["A,band,1", "B,band,1"]
    figures = [
        known + f"{band},{bore},d,{mm},maker"
        for band in "AB"
        for bore, mm in (("big", 15), ("small", 10))
    ]
    for (n, loose), (role, mm) in itertools.product(enumerate(LOOSE), (("bar", 15), ("bolt", 10))):
        parts.append(f"{role}-{n},{role},1")
        figures.append(f"{role}-{n},skin,d,{mm - float(loose)},maker")
    (tmp_path / "parts.csv").write_text("\n".join(["sku,role,price", *parts]))
    (tmp_path / "features.csv").write_text(
        "\n".join(["sku,feature,dimension,value,basis", *figures])
    )
    shop = fitgraph.open(tmp_path)
    for bar, bolt in itertools.product(range(3), range(3)):
        pair = [list(LOOSE.values())[n] for n in (bar, bolt)]
        wanted = "fails" if "fails" in pair else "fits" if known else "unknown"
        assert shop.why("A", f"bar-{bar}", f"bolt-{bolt}").verdict == wanted
    assert shop.why("B").verdict == "unknown"
    assert shop.why("A").verdict == ("fits" if known else "unknown")
    assert shop.why("bar-1").verdict == "fails"
