"""Read one plain table, keep every row that can be used, and report the rest."""

from __future__ import annotations

import codecs
import contextlib
import csv
from collections.abc import Callable, Iterator, Mapping, Sequence
from operator import itemgetter
from pathlib import Path

from fitgraph.catalogue.findings import WARNING, CatalogueError, Finding, Notes, RowTally, shorten
from fitgraph.files import SpecialFileError, require_plain
from fitgraph.plain import composed, plain
from fitgraph.records import dataclass

#: A longer line is taken for damage, not for data.
LONGEST_LINE = 100_000

#: A quoted cell that runs over more lines was never closed.
MOST_LINES = 40

#: No table that people edit has more columns, and no file more bytes.
MOST_COLUMNS, MOST_BYTES = 256, 1 << 30

#: Words that stand at the head of a row of sums.
TOTALS = frozenset(
    (
        *("total", "totals", "sum", "sums", "subtotal", "gesamt", "summe", "insgesamt"),
        *("zwischensumme", "totale", "totaal", "somme", "suma", "razem", "totalt", "yhteensä"),
        *("összesen", "celkem"),
    )
)

#: So many endings of rows are remembered; a shop's half a million figures are a few hundred.
_REMEMBERED = 1 << 14

#: Letters that may stay in a cell though no screen shows them.
_SPACES = "\n\t\u00a0\u2007\u2009\u202f"

#: Signs beside letters that shops write.
_WESTERN = frozenset("€£°±µ½¼¾×–—’“”²³´")

#: A cell that begins like this was guarded by us, or by others, against being run.
_GUARDED = tuple(f"'{sign}" for sign in ("=", "+", "-", "@", "＝", "＋", "－", "＠"))


@dataclass(slots=True)  # frozen ones take three times as long to make
class Row:
    """One row of a table.

    Parameters
    ----------
    number : int
        Its line number, from 1.
    head : str
        Its first cell.
    tail : tuple of str
        The cells behind it. Rows that are equal there share one tuple.
    at : mapping of str to int
        The place of each column.
    """

    number: int
    head: str
    tail: tuple[str, ...]
    at: Mapping[str, int]

    def __getitem__(self, column: str) -> str:
        place = self.at.get(column, -1)
        if place > 0:
            return self.tail[place - 1] if place <= len(self.tail) else ""
        return "" if place else self.head

    @property
    def whole(self) -> bool:
        """Whether it has a cell for every column."""
        return len(self.tail) + 1 >= len(self.at)


@dataclass(slots=True)
class Run:
    """Rows that stand below one another and have the same first cell.

    Parameters
    ----------
    number : int
        The line number of the first; the others follow without a gap.
    head : str
        Their first cell.
    tails : list of tuple of str
        The cells behind it, of each row.
    """

    number: int
    head: str
    tails: list[tuple[str, ...]]


@dataclass(frozen=True, slots=True)
class TableRead:
    """A table; it is read while it is walked, once.

    Parameters
    ----------
    file : str
        Its name.
    columns : tuple of str
        The header.
    runs : iterator of Run
        The usable rows, those of one first cell together.
    tally : RowTally
        Where the rows went; the reader of a row says so.
    """

    file: str
    columns: tuple[str, ...]
    runs: Iterator[Run]
    tally: RowTally

    @property
    def rows(self) -> Iterator[Row]:
        """Walk the usable rows one by one."""
        places = {column: place for place, column in enumerate(self.columns)}
        for run in self.runs:
            for number, tail in enumerate(run.tails, start=run.number):
                yield Row(number, run.head, tail, places)


def picking(columns: Sequence[str], names: Sequence[str]) -> Callable[[Row], tuple[str, ...]]:
    """Return what picks the cells of some columns out of a row, in that order."""
    places = [columns.index(name) - 1 if name in columns else -2 for name in names]
    if min(places) < -1 or -1 in places[1:] or len(places) < 3:
        return lambda row: tuple([row[name] for name in names])
    most, picked = max(places), itemgetter(*places[1:])

    def pick(row: Row) -> tuple[str, ...]:
        if places[0] == -1 and len(row.tail) > most:
            return row.head, *picked(row.tail)
        return tuple([row[name] for name in names])

    return pick


def no_table(file: str) -> TableRead:
    """Return a table without rows."""
    return TableRead(file, (), iter(()), RowTally(file))


def is_total(text: str) -> bool:
    """Say whether a cell is the head of a row of sums.

    Examples
    --------
    >>> is_total("Grand total:"), is_total("Summe"), is_total("T-71")
    (True, True, False)
    """
    words = text.casefold().strip(" :*=").split()
    return bool(words) and words[-1] in TOTALS and len(words) <= 2


def _stop(
    code: str, file: str, message: str, remedy: str, row: int | None = None
) -> CatalogueError:
    return CatalogueError([Finding(file, row, "", "", message, remedy, code=code)])


def read_bytes(path: Path, folder: Path) -> bytes:
    """Return what a file of a catalogue holds.

    Parameters
    ----------
    path : Path
        The file.
    folder : Path
        The catalogue; a link that leads out of it is refused.

    Raises
    ------
    CatalogueError
        If it is no plain file, lies elsewhere, is too large, or cannot be read.
    """
    file = path.name
    try:
        if not path.resolve().is_relative_to(folder.resolve()):
            raise _stop(
                "link-out", file, "is a link that leads out of the folder", "Copy the file here"
            )
        if require_plain(path).st_size > MOST_BYTES:
            raise _stop(
                "too-large", file, f"has more than {MOST_BYTES:,} bytes", "Divide the catalogue"
            )
        return path.read_bytes()
    except SpecialFileError:
        raise _stop(
            "no-file", file, "is a pipe or a device, no file", "Put a plain file in its place"
        ) from None
    except (OSError, RuntimeError) as error:
        reason = getattr(error, "strerror", None) or "its links go round in a circle"
        raise _stop("unreadable", file, f"cannot be read ({reason})", "Check the file") from None


def _could_be_western(raw: bytes) -> bool:
    """Say whether bytes that are no UTF-8 read well as Windows' western letters."""
    try:
        text = raw.decode("cp1252")
    except UnicodeDecodeError:
        return False
    return all(c.isalnum() or c.isspace() or c.isascii() or c in _WESTERN for c in text)


@dataclass(frozen=True, slots=True)
class Lines:
    """Lines that are text, and the number of each."""

    texts: Sequence[str]
    numbers: Sequence[int]


def _cleaned(text: str, file: str, number: int, notes: Notes) -> str:
    cleaned = plain(text, keep=_SPACES)
    if cleaned != text:
        notes.add(
            "unseen-letters",
            file,
            number,
            "",
            text,
            "holds letters that cannot be seen; each counts as a space",
            "Type the row again without them",
            WARNING,
        )
    return cleaned


def _lines(data: bytes, file: str, notes: Notes, tally: RowTally) -> Lines:
    """Return the lines that are text; tell of the others."""
    data = data.removeprefix(codecs.BOM_UTF8)
    whole = None
    if b"\0" not in data:
        with contextlib.suppress(UnicodeDecodeError):
            whole = composed(data.decode("utf-8")).replace("\r\n", "\n").replace("\r", "\n")
    if whole is not None:
        texts = whole.removesuffix("\n").split("\n")
        letters = LONGEST_LINE if whole.isascii() else LONGEST_LINE // 4
        if max(map(len, texts)) <= letters:
            if not whole.replace("\n", "").isprintable():
                for at, text in enumerate(texts):
                    if not text.isprintable():
                        texts[at] = _cleaned(text, file, at + 1, notes)
            return Lines(texts, range(1, len(texts) + 1))
    good: list[str] = []
    numbers: list[int] = []
    for number, raw in enumerate(data.splitlines(), start=1):
        if len(raw) > LONGEST_LINE:
            _aside(tally, number)
            notes.add(
                "line-too-long",
                file,
                number,
                "",
                raw[:80].decode("utf-8", "replace"),
                f"is a line of {len(raw):,} bytes and was left out",
                f"Cut it into rows of at most {LONGEST_LINE:,} bytes",
            )
            continue
        line: str | None = None
        with contextlib.suppress(UnicodeDecodeError):
            line = composed(raw.decode("utf-8"))
        if line is None or "\0" in line:
            _aside(tally, number)
            remedy = "Save the table as CSV in UTF-8"
            if line is None and _could_be_western(raw):
                remedy += "; `fitgraph import` reads it as it is (it looks like Windows-1252)"
            notes.add(
                "not-utf8",
                file,
                number,
                "",
                raw.decode("utf-8", "replace"),
                "holds bytes that are no UTF-8 text and was left out",
                remedy,
            )
            continue
        good.append(line if line.isprintable() else _cleaned(line, file, number, notes))
        numbers.append(number)
    return Lines(good, numbers)


def _aside(tally: RowTally, number: int) -> None:
    tally.read += 1
    tally.aside.append(number)


def _delimiter(header: str) -> str:
    # Spreadsheets with a decimal comma write semicolons.
    return max(",;\t", key=header.count)


class _Feed:
    """Lines for one row; notes whether the row asked for more than there may be."""

    def __init__(self, lines: Sequence[str], at: int) -> None:
        self.lines, self.at = lines, at
        self.last = min(at + MOST_LINES, len(lines))
        self.ran_out = False

    def __iter__(self) -> _Feed:
        return self

    def __next__(self) -> str:
        if self.at == self.last:
            self.ran_out = True
            raise StopIteration
        self.at += 1
        return self.lines[self.at - 1] + "\n"


def _row_at(
    lines: Sequence[str], at: int, delimiter: str, width: int
) -> tuple[list[str] | None, int, str]:
    """Return the cells of the row that begins at a line, its number of lines, and what is wrong.

    A quotation mark that is never closed would swallow the rows behind it; such a
    row is given up alone (None), and reading goes on at the next line.
    """
    feed = _Feed(lines, at)
    try:
        cells = [c.replace("\n", " ") for c in next(csv.reader(feed, delimiter=delimiter))]
    except csv.Error as error:
        return None, 1, f"cannot be read as CSV ({error})"
    taken = feed.at - at
    inside = lines[at + 1 : feed.at]
    if (
        feed.ran_out
        or (taken > 1 and len(cells) > width)
        or any(text.count(delimiter) >= width - 1 > 0 for text in inside)  # a whole row in a cell
    ):
        return None, 1, "has a quotation mark that is not closed"
    return cells, taken, ""


def _header(
    number: int,
    header: str,
    file: str,
    required: Sequence[str],
    optional: Sequence[str],
    notes: Notes,
) -> tuple[list[str], str]:
    """Return the names of the columns and what stands between them."""
    wanted = ",".join((*required, *optional))
    delimiter = _delimiter(header)
    csv.field_size_limit(LONGEST_LINE)
    try:
        columns = [c.strip().lower() for c in next(csv.reader([header], delimiter=delimiter))]
    except csv.Error as error:
        raise _stop(
            "no-header",
            file,
            f"has a header that cannot be read ({error})",
            f"Write {wanted}",
            number,
        ) from None
    if len(columns) > MOST_COLUMNS:
        raise _stop(
            "too-wide",
            file,
            f"has {len(columns):,} columns where a table has at most {MOST_COLUMNS}",
            f"Keep those that are used: {wanted}",
            number,
        )
    missing = [c for c in required if c not in columns]
    if missing:
        raise CatalogueError(
            [
                Finding(
                    file,
                    number,
                    column,
                    shorten(header),
                    f"has no column {column!r}",
                    f"Add the column; the header is {wanted}",
                    code="no-column",
                )
                for column in missing
            ]
        )
    known = {*required, *optional}
    for column in columns:
        if column not in known:
            notes.add(
                "unused-column",
                file,
                number,
                shorten(column),
                "",
                "is a column that is not used",
                f"Use one of {', '.join((*required, *optional))}, or leave it",
                WARNING,
            )
        if column in known and columns.count(column) > 1:
            raise CatalogueError(
                [
                    Finding(
                        file,
                        number,
                        column,
                        "",
                        "stands twice in the header",
                        "Keep one",
                        code="column-twice",
                    )
                ]
            )
    return columns, delimiter


def _runs(
    lines: Lines,
    first: int,
    columns: Sequence[str],
    delimiter: str,
    file: str,
    notes: Notes,
    tally: RowTally,
    cut: bool,
) -> Iterator[Run]:
    """Yield the rows that have a cell for each column at most; tell of the others.

    Most rows of a large table end like one before them, so what stands behind the first cell is
    taken apart once and then looked up.
    """
    width = len(columns)
    texts, numbers, blank = lines.texts, lines.numbers, f"{delimiter} "
    at, shortest, end = first, width, len(texts)
    known: dict[str, tuple[str, ...]] = {}
    while at < end:
        number, text = numbers[at], texts[at]
        head, _, rest = text.partition(delimiter)
        tail = known.get(rest)
        # Cells that begin like this are not always what stands between two separators.
        plain_head = "" if head[:1] == "'" or '"' in head else head.strip()
        if tail is not None and plain_head:
            tails, begins, cut_at = [tail], head + delimiter, len(head) + 1
            at += 1
            even = at - numbers[at - 1]
            while at < end:
                text = texts[at]
                tail = known.get(text[cut_at:]) if text.startswith(begins) else None
                if tail is None or at + 1 - numbers[at] != even:
                    break
                tails.append(tail)
                at += 1
            tally.read += len(tails)
            yield Run(number, plain_head, tails)
            continue
        cells: list[str] | None
        if '"' not in text:
            cells, taken, fault = text.split(delimiter), 1, ""
        else:
            cells, taken, fault = _row_at(texts, at, delimiter, width)
        at += taken
        if cells is None:
            _aside(tally, number)
            notes.add(
                "open-quote",
                file,
                number,
                "",
                text,
                f"{fault} and was left out",
                "Check its quotation marks: each needs a partner",
            )
            continue
        if not text.strip(blank) and not any(cell.strip() for cell in cells):
            continue
        if taken > 1:
            notes.add(
                "row-over-lines",
                file,
                number,
                "",
                cells[0],
                f"runs over {taken} lines",
                "Close the quotation mark, or keep a row on one line",
                WARNING,
            )
        if len(cells) > width:
            _aside(tally, number)
            notes.add(
                "row-too-wide",
                file,
                number,
                "",
                delimiter.join(cells),
                f"has {len(cells)} cells where the header has {width} and was left out",
                f"Put cells that hold a {delimiter!r} in double quotes",
            )
            continue
        if cut and at == end and len(cells) < shortest and end > first + 1:
            _aside(tally, number)
            notes.add(
                "cut-off",
                file,
                number,
                "",
                delimiter.join(cells),
                "is where the file ends, inside the row, so the row was left out",
                "Get the whole file again, or finish the row and end its line",
            )
            continue
        if len(cells) < shortest:
            shortest = len(cells)
        if "'" in text:
            cells = [c[1:] if c.startswith(_GUARDED) else c for c in cells]
        tally.read += 1
        tail = tuple(map(str.strip, cells[1:]))
        if plain_head and taken == 1 and len(cells) == width and len(known) < _REMEMBERED:
            known[rest] = tail
        yield Run(number, cells[0].strip(), [tail])


def read_table(
    path: Path, required: Sequence[str], optional: Sequence[str], notes: Notes
) -> TableRead:
    """Return the usable rows of a CSV file.

    Parameters
    ----------
    path : Path
        The file; comma, semicolon or tab separated, in UTF-8. A link may not lead out of its
        folder.
    required, optional : sequence of str
        Column names; an unknown column is reported and passed over.
    notes : Notes
        Is added to, also while the rows are walked.

    Raises
    ------
    CatalogueError
        If it cannot be read, there is no header, or a required column is missing.
    """
    file = path.name
    data = read_bytes(path, path.parent)
    if data[:2] in (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE):
        raise _stop("utf16", file, "is saved in UTF-16", "Save the table as CSV in UTF-8")
    tally = RowTally(file)
    lines = _lines(data, file, notes, tally)
    first = next((n for n, text in enumerate(lines.texts) if text.strip()), None)
    if first is None:
        raise _stop(
            "empty",
            file,
            "has no line that can be read" if tally.read else "is empty",
            f"Give it a header line: {','.join((*required, *optional))}",
        )
    number, header = lines.numbers[first], lines.texts[first]
    if tally.aside and tally.aside[0] < number:
        spoilt = next(f for f in notes.findings if (f.file, f.row) == (file, tally.aside[0]))
        raise _stop(
            spoilt.code,
            file,
            "has a header that cannot be read: it "
            + spoilt.message.removesuffix(" and was left out"),
            spoilt.remedy,
            spoilt.row,
        )
    columns, delimiter = _header(number, header, file, required, optional, notes)
    cut = not data.endswith((b"\n", b"\r"))
    runs = _runs(lines, first + 1, columns, delimiter, file, notes, tally, cut)
    return TableRead(file, tuple(columns), runs, tally)
