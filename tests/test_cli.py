"""The command line: shapes of JSON, exit codes, and nothing that can harm a terminal.

The plug catalogue below is small enough to be answered by hand: its counts,
clearances, prices and masses are worked out in the comments beside it. Sums
over the demo are added up again from its CSV files.
"""

from __future__ import annotations

import csv
import functools
import io
import json
import os
import re
import shlex
import shutil
import subprocess
import sys
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

import fitgraph.catalogue
import fitgraph.solve.engine
from fitgraph.catalogue import demo_folder, load
from fitgraph.cli import main, output
from fitgraph.cli import notebooks as lab_command
from fitgraph.cli.shared_options import Sort, Wish, WorkOn
from fitgraph.errors import InputError
from fitgraph.explain import Prefer
from fitgraph.explain.requested import Listed, list_builds
from fitgraph.report import as_text
from fitgraph.report import builds as builds_report
from fitgraph.report.hints import Hints
from fitgraph.shop.edge import mass_of
from fitgraph.shop.front import Shop
from fitgraph.solve import Request, Services
from fitgraph.solve.engine import SORTS
from fitgraph.solve.limits import Counted

VOCABULARY = """
[trade]
name = "Plugs"
currency = "EUR"
minor_digits = 2
[cautions]
turning = "Turning can hurt: leave it to a turner."
[roles.hole]
title = "hole"
fill = "always"
[roles.hole.features.bore]
kind = "bore"
dimensions.diameter = { plausible = "5..20 mm" }
[roles.plug]
title = "plug"
fill = "always"
by_material = true
[roles.plug.features.outside]
kind = "spigot"
dimensions.diameter = { plausible = "5..20 mm" }
[[joints]]
id = "plug-in-hole"
title = "plug in the hole"
rule = "clearance"
bore = "hole.bore.diameter"
spigot = "plug.outside.diameter"
least = "0 mm"
most = "0.1 mm"
[services.turn]
title = "turn it down"
role = "plug"
price = "3.00"
shifts = { "outside.diameter" = "-0.53 mm" }
caution = "turning"
"""

# Two holes of 10.01 ±0.01 mm. Clearances by hand: PLUG-A (9.97 ±0.01) leaves 0.02 to 0.06 mm and
# fits both; PLUG-B (10.50 ±0.01) leaves -0.51 to -0.47 mm and fails by 0.47 mm, but turned down
# by 0.53 mm it is PLUG-A's size; nothing is known about PLUG-C. So two builds are certain and,
# PLUG-C counted, four are possible.
PARTS = """sku,role,name,maker,price,mass,material
HOLE-1,hole,Plate,Noname,10.00,100 g,steel-s355
HOLE-2,hole,Plate,Noname,12.00,90 g,
PLUG-A,plug,Plug,Noname,4.00,20 g,
PLUG-B,plug,Plug,Noname,1.50,25 g,
PLUG-C,plug,Plug,Noname,2.50,,
"""
FEATURES = """sku,feature,dimension,value,basis
HOLE-1,bore,diameter,10.01 ±0.01,measured
HOLE-2,bore,diameter,10.01 ±0.01,measured
PLUG-A,outside,diameter,9.97 ±0.01,measured
PLUG-B,outside,diameter,10.50 ±0.01,measured
PLUG-C,outside,diameter,?,
"""
STOCK = "sku,quantity\nHOLE-1,1\nPLUG-A,1\n"


def write_plugs(folder: Path, **replaced: str) -> Path:
    files = {"parts": PARTS.replace("steel-s355", ""), "features": FEATURES, "stock": STOCK}
    folder.mkdir(exist_ok=True)
    (folder / "vocabulary.toml").write_text(replaced.pop("vocabulary", VOCABULARY), "utf-8")
    for name, text in {**files, **replaced}.items():
        (folder / f"{name}.csv").write_text(text, "utf-8")
    return folder


@pytest.fixture
def plugs(tmp_path: Path) -> Path:
    return write_plugs(tmp_path / "plugs")


# Read and compile the demo once for all tests.
pytestmark = pytest.mark.usefixtures("demo_read_once")


def run(*words: str | Path) -> Any:
    return CliRunner().invoke(main.app, [str(w) for w in words])


def answer(*words: str | Path, code: int = 0) -> dict[str, Any]:
    """Return the JSON of a command, which has to be all of its output."""
    result = run(*words, "--json")
    assert result.exit_code == code, result.output
    assert result.stderr == ""
    assert result.stdout.isascii()
    loaded = json.loads(result.stdout)
    assert isinstance(loaded, dict)
    return loaded


@functools.cache
def tour() -> dict[str, Any]:
    return answer("tour")


def demo_rows(table: str) -> list[dict[str, str]]:
    with (demo_folder() / f"{table}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


# ---------------------------------------------------------------- builds


def test_builds_of_the_plugs_are_those_worked_out_by_hand(plugs: Path) -> None:
    told = answer("builds", "--catalogue", plugs)
    assert (told.pop("cores"), told.pop("cores_exact")) == (2, True)
    ways = [(a["title"], a["price_from"], a["mass_to_g"], a["contrast"]) for a in told["answers"]]
    assert ways == [
        (ways[0][0], 14.0, 120.0, "1 in stock"),
        ("lightest", 16.0, 110.0, "+2.00 EUR, 10 g lighter, to order: hole"),
    ]
    assert "cheapest" in ways[0][0]
    assert [(a["fillings"], a["in_stock"]) for a in told.pop("answers")] == [(1, True), (1, False)]
    assert told == {
        "count": 2,
        "exact": True,
        "possible": 4,
        "sort": "price",
        "builds": [
            {
                "parts": {"hole": hole, "plug": "PLUG-A"},
                "services": [],
                "price": price,
                "currency": "EUR",
                "mass_g": mass,
                "strength": None,
            }
            for hole, price, mass in (("HOLE-1", 14.0, 120.0), ("HOLE-2", 16.0, 110.0))
        ],
        "cautions": [],
        "findings": 0,
    }


@pytest.mark.parametrize(
    ("words", "count"),
    [
        (("--have", "PLUG-B"), 2),  # either hole, with the owned plug turned down
        (("--have", "PLUG-B", "--services", "none"), 0),
        (("--want", "PLUG-B"), 0),  # not owned, so no work is done to it
        (("--services", "any"), 4),
        (("--budget", "14"), 1),
        (("--budget", "13,99"), 0),
        (("--max-mass-g", "0.110 kg"), 1),
        (("--max-mass-g", "109"), 0),
        (("--in-stock",), 1),
        (("--material", "steel"), 0),
        (("--have", "hole-2", "--limit", "0"), 1),
    ],
)
def test_each_option_of_builds(plugs: Path, words: tuple[str, ...], count: int) -> None:
    found = answer("builds", "--catalogue", plugs, *words, code=0 if count else 1)
    assert (found["count"], found["exact"]) == (count, True)
    assert len(found["builds"]) == (0 if "--limit" in words else count)


def test_work_on_a_part_is_listed_paid_and_cautioned(plugs: Path) -> None:
    found = answer("builds", "--catalogue", plugs, "--have", "PLUG-B")
    first = found["builds"][0]
    assert first["services"] == [{"sku": "PLUG-B", "service": "turn"}]
    assert first["price"] == 13.0  # the hole's 10.00 and 3.00 for the work; the plug is owned
    assert found["cautions"] == ["Turning can hurt: leave it to a turner."]
    text = run("builds", "--catalogue", plugs, "--have", "PLUG-B")
    assert "Plug (PLUG-B) + turn it down" in text.stdout
    assert "Turning can hurt" in text.stdout


def test_price_and_mass_are_the_sums_of_the_tables() -> None:
    rows = {row["sku"]: row for row in demo_rows("parts")}
    found = answer("builds", "--services", "none", "--limit", "20", "--sort", "mass")
    assert len(found["builds"]) == 20
    masses = [build["mass_g"] for build in found["builds"]]
    assert masses == sorted(masses)
    for build in found["builds"]:
        parts = [rows[sku] for sku in build["parts"].values()]
        price = sum(Decimal(row["price"].replace(",", ".")) for row in parts)
        assert Decimal(str(build["price"])) == price
        assert build["mass_g"] == pytest.approx(sum(grams(row["mass"]) for row in parts))
        assert all(rows[sku]["role"] == role for role, sku in build["parts"].items())


def grams(text: str) -> float:
    found = re.fullmatch(r"([\d.,]+)\s*(kg|g|)", text)
    assert found is not None, text
    return float(found[1].replace(",", ".")) * (1000 if found[2] == "kg" else 1)


def test_sorts_of_the_demo() -> None:
    prices = [b["price"] for b in answer("builds", "--limit", "8")["builds"]]
    assert prices == sorted(prices)
    found = answer("builds", "--sort", "strength", "--limit", "8")
    strengths = [b["strength"] for b in found["builds"]]
    assert strengths == sorted(strengths, reverse=True)
    assert strengths[-1] > 0
    assert found["cautions"]


def test_two_spellings_of_limits_are_one() -> None:
    have = ("builds", "--have", "FORK-VEN-04", "--limit", "1")
    assert answer(*have, "--budget", "350,50") == answer(*have, "--budget", "350.50 EUR")


def test_strength_never_goes_without_its_caution() -> None:
    result = run("builds", "--limit", "2")
    assert "N·m" in result.stdout
    shown = " ".join(result.stdout.split())
    assert all(" ".join(c.split()) in shown for c in answer("builds")["cautions"])


def test_an_estimate_says_so() -> None:
    demo = fitgraph.catalogue.load(demo_folder()).catalogue
    counted = Counted(1000, 900, 1100, 0.99)
    found = Listed(demo, Request(), "price", counted, None, ())
    shape = builds_report.data(found)
    assert shape["exact"] is False
    assert (shape["count"], shape["count_between"], shape["confidence"]) == (
        1000,
        [900, 1100],
        0.99,
    )
    assert as_text.text(builds_report.report(found, Hints())).startswith(
        "About 1,000 builds (between 900 and 1,100, with 99% confidence)."
    )


def test_no_build_says_what_to_try(plugs: Path) -> None:
    result = run("builds", "--catalogue", plugs, "--want", "PLUG-B")
    assert result.exit_code == 1
    assert f"fitgraph why --catalogue {plugs} PLUG-B" in " ".join(result.stdout.split())
    result = run("builds", "--catalogue", plugs, "--budget", "1")
    assert result.exit_code == 1
    assert "Without the limits: 2 builds, the cheapest at 14.00 EUR and 120 g." in result.stdout


def test_no_certain_build_says_how_many_are_possible(plugs: Path) -> None:
    # Two holes, and PLUG-C as it is or turned down.
    for limits in ((), ("--budget", "14")):
        result = run("builds", "--catalogue", plugs, "--have", "PLUG-C", *limits)
        assert result.exit_code == 1
        assert "4 builds may hold" in result.stdout


def test_choices_are_those_of_the_engine() -> None:
    assert tuple(s.value for s in Sort) == SORTS
    assert [w.value for w in WorkOn] == [s.value for s in Services]
    assert {w.value for w in Wish} == {p.value for p in Prefer}


# ---------------------------------------------------------------- why


def test_why_of_a_clash_worked_out_by_hand(plugs: Path) -> None:
    found = answer("why", "--catalogue", plugs, "HOLE-1", "PLUG-B", code=1)
    assert found["verdict"] == "fails"
    (conflict,) = found["conflicts"]
    assert set(conflict["parts"]) == {"HOLE-1", "PLUG-B"}
    assert (conflict["joint"], conflict["rule"]) == ("plug-in-hole", "clearance")
    assert conflict["margin_mm"] == pytest.approx(-0.47)
    assert "0.47 mm" in conflict["reason"]
    work, swap = found["fixes"]
    assert work == {
        "actions": [
            {
                "do": "service",
                "role": "plug",
                "sku": "PLUG-B",
                "instead_of": None,
                "service": "turn",
                "text": work["actions"][0]["text"],
            }
        ],
        "price": 3.0,
        "mass_change_g": 0.0,
        "minutes": 0.0,
        "height_change_mm": 0.0,
        "alternatives": 1,
        "today": True,
        "held": None,
        "held_price": None,
        "order": [],
    }
    (elements,) = found["minimal_conflicts"]
    kinds = [(e["kind"], e["role"], e["parts"], e["joint"]) for e in elements]
    assert kinds == [  # the plug goes into neither hole, so HOLE-1 is no part of it
        ("part", "plug", ["PLUG-B"], None),
        ("no work", "plug", [], None),
        ("joint", None, [], "plug-in-hole"),
    ]
    (sentence,) = found["sentences"]
    assert sentence.startswith("Plug (PLUG-B) cannot be used")
    assert found["complete"] is True
    assert (swap["price"], swap["mass_change_g"]) == (4.0, -5.0)
    assert swap["actions"][0]["sku"] == "PLUG-A"
    assert swap["actions"][0]["instead_of"] == "PLUG-B"
    assert found["cautions"] == ["Turning can hurt: leave it to a turner."]
    assert found["currency"] == "EUR"


def test_why_of_a_clash_in_words(plugs: Path) -> None:
    result = run("why", "--catalogue", plugs, "HOLE-1", "PLUG-B")
    assert result.exit_code == 1
    first, *rest = result.stdout.splitlines()
    assert first == "Does not fit."
    text = "\n".join(rest)
    assert text.index("3.00 EUR") < text.index("4.00 EUR")
    assert "−0.47 mm" in text
    assert "Turning can hurt" in text


def test_why_of_limits_says_how_much_more(plugs: Path) -> None:
    """The plain plug costs 4.00 and the hole HOLE-1 is owned: a budget of 1 lacks 3."""
    found = answer("why", "--catalogue", plugs, "HOLE-1", "--budget", "1", code=1)
    assert found["verdict"] == "fails"
    (elements,) = found["minimal_conflicts"]
    assert [e["kind"] for e in elements][-1] == "budget"
    raised = [f for f in found["fixes"] if [a["do"] for a in f["actions"]] == ["raise the budget"]]
    assert [f["build_price"] for f in raised] == [4.0]
    assert "3.00 EUR more" in raised[0]["actions"][0]["text"]
    assert raised[0]["build"] == {"hole": "HOLE-1", "plug": "PLUG-A"}
    enough = answer("why", "--catalogue", plugs, "HOLE-1", "--budget", "4")
    assert (enough["verdict"], enough["minimal_conflicts"]) == ("fits", [])


def test_why_puts_first_what_is_preferred(plugs: Path) -> None:
    for wish, first in (("mass", "PLUG-A"), ("price", "PLUG-B"), ("owned", "PLUG-B")):
        found = answer("why", "--catalogue", plugs, "HOLE-1", "PLUG-B", "--prefer", wish, code=1)
        assert found["fixes"][0]["actions"][0]["sku"] == first


def test_why_fits_and_cannot_be_told(plugs: Path) -> None:
    fits = answer("why", "--catalogue", plugs, "plug-a")
    assert (fits["verdict"], fits["conflicts"], fits["fixes"]) == ("fits", [], [])
    assert fits["needs"] == [{"role": "hole", "parts": ["HOLE-1", "HOLE-2"]}]
    unknown = answer("why", "--catalogue", plugs, "HOLE-1", "PLUG-C", code=1)
    assert unknown["verdict"] == "unknown"
    assert [c["margin_mm"] for c in unknown["conflicts"]] == [None]
    assert "measuring" in unknown["conflicts"][0]["reason"]
    assert run("why", "--catalogue", plugs, "PLUG-C").exit_code == 1


def test_changes_of_parts_in_the_demo_are_true() -> None:
    """Whoever takes the advice and asks again hears that it fits."""
    told = tour()["why"]
    tried = 0
    for fix in told["fixes"]:
        if any(a["do"] == "service" for a in fix["actions"]):
            continue
        named = set(told["named"])
        for action in fix["actions"]:
            named.discard(action["instead_of"])
            if action["do"] == "leave out":
                named.discard(action["sku"])
            else:
                named.add(action["sku"])
        assert answer("why", *sorted(named))["verdict"] == "fits"
        tried += 1
    assert tried > 0
    assert [f["price"] for f in told["fixes"]] == sorted(f["price"] for f in told["fixes"])


def test_why_shape_on_the_demo() -> None:
    told = tour()
    found = answer("why", *told["why"]["named"], code=1)
    assert {**told["why"], "findings": found["findings"]} == found
    assert {"verdict", "named", "conflicts", "fixes", "needs", "joints", "remarks"} <= set(found)
    for joint in found["joints"]:
        keys = {"parts", "joint", "title", "rule", "verdict", "margin_mm", "share", "chance"}
        assert set(joint) == keys
        assert joint["share"] is None or 0 <= joint["share"] <= 1
        assert joint["margin_mm"] is None or isinstance(joint["margin_mm"], float)
    for fix in found["fixes"]:
        for action in fix["actions"]:
            assert set(action) == {"do", "role", "sku", "instead_of", "service", "text"}
            assert action["do"] in {"add", "service", "leave out", "swap"}


def test_grip_comes_with_its_caution_and_only_where_parts_may_fit() -> None:
    told = tour()
    assert told["why"]["hold"] is None
    parts = set(told["builds"]["builds"][0]["parts"].values())
    found = answer("why", *sorted(parts))
    hold = found["hold"]
    assert hold["slips_at_nm"] == sorted(hold["slips_at_nm"])
    assert hold["torque_nm"] > 0
    assert found["cautions"]
    shown = " ".join(run("why", *sorted(parts)).stdout.split())
    assert " ".join(hold["text"].split()) in shown
    assert " ".join(found["cautions"][0].split()) in shown


# ---------------------------------------------------------------- check and tour


def test_check_of_a_clean_catalogue(plugs: Path) -> None:
    found = answer("check", "--catalogue", plugs)
    assert {**found, "missing": []} == {"usable": True, "parts": 5, "findings": [], "missing": []}
    # What nobody has measured is no fault: it is told by how many answers hang on it.
    assert [(m["feature"], m["dimension"], m["answers"]) for m in found["missing"]] == [
        ("outside", "diameter", 2)
    ]
    assert run("check", "--catalogue", plugs).stdout.startswith(
        "plugs: 5 parts, nothing to mend.\n\nLengths nobody has measured"
    )


def test_check_names_row_column_value_and_remedy(tmp_path: Path) -> None:
    folder = write_plugs(tmp_path / "bad", features=FEATURES.replace("9.97 ±0.01", "big"))
    found = answer("check", "--catalogue", folder, code=1)
    (finding,) = found["findings"]
    assert set(finding) == {
        *("file", "row", "column", "value", "message", "remedy", "severity", "code", "sku")
    }
    assert (finding["file"], finding["row"], finding["sku"]) == ("features.csv", 4, "PLUG-A")
    assert (finding["column"], finding["value"]) == ("value", "big")
    assert finding["severity"] == "error"
    assert "features.csv, row 4" in run("check", "--catalogue", folder).stdout
    # The rest goes on: PLUG-A's size is unknown now, so that no build is certain.
    result = run("builds", "--catalogue", folder)
    assert result.exit_code == 1
    assert result.stderr == (
        f"1 thing to look at in this catalogue: fitgraph check --catalogue {folder}\n"
    )
    assert answer("builds", "--catalogue", folder, code=1)["findings"] == 1


def test_check_of_what_cannot_be_used(tmp_path: Path) -> None:
    found = answer("check", "--catalogue", tmp_path, code=2)
    assert found["usable"] is False
    assert found["findings"]


def test_check_of_the_demo_finds_its_planted_faults() -> None:
    found = answer("check", code=1)
    assert found["parts"] == len({row["sku"] for row in demo_rows("parts")})


def test_tour_is_about_half_a_screen() -> None:
    result = run("tour")
    assert result.exit_code == 0
    lines = result.stdout.splitlines()
    assert len(lines) <= 26  # of a screen of 48 lines
    assert max(map(len, lines)) <= output.PLAIN_WIDTH
    assert all(line == line.rstrip() for line in lines)


def test_tour_is_computed_from_an_enquiry_of_the_demo() -> None:
    told = tour()
    enquiry = next(row for row in demo_rows("enquiries") if row["number"] == told["enquiry"])
    assert set(enquiry["have"].split()) == {*told["have"], told["tried"]}
    for build in told["builds"]["builds"]:
        assert set(told["have"]) <= set(build["parts"].values())
        assert build["price"] <= told["budget"]
    assert told["why"]["verdict"] == "fails"
    assert told["tried"] in told["why"]["conflicts"][0]["parts"]


# ---------------------------------------------------------------- bad input


@pytest.mark.parametrize(
    "words",
    [
        ("builds", "--have", "NO-SUCH-PART"),
        ("builds", "--want", "[red]x[/red]"),
        ("builds", "--budget", "much"),
        ("builds", "--budget", "-1"),
        ("builds", "--budget", "1e400"),
        ("builds", "--budget", ""),
        ("builds", "--max-mass-g", "heavy"),
        ("builds", "--max-mass-g", "4 mm"),
        ("builds", "--max-mass-g", "-4"),
        ("builds", "--max-mass-g", "3.6"),
        ("why", "FORK-VEN-04", "--max-mass-g", "3,6"),
        ("advise", "street", "--style", "park"),
        ("graph", "FORK-VEN-04", "BAR-CUL-05", "CLMP-OST-06"),
        ("builds", "--material", "cheese"),
        ("builds", "--catalogue", "no/such/folder"),
        ("why", "NO-SUCH-PART"),
        ("why", "\x1b[31m"),
        ("why", "--catalogue", "no/such/folder", "X"),
    ],
)
def test_bad_input_is_one_clear_line(words: tuple[str, ...]) -> None:
    for extra in ((), ("--json",)):
        result = run(*words, *extra)
        assert result.exit_code == 2
        assert result.stdout == ""
        assert re.fullmatch(r"fitgraph: [^\n\x1b]+\n", result.stderr)


@pytest.mark.parametrize(
    "words",
    [
        ("builds", "--sort", "colour"),
        ("builds", "--limit", "many"),
        ("builds", "--limit", "-1"),
        ("builds", "--services", "all"),
        ("builds", "--nonsense"),
        ("builds", "--have"),
        ("why",),
        ("lab", "--port", "0"),
        ("ride",),
    ],
)
def test_usage_errors_are_bad_input(words: tuple[str, ...]) -> None:
    result = run(*words)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert "Error: " in result.stderr
    assert "Traceback" not in result.stderr


def test_two_parts_of_one_role_are_named(plugs: Path) -> None:
    result = run("why", "--catalogue", plugs, "PLUG-A", "PLUG-B")
    assert result.exit_code == 2
    assert "PLUG-A and PLUG-B" in result.stderr


@pytest.mark.parametrize(
    ("error", "code", "line"),
    [
        (KeyboardInterrupt(), 130, "fitgraph: stopped\n"),
        (PermissionError(13, "Permission denied", "parts.csv"), 2, "parts.csv: Permission denied"),
        (ZeroDivisionError("division by zero"), 70, "a fault in fitgraph itself"),
        (RecursionError("too deep"), 70, "a fault in fitgraph itself"),
    ],
)
def test_whatever_goes_wrong_is_a_line(
    monkeypatch: pytest.MonkeyPatch, error: BaseException, code: int, line: str
) -> None:
    def fail(_folder: Path) -> None:
        raise error

    monkeypatch.setattr(fitgraph.catalogue, "load", fail)
    monkeypatch.delenv(main.TRACEBACK, raising=False)
    for command in ("builds", "check"):
        result = run(command)
        assert result.exit_code == code
        assert result.stdout == ""
        assert line in result.stderr
        assert result.stderr.count("\n") == 1


# ---------------------------------------------------------------- what a catalogue may hold

HOSTILE = "[bold red]x[/] [/nope] [link=file:///etc]y \x1b[2J\x9b31m :smile: \u202e"


def test_names_are_neither_markup_nor_escapes(tmp_path: Path) -> None:
    vocabulary = VOCABULARY.replace('"plug in the hole"', '"plug [/] in [red]the[/red] hole"')
    vocabulary = vocabulary.replace('"turn it down"', '"turn [bold]it\\u001b[31m[/bold] down"')
    vocabulary = vocabulary.replace('title = "plug"', 'title = "[i]plug[/i]"')
    folder = write_plugs(
        tmp_path / "[red]shop",
        vocabulary=vocabulary,
        parts=PARTS.replace("steel-s355", HOSTILE).replace(",Plug,", f",{HOSTILE},"),
        features=FEATURES.replace("9.97 ±0.01", HOSTILE.replace(",", "")) + "PLUG-A,[b],[/b],x,\n",
    )
    for words in (("builds", "--have", "PLUG-B"), ("why", "HOLE-1", "PLUG-B"), ("check",)):
        result = run(words[0], "--catalogue", folder, *words[1:])
        assert result.exception is None or isinstance(result.exception, SystemExit)
        assert result.exit_code in (0, 1)
        assert not set(result.output) & {"\x1b", "\x9b", "\u202e"}
        json.loads(run(words[0], "--catalogue", folder, *words[1:], "--json").stdout)
    shown = run("why", "--catalogue", folder, "HOLE-1", "PLUG-B").stdout
    assert "lug [/] in [red]the[/red] hole" in shown


@pytest.mark.some(2)
@pytest.mark.parametrize("width", [30, 60, 200])
def test_narrow_terminals_lose_nothing(width: int) -> None:
    told = tour()
    demo = fitgraph.catalogue.load(demo_folder()).catalogue
    engine = fitgraph.solve.engine.TreeEngine(demo)
    request = Request(have=tuple(told["have"]))
    found = list_builds(engine, request, sort="price", limit=4)
    text = as_text.text(builds_report.report(found, Hints()), width)
    assert max(map(len, text.splitlines())) <= width
    unbroken = "".join(text.split())
    for sku in {s for build in found.builds for s in build.parts.values()} - set(request.have):
        # A stock number may be folded, with other columns between its halves.
        assert sku in unbroken or all(half in text for half in re.split(r"(?<=-)", sku))


# ---------------------------------------------------------------- lab


@pytest.mark.parametrize("pages", [False, True])
def test_lab_stays_on_this_computer(pages: bool) -> None:
    words = ["lab", "--no-browser", "--port", "9123", *(["--pages"] if pages else [])]
    told = answer(*words)
    command = told["command"]
    assert command[:2] == [sys.executable, "-m"]
    assert command[2] == ("voila" if pages else "jupyterlab")
    assert [w for w in command if "ip=" in w] == [
        "--Voila.ip=127.0.0.1" if pages else "--ip=127.0.0.1"
    ]
    assert ("--token" in command) is pages
    assert {"--port=9123", "--no-browser", told["folder"]} <= set(command)
    assert "--allow-root" not in command


def test_lab_says_how_to_install_what_is_missing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(lab_command.importlib.util, "find_spec", lambda _name: None)
    result = run("lab", "--pages")
    assert result.exit_code == 2
    assert "pip install 'fitgraph[lab]'" in result.stderr


def test_own_notebooks_are_never_overwritten(tmp_path: Path) -> None:
    source, target = tmp_path / "shipped", tmp_path / "mine"
    (source / ".ipynb_checkpoints").mkdir(parents=True)
    (source / ".ipynb_checkpoints" / "old.ipynb").write_text("{}")
    (source / "one.ipynb").write_text("shipped")
    (source / "two.ipynb").write_text("shipped")
    target.mkdir()
    (target / "one.ipynb").write_text("mine")
    lab_command.own_copy(source, target)
    assert {p.name: p.read_text() for p in target.iterdir()} == {
        "one.ipynb": "mine",
        "two.ipynb": "shipped",
    }


# ---------------------------------------------------------------- as a process


def process(*words: str, **environment: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, *words],
        capture_output=True,
        encoding="utf-8",
        timeout=60,
        env={**os.environ, **environment},
        check=False,
    )


def test_version() -> None:
    result = process("-m", "fitgraph", "--version")
    assert (result.returncode, result.stdout) == (0, f"fitgraph {fitgraph.__version__}\n")


def test_help_is_quick_because_it_loads_little() -> None:
    code = "import sys, fitgraph.cli.main; print(sorted({'numpy', 'scipy'} & set(sys.modules)))"
    assert process("-c", code).stdout == "[]\n"


def test_a_plain_why_loads_no_room_of_numpy_that_it_does_not_need() -> None:
    run = "from fitgraph.cli.main import app; app(standalone_mode=False)"
    code = f"import sys; sys.argv[1:] = ['why', 'FORK-VEN-04', 'BAR-MAR-05', 'CLMP-SKE-01']; {run}"
    loaded = "print('numpy.ma' in sys.modules, 'numpy.linalg' in sys.modules)"
    result = process("-c", f"{code}; {loaded}")
    assert result.stdout.splitlines()[-1] == "False True"


def test_a_terminal_without_these_characters_gets_an_answer(plugs: Path) -> None:
    words = ("-m", "fitgraph", "why", "--catalogue", str(plugs), "HOLE-1", "PLUG-B")
    result = process(*words, PYTHONIOENCODING="ascii", NO_COLOR="1")
    assert result.returncode == 1
    assert result.stdout.startswith("Does not fit.\n")
    assert result.stderr == ""


def test_whoever_stops_reading_gets_no_traceback(plugs: Path) -> None:
    with subprocess.Popen(
        [sys.executable, "-m", "fitgraph", "builds", "--catalogue", str(plugs), "--json"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    ) as child:
        assert child.stdout is not None
        assert child.stderr is not None
        child.stdout.close()
        assert child.stderr.read() == b""
        assert child.wait(60) == 0


def test_stock_numbers_may_be_typed_in_any_letters(tmp_path: Path) -> None:
    folder = tmp_path / "shop"
    shutil.copytree(demo_folder(), folder)
    for table in ("parts.csv", "features.csv", "stock.csv"):
        text = (folder / table).read_text(encoding="utf-8")
        (folder / table).write_text(text.replace("BAR-MAR-05", "Bar-mar-05x"), encoding="utf-8")
    shop = fitgraph.open(folder)
    assert shop.why("BAR-MAR-05X", "fork-ven-04").to_dict()["named"] == [
        "Bar-mar-05x",
        "FORK-VEN-04",
    ]
    with pytest.raises(InputError, match="did you mean Bar-mar-05x"):
        shop.why("BAR-MAR-5X")


def test_a_question_answered_in_two_ways_is_asked_again() -> None:
    result = run("identify", "slot=yes", "--saw", "slot=no")
    assert (result.exit_code, result.stdout) == (2, "")
    assert "slot is answered by 'yes' and by 'no'; keep one" in result.stderr
    assert run("identify", "slot=yes", "--saw", "slot=yes").exit_code in (0, 1)


@pytest.mark.parametrize(
    ("closed", "words", "code"),
    [
        (">&-", "why HOLE-1 PLUG-B", 1),
        ("2>&-", "why HOLE-9", 2),
        ("<&-", "why HOLE-1 PLUG-B", 1),
        ("<&- >&- 2>&-", "check --json", 0),
    ],
)
def test_streams_that_are_closed_from_the_start_bring_nothing_down(
    plugs: Path, closed: str, words: str, code: int
) -> None:
    command = (
        f"{shlex.quote(sys.executable)} -m fitgraph {words} --catalogue {shlex.quote(str(plugs))}"
    )
    result = subprocess.run(
        ["/bin/sh", "-c", f"{command} {closed}"],
        capture_output=True,
        encoding="utf-8",
        timeout=60,
        check=False,
    )
    assert result.returncode == code
    assert "Traceback" not in result.stderr and "fault" not in result.stderr


@pytest.mark.parametrize("words", [("{}",), ("tour", "{}"), ("builds", "--limit", "{}")])
def test_what_was_typed_at_length_or_unseen_does_not_fill_the_screen(
    words: tuple[str, ...],
) -> None:
    typed = "\u202e\x1b[31m" + "x" * 5000
    result = run(*(word.format(typed) for word in words))
    assert result.exit_code == 2 and len(result.stderr) < 600
    assert "\u202e" not in result.stderr and "\x1b" not in result.stderr


def test_a_mass_that_must_be_meant_in_kg_is_asked_about_and_a_written_unit_is_not() -> None:
    asked = run("builds", "--max-mass-g", "3.6")
    assert asked.exit_code == 2
    assert "'3.6': 3.6 kg? Nothing weighs 3.6 g; write '3.6 kg', or '3.6 g'" in asked.stderr
    for mass in ("3.6", 3.6, Decimal("3.6")):
        with pytest.raises(InputError, match=re.escape("3.6 kg? Nothing weighs 3.6 g")):
            fitgraph.open().builds(max_mass_g=mass)
    # Written out it is taken as it is; 900 kg are as unlikely as 900 g.
    for mass, grams in (("3.6 g", 3.6), ("3.6 kg", 3600.0), ("900", 900.0), ("0", 0.0)):
        assert mass_of(mass, load(demo_folder()).catalogue) == grams


@pytest.mark.parametrize(
    ("short", "long"),
    [
        (["builds", "FORK-VEN-04"], ["builds", "--have", "FORK-VEN-04"]),
        (
            ["builds", "FORK-VEN-04", "--have", "BAR-MAR-05"],
            ["builds", "--have", "FORK-VEN-04", "--have", "BAR-MAR-05"],
        ),
        (["advise", "street"], ["advise", "--style", "street"]),
        (["identify", "slot=yes"], ["identify", "--saw", "slot=yes"]),
        (["graph", "FORK-VEN-04"], ["graph", "--around", "FORK-VEN-04"]),
        (
            ["graph", "FORK-VEN-04", "BAR-CUL-05"],
            ["graph", "--path", "FORK-VEN-04", "BAR-CUL-05"],
        ),
    ],
)
def test_what_a_command_is_about_needs_no_option(short: list[str], long: list[str]) -> None:
    one, other = run(*short, "--json"), run(*long, "--json")
    assert (one.stdout, one.stderr, one.exit_code) == (other.stdout, other.stderr, other.exit_code)
    assert one.stdout


@pytest.mark.parametrize(
    ("short", "long"),
    [
        (["gaps", "style", "material"], ["gaps", "--by", "style", "--by", "material"]),
        (["restock", "100"], ["restock", "--spend", "100"]),
        (["adapters", "sleeve"], ["adapters", "--role", "sleeve"]),
    ],
)
def test_what_takes_long_is_asked_the_same_without_an_option(
    short: list[str], long: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The shop is asked the same question, so the answer is not waited for twice."""
    asked = []

    def ask(_shop: object, *args: object, **more: object) -> None:
        asked.append((args, {k: v for k, v in more.items() if not callable(v)}))
        raise InputError("asked")

    monkeypatch.setattr(Shop, short[0], ask)
    assert [run(*words).exit_code for words in (short, long)] == [2, 2]
    one, other = asked
    assert one == other and short[-1] in str(one)


def test_a_folder_to_check_needs_no_option(plugs: Path) -> None:
    assert answer("check", plugs) == answer("check", "--catalogue", plugs)
    shown = answer("lab", plugs, "--pages")
    assert shown == answer("lab", "--catalogue", plugs, "--pages")


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["builds", "--have", "QQQ"], "no part has the stock number 'QQQ'; parts.csv lists them"),
        (["builds", "--csv", "--table", "nope"], "--table 'nope' is unknown; use one of builds"),
        (["exchange", "spoon", "HOLE-1"], "the role 'spoon' is unknown; use one of hole, plug"),
        (["builds", "--budget", "9 USD"], "--budget '9 USD' is in USD, not in EUR; write it in"),
    ],
)
def test_wrong_words_are_told_with_what_would_be_right(
    plugs: Path, words: list[str], says: str
) -> None:
    result = run(*words, "--catalogue", plugs)
    assert result.exit_code == 2
    assert result.stderr.startswith(f"fitgraph: {says}")
    assert len(result.stderr.splitlines()) == 1


def test_a_folder_that_cannot_be_read_is_named_with_the_command_that_tells_all(
    tmp_path: Path,
) -> None:
    wrong = VOCABULARY.replace("clearance", "glue").replace('role = "plug"', 'role = "cork"')
    folder = write_plugs(tmp_path / "my plugs", vocabulary=wrong)
    told = run("builds", "--catalogue", folder).stderr
    assert told.startswith("fitgraph: vocabulary.toml, column joints.")
    assert f"(1 more: fitgraph check --catalogue '{folder}')" in told
    empty = tmp_path / "empty"
    empty.mkdir()
    told = run("builds", "--catalogue", empty).stderr
    assert told.startswith("fitgraph: vocabulary.toml is not in the folder 'empty'. Copy one")


def test_what_to_import_and_where_to_put_it_are_no_mistake_for_each_other(tmp_path: Path) -> None:
    (tmp_path / "list.csv").write_text("Item no,Title\nA-1,Bar\n", "utf-8")
    told = run("import", tmp_path, "--into", tmp_path / "out", "--yes").stderr
    assert told == f"fitgraph: {tmp_path} is a folder; name the files in it\n"
    told = run("import", tmp_path / "list.csv", "--into", tmp_path / "list.csv", "--yes").stderr
    assert "is a file; name a folder" in told


def test_an_import_is_printed_for_programs_too(tmp_path: Path) -> None:
    rows = "Item no,Title,Price\nA-1,Bar,79.90\nA-1,Bar,\n"
    (tmp_path / "list.csv").write_text(rows, "utf-8")
    asked = ["import", tmp_path / "list.csv", "--into", tmp_path / "out", "--yes"]
    (row,) = csv.DictReader(io.StringIO(run(*asked, "--csv").stdout))
    assert row["source"] == "list.csv" and row["read"] == "2"
    columns = csv.DictReader(io.StringIO(run(*asked, "--table", "columns").stdout))
    assert {c["column"]: c["means"] for c in columns} == {
        c["column"]: c["means"] for c in json.loads(run(*asked, "--json").stdout)["columns"]
    }


def test_where_the_main_table_is_empty_those_with_rows_are_named() -> None:
    told = run("why", "FORK-VEN-04", "BAR-CUL-05", "--csv")
    assert len(told.stdout.splitlines()) == 1
    assert "with rows: --table changes or minimal_conflicts" in told.stderr


def test_a_full_error_stream_leaves_the_exit_code_that_tells_it() -> None:
    """1 would be a no; bad input is 2, whether or not somebody can be told."""
    with open("/dev/full", "w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "fitgraph", "why", "NO-SUCH"], stderr=full, check=False
        )
    assert done.returncode == output.BAD_INPUT


def test_a_folder_that_may_not_be_looked_into_is_told_in_a_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(os, "access", lambda path, mode: False)  # whoever tests may read all
    with pytest.raises(fitgraph.InputError, match="may not be looked into"):
        fitgraph.open(tmp_path)
    with pytest.raises(fitgraph.InputError, match="may not be looked into"):
        fitgraph.open().diff(tmp_path)


def test_the_lab_tells_a_folder_that_is_none_before_it_starts(tmp_path: Path) -> None:
    told = run("lab", "--json", tmp_path / "nowhere")
    assert told.exit_code == output.BAD_INPUT and "is no folder" in told.stderr


def test_a_command_stopped_while_it_loads_ends_as_any_other() -> None:
    code = """
import sys
class Stop:
    def find_spec(self, name, path=None, target=None):
        if name == "typer":
            raise KeyboardInterrupt
sys.meta_path.insert(0, Stop())
from fitgraph.__main__ import run
run()
"""
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, encoding="utf-8", check=False
    )
    assert (done.returncode, done.stderr) == (output.STOPPED, "fitgraph: stopped\n")
