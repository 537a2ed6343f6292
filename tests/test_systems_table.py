"""Every pairing of system, bar, clamp, sleeve and insert against a table written by hand.

The facts are common practice of the trade, no source; ``systems_table.csv`` states them,
one row for each reason, and was written without looking at what the package answers.
"""

from __future__ import annotations

import csv
import itertools
from pathlib import Path

import pytest

from fitgraph.catalogue import demo_folder, load
from fitgraph.explain import Explainer
from fitgraph.model import Verdict
from tests.turns import turns

TABLE = Path(__file__).with_name("systems_table.csv")

AXES = {
    "system": ("IHC", "HIC", "SCS", "ICS"),
    "material": ("steel", "aluminium", "titanium"),
    "family": ("standard", "oversized"),
    "slot": ("slotted", "unslotted"),
    "clamp": ("standard", "oversized"),
    "shim": ("usual", "adapter"),
    "insert": ("with", "without"),
}
COMBINATIONS = [
    dict(zip(AXES, values, strict=True)) for values in itertools.product(*AXES.values())
]

# Sizes in mm; common practice, no source.
OUTSIDE = {"standard": 31.8, "oversized": 34.9}
BORE = {
    ("steel", "standard"): 28.6,
    ("steel", "oversized"): 31.8,
    ("aluminium", "standard"): 25.4,
    ("aluminium", "oversized"): 28.6,
    ("titanium", "standard"): 28.6,
    ("titanium", "oversized"): 31.8,
}
MATERIAL = {
    "steel": "steel-4130",
    "aluminium": "aluminium-6061-t6",
    "titanium": "titanium-3al-2.5v",
}
LOOSE = 0.1  # how much wider a bore is made than its nominal size
SLOT_LENGTH = 50


def hand_table() -> list[dict[str, str]]:
    with TABLE.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def matches(row: dict[str, str], combination: dict[str, str]) -> bool:
    return all(row[a] == "*" or combination[a] in row[a].split("|") for a in AXES)


def bar_sku(combination: dict[str, str]) -> str:
    return f"BAR-{combination['material']}-{combination['family']}-{combination['slot']}".upper()


def _features() -> dict[str, dict[str, object]]:
    """Return one exact part for each kind: feature.dimension to size or word."""
    dropout = {"dropout.width": 24.4, "dropout.hole": 8.2, "wheel_gap.diameter": 116}
    parts: dict[str, dict[str, object]] = {
        "DECK": {
            "head.diameter": 41.9,
            "head.angle": "45",
            "brake_mount.pattern": "two holes",
            **dropout,
        },
        "HEADSET": {"outside.diameter": 41.8, "outside.angle": "45", "bore.diameter": 28.7},
        "GRIPS": {"bore.diameter": 21.5, "length.length": 140},
        "PLUGS": {"outside.diameter": 18.5},
        "WHEELS": {"tyre.diameter": 110, "hub.width": 24, "seat.diameter": 21.98},
        "BEARINGS": {"outside.diameter": 22, "bore.diameter": 8},
        "AXLES": {"shank.diameter": 7.95, "shank.length": 60},
        "BRAKE": {"mount.pattern": "two holes", "reach.diameter": 116},
    }
    top = {"IHC": 25.4, "HIC": 28.6, "SCS": 28.6, "ICS": 28.6}
    for system, size in top.items():
        way: dict[str, object] = (
            {"through.diameter": 9} if system == "ICS" else {"anchor.thread": "M6"}
        )
        parts[f"FORK-{system}"] = {
            "steerer.diameter": 28.6,
            "top.diameter": size,
            "top.length": 80,
            **way,
            **dropout,
        }
    parts["KIT-IHC"] = {
        "shim_bore.diameter": 25.4 + LOOSE,
        "shim_outside.diameter": 28.6,
        "shim_slot.width": 3,
        "bolt.thread": "M6",
        "sleeve_cap.diameter": 27.5,
    }
    parts["KIT-HIC"] = {
        "shim_bore.diameter": 28.6 + LOOSE,
        "shim_outside.diameter": 31.8,
        "shim_slot.width": 3,
        "bolt.thread": "M6",
        "sleeve_cap.diameter": 30.5,
    }
    parts["KIT-SCS"] = {"bolt.thread": "M6", "clamp_cap.diameter": 24}
    parts["KIT-ICS"] = {"bar_nut.diameter": 29.2, "through_bolt.diameter": 8}
    for family, outside in OUTSIDE.items():
        collar: dict[str, object] = {
            "bore.diameter": outside + LOOSE,
            "slot.width": 4,
            "height.length": 45,
            "bolts.thread": "M6",
            "bolts.count": "2",
        }
        parts[f"COLLAR-{family}".upper()] = collar
        parts[f"EXTERNAL-{family}".upper()] = {
            **collar,
            "fork_bore.diameter": 28.6 + LOOSE,
            "seat.diameter": 20,
        }
    for maker in ("ONE", "TWO"):
        parts[f"SLEEVE-{maker}"] = {
            "bore.diameter": 25.4 + LOOSE,
            "outside.diameter": 31.8,
            "slot.width": 3,
            "key.maker": f"maker {maker.lower()}",
        }
    for bore in sorted(set(BORE.values())):
        parts[f"INSERT-{bore}"] = {"outside.diameter": bore, "length.length": SLOT_LENGTH + 10}
    for (material, family), bore in BORE.items():
        for slot in (*AXES["slot"], "unseen"):
            sku = f"BAR-{material}-{family}-{slot}".upper()
            parts[sku] = {
                "outside.diameter": OUTSIDE[family],
                "bore.diameter": bore + LOOSE,
                "height.length": 600,
                "grip_end.diameter": 22.2,
                "grip_end.length": 150,
                "end_bore.diameter": 18.6,
            }
            if slot == "slotted":
                parts[sku] |= {"slot.width": 3, "slot.length": SLOT_LENGTH}
            if slot == "unslotted":
                parts[sku]["slot."] = "no"
    return parts


_ROLE_OF = {"collar": "clamp", "external": "clamp"}


def write_catalogue(folder: Path) -> None:
    (folder / "vocabulary.toml").write_bytes((demo_folder() / "vocabulary.toml").read_bytes())
    parts, figures = [], []
    for sku, features in _features().items():
        kind, *rest = sku.lower().split("-")
        material = MATERIAL[rest[0]] if kind == "bar" else ""
        mass = "" if kind == "bar" else "100 g"
        parts.append([sku, _ROLE_OF.get(kind, kind), sku, "maker one", "10.00", mass, material])
        for path, value in features.items():
            feature, dimension = path.split(".")
            text = value if isinstance(value, str) else f"{value} ±0.02"
            figures.append([sku, feature, dimension, text, "measured"])
    for name, header, rows in (
        ("parts.csv", "sku,role,name,maker,price,mass,material", parts),
        ("features.csv", "sku,feature,dimension,value,basis", figures),
        ("stock.csv", "sku,quantity", [[row[0], 1] for row in parts]),
    ):
        with (folder / name).open("w", encoding="utf-8", newline="") as file:
            writer = csv.writer(file)
            writer.writerow(header.split(","))
            writer.writerows(rows)


@pytest.fixture(scope="module")
def explainer(tmp_path_factory: pytest.TempPathFactory) -> Explainer:
    folder = tmp_path_factory.mktemp("systems")
    write_catalogue(folder)
    loaded = load(folder)
    assert [str(f) for f in loaded.findings] == []
    return Explainer(loaded.catalogue)


def named(combination: dict[str, str]) -> list[str]:
    """Return the stock numbers of a combination: kit, fork, bar, clamp, sleeve, insert."""
    system = combination["system"]
    kind = "EXTERNAL" if system == "SCS" else "COLLAR"
    skus = [
        f"KIT-{system}",
        f"FORK-{system}",
        bar_sku(combination),
        f"{kind}-{combination['clamp']}".upper(),
    ]
    if combination["shim"] == "adapter":
        skus.append("SLEEVE-ONE")
    if combination["insert"] == "with":
        skus.append(f"INSERT-{BORE[combination['material'], combination['family']]}")
    return skus


def test_hand_table_covers_every_combination_once() -> None:
    rows = hand_table()
    assert len(COMBINATIONS) == 4 * 3 * 2 * 2 * 2 * 2 * 2 == 384
    for row in rows:
        for axis, words in AXES.items():
            assert row[axis] == "*" or set(row[axis].split("|")) <= set(words), row
        assert row["verdict"] in ("fits", "fails")
        assert (row["joint"] == "") == (row["verdict"] == "fits"), row
    per_row = [sum(matches(row, c) for c in COMBINATIONS) for row in rows]
    assert all(per_row)
    assert all(sum(matches(row, c) for row in rows) == 1 for c in COMBINATIONS)
    # By hand: 5 for IHC (steel and titanium standard, aluminium oversized; with the adapter
    # steel and titanium oversized), 2 for HIC, 3 for ICS, and for SCS six bars in the clamp of
    # their size, each unslotted with and without an insert and slotted with one.
    fitting = sum(n for n, row in zip(per_row, rows, strict=True) if row["verdict"] == "fits")
    assert fitting == 5 + 2 + 3 + 6 * 3


@pytest.mark.parametrize("row", hand_table(), ids=lambda r: "-".join(r[a] for a in AXES))
def test_verdicts_are_those_of_the_trade(row: dict[str, str], explainer: Explainer) -> None:
    """Common practice, no source: verdict and governing joint for each combination."""
    alike = [c for c in COMBINATIONS if matches(row, c)]
    for combination in alike[:: -(-len(alike) // turns(len(alike), 3))]:
        told = explainer.why(named(combination), with_changes=False)
        assert told.verdict.word == row["verdict"], combination
        governing = {c.joint.name for c in told.conflicts}
        assert governing if row["joint"] else not governing, combination
        if row["joint"]:
            assert row["joint"] in governing, (combination, governing)


def _steps(told) -> list[list[tuple[str, str, tuple[str, ...]]]]:
    return [[(a.kind, a.role, a.after.services) for a in c.actions] for c in told.changes]


@pytest.mark.parametrize("system", ["IHC", "HIC", "ICS"])
def test_an_unslotted_bar_on_an_internal_system_is_mended_by_cutting_a_slot(
    system: str, explainer: Explainer
) -> None:
    """Common practice, no source."""
    family = "oversized" if system == "HIC" else "standard"
    told = explainer.why(
        [
            f"KIT-{system}",
            f"FORK-{system}",
            f"BAR-STEEL-{family}-UNSLOTTED".upper(),
            f"COLLAR-{family}".upper(),
        ]
    )
    assert told.verdict is Verdict.FAILS
    assert [("service", "bar", ("cut-slot",))] in _steps(told)
    change = next(c for c in told.changes if c.actions[0].after.services)
    assert change.price == 1500


def test_a_slotted_bar_in_an_external_clamp_is_mended_by_insert_or_by_trimming(
    explainer: Explainer,
) -> None:
    """Common practice, no source: trimming costs about two inches of height."""
    told = explainer.why(
        ["KIT-SCS", "FORK-SCS", "BAR-TITANIUM-OVERSIZED-SLOTTED", "EXTERNAL-OVERSIZED"]
    )
    assert told.verdict is Verdict.FAILS
    steps = _steps(told)
    assert [("add", "insert", ())] in steps
    assert [("service", "bar", ("trim-slot",))] in steps
    insert = next(c for c in told.changes if c.actions[0].kind == "add").actions[0]
    assert insert.after.part is not None and insert.after.part.sku == "INSERT-31.8"
    trim = next(c for c in told.changes if c.actions[0].after.services).actions[0]
    lost = (
        trim.before.features["height"].lengths["length"].mid
        - trim.after.features["height"].lengths["length"].mid
    )
    assert abs(lost - 2 * 25.4) < 1.0
    # The tube cut off weighs length x ring x density: 51 mm, 34.9 over 31.9, 4.48 g/cm3.
    ring_cm2 = 3.14159265 / 4 * (3.49**2 - 3.19**2)
    assert trim.mass_change_g == pytest.approx(-5.1 * ring_cm2 * 4.48, rel=0.01)


def test_adapter_sleeve_of_another_maker_fails_by_its_key(explainer: Explainer) -> None:
    """Common practice, no source: an adapter sleeve serves only its own maker's fork."""
    wanted = ["KIT-IHC", "FORK-IHC", "BAR-STEEL-OVERSIZED-SLOTTED", "COLLAR-OVERSIZED"]
    assert explainer.why([*wanted, "SLEEVE-ONE"]).verdict is Verdict.FITS
    other = explainer.why([*wanted, "SLEEVE-TWO"])
    assert other.verdict is Verdict.FAILS
    assert [c.joint.name for c in other.conflicts] == ["sleeve-key"]
    assert [("swap", "sleeve", ())] in _steps(other)
    # Without any adapter sleeve, adding the fork's own is a way out.
    bare = explainer.why(wanted)
    assert bare.verdict is Verdict.FAILS
    added = [c for c in bare.changes if [a.kind for a in c.actions] == ["add"]]
    assert [c.actions[0].after.label for c in added] == ["SLEEVE-ONE"]
    assert added[0].alternatives == 1


@pytest.mark.parametrize("kind", ["COLLAR", "EXTERNAL"])
def test_standard_clamp_on_an_oversized_bar_lacks_three_millimetres(
    kind: str, explainer: Explainer
) -> None:
    """34.9 - 31.9 = 3.0 by hand; the most favourable sizes give back 0.04."""
    told = explainer.why([f"{kind}-STANDARD", "BAR-STEEL-OVERSIZED-SLOTTED"])
    clash = next(c for c in told.joints if c.joint.name == "clamp-on-bar")
    assert clash.verdict is Verdict.FAILS
    assert clash.margin_mm == pytest.approx(-2.96, abs=1e-6)
    figures = {f.argument: f.dimension.mid for f in clash.figures if f.dimension is not None}
    assert figures == pytest.approx({"bore": 31.9, "spigot": 34.9, "slot": 4.0})


@pytest.mark.parametrize("system", AXES["system"])
def test_a_slot_nobody_looked_for_leaves_the_verdict_open(
    system: str, explainer: Explainer
) -> None:
    family = "oversized" if system == "HIC" else "standard"
    combination = {
        "system": system,
        "material": "titanium",
        "family": family,
        "slot": "unseen",
        "clamp": family,
        "shim": "usual",
        "insert": "without",
    }
    told = explainer.why(named(combination), with_changes=False)
    assert told.verdict is Verdict.UNKNOWN
    wanted = (
        "slot-held-open"
        if system == "SCS"
        else {"IHC": "bar-on-shim", "HIC": "bar-on-shim", "ICS": "bar-on-steerer"}[system]
    )
    assert wanted in {c.joint.name for c in told.conflicts}
    assert all(c.verdict is Verdict.UNKNOWN for c in told.conflicts)


def test_an_insert_in_an_unslotted_bar_fits_with_a_remark(explainer: Explainer) -> None:
    """Common practice, no source: it does no work and no harm."""
    parts = ["KIT-SCS", "FORK-SCS", "BAR-STEEL-STANDARD-UNSLOTTED", "EXTERNAL-STANDARD"]
    told = explainer.why([*parts, "INSERT-28.6"])
    assert told.verdict is Verdict.FITS
    assert [c.joint.name for c in told.remarks] == ["insert-idle"]
    assert explainer.why(parts).remarks == ()


def test_external_clamp_with_an_internal_kit_fails_and_so_does_the_reverse(
    explainer: Explainer,
) -> None:
    """Common practice, no source: each compression kit presses on its own counterpart."""
    bar = "BAR-STEEL-STANDARD-UNSLOTTED"
    told = explainer.why(["KIT-IHC", "EXTERNAL-STANDARD", bar], with_changes=False)
    assert told.verdict is Verdict.FAILS
    assert "cap-needs-collar" in {c.joint.name for c in told.conflicts}
    told = explainer.why(["KIT-SCS", "COLLAR-STANDARD"], with_changes=False)
    assert told.verdict is Verdict.FAILS
    assert "cap-needs-seat" in {c.joint.name for c in told.conflicts}
