"""``fitgraph graph``: shapes of its answers, exit codes, files, and bad input."""

from __future__ import annotations

import csv
import io
import json
import xml.etree.ElementTree as ET
from pathlib import Path
from typing import Any

import networkx as nx
import pytest
from typer.testing import CliRunner

from fitgraph.catalogue import demo_folder
from fitgraph.cli.main import app

# Commands on the demo do not each read it.
pytestmark = pytest.mark.usefixtures("demo_read_once")


def run(*arguments: str) -> Any:
    return CliRunner().invoke(app, ["graph", *arguments])


def answer(*arguments: str) -> dict[str, Any]:
    found = run(*arguments, "--json")
    return dict(json.loads(found.stdout), code=found.exit_code)


def test_the_overview_counts_what_the_graph_holds() -> None:
    found = answer()
    assert found["code"] == 0 and found["nodes"]["interface"] > 100
    assert sum(r["parts"] for r in found["roles"]) == 346
    assert "346 parts" in run().stdout


def rows(*arguments: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(run(*arguments).stdout)))


@pytest.mark.parametrize("trade", ["demo", "hoses"])
def test_tables_hold_what_json_holds_besides(trade: str) -> None:
    which = ("--catalogue", str(demo_folder().parent / trade))
    whole = answer(*which)
    for name, of in (("nodes", "kind"), ("joints", "verdict")):
        assert {r[of]: int(r["count"]) for r in rows(*which, "--table", name)} == whole[name]
    found = answer(*which, "--families")["compared"]
    agreed, compared = (
        rows(*which, "--families", "--table", name) for name in ("agreement", "compared")
    )
    assert bool(found) is (trade == "demo")
    assert [{**r, "parts": int(r["parts"])} for r in agreed] == [
        {k: v if k in ("grouping", "parts") else str(v) for k, v in c.items() if k != "kinds"}
        for c in found
    ]
    assert {(r["grouping"], r["kind"], r["family"]): int(r["parts"]) for r in compared} == {
        (c["grouping"], kind, family): parts
        for c in found
        for kind, of in c["kinds"].items()
        for family, parts in of.items()
    }


def test_a_path_tells_price_margin_and_where_it_is_tight() -> None:
    found = answer("--path", "FORK-VEN-04", "BAR-CUL-05")
    (way,) = found["ways"]
    assert way["parts"] == ["FORK-VEN-04", "SLV-VEN-01", "BAR-CUL-05"] and found["code"] == 0
    assert way["price"] == 14.9 and way["margin_mm"] == 0.02
    none = answer("--path", "FORK-VEN-04", "FORK-VEN-01")
    assert none["ways"] == [] and none["code"] == 1


@pytest.mark.some(5)
@pytest.mark.parametrize(
    ("arguments", "key"),
    [
        (["--around", "FORK-VEN-04"], "around"),
        (["--bridges"], "articulation_points"),
        (["--bridges", "--in-stock"], "bridges"),
        (["--hubs"], "hubs"),
        (["--families"], "families"),
        (["--islands"], "dead_ends"),
        (["--near-misses", "0.05"], "near_misses"),
        (["--diff", "2026-01-15"], "part"),
    ],
)
def test_every_question_is_answered_in_every_medium(arguments: list[str], key: str) -> None:
    found = answer(*arguments)
    assert found["code"] == 0 and key in found and "findings" in found
    table = list(csv.reader(io.StringIO(run(*arguments, "--csv").stdout)))
    assert len(table) > 1 and len({len(row) for row in table}) == 1
    shown = run(*arguments)
    assert shown.exit_code == 0 and len(shown.stdout.splitlines()) > 1


@pytest.mark.some(2)
@pytest.mark.parametrize("ending", ["graphml", "json", "jsonld", "svg"])
def test_files_are_written_whole(tmp_path: Path, ending: str) -> None:
    file = tmp_path / f"fits.{ending}"
    assert run("--export", str(file)).exit_code == 0
    text = file.read_text(encoding="utf-8")
    if ending == "graphml":
        assert len(nx.parse_graphml(text, force_multigraph=True)) > 3000
    elif ending == "svg":
        assert ET.fromstring(text).tag.endswith("svg")
    elif ending == "json":
        assert len(nx.node_link_graph(json.loads(text), edges="edges")) > 3000
    else:
        assert len(json.loads(text)["@graph"]) > 3000


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["--path", "NO-1", "BAR-CUL-05"], "NO-1"),
        (["--path", "BAR-CUL-05", "BAR-CUL-05"], "named twice"),
        (["--around", "NO-1"], "NO-1"),
        (["--near-misses", "thick"], "thick"),
        (["--near-misses", "0"], "out of range"),
        (["--diff", "no-such-folder"], "neither a day"),
        (["--diff", "1999-01-01"], "not counted"),
        (["--export", "fits.txt"], ".graphml"),
        (["--hubs", "--islands"], "one question"),
        (["--hubs", "--json", "--csv"], "take one of them"),
    ],
)
def test_bad_input_is_told_with_its_remedy(arguments: list[str], told: str) -> None:
    found = run(*arguments)
    assert found.exit_code == 2 and told in found.output and "Traceback" not in found.output
