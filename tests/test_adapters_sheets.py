"""Sheets of made parts: figures, drawing, print, exchange file, and the command that writes them.

Tolerances are those of ISO 286-1:2010, table 1: IT9 is 52 um over 18 up to 30 mm and 62 um over
30 up to 50 mm; an h shaft hangs below its nominal size, an H hole stands above it. Line widths
of 2 to 1 and the 45 degrees of hatching are ISO 128's, the 1:2 of scales ISO 5455's, A4 with
210 by 297 mm is ISO 216's (looked up; the hatching in release 0.9.1 of
github.com/pzfreo/build123d-drafting-helpers, which follows ISO 128-50). The PDF
is read by PyMuPDF, the DXF by ezdxf.
"""

from __future__ import annotations

import csv
import json
import math
import xml.etree.ElementTree as ET
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from random import Random
from types import MappingProxyType
from typing import Any

import ezdxf
import pymupdf
import pytest
import shapely
from typer.testing import CliRunner

from fitgraph.adapters import (
    SpecSheet,
    assemblies,
    cost_of,
    make_part,
    mates,
    save_with,
    shape_of,
    sheet,
    whole_yield,
    with_part,
    yield_of,
)
from fitgraph.adapters.made import held, stretches
from fitgraph.adapters.mates import widened
from fitgraph.catalogue import CatalogueError, demo_folder, load
from fitgraph.cli.main import app
from fitgraph.draw.drafting import drawing
from fitgraph.draw.drafting_dxf import dxf_bytes
from fitgraph.draw.drafting_items import (
    Area,
    FilledTriangle,
    Label,
    LineKind,
    Measure,
    Stroke,
    cut,
    drawn,
    hatching,
    label_room,
    pieces_of,
    text_width,
    wrapped,
)
from fitgraph.draw.drafting_svg import sheet_svg
from fitgraph.model import Catalogue, Dimension, FreeSize, Make, Reference, Verdict, Workmanship
from fitgraph.report.specification import sheet_html, sheet_pdf
from tests import made_catalogues as small
from tests.shared import the_demo
from tests.turns import LONG, turns

#: Heights of lettering of ISO 3098-1:2015 in mm, looked up; a title block's texts may shrink.
ISO_3098 = {1.8, 2.5, 3.5, 5.0}

#: A4 in points of 1/72 in.
A4 = tuple(round(mm / 25.4 * 72) for mm in (210, 297))


@pytest.fixture(scope="module")
def demo() -> Catalogue:
    return the_demo().catalogue


@pytest.fixture(scope="module")
def made(demo: Catalogue) -> SpecSheet:
    worth = small.unweighed(demo, "sleeve", 25.4, 31.8, word="Skerrowby")
    return sheet(demo, worth, ["E002"])


@pytest.fixture(scope="module")
def liner(demo: Catalogue) -> SpecSheet:
    return sheet(small.thinned(demo), small.unweighed(demo, "liner", 31.8, 34.9))


@pytest.fixture(scope="module")
def solid(demo: Catalogue) -> SpecSheet:
    return sheet(small.thinned(demo), small.unweighed(demo, "insert", 31.75, 80.0))


# -- figures ---------------------------------------------------------------------------


def test_limits_are_those_of_the_tolerance_class(made: SpecSheet) -> None:
    by_title = {s.title: s for s in made.sizes}
    bore, outside = by_title["bore diameter"], by_title["outside diameter"]
    assert (bore.klass, outside.klass) == ("H9", "h9")
    assert bore.dimension.lo == bore.nominal
    assert bore.dimension.hi - bore.nominal == pytest.approx(0.052)
    assert outside.dimension.hi == outside.nominal
    assert outside.nominal - outside.dimension.lo == pytest.approx(0.062)


def test_deviations_change_where_the_table_does() -> None:
    free = FreeSize(Reference("a", "b", "c"), "h9")
    parts = stretches(free, (25.0, 35.0))
    assert [round(hi, 3) for _, hi in parts] == [30.0, 35.0]
    assert held(free, 30.0) == pytest.approx((-0.052, 0))
    assert held(free, parts[1][0]) == pytest.approx((-0.062, 0))
    assert stretches(replace(free, klass="", lower=-0.1), (25.0, 35.0)) == [(25.0, 35.0)]


def test_mass_and_cost_by_hand() -> None:
    """A tube 12 x 10.02 x 20 mm with a slot of 1 mm; 2.70 g/cm3 is 6061's handbook density."""
    words = small.vocabulary()
    make = words.makes["sleeve"]
    part = make_part(make, words, "X", {small.BORE: 10.0, small.OUTSIDE: 12.01}, {small.KEY: None})
    area = math.pi / 4 * (12.0**2 - 10.02**2) - 1.0 * (12.0 - 10.02) / 2
    assert part.mass_g == pytest.approx(area * 20 * 2.70e-3, abs=0.06)
    shape = shape_of(make, part.features)
    assert shape.least_wall == pytest.approx((11.98 - 10.04) / 2)
    cost = cost_of(make, shape)
    blank = math.pi / 4 * (12.02 + 2) ** 2 * 22
    assert cost.blank_g == pytest.approx(blank * 2.70e-3, rel=0.01)
    assert cost.material == pytest.approx(cost.blank_g / 1000 * 900)
    assert cost.minutes == pytest.approx(2 + (blank - area * 20) / 20_000)
    assert cost.machining == pytest.approx(cost.minutes / 60 * 6000)
    assert cost.setup == pytest.approx(60 / 50 / 60 * 6000)
    assert cost.total == math.ceil(cost.material + cost.machining + cost.setup)


def test_the_slot_closes_until_its_outer_edges_meet(made: SpecSheet) -> None:
    """The narrowest slot, 2.9 mm, in the thickest ring, 25.4 on 31.8 mm."""
    assert made.closure is not None
    gives = (31.8 + 25.4) / (2 * math.pi) * math.asin(2.9 / 31.8)
    assert made.closure.slot_gives == pytest.approx(gives)
    assert 0 < made.closure.needed <= made.closure.slot_gives - 0.05
    assert made.closure.springs_back is not None
    assert made.closure.elastic == (made.closure.needed <= made.closure.springs_back)


def test_mating_parts_are_those_that_fit(demo: Catalogue, made: SpecSheet) -> None:
    part = made.part
    forks = [m for m in made.mates if m.option.role == "fork"]
    assert forks and {m.option.part.maker for m in forks} == {"Skerrowby"}
    bore = part.features["bore"].lengths["diameter"]
    for mate in forks:
        top = mate.option.features["top"].lengths["diameter"]
        assert mate.clearance == pytest.approx((bore.lo - top.hi, bore.hi - top.lo))
        assert mate.fit == ("clearance" if mate.clearance[0] >= 0 else "transition")
        gives = (31.8 + bore.hi) / (2 * math.pi) * math.asin(2.9 / 31.8)
        assert mate.window == pytest.approx((0.0, gives - 0.05))
        assert (mate.verdict is Verdict.FITS) == (mate.share == 1.0)
    again = {m.option.label for m in mates(demo, part)}
    assert again == {m.option.label for m in made.mates}


def test_yield_falls_with_the_process() -> None:
    """Pins of exactly 10 mm, a bore of 9.98 to 10.02 mm: half of the pairs go together."""
    pins = [small.part("pin", 0, "post", small.Dimension(10.0, 10.0), "Ash")]
    catalogue = small.catalogue_of(pins)
    make = catalogue.vocabulary.makes["sleeve"]
    part = make_part(
        make, catalogue.vocabulary, "X", {small.BORE: 9.98, small.OUTSIDE: 12.0}, {small.KEY: None}
    )
    half = yield_of(catalogue, part, [small.BORE, small.OUTSIDE])
    assert (half.certain, half.possible) == (0, 1)
    assert half.pairs == pytest.approx(0.5)
    sure = make_part(
        make, catalogue.vocabulary, "Y", {small.BORE: 10.0, small.OUTSIDE: 12.0}, {small.KEY: None}
    )
    # Made 10.00 to 10.04 all fit; twice as wide, 9.98 to 10.06, three quarters do.
    found = yield_of(catalogue, sure, [small.BORE, small.OUTSIDE])
    assert (found.certain, found.possible, found.pairs) == (1, 0, 1.0)
    assert found.twice == pytest.approx(0.75)
    wide = widened(sure, [small.BORE], 2.0).features["bore"].lengths["d"]
    assert (wide.lo, wide.hi) == pytest.approx((9.98, 10.06))


def test_the_yield_of_whole_assemblies_counts_what_closes_in_series() -> None:
    """By hand: a pin of 10, a sleeve of 10.00 to 10.04 on 12.00 to 12.04, a tube of 12.2.

    Its cut of 0.7 mm closes 0.7/pi = 0.2228 mm, 0.02 of which are to spare. What has to be
    closed is 12.2 - 12 - u - 2 + 2 + v with u and v uniform from 0 to 0.04: at most 0.2028 where
    v - u is at most 0.0028, of all assemblies 1 - (0.04 - 0.0028)^2 / (2 * 0.04^2) = 0.5675. In
    each pair alone, all of them go together.
    """
    tube = small.part("tube", 0, "hole", small.Dimension(12.2, 12.2), cut=0.7)
    lid = small.part("lid", 0, "edge", small.Dimension(13.0, 13.0))
    pin = small.part("pin", 0, "post", small.Dimension(10.0, 10.0), "Ash")
    catalogue = small.catalogue_of([pin, tube, lid])
    make = catalogue.vocabulary.makes["sleeve"]
    sizes = {small.BORE: 10.0, small.OUTSIDE: 12.03}
    part = make_part(make, catalogue.vocabulary, "X", sizes, {small.KEY: None})
    pairs = yield_of(catalogue, part, [small.BORE, small.OUTSIDE])
    assert (pairs.certain, pairs.possible, pairs.pairs) == (2, 0, 1.0)
    whole = whole_yield(catalogue, part)
    assert whole.certain_builds == 0 and whole.possible_builds
    share = 1 - (0.04 - (0.7 / math.pi - 0.02 - 0.2)) ** 2 / (2 * 0.04**2)
    assert whole.possible == pytest.approx(share, abs=0.03)
    snug = make_part(
        make, catalogue.vocabulary, "Y", {**sizes, small.OUTSIDE: 12.12}, {small.KEY: None}
    )
    assert whole_yield(catalogue, snug).certain == 1.0


def test_a_made_part_takes_part_in_everything(demo: Catalogue, made: SpecSheet) -> None:
    changed = with_part(demo, made.part)
    assert changed.of("sleeve")[-1] is made.part and made.part.sku not in demo.parts
    with pytest.raises(ValueError, match="is taken"):
        with_part(changed, made.part)
    with pytest.raises(ValueError, match="unknown"):
        with_part(demo, replace(made.part, role="nobody"))


def test_a_saved_catalogue_reads_back(demo: Catalogue, made: SpecSheet, tmp_path: Path) -> None:
    save_with(demo_folder(), tmp_path / "new", demo, [made.part])
    read = load(tmp_path / "new").catalogue
    assert len(read.parts) == len(demo.parts) + 1
    part = read.parts[made.part.sku]
    assert (part.price, part.stock, part.material) == (1590, 1, made.part.material)
    assert part.mass_g == pytest.approx(made.part.mass_g)
    for name, feature in made.part.features.items():
        assert part.features[name].presence == feature.presence
        assert part.features[name].words.keys() == feature.words.keys()
        for size, dimension in feature.lengths.items():
            again = part.features[name].lengths[size]
            assert (again.lo, again.hi) == pytest.approx((dimension.lo, dimension.hi), abs=1e-3)
    with pytest.raises(FileExistsError):
        save_with(demo_folder(), tmp_path / "new", demo, [made.part])


# -- the drawing -----------------------------------------------------------------------


def test_lines_are_wide_and_narrow_two_to_one(made: SpecSheet) -> None:
    assert LineKind.OUTLINE.width == 2 * LineKind.THIN.width == 2 * LineKind.CENTRE.width
    assert LineKind.CENTRE.dashes and not LineKind.OUTLINE.dashes
    areas = [i for i in drawing(made).items if isinstance(i, Area)]
    assert len(areas) == 2
    for area in areas:
        strokes = hatching(area)
        assert strokes
        for s in strokes:
            assert s.x2 - s.x1 == pytest.approx(s.y2 - s.y1)  # 45 degrees
            for x, y in ((s.x1, s.y1), (s.x2, s.y2), ((s.x1 + s.x2) / 2, (s.y1 + s.y2) / 2)):
                assert shapely.Polygon(area.corners).distance(shapely.Point(x, y)) < 1e-6


@pytest.mark.parametrize("which", ["made", "solid"])
def test_dimensions_measure_what_they_say(which: str, request: pytest.FixtureRequest) -> None:
    of = request.getfixturevalue(which)
    sketch = drawing(of)
    assert sketch.scale in (10, 5, 2, 1, 0.5, 0.2, 0.1)
    measures = [i for i in sketch.items if isinstance(i, Measure)]
    lengths = {}
    for m in measures:
        across = abs(m.y2 - m.y1) if m.upright else abs(m.x2 - m.x1)
        lengths[m.text] = across / sketch.scale
        assert sum(isinstance(piece, FilledTriangle) for piece in drawn(m)) == 2
    for text, length in lengths.items():
        assert float(text.removeprefix("Ø").split()[0]) == pytest.approx(length)
    wanted = {s.nominal for s in of.sizes}
    assert wanted <= {round(x, 6) for x in lengths.values()}
    assert sum(text.startswith("Ø") for text in lengths) == (1 if of.shape.bore is None else 2)


def untidy(of: SpecSheet) -> list[str]:
    """Return texts that meet another, have a line through them, or leave the frame.

    Rooms are those of the widest face, with a text's descenders.
    """
    pieces = list(pieces_of(drawing(of).items))
    labels = [p for p in pieces if isinstance(p, Label)]
    lines = [
        shapely.LineString([(p.x1, p.y1), (p.x2, p.y2)]) for p in pieces if isinstance(p, Stroke)
    ]
    frame = shapely.box(20, 10, 287, 200)
    assert all(frame.buffer(0.01).contains(line) for line in lines)
    rooms = [shapely.box(*label_room(label)) for label in labels]
    texts, strokes = shapely.STRtree(rooms), shapely.STRtree(lines)
    found = []
    for label, room in zip(labels, rooms, strict=True):
        met = [n for n in texts.query(room) if rooms[n].intersection(room).area > 1e-6]
        crossed = [n for n in strokes.query(room) if lines[n].intersection(room).length > 0.1]
        if len(met) > 1 or crossed or not frame.contains(room):
            found.append(label.text)
    return found


@pytest.mark.parametrize("which", ["made", "liner", "solid"])
def test_no_text_meets_another_or_a_line(which: str, request: pytest.FixtureRequest) -> None:
    of = request.getfixturevalue(which)
    assert untidy(of) == []
    labels = [p for p in pieces_of(drawing(of).items) if isinstance(p, Label)]
    assert len(labels) > 30
    assert {x.height for x in labels if not 2.5 < x.height < 3.5} <= ISO_3098
    assert drawing(of).scale in (1, 2)


def resized(of: SpecSheet, outside: float, wall: float, slot: float, length: float) -> SpecSheet:
    """Return a sheet of the same kind of part with other sizes, as far as a drawing goes."""
    make, bore = of.make, outside - 2 * wall
    sizes = {make.outside: outside, make.bore: bore, make.slot: slot}

    def limits(nominal: float) -> Dimension:
        return Dimension(nominal - 0.05, nominal + 0.05)

    other = tuple(
        replace(s, nominal=n, dimension=limits(n))
        for s in of.sizes
        for n in [sizes.get(s.reference, length)]
    )
    shape = replace(of.shape, outside=limits(outside), length=length)
    if of.shape.bore is not None:
        shape = replace(shape, bore=limits(bore), slot=limits(slot))
    if isinstance(make.length, float):
        make = replace(make, length=length)
    candidate = replace(of.worth.candidate, make=make)
    return replace(of, sizes=other, shape=shape, worth=replace(of.worth, candidate=candidate))


def test_parts_of_any_size_are_drawn_tidily(
    made: SpecSheet, liner: SpecSheet, solid: SpecSheet
) -> None:
    """Rods and rings, thick and thin, 6 to 150 mm wide and 5 to 300 mm long."""
    random = Random(7)
    scales = set()
    for n in range(turns(90, 45)):
        outside = round(random.uniform(6, 150), 2)
        wall = round(random.uniform(1.2, max(1.3, 0.35 * outside)), 2)
        slot = round(random.uniform(0.5, min(5, 0.6 * (outside - 2 * wall))), 2)
        length = round(random.uniform(5, 300), 1)
        of = resized((made, liner, solid)[n % 3], outside, wall, slot, length)
        assert untidy(of) == [], (outside, wall, slot, length)
        scales.add(drawing(of).scale)
    assert {0.5, 1, 2} <= scales


def test_the_room_of_a_text_is_what_it_takes_in_print(made: SpecSheet) -> None:
    """PyMuPDF finds each text of the drawing within the room that was kept for it."""
    page = pymupdf.open(stream=sheet_pdf(made), filetype="pdf")[0]
    seen = {
        span["text"]: span["bbox"]
        for block in page.get_text("dict")["blocks"]
        for line in block.get("lines", [])
        for span in line["spans"]
    }
    labels = [p for p in pieces_of(drawing(made).items) if isinstance(p, Label) and not p.turned]
    checked = 0
    for label in labels:
        if label.text in seen and sum(x.text == label.text for x in labels) == 1:
            x1, _, x2, _ = (value / 72 * 25.4 for value in seen[label.text])
            kept = label_room(label)
            assert kept[0] - 0.05 <= x1 and x2 <= kept[2] + 0.05, label.text
            assert x2 - x1 > 0.8 * (kept[2] - kept[0]), label.text
            checked += 1
    assert checked > 25


def test_long_texts_are_cut_and_wrapped() -> None:
    assert cut("short", 3.5, 30) == "short"
    for text in ("long " * 600, "x" * 3000):
        short = cut(text, 3.5, 30)
        assert short.endswith("...") and text_width(short, 3.5) <= 30
        lines = wrapped(text, 2.5, 40, 2)
        assert len(lines) <= 2 and lines[-1].endswith("...")
        assert all(text_width(line, 2.5) <= 40 for line in lines)
    assert wrapped("one two", 2.5, 60, 2) == ["one two"]
    assert wrapped("", 2.5, 60, 2) == []


#: What a workshop has to be told of a slotted tube, in every medium.
TOLD = (
    *("EN AW-6061 T6, EN 573-3:2019, EN 755-2:2016", "ISO 2768-1:1989-m", "ISO 8015:2011"),
    *("Surface texture, ISO 21920-1:2021", "Ra 1.6", "Ra 3.2", "Edges, ISO 13715:2017"),
    *("Ø0.05", "2× 0.5 × 45°", "bare, degreased", "No burr at the slot, inside or outside."),
    *("Legal owner", "Approved by", "Date of issue", "Created by", "Drawing number", "Sheet"),
    *("Document type", "Document status", "proposal, not released", "Title", "Projection"),
)


def test_every_medium_tells_a_workshop_the_same(made: SpecSheet, tmp_path: Path) -> None:
    sketch = drawing(made)
    root = ET.fromstring(sheet_svg(sketch))
    in_svg = [e.text or "" for e in root.iter("{http://www.w3.org/2000/svg}text")]
    in_pdf = pymupdf.open(stream=sheet_pdf(made), filetype="pdf")[0].get_text().splitlines()
    (tmp_path / "x.dxf").write_bytes(dxf_bytes(sketch))
    document = ezdxf.readfile(tmp_path / "x.dxf")
    in_dxf = [t.dxf.text for t in document.modelspace().query("TEXT")]
    for texts in (in_svg, in_pdf, in_dxf):
        assert set(TOLD) <= {t.strip() for t in texts}, set(TOLD) - set(texts)
        flat = " ".join(texts)
        for wanted in ("ISO 10579-NR", "free state", "Restrained, for coaxiality", "measure the"):
            assert wanted in flat
    # Two diameters for the envelope, these and the slot in the free state, as letters in circles.
    rings = [p for p in pieces_of(sketch.items) if isinstance(p, Label) and p.height == 2.5]
    assert [sum(p.text == letter for p in rings) for letter in "EF"] == [2, 3]
    blocks = [b for b in document.blocks if b.name.startswith("*D")]
    shown = [t.dxf.text for b in blocks for t in b.query("TEXT")]
    assert (shown.count("E"), shown.count("F"), len(blocks)) == (2, 3, 4)


def test_the_frame_speaks_of_the_outside_and_the_datum_of_the_bore(made: SpecSheet) -> None:
    """ISO 1101 and ISO 5459: what stands in line with a dimension line means the axis."""
    items = drawing(made).items
    outside, bore = (
        next(m for m in items if isinstance(m, Measure) and m.text == f"Ø{size:g} {klass}")
        for size, klass in ((31.8, "h9"), (25.4, "H9"))
    )
    fills = [i for i in items if isinstance(i, FilledTriangle)]
    tips = {(round(f.corners[0][0], 3), round(f.corners[0][1], 3)) for f in fills}
    assert (round(outside.at, 3), round(max(outside.y1, outside.y2), 3)) in tips
    feet = [f for f in fills if f.corners[0][1] == f.corners[1][1] > f.corners[2][1]]
    (foot,) = feet
    assert foot.corners[2][0] == pytest.approx(bore.at)
    assert foot.corners[0][1] == pytest.approx(min(bore.y1, bore.y2))


def test_what_is_not_asked_for_is_not_drawn(made: SpecSheet) -> None:
    plain = replace(made.make, work=Workmanship(), material="aluminium")
    candidate = replace(made.worth.candidate, make=plain)
    bare = drawing(replace(made, worth=replace(made.worth, candidate=candidate)))
    texts = [p.text for p in pieces_of(bare.items) if isinstance(p, Label)]
    assert not [t for t in texts if "45°" in t or "Ø0.05" in t or "Restrained" in t]
    assert texts.count("Ra 3.2") == 1 and "as machined" in texts
    assert "aluminium, alloy not stated (grade to be agreed)" in texts
    (upper, lower) = [i for i in bare.items if isinstance(i, Area)]
    assert len(upper.corners) == len(lower.corners) == 4


def test_a_name_of_three_thousand_letters_is_printed(made: SpecSheet, tmp_path: Path) -> None:
    for name in ("n" * 3000, "a long name " * 250, "ł" * 3000):
        part = replace(made.part, name=name)
        worse = replace(
            made, worth=replace(made.worth, candidate=replace(made.worth.candidate, part=part))
        )
        mates = tuple(
            replace(m, option=replace(m.option, part=replace(m.option.part, name=name)))
            for m in worse.mates[:3]
        )
        worse = replace(worse, mates=mates)
        pages = pymupdf.open(stream=sheet_pdf(worse), filetype="pdf")
        assert len(pages) < 8
        for page in pages:
            for x1, _, x2, _, *_ in page.get_text("words"):
                assert x1 >= 0 and x2 <= page.rect.width
        (tmp_path / "x.dxf").write_bytes(dxf_bytes(drawing(worse)))
        assert len(sheet_svg(drawing(worse))) < 200_000


def test_nothing_leaves_the_sheet(made: SpecSheet, solid: SpecSheet) -> None:
    for of in (made, solid):
        root = ET.fromstring(sheet_svg(drawing(of)))
        assert root.get("width") == "297mm" and root.get("viewBox") == "0 0 297 210"
        for line in root.iter("{http://www.w3.org/2000/svg}line"):
            for axis, most in (("x", 297), ("y", 210)):
                assert 0 <= float(line.get(f"{axis}1")) <= most
                assert 0 <= float(line.get(f"{axis}2")) <= most


def test_dxf_holds_the_dimensions(made: SpecSheet, tmp_path: Path) -> None:
    sketch = drawing(made)
    (tmp_path / "x.dxf").write_bytes(dxf_bytes(sketch))
    read = ezdxf.readfile(tmp_path / "x.dxf")
    assert not read.audit().errors
    assert read.units == ezdxf.units.MM
    found = {d.dxf.text: d.get_measurement() for d in read.modelspace().query("DIMENSION")}
    assert len(found) == 4
    for size in made.sizes:
        text = next(t for t in found if t.removeprefix("Ø").startswith(f"{size.nominal:g} "))
        assert found[text] == pytest.approx(size.nominal)
        if size.klass:
            assert size.klass in text
            assert f"({size.dimension.hi:.3f} / {size.dimension.lo:.3f})" in text
    assert found["122 ±0.2"] == pytest.approx(122)
    widths = {layer.dxf.name: layer.dxf.lineweight for layer in read.layers}
    assert widths["outline"] == 2 * widths["thin"] == 50  # hundredths of a millimetre
    radii = {round(a.dxf.radius, 4) for a in read.modelspace().query('ARC[layer=="outline"]')}
    outer, inner = (s.nominal / 2 for s in made.sizes if s.klass)
    assert radii == {outer, inner}  # lead-ins half a millimetre wide would run into them


def test_pdf_shows_the_drawing_to_scale(made: SpecSheet) -> None:
    pages = pymupdf.open(stream=sheet_pdf(made), filetype="pdf")
    first, second = pages[0], pages[1]
    assert (round(first.rect.height), round(first.rect.width)) == A4
    assert (round(second.rect.width), round(second.rect.height)) == A4
    words = first.get_text()
    for wanted in ("Ø31.8 h9", "(31.800 / 31.738)", "Ø25.4 H9", "122 ±0.2", "A-A", "1:1"):
        assert wanted in words
    assert made.part.sku in words and "proposal, not released" in words
    # Thick lines along the part at 1 to 1: 122 mm at the slot, less two lead-ins elsewhere.
    thick = 0.5 / 25.4 * 72
    long = [
        abs(item[2].x - item[1].x) / 72 * 25.4
        for path in first.get_drawings()
        if path["width"] == pytest.approx(thick, rel=0.02)
        for item in path["items"]
        if item[0] == "l" and item[2].y == pytest.approx(item[1].y, abs=0.01)
    ]
    assert sum(x == pytest.approx(122, abs=0.05) for x in long) == 2
    assert sum(x == pytest.approx(121, abs=0.05) for x in long) == 4
    rendered = first.get_pixmap(dpi=40)
    assert 0.002 < sum(b < 128 for b in rendered.samples) / len(rendered.samples) < 0.2
    rest = "".join(page.get_text() for page in pages.pages(1))
    for wanted in ("Mating parts", "FORK-SKE-01", "Expected yield", "Caution. ", "certain"):
        assert wanted in rest
    flat = " ".join(rest.split())
    for wanted in (
        "6061-T6 aluminium: EN AW-6061 T6, EN 573-3:2019, EN 755-2:2016",
        "bore Ra 1.6, outside Ra 1.6, elsewhere Ra 3.2 µm; outside coaxial to the bore within",
    ):
        assert wanted in flat
    assert all(" ".join(c.split()) in flat for c in made.cautions)


def test_text_of_a_catalogue_is_no_markup(made: SpecSheet, tmp_path: Path) -> None:
    nasty = "<script>x</script> & {\\H9;%%u \x07 \N{SNOWMAN}"
    part = replace(made.part, name=nasty)
    candidate = replace(made.worth.candidate, part=part)
    worse = replace(made, worth=replace(made.worth, candidate=candidate))
    page = sheet_html(worse)
    assert "<script" not in page and "&lt;script&gt;" in page
    assert page.count("<h1>") == 1 and "://" not in page.replace("http://www.w3.org", "")
    root = ET.fromstring(sheet_svg(drawing(worse)))
    assert not list(root.iter("{http://www.w3.org/2000/svg}script"))
    assert "<script>" in pymupdf.open(stream=sheet_pdf(worse), filetype="pdf")[0].get_text()
    (tmp_path / "x.dxf").write_bytes(dxf_bytes(drawing(worse)))
    texts = [t.dxf.text for t in ezdxf.readfile(tmp_path / "x.dxf").modelspace().query("TEXT")]
    assert any("<script>" in t for t in texts)
    assert not any("%%u" in t or "\x07" in t for t in texts)


# -- the command -------------------------------------------------------------------------


def run(*arguments: str) -> tuple[int, str, str]:
    result = CliRunner().invoke(app, list(arguments))
    return result.exit_code, result.stdout, result.stderr


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    """Return a folder with the demo, few enquiries and one make."""
    folder = tmp_path / "shop"
    folder.mkdir()
    for file in demo_folder().iterdir():
        if file.suffix in (".csv", ".toml"):
            (folder / file.name).write_bytes(file.read_bytes())
    rows = (folder / "enquiries.csv").read_text(encoding="utf-8").splitlines()
    kept = [rows[0], *(r for r in rows[1:] if "FORK-SKE-04" in r)]
    (folder / "enquiries.csv").write_text("\n".join(kept) + "\n", encoding="utf-8")
    return folder


def thin(folder: Path, most: int = 4) -> None:
    """Leave a few of the enquiries, and few parts of roles that nothing is made to go with."""
    head, *rows = (folder / "enquiries.csv").read_text(encoding="utf-8").splitlines()
    asked = "\n".join([head, *rows[::7], ""])
    (folder / "enquiries.csv").write_text(asked, encoding="utf-8")
    lines = (folder / "parts.csv").read_text(encoding="utf-8").splitlines()
    seen: Counter[str] = Counter()
    kept = [lines[0]]
    for line in lines[1:]:
        sku, role = line.split(",")[:2]
        seen[role] += 1
        if role in ("fork", "bar", "clamp", "kit") or seen[role] <= most or sku in asked:
            kept.append(line)
    (folder / "parts.csv").write_text("\n".join(kept) + "\n", encoding="utf-8")


def noting(calls: list[Any], of: Callable[..., Any]) -> Callable[..., Any]:
    """Return a function that notes each call of another."""

    def noted(*arguments: Any, **named: Any) -> Any:
        calls.append(arguments)
        return of(*arguments, **named)

    return noted


def test_the_command_answers_in_json_and_writes_sheets(
    shop: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out, new = tmp_path / "sheets", tmp_path / "copy"
    thin(shop)
    drawn = []
    monkeypatch.setattr(assemblies, "_shares", noting(drawn, assemblies._shares))
    code, text, _ = run(
        *("adapters", "--catalogue", str(shop), "--role", "sleeve", "--k", "1", "--json"),
        *("--sheet", str(out), "--save", str(new)),
    )
    assert code == 0
    answer = json.loads(text)
    with (shop / "enquiries.csv").open(encoding="utf-8") as file:
        assert answer["enquiries"] == sum(float(r["count"]) for r in csv.DictReader(file))
    assert len(drawn) == 2  # certain and possible, of one part that is listed and has a sheet
    first = answer["parts"][0]
    assert first["sku"].startswith("SLEEVE-") and first["words"] == {"key.maker": "Skerrowby"}
    assert first["gained"] > 0 and first["builds"] > 0
    (step,) = answer["together"]
    assert step["parts"] == [first["sku"]]
    assert step["covered"] == answer["covered"] + first["gained"]
    assert step["proven"] and step["gap"] == 0
    assert sorted(p.suffix for p in out.iterdir()) == [".dxf", ".html", ".pdf", ".step", ".svg"]
    assert sorted(answer["files"]) == sorted(str(p) for p in out.iterdir())
    assert answer["saved"] == str(new) and first["sku"] in load(new).catalogue.parts
    assert "estimates" in " ".join(answer["cautions"])
    if not LONG:  # asked once more, on two workers
        return
    code, text, _ = run(
        *("adapters", "--catalogue", str(new), "--role", "sleeve", "--json", "--workers", "2")
    )
    after = json.loads(text)
    assert after["covered"] == step["covered"] and after["saved"] is None
    assert "estimates" in " ".join(after["cautions"])


@pytest.mark.long
def test_the_command_speaks_to_people(shop: Path) -> None:
    code, text, _ = run("adapters", "--catalogue", str(shop), "--role", "liner", "--limit", "2")
    assert code == 0
    assert "enquiries are served now by what is sold" in text and "liner" in text
    assert "others could be made (--limit); one that would newly serve" in " ".join(text.split())
    assert "measure the counterparts" in text


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("--role", "wing"), "use one of sleeve, liner, insert"),
        (("--sheet", "{file}"), "is a file"),
        (("--save", "{folder}"), "exists"),
        (("--k", "0"), "k"),
    ],
)
def test_bad_input_is_told(
    shop: Path, tmp_path: Path, arguments: tuple[str, ...], told: str
) -> None:
    (tmp_path / "f").write_text("x", encoding="utf-8")
    given = [a.format(file=tmp_path / "f", folder=tmp_path) for a in arguments]
    code, text, errors = run("adapters", "--catalogue", str(shop), *given)
    assert (code, text) == (2, "")
    assert told in errors


def test_a_trade_without_makes_says_what_to_add() -> None:
    code, _, errors = run("adapters", "--catalogue", str(demo_folder().parent / "hoses"))
    assert code == 2
    assert "[make.NAME]" in errors


@pytest.mark.parametrize(
    ("was", "now", "told"),
    [
        ('"bore.diameter" = "H9"', '"bore.diameter" = "h9"', "is a class of the other kind"),
        ('"bore.diameter" = "H9"', '"bore.diameter" = "rough"', "make.sleeve.free"),
        ('"bore.diameter" = "H9"', '"bore.girth" = "H9"', "names no known dimension"),
        ('process = "', 'role = "wing"\nprocess = "', "is no known role"),
        (
            'fixed.slot = { width = "3.0 ±0.1 mm" }\nfixed.length',
            "fixed.length",
            "is neither free nor fixed",
        ),
        ('length = "sleeve.length.length"', 'length = "-60 mm"', "is not above zero"),
        ("lot = 50", "lot = 0", "cannot be zero"),
        ("lot = 50, ", "", "lacks lot"),
        (
            'material = "aluminium-6061-t6"\nmaterials',
            'material = "cheese"\nmaterials',
            "no material",
        ),
        ('caution = "strength"', 'caution = "sunburn"', "is no known caution"),
        ('words = ["key.maker"]', 'words = ["bore.diameter"]', "is a length"),
        ('step = "0.05 mm"', 'steps = "0.05 mm"', "is no known entry"),
        ("rest = 3.2", "rest = 0", "is not above zero"),
        ("rest = 3.2", 'rest = "fine"', "is no number"),
        ("rest = 3.2", "slot = 3.2", "is no known entry"),
        ('outside = "0.5 mm" }', 'outside = "0.7 mm" }', "leaves nothing of an end face"),
        ('outside = "0.5 mm" }', 'outside = "-1 mm" }', "is below zero"),
        ('coaxiality = "0.05 mm"', 'coaxiality = "wide"', "make.sleeve.coaxiality"),
        ('edges = "0.2 mm"', 'general_tolerances = "k"', "is no class of ISO 2768-1"),
        ('bore = "sleeve.bore.diameter"\n', "", "needs a bore"),
    ],
)
def test_faults_of_a_make_are_told(shop: Path, was: str, now: str, told: str) -> None:
    path = shop / "vocabulary.toml"
    text = path.read_text(encoding="utf-8")
    at = text.index("[make.sleeve]")
    assert was in text[at:]
    path.write_text(text[:at] + text[at:].replace(was, now, 1), encoding="utf-8")
    with pytest.raises(CatalogueError) as caught:
        load(shop)
    assert any(told in str(f) or told in f.column for f in caught.value.findings)
    assert all(f.column.startswith("make") for f in caught.value.findings)


def test_two_free_sizes_of_one_joint_are_refused(shop: Path) -> None:
    path = shop / "vocabulary.toml"
    text = path.read_text(encoding="utf-8")
    at = text.index("[make.sleeve]")
    changed = text[at:].replace(
        'free = { "bore.diameter" = "H9",',
        'free = { "slot.width" = "±0.1 mm", "bore.diameter" = "H9",',
        1,
    )
    path.write_text(text[:at] + changed, encoding="utf-8")
    with pytest.raises(CatalogueError, match="compares two free dimensions"):
        load(shop)


def test_deviations_are_read_as_typed(demo: Catalogue) -> None:
    make: Make = demo.vocabulary.makes["insert"]
    along = next(f for f in make.free if f.size.name == "length")
    assert (along.klass, along.lower, along.upper) == ("", -0.2, 0.2)
    assert isinstance(demo.vocabulary.makes, MappingProxyType)


def test_what_a_drawing_says_is_read_and_has_defaults(demo: Catalogue, shop: Path) -> None:
    makes = demo.vocabulary.makes
    assert makes["sleeve"].work == Workmanship(
        1.6, 1.6, 3.2, 0.5, 0.5, 0.05, 0.2, "m", "bare, degreased", makes["sleeve"].work.deburring
    )
    path = shop / "vocabulary.toml"
    text = path.read_text(encoding="utf-8")
    at = text.index("[make.insert]")
    rest = text[at:].replace("roughness = { outside = 1.6, rest = 3.2 }", "roughness = 6.3", 1)
    rest = rest.replace('chamfer = { outside = "1 mm" }\nedges = "0.2 mm"\n', "", 1)
    path.write_text(text[:at] + rest, encoding="utf-8")
    read = load(shop).catalogue.vocabulary.makes["insert"].work
    assert read == Workmanship(6.3, 6.3, 6.3, finish="bare, degreased")


def test_every_entry_of_a_make_is_explained(shop: Path) -> None:
    guide = (Path(__file__).parent.parent / "docs" / "catalogue.md").read_text(encoding="utf-8")
    explained = guide.split("### What could be made\n")[1].split("\n## ")[0]
    path = shop / "vocabulary.toml"
    text = path.read_text(encoding="utf-8")
    for before, entry in (("[make.sleeve]\n", "odd = 1\n"), ("cost = { ", "odd = 1, ")):
        at = text.index("[make.sleeve]")
        path.write_text(text[:at] + text[at:].replace(before, before + entry, 1), encoding="utf-8")
        with pytest.raises(CatalogueError) as caught:
            load(shop)
        remedy = next(f.remedy for f in caught.value.findings if f.value == "odd")
        for known in remedy.removeprefix("Use one of ").split(", "):
            assert f"`{known}`" in explained
