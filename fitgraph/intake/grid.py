"""Tables in a sheet: where a header stands, where a table ends, which rows are sums."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import field, replace

from fitgraph.catalogue.table_reader import is_total
from fitgraph.intake.cell_texts import decimal_mark
from fitgraph.intake.list_words import words_for
from fitgraph.intake.sources import DATE, SourceSheet, letter
from fitgraph.records import dataclass
from fitgraph.units import LENGTH_WORDS, MASS_WORDS, MONEY_WORDS

#: Rows at the head of a table among which the header is looked for.
_HEAD = 30

#: Rows that a header may have, at most.
_HEADS = 4

#: What a row of units under a header may hold.
_COUNTS = words_for("counts")
_UNITS = LENGTH_WORDS | MASS_WORDS | MONEY_WORDS | {*_COUNTS["pieces"], *_COUNTS["short"]}

_NUMBER = re.compile(r"[^\w]*[0-9][0-9.,'\u00a0 ]*[^\d]{0,6}")


@dataclass(frozen=True, slots=True)
class Found:
    """A table in a sheet.

    Parameters
    ----------
    source : str
        The sheet it is in.
    header : tuple of str
        Names of its columns, each once; a column without a name is called by its letter.
    rows : tuple of (int, tuple of str)
        Number and cells of each row below the header.
    sums : tuple of int
        Numbers of the rows that hold sums.
    at : int
        Number of the header's row.
    short : bool
        Whether the header has fewer names than its rows have cells, so that one may be missing
        anywhere.
    under : tuple of int
        Numbers of the header's further rows, where it has more than one.
    broken : frozenset of int
        Numbers of the rows of its sheet that hold bytes which are no letters.
    """

    source: str
    header: tuple[str, ...]
    rows: tuple[tuple[int, tuple[str, ...]], ...]
    sums: tuple[int, ...]
    at: int
    short: bool = False
    under: tuple[int, ...] = ()
    broken: frozenset[int] = frozenset()
    _marks: dict[str, str] = field(default_factory=dict, init=False, repr=False, compare=False)

    def mark(self, name: str) -> str:
        """Return the decimal mark that a column's own numbers prove; it is looked for once."""
        found = self._marks.get(name)
        if found is None:
            found = self._marks[name] = decimal_mark(self.column(name))
        return found

    @property
    def numbers(self) -> set[int]:
        """Return the numbers of all rows that belong to it."""
        return {self.at, *self.under} | {number for number, _ in self.rows} | set(self.sums)

    def column(self, name: str) -> list[str]:
        """Return the cells of a column."""
        place = self.header.index(name)
        return [cells[place] if place < len(cells) else "" for _, cells in self.rows]


def _is_number(text: str) -> bool:
    return bool(_NUMBER.fullmatch(text.strip())) or text.startswith(DATE)


def _score(
    cells: Sequence[str], below: Sequence[Sequence[str]], known: Callable[[str], float]
) -> float:
    """Return how much a row looks like a header: names, each once, above other things."""
    texts = [c.strip() for c in cells if c.strip()]
    if len(texts) < 2:
        return 0.0
    names = [t for t in texts if not _is_number(t) and len(t) <= 60]
    once = {t.casefold(): t for t in names}
    distinct = len(once) / len(texts)
    widths = [sum(bool(c.strip()) for c in row) for row in below[:10]]
    filled = min(1.0, len(texts) / max(max(widths, default=1), 1))
    # A heading over several columns, written over each of them, is one name.
    known_names = sum(known(t) for t in once.values())
    return distinct * filled + known_names


def _names(cells: Sequence[str], width: int, begin: int = 0) -> tuple[str, ...]:
    names: list[str] = []
    for place in range(width):
        name = " ".join(cells[place].split()) if place < len(cells) else ""
        name = name[:80] or f"column {letter(begin + place)}"
        if name in names:
            name = f"{name} ({letter(begin + place)})"
        names.append(name)
    return tuple(names)


def tables(
    sheet: SourceSheet, known: Callable[[str], float], header: int | None = None
) -> list[Found]:
    """Return the tables of a sheet.

    Parameters
    ----------
    sheet : SourceSheet
        As read.
    known : callable
        How surely a text names a column, from 0 to 1.
    header : int, optional
        Number of the header's row, where a mapping says so.
    """
    blocks: list[list[tuple[int, list[str]]]] = []
    before = None
    for number, cells in sheet.rows:
        # Two blank rows end a table; one is a gap in it.
        if before is None or number - before > 2:
            blocks.append([])
        blocks[-1].append((number, cells))
        before = number
    found: list[Found] = []
    for block in blocks:
        rows = [cells for _, cells in block]
        if header is not None:
            at = next((n for n, (number, _) in enumerate(block) if number == header), None)
            if at is None:
                continue
            best = 1.0
        else:
            scores = [
                _score(rows[n], rows[n + 1 : n + 12], known) for n in range(min(_HEAD, len(rows)))
            ]
            best = max(scores)
            at = scores.index(best)
        if best < 0.7 or len(rows) - at < 2:
            if found and header is None:
                # A block without a header of its own goes on with the table above it.
                found[-1] = _joined(found[-1], block)
            continue
        head, under = _whole_head(block[at:])
        body = block[at + 1 + len(under) :]
        for begin, end in _beside(head, [cells for _, cells in body], known):
            part = [(number, cells[begin:end]) for number, cells in body]
            part = [(n, cells[: _width(cells)]) for n, cells in part if _width(cells)]
            names = head[begin:end]
            if not part:
                continue
            # A header may be short of names for columns that nearly every row has.
            usual = Counter(_width(cells) for _, cells in part).most_common(1)[0][0]
            width = max(_width(names), usual)
            table = _found(sheet, _names(names, width, begin), part, block[at][0])
            found.append(replace(table, short=_width(names) < usual, under=under))
    return found


def _width(cells: Sequence[str]) -> int:
    """Return how many cells there are, less blank ones at the end."""
    return next((n for n in range(len(cells), 0, -1) if cells[n - 1].strip()), 0)


def _whole_head(block: Sequence[tuple[int, list[str]]]) -> tuple[Sequence[str], tuple[int, ...]]:
    """Return the names of columns from all rows of a header, and the numbers of those below it."""
    rows = [cells for _, cells in block]
    head: Sequence[str] = rows[0]
    for at in range(1, min(_HEADS, len(rows) - 1)):
        if len(rows) > at + 1 and (united := _with_units(head, rows[at])):
            return united, tuple(number for number, _ in block[1 : at + 1])
        if not _goes_on(rows[at - 1], rows[at : at + 11]):
            return head, tuple(number for number, _ in block[1:at])
        head = _joined_heads(head, rows[at])
    return head, tuple(number for number, _ in block[1 : min(_HEADS, len(rows) - 1)])


def _with_units(head: Sequence[str], below: Sequence[str]) -> list[str]:
    """Return names of columns with the units that stand in a row under them; none where none do."""
    units = [c.strip().strip("[]()").strip() for c in below]
    told = [u for u in units if u and u not in "-–—/%"]
    if len(told) < 2 or not all(u.casefold().rstrip(".") in _UNITS for u in told):
        return []
    return [
        f"{name.strip()} ({units[place]})"
        if place < len(units) and units[place] in told and name.strip()
        else name
        for place, name in enumerate(head)
    ]


def _goes_on(head: Sequence[str], below: Sequence[Sequence[str]]) -> bool:
    """Say whether the row below a header names the columns under its joined cells."""
    if len(below) < 2:
        return False
    # A name that is joined over both rows may be told in both.
    second = [
        "" if place < len(head) and c.strip() == head[place].strip() else c.strip()
        for place, c in enumerate(below[0])
    ]
    under = [
        place
        for place, text in enumerate(second)
        if text and (place >= len(head) or not head[place].strip())
    ]
    texts = [text for text in second if text]
    first = next((c.strip() for c in head if c.strip()), "")
    return (
        bool(under)
        and not second[0]
        and bool(first)
        and 2 <= len(texts) < max(map(len, below[1:]))
        and all(len(text) <= 60 and not _is_number(text) for text in texts)
        # What stands below it is of another kind.
        and any(_is_number(row[place]) for row in below[1:] for place in under if place < len(row))
    )


def _joined_heads(head: Sequence[str], second: Sequence[str]) -> list[str]:
    """Return names of columns from two rows: what is said over several is said of each."""
    names, over = [], ""
    for place in range(max(len(head), len(second))):
        own = head[place].strip() if place < len(head) else ""
        more = second[place].strip() if place < len(second) else ""
        over = own or over
        names.append(f"{over} {more}".strip() if more and more != own else own)
    return names


def _beside(
    head: Sequence[str], body: Sequence[Sequence[str]], known: Callable[[str], float]
) -> list[tuple[int, int]]:
    """Return where the tables begin and end that stand beside one another."""
    width = max([len(head), *map(len, body)])

    def named(place: int) -> str:
        return " ".join(head[place].casefold().split()) if place < len(head) else ""

    starts = [0]
    for place in range(1, width):
        again = named(place) == named(starts[0]) != "" and known(head[place]) > 0
        more = [named(p) for p in range(place, len(head))]
        # The second one has at least two of the names that the first one has.
        if again and len(set(more) & {named(p) for p in range(place)} - {""}) >= 2:
            starts.append(place)
    return list(zip(starts, [*starts[1:], width], strict=True))


def _found(
    sheet: SourceSheet, names: tuple[str, ...], body: Sequence[tuple[int, list[str]]], at: int
) -> Found:
    kept, sums = [], []
    for number, cells in body:
        if is_total(next((c for c in cells if c.strip()), "")):
            sums.append(number)
        elif tuple(" ".join(c.split()) for c in cells)[: len(names)] == names[: len(cells)]:
            sums.append(number)  # the header again, at the head of a printed page
        else:
            kept.append((number, tuple(cells)))
    return Found(sheet.title, names, tuple(kept), tuple(sums), at, broken=sheet.broken)


def _joined(table: Found, block: Sequence[tuple[int, list[str]]]) -> Found:
    kept, sums = list(table.rows), list(table.sums)
    for number, cells in block:
        if is_total(next((c for c in cells if c.strip()), "")):
            sums.append(number)
        else:
            kept.append((number, tuple(cells)))
    return replace(table, rows=tuple(kept), sums=tuple(sums))
