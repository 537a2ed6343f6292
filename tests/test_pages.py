"""The notebooks' components driven without a browser: what they show is what the engine says.

References
----------
.. [1] RFC 4180, "Common Format and MIME Type for Comma-Separated Values (CSV) Files".
.. [2] S. Leitner, "So lernt man lernen", Herder 1972 (reference checked).
.. [3] ISO 32000-1:2008, 7.5.2 and 7.5.5: a PDF begins with %PDF- and ends with %%EOF.
"""

import asyncio
import collections
import csv
import datetime
import io
import itertools
import json
import math
import random
import re
import shutil
import subprocess
import sys
import xml.etree.ElementTree as ET
from dataclasses import replace
from html import unescape

import pymupdf
import pytest
from ipywidgets.widgets.widget import _instances

from fitgraph.catalogue import CatalogueError, shipped_folder
from fitgraph.draw import conflict_svg
from fitgraph.draw.assembly_order import assembly_order
from fitgraph.draw.conflict import drawn_joints, layout
from fitgraph.draw.product import product_svg
from fitgraph.draw.style import WORDS
from fitgraph.explain import action_text, conflict_text
from fitgraph.explain.advice import advise
from fitgraph.explain.words import size_text
from fitgraph.explain.words_rider import advice_text, measurement_text
from fitgraph.lab import (
    FitLesson,
    MaterialTriangle,
    Practice,
    WhyExplorer,
    open_catalogue,
)
from fitgraph.lab.answering import beside
from fitgraph.lab.arrival import within
from fitgraph.lab.charts import MARKS
from fitgraph.lab.lesson import resized
from fitgraph.lab.part_numbers import with_cards
from fitgraph.lab.saved_answer import sheet_files
from fitgraph.lab.saves import SavedFile, Saves
from fitgraph.lab.session import SessionError, from_address, read_text, to_address
from fitgraph.lab.shown import shown
from fitgraph.model import Presence, Reference, Verdict
from fitgraph.practice.leitner import DAYS, TopicCard, answered, pick
from fitgraph.practice.progress import OpenRound, Progress, ProgressError, file_of, load, read, save
from fitgraph.practice.rounds import (
    LEVELS,
    WHAT_TO_TELL,
    WHICH_IS_MISSING,
    WILL_IT_FIT,
    question,
    topic_title,
    topics,
)
from fitgraph.report.advised import triangle_report
from fitgraph.report.blocks import Say
from fitgraph.report.build_sheet import sheet_of
from fitgraph.report.explanations import verdict_told
from fitgraph.report.sides import side_by_side
from fitgraph.solve import Request, Services
from fitgraph.solve.first_guess import first_guess
from fitgraph.solve.query import ask
from fitgraph.stopping import Stop, StoppedError, check
from tests.looping import in_a_loop
from tests.turns import turns

FORK, BAR = "FORK-SKE-01", "BAR-OST-03"


@pytest.fixture(scope="module")
def shop():
    return open_catalogue()


@pytest.fixture(scope="module")
def build(shop):
    """Return a build with work done to an owned part."""
    request = Request(have=(FORK, BAR), services=Services.OWNED)
    return shop.engine.best(request, sort="price", limit=1)[0]


# ---------------------------------------------------------------- why


def test_every_change_offered_makes_the_parts_fit(shop):
    page = WhyExplorer(shop, (FORK, BAR))
    offered = len(page.changes.items)
    assert page.explanation.verdict is Verdict.FAILS and offered >= 3
    for place in range(offered):
        before = page.state()
        page.changes.press(page.changes.items[place]["name"])
        assert page.explanation.verdict is Verdict.FITS, page.state()
        page.undo.click()
        assert page.state() == before
        assert page.explanation.verdict is Verdict.FAILS


@pytest.mark.long
def test_where_nobody_can_tell_the_most_telling_measurement_is_named(shop):
    parts = ("FORK-VEN-02", "BAR-SKE-05", "CLMP-OST-01")
    page = WhyExplorer(shop, parts)
    assert page.explanation.verdict is Verdict.UNKNOWN
    found = [m for m in shop.measurer.rank(Request(have=parts)) if m.sku in parts]
    shown = unescape(re.sub("<[^>]+>", "", page.telling.value))
    assert len(found) > 3
    at = [shown.index(measurement_text(shop.catalogue, m)) for m in found[:3]]
    assert at == sorted(at)
    assert measurement_text(shop.catalogue, found[3]) not in shown
    assert WhyExplorer(shop, (FORK, BAR)).telling.value == ""  # nothing is in doubt


def test_of_parts_that_do_not_fit_nothing_is_said_of_how_they_hold(shop):
    """The command and the files say nothing either: it would not be true of them."""
    apart = WhyExplorer(shop, (FORK, "KIT-SKE-01", "CLMP-TAR-04", BAR))
    assert apart.explanation.verdict is Verdict.FAILS and apart.explanation.hold is not None
    assert "bolts" not in apart.answer.value and "torque" not in apart.answer.value
    together = WhyExplorer(shop, (FORK, "KIT-SKE-01", "CLMP-SKE-01", "BAR-MAR-02"))
    assert together.explanation.verdict is Verdict.FITS
    assert "hold against a turning moment" in together.answer.value


def test_looking_for_changes_can_be_stopped(shop):
    async def begin_and_stop():
        page = WhyExplorer(shop, (FORK, BAR))
        while page.stop_button.disabled:
            await asyncio.sleep(0.001)
        page.stop_button.click()
        await asyncio.sleep(0.3)
        return page

    page = in_a_loop(begin_and_stop())
    assert "Stopped." in page.change_note.value and page.stop_button.disabled
    assert page.changes.items == [] and "does not fit" in page.answer.value.lower()


def test_a_service_done_is_judged_as_done(shop):
    said = shop.explainer.why((FORK, BAR), done={BAR: ("cut-slot",)})
    assert said.verdict is Verdict.FITS
    with pytest.raises(ValueError, match="cannot be done"):
        shop.explainer.why((FORK,), done={FORK: ("cut-slot",)})


def test_the_graph_says_each_joint_in_words_and_nothing_in_it_touches(shop):
    said = shop.explainer.why((FORK, BAR, "CLMP-TAR-04", "KIT-SKE-01"))
    page = WhyExplorer(shop, (FORK, BAR, "CLMP-TAR-04", "KIT-SKE-01"))
    for clash in said.conflicts:
        if len(clash.options) > 1:
            assert clash.joint.title in unescape(page.graph.value)
    roles = list(shop.catalogue.vocabulary.roles)
    near = dict(page.opened.engine.best(Request(), limit=1)[0].options.items())
    joints = shop.explainer.why(tuple(o.part.sku for o in near.values())).joints
    drawn = drawn_joints(joints, near)
    # A joint that only asks that something is not there has no part to be drawn at.
    assert {j.title for j in drawn} == {j.joint.title for j in joints if near.keys() & j.options}
    boxes, rows = layout([r for r in roles if r in near], drawn)
    for places, least in ((sorted(boxes.values()), 42), ([y for _, y in rows], 26)):
        assert all(b - a >= least - 1e-9 for a, b in itertools.pairwise(places))
    assert min(*boxes.values(), *(y for _, y in rows)) > 40  # below the heading
    drawing = ET.fromstring(conflict_svg(near, joints, shop.catalogue.vocabulary))
    assert len(drawing.findall(".//*[@data-role]")) == len(near)
    # Where there is room, no name of a role and no joint is told in part.
    told = " ".join("".join(e.itertext()) for e in drawing.iter() if e.tag.endswith("text"))
    for title in (
        *(j.title for j in drawn),
        *(shop.catalogue.vocabulary.roles[r].title for r in near),
    ):
        assert title in told


def test_the_assembly_is_in_order_by_its_joints_alone(shop):
    """From the grips down to the wheels, as the demo's own product stands on the ground."""
    vocabulary = shop.catalogue.vocabulary
    order = assembly_order(vocabulary)
    assert sorted(order) == sorted(vocabulary.roles)
    along = [order.index(r) for r in ("grips", "bar", "clamp", "fork", "headset", "deck", "wheels")]
    assert along == sorted(along)
    # Another order of the same joints changes nothing but, at most, which end is up.
    other = assembly_order(replace(vocabulary, joints=vocabulary.joints[::-1]))
    assert other == order


def roles_drawn(svg):
    """Return what each button of a drawing of the product says, by its role."""
    tree = ET.fromstring(svg)
    buttons = [e for e in tree.iter() if e.get("role") == "button"]
    return {e.get("data-node"): e.get("aria-label") for e in buttons}


@pytest.mark.parametrize("trade", ["demo", "plain", "hoses"])
def test_the_product_has_a_button_for_every_role(shop, trade):
    """By the vocabulary's silhouette, or by its joints where it has none."""
    catalogue = shop.catalogue
    if trade == "plain":
        catalogue = replace(catalogue, vocabulary=replace(catalogue.vocabulary, silhouette=None))
    elif trade == "hoses":
        catalogue = open_catalogue(shipped_folder("data") / "hoses").catalogue
    vocabulary = catalogue.vocabulary
    role = next(iter(vocabulary.roles))
    svg = product_svg(catalogue, {role: "A-1"}, {role: Verdict.FAILS})
    drawn = roles_drawn(svg)
    assert set(drawn) == set(vocabulary.roles)
    for name, says in drawn.items():
        title = vocabulary.roles[name].title
        wanted = f"{title}: A-1, does not fit" if name == role else f"{title}: not named"
        assert says == wanted
    # No two labels on one side stand on one another.
    texts = [e for e in ET.fromstring(svg).iter() if e.tag.endswith("rect")]
    for side in {e.get("x") for e in texts}:
        places = sorted(float(e.get("y")) for e in texts if e.get("x") == side)
        assert all(b - a >= 28 for a, b in itertools.pairwise(places))
    assert vocabulary.silhouette is None or trade == "demo"


def test_the_product_says_names_and_no_label_stands_on_another(shop):
    parts = shop.catalogue.by_role
    named = {role: max(of, key=lambda p: len(p.name)).sku for role, of in parts.items()}
    drawn = ET.fromstring(product_svg(shop.catalogue, named))
    texts = [(e.text, e) for e in drawn.iter() if e.tag.endswith("text")]
    for role, sku in named.items():
        name = shop.catalogue.parts[sku].name
        assert any(name.startswith(text.rstrip("…")) for text, _ in texts), role
        assert not any(sku in text for text, _ in texts)  # the number is in the title
    for side in ("start", "end"):
        lines = sorted(float(e.get("y")) for _, e in texts if e.get("text-anchor") == side)
        assert len(lines) > len(named) and all(b - a >= 12 for a, b in itertools.pairwise(lines))


def test_a_verdict_on_many_parts_says_their_roles_before_their_numbers(shop):
    catalogue = shop.catalogue
    said = shop.explainer.why((FORK, BAR, "CLMP-TAR-04", "KIT-SKE-01"), with_changes=False)
    line = verdict_told(said, catalogue).text
    for sku in said.named:
        title = catalogue.vocabulary.roles[catalogue.parts[sku].role].title
        assert f"{title} {sku}" in line


def test_no_stock_number_of_a_page_breaks_at_its_hyphen(shop):
    """Each stands in an element that stays in one line, and so do the words of buttons."""
    page = WhyExplorer(shop, (FORK, BAR, "CLMP-TAR-04", "KIT-SKE-01"))
    counted = 0
    for one in within(page):
        markup = getattr(one, "value", "")
        if not isinstance(markup, str) or 'class="fg fg-html"' not in markup:
            continue
        for drawn in re.findall("(?s)<svg.*?</svg>", markup):
            ET.fromstring(drawn)  # nothing in a drawing is marked: it would be one no more
            assert "fg-whole" not in drawn and "<button" not in drawn
        markup = re.sub("(?s)<(svg|style).*?</\\1>", "", markup)
        whole = re.sub(r"(?s)<(span|small|button)[^>]*fg-(whole|sku|code)\b.*?</\1>", "", markup)
        text = unescape(re.sub("<[^>]+>", " ", whole))
        assert not [sku for sku in shop.catalogue.parts if sku in text]
        counted += len(re.findall("fg-sku|fg-whole", markup))
    assert counted > 10
    # A long one may break: nothing else would keep a page from growing wider than its window.
    long = replace(shop.catalogue.parts[BAR], sku="A1-" * 15)
    catalogue = replace(shop.catalogue, parts={**shop.catalogue.parts, long.sku: long})
    for sku in (BAR, long.sku):
        assert ("fg-long" in with_cards(f"<p>{sku}</p>", catalogue)) == (sku == long.sku)
    assert shown(Say("A-1" * 20)) == f'<div class="fg fg-html"><p>{"A-1" * 20}</p></div>'


def test_a_role_of_the_product_leads_to_its_field(shop, monkeypatch):
    page = WhyExplorer(shop, (FORK, BAR))
    drawn = roles_drawn(page.form.product.svg)
    called = shop.catalogue.parts[BAR].called
    assert drawn["bar"] == f"bar: {called}, does not fit" and "not named" in drawn["deck"]
    gone_to = []
    for role, picker in page.pickers.items():
        monkeypatch.setattr(picker.field, "focus", lambda role=role: gone_to.append(role))
    page.form.product.pressed = ["node", "deck", 1]
    assert gone_to == ["deck"] and not page.form.more.value
    page.form.product.pressed = ["node", "sleeve", 2]  # its field is folded away
    assert gone_to == ["deck", "sleeve"] and page.form.more.value
    page.form.product.pressed = ["node", "no such role", 3]
    assert gone_to == ["deck", "sleeve"]


@pytest.mark.parametrize(
    ("entry", "told"),
    [
        ("width = 100\nheight = 0\nroles = {}", "leaves no room"),
        ("width = 9\nheight = 9\nroles = { spaceship = [] }", "names no known role"),
        ("width = 9\nheight = 9\nroles = { bar = 3 }", "is no list"),
        ("width = 9\nheight = 9\nroles = { bar = [{ wide = 2 }] }", "neither a line nor a ring"),
        ("width = 9\nheight = 9\nroles = { bar = [{ line = [1, 2, 3] }] }", "so many numbers"),
        ("width = 9\nheight = 9\nroles = { bar = [{ ring = [1, 2] }] }", "so many numbers"),
        ("width = 9\nheight = 9\nroles = { bar = [{ line = [1, 2, 3, 40] }] }", "leaves the sil"),
        ("width = 9\nheight = 9\nroles = { bar = [{ ring = [-1, 2, 3] }] }", "no number that can"),
        ("width = 9\nheight = 9\nroles = {}\ndepth = 2", "is no known entry"),
    ],
)
def test_a_silhouette_that_cannot_be_drawn_is_told_in_words(tmp_path, entry, told):
    text = (shipped_folder("data") / "demo" / "vocabulary.toml").read_text(encoding="utf-8")
    head, _, rest = text.partition("[silhouette]")
    rest = rest[rest.index("# How enquiries are grouped") :]
    for sort in ("parts.csv", "features.csv"):
        shutil.copy(shipped_folder("data") / "demo" / sort, tmp_path / sort)
    (tmp_path / "vocabulary.toml").write_text(f"{head}[silhouette]\n{entry}\n{rest}")
    with pytest.raises(CatalogueError) as caught:
        open_catalogue(tmp_path)
    assert "silhouette" in str(caught.value) and told in str(caught.value)


def test_an_answer_is_saved_whole_as_a_pdf_and_as_a_page(shop):
    page = WhyExplorer(shop, (FORK, BAR))
    files = {f.name: f.content for f in map(page.saves.made, page.saves.items)}
    assert sorted(files) == ["answer.html", "answer.pdf"]
    said = shop.explainer.why((FORK, BAR))
    told = [conflict_text(c, shop.catalogue) for c in said.minimal_conflicts[:3]]
    told += [action_text(c.actions[0], shop.catalogue) for c in said.changes]
    with pymupdf.open(stream=files["answer.pdf"]) as printed:
        paper = " ".join(" ".join(sheet.get_text() for sheet in printed).split())
    whole = files["answer.html"].decode()
    assert told and whole.count("<svg") >= 2
    for text in (*told, *shop.catalogue.vocabulary.cautions["cutting"].split(". ")[:1]):
        assert text in paper, text
        assert text in unescape(re.sub("<[^>]+>", "", whole)), text
    assert not re.search("(?:src|href)=|<script|url[(](?!#)", whole)
    assert f'<span class="fg-whole">({FORK}),</span>' in whole.split("</h1>")[0]
    page.pickers["bar"].field.value = ""  # another answer: the one before is no longer offered
    page.refresh()
    assert BAR.encode() not in page.saves.made("as a page").content


def test_every_stock_number_in_a_sentence_opens_its_card(shop):
    catalogue = shop.catalogue
    button = f'data-sku="{BAR}"'
    for text in (f"<p>bore of {BAR}: 2 mm.</p>", f"<p>({FORK}), {BAR}.</p>", f"<b>{BAR}</b>"):
        shown = with_cards(text, catalogue)
        assert button in shown
        assert re.sub("<[^>]+>", "", shown) == re.sub("<[^>]+>", "", text)
    for kept in (
        f"<a href='{BAR}'>{BAR}</a>",
        f"<svg><text>{BAR}</text></svg>",
        f"<summary>{BAR} and more</summary>",
        f"<p title='{BAR}'>A bar-{BAR} of 28.71 ±0.03 mm &lt; 12 &amp; 3</p>",
    ):
        assert with_cards(kept, catalogue) == kept
    # A figure or a word is no stock number, even where a shop's numbers look like both.
    odd = replace(catalogue.parts[BAR], sku="12")
    other = replace(odd, sku="48213")
    named = replace(catalogue, parts={**catalogue.parts, "12": odd, "48213": other})
    shown = with_cards("<p>12 mm of 48213</p>", named)
    assert shown.count("data-sku") == 1 and 'data-sku="48213"' in shown


def test_the_page_of_why_stays_small_over_a_long_day(shop):
    """Nothing is made for an answer that was not there before it."""
    rng = random.Random(14)
    page = WhyExplorer(shop, (FORK, BAR))
    before = len(list(within(page))), len(_instances)
    roles = list(shop.catalogue.vocabulary.roles)
    for _ in range(turns(100, 6)):
        role = rng.choice(roles)
        part = rng.choice([None, *shop.catalogue.of(role)])
        page.pickers[role].field.value = "" if part is None else part.sku
    page.refresh()
    assert (len(list(within(page))), len(_instances)) == before


# ---------------------------------------------------------------- lesson


def test_a_slider_moves_one_size_and_keeps_its_limits(shop):
    page = FitLesson(shop, {"one": (FORK, "KIT-SKE-01", "BAR-MAR-02", "CLMP-SKE-01")})
    assert page.verdict is Verdict.FITS
    page.joint.value = "clamp-on-bar"
    slider = page.sliders["bore"]
    before = page.options()["clamp"].features["bore"].lengths["diameter"]
    slider.value = before.mid + 2.5
    after = page.options()["clamp"].features["bore"].lengths["diameter"]
    assert after.mid == pytest.approx(before.mid + 2.5)
    assert after.hi - after.lo == pytest.approx(before.hi - before.lo)
    # A slot of width w closes w / pi of diameter (circumference over pi).
    slot = page.options()["clamp"].features["slot"].lengths["width"]
    assert slot.hi / math.pi < 2.5 and page.verdict is Verdict.FAILS
    page.as_made.click()
    assert page.verdict is Verdict.FITS and page.moved == {}


def test_a_lesson_of_another_trade_begins_with_a_build_of_its_own():
    """The notebook's examples are the demo's; there it began with an empty drawing."""
    page = FitLesson(
        open_catalogue(shipped_folder("data") / "hoses"),
        {"a sleeve between steerer and bar": (FORK, "KIT-SKE-01", "BAR-MAR-02", "CLMP-SKE-01")},
    )
    assert list(page.examples) == ["the cheapest build"] == [page.example.value]
    assert page.verdict is Verdict.FITS and "<svg" in page.drawing.value


def test_who_asks_is_called_as_the_vocabulary_calls_them(shop, tmp_path):
    hoses = shipped_folder("data") / "hoses"
    folder = tmp_path / "hoses"
    shutil.copytree(hoses, folder)
    named = folder / "vocabulary.toml"
    words = named.read_text(encoding="utf-8")
    named.write_text(words.replace("[trade]", '[trade]\ncustomer = "gardener"', 1), "utf-8")
    called = [open_catalogue(place).catalogue.vocabulary.customer for place in (hoses, folder)]
    assert [*called, shop.catalogue.vocabulary.customer] == ["customer", "gardener", "rider"]
    advice = open_catalogue(folder)
    asked = [question(advice, t, n) for t in topics(advice, WHAT_TO_TELL) for n in range(4)]
    assert any(e is not None and e.text.startswith("A gardener has ") for e in asked)


def test_a_lesson_is_saved_as_it_is_shown(shop):
    """The verdict stays in one line; page and print say it, the parts, and what was moved."""
    page = FitLesson(shop, {"one": (FORK, "KIT-SKE-01", "BAR-MAR-02", "CLMP-SKE-01")})
    told = unescape(re.sub("<[^>]+>", "", page.verdict_line.value))
    assert "✓ Fits: " in told and "all 12 joints fit" in told
    page.joint.value = "clamp-on-bar"
    page.sliders["bore"].value = 34.4
    told = unescape(re.sub("<[^>]+>", "", page.verdict_line.value))
    assert "✗ Does not fit: clamp around the bar, clearance 2.59 to 2.73 mm" in told
    assert "of 12 joints 2 not fitting" in told
    saved = {item: page.saves.made(item) for item in page.saves.items}
    assert [f.name for f in saved.values()] == ["answer.pdf", "answer.html"]
    with pymupdf.open(stream=saved["Save this answer (PDF)"].content) as document:
        printed = " ".join(" ".join(p.get_text() for p in document).split())
        lines = sum(len(p.get_drawings()) for p in document)
    as_page = unescape(re.sub("<[^>]+>", "", saved["as a page"].content.decode()))
    for text in (printed, as_page):
        assert "Moved by hand: bore diameter of the clamp, 34.40 mm." in text
        assert "clearance 2.59 to 2.73 mm" in text
        for sku in (FORK, "KIT-SKE-01", "BAR-MAR-02", "CLMP-SKE-01"):
            assert sku in text and shop.catalogue.parts[sku].name in text
    assert lines > 20 and "<svg" in saved["as a page"].content.decode()
    # Only what was moved is said to be; a slider taken back to the part's own size is not.
    assert printed.count("Moved by hand") == as_page.count("Moved by hand") == 1
    page.sliders["spigot"].value = 31.0
    assert set(map(str, page.moved)) == {"clamp.bore.diameter", "bar.outside.diameter"}
    page.sliders["spigot"].value = 31.74
    assert set(map(str, page.moved)) == {"clamp.bore.diameter"}
    # Parts that hold are printed with how hard, and with the caution.
    page.as_made.click()
    with pymupdf.open(stream=page.saves.made("Save this answer (PDF)").content) as document:
        printed = " ".join(" ".join(p.get_text() for p in document).split())
    assert "hold against a turning moment" in printed and "Caution." in printed


def test_a_file_that_cannot_be_made_is_told_in_words():
    def broken() -> SavedFile:
        raise OSError("no room")

    saves = Saves("Files")
    saves.offer({"Save": broken})
    saves.pressed = ["Save", 1]
    assert "could not be made (OSError: no room)" in saves.told and not saves.busy
    saves.offer({"Save": lambda: SavedFile("a.txt", "text/plain", b"hi")})
    saves.pressed = ["Save", 2]
    assert saves.told == "a.txt is saved."


def test_a_size_that_nobody_knows_is_not_moved(shop):
    lonely = shop.engine.space.options["bar"][0]
    assert resized(lonely, Reference("bar", "no-such", "diameter"), 30.0) is lonely


def test_triangle_shows_each_figure_once(shop):
    view = MaterialTriangle(shop)
    shown = sum(len(trace.x) for trace in view.chart.figure.data)
    assert shown == len(view.figures) > 0
    view.across.value = "price"
    assert view.chart.figure.layout.xaxis.title.text == "Price, EUR"
    assert len({t.marker.symbol for t in view.chart.figure.data}) == len(view.chart.figure.data)


def test_marks_of_charts_stand_out_from_both_themes():
    """WCAG 2.2, 1.4.11: 3 to 1; relative luminance as defined there."""

    def luminance(colour):
        parts = [int(colour[n : n + 2], 16) / 255 for n in (1, 3, 5)]
        linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    for mark in MARKS:
        for page in ("#ffffff", "#14181d", "#111111"):
            light, dark = sorted((luminance(mark), luminance(page)), reverse=True)
            assert (light + 0.05) / (dark + 0.05) >= 3.0, (mark, page)


# ---------------------------------------------------------------- sheets and comparison


def test_a_sheet_adds_up(shop, build):
    vocabulary = shop.catalogue.vocabulary
    sheet = sheet_of(build, frozenset((FORK, BAR)), vocabulary)
    assert sum(row.price for row in sheet.rows) == build.price == sheet.price
    assert sum(row.mass_g for row in sheet.rows) == pytest.approx(build.mass_g)
    assert any(row.name.startswith("Work: ") for row in sheet.rows)
    assert vocabulary.cautions["cutting"] in sheet.cautions
    assert vocabulary.cautions["torque"] in sheet.cautions
    files = sheet_files(sheet, build.options, vocabulary, "sheet", "PDF")
    made = {file.name: file.content for file in (make() for make in files.values())}
    rows = list(csv.DictReader(io.StringIO(made["sheet.csv"].decode(), newline="")))
    assert sum(round(float(r["to_pay_EUR"]) * 100) for r in rows) == build.price
    page = unescape(made["sheet.html"].decode())
    assert all(row.sku in page and row.name in page for row in sheet.rows)
    assert "<svg" in page and "://" not in page.replace("http://www.w3.org/2000/svg", "")
    assert made["sheet.pdf"].startswith(b"%PDF-") and made["sheet.pdf"].rstrip().endswith(b"%%EOF")


def test_no_cell_of_a_sheet_begins_a_formula(shop, build):
    from dataclasses import replace

    vocabulary = shop.catalogue.vocabulary
    sheet = sheet_of(build, frozenset(), vocabulary)
    evil = replace(sheet.rows[0], name='=HYPERLINK("x")', maker="@cmd")
    files = sheet_files(replace(sheet, rows=(evil,)), build.options, vocabulary, "sheet", "PDF")
    told = files["as CSV"]().content.decode()
    row = next(iter(csv.DictReader(io.StringIO(told, newline=""))))
    assert row["name"].startswith("'=") and row["maker"].startswith("'@")


def test_side_by_side_marks_what_differs(shop):
    builds = shop.engine.front(Request(have=(FORK,), budget=300_00))[:2]
    table, legend = side_by_side(builds, (FORK,), shop.catalogue.vocabulary)
    one, other = ({r: o.label for r, o in b.options.items()} for b in builds)
    differ = sum(one.get(r) != other.get(r) for r in {*one, *other})
    assert sum("≠" in row[0] for row in table.rows) == differ > 0 and "≠" in legend.text
    assert all(any("(yours)" in cell for cell in row) == (FORK in row[1]) for row in table.rows)


def test_a_first_guess_holds_the_exact_number(shop):
    for request in (
        Request(have=(FORK,), budget=300_00),
        Request(have=(FORK, BAR), max_mass_g=3900.0),
        Request(have=(FORK,)),
    ):
        guess = first_guess(ask(shop.engine.space, request))
        exact = shop.engine.count(request)
        assert exact.exact and guess.least <= exact.number <= guess.most


# ---------------------------------------------------------------- sessions


def test_a_session_comes_back_whole(shop):
    page = WhyExplorer(shop, (FORK, BAR))
    page.changes.press(page.changes.items[0]["name"])
    query = to_address("why", page.state())
    again = WhyExplorer(shop)
    again.restore(from_address(query, "why"))
    assert again.state() == page.state()
    assert again.explanation.verdict is Verdict.FITS


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("no json", "not JSON"),
        ("[1]", "no session of fitgraph"),
        ('{"format": "fitgraph-session", "version": 9}', "another version"),
        ('{"format": "fitgraph-session", "version": 1, "page": "x"}', "another page"),
        ('{"format": "fitgraph-session", "version": 1, "page": "why"}', "no entries"),
        ("[" * 100_000, "not JSON"),
    ],
)
def test_a_file_that_is_no_session_is_told_in_words(text, told):
    with pytest.raises(SessionError, match=told):
        read_text(text, "why")


def test_a_session_of_another_catalogue_is_told_in_words(shop):
    page = WhyExplorer(shop)
    with pytest.raises(SessionError, match="no role called 'saddle'"):
        page.restore({"parts": {"saddle": "S-1"}})
    with pytest.raises(SessionError, match="no workshop service called 'magic'"):
        page.restore({"done": {BAR: ["magic"]}})
    with pytest.raises(SessionError, match="cut off"):
        from_address("session=AAAA", "why")


# ---------------------------------------------------------------- stopping


def test_a_computation_can_be_stopped():
    steps = []

    def endless():
        while True:
            check()
            steps.append(1)

    async def begin_and_stop():
        stop = Stop()
        waiting = asyncio.ensure_future(beside(endless, stop))
        await asyncio.sleep(0.05)
        stop.set()
        with pytest.raises(StoppedError):
            await asyncio.wait_for(waiting, 10)
        number = len(steps)
        await asyncio.sleep(0.05)
        return number

    assert in_a_loop(begin_and_stop()) == len(steps) > 0


# ---------------------------------------------------------------- practice


def test_boxes_move_as_leitner_says():
    """One box on when known, back to the first when not [2]_."""
    day = datetime.date(2026, 3, 1)
    card = TopicCard()
    for box in (2, 3, 4, 5, 5):
        card = answered(card, day, right=True)
        assert card.box == box and (card.due - day).days == DAYS[box - 1]
    card = answered(card, day, right=False)
    assert card.box == 1 and card.due == day and (card.right, card.wrong) == (5, 1)
    cards = {"late": TopicCard(3, day), "later": TopicCard(2, day + datetime.timedelta(days=4))}
    order = pick(["later", "new", "late"], cards, day, 3, random.Random(1))
    assert order == ["late", "new", "later"]


@pytest.mark.some(1)
@pytest.mark.parametrize("level", list(LEVELS))
def test_the_engine_agrees_with_the_answers(shop, level):
    made = [q for n, t in enumerate(topics(shop, level)[::5]) if (q := question(shop, t, n))]
    assert len(made) >= 3
    for item in made:
        assert len(set(item.choices)) == len(item.choices) > 1
        if level == WILL_IT_FIT:
            said = shop.explainer.why(item.parts, with_changes=False).verdict
            assert item.choices[item.right].endswith(
                {2: "fits", 1: "cannot be told", 0: "does not fit"}[said]
            )
        elif level == WHICH_IS_MISSING:
            *rest, right = item.drawn
            assert shop.engine.count(Request(have=(*rest, right))).number > 0
            for n, choice in enumerate(item.choices):
                (sku,) = (p for p in shop.catalogue.parts if f"({p})" in choice)
                number = shop.engine.count_possible(Request(have=(*rest, sku))).number
                assert (number > 0) is (n == item.right), (item.topic, sku)
        elif item.parts:
            said = shop.explainer.why(item.parts)
            right = item.choices[item.right]
            assert right.startswith(
                {
                    Verdict.FAILS: "It does not fit",
                    Verdict.UNKNOWN: "A figure decides",
                    Verdict.FITS: "It fits",
                }[said.verdict]
            )
            if said.verdict is Verdict.FAILS:
                assert shop.catalogue.vocabulary.money(said.changes[0].price) in right


@pytest.mark.long
@pytest.mark.parametrize(("every", "seeds"), [(9, 6), pytest.param(1, 4, marks=pytest.mark.long)])
def test_no_answer_at_the_third_level_can_be_told_without_looking(shop, every, seeds):
    """Each kind of answer is right about as often as a guess among the choices would be."""
    stands, right = collections.Counter(), collections.Counter()
    pairs = [t for t in topics(shop, WHAT_TO_TELL) if "riding" not in t][::every]
    for topic, seed in itertools.product(pairs, range(seeds)):
        if (item := question(shop, topic, seed)) is not None:
            for at, choice in enumerate(item.choices):
                kind = choice.split(" ")[1]  # it "fits", it "does" not, a "figure" decides
                stands[kind] += 1 / len(item.choices)
                right[kind] += at == item.right
    assert set(stands) == {"fits:", "does", "figure"}
    for kind, guessed in stands.items():
        assert 0.5 * guessed <= right[kind] <= 1.6 * guessed, (kind, stands, right)


@pytest.mark.long
def test_no_verdict_at_the_first_level_is_likelier_than_another(shop):
    right = collections.Counter()
    for topic, seed in itertools.product(topics(shop, WILL_IT_FIT)[::4], range(8)):
        item = question(shop, topic, seed)
        right[item.choices[item.right]] += 1
    guessed = right.total() / 3
    assert len(right) == 3
    assert all(0.6 * guessed <= n <= 1.4 * guessed for n in right.values()), right


def test_no_verdict_stands_where_no_pair_of_a_topic_has_it():
    hoses = open_catalogue(shipped_folder("data") / "hoses")
    right, stands = collections.Counter(), collections.defaultdict(float)
    for topic, seed in itertools.product(topics(hoses, WILL_IT_FIT), range(40)):
        item = question(hoses, topic, seed)
        assert len(item.choices) > 1
        right[item.choices[item.right]] += 1
        for text in item.choices:
            stands[text] += 1 / len(item.choices)
    assert len(right) == 3
    assert all(0.7 * n <= right[text] <= 1.3 * n for text, n in stands.items()), (right, stands)


def test_a_rider_is_advised_as_the_advice_says(shop):
    riding = [t for t in topics(shop, WHAT_TO_TELL) if "riding" in topic_title(shop, t)]
    assert len(riding) == len(shop.catalogue.vocabulary.advice.styles) > 2
    told = set()
    for topic in riding:
        for seed in range(4):
            item = question(shop, topic, seed)
            broken = "has broken" in item.text
            style = topic_title(shop, topic).removeprefix("riding: ")
            advice = advise(shop.catalogue, style, broken=broken)
            assert item.choices[item.right] == advice.families[0].family
            assert sorted(item.choices) == sorted(f.family for f in advice.families)
            assert item.because[0] == advice_text(shop.catalogue, advice)
            told.add((broken, item.choices[item.right]))
    assert {broken for broken, _ in told} == {True, False} and len(told) > 2


def test_an_answer_on_materials_shows_the_triangle(shop, tmp_path):
    page = Practice(shop, tmp_path, datetime.date(2026, 3, 1))
    (topic,) = [t for t in topics(shop, WHAT_TO_TELL) if t.endswith("riding/street")]
    page.progress = replace(page.progress, learner="Quill", open=OpenRound(3, 5, (topic,)))
    page._ask()
    assert page.question.topic == topic and "<table" not in page.asked_text.value
    page.choice.index = page.question.right
    page.answer.click()
    assert "✓ Question 1 of 1: right." in re.sub("<[^>]+>", "", page.verdict.value)
    (table,) = triangle_report(shop.catalogue).blocks
    assert all(cell in page.drawing.value for row in table.shown() for cell in row)
    assert len(table.rows) > 1 and "<table" in page.drawing.value


def test_a_question_is_drawn_unjudged_and_its_sizes_are_labelled(shop, tmp_path):
    page = Practice(shop, tmp_path, datetime.date(2026, 3, 1))
    drawn = 0
    for topic in topics(shop, WILL_IT_FIT)[: turns(20, 5)]:
        page.progress = replace(page.progress, learner="Quill", open=OpenRound(1, 5, (topic,)))
        page._ask()
        item = page.question
        cells = unescape(page.asked_text.value).split("<tr>")
        rows = [" ".join(re.sub("<[^>]+>", " ", row).split()) for row in cells]
        for sku in item.parts:
            part = shop.catalogue.parts[sku]
            kinds = shop.catalogue.vocabulary.roles[part.role].features
            for name, feature in part.features.items():
                for size in feature.lengths.values():
                    if size.known and feature.presence is not Presence.ABSENT:
                        figure = f"{size_text(size)} ({size.basis.word})"
                        assert any(
                            row.startswith(kinds[name].title) and figure in row for row in rows
                        ), (name, rows)
        before = unescape(page.unjudged.value)
        drawn += "<svg" in before
        words = re.sub(r"<style.*?</style>", "", before, flags=re.DOTALL)
        assert not any(w in words for w in (*WORDS.values(), "✓", "✗", "clearance", "overlap"))
        page.choice.index = item.right
        page.answer.click()
        # What is drawn then says nothing else than the answer does.
        verdict = shop.explainer.why(item.drawn, with_changes=False).verdict
        heads = re.findall(
            r"(?:Cross-section|Parts and their joints), . ([a-z ]+)<",
            (unescape(page.drawing.value)),
        )
        assert heads and heads[0] == WORDS[verdict], (topic, heads)
        assert page.unjudged.value == ""
    assert drawn == turns(20, 5)


def test_the_first_reason_is_about_the_two_that_were_asked_for(shop):
    for topic in topics(shop, WILL_IT_FIT)[: turns(20, 5)]:
        asked = question(shop, topic, 3)
        assert asked is not None, topic
        assert all(sku in asked.because[0] for sku in asked.parts), (topic, asked.because)


def test_the_same_seed_gives_the_same_question_in_another_process(shop):
    topic = topics(shop, 1)[3]
    code = (
        "from fitgraph.lab import open_catalogue\n"
        "from fitgraph.practice.rounds import question\n"
        f"print(question(open_catalogue(), {topic!r}, 7).parts)"
    )
    told = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=120
    ).stdout
    assert told.strip() == str(question(shop, topic, 7).parts)


def test_a_round_goes_on_where_it_stopped(shop, tmp_path):
    day = datetime.date(2026, 3, 1)
    page = Practice(shop, tmp_path, day)
    page.learner.value = "Quill"
    page.begin.click()
    first = page.question
    page.answer.click()
    assert "Choose one of the answers" in page.told.value
    page.choice.value = first.choices[first.right]
    page.answer.click()
    assert "Question 1 of 5: right." in page.verdict.value
    page.next.click()
    second = page.question
    again = Practice(shop, tmp_path, day)
    again.learner.value = "Quill"
    assert "waits at question 2" in again.state_text.value
    again.begin.click()
    assert again.question == second
    for _ in range(4):
        item = again.question
        again.choice.value = item.choices[item.right - 1]
        again.answer.click()
        if again.progress.open is not None:
            again.next.click()
    assert "1 of 5 right" in again.verdict.value
    kept = load(tmp_path, "quill")
    assert [(r.right, r.asked) for r in kept.rounds] == [(1, 5)] and kept.open is None
    again.summary_button.click()
    assert "Quill" in again.summary.value and "1 of 5 (20%)" in again.summary.value


def test_progress_that_cannot_be_read_is_told_and_left_alone(shop, tmp_path):
    file = file_of(tmp_path, "Quill")
    for text in ("", "{}", "[]", json.dumps({"format": "fitgraph-practice", "version": 1})):
        file.write_text(text)
        with pytest.raises(ProgressError, match="Move it away"):
            read(file)
        page = Practice(shop, tmp_path)
        page.learner.value = "Quill"
        assert "Move it away" in page.problems.value and page.begin.disabled
        assert file.read_text() == text
    blocked = tmp_path / "file"
    blocked.write_text("")
    with pytest.raises(ProgressError, match="Choose another folder"):
        save(blocked, Progress("Quill"))


def test_names_of_learners_are_no_paths(tmp_path):
    for name in ("../../etc/x", "a/b", "C:\\x", "名前", "..", "con"):
        assert file_of(tmp_path, name).parent == tmp_path


def test_topics_that_give_no_question_give_way_to_different_ones(shop, tmp_path):
    """They stay new for ever, so they stand first once all others have been answered."""
    day = datetime.date(2026, 3, 1)
    silent = ("3:cap-on-seat", "3:seat-under-bar", "3:headset-thread")
    assert all(question(shop, topic, 5) is None for topic in silent)
    riding = [t for t in topics(shop, WHAT_TO_TELL) if "riding" in t]
    page = Practice(shop, tmp_path, day)
    page.learner.value = "Quill"
    later = {t: TopicCard(3, day + datetime.timedelta(days=7)) for t in topics(shop, WHAT_TO_TELL)}
    cards = {**later, **{t: TopicCard(1, day) for t in riding}}
    begun = OpenRound(WHAT_TO_TELL, 5, silent)
    page._keep(replace(page.progress, cards=cards, open=begun))
    asked = []
    for at in range(len(silent)):
        page._ask()
        asked.append(page.question.topic)
        assert page.progress.open.topics[at] == asked[-1]
        page.choice.index = page.question.right
        page.answer.click()
    assert len(set(asked)) == len(silent) and set(asked) <= set(riding)
