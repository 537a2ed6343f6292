"""The guides: what they show has to work, and what the program reads has to be in them.

The catalogue's guide is checked by its own examples. Which columns and entries there are is
asked of the reader itself, through what it says of an empty table or an unknown entry, so
that the guide cannot fall behind.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

from fitgraph.catalogue import CatalogueError, Loaded, load
from fitgraph.explain import Explainer, action_text, clash_text
from fitgraph.mechanics.materials import MATERIALS
from fitgraph.mechanics.rules import RULES, Rule
from fitgraph.model import Basis, Fill, Verdict
from fitgraph.solve import Request, TreeEngine

ROOT = Path(__file__).resolve().parent.parent
GLOSSARY = (ROOT / "docs" / "glossary.md").read_text(encoding="utf-8")
GUIDE = (ROOT / "docs" / "catalogue.md").read_text(encoding="utf-8")
ARCHITECTURE = (ROOT / "docs" / "architecture.md").read_text(encoding="utf-8")
TABLES = ("parts.csv", "features.csv", "stock.csv", "enquiries.csv")

_FILE_BLOCK = re.compile(r"^\*\*([\w.]+)\*\*\n\n```\w+\n(.*?)^```$", re.MULTILINE | re.DOTALL)
_BLOCK = re.compile(r"^```(\w+)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
_LINK = re.compile(r"\[[^\]]*\]\(([^)\s]+)\)")


def blocks(language: str, after: str) -> list[str]:
    """Return the guide's code blocks in a language that stand behind a passage."""
    tail = GUIDE[GUIDE.index(after) :]
    return [text for tongue, text in _BLOCK.findall(tail) if tongue == language]


def flat(text: str) -> str:
    """Return a text without its line breaks."""
    return " ".join(text.split())


def prose(text: str) -> str:
    """Return a guide with the code blocks' comments made unlike headings, at the same places."""
    return _BLOCK.sub(lambda block: block[0].replace("#", " "), text)


def section(heading: str) -> str:
    """Return what stands under a heading of the guide, up to the next of its level."""
    level = heading.split()[0]
    start = GUIDE.index(f"\n{heading}\n") + len(heading) + 2
    following = re.search(rf"^#{{1,{len(level)}}} ", prose(GUIDE)[start:], re.MULTILINE)
    return GUIDE[start : start + following.start()] if following else GUIDE[start:]


def first_column(heading: str) -> set[str]:
    """Return the names in the first column of the tables under a heading."""
    rows = re.findall(r"^\| (.*?) \|", section(heading), re.MULTILINE)
    return {name for row in rows for name in re.findall(r"`([^`]+)`", row)}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Return the guide's small catalogue, written into a folder."""
    files = dict(_FILE_BLOCK.findall(GUIDE))
    assert set(files) == {"vocabulary.toml", *TABLES}
    for name, text in files.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    return tmp_path


@pytest.fixture
def small(folder: Path) -> Loaded:
    """Return the guide's small catalogue as read."""
    return load(folder)


# -- the worked catalogue ------------------------------------------------------


def test_the_small_catalogue_has_nothing_to_mend(small: Loaded) -> None:
    assert small.findings == ()
    fills = {role.fill for role in small.catalogue.vocabulary.roles.values()}
    assert fills == set(Fill)  # it shows every one of them


def test_it_has_as_many_builds_as_the_guide_says(small: Loaded) -> None:
    """Counted by hand: known bores P-85 and P-95, two tips each; P-90 with and without a bush."""
    engine = TreeEngine(small.catalogue)
    stated = [int(n) for n in re.findall(r"\*\*(\d+)(?: builds)?\*\*", GUIDE)]
    assert stated == [
        engine.count(Request()).number,
        engine.count_possible(Request()).number,
        engine.count(Request(have=("T-71",))).number,
    ]
    assert stated == [2 * 2, 2 * 2 + 1 * 2 * 2, 2 + 2]
    best = engine.best(Request(), limit=10)
    assert len(best) == stated[0]
    assert all(b.strength_nm is not None and b.strength_nm > 0 for b in best)
    for build in best:
        assert ("bush" in build.parts) == (build.parts["pole"] == "P-95")
        assert ("cord" in build.parts) == (build.parts["tip"] == "T-71C")
        assert "hook" not in build.parts


def test_it_answers_why_as_the_guide_says(small: Loaded) -> None:
    answer = Explainer(small.catalogue).why(("P-95", "T-71"))
    assert answer.verdict is Verdict.FAILS
    why, changes = blocks("text", "`why` says:")[:2]
    assert [flat(why)] == [clash_text(c, small.catalogue) for c in answer.conflicts]
    assert changes.splitlines() == [
        "; ".join(action_text(action, small.catalogue) for action in change.actions)
        for change in answer.changes
    ]


def test_the_last_advice_has_an_effect(folder: Path) -> None:
    assert "the bush's bore to `6.9`" in flat(GUIDE)
    table = folder / "features.csv"
    before = table.read_text(encoding="utf-8")
    changed = before.replace("B-80,bore,diameter,7.20,", "B-80,bore,diameter,6.9,")
    assert changed != before
    table.write_text(changed, encoding="utf-8")
    assert TreeEngine(load(folder).catalogue).count(Request()).number == 2


def test_check_finds_in_the_bad_rows_what_the_guide_says(folder: Path) -> None:
    rows = blocks("csv", "These rows, added to")[0]
    with (folder / "features.csv").open("a", encoding="utf-8") as table:
        table.write(rows)
    stated = re.split(r"^(?=\S)", blocks("text", "give these findings")[0], flags=re.MULTILINE)
    found = [f"{f.severity}: {f}" for f in load(folder).findings]
    assert [flat(s) for s in stated if s] == [flat(f) for f in found]
    assert len(found) == len(rows.splitlines())  # one for each bad row


def test_every_toml_block_is_toml() -> None:
    texts = [text for language, text in _BLOCK.findall(GUIDE) if language == "toml"]
    assert len(texts) >= 3
    for text in texts:
        assert tomllib.loads(text)


# -- figures ------------------------------------------------------------------


def figure_rows() -> Iterator[tuple[str, float, float]]:
    """Yield every example of the guide whose limits the same row states."""
    for row in section("## How to type a figure").splitlines():
        limits = re.search(r"(\d+\.\d+) to (\d+\.\d+)(?: \||$|;)", row)
        if row.startswith("| `") and limits:
            for typed in re.findall(r"`([^`]+)`", row.split("|")[1]):
                yield typed, float(limits[1]), float(limits[2])


@pytest.mark.parametrize(("typed", "lo", "hi"), list(figure_rows()))
def test_a_figure_means_what_the_guide_says(folder: Path, typed: str, lo: float, hi: float) -> None:
    """28.6 h9 and H7 by ISO 286-1:2010, table 1: IT9 52 um, IT7 21 um for 18 to 30 mm."""
    (folder / "features.csv").write_text(
        f"sku,feature,dimension,value\nP-85,outside,diameter,{typed}\n", encoding="utf-8"
    )
    dimension = load(folder).catalogue.parts["P-85"].features["outside"].lengths["diameter"]
    assert (dimension.lo, dimension.hi) == pytest.approx((lo, hi), abs=5e-4)


def test_the_guide_states_limits_for_every_notation() -> None:
    typed = {t for t, _, _ in figure_rows()}
    assert {"28.6 ±0.05", "28.6 +/-0.05", "28.6 +0.1/-0.05", "28.6 h9", "28.6 H7"} <= typed
    for text in ("1 1/8 in", '1-1/8"', "1⅛ in", "28,6 mm", "28.5..28.7", "28.5 to 28.7"):
        assert f"`{text}`" in section("## How to type a figure")


def test_ranges_fractions_and_unknowns_read_as_the_guide_says(folder: Path) -> None:
    def read(typed: str) -> tuple[float, float]:
        (folder / "features.csv").write_text(
            f'sku;feature;dimension;value;basis\nP-85;outside;diameter;"{typed}";maker\n',
            encoding="utf-8",
        )
        figure = load(folder).catalogue.parts["P-85"].features["outside"].lengths["diameter"]
        return figure.lo, figure.hi

    for typed in ("28.5..28.7", "28.5 to 28.7", "28.5–28.7"):
        assert read(typed) == pytest.approx((28.5, 28.7))
    for typed in ("1 1/8 in", '1-1/8""', "1⅛ in"):
        assert read(typed) == pytest.approx((28.525, 28.625))  # 1.125 x 25.4 mm, maker ±0.05
    for typed in ("28.6", "28,6 mm"):
        assert read(typed) == pytest.approx((28.55, 28.65))
    for typed in ("?", "unknown", "n/a", "k.A.", "null", "tbc", "-", ""):
        assert read(typed) == (-float("inf"), float("inf"))
        assert typed == "" or f"`{typed}`" in section("## How to type a figure")


# -- nothing is left out ------------------------------------------------------


def columns_of(folder: Path, table: str) -> set[str]:
    """Return the columns the reader knows, which it names where a table is empty."""
    (folder / table).write_text("", encoding="utf-8")
    try:
        findings = load(folder).findings
    except CatalogueError as error:
        findings = error.findings
    header = next(f.remedy for f in findings if f.file == table)
    return set(header.removeprefix("Give it a header line: ").split(","))


@pytest.mark.parametrize("table", TABLES)
def test_every_column_is_explained(folder: Path, table: str) -> None:
    columns = columns_of(folder, table)
    assert "sku" in columns or "number" in columns
    named = set(re.findall(r"`([^`]+)`", section(f"### `{table}`")))
    assert columns <= named


#: Where an entry nobody knows is put, and under which heading the guide explains the rest.
_PLACES = {
    "": "## `vocabulary.toml`",
    "[limits]": "### `[trade]`, `[limits]`, `[cautions]`, `[strength]`",
    "[strength]": "### `[trade]`, `[limits]`, `[cautions]`, `[strength]`",
    "[roles.pole]": "### Roles",
    "[roles.pole.features.bore]": "### Features and dimensions",
    "[roles.pole.features.bore.dimensions.diameter]": "### Features and dimensions",
    "[services.drill-tip]": "### Services",
}


def known_entries(folder: Path, after: str) -> set[str]:
    """Return the entries the reader knows behind a line of the vocabulary."""
    path = folder / "vocabulary.toml"
    text = path.read_text(encoding="utf-8")
    if after.endswith("dimensions.diameter]"):
        text = text.replace("diameter = { ", "diameter = { surely-unknown = 1, ")
    elif after:
        assert f"{after}\n" in text
        text = text.replace(f"{after}\n", f"{after}\nsurely-unknown = 1\n", 1)
    else:
        text = "surely-unknown = 1\n" + text
    path.write_text(text, encoding="utf-8")
    with pytest.raises(CatalogueError) as caught:
        load(folder)
    remedies = {f.remedy for f in caught.value.findings if f.value == "surely-unknown"}
    assert len(remedies) == 1
    return set(remedies.pop().removeprefix("Use one of ").split(", "))


@pytest.mark.parametrize("after", _PLACES)
def test_every_entry_of_the_vocabulary_is_explained(folder: Path, after: str) -> None:
    entries = known_entries(folder, after)
    explained = section(_PLACES[after])
    assert entries
    for entry in entries:
        assert re.search(rf"(?<![\w-])(`|\[){re.escape(entry)}|^#? ?{entry} =", explained, re.M), (
            f"{entry} is not explained under {_PLACES[after]}"
        )


def test_every_entry_of_a_joint_is_explained(folder: Path) -> None:
    entries = known_entries(folder, 'rule = "clearance"')
    assert {"when", "because", "tidy", "check"} <= entries
    explained = section("### Joints") + section("#### `clearance`")
    assert {e for e in entries if f"`{e}`" not in explained} == set()


@pytest.mark.parametrize("rule", RULES.values(), ids=RULES)
def test_every_rule_is_explained_with_its_arguments(rule: Rule) -> None:
    explained = section(f"#### `{rule.name}`")
    for name in (*rule.arguments, *(rule.limits or {})):
        assert f"`{name}`" in explained
    assert rule.on_presence == ("`needs`" in explained)
    assert ("Margin:" in explained) == bool(rule.lengths)


def test_every_fill_and_every_basis_is_explained() -> None:
    assert first_column("### Roles") >= {fill.value for fill in Fill}
    assert first_column("### Limits by basis") == {b.name.lower() for b in Basis}


def test_every_word_of_presence_is_explained(folder: Path) -> None:
    explained = section("## Whether a feature is there")
    for word, presence in (("yes", 2), ("no", 0), ("none", 0), ("?", 1), ("unknown", 1)):
        assert f"`{word}`" in explained
        (folder / "features.csv").write_text(
            f"sku,feature,dimension,value\nT-71,anchor,,{word}\n", encoding="utf-8"
        )
        assert load(folder).catalogue.parts["T-71"].features["anchor"].presence == presence
    for entry in ("present", "absent", "unknown"):
        assert f"`{entry}`" in explained


def test_materials_named_in_the_guide_exist() -> None:
    named = re.findall(r"such as `([\w-]+)` or plain `([\w-]+)`", GUIDE)
    assert named and set(named[0]) <= set(MATERIALS)


def test_the_demo_is_described_as_it_is() -> None:
    told = " ".join((ROOT / "data" / "demo" / "README.md").read_text(encoding="utf-8").split())
    catalogue = load(ROOT / "data" / "demo").catalogue
    parts = catalogue.parts.values()
    sold = [p for p in parts if p.price is not None]
    assert f"{len(parts)} parts in {len({p.role for p in parts})} roles by" in told
    assert f"{sum(p.stock for p in parts)} pieces on the shelves" in told
    out = sum(p.stock == 0 for p in sold)
    assert f"{out} of the {len(sold)} parts for sale sold out" in told
    riders = sum(e.weight for e in catalogue.enquiries)
    assert f"{len(catalogue.enquiries)} enquiries ({riders:g} riders" in told
    systems = "IHC, HIC, SCS and ICS stand for sizes and shapes, whoever makes the parts"
    lesson = (ROOT / "notebooks" / "01-how-fitment-works.ipynb").read_text(encoding="utf-8")
    assert all(systems in where for where in (told, lesson, GLOSSARY))


# -- links and the layers -----------------------------------------------------


def guides() -> list[Path]:
    return [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").glob("*.md"))]


def anchors(path: Path) -> set[str]:
    """Return the anchors of a guide's headings, as Git hosts commonly make them."""
    headings = re.findall(r"^#+ (.+)$", prose(path.read_text(encoding="utf-8")), re.MULTILINE)
    return {re.sub(r"[^\w -]", "", h.lower()).strip().replace(" ", "-") for h in headings}


@pytest.mark.parametrize("path", guides(), ids=lambda p: p.name)
def test_links_lead_somewhere(path: Path) -> None:
    text = _BLOCK.sub("", path.read_text(encoding="utf-8"))
    broken = []
    for target in _LINK.findall(text):
        if re.match(r"[a-z]+:", target):
            continue
        file, _, anchor = target.partition("#")
        goal = (path.parent / file).resolve() if file else path
        known = goal.exists() and goal.is_relative_to(ROOT)
        if not known or (anchor and anchor not in anchors(goal)):
            broken.append(target)
    assert broken == []


def test_the_layers_are_drawn_as_they_stand() -> None:
    figure = next(text for language, text in _BLOCK.findall(ARCHITECTURE) if language == "text")
    layers = {p.parent.name for p in (ROOT / "fitgraph").glob("*/__init__.py")}
    layers |= {p.stem for p in (ROOT / "fitgraph").glob("[a-z]*.py")}
    assert len(layers) > 6
    assert {layer for layer in layers if not re.search(rf"\b{layer}\b", figure)} == set()


@pytest.mark.parametrize("text", [GUIDE, ARCHITECTURE], ids=["catalogue", "architecture"])
def test_files_that_the_guides_name_exist(text: str) -> None:
    named = re.findall(r"`((?:fitgraph|data|tests|docs)/[\w./-]+)`", text)
    assert named
    assert [name for name in named if not (ROOT / name).exists()] == []


def test_an_unknown_figure_is_one_figure_as_the_house_says(tmp_path: Path) -> None:
    """One unknown size used by two joints, which no single size could meet."""
    role = "[roles.{0}]\n[roles.{0}.features.size]\ndimensions.d = {{}}\n"
    joint = (
        '[[joints]]\nid = "{0}"\nrule = "clearance"\nbore = "{0}.size.d"\n'
        'spigot = "pin.size.d"\nleast = "0 mm"\nmost = "1 mm"\n'
    )
    pieces = [role.format(r) for r in ("pin", "ten", "twenty")]
    pieces += [joint.format(r) for r in ("ten", "twenty")]
    (tmp_path / "vocabulary.toml").write_text("".join(pieces), encoding="utf-8")
    (tmp_path / "parts.csv").write_text(
        "sku,role,price\nP,pin,1\nT,ten,1\nW,twenty,1\n", encoding="utf-8"
    )
    rows = "sku,feature,dimension,value\nT,size,d,10\nW,size,d,20\n"
    for pin, possible in (("?", 0), ("9.5", 0), ("19.5", 0)):
        (tmp_path / "features.csv").write_text(f"{rows}P,size,d,{pin}\n", encoding="utf-8")
        engine = TreeEngine(load(tmp_path).catalogue)
        assert engine.count_possible(Request()).number == possible
        assert engine.count(Request()).number == 0
