"""Sheets of text out of files, databases and frames, whatever dress they come in."""

from __future__ import annotations

import codecs
import contextlib
import csv
import datetime
import decimal
import io
import re
import zipfile
import zlib
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from importlib import import_module
from pathlib import Path
from types import ModuleType
from typing import Any, NamedTuple

from fitgraph.errors import InputError
from fitgraph.files import SpecialFileError, require_plain
from fitgraph.intake.cell_formats import CellFormat, formatted
from fitgraph.intake.code_pages import CodePage, code_page
from fitgraph.intake.lost_values import LostValue, lost_values
from fitgraph.intake.unpacked import TooLargeError, check_unpacked, joined_over_rows
from fitgraph.plain import composed, plain
from fitgraph.records import dataclass

#: No source has more; each ends in a message.
MOST_BYTES = 1 << 30
MOST_ROWS, MOST_COLUMNS, LONGEST_CELL = 5_000_000, 256, 20_000

#: Rows from which the kind of a text file is told.
_SAMPLE = 300

_DELIMITERS = ",;\t|"
_WORKBOOKS = (".xlsx", ".xlsm", ".xls", ".ods")
_KEPT = "\n\t\u00a0\u2007\u2009\u202f"

#: A text that was kept from being taken for a formula or a number: '=x, '001 and ="001".
_GUARDED = re.compile(r"'([=+\-@\d＝＋－＠].*)|=\"([^\"=]*)\"", re.DOTALL)

#: From here a number of eight bytes no longer tells one whole number from the next (IEEE 754).
_EXACT = 2**53

#: Spreadsheets keep fifteen digits of what is typed and write noughts for the others; numbers
#: from here have more.
_FIFTEEN_DIGITS = 10**15

#: What marks a cell that a spreadsheet made a date of.
DATE = "date "


class SourceError(InputError):
    """A source that cannot be read; the message says why and how to mend it."""


class Remark(NamedTuple):
    """What is told of a sheet: a word for the kind of it, where, what stands there, how to mend it.

    Its entries are those of :class:`fitgraph.catalogue.findings.Finding`.
    """

    code: str
    row: int | None
    value: str
    message: str
    remedy: str


@dataclass(frozen=True, slots=True)
class SourceSheet:
    """One sheet, table or file, as text.

    Parameters
    ----------
    source : str
        Name of the file or database.
    name : str
        Of the sheet or table; empty where the source is one.
    rows : list of (int, list of str)
        Row number from 1, and its cells. A cell that a spreadsheet keeps as a date begins
        with :data:`DATE`.
    damaged : tuple of (int, str, str, tuple of str)
        Rows that could not be read: number, what stands there, why, and cells as far as they
        can be told apart.
    remarks : tuple of Remark
        What is told of it, though everything was read.
    broken : frozenset of int
        Numbers of the rows that hold bytes which are no letters of the file; each is shown as
        U+FFFD.
    """

    source: str
    name: str
    rows: list[tuple[int, list[str]]]
    damaged: tuple[tuple[int, str, str, tuple[str, ...]], ...] = ()
    remarks: tuple[Remark, ...] = ()
    broken: frozenset[int] = frozenset()

    @property
    def title(self) -> str:
        """Return how people call it."""
        return f"{self.source} ({self.name})" if self.name else self.source


def needed(module: str) -> ModuleType:
    """Return a library of the extra ``intake``.

    Raises
    ------
    SourceError
        If it is not installed.
    """
    try:
        return import_module(module)
    except ImportError:
        raise SourceError(
            f"{module} is not installed; get it with: pip install 'fitgraph[intake]'"
        ) from None


def cell_text(value: Any) -> str:
    """Return a value of a spreadsheet, a database or a frame as it means one thing only.

    Examples
    --------
    >>> cell_text(12.0), cell_text(9.525), cell_text(None), cell_text(datetime.date(2026, 8, 1))
    ('12', '9.5250', '', 'date 2026-08-01')
    >>> cell_text("'001"), cell_text('="002"')
    ('001', '002')
    >>> cell_text(1234567890123456.0), cell_text(12345678901234567.0)
    ('1234567890123456', '1.23456789012346E+16')
    """
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime.datetime | datetime.date | datetime.time):
        return f"{DATE}{str(value).removesuffix(' 00:00:00')}"
    if isinstance(value, decimal.Decimal):
        value = int(value) if value == value.to_integral_value() else float(value)
    if isinstance(value, float):
        if value != value:
            return ""
        if value.is_integer():  # with digits lost it looks as it does on a spreadsheet's screen
            return str(int(value)) if abs(value) < _EXACT else f"{value:.14E}"
        text = f"{round(value, 9):.9f}".rstrip("0") if abs(value) < 1e12 else repr(value)
        return f"{text}0" if re.fullmatch(r"-?[1-9]\d{0,2}\.\d{3}", text) else text
    if isinstance(value, bytes):
        value = value.decode("utf-8", "replace")
    text = composed(str(value))
    if text[:1] in ("'", "=") and (match := _GUARDED.fullmatch(text)):
        text = match[1] or match[2] or ""
    if len(text) > LONGEST_CELL:
        text = text[:LONGEST_CELL] + "…"
    return text if text.isprintable() else plain(text, keep=_KEPT)


def _rows(source: str, rows: Iterable[Sequence[Any]]) -> list[tuple[int, list[str]]]:
    found: list[tuple[int, list[str]]] = []
    for number, row in enumerate(rows, start=1):
        if number > MOST_ROWS:
            raise SourceError(f"{source} has more than {MOST_ROWS:,} rows; divide it")
        cells = [cell_text(v) for v in row]
        while cells and not cells[-1].strip():
            cells.pop()
        if len(cells) > MOST_COLUMNS:
            raise SourceError(
                f"{source}, row {number} has {len(cells):,} columns; {MOST_COLUMNS} is the most"
            )
        if cells:
            found.append((number, cells))
    return found


#: What stands for bytes that are no letter while a text is taken apart; no text can hold it.
_BROKEN = "\udcff"
codecs.register_error("fitgraph.broken", lambda error: (_BROKEN, error.end))  # type: ignore[attr-defined]


def _decoded(data: bytes, source: str) -> tuple[str, tuple[Remark, ...]]:
    """Return bytes as text (what a mark says, UTF-8, or what they look like) and what is told.

    Bytes that are no letter become :data:`_BROKEN`.
    """
    for mark, name in (
        (codecs.BOM_UTF8, "utf-8"),
        (codecs.BOM_UTF32_LE, "utf-32"),
        (codecs.BOM_UTF32_BE, "utf-32"),
        (codecs.BOM_UTF16_LE, "utf-16"),
        (codecs.BOM_UTF16_BE, "utf-16"),
    ):
        if data.startswith(mark):
            return data.decode("utf-8-sig" if name == "utf-8" else name, "fitgraph.broken"), ()
    head = data[:4000]
    if head.count(0) > len(head) // 4:
        name = "utf-16-le" if head[1::2].count(0) > head[::2].count(0) else "utf-16-be"
        return data.decode(name, "fitgraph.broken"), ()
    try:
        return data.decode("utf-8"), ()
    except UnicodeDecodeError:
        pass
    page = code_page(data)
    if page is None or not page.clean:
        text = data.decode("utf-8", "fitgraph.broken")
        # Letters of another page hardly ever make letters of UTF-8 by chance.
        if len(re.findall(rf"{_BROKEN}+", text)) <= len(re.findall(rf"[^\0-\x7f{_BROKEN}]+", text)):
            return text, ()
    if page is not None:
        # What Windows' western letters can be it nearly always is, in a shop's lists; of any other
        # page, and where another does as well, people should know.
        sure = page.codec in _USUAL and page.clean and not page.tied
        return data.decode(page.codec), () if sure else (_taken_for(page.title, page),)
    best = needed("charset_normalizer").from_bytes(data[:200_000]).best()
    if best is None:
        raise SourceError(f"{source} is no text that can be read; save it as CSV in UTF-8")
    return data.decode(best.encoding, "fitgraph.broken"), (_taken_for(best.encoding),)


#: Code pages that are not worth a word.
_USUAL = ("cp1252", "iso8859-15")


def _taken_for(title: str, page: CodePage | None = None) -> Remark:
    as_well = () if page is None else page.tied if page.codec in _USUAL else page.others
    others = f"; {' and '.join(as_well)} would read as well" if as_well else ""
    told = f"is not in UTF-8; its letters were taken for those of a code page ({title}){others}"
    remedy = "Look whether its words read right; if not, save it as CSV in UTF-8"
    return Remark("code-page", None, page.sample if page else "", told, remedy)


def _delimiter(lines: Sequence[str]) -> str:
    """Return what stands between cells: what is as frequent in one line as in the next."""
    best, scores = ",", {}
    for sign in _DELIMITERS:
        counts = Counter(_outside_quotes(line, sign) for line in lines if line.strip())
        counts.pop(0, None)
        if counts:
            times, lines_so = counts.most_common(1)[0]
            scores[sign] = (lines_so * min(times, 8), sum(counts.values()))
    if scores:
        best = max(scores, key=lambda sign: scores[sign])
        close = [s for s in scores if scores[s][0] * 1.2 >= scores[best][0]]
        if len(close) > 1:
            # Two signs as regular as one another: the types of the cells decide.
            sample = plain("\n".join(lines[:30])[:2000], keep="\n\t")
            sniffed = None
            with contextlib.suppress(needed("clevercsv").Error):
                sniffed = needed("clevercsv").Sniffer().sniff(sample)
            if sniffed is not None and sniffed.delimiter in close:
                best = sniffed.delimiter
    return best


def _outside_quotes(line: str, sign: str) -> int:
    return line.count(sign) if '"' not in line else re.sub(r'"[^"]*"', "", line).count(sign)


def _text_sheet(text: str, source: str) -> SourceSheet:
    text = text.replace("\r\n", "\n").replace("\r", "\n").removeprefix("\ufeff")
    lines = text.split("\n")
    if len(lines) > MOST_ROWS:
        raise SourceError(f"{source} has more than {MOST_ROWS:,} lines; divide it")
    damaged: list[tuple[int, str, str, tuple[str, ...]]] = []
    first = lines[0].strip().lower()
    skip = 0
    delimiter = ""
    broken = {at for at, line in enumerate(lines) if _BROKEN in line} if _BROKEN in text else set()
    for at in broken:
        lines[at] = re.sub(f"{_BROKEN}+", "\ufffd", lines[at])
    if re.fullmatch(r"sep=[,;\t|]", first):
        delimiter, skip = first[4], 1
    csv.field_size_limit(LONGEST_CELL)
    for at, line in enumerate(lines):
        if len(line) > 20 * LONGEST_CELL:
            damaged.append((at + 1, line[:80], f"is a line of {len(line):,} letters", ()))
            lines[at] = ""
    delimiter = delimiter or _delimiter(lines[skip : skip + _SAMPLE])
    rows: list[tuple[int, list[Any]]] = []
    opens = re.compile(rf'(?:^|{re.escape(delimiter)})"')
    at = skip
    while at < len(lines):
        line = lines[at]
        # A quotation mark inside a cell stands for itself: 1 1/8" steerer.
        if '"' not in line or not opens.search(line):
            rows.append((at + 1, line.split(delimiter)))
            at += 1
            continue
        taken, cells = _quoted(lines, at, delimiter)
        if cells is None:
            fault = "has a quotation mark that is not closed"
            damaged.append((at + 1, line[:80], fault, tuple(line.split(delimiter))))
        else:
            rows.append((at + 1, cells))
            if broken.intersection(range(at, at + taken)):
                broken.add(at)
        at += taken
    found = []
    for number, cells in rows:
        kept = _rows(source, [cells])
        if kept:
            found.append((number, kept[0][1]))
    return SourceSheet(source, "", found, tuple(damaged), broken=frozenset(at + 1 for at in broken))


def _quoted(lines: Sequence[str], at: int, delimiter: str) -> tuple[int, list[str] | None]:
    """Return how many lines a row with quotation marks takes, and its cells."""
    for taken in range(1, 21):
        piece = lines[at : at + taken]
        if sum(line.count('"') for line in piece) % 2 == 0:
            try:
                (cells,) = csv.reader(
                    io.StringIO("\n".join(piece), newline=""), delimiter=delimiter
                )
            except (csv.Error, ValueError):
                return 1, None
            return taken, cells
        if at + taken >= len(lines):
            break
    return 1, None


def _workbook(data: bytes, source: str) -> list[SourceSheet]:
    calamine = needed("python_calamine")
    joined: dict[str, list[tuple[tuple[int, int], tuple[int, int]]]] = {}
    lost: dict[str, list[LostValue]] = {}
    packed = zipfile.is_zipfile(io.BytesIO(data))
    if packed:
        try:
            check_unpacked(data)
            joined, lost = joined_over_rows(data), lost_values(data)
        except TooLargeError as error:
            raise SourceError(f"{source} {error}; save its sheets as CSV") from None
        # A RuntimeError tells of a password, or of a way of packing that is not known.
        except (zipfile.BadZipFile, zlib.error, ValueError, OSError, RuntimeError) as error:
            told = plain(str(error))[:80]
            raise SourceError(
                f"{source} is damaged or cannot be read ({told}); save it again as XLSX or CSV"
            ) from None
    try:
        book = calamine.CalamineWorkbook.from_filelike(io.BytesIO(data))
        seen = {
            s.name for s in book.sheets_metadata if s.visible == calamine.SheetVisibleEnum.Visible
        }
        sheets = []
        for name in (
            s.name for s in book.sheets_metadata if s.typ == calamine.SheetTypeEnum.WorkSheet
        ):
            sheet = book.get_sheet_by_name(name)
            if seen and name not in seen:
                sheets.append(SourceSheet(source, plain(name), [], (), (_HIDDEN,)))
                continue
            rows = sheet.to_python(skip_empty_area=False)
            for at, place, text in lost.get(name, ()):
                # Told like any other cell that cannot be read, and not taken for a blank one.
                if at < len(rows) and place < len(rows[at]) and rows[at][place] == "":
                    rows[at][place] = text
            remarks = _perhaps_rounded(rows)
            if packed:
                for at, place, how in formatted(data, name):
                    if at < len(rows) and place < len(rows[at]):
                        rows[at][place] = _as_formatted(rows[at][place], how)
            remarks += _fill_down(rows, sheet.merged_cell_ranges or joined.get(name, ()))
            read = _rows(f"{source} ({plain(name)})", rows)
            sheets.append(SourceSheet(source, plain(name), read, (), remarks))
    except SourceError:
        raise
    except Exception as error:  # the library has no one kind of error of its own
        raise SourceError(
            f"{source} is no workbook that can be read ({plain(str(error))[:80]}); "
            "save it again, or as CSV"
        ) from None
    return sheets


_HIDDEN = Remark(
    "hidden-sheet", None, "", "is a hidden sheet and was passed over", "Show it to have it read"
)


def _as_formatted(value: Any, how: CellFormat) -> Any:
    """Return a number as its cell shows it, with its unit or its zeros."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return value
    if how.beside:
        return f"{cell_text(value)} {how.beside}"
    return f"{int(value):0{how.digits}d}" if value == int(value) and value >= 0 else value


def _fill_down(
    rows: list[list[Any]], joined: Iterable[tuple[tuple[int, int], tuple[int, int]]]
) -> tuple[Remark, ...]:
    """Write what a cell over several rows holds into each of them; return what is told of it."""
    remarks = []
    for (top, left), (bottom, _) in joined:
        filled = top
        for at in range(top + 1, min(bottom + 1, len(rows))):
            if left < len(rows[at]) and left < len(rows[top]) and rows[at][left] == "":
                rows[at][left] = rows[top][left]
                filled = at
        if filled > top and (value := cell_text(rows[top][left])):
            told = f"stands over rows {top + 1} to {filled + 1} and counts for each of them"
            remedy = "Part the cell if it is meant once"
            remarks.append(Remark("joined-cells", top + 1, value, told, remedy))
    return tuple(remarks)


def _perhaps_rounded(rows: Sequence[Sequence[Any]]) -> tuple[Remark, ...]:
    """Return what is told of whole numbers whose last digits a spreadsheet may have lost."""
    found: dict[int, list[int]] = {}
    for at, row in enumerate(rows):
        for place, value in enumerate(row):
            if (
                isinstance(value, int | float)
                and _FIFTEEN_DIGITS <= abs(value) < _EXACT
                and value % 10 == 0
            ):
                found.setdefault(place, []).append(at)
    remarks = []
    for place, (first, *more) in found.items():
        value = cell_text(rows[first][place])
        others = f", and in {len(more):,} more rows of it" if len(more) > 1 else ""
        others = f", and in row {more[0] + 1} of it" if len(more) == 1 else others
        told = (
            f"stands as a number in the column {letter(place)}{others}; of more than 15 digits "
            "a spreadsheet may have made the last a 0"
        )
        remedy = "Compare it with the true one, and write it in a cell formatted as text"
        remarks.append(Remark("rounded", first + 1, value, told, remedy))
    return tuple(remarks)


def letter(place: int) -> str:
    """Return how a spreadsheet calls a column.

    Examples
    --------
    >>> letter(0), letter(27)
    ('A', 'AB')
    """
    name = ""
    place += 1
    while place:
        place, rest = divmod(place - 1, 26)
        name = chr(65 + rest) + name
    return name


def frame_sheet(frame: Any, name: str = "frame") -> SourceSheet:
    """Return a sheet of a data frame of any library that narwhals knows, or of Arrow.

    Raises
    ------
    SourceError
        If it is no frame.
    """
    narwhals = needed("narwhals")
    try:
        known = narwhals.from_native(frame, eager_only=True)
    except TypeError:
        raise SourceError(f"{name} is no data frame that can be read") from None
    columns = [
        map(_as_shown, series.to_list()) if str(series.dtype) in ("Float32", "Float16") else series
        for series in known.iter_columns()
    ]
    rows = [list(map(str, known.columns)), *map(list, zip(*columns, strict=True))]
    return SourceSheet(name, "", _rows(name, rows))


def _as_shown(value: float | None) -> float | None:
    """Return a number that was kept in four bytes as people wrote it: 34.9, not 34.900002."""
    return None if value is None else float(f"{value:.7g}")


def _parquet(held: Path | io.BytesIO, name: str) -> SourceSheet:
    parquet = needed("pyarrow.parquet")
    try:
        file = parquet.ParquetFile(held)
        if file.metadata.num_rows > MOST_ROWS:
            raise SourceError(f"{name} has more than {MOST_ROWS:,} rows; divide it")
        table = file.read()
    except SourceError:
        raise
    except Exception as error:
        raise SourceError(f"{name} is no Parquet file ({plain(str(error))[:80]})") from None
    kinds = needed("pyarrow.types")
    columns = [
        map(_as_shown, c.to_pylist())
        if kinds.is_float32(c.type) or kinds.is_float16(c.type)
        else c.to_pylist()
        for c in table.columns
    ]
    rows: Iterator[Sequence[Any]] = zip(*columns, strict=True)
    return SourceSheet(name, "", _rows(name, [table.column_names, *rows]))


def _database(url: str) -> list[SourceSheet]:
    """Return the tables of a database; nothing is written and nothing typed becomes SQL."""
    alchemy = needed("sqlalchemy")
    address, _, wanted = url.partition("#")
    shown = "the database"
    try:
        parsed = alchemy.make_url(address)
        shown = parsed.database or parsed.render_as_string(hide_password=True)
        options: dict[str, Any] = {}
        if parsed.get_backend_name() == "sqlite":
            file = Path(parsed.database or "")
            require_plain(file)
            parsed = alchemy.make_url(f"sqlite:///file:{file.resolve()}?mode=ro&uri=true")
            shown = file.name
        elif parsed.get_backend_name() == "postgresql":
            needed("psycopg")
            parsed = parsed.set(drivername="postgresql+psycopg")
            options["execution_options"] = {"postgresql_readonly": True}
        engine = alchemy.create_engine(parsed, **options)
        try:
            with engine.connect() as connection:
                look = alchemy.inspect(connection)
                names = [*sorted(look.get_table_names()), *sorted(look.get_view_names())]
                if wanted and wanted not in names:
                    raise SourceError(
                        f"{shown} has no table {wanted!r}; it has {', '.join(names) or 'none'}"
                    )
                sheets = []
                # A part that a view shows as well is taken from its table.
                for name in [wanted] if wanted else names:
                    table = alchemy.Table(name, alchemy.MetaData(), autoload_with=connection)
                    query = alchemy.select(table).limit(MOST_ROWS + 1)
                    found = connection.execution_options(stream_results=True).execute(query)
                    rows = [list(found.keys()), *map(tuple, found)]
                    sheets.append(SourceSheet(shown, name, _rows(f"{shown} ({name})", rows)))
        finally:
            engine.dispose()
    except SourceError:
        raise
    except OSError as error:
        raise SourceError(f"{shown} cannot be read: {error.strerror or error}") from None
    except Exception as error:  # whatever a driver raises ends in words
        told = plain(str(getattr(error, "orig", error)).strip().split("\n")[0])[:160]
        raise SourceError(
            f"{shown} cannot be read ({told}); write its address like sqlite:///stock.db#parts or "
            "postgresql://user@host/base#parts"
        ) from None
    return sheets


def read_source(source: str) -> list[SourceSheet]:
    """Return the sheets of a source.

    Parameters
    ----------
    source : str
        A file (CSV and its kin, XLSX, XLS, ODS, Parquet), or the address of a database as
        SQLAlchemy writes it, with ``#table`` behind it for one table.

    Raises
    ------
    SourceError
        If it cannot be read.
    """
    if re.match(r"[a-z0-9+]+://", source):
        return _database(source)
    path = Path(source)
    if path.is_dir():
        raise SourceError(f"{source} is a folder; name the files in it")
    try:
        size = require_plain(path).st_size
        if size > MOST_BYTES:
            raise SourceError(f"{path.name} has more than {MOST_BYTES:,} bytes; divide it")
        if path.suffix.lower() in (".parquet", ".pq"):
            return [_parquet(path, path.name)]
        data = path.read_bytes()
    except SpecialFileError:
        raise SourceError(f"{path.name} is a pipe or a device, no file") from None
    except OSError as error:
        raise SourceError(
            f"{source} cannot be read: {error.strerror}; check its name, and who may read it"
        ) from None
    return read_held(path.name, data)


def read_held(name: str, data: bytes) -> list[SourceSheet]:
    """Return the sheets of a file that is held in memory, as a page hands it over.

    Parameters
    ----------
    name : str
        Of the file; its end tells what it is.
    data : bytes
        What it holds.

    Raises
    ------
    SourceError
        If it cannot be read.
    """
    name = plain(Path(name).name)[:200] or "list"
    end = Path(name).suffix.lower()
    if end in (".parquet", ".pq"):
        return [_parquet(io.BytesIO(data), name)]
    if end in _WORKBOOKS or data[:4] in (b"PK\x03\x04", b"\xd0\xcf\x11\xe0"):
        return _workbook(data, name)
    if not data.strip():
        raise SourceError(f"{name} is empty; save the list again, with its rows")
    text, remarks = _decoded(data, name)
    return [replace(_text_sheet(text, name), remarks=remarks)]
