"""Cross-sections are read back as drawings: what is measured in them equals the sizes given.

References
----------
.. [1] W3C, "Web Content Accessibility Guidelines 2.2", success criteria 1.4.3 and 1.4.11, and
   the definitions of relative luminance and contrast ratio.
.. [2] G. M. Machado, M. M. Oliveira, L. A. F. Fernandes, "A Physiologically-based Model for
   Simulation of Color Vision Deficiency", IEEE TVCG 15 (2009) 1291-1298, matrices for
   severity 1.0 (reference checked; the matrices as several programs give them).
.. [3] IEC 61966-2-1:1999, the sRGB transfer function; CIE 15:2004 for L*a*b* and its colour
   difference of 1976.
.. [4] SVG 1.1, section 8.3.8, elliptical arcs: radii as given.
"""

import itertools
import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import numpy as np
import pymupdf
import pytest
from fpdf import FPDF

from fitgraph.catalogue import load, shipped_folder
from fitgraph.draw import main_nest, nest_svg, nests, section_svg
from fitgraph.draw.conflict import conflict_svg
from fitgraph.draw.lettering import Lettering, printed
from fitgraph.draw.section import drawn_sizes, enlargement
from fitgraph.draw.style import DARK, LIGHT, SIGNS, WORDS
from fitgraph.draw.svg_print import add_drawing, outline, print_svg
from fitgraph.draw.tints import tints
from fitgraph.explain.standing import nearest_combination
from fitgraph.graph.options import plain
from fitgraph.model import (
    Basis,
    Dimension,
    Feature,
    Option,
    Part,
    Presence,
    Verdict,
)
from fitgraph.solve import Request, TreeEngine
from tests.shared import the_demo

NS = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def catalogue():
    return the_demo().catalogue


@pytest.fixture(scope="module")
def vocabulary(catalogue):
    return catalogue.vocabulary


def size(value, half=0.02):
    return Dimension(value - half, value + half, Basis.MEASURED, str(value))


def option(role, sku, **features):
    made = {
        name: Feature(Presence.PRESENT, dict(dimensions)) for name, dimensions in features.items()
    }
    return Option(role, Part(sku, role, name=sku, features=made), (), made)


def combination(bore=28.7, outside=31.75, slot=3.0, top=28.56, sku="BAR-1"):
    """Return a clamp around a slotted bar around a fork's steerer."""
    return {
        "clamp": option(
            "clamp", "CLAMP-1", bore={"diameter": size(31.9)}, slot={"width": size(3.2)}
        ),
        "bar": option(
            "bar",
            sku,
            bore={"diameter": size(bore) if bore else Dimension.unknown()},
            outside={"diameter": size(outside)},
            slot={"width": size(slot)},
        ),
        "fork": option("fork", "FORK-1", top={"diameter": size(top)}),
    }


def rings(svg):
    """Return each role's radii and slot width as drawn, in mm."""
    root = ET.fromstring(svg)
    scale = float(root.get("data-units-per-mm"))
    found = {}
    for group in root.iter(f"{NS}g"):
        role = group.get("data-role")
        path = group.find(f"{NS}path")
        if role is None or path is None:
            continue
        d = path.get("d")
        radii = sorted({float(r) for r in re.findall(r"A([\d.]+) ", d)}, reverse=True)
        start = float(re.match(r"M([\d.]+) ", d)[1])
        across = re.search(r"A\S+ \S+ 0 1 0 ([\d.]+) ", d)
        width = start - float(across[1]) if "L" in d else 0.0
        found[role] = ([2 * r / scale for r in radii], width / scale)
    return found


def test_diameters_and_slots_are_drawn_to_scale(vocabulary):
    drawn = rings(section_svg(combination(), vocabulary))
    (bar_outside, bar_bore), bar_slot = drawn["bar"]
    assert bar_outside == pytest.approx(31.75, abs=2e-3)
    assert bar_bore == pytest.approx(28.7, abs=2e-3)
    assert bar_slot == pytest.approx(3.0, abs=2e-3)
    assert drawn["clamp"][0][1] == pytest.approx(31.9, abs=2e-3)
    assert drawn["clamp"][1] == pytest.approx(3.2, abs=2e-3)
    assert drawn["fork"][0] == [pytest.approx(28.56, abs=2e-3)]
    assert drawn["fork"][1] == 0.0


def test_every_ring_of_real_builds_is_to_scale(catalogue, vocabulary):
    builds = TreeEngine(catalogue).best(Request(), sort="strength", limit=3)
    for build in builds:
        for nest in nests(build.options, vocabulary):
            drawn = rings(nest_svg(nest, vocabulary))
            for ring in nest.rings:
                given = [d.mid for d in (ring.outside, ring.bore) if d is not None]
                radii, _ = drawn[ring.role]
                for diameter in given:
                    assert min(abs(diameter - r) for r in radii) < 2e-3


def test_a_narrow_section_is_the_same_with_its_words_under_it(vocabulary):
    nest = nests(combination(), vocabulary)[0]
    wide, narrow = nest_svg(nest, vocabulary), nest_svg(nest, vocabulary, narrow=True)
    assert rings(wide) == rings(narrow)
    told = [ET.fromstring(svg).find(f"{NS}desc") for svg in (wide, narrow)]
    assert told[0].text == told[1].text and told[0].get("id") != told[1].get("id")
    root = ET.fromstring(narrow)
    _, _, width, height = map(float, root.get("viewBox").split())
    assert width < 400
    words = [(t.text, float(t.get("x")), float(t.get("y"))) for t in root.iter(f"{NS}text")]
    assert all(0 <= x < width and 0 <= y <= height for _, x, y in words)
    # Each part has its number twice: in the section and before its words.
    for n in range(1, len(nest.rings) + 1):
        assert len([w for w, *_ in words if w == str(n)]) == 2


def test_the_nest_is_read_from_the_joints(vocabulary):
    found = nests(combination(), vocabulary)
    assert [[r.role for r in n.rings] for n in found] == [["clamp", "bar", "fork"]]
    assert [m.joint.name for m in found[0].matings] == ["clamp-on-bar", "bar-on-steerer"]
    with_sleeve = combination() | {
        "sleeve": option(
            "sleeve",
            "SLEEVE-1",
            bore={"diameter": size(25.5)},
            outside={"diameter": size(28.55)},
            slot={"width": size(3)},
        ),
        "fork": option("fork", "FORK-1", top={"diameter": size(25.4)}),
    }
    assert [r.role for r in main_nest(nests(with_sleeve, vocabulary), vocabulary).rings] == [
        "clamp",
        "bar",
        "sleeve",
        "fork",
    ]


def test_an_external_clamp_gives_two_nests_at_two_heights(vocabulary):
    options = combination()
    options["clamp"] = option(
        "clamp",
        "CLAMP-2",
        bore={"diameter": size(31.9)},
        fork_bore={"diameter": size(28.7)},
        slot={"width": size(3.2)},
    )
    found = [[r.role for r in n.rings] for n in nests(options, vocabulary)]
    assert found == [["clamp", "bar"], ["clamp", "fork"]]


def test_text_alternative_says_what_is_drawn(vocabulary):
    root = ET.fromstring(section_svg(combination(), vocabulary))
    assert root.get("role") == "img"
    title, description = root.find(f"{NS}title"), root.find(f"{NS}desc")
    assert root.get("aria-labelledby") == title.get("id")
    assert root.get("aria-describedby") == description.get("id")
    for word in ("clamp CLAMP-1", "bar BAR-1", "fork FORK-1"):
        assert word in title.text
    assert "bore 28.70 ±0.02, outside 31.75 ±0.02, slot 3.00 ±0.02 mm" in description.text
    # 28.70 less 28.56, each ±0.02: 0.10 to 0.18 on the diameter.
    assert "clearance 0.10 to 0.18 mm" in description.text


@pytest.mark.parametrize(
    "name", ['<script>alert("x")</script>', "a&b<c>", "\"'><svg onload=x>", "nul\x00 and \x1b[31m"]
)
def test_names_from_a_catalogue_stay_text(vocabulary, name):
    svg = section_svg(combination(sku=name), vocabulary)
    root = ET.fromstring(svg)
    assert {e.tag.removeprefix(NS) for e in root.iter()} <= {
        "svg",
        "title",
        "desc",
        "style",
        "defs",
        "pattern",
        "rect",
        "line",
        "path",
        "g",
        "text",
        "circle",
    }
    assert not [a for e in root.iter() for a in e.attrib if a.startswith("on")]
    shown = name.replace("\x00", " ").replace("\x1b", " ")
    assert shown in root.find(f"{NS}title").text


def test_interference_is_hatched_and_said(vocabulary):
    svg = section_svg(combination(top=29.4), vocabulary)
    root = ET.fromstring(svg)
    scale = float(root.get("data-units-per-mm"))
    overlap = next(e for e in root.iter(f"{NS}path") if "fg-overlap" in (e.get("class") or ""))
    assert re.fullmatch(r"url\(#fg\w+-x\)", overlap.get("fill"))
    radii = {float(r) for r in re.findall(r"A([\d.]+) ", overlap.get("d"))}
    assert max(radii) - min(radii) == pytest.approx((29.4 - 28.7) / 2 * scale, abs=2e-3)
    texts = [t.text for t in root.iter(f"{NS}text")]
    said = [t for t in texts if t.startswith(f"{SIGNS[Verdict.FAILS]} {WORDS[Verdict.FAILS]}")]
    assert said and "lacking 0.66 mm" in said[0]  # 29.38 into 28.72 at the most favourable
    assert SIGNS[Verdict.FAILS] in texts  # the sign on the section itself
    assert "overlap 0.66 to 0.74 mm" in root.find(f"{NS}desc").text


def test_a_fit_has_no_overlap(vocabulary):
    root = ET.fromstring(section_svg(combination(), vocabulary))
    assert not [e for e in root.iter() if "fg-overlap" in (e.get("class") or "")]


def test_unknown_sizes_are_dashed_and_marked(vocabulary):
    svg = section_svg(combination(bore=None), vocabulary)
    root = ET.fromstring(svg)
    bar = next(g for g in root.iter(f"{NS}g") if g.get("data-role") == "bar")
    assert "fg-guess" in bar.find(f"{NS}path").get("class")
    assert ".fg-guess{stroke-dasharray" in svg
    assert "?" in [t.text for t in root.iter(f"{NS}text")]
    assert "bore unknown" in root.find(f"{NS}desc").text


def test_details_state_a_scale_that_the_drawing_keeps(vocabulary):
    nest = nests(combination(), vocabulary)[0]
    root = ET.fromstring(nest_svg(nest, vocabulary))
    scale = float(root.get("data-units-per-mm"))
    details = [g for g in root.iter(f"{NS}g") if g.get("class") == "fg-detail"]
    assert len(details) == len(nest.matings)
    for detail, mating in zip(details, nest.matings, strict=True):
        words = [t.text for t in detail.iter(f"{NS}text")]
        length, times = re.match(r"([\d.]+) mm, (\d+)×", words[-1]).groups()
        assert int(times) == enlargement(mating, scale)
        ruled = [p for p in detail.iter(f"{NS}path") if p.get("class") == "fg-rule"]
        start, end = re.search(r"M([\d.]+) \S+H([\d.]+)", ruled[0].get("d")).groups()
        drawn = (float(end) - float(start)) / scale / int(times)
        assert drawn == pytest.approx(float(length), rel=1e-3)
        edges = [
            float(re.match(r"M([\d.]+) ", p.get("d"))[1])
            for p in detail.iter(f"{NS}path")
            if p.get("class") == "fg-edge"
        ]
        gap = (edges[0] - edges[1]) / scale / int(times)
        assert gap == pytest.approx((mating.bore.mid - mating.spigot.mid) / 2, abs=1e-4)


def test_contradictory_figures_are_said_not_drawn_as_a_wall(vocabulary):
    nest = nests(combination(bore=33.0), vocabulary)[0]
    assert [d.contradictory for d in drawn_sizes(nest)] == [False, True, False]
    assert "these contradict" in nest_svg(nest, vocabulary)


def test_same_drawing_same_text(vocabulary):
    assert section_svg(combination(), vocabulary) == section_svg(combination(), vocabulary)
    assert section_svg({}, vocabulary) == ""


# ---------------------------------------------------------------- the palette


def linear(colour):
    """Return linear-light sRGB [3]."""
    channels = np.array([int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)])
    return np.where(channels <= 0.04045, channels / 12.92, ((channels + 0.055) / 1.055) ** 2.4)


def contrast(one, other):
    """Return the contrast ratio [1]."""
    weights = np.array([0.2126, 0.7152, 0.0722])
    light, dark = sorted((float(weights @ linear(c)) for c in (one, other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("colours", [LIGHT, DARK], ids=["light", "dark"])
def test_contrast_of_text_and_graphics(colours):
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)  # [1], the largest there is
    for text in ("ink", "muted", "fits", "fails", "unknown"):
        assert contrast(colours[text], colours["paper"]) >= 4.5, text
    assert contrast(colours["line"], colours["paper"]) >= 3.0
    for name, tint in colours.items():
        if name.startswith("part-"):
            assert contrast(colours["ink"], tint) >= 4.5, name


MACHADO = {
    "protan": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "deutan": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
    "tritan": [
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.303900],
    ],
}


def lab(rgb):
    """Return CIE L*a*b* of linear sRGB under D65 [3]."""
    to_xyz = np.array(
        [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
    )
    t = to_xyz @ np.clip(rgb, 0, 1) / np.array([0.9505, 1.0, 1.089])
    f = np.where(t > (6 / 29) ** 3, np.cbrt(t), t * (29 / 6) ** 2 / 3 + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


@pytest.mark.parametrize("kind", MACHADO)
@pytest.mark.parametrize("colours", [LIGHT, DARK], ids=["light", "dark"])
def test_fits_and_fails_stay_apart_for_the_colour_blind(colours, kind):
    seen = [lab(np.array(MACHADO[kind]) @ linear(colours[c])) for c in ("fits", "fails")]
    # A difference of 2.3 is just noticeable (common practice); this asks for ten times that.
    assert np.linalg.norm(seen[0] - seen[1]) > 23


def test_each_verdict_has_its_own_sign_and_word():
    for texts in (SIGNS, WORDS):
        assert set(texts) == set(Verdict)
        for one, other in itertools.combinations(texts.values(), 2):
            assert one != other


# ---------------------------------------------------------------- on paper


def test_arcs_are_followed_as_svg_says():
    """Points of half a circle lie on it, on the side that the sweep flag says (y points down)."""
    for sweep, side in ((0, 1), (1, -1)):
        (piece,) = outline(f"M0 5A5 5 0 1 {sweep} 10 5Z")
        assert piece[0] == (0, 5) and piece[-1] == pytest.approx((10, 5))
        for x, y in piece:
            assert (x - 5) ** 2 + (y - 5) ** 2 == pytest.approx(25)
            assert side * (y - 5) >= -1e-9


def test_a_print_shows_what_the_screen_shows(catalogue, vocabulary):
    """Rendered, tints and lines lie where parts are, none outside, and all words are there."""
    parts = ("FORK-SKE-01", "KIT-SKE-01", "BAR-OST-03", "CLMP-SKE-01")
    options = {catalogue.parts[s].role: plain(catalogue.parts[s]) for s in parts}
    svg = nest_svg(main_nest(nests(options, vocabulary), vocabulary), vocabulary)

    def built(lettering: Lettering) -> bytes:
        pdf = FPDF(unit="mm", format=(200, 200))
        lettering.begin(pdf)
        pdf.set_margins(5, 5)
        pdf.add_page()
        add_drawing(pdf, svg, lettering, 190)
        return bytes(pdf.output())

    with pymupdf.open(stream=printed(built)) as document:
        assert document.page_count == 1
        text = " ".join(document[0].get_text().split())
        picture = document[0].get_pixmap(dpi=100)
    words = [node.text for node in ET.fromstring(svg).iter("{http://www.w3.org/2000/svg}text")]
    for word in words:
        for sign in SIGNS.values():
            word = " ".join(word.replace(sign, "").split())
        assert word[:20] in text
    # The section lies at the upper left; to the right of all words nothing is drawn.
    shades = np.frombuffer(picture.samples, np.uint8).reshape(picture.height, picture.width, -1)
    inked = (shades[:, :, :3] < 250).any(axis=2)
    section = inked[: picture.height // 2, : picture.width // 2]
    assert section.mean() > 0.3
    assert not inked[:, int(picture.width * 0.97) :].any()
    assert "class=" not in print_svg(svg, Lettering()) and "var(" not in print_svg(svg, Lettering())


def test_a_nest_without_joints_is_drawn_and_not_judged(catalogue, vocabulary):
    parts = ("FORK-SKE-01", "KIT-SKE-01", "BAR-OST-03", "CLMP-SKE-01")
    options = {catalogue.parts[s].role: plain(catalogue.parts[s]) for s in parts}
    nest = main_nest(nests(options, vocabulary), vocabulary)
    judged, bare = (nest_svg(n, vocabulary) for n in (nest, replace(nest, matings=())))
    for word in (*WORDS.values(), "clearance", "overlap"):
        assert word not in re.sub(r"<style.*?</style>", "", bare, flags=re.DOTALL)
    assert WORDS[nest.verdict] in judged
    assert bare.count("data-role") == judged.count("data-role") == len(nest.rings)


@pytest.mark.parametrize("trade", ["demo", "hoses"])
def test_a_role_has_one_tint_in_every_section_and_no_two_in_one_section_share_it(trade):
    catalogue = load(shipped_folder("data") / trade).catalogue
    vocabulary = catalogue.vocabulary
    of, seen = tints(vocabulary), {}
    for build in TreeEngine(catalogue).best(Request(), limit=20):
        for nest in nests(build.options, vocabulary):
            drawn = ET.fromstring(nest_svg(nest, vocabulary))
            filled = {}
            for group in drawn.iter("{http://www.w3.org/2000/svg}g"):
                if role := group.get("data-role"):
                    path = group.find("{http://www.w3.org/2000/svg}path")
                    filled[role] = re.search(r"-p(\d)", path.get("fill"))[1]
            assert len(set(filled.values())) == len(filled) > 1
            for role, tint in filled.items():
                assert seen.setdefault(role, tint) == tint == str(of[role])
    assert seen


def test_no_figure_of_a_drawing_is_cut_from_its_unit(catalogue):
    """Lines end behind a unit or a word, never between a figure and its limits or its unit."""
    figures = 0
    for build in TreeEngine(catalogue).best(Request(), limit=4):
        for nest in nests(build.options, catalogue.vocabulary):
            for narrow in (False, True):
                drawn = ET.fromstring(nest_svg(nest, catalogue.vocabulary, narrow=narrow))
                for text in drawn.iter("{http://www.w3.org/2000/svg}text"):
                    line = text.text or ""
                    figures += " mm" in line
                    assert not re.match("(mm|g|N·m)\\b|±", line), line
    assert figures > 20


def test_no_name_of_a_part_is_cut_where_there_is_little_room(catalogue, vocabulary):
    """The longest names of every role, in a drawing of the joints and in cross-sections."""
    explainer = the_demo().explainer
    for place in range(4):
        longest = {
            role: sorted(catalogue.of(role), key=lambda part: -len(part.name))[place]
            for role in ("fork", "kit", "clamp", "bar", "grips", "plugs")
        }
        skus = tuple(part.sku for part in longest.values())
        said, near = explainer.why(skus, with_changes=False), nearest_combination(explainer, skus)
        shown = {role: near[role] for role in longest}
        drawn = [conflict_svg(shown, said.joints, vocabulary, frozenset(shown), narrow=True)]
        drawn += [nest_svg(nest, vocabulary, narrow=True) for nest in nests(near, vocabulary)]
        assert len(drawn) > 2
        for svg in drawn:
            assert "…" not in svg
        words = " ".join(text.text or "" for text in ET.fromstring(drawn[0]).iter(f"{NS}text"))
        for part in longest.values():
            assert part.name in words and part.sku in words
