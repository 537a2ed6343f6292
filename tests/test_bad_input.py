"""What people really put into a table: each fault is told with its place and its remedy.

The rows that can be used are used. Only where nothing can go on does reading stop, and then
with every reason at once.
"""

from __future__ import annotations

import csv
import math
import shutil
import unicodedata
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fitgraph.catalogue import CatalogueError, Finding, demo_folder, load, shipped_folder
from fitgraph.catalogue.findings import ERROR, WARNING
from fitgraph.catalogue.loaded import Loaded
from fitgraph.model import Basis, Presence
from fitgraph.solve.request import find_part
from tests.turns import turns

VOCABULARY = (demo_folder() / "vocabulary.toml").read_bytes()

PARTS = """\
sku,role,name,maker,price,mass,material,note
FORK-1,fork,Fork one,Maker one,80.00,480 g,steel-4130,
BAR-1,bar,Bar one,Maker one,90.00,900 g,steel-4130,
BAR-2,bar,Bar two,Maker two,95.00,950 g,steel-4130,
CLAMP-1,clamp,Clamp one,Maker one,20.00,160 g,,
"""
FEATURES = """\
sku,feature,dimension,value,basis,note
FORK-1,top,diameter,25.4 ±0.05,maker,
BAR-1,outside,diameter,31.8 ±0.05,maker,
BAR-1,bore,diameter,28.7 ±0.05,maker,
BAR-1,slot,,no,,
BAR-2,outside,diameter,34.9 ±0.05,maker,
CLAMP-1,bore,diameter,31.9 ±0.05,maker,
"""
STOCK = "sku,quantity\nFORK-1,2\nBAR-1,1\n"
ENQUIRIES = "number,have\nE1,FORK-1\n"
GOOD = {"FORK-1", "BAR-1", "BAR-2", "CLAMP-1"}


class Folder:
    """A catalogue folder whose files a test spoils."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.write("vocabulary.toml", VOCABULARY)
        for name, text in (
            ("parts.csv", PARTS),
            ("features.csv", FEATURES),
            ("stock.csv", STOCK),
            ("enquiries.csv", ENQUIRIES),
        ):
            self.write(name, text)

    def write(self, name: str, content: str | bytes) -> None:
        data = content if isinstance(content, bytes) else content.encode()
        (self.path / name).write_bytes(data)

    def load(self) -> Loaded:
        return load(self.path)

    def findings(self) -> list[Finding]:
        """Return what is wrong, less the roles that this small catalogue lacks."""
        return [f for f in self.load().findings if f.message != MISSING_ROLE]

    def error(self) -> tuple[Finding, ...]:
        with pytest.raises(CatalogueError) as caught:
            load(self.path)
        assert caught.value.findings
        assert str(caught.value)
        return caught.value.findings


MISSING_ROLE = "has no part, so no build can be complete"


@pytest.fixture
def folder(tmp_path: Path) -> Folder:
    return Folder(tmp_path)


def told(finding: Finding, file: str, row: int | None, column: str, severity: str) -> None:
    """Check that a finding says where, what and how to mend it."""
    assert (finding.file, finding.row, finding.column) == (file, row, column)
    assert finding.severity == severity
    assert finding.message and finding.remedy
    assert len(finding.value) <= 61
    text = str(finding)
    assert file in text
    assert row is None or f"row {row}" in text
    assert finding.remedy in text


def only(folder: Folder, file: str, row: int | None, column: str, severity: str = ERROR) -> Finding:
    """Return the one finding there is, after checking its place; the good rows are loaded."""
    findings = folder.findings()
    assert len(findings) == 1, [str(f) for f in findings]
    told(findings[0], file, row, column, severity)
    assert set(folder.load().catalogue.parts) >= GOOD
    return findings[0]


def test_the_unspoilt_folder_has_no_findings(folder: Folder) -> None:
    loaded = folder.load()
    assert folder.findings() == []
    assert set(loaded.catalogue.parts) == GOOD
    assert {f.value for f in loaded.findings} == {
        r.name
        for r in loaded.catalogue.vocabulary.roles.values()
        if not r.fill.may_be_empty and r.name not in ("fork", "bar", "clamp")
    }


# ---------------------------------------------------------------- cells of parts.csv


@pytest.mark.parametrize(
    ("row", "column", "severity", "says"),
    [
        ("X-1,bar,,,-5.00,900 g,,", "price", ERROR, "below zero"),
        ("X-1,bar,,,cheap,900 g,,", "price", ERROR, "no amount of money"),
        ("X-1,bar,,,inf,900 g,,", "price", ERROR, "no amount of money"),
        ("X-1,bar,,,NaN,900 g,,", "price", ERROR, "no amount of money"),
        ("X-1,bar,,,=10+10,900 g,,", "price", ERROR, "no amount of money"),
        ("X-1,bar,,,1.999,900 g,,", "price", ERROR, "more decimals"),
        ("X-1,bar,,,99999999999999999999,900 g,,", "price", ERROR, "beyond any price"),
        ("X-1,bar,,,1e9999999,900 g,,", "price", ERROR, ""),
        ("X-1,bar,,,,900 g,,", "price", WARNING, "not sold"),
        ("X-1,bar,,,9.00,-3 g,,", "mass", ERROR, "not above zero"),
        ("X-1,bar,,,9.00,0,,", "mass", ERROR, "not above zero"),
        ("X-1,bar,,,9.00,inf,,", "mass", ERROR, "no mass"),
        ("X-1,bar,,,9.00,nan g,,", "mass", ERROR, "no mass"),
        ("X-1,bar,,,9.00,9 parsec,,", "mass", ERROR, "no mass"),
        ("X-1,bar,,,9.00,99999999999999 kg,,", "mass", ERROR, "beyond any mass"),
        ("X-1,bar,,,9.00,900 g,unobtainium,", "material", WARNING, "no known material"),
    ],
)
def test_a_bad_cell_costs_the_cell_and_not_the_part(
    folder: Folder, row: str, column: str, severity: str, says: str
) -> None:
    folder.write("parts.csv", PARTS + row + "\n")
    finding = only(folder, "parts.csv", 6, column, severity)
    assert says in finding.message
    part = folder.load().catalogue.parts["X-1"]
    assert getattr(part, {"mass": "mass_g"}.get(column, column)) is None


@pytest.mark.parametrize(
    ("row", "column", "says"),
    [
        ("X-1,wheelbarrow,,,9.00,9 g,,", "role", "no role"),
        ("X-1,,,,9.00,9 g,,", "role", "no role"),
        (",bar,,,9.00,9 g,,", "sku", "no stock number"),
        ("BAR-1,bar,again,,9.00,9 g,,", "sku", "row 3"),
        ("two words,bar,,,9.00,9 g,,", "sku", "no stock number"),
        ("none,bar,,,9.00,9 g,,", "sku", "no stock number"),
        ("X-1,bar,a,b,9.00,9 g,,,,", "", "has 10 cells where the header has 8"),
    ],
)
def test_a_bad_row_is_left_out(folder: Folder, row: str, column: str, says: str) -> None:
    folder.write("parts.csv", PARTS + row + "\n")
    finding = only(folder, "parts.csv", 6, column)
    assert says in finding.message
    loaded = folder.load()
    assert set(loaded.catalogue.parts) == GOOD
    assert loaded.catalogue.parts["BAR-1"].name == "Bar one"


def test_formulas_and_markup_stay_plain_text(folder: Folder) -> None:
    name, note = '=HYPERLINK("http://example.org")', "<script>alert(1)</script>"
    with (folder.path / "parts.csv").open("a", newline="") as file:
        csv.writer(file).writerow(["X-1", "bar", name, "@SUM(A1)", "9.00", "9 g", "", note])
    assert folder.findings() == []
    part = folder.load().catalogue.parts["X-1"]
    assert (part.name, part.maker, part.note) == (name, "@SUM(A1)", note)


# ---------------------------------------------------------------- cells of features.csv


@pytest.mark.parametrize(
    ("value", "lo", "hi"),
    [
        ('"1 1/8"""', 28.575 - 0.05, 28.575 + 0.05),
        ('"28,6"', 28.55, 28.65),
        ('"28,6 ±0,02"', 28.58, 28.62),
        ("28.6 +0.1/-0.05", 28.55, 28.7),
        ("28.6 -0.05/+0.1", 28.55, 28.7),
        ("28.5..28.7", 28.5, 28.7),
        ("28.5 to 28.7 mm", 28.5, 28.7),
        ("1.125 in", 28.525, 28.625),
        # ISO 286-1:2010, table 2 and annex: IT9 over 18 up to 30 mm is 52 micrometres.
        ("28.6 H9", 28.6, 28.652),
        ("28.6 h9", 28.548, 28.6),
        ("2.86 cm", 28.55, 28.65),
    ],
)
def test_figures_as_people_type_them_are_read(
    folder: Folder, value: str, lo: float, hi: float
) -> None:
    folder.write("features.csv", FEATURES + f"BAR-2,bore,diameter,{value},maker,\n")
    assert folder.findings() == []
    bore = folder.load().catalogue.parts["BAR-2"].features["bore"].lengths["diameter"]
    assert (bore.lo, bore.hi) == (pytest.approx(lo), pytest.approx(hi))
    assert bore.basis is Basis.MAKER


@pytest.mark.parametrize("value", ["?", "", "unknown", "n/a", "-", "tbc", "k.A.", "null", "n.a."])
def test_what_nobody_knows_is_unknown_without_a_finding(folder: Folder, value: str) -> None:
    folder.write("features.csv", FEATURES + f"BAR-2,bore,diameter,{value},,\n")
    assert folder.findings() == []
    bore = folder.load().catalogue.parts["BAR-2"].features["bore"].lengths["diameter"]
    assert not bore.known


@pytest.mark.parametrize(
    ("value", "says"),
    [
        ("inf", "is no length"),
        ("-inf", "is no length"),
        ("nan", "is no length"),
        ("1e+2", "is no length"),
        ("=28+0.6", "is no length"),
        ("about 28", "is no length"),
        ("28.6 ±", "is no length"),
        ("28.7..28.5", "wrong way round"),
        ("28.6 Q99", "tolerance class"),
        ("28.6 kg", "no length unit"),
        ("2.86", "outside 18 to 42 mm"),
        ("286", "outside 18 to 42 mm"),
        ("28.6 in", "outside 18 to 42 mm"),
        ("<b>28.6</b>", "is no length"),
        ("9" * 200, "too long"),
    ],
)
def test_a_bad_figure_counts_as_unknown(folder: Folder, value: str, says: str) -> None:
    folder.write("features.csv", FEATURES + f"BAR-2,bore,diameter,{value},maker,\n")
    finding = only(folder, "features.csv", 8, "value")
    assert says in finding.message
    assert "counts as unknown" in finding.message
    bore = folder.load().catalogue.parts["BAR-2"].features["bore"].lengths["diameter"]
    assert not bore.known


@pytest.mark.parametrize(
    ("row", "column", "severity", "says"),
    [
        ("GHOST-1,bore,diameter,28.6,maker,", "sku", ERROR, "no part"),
        ("BAR-2,horn,diameter,28.6,maker,", "feature", ERROR, "no feature of a bar"),
        ("BAR-2,bore,girth,28.6,maker,", "dimension", ERROR, "no dimension of bore"),
        ("BAR-2,bore,diameter,28.7,hearsay,", "basis", WARNING, "taken as nominal"),
        ("BAR-2,bore,diameter,28,7,", "basis", ERROR, "decimals of 28"),
        ("BAR-2,slot,,perhaps,,", "value", ERROR, "whether the feature is there"),
        ("BAR-1,slot,,yes,,", "value", WARNING, "contradicts an earlier row"),
    ],
)
def test_a_bad_row_of_features_is_told(
    folder: Folder, row: str, column: str, severity: str, says: str
) -> None:
    folder.write("features.csv", FEATURES + row + "\n")
    assert says in only(folder, "features.csv", 8, column, severity).message


def test_an_unquoted_decimal_comma_is_not_taken_for_a_whole_number(folder: Folder) -> None:
    folder.write("features.csv", FEATURES + "BAR-2,bore,diameter,28,7,\n")
    bore = folder.load().catalogue.parts["BAR-2"].features["bore"]
    assert "diameter" not in bore.lengths or not bore.lengths["diameter"].known
    assert "in quotes" in folder.findings()[0].remedy


def test_contradicting_figures_are_told_and_the_better_basis_is_used(folder: Folder) -> None:
    folder.write(
        "features.csv",
        FEATURES
        + "BAR-2,bore,diameter,31.9 ±0.05,maker,\nBAR-2,bore,diameter,28.7 ±0.02,measured,\n",
    )
    finding = only(folder, "features.csv", 8, "value", WARNING)
    assert "contradicts" in finding.message and "BAR-2" in finding.message
    bore = folder.load().catalogue.parts["BAR-2"].features["bore"].lengths["diameter"]
    assert (bore.lo, bore.hi) == (pytest.approx(28.68), pytest.approx(28.72))
    assert bore.basis is Basis.MEASURED


def test_contradicting_figures_of_one_basis_widen_the_limits(folder: Folder) -> None:
    folder.write(
        "features.csv",
        FEATURES
        + "BAR-2,bore,diameter,28.6 ±0.02,measured,\nBAR-2,bore,diameter,28.8 ±0.02,measured,\n",
    )
    assert [(f.row, f.severity) for f in folder.findings()] == [(8, WARNING), (9, WARNING)]
    bore = folder.load().catalogue.parts["BAR-2"].features["bore"].lengths["diameter"]
    assert (bore.lo, bore.hi) == (pytest.approx(28.58), pytest.approx(28.82))


def test_figures_that_cannot_be_true_together_are_told(folder: Folder) -> None:
    """A bar's outside is wider than its bore by two walls."""
    folder.write("features.csv", FEATURES + "BAR-2,bore,diameter,35.4 ±0.05,maker,\n")
    finding = only(folder, "parts.csv", 4, "sku", WARNING)
    assert "34.9" in finding.message and "35.4" in finding.message
    assert finding.remedy.endswith("Measure the part again")


def test_a_mass_that_the_sizes_rule_out_is_told(folder: Folder) -> None:
    """A steel tube of 31.8 over 28.6, 600 mm and more of it, weighs far over 90 g."""
    folder.write("parts.csv", PARTS.replace("900 g", "90 g"))
    folder.write("features.csv", FEATURES + "BAR-1,height,length,600,maker,\n")
    finding = only(folder, "parts.csv", 3, "mass", WARNING)
    assert "BAR-1" in finding.message and finding.value == "90 g"


@pytest.mark.parametrize("value", ["360 ±500", "0 ±900", "..", "350..900"])
def test_limits_that_reach_below_nothing_are_no_accident(folder: Folder, value: str) -> None:
    folder.write("features.csv", FEATURES + f"BAR-1,height,length,{value},maker,\n")
    assert set(folder.load().catalogue.parts) == GOOD


def test_dimensions_of_a_feature_that_is_said_not_to_be_there(folder: Folder) -> None:
    folder.write("features.csv", FEATURES + "BAR-1,slot,width,3 mm,measured,\n")
    finding = only(folder, "features.csv", 5, "value", WARNING)
    assert "BAR-1" in finding.message and "slot" in finding.message
    slot = folder.load().catalogue.parts["BAR-1"].features["slot"]
    assert slot.presence is Presence.UNKNOWN


# ---------------------------------------------------------------- stock and enquiries


@pytest.mark.parametrize("mass", ["0", "-2 kg", "light", "1,200 g"])
def test_an_enquiry_whose_mass_limit_cannot_be_read_is_left_out(folder: Folder, mass: str) -> None:
    folder.write("enquiries.csv", f'number,have,max_mass\nE1,FORK-1,\nE2,BAR-1,"{mass}"\n')
    only(folder, "enquiries.csv", 3, "max_mass")
    loaded = folder.load()
    assert [e.number for e in loaded.catalogue.enquiries] == ["E1"]
    assert "left out" in next(f.message for f in loaded.findings if f.column == "max_mass")


@pytest.mark.parametrize("have", ["FORK-1 BAR-1", "FORK-1;BAR-1", "FORK-1, BAR-1", "FORK-1,BAR-1;"])
def test_stock_numbers_that_are_owned_may_stand_between_commas(folder: Folder, have: str) -> None:
    folder.write("enquiries.csv", f'number,have\nE1,"{have}"\n')
    (enquiry,) = folder.load().catalogue.enquiries
    assert enquiry.have == ("FORK-1", "BAR-1")


@pytest.mark.parametrize("quantity", ["-3", "x", "1.5", "", "inf", "1e9", "9999999999", "٣", "²"])
def test_a_bad_quantity_is_left_out(folder: Folder, quantity: str) -> None:
    folder.write("stock.csv", STOCK + f"BAR-2,{quantity}\n")
    only(folder, "stock.csv", 4, "quantity")
    parts = folder.load().catalogue.parts
    assert (parts["FORK-1"].stock, parts["BAR-2"].stock) == (2, 0)


@pytest.mark.parametrize(
    ("row", "column", "severity", "kept"),
    [
        ("E2,GHOST-1,,,", "have", ERROR, 1),
        ("E2,BAR-1,soon,,", "date", WARNING, 2),
        ("E2,BAR-1,2026-02-30,,", "date", WARNING, 2),
        # Without the limit that nobody can read, it would count as served whatever it costs.
        ("E2,BAR-1,,-9.00,", "budget", ERROR, 1),
        ("E2,BAR-1,,about 90,", "budget", ERROR, 1),
        ("E2,BAR-1,,,nan", "count", WARNING, 2),
        ("E2,BAR-1,,,-1", "count", WARNING, 2),
        ("E2,BAR-1,,,inf", "count", WARNING, 2),
    ],
)
def test_a_bad_enquiry_is_told(
    folder: Folder, row: str, column: str, severity: str, kept: int
) -> None:
    folder.write("enquiries.csv", f"number,have,date,budget,count\nE1,FORK-1,,,\n{row}\n")
    only(folder, "enquiries.csv", 3, column, severity)
    enquiries = folder.load().catalogue.enquiries
    assert len(enquiries) == kept
    assert all(e.weight == 1.0 and math.isfinite(e.weight) for e in enquiries)


# ---------------------------------------------------------------- files


def test_semicolons_and_decimal_commas(folder: Folder) -> None:
    for name, text in (("parts.csv", PARTS), ("features.csv", FEATURES), ("stock.csv", STOCK)):
        folder.write(name, text.replace(",", ";").replace(".", ","))
    assert folder.findings() == []
    parts = folder.load().catalogue.parts
    assert parts["BAR-1"].price == 9000
    bore = parts["BAR-1"].features["bore"].lengths["diameter"]
    assert (bore.lo, bore.hi) == (pytest.approx(28.65), pytest.approx(28.75))


@pytest.mark.parametrize(
    "change",
    [
        lambda text: b"\xef\xbb\xbf" + text.encode(),
        lambda text: text.replace("\n", "\r\n").encode(),
        lambda text: text.replace("\n", "\r").encode(),
        lambda text: ("\n\n" + text + "\n,,,\n   \n").encode(),
        lambda text: text.replace(",", "\t").encode(),
        lambda text: text.rstrip("\n").encode(),
        lambda text: "\n".join(
            line.upper() if n == 0 else line for n, line in enumerate(text.split("\n"))
        ).encode(),
    ],
    ids=["BOM", "CRLF", "CR", "blank lines", "tabs", "no last newline", "capitals"],
)
def test_harmless_habits_of_spreadsheets(folder: Folder, change) -> None:
    for name, text in (("parts.csv", PARTS), ("features.csv", FEATURES)):
        folder.write(name, change(text))
    assert folder.findings() == []
    assert set(folder.load().catalogue.parts) == GOOD


def test_a_column_that_is_missing_or_strange(folder: Folder) -> None:
    folder.write("parts.csv", PARTS.replace("price", "cost"))
    strange, missing = folder.findings()
    told(strange, "parts.csv", 1, "cost", WARNING)
    told(missing, "parts.csv", None, "price", WARNING)
    assert {p.price for p in folder.load().catalogue.parts.values()} == {None}


@pytest.mark.parametrize("column", ["sku", "feature", "dimension", "value"])
def test_features_without_a_needed_column_leave_all_unknown(folder: Folder, column: str) -> None:
    folder.write("features.csv", FEATURES.replace(column, "stranger", 1))
    finding = only(folder, "features.csv", 1, column)
    assert "every dimension is unknown" in finding.message
    bore = folder.load().catalogue.parts["BAR-1"].features["bore"].lengths["diameter"]
    assert not bore.known


@pytest.mark.parametrize(
    ("name", "says"),
    [("features.csv", "every dimension is unknown"), ("stock.csv", "nothing counts as in stock")],
)
def test_a_table_that_may_be_missing_or_empty(folder: Folder, name: str, says: str) -> None:
    folder.write(name, "")
    assert says in only(folder, name, None, "").message
    (folder.path / name).unlink()
    assert says in only(folder, name, None, "", WARNING).message
    (folder.path / name).mkdir()
    assert says in only(folder, name, None, "").message


def test_a_line_of_five_megabytes_is_left_out(folder: Folder) -> None:
    monster = "X-1,bar," + "a" * 5_000_000 + ",,9.00,9 g,,\n"
    folder.write("parts.csv", PARTS + monster + "X-2,bar,,,9.00,9 g,,\n")
    finding = only(folder, "parts.csv", 6, "")
    assert "5,000,0" in finding.message
    assert "X-2" in folder.load().catalogue.parts


@pytest.mark.parametrize("bad", [b"X-1,bar,caf\xe9,,9.00,9 g,,", b"X-1,b\0ar,,,9.00,9 g,,"])
def test_bytes_that_are_no_text_cost_their_line(folder: Folder, bad: bytes) -> None:
    folder.write("parts.csv", PARTS.encode() + bad + b"\nX-2,bar,,,9.00,9 g,,\n")
    finding = only(folder, "parts.csv", 6, "")
    assert "UTF-8" in finding.remedy
    assert finding.value.isprintable()
    assert "X-2" in folder.load().catalogue.parts


@pytest.mark.parametrize(
    "bad",
    ['X-1,bar,"half,,9.00,9 g,,', 'X-1,bar,half,,9.00,9 g,,"half', '"X-1,bar,half,,9.00,9 g,,'],
)
@pytest.mark.parametrize("at", [1, 3, 5])
@pytest.mark.parametrize("quoted", [False, True])
def test_an_unbalanced_quote_costs_its_line_only(
    folder: Folder, bad: str, at: int, quoted: bool
) -> None:
    """Also where a later row has quotes of its own, which could pair with the stray one."""
    lines = PARTS.rstrip("\n").replace("Bar two", '"Bar, two"' if quoted else "Bar two").split("\n")
    folder.write("parts.csv", "\n".join([*lines[:at], bad, *lines[at:]]) + "\n")
    finding = only(folder, "parts.csv", at + 1, "")
    assert "quotation mark" in finding.message
    assert set(folder.load().catalogue.parts) == GOOD


def test_a_note_over_two_lines_is_kept_with_a_warning(folder: Folder) -> None:
    folder.write("parts.csv", PARTS + 'X-1,bar,,,9.00,9 g,,"first\nsecond"\n')
    only(folder, "parts.csv", 6, "", WARNING)
    assert "second" in folder.load().catalogue.parts["X-1"].note


def test_many_faults_of_one_kind_are_counted(folder: Folder) -> None:
    rows = "".join(f"X-{n},bar,,,-1,9 g,,\n" for n in range(250))
    folder.write("parts.csv", PARTS + rows)
    findings = folder.findings()
    assert len(findings) == 101
    told(findings[-1], "parts.csv", None, "price", ERROR)
    assert "150 more" in findings[-1].message
    assert len(folder.load().catalogue.parts) == len(GOOD) + 250


# ---------------------------------------------------------------- where nothing can go on


def test_no_folder(tmp_path: Path) -> None:
    for place in (tmp_path / "nowhere", tmp_path / "file"):
        (tmp_path / "file").write_text("x")
        with pytest.raises(CatalogueError, match="is no folder"):
            load(place)


def test_no_vocabulary(folder: Folder) -> None:
    (folder.path / "vocabulary.toml").unlink()
    (finding,) = folder.error()
    told(finding, "vocabulary.toml", None, "", ERROR)


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"[[roles", "no valid TOML"),
        (b"a = 1\na = 2\n", "no valid TOML"),
        (b"# caf\xe9\n", "cannot be read"),
        (b"", "names no role"),
    ],
)
def test_a_vocabulary_that_cannot_be_read(folder: Folder, content: bytes, says: str) -> None:
    folder.write("vocabulary.toml", content)
    (finding,) = folder.error()
    assert finding.file == "vocabulary.toml"
    assert says in finding.message and finding.remedy


def test_all_faults_of_a_vocabulary_are_told_at_once(folder: Folder) -> None:
    folder.write(
        "vocabulary.toml",
        VOCABULARY
        + b"""
[[joints]]
id = "first"
rule = "magnetism"
bore = "bar.bore.diameter"

[[joints]]
id = "second"
rule = "clearance"
bore = "trombone.bore.diameter"
spigot = "fork.top.girth"
least = "a bit"
most = "0.3 mm"

[[joints]]
id = "third"
rule = "clearance"
bore = "bar.bore.diameter"
spigot = "fork.top.diameter"
least = "0.4 mm"
most = "0.3 mm"

[[joints]]
id = "fourth"
rule = "equal"
one = "bar.bore.diameter"
other = "fork.anchor.thread"
when = ["not bar.horn", "kettle"]

[services.polish]
role = "trumpet"
""",
    )
    findings = folder.error()
    assert {f.file for f in findings} == {"vocabulary.toml"}
    places = [f.column for f in findings]
    assert places == [
        "joints.first.rule",
        "joints.second.bore",
        "joints.second.spigot",
        "joints.second.least",
        "joints.third",
        "joints.fourth.one",
        "joints.fourth.when",
        "joints.fourth.when",
        "services.polish.role",
    ]
    assert all(f.message and f.remedy for f in findings)
    assert "clearance" in findings[0].remedy


#: Entries of the demo's vocabulary, spoilt: where, what stands there, and what instead.
ODD_VALUES = [
    ("limits.measured", b'measured = "0.03 mm"', b'measured = "-0.03 mm"'),
    ("trade.minor_digits", b"minor_digits = 2", b'minor_digits = "two"'),
    ("trade.minor_digits", b"minor_digits = 2", b"minor_digits = -1"),
    ("hold.demand_nm", b"demand_nm = 50", b"demand_nm = -50"),
    ("services.cut-slot.minutes", b"minutes = 25", b'minutes = "long"'),
    ("services.cut-slot.price", b'price = "15.00"', b'price = "-15.00"'),
    ("services.cut-slot.price", b'price = "15.00"', b'price = "1e9999999"'),
    ("services.trim-slot.removes", b'removes = ["slot"]', b"removes = 3"),
    ("roles.pegs.fill", b'fill = "extra"', b'fill = "sometimes"'),
    ("services.cut-slot.when", b'when = ["not bar.slot"]', b'when = "not bar.slot"'),
]


@pytest.mark.parametrize(("where", "old", "new"), ODD_VALUES)
def test_odd_values_in_a_vocabulary(folder: Folder, where: str, old: bytes, new: bytes) -> None:
    assert old in VOCABULARY
    folder.write("vocabulary.toml", VOCABULARY.replace(old, new, 1))
    findings = folder.error()
    assert {f.file for f in findings} == {"vocabulary.toml"}
    assert [f.column for f in findings].count(where) == 1
    assert all(f.message and f.remedy for f in findings)


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "is empty"),
        (b"\n \n\n", "is empty"),
        (b"sku,role\n", "no usable row"),
        (PARTS.replace("sku", "number").encode(), "has no column 'sku'"),
        (PARTS.replace("role", "kind").encode(), "has no column 'role'"),
        (PARTS.replace("name", "sku").encode(), "stands twice"),
        (PARTS.encode("utf-16"), "UTF-16"),
        (bytes(range(128, 256)) * 4, "no line that can be read"),
        (b"sku,role\nX-1,wheelbarrow\n", "no usable row"),
    ],
)
def test_no_usable_part(folder: Folder, content: bytes, says: str) -> None:
    folder.write("parts.csv", content)
    findings = folder.error()
    assert {f.file for f in findings} == {"parts.csv"}
    assert any(says in f.message for f in findings)
    assert all(f.remedy for f in findings)


def test_no_parts_table(folder: Folder) -> None:
    (folder.path / "parts.csv").unlink()
    (finding,) = folder.error()
    told(finding, "parts.csv", None, "", ERROR)


def test_two_ways_to_write_a_letter_are_one(folder: Folder) -> None:
    """Unicode's canonical equivalence (UAX #15): é as one sign and as two."""
    apart, whole = (unicodedata.normalize(form, "BAR-É") for form in ("NFD", "NFC"))
    assert apart != whole
    folder.write("parts.csv", PARTS.replace("BAR-1", apart))
    folder.write("features.csv", FEATURES.replace("BAR-1", whole))
    folder.write("stock.csv", STOCK.replace("BAR-1", apart))
    folder.write("enquiries.csv", f"number,have\nE1,{whole}\n")
    loaded = folder.load()
    assert not [f for f in loaded.findings if "BAR-" in f.value]
    part = loaded.catalogue.parts[whole]
    assert part.stock == 1 and part.features["bore"].lengths["diameter"].known
    for typed in (apart, whole, apart.lower()):
        assert find_part(loaded.catalogue, typed) is part


# ---------------------------------------------------------------- anything at all


@settings(
    deadline=None,
    max_examples=turns(150),
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(
    name=st.sampled_from(["parts.csv", "features.csv", "stock.csv", "enquiries.csv"]),
    spoilt=st.one_of(
        st.binary(max_size=200),
        st.text(alphabet='FORKBAR-1,;"\n\r\t.?±=', max_size=200).map(str.encode),
    ),
    at=st.integers(0, 200),
)
def test_whatever_stands_in_a_table_is_read_or_told(
    folder: Folder, name: str, spoilt: bytes, at: int
) -> None:
    """No other error than the one that says what to mend, whatever the bytes."""
    texts = {
        "parts.csv": PARTS,
        "features.csv": FEATURES,
        "stock.csv": STOCK,
        "enquiries.csv": ENQUIRIES,
    }
    for file, text in texts.items():
        folder.write(file, text)
    data = texts[name].encode()
    folder.write(name, data[:at] + spoilt + data[at:])
    try:
        findings = folder.load().findings
    except CatalogueError as error:
        findings = error.findings
    assert all(f.file and f.message and f.remedy and str(f).isprintable() for f in findings)


def test_a_blank_count_is_told_with_one_remedy_and_a_role_with_its_article(tmp_path: Path) -> None:
    folder = tmp_path / "shop"
    shutil.copytree(shipped_folder("data") / "hoses", folder)
    stock = (folder / "stock.csv").read_text().splitlines()
    sku = stock[1].split(",")[0]
    (folder / "stock.csv").write_text("\n".join([stock[0], f"{sku},,wall", *stock[2:]]) + "\n")
    with (folder / "features.csv").open("a") as file:
        file.write(f"{sku},horn,length,20,maker,\n")
    told = [str(finding) for finding in load(folder).findings]
    ends = "so the row was left out. Write a whole number, 0 or more."
    assert any(t.endswith(ends) for t in told)
    assert sum(t.count("rite a whole number") for t in told) == 1
    assert any("is no feature of an outlet" in t for t in told)
