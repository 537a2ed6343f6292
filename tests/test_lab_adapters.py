"""The map of what could be made, driven as a person drives it: it shows what the API says.

References
----------
.. [1] ISO 286-1:2010, table 1 (values checked): over 18 up to 30 mm IT9 is 52 um, IT7 is 21 um.
.. [2] ISO/IEC 8859-1:1998 (checked with Python's codec): it has no letter above U+00FF.
"""

from __future__ import annotations

import asyncio
import itertools
import json
import re
import time
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from dataclasses import replace
from html import unescape
from types import MappingProxyType

import pymupdf
import pytest

from fitgraph.adapters import (
    Scan,
    barred,
    candidates,
    edges,
    frontier,
    grade_of,
    grades_of,
    held_to,
    make_part,
    mates,
    region,
    scan,
    sheet,
    with_least_wall,
    with_material,
    with_part,
    yield_of,
    yields_by_grade,
)
from fitgraph.adapters.kept_parts import keep, kept
from fitgraph.adapters.made import held
from fitgraph.adapters.trials import ChangedMake, MadeUp
from fitgraph.draw.lettering import WRITTEN_PLAINLY, Lettering, find_font, printed
from fitgraph.draw.line_chart import Series, line_chart_svg, ticks
from fitgraph.errors import InputError
from fitgraph.graph.joints import asked, judge_pairs
from fitgraph.graph.options import options_for, plain
from fitgraph.lab import AdapterMap, OpenCatalogue, open_catalogue, scan_of
from fitgraph.lab.adapter_charts import LOOKS, diameter_px
from fitgraph.lab.adapter_entries import Mark
from fitgraph.lab.session import SessionError
from fitgraph.mechanics.materials import MATERIALS
from fitgraph.mechanics.rules import RULES
from fitgraph.model import Catalogue, Presence, Verdict
from fitgraph.report.specification import sheet_pdf
from fitgraph.solve import Request, TreeEngine
from fitgraph.stock import Standing, coverage
from tests.looping import in_a_loop
from tests.turns import LONG, turns


@pytest.fixture(scope="module")
def shop() -> OpenCatalogue:
    """Return a fifth of the demo's enquiries, and few parts that nothing is made to go with."""
    demo = open_catalogue()
    catalogue = demo.catalogue
    by_role = {
        role: parts if role in ("fork", "bar", "clamp", "kit", "sleeve", "liner") else parts[:5]
        for role, parts in catalogue.by_role.items()
    }
    parts = {part.sku: part for of in by_role.values() for part in of}
    enquiries = tuple(e for e in catalogue.enquiries[::5] if parts.keys() >= set(e.have))
    few = replace(catalogue, parts=parts, by_role=by_role, enquiries=enquiries)
    return OpenCatalogue(few, demo.findings, demo.supply)


@pytest.fixture(scope="module")
def found(shop: OpenCatalogue) -> Scan:
    return scan_of(shop, "sleeve")


@pytest.fixture(scope="module")
def shared(shop: OpenCatalogue) -> AdapterMap:
    """Return a map for tests that leave it as they found it."""
    return AdapterMap(shop, "sleeve")


@pytest.fixture
def page(shared: AdapterMap) -> Iterator[AdapterMap]:
    """Return the same map, which is brought back to how it was found."""
    before = shared.state()
    yield shared
    shared.restore(before)


@pytest.fixture(scope="module")
def options(shop: OpenCatalogue):
    vocabulary = shop.catalogue.vocabulary
    return {r: options_for(shop.catalogue.of(r), r, vocabulary) for r in vocabulary.roles}


def words(html) -> str:
    text = re.sub(r"<(style|svg).*?</\1>|<[^>]+>", " ", html.value, flags=re.DOTALL)
    return " ".join(unescape(text).split())


# ---------------------------------------------------------------- what is shown


def test_the_list_is_the_scan_and_what_no_wall_is_left_for(shared, found, shop, options):
    listed = [key for _, key in shared.map.list.options]
    weighed = [w.candidate.part.sku for w in found.worths]
    assert listed[: len(weighed)] == weighed
    without = barred(shop.catalogue, found.make, options)
    assert without and len(listed) == len(weighed) + len(without)
    for (text, _), worth in zip(shared.map.list.options, found.worths, strict=False):
        new = f"{worth.gained:,g} newly served"
        assert f"{new}, {worth.served:,g} in all" in text


def test_the_part_looked_at_is_told_as_the_scan_has_it(page, found):
    for at in (0, 2, len(found.worths) - 1)[: turns(3, 2)]:
        worth = found.worths[at]
        page.map.list.value = worth.candidate.part.sku
        told = words(page.design.details)
        assert f"Newly served {worth.gained:,g}" in told
        assert f"Served in all {worth.served:,g}" in told
        assert f"Takes from its like {worth.taken:,g} enquir" in told
        assert (f"Builds with it {worth.builds:,}" if worth.builds else "with it none") in told
        shift = f"may shift by {worth.candidate.slack_mm:.2f} mm"
        assert ("To spare snug, the tightest" if worth.candidate.tightens else shift) in told


def test_the_map_has_a_dot_at_every_place_and_a_shape_for_each_kind(shared):
    assert len({shape for shape, _ in LOOKS.values()}) == len(LOOKS)
    places = {(round(e.x, 2), round(e.y, 2)) for e in shared.map.shown.values()}
    drawn = set()
    for trace in shared.map.chart.figure.data:
        if trace.name in {kind.value for kind in Mark}:
            drawn |= {(round(x, 2), round(y, 2)) for x, y in zip(trace.x, trace.y, strict=True)}
    assert drawn == places
    axes = shared.map.chart.figure.layout
    assert axes.xaxis.title.text == "Inner diameter, mm"
    assert axes.yaxis.title.text == "Outer diameter, mm"
    assert "wall under 1.2 mm" in axes.annotations[0].text


def test_a_click_on_a_dot_looks_at_its_part(page):
    traces = page.map.chart.figure.data
    at = next(n for n, t in enumerate(traces) if t.name == Mark.GAINS.value)
    key = traces[at].customdata[-1]
    page.map.chart.widget.press(at, len(traces[at].customdata) - 1)
    assert page.map.list.value == key
    assert key in words(page.design.details)


def test_what_cannot_be_made_says_why(page, found, shop, options):
    first = barred(shop.catalogue, found.make, options)[0]
    page.map.list.value = next(k for _, k in page.map.list.options if k.startswith("no wall"))
    told = words(page.design.details)
    assert "Cannot be made" in told and "1.2 mm is the least" in told
    assert all(f"{mm:.2f} mm" in told for mm in first.sizes.values())
    assert page.trial.add.disabled and "none" in words(page.design.sheet)


def test_the_best_few_are_the_programs_with_bound_and_gap(page, found):
    steps = list(frontier([found], 8))
    for k in (1, 2, 5):
        page.best.k.value = float(k)
        step = steps[min(k, len(steps)) - 1]
        told = words(page.best.together)
        assert told.startswith(f"{step.coverage:,g} of {found.total:,g} enquiries served")
        assert f"gap {step.choice.gap:.1%}, proven" in told
        assert all(w.candidate.part.sku in told for w in step.worths)
        assert ("enough: a further one serves nobody new" in told) == (k > len(steps))
    drawn = ET.fromstring(re.search(r"<svg.*?</svg>", page.best.together.value, re.DOTALL)[0])
    told = next(e.text for e in drawn.iter() if e.tag.endswith("desc"))
    assert all(f" {s.coverage:,.4g}" in told for s in steps)


def test_tolerance_against_yield_is_the_apis(page, found, shop):
    candidate = found.worths[0].candidate
    grades = grades_of(found.make, shop.catalogue.vocabulary)
    for step in yields_by_grade(shop.catalogue, candidate, grades):
        row = f"IT{step.grade}" + (" (as designed)" if step.grade == 9 else "")
        assert f"{row} {step.pairs:.1%} {step.worst:.1%} {step.wall:.2f} mm" in words(
            page.design.yields
        )


def test_the_sheet_is_the_apis_and_its_files_open(page, found, shop):
    worth = found.worths[0]
    made = sheet(shop.catalogue, worth, found.gained_by(worth))
    told = words(page.design.sheet)
    assert f"{made.yields.certain} counterparts fit for certain" in told
    assert all(caution.split(".")[0] in told for caution in made.cautions)
    assert 'role="img"' in page.design.sheet.value
    for ending in ("svg", "pdf", "dxf", "step", "html"):
        saved = page.design.files.made(f"Save as {ending.upper()}")
        assert saved.name == f"{worth.candidate.part.sku}.{ending}"
        assert worth.candidate.part.sku.encode() in saved.content or ending == "pdf"


@pytest.mark.long
def test_a_trial_shows_coverage_and_builds_before_and_after(page, found, shop):
    best = found.worths[0]
    page.trial.add.click()
    after = with_part(shop.catalogue, best.candidate.part)
    engine = TreeEngine(after)
    told = words(page.trial.told)
    builds = [e.count(Request()).number for e in (shop.engine, engine)]
    assert f"Builds: {builds[0]:,} before, {builds[1]:,} with" in told
    assert builds[1] - builds[0] == best.builds
    figures = []
    for standing in (Standing.CATALOGUE, Standing.STOCK):
        for e in (shop.engine, engine):
            tally = coverage(e).total
            figures.append(sum(tally.of(s) for s in Standing if s >= standing))
    assert f"all {' '.join(f'{f:,g}' for f in figures)} +{best.gained:,g}" in told
    assert f"takes {best.taken:,g} enquir" in told
    # The map is weighed anew, with the part on the shelf.
    assert page.scan.covered == found.covered + best.gained
    assert len(page.trial.taken_out.items) == 1
    # What is still looked at is no news any more, and says so.
    assert page.map.list.value == best.candidate.part.sku
    assert "these figures are those of a second one" in words(page.verdict)
    page.map.list.value = found.worths[1].candidate.part.sku
    assert "Weighed beside what was added" in words(page.verdict)
    page.trial.taken_out.press(page.trial.taken_out.items[0]["name"])
    assert page.trial.added == () and page.scan.covered == found.covered
    assert "added" not in words(page.verdict)


def test_only_materials_that_the_process_can_work_are_offered(shared, shop):
    offered = {name for _, name in shared.question.material.options}
    make = shop.catalogue.vocabulary.makes["sleeve"]
    assert offered == {n for n, m in MATERIALS.items() if {n, m.family} & make.materials}
    assert {"steel-4130", "brass", "pom"} <= offered and make.material in offered
    assert offered.isdisjoint({"rubber", "polyurethane", "polypropylene", "nylon"})


def test_a_part_is_kept_beside_the_tables_and_read_back(page, shop, tmp_path, monkeypatch):
    page.trial.keep_button.click()
    assert (
        "the demo is not written to" in words(page.trial.kept_told)
        and not page.trial.kept_parts.items
    )
    monkeypatch.setattr(shop.shop, "folder", tmp_path)
    entry = page.map.entry
    assert entry is not None and entry.candidate is not None
    page.trial.keep_button.click()
    sku = entry.candidate.part.sku
    made = MadeUp.of(page.question.choice, entry.candidate, sku)
    assert kept(tmp_path, shop.catalogue.vocabulary) == ((made,), ())
    assert [f.suffix for f in (tmp_path / "proposals").iterdir()] == [".json"]
    assert [item["name"] for item in page.trial.kept_parts.items] == [sku]
    assert made.part(shop.catalogue.vocabulary).features == entry.candidate.part.features
    # What is spoilt is named, and takes nothing else with it.
    (tmp_path / "proposals" / "a.json").write_text('{"make": "<b>no such</b>"}', "utf-8")
    (tmp_path / "proposals" / "b.json").write_text("[1", "utf-8")
    (tmp_path / "proposals" / "c.json").write_text(
        json.dumps({**made.plain(), "material": "cheese"}), "utf-8"
    )
    (tmp_path / "proposals" / "d.json").write_bytes(b"\xff\xfe")
    (tmp_path / "proposals" / "e.json").mkdir()
    page.trial.keep_button.click()
    parts, problems = kept(tmp_path, shop.catalogue.vocabulary)
    assert parts == (made,) and len(problems) == 5
    for name, problem in zip("abcde", problems, strict=True):
        assert f"proposals/{name}.json" in problem and problem in words(page.trial.kept_told)
    assert "<b>" not in page.trial.kept_told.value


def test_a_proposals_name_leads_nowhere_else(shop, found, tmp_path):
    candidate = found.worths[0].candidate
    for sku in ("../../up", "..", "a/b", "x" * 300, "C:\\x", ""):
        made = MadeUp.of(ChangedMake.of(found.make), candidate, sku)
        (file,) = keep(tmp_path, [made])
        assert file.parent == tmp_path / "proposals" and file.is_file()
    (tmp_path / "tables").write_text("", "utf-8")
    with pytest.raises(InputError, match="cannot be written to"):
        keep(tmp_path / "tables", [made])
    assert not list(tmp_path.glob("up*")) and not list(tmp_path.parent.glob("up*"))


@pytest.mark.long
def test_what_was_looked_at_stays_after_a_part_is_added(page, shop, tmp_path, monkeypatch):
    at = [k for _, k in page.map.list.options][3]
    near = page.map.shown[at]
    monkeypatch.setattr(shop.shop, "folder", tmp_path)
    page.map.list.value = next(k for _, k in page.map.list.options)
    page.trial.keep_button.click()
    page.map.list.value = at
    page.trial.kept_parts.press(page.trial.kept_parts.items[0]["name"])
    assert len(page.trial.added) == 1
    entry = page.map.entry
    assert entry is not None
    best = min(abs(e.x - near.x) + abs(e.y - near.y) for e in page.map.shown.values())
    assert entry.key == at or abs(entry.x - near.x) + abs(entry.y - near.y) == best
    page.trial.kept_parts.press(page.trial.kept_parts.items[0]["name"])
    assert len({made.sku for made in page.trial.added}) == 2


# ---------------------------------------------------------------- entries, errors, sessions


@pytest.mark.long
def test_every_entry_reaches_the_scan(page, shop):
    page.question.make.value = "liner"
    assert next(k for _, k in page.map.list.options).startswith("LINER")
    with page.fields.quietly():  # so that it is weighed once, not after each of them
        page.question.material.value = "steel-4130"
        page.question.grade.value = 7
        page.question.wall.value = 0.8
    page.question.in_stock.value = True
    make = page.scan.make
    assert (make.material, make.least_wall) == ("steel-4130", 0.8)
    assert {f.klass for f in make.free} == {"H7", "h7"}
    expected = held_to(
        with_least_wall(with_material(shop.catalogue.vocabulary.makes["liner"], "steel-4130"), 0.8),
        7,
    )
    again = scan(shop.catalogue, expected, in_stock=True, engine=shop.engine)
    assert page.scan.covered == again.covered
    assert [w.candidate.part for w in page.scan.worths] == [w.candidate.part for w in again.worths]


def test_words_leave_only_their_parts(page, found):
    word = next(iter(found.worths[0].candidate.words.values()))
    assert word in [value for _, value in page.question.word.options]
    page.question.word.value = word
    kept = [e for e in page.map.shown.values() if e.candidate is not None]
    assert kept and all(word in e.candidate.words.values() for e in kept)
    assert len(kept) < len(page.scan.worths)


@pytest.mark.long
def test_a_part_without_bore_has_other_axes_and_no_wall(page):
    page.question.make.value = "insert"
    assert page.map.chart.figure.layout.yaxis.title.text == "Length, mm"
    assert page.question.wall.layout.display == "none"
    assert not page.map.chart.figure.data[1].visible
    assert "none of these parts serves another" in words(page.best.together)


@pytest.mark.long
def test_a_session_is_found_again(page, shop):
    page.map.list.value = page.map.list.options[0][1]
    page.trial.add.click()  # the same trial as above, which was weighed there
    page.map.list.value = page.map.list.options[3][1]
    page.best.k.value = 2.0
    page.map.metric.value = "builds"
    state = page.state()
    again = AdapterMap(shop, "sleeve")
    again.restore(state)
    assert again.state() == state
    assert words(again.design.details) == words(page.design.details)
    assert words(again.trial.told) == words(page.trial.told)
    again.session.afresh.click()
    assert again.trial.added == () and again.best.k.value == 1.0


@pytest.mark.parametrize(
    "wrong",
    [
        {"make": "no such thing"},
        {"material": "cheese"},
        {"least_wall": "thin"},
        {"added": [{"make": "sleeve"}]},
        {"added": "all"},
    ],
)
def test_a_strange_session_is_told_in_words(shared, wrong):
    before = shared.state()
    with pytest.raises(SessionError, match="does not fit here"):
        shared.restore({**before, **wrong})
    shared.session._enter({**before, **wrong})
    assert 'role="alert"' in shared.session.message.value
    shared.restore(before)
    assert shared.state() == before


def test_a_vocabulary_that_makes_nothing_is_told_in_words(shop):
    catalogue = shop.catalogue
    bare = replace(catalogue, vocabulary=replace(catalogue.vocabulary, makes={}))
    page = AdapterMap(OpenCatalogue(bare))
    assert "does not say what could be made" in words(page.children[-1])


@pytest.mark.long
def test_without_enquiries_builds_are_still_told(shop):
    page = AdapterMap(OpenCatalogue(replace(shop.catalogue, enquiries=())), "liner")
    assert "holds no enquiries" in words(page.best.together)
    assert page.scan.worths[0].builds > 0
    assert f"{page.scan.worths[0].builds:,}" in words(page.design.details)


def test_what_goes_wrong_inside_is_told_in_words(shop, monkeypatch):
    def broken(*_args, **_named):
        raise RuntimeError("the scale is out")

    monkeypatch.setattr("fitgraph.shop.weighed.scan", broken)
    page = AdapterMap(OpenCatalogue(shop.catalogue))
    assert "RuntimeError: the scale is out" in words(page.meter.status)
    assert "Traceback" not in page.meter.status.value


@pytest.mark.long
def test_catalogue_text_is_never_markup(shop):
    evil = '<img src=x onerror="alert(1)">'
    vocabulary = shop.catalogue.vocabulary
    make = replace(vocabulary.makes["liner"], title=evil, process=evil)
    hostile = replace(
        shop.catalogue,
        vocabulary=replace(vocabulary, makes=MappingProxyType({"liner": make})),
    )
    page = AdapterMap(OpenCatalogue(hostile))
    shown = (
        page.design.details,
        page.best.together,
        page.design.sheet,
        page.trial.told,
        page.meter.status,
    )
    assert "&lt;img" in page.design.details.value
    for html in shown:
        assert "<img" not in html.value


def test_controls_are_labelled(shared):
    question, few, trial = shared.question, shared.best, shared.trial
    controls = [
        question.make, question.material, question.grade, question.word, question.wall,
        question.in_stock, shared.map.metric, shared.map.list, few.k, few.mixed,
        shared.meter.button, trial.add, trial.add_best,
    ]  # fmt: skip
    labels = [c.description for c in controls]
    assert all(labels) and len(set(labels)) == len(labels)


@pytest.mark.long
def test_weighing_can_be_stopped_and_begun_again(shop):
    async def stop_and_go() -> AdapterMap:
        page = AdapterMap(OpenCatalogue(shop.catalogue), "liner")
        for _ in range(2000):
            await asyncio.sleep(0.005)
            if not page.meter.button.disabled and page.map.plane is not None:
                break
        assert not page.meter.button.disabled
        page.meter.button.click()
        assert "Stopped" in words(page.meter.status)
        begun = time.perf_counter()
        while page._tasks and time.perf_counter() - begun < 20:
            await asyncio.sleep(0.01)
        assert page.scan is None and page.meter.button.disabled
        assert any("not weighed yet" in text for text, _ in page.map.list.options)
        page.refresh()
        while (page._tasks or not page.design.files.items) and time.perf_counter() - begun < 90:
            await asyncio.sleep(0.02)
        return page

    page = in_a_loop(stop_and_go())
    assert page.scan is not None and page.scan.worths
    assert "Save as PDF" in page.design.files.items


def test_a_choice_is_the_make_that_it_says(shop):
    vocabulary = shop.catalogue.vocabulary
    for make in vocabulary.makes.values():
        assert ChangedMake.of(make).variant(vocabulary) == make


def test_a_made_up_part_is_made_up_again(found, shop):
    candidate = found.worths[1].candidate
    made = MadeUp.of(ChangedMake.of(found.make), candidate, candidate.part.sku)
    again = MadeUp.read(made.plain())
    assert again == made
    assert again.part(shop.catalogue.vocabulary) == candidate.part


# ---------------------------------------------------------------- the plane and the grades


def met_by(size, part, options, vocabulary, words) -> list[str]:
    """Return what certainly fits a size of a part, of all that its words leave."""
    made, other_words, found = plain(part), set(), []
    for joint in asked(vocabulary.joints, tidy=True):
        roles = dict.fromkeys(a.role for a in joint.arguments.values())
        other = next((r for r in roles if r != part.role), "")
        if part.role not in roles or len(roles) != 2 or not options[other]:
            continue
        here = replace(joint, when=tuple(c for c in joint.when if c.role in roles))
        sides = ([made], options[other])
        sides = sides if here.roles[0] == part.role else sides[::-1]
        verdicts, _, there = (of.ravel() for of in judge_pairs(here, *sides))
        fits = (verdicts == Verdict.FITS) & (there != Presence.ABSENT)
        if set(words) & set(joint.arguments.values()):
            other_words |= {
                o.label for o, v in zip(options[other], verdicts, strict=True) if v != Verdict.FITS
            }
        compared = [n for n, a in joint.arguments.items() if a == size]
        if any(n not in RULES[joint.rule].may_lack for n in compared):
            found += [o.label for o, fit in zip(options[other], fits, strict=True) if fit]
    return [label for label in found if label not in other_words]


def test_a_cell_counts_something_exactly_where_a_part_fits_something(shop, found, options):
    """Judged by the joints of the graph, for parts of the sizes of some cells."""
    one = found.worths[0].candidate
    area = region(shop.catalogue, found.make, options, one.words)
    for size, ends, counts in (
        (area.across, area.columns, area.fits_across),
        (area.up, area.rows, area.fits_up),
    ):
        assert 0 < (counts > 0).sum() < len(counts)
        for cell in range(0, len(counts), 2):
            if ends[cell + 1] - ends[cell] < 1e-3:
                continue
            sizes = {**one.sizes, size: float(ends[cell] + ends[cell + 1]) / 2}
            part = make_part(one.make, shop.catalogue.vocabulary, "X", sizes, one.words)
            fits = met_by(size, part, options, shop.catalogue.vocabulary, one.make.words)
            assert bool(fits) == bool(counts[cell]), (size, sizes[size])


def test_the_wall_line_leaves_exactly_the_least_wall(shop, found, options):
    area = region(shop.catalogue, found.make, options)
    bore, outside = area.wall[len(area.wall) // 2]
    upper = next(f for f in found.make.free if f.size == found.make.bore)
    lower = next(f for f in found.make.free if f.size == found.make.outside)
    thin = outside + held(lower, outside)[0] - bore - held(upper, bore)[1]
    assert thin / 2 == pytest.approx(found.make.least_wall, abs=0.02)
    # No candidate of the scan stands below it.
    for worth in found.worths:
        features = worth.candidate.part.features
        inner = features[found.make.bore.feature].lengths[found.make.bore.name].hi
        outer = features[found.make.outside.feature].lengths[found.make.outside.name].lo
        assert (outer - inner) / 2 >= found.make.least_wall - 1e-9


def test_what_is_barred_could_be_made_with_a_thinner_wall(shop, found, options):
    for none in barred(shop.catalogue, found.make, options):
        assert none.wall < found.make.least_wall
    thicker = len(barred(shop.catalogue, with_least_wall(found.make, 1.6), options))
    assert thicker >= len(barred(shop.catalogue, found.make, options))


def test_beyond_its_cell_a_part_loses_a_counterpart(shop, found, options):
    one = found.worths[0].candidate
    fits = {m.option.label for m in mates(shop.catalogue, one.part) if m.verdict is Verdict.FITS}
    told = edges(shop.catalogue, one, options)
    assert len(told) == 2 * len(one.sizes) and all(e.joints or e.gains for e in told)
    assert sum(bool(e.joints) for e in told) >= 3
    for edge in told:
        beyond = edge.at + (-0.01 if edge.below else 0.01)
        part = make_part(
            one.make, shop.catalogue.vocabulary, "X", {**one.sizes, edge.size: beyond}, one.words
        )
        left = {m.option.label for m in mates(shop.catalogue, part) if m.verdict is Verdict.FITS}
        assert bool(fits - left) == bool(edge.joints), edge
        assert bool(left - fits) == bool(edge.gains), edge


def test_grades_widen_as_the_standard_says_and_only_lower_the_yield(shop, found):
    candidate = found.worths[0].candidate
    make, size = found.make, found.make.bore
    width = {}
    for grade in (7, 9):
        step = yields_by_grade(shop.catalogue, candidate, (grade,))[0]
        made = step.part.features[size.feature].lengths[size.name]
        width[grade] = made.hi - made.lo
    assert width[9] == pytest.approx(0.052) and width[7] == pytest.approx(0.021)
    shares = yields_by_grade(shop.catalogue, candidate, range(6, 17))
    assert all(a.worst >= b.worst - 1e-9 for a, b in itertools.pairwise(shares))
    assert shares[0].worst == 1.0 > shares[-1].worst and shares[0].pairs > shares[-1].pairs
    own = next(s for s in shares if s.grade == grade_of(make))
    assert own.pairs == yield_of(shop.catalogue, candidate.part, [f.size for f in make.free]).pairs


def test_candidates_come_before_they_are_weighed(shop, found, options):
    offered = candidates(shop.catalogue, found.make, options)
    places = [(c.words, c.cells) for c in offered]
    for worth in found.worths:  # a gauge may be taken, within the same cells
        assert (worth.candidate.words, worth.candidate.cells) in places


def test_materials_that_a_make_can_be_of_are_the_tables(shop):
    make = shop.catalogue.vocabulary.makes["sleeve"]
    assert with_material(make, "pom").material in MATERIALS
    with pytest.raises(KeyError):
        with_material(make, "cheese")
    with pytest.raises(ValueError, match="below zero"):
        with_least_wall(make, -1.0)


# ---------------------------------------------------------------- charts and letters


def test_dots_grow_with_their_value_by_area():
    small, large = diameter_px(0, 10, steep=False), diameter_px(10, 10, steep=False)
    half = diameter_px(5, 10, steep=False)
    assert ((half - small) / (large - small)) ** 2 == pytest.approx(0.5)
    assert diameter_px(1e3, 1e9, steep=True) > diameter_px(1e3, 1e9, steep=False)


def test_a_line_chart_says_its_figures_in_words_and_holds_no_markup():
    svg = line_chart_svg("T", "a", "b", ["<i>", "y"], [Series("n", (1.0, 2.0))], marked=1)
    root = ET.fromstring(svg)
    told = next(e.text for e in root.iter() if e.tag.endswith("desc"))
    assert "<i> 1" in told and "y 2" in told and "<i>" not in svg
    marks = [e.get("d") for e in root.iter() if e.get("class") == "fg-mark-0"]
    ys = [float(path.split("L")[0].split(" ")[1]) for path in marks]
    assert ys[0] > ys[1]  # the larger value stands higher
    with pytest.raises(ValueError, match="told apart"):
        line_chart_svg("T", "a", "b", ["x"], [Series("n", (1.0,))] * 4)
    assert ticks(0, 104) == [0.0, 20.0, 40.0, 60.0, 80.0, 100.0]


def named(found: Scan, name: str) -> Catalogue:
    worth = found.worths[0]
    part = replace(worth.candidate.part, name=name)
    renamed = replace(worth, candidate=replace(worth.candidate, part=part))
    return sheet(found.catalogue, renamed)


def text_of(content: bytes) -> str:
    with pymupdf.open(stream=content, filetype="pdf") as document:
        return " ".join(" ".join(page.get_text() for page in document).split())


@pytest.mark.long
def test_a_print_shows_letters_beyond_the_readers_own(found, monkeypatch):
    name = "Łatwa tuleja Ωμέγα"
    assert find_font() is not None  # this computer has one; without, see below
    assert name in text_of(sheet_pdf(named(found, name)))
    monkeypatch.setattr("fitgraph.draw.lettering.find_font", lambda: None)
    told = text_of(sheet_pdf(named(found, name)))
    assert "Latwa tuleja" in told and WRITTEN_PLAINLY[:40] in told
    assert WRITTEN_PLAINLY[:40] not in text_of(sheet_pdf(named(found, "Hülse, größer")))


@pytest.mark.long
def test_a_print_in_usual_letters_embeds_no_font(found):
    plain_print = sheet_pdf(named(found, "Hülse"))
    assert b"FontFile2" not in plain_print
    if LONG:  # the other way round, which takes a while
        assert b"FontFile2" in sheet_pdf(named(found, "Tuleją"))


def test_letters_are_written_plainly_only_where_there_are_none():
    own = Lettering()
    assert own.text("Größe – 3 mm…") == "Größe - 3 mm..." and not own.lacking
    assert own.text("Čačak Łódź ≥ 3") == "Cacak Lódz >= 3" and own.lacking
    assert printed(lambda lettering: lettering.text("plain").encode()) == b"plain"
