"""The map of fits: what is drawn at a tolerance, what a search finds, how a way is traced."""

from __future__ import annotations

import os
import subprocess
import sys
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType

import pytest

from fitgraph.draw.fit_map import _MOST_JOINTS, fit_map_svg
from fitgraph.explain import Explainer
from fitgraph.explain.map_search import search
from fitgraph.explain.tracing import steps
from fitgraph.explain.ways import ways
from fitgraph.graph.fit_graph import mates
from fitgraph.graph.interfaces import pair_of
from fitgraph.graph.options import length_of, plain
from fitgraph.graph.size_map import SizeMap, appears_at, drawn_at, drawn_joints, size_map
from fitgraph.graph.views import joints_of
from fitgraph.model import Catalogue, Verdict
from fitgraph.report import size_maps
from fitgraph.report.as_text import text
from fitgraph.shop import open_shop
from tests.shared import the_demo

MOST_MM = 0.5
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def demo() -> Catalogue:
    return the_demo().catalogue


@pytest.fixture(scope="module")
def found(demo: Catalogue) -> SizeMap:
    return size_map(demo, misses_mm=MOST_MM)


def pairs_drawn(found: SizeMap, tolerance: float) -> set[tuple[str, str, str]]:
    """Return the pairs of parts for which a line is drawn, with the joint."""
    return {
        (d["joint"], one, other)
        for a, b, d in joints_of(found.view, "fails")
        if drawn_at(d, tolerance)
        for one in found.parts[a]
        for other in found.parts[b]
    }


@pytest.mark.parametrize("tolerance", [-0.3, -0.05, -0.01, 0.0, 0.02, 0.05, 0.2, 0.5])
def test_lines_at_a_tolerance_are_those_of_pairs_judged_singly(
    demo: Catalogue, found: SizeMap, tolerance: float
) -> None:
    """A line stands for all its pairs; when each of them comes and goes is the next test."""
    drawn = pairs_drawn(found, tolerance)
    met = dict.fromkeys(Verdict, 0)
    for name in drawn_joints(demo.vocabulary):
        joint = demo.vocabulary.joint(name)
        ends = pair_of(joint)
        assert ends is not None
        for one, other, verdict, margin in mates(demo, joint, demo.parts):
            is_drawn = (name, one, other) in drawn
            met[verdict] += is_drawn
            if verdict is Verdict.UNKNOWN:
                assert is_drawn
            elif verdict is Verdict.FITS:
                assert not is_drawn or margin is None or margin >= -tolerance - 1e-6
            elif margin is not None and margin >= -tolerance:
                # What lacks a size fails only whatever the size is; it misses by nothing.
                sizes = [
                    length_of(plain(demo.parts[sku]), end)
                    for sku, end in zip((one, other), ends, strict=True)
                ]
                assert is_drawn == all(size is not None and size.known for size in sizes)
    assert met[Verdict.UNKNOWN] and (met[Verdict.FAILS] > 0) == (tolerance > 0.02)


def test_each_line_comes_at_the_margin_of_its_pairs(demo: Catalogue, found: SizeMap) -> None:
    """For what fits the least margin of all its pairs, for what fails the greatest."""
    margins: dict[tuple[str, str, str], list[float]] = {}
    for name in drawn_joints(demo.vocabulary):
        for one, other, _, margin in mates(demo, demo.vocabulary.joint(name), demo.parts):
            if margin is not None:
                margins.setdefault((name, one, other), []).append(margin)
    checked = 0
    for a, b, d in joints_of(found.view, "fails"):
        least = appears_at(d)
        if least is None:
            continue
        own = [
            m
            for one in found.parts[a]
            for other in found.parts[b]
            for m in margins.get((d["joint"], one, other), ())
        ]
        best = min(own) if d["verdict"] == "fits" else max(own)
        assert least == pytest.approx(-best, abs=1e-8)
        checked += 1
    assert checked > 80


def test_around_a_role_is_what_its_joints_reach(found: SizeMap) -> None:
    for role in ("bar", "sleeve", "wheels"):
        part = found.around(role)
        wanted = {
            n
            for a, b, _ in joints_of(found.view, "fails")
            if role in (found.view.nodes[a]["role"], found.view.nodes[b]["role"])
            for n in (a, b)
        } | {n for n, d in found.view.nodes(data=True) if d["role"] == role}
        assert set(part.view) == wanted and 0 < len(part.view) < len(found.view)
    assert found.around(None) is found


_LANES = """
from fitgraph.draw.fit_map import default_lanes
from fitgraph.graph.size_map import size_map
from tests.shared import the_demo
found = size_map(the_demo().catalogue)
print([str(lane) for role in (None, "bar") for lane in default_lanes(found.around(role))])
"""


def test_every_process_draws_the_lanes_in_the_same_order() -> None:
    """Words are hashed by chance in each process, and a search may begin anywhere."""
    answers = [
        subprocess.run(
            [sys.executable, "-c", _LANES],
            env={**os.environ, "PYTHONHASHSEED": seed},
            cwd=Path(__file__).parent.parent,
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for seed in ("1", "20")
    ]
    assert answers[0] == answers[1] and "bar" in answers[0]


def test_search_finds_by_size_name_and_number(demo: Catalogue, found: SizeMap) -> None:
    for typed, mm in (("28.6", 28.6), ("1 1/8 in", 28.575), ("34,9 mm", 34.9)):
        match = search(found, typed)
        wanted = set()
        for node, skus in found.parts.items():
            feature = found.view.nodes[node]["feature"]
            for sku in skus:
                for name, size in demo.parts[sku].features[feature].lengths.items():
                    looked_at = f"{feature}.{name}_lo_mm" in found.view.nodes[node]
                    if looked_at and size.known and size.lo - 0.05 <= mm <= size.hi + 0.05:
                        wanted.add(node)
        assert wanted and wanted <= set(match.interfaces) and not match.parts
    match = search(found, "bar-mar-05")
    assert match.parts == ("BAR-MAR-05",)
    assert set(match.interfaces) == set(found.interfaces["BAR-MAR-05"]) & set(found.view)
    assert {found.view.nodes[n]["role"] for n in search(found, "adapter sleeve").interfaces} == {
        "sleeve"
    }
    assert search(found, "nothing like it").interfaces == () == search(found, "  ").interfaces


def test_a_trace_goes_from_size_to_size_of_the_way(demo: Catalogue) -> None:
    (way,) = ways(Explainer(demo), "FORK-VEN-04", "BAR-CUL-05")
    trace = steps(way)
    assert [s.options for s in trace] == list(zip(way.options, way.options[1:], strict=False))
    for n, step in enumerate(trace):
        assert len(step.joined) == n + 2
        for (reference, size), option in zip(step.ends, step.options, strict=True):
            assert reference.role == option.role and size == length_of(option, reference)
        told = text(size_maps.step(step, demo, n + 1, len(trace)))
        assert all(option.label in told for option in step.options) and "to spare" in told
    assert "Given: no fork bore on the clamp." in told


def test_the_drawing_is_buttons_with_names_and_one_that_is_unfolded(
    demo: Catalogue, found: SizeMap
) -> None:
    node = max(found.view, key=lambda n: len(found.parts[n]))
    (way,) = ways(Explainer(demo), "FORK-VEN-04", "BAR-CUL-05")
    svg = fit_map_svg(found, trace=steps(way), at=1, unfolded=node, pressable=True)
    root = ET.fromstring(svg)
    buttons = [e for e in root.iter(f"{SVG}g") if e.get("role") == "button"]
    assert all(e.get("aria-label") for e in buttons)
    assert {e.get("data-node") for e in buttons} - {None} == set(found.view)
    opened = {e.get("data-node") for e in buttons if e.get("aria-expanded") == "true"}
    assert opened == {node}
    chips = [e.get("data-part") for e in buttons if e.get("data-part")]
    assert chips == list(found.parts[node][: len(chips)]) and len(chips) == 24
    assert root.get("role") == "group" and "fg-trace fg-now" in svg
    plain = ET.fromstring(fit_map_svg(found))
    assert plain.get("role") == "img"
    assert not [e for e in plain.iter() if e.get("role") == "button"]


def test_a_narrow_map_shows_the_same(found: SizeMap) -> None:
    node = max(found.view, key=lambda n: len(found.parts[n]))
    wide, narrow = (
        ET.fromstring(fit_map_svg(found, unfolded=node, pressable=True, narrow=n))
        for n in (False, True)
    )
    width = float((narrow.get("viewBox") or "").split()[2])
    assert width < 400

    def shown(root: ET.Element) -> list[str | None]:
        names = ("data-node", "data-part", "data-ends")
        return sorted(v for e in root.iter() for n in names if (v := e.get(n)))

    assert shown(wide) == shown(narrow)
    assert all(6 <= float(c.get("cx") or 0) <= width - 6 for c in narrow.iter(f"{SVG}circle"))
    chips = [g for g in narrow.iter(f"{SVG}g") if g.get("data-part")]
    for chip in chips:
        (box,) = chip.iter(f"{SVG}rect")
        assert float(box.get("x") or 0) + float(box.get("width") or 0) <= width


def test_names_of_a_catalogue_stay_text(demo: Catalogue) -> None:
    bar = replace(demo.of("bar")[0], sku='<b onclick="x">', name="</svg><script>\x00")
    parts = MappingProxyType({**demo.parts, bar.sku: bar})
    by_role = MappingProxyType({**demo.by_role, "bar": (*demo.by_role["bar"], bar)})
    hostile = size_map(replace(demo, parts=parts, by_role=by_role), [bar.sku, "CLMP-SKE-02"])
    svg = fit_map_svg(hostile, unfolded=hostile.interfaces[bar.sku][0], pressable=True)
    assert ET.fromstring(svg).tag == f"{SVG}svg" and "<script" not in svg and "<b " not in svg


def test_of_too_many_joints_the_nearest_to_their_limit_are_drawn(
    monkeypatch: pytest.MonkeyPatch, found: SizeMap
) -> None:
    assert found.view.number_of_edges() < _MOST_JOINTS
    monkeypatch.setattr("fitgraph.draw.fit_map._MOST_JOINTS", 50)
    root = ET.fromstring(fit_map_svg(found))
    assert len([e for e in root.iter(f"{SVG}path") if e.get("data-joint")]) == 50
    assert f"{found.view.number_of_edges() - 50:,} joints" in (root.findtext(f"{SVG}desc") or "")


def test_the_map_in_words_has_every_interface_and_every_joint_drawn(found: SizeMap) -> None:
    (section,) = size_maps.whole(found, 0.02).blocks
    interfaces, joints = section.blocks
    assert len(interfaces.rows) == len(found.view)
    drawn = [d for _, _, d in joints_of(found.view, "fails") if drawn_at(d, 0.02)]
    assert len(joints.rows) == len(drawn)
    node = next(n for n, d in found.view.nodes(data=True) if d["owned"])
    told = text(size_maps.interface(found, node))
    assert found.parts[node][0] in told and "enquiries" in told
    assert "lack no more than 0.02 mm" in size_maps.tolerance(found, 0.02)
    assert "0.02 mm to spare" in size_maps.tolerance(found, -0.02)


def test_the_front_door_writes_the_map(tmp_path: Path) -> None:
    whole = open_shop().map()
    file = whole.save(tmp_path / "map.svg")
    assert ET.fromstring(file.read_text(encoding="utf-8")).tag == f"{SVG}svg"
