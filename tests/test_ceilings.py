"""What would hang or fill memory ends in words, and no row is lost.

None of these is timed; each would run for minutes, or for ever, if it were read as it stands.
"""

from __future__ import annotations

import csv
import os
import socket
import tempfile
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import fitgraph
from fitgraph.catalogue import CatalogueError, load
from fitgraph.catalogue.findings import ERROR, WARNING, LostRowError, Notes, RowTally
from fitgraph.catalogue.table_reader import read_table
from tests.test_bad_input import ENQUIRIES, FEATURES, GOOD, PARTS, STOCK, VOCABULARY, Folder, only


@pytest.fixture
def folder(tmp_path: Path) -> Folder:
    return Folder(tmp_path)


@pytest.mark.parametrize("name", ["vocabulary.toml", "parts.csv"])
@pytest.mark.parametrize("kind", ["pipe", "device", "socket", "out", "circle", "folder"])
def test_what_is_no_plain_file_here_stops(folder: Folder, name: str, kind: str) -> None:
    file = folder.path / name
    file.unlink()
    if kind == "pipe":
        os.mkfifo(file)
    elif kind == "device":
        file.symlink_to("/dev/zero")
    elif kind == "socket":
        with socket.socket(socket.AF_UNIX) as opened:
            here = os.getcwd()
            os.chdir(folder.path)
            opened.bind(name)
            os.chdir(here)
    elif kind == "out":
        file.symlink_to("/etc/passwd")
    elif kind == "circle":
        file.symlink_to(file)
    else:
        file.mkdir()
    (finding,) = folder.error()
    assert finding.file == name and finding.remedy
    assert "root:" not in str(finding)


@pytest.mark.parametrize("name", ["features.csv", "stock.csv", "enquiries.csv", "supply.csv"])
def test_a_pipe_in_place_of_another_table_costs_that_table(folder: Folder, name: str) -> None:
    (folder.path / name).unlink(missing_ok=True)
    os.mkfifo(folder.path / name)
    assert "no file" in only(folder, name, None, "").message


def test_a_link_inside_the_folder_is_followed(folder: Folder) -> None:
    (folder.path / "parts.csv").rename(folder.path / "mine.csv")
    (folder.path / "parts.csv").symlink_to("mine.csv")
    assert folder.findings() == []


@pytest.mark.parametrize(
    "content",
    [
        b"a = " + b"[" * 100_000 + b"]" * 100_000,
        b"a = " + b"{b=" * 5_000 + b"1" + b"}" * 5_000,
        b"a." * 50_000 + b"b = 1",
        b"[" + b"a." * 50_000 + b"b]",
        b"a = " + b"9" * 5_000,
        b"a = 0x" + b"f" * 5_000_000,
        b'a = """' + b"x" * 9_000_000 + b'"""',
        VOCABULARY + b"\n[roles.fork.features.top.dimensions]\n",
    ],
    ids=["lists", "tables", "dots", "header", "digits", "hex", "too large", "twice"],
)
def test_a_vocabulary_that_nests_or_runs_too_far_stops(folder: Folder, content: bytes) -> None:
    folder.write("vocabulary.toml", content)
    findings = folder.error()
    assert {f.file for f in findings} == {"vocabulary.toml"}
    assert all(f.message and f.remedy and len(str(f)) < 1000 for f in findings)


def test_a_title_of_two_megabytes_stops(folder: Folder) -> None:
    title = b'title = "' + b"x" * 2_000_000 + b'"\n'
    folder.write("vocabulary.toml", VOCABULARY.replace(b'title = "fork"\n', title, 1))
    (finding,) = folder.error()
    assert finding.column == "roles.fork.title" and "2,000,000" in finding.message


@pytest.mark.parametrize(
    ("old", "new", "where"),
    [
        (b"[trade]\n", b"[trade]\ncurency = 'EUR'\n", "trade"),
        (b'currency = "EUR"', b"currency = 978", "trade.currency"),
        (b'currency = "EUR"', b'currency = "euro"', "trade.currency"),
        (b"worded = true", b'worded = "no"', "roles.deck.features.head.dimensions.angle.worded"),
        (b"by_material = true", b"by_material = 1", ""),
    ],
)
def test_typing_errors_and_wrong_types_are_told(
    folder: Folder, old: bytes, new: bytes, where: str
) -> None:
    assert old in VOCABULARY
    folder.write("vocabulary.toml", VOCABULARY.replace(old, new, 1))
    findings = folder.error()
    assert where in {f.column for f in findings} or (not where and findings)


def test_a_vocabulary_with_a_byte_order_mark_is_read(folder: Folder) -> None:
    folder.write("vocabulary.toml", b"\xef\xbb\xbf" + VOCABULARY)
    assert folder.findings() == []


def test_a_header_of_49_000_columns_stops(folder: Folder) -> None:
    for width, says in ((49_000, "bytes"), (9_000, "9,008 columns")):
        wide = ",".join(f"c{n}" for n in range(width))
        folder.write("parts.csv", PARTS.replace("note\n", f"note,{wide}\n", 1))
        finding = folder.error()[-1]
        assert says in finding.message and finding.row == 1


def test_very_many_bad_rows_are_counted(folder: Folder) -> None:
    head = "sku,supplier,pack,pack_price,lead_days,max_packs\n"
    folder.write("supply.csv", head + "GHOST,S,1,cheap,x,y\n" * 100_000)
    loaded = folder.load()
    assert 100 < len(loaded.findings) < 700
    tally = loaded.tallies["supply.csv"]
    assert (tally.read, tally.loaded, len(tally.aside)) == (100_000, 0, 100_000)
    assert any("99,900 more" in f.message for f in loaded.findings)


@pytest.mark.parametrize("bad", [b"X,\xff\n", b'X,"\n', b"X,1,2,3\n", b"GHOST,1\n", b"BAR-1,one\n"])
def test_many_rows_of_one_fault_are_told_a_hundred_times(folder: Folder, bad: bytes) -> None:
    folder.write("stock.csv", STOCK.encode() + bad * 3000)
    loaded = folder.load()
    assert len(loaded.findings) < 130
    tally = loaded.tallies["stock.csv"]
    assert (tally.read, tally.loaded, len(tally.aside)) == (3002, 2, 3000)


def test_a_name_of_3_000_letters_is_cut_and_told(folder: Folder) -> None:
    folder.write("parts.csv", PARTS + f"X-1,bar,{'x' * 3000},,9.00,9 g,,\n")
    finding = only(folder, "parts.csv", 6, "name", WARNING)
    assert "3,000" in finding.message
    assert len(folder.load().catalogue.parts["X-1"].name) == 501


def test_letters_that_cannot_be_seen_are_told_and_count_as_spaces(folder: Folder) -> None:
    folder.write("parts.csv", PARTS + "X-1,bar,evil\u202egnp\x1b[2J,,9.00,9 g,,\n")
    finding = only(folder, "parts.csv", 6, "", WARNING)
    assert finding.code == "unseen-letters"
    assert folder.load().catalogue.parts["X-1"].name == "evil gnp [2J"
    folder.write("parts.csv", PARTS)
    folder.write(
        "vocabulary.toml", VOCABULARY.replace(b'title = "fork"', "title = 'f\u202eork'".encode())
    )
    assert folder.load().catalogue.vocabulary.roles["fork"].title in ("f ork", "fork")


# ---------------------------------------------------------------- passed over before


@pytest.mark.parametrize("sku", ["-", "?", "n/a", "--", "…"])
def test_a_stock_number_that_says_there_is_none(folder: Folder, sku: str) -> None:
    folder.write("parts.csv", PARTS + f"{sku},bar,,,9.00,9 g,,\n")
    assert only(folder, "parts.csv", 6, "sku").code == "no-sku"


def test_stock_numbers_that_differ_in_capitals_only(folder: Folder) -> None:
    folder.write("parts.csv", PARTS + "bar-1,bar,,,9.00,9 g,,\n")
    finding = only(folder, "parts.csv", 6, "sku")
    assert "BAR-1 in row 3" in finding.message
    assert folder.load().catalogue.parts["BAR-1"].price == 9000


def test_rows_of_a_part_that_was_left_out_are_told(folder: Folder) -> None:
    folder.write("parts.csv", PARTS + "X-1,wheelbarrow,,,9.00,9 g,,\n")
    folder.write("features.csv", FEATURES + "X-1,bore,diameter,28,,\nX-1,slot,,no,,\n")
    folder.write("stock.csv", STOCK + "X-1,3\n")
    loaded = folder.load()
    codes = [(f.file, f.code) for f in folder.findings()]
    assert codes.count(("features.csv", "part-left-out")) == 1
    assert codes.count(("stock.csv", "part-left-out")) == 1
    assert "2 rows" in next(f.message for f in loaded.findings if f.file == "features.csv")
    assert {n: len(t.aside) for n, t in loaded.tallies.items()} == {
        "parts.csv": 1,
        "features.csv": 2,
        "stock.csv": 1,
        "enquiries.csv": 0,
    }


@pytest.mark.parametrize(
    "row", ["Total,,,,,,,301", "Summe:,,,,,,,301", ",,,,,,,301", "Grand total,,,,,,,"]
)
def test_a_row_of_sums_among_enquiries_is_left_out(folder: Folder, row: str) -> None:
    head = "number,have,date,budget,max_mass,material,style,count\n"
    rows = "E1,FORK-1,,,,,,300\nE2,BAR-1,,,,,,1\n"
    folder.write("enquiries.csv", f"{head}{rows}{row}\n")
    assert only(folder, "enquiries.csv", 4, "number", WARNING).code == "totals-row"
    assert len(folder.load().catalogue.enquiries) == 2


@pytest.mark.parametrize("row", [",,,90,,,,3", ",,2026-01-02,,,,,3", ",,,,4 kg,steel,,3"])
def test_an_enquiry_of_somebody_who_owns_nothing_is_no_row_of_sums(
    folder: Folder, row: str
) -> None:
    head = "number,have,date,budget,max_mass,material,style,count\n"
    folder.write("enquiries.csv", f"{head}E1,FORK-1,,,,,,3\n{row}\n")
    assert [e.weight for e in folder.load().catalogue.enquiries] == [3, 3]


@pytest.mark.parametrize("word", ["31,8", "plastik", "<b>steel</b>"])
def test_an_enquiry_for_a_material_that_nobody_knows_is_kept_and_told(
    folder: Folder, word: str
) -> None:
    folder.write("enquiries.csv", f'number,have,material\nE1,FORK-1,"{word}"\nE2,BAR-1,Steel\n')
    assert only(folder, "enquiries.csv", 2, "material", WARNING).code == "no-material"
    shop = fitgraph.open(folder.path)
    assert len(shop.catalogue.enquiries) == 2
    assert [one.number for one in shop.coverage().found.left_out] == ["E1"]


@pytest.mark.parametrize("count", ["1,000", "1_000", "1e308", "1.000", "many", "2000000"])
def test_a_count_of_enquiries_that_is_no_number_counts_once(folder: Folder, count: str) -> None:
    folder.write("enquiries.csv", f'number,have,count\nE1,FORK-1,"{count}"\n')
    only(folder, "enquiries.csv", 2, "count", WARNING)
    assert folder.load().catalogue.enquiries[0].weight == 1


@pytest.mark.parametrize(
    ("file", "row", "column"),
    [
        ("features.csv", "BAR-2,bore,diameter,8,5 h9,", "basis"),
        ("features.csv", "BAR-2,bore,diameter,28,7,", "basis"),
        ("parts.csv", "X-1,bar,name,maker,6,50", "mass"),
        ("parts.csv", "X-1,bar,name,maker,6,50,900 g,note", "mass"),
        ("parts.csv", "X-1,bar,name,maker,6,50,900 g,steel-4130,note", ""),
        ("enquiries.csv", "E2,BAR-1,,140,50,,,", "max_mass"),
    ],
)
def test_a_decimal_comma_without_quotes_costs_the_row(
    folder: Folder, file: str, row: str, column: str
) -> None:
    enquiries = "number,have,date,budget,max_mass,material,style,count\nE1,FORK-1,,,,,,\n"
    folder.write("enquiries.csv", enquiries)
    text = {"features.csv": FEATURES, "parts.csv": PARTS, "enquiries.csv": enquiries}[file]
    folder.write(file, f"{text}{row}\n")
    finding = only(folder, file, text.count("\n") + 1, column)
    assert "quotes" in finding.remedy
    assert len(folder.load().tallies[file].aside) == 1


@pytest.mark.parametrize("end", ["8.10..8.1", "8.10..8", "8.10..", "8.10", "", ","])
def test_a_file_that_ends_inside_a_row_loses_that_row_and_says_so(folder: Folder, end: str) -> None:
    folder.write("features.csv", FEATURES + f"BAR-2,bore,diameter,{end}")
    finding = only(folder, "features.csv", 8, "")
    assert finding.code == "cut-off"
    bore = folder.load().catalogue.parts["BAR-2"].features["bore"]
    assert not bore.lengths["diameter"].known


def test_text_of_an_older_windows_is_offered_to_import(folder: Folder) -> None:
    folder.write("parts.csv", PARTS.encode() + "X-1,bar,Größe ½,,9.00,9 g,,\n".encode("cp1252"))
    assert "fitgraph import" in only(folder, "parts.csv", 6, "").remedy


@pytest.mark.parametrize("price", ["(6.50)", "7.00-", "50%", "7.00 per pair", "£7.00", "1k", "99p"])
def test_prices_that_are_no_price_in_this_shop(folder: Folder, price: str) -> None:
    folder.write("parts.csv", PARTS + f"X-1,bar,,,{price},9 g,,\n")
    only(folder, "parts.csv", 6, "price")
    assert folder.load().catalogue.parts["X-1"].price is None


def test_every_row_is_loaded_or_set_aside(folder: Folder) -> None:
    folder.write("enquiries.csv", ENQUIRIES + "E2,GHOST\n\nE3,BAR-1\n")
    loaded = folder.load()
    assert set(loaded.catalogue.parts) == GOOD
    for tally in loaded.tallies.values():
        assert tally.read == tally.loaded + len(tally.aside)
    assert loaded.tallies["enquiries.csv"].aside == [3]
    with pytest.raises(LostRowError):
        RowTally("x.csv", 2, 1).check()


def test_the_cells_that_we_guard_are_read_as_they_were(folder: Folder) -> None:
    folder.write("parts.csv", PARTS + "X-1,bar,'=1+1,'@me,9.00,9 g,,'tis\n")
    part = folder.load().catalogue.parts["X-1"]
    assert (part.name, part.maker, part.note) == ("=1+1", "@me", "'tis")
    with pytest.raises(CatalogueError):
        load(folder.path / "parts.csv")
    assert ERROR != WARNING


@pytest.mark.parametrize("row", ["BAR-2", "BAR-2,", "BAR-2,bore", "BAR-2,bore,diameter"])
def test_a_row_of_figures_that_is_too_short_is_no_fault_of_ours(folder: Folder, row: str) -> None:
    for text in (f"{FEATURES}{row}\n", f"{FEATURES.splitlines()[0]}\n{row}", f"{FEATURES}{row}"):
        folder.write("features.csv", text)
        bar = folder.load().catalogue.parts["BAR-2"]
        assert not bar.features["bore"].lengths["diameter"].known


CELLS = st.sampled_from(["", "a", " a ", "28,6", 'say "h9"', "'=1", "x" * 9, "ø"])
LAST = st.one_of(CELLS, st.just("two\nlines"))  # before others it could be a row cut in two


@given(st.lists(st.tuples(CELLS, CELLS, LAST), max_size=12), st.sampled_from(",;\t"))
def test_rows_that_end_alike_are_read_as_the_csv_module_reads_them(
    rows: list[tuple[str, ...]], delimiter: str
) -> None:
    """The ends of rows are remembered; nothing may come out that does not stand there."""
    with tempfile.TemporaryDirectory() as place:
        path = Path(place) / "t.csv"
        with path.open("w", newline="", encoding="utf-8") as file:
            writer = csv.writer(file, delimiter=delimiter, lineterminator="\n")
            writer.writerow(["sku", "b", "c"])
            writer.writerows(rows)
        table = read_table(path, ("sku", "b"), ("c",), Notes())
        found = [(row["sku"], row["b"], row["c"]) for row in table.rows]
    plain = [[c.strip().replace("\n", " ") for c in row] for row in rows]
    guarded = [[c.removeprefix("'") if c.startswith("'=") else c for c in row] for row in plain]
    assert found == [tuple(row) for row in guarded if any(row)]
    assert table.tally.read == len(found) and not table.tally.aside
