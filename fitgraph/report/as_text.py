"""Reports for a terminal, by rich; no text counts as markup or as a terminal's command."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import IO, TYPE_CHECKING

from fitgraph.draw.style import WORDS
from fitgraph.plain import plain
from fitgraph.report.blocks import Block, Items, Picture, Report, Say, Tone
from fitgraph.report.tables import Table

if TYPE_CHECKING:
    from rich.console import Console, RenderableType
    from rich.text import Text

#: Columns where the output is no terminal.
PLAIN_WIDTH = 100

#: Columns that figures take before the joined ones begin, roughly.
_BESIDE = 44

#: On less room a table of more than so many columns is told row by row, as sentences.
_NARROW, _FEW = 60, 3

#: Texts of so many letters are not broken.
_SHORT = 12

#: To so many letters the others are cut before short texts are, then figures, then the key.
_LEAST = (6, 6, 4, 2)

_STYLES = {
    Tone.LOUD: "bold",
    Tone.PLAIN: "",
    Tone.QUIET: "dim",
    Tone.STATUS: "",
    Tone.FAULT: "bold",
}


def styled(text: str, style: str = "") -> Text:
    """Return text as it stands for the terminal: neither markup nor escapes count."""
    from rich.text import Text

    return Text(plain(text), style=style)


def console(file: IO[str], width: int | None = None, *, terminal: bool | None = None) -> Console:
    """Return a console that takes text as it is."""
    from rich.console import Console

    return Console(
        file=file,
        width=width,
        highlight=False,
        markup=False,
        emoji=False,
        force_terminal=terminal,
        force_jupyter=False,  # in a notebook it would show the text and leave the file empty
    )


def _fitting(table: Table, width: int) -> Table:
    """Return a table whose marked columns are one where room is short."""
    rows, heads = table.shown(), [c.heading for c in table.columns]
    wide = sum(
        max(len(heads[n]), *(len(row[n]) for row in rows), 0) + 2
        for n, c in enumerate(table.columns)
        if c.joined
    )
    return table if _BESIDE + wide <= width else table.folded()


def _fitted(cells: list[list[str]], kept: list[list[bool]], room: int) -> list[int]:
    """Return how wide each column of a clipped table is: the longest texts give way first.

    The first of some ways to say which columns are kept whole is taken that leaves the others
    room to be read.
    """
    wide = [max(map(len, column), default=0) for column in cells]
    fitted = wide
    for n, whole in enumerate((*kept, [False] * len(wide))):
        for most in range(max(wide, default=0), _LEAST[n] - 1, -1):
            fitted = [n if k else min(n, most) for n, k in zip(wide, whole, strict=True)]
            if sum(fitted) + 2 * (len(fitted) - 1) <= room:
                return fitted
    return fitted


def table_lines(table: Table, width: int) -> RenderableType:
    """Return a table; figures stand to the right and are never broken, texts fold."""
    from rich.padding import Padding
    from rich.table import Table as Grid

    table = _fitting(table, width)
    heads, rows = [(c.heading, c.unit.figures) for c in table.columns], table.shown()
    if width < _NARROW and table.headed and len(heads) > _FEW:
        told = (
            ", ".join(f"{head} {cell}".strip() for (head, _), cell in zip(heads, row, strict=True))
            for row in rows
        )
        return Padding(styled("\n".join(told)), (0, 0, 0, 2))
    grid = Grid(
        box=None,
        pad_edge=False,
        padding=(0, 2, 0, 0),
        header_style="dim",
        show_header=table.headed,
    )
    columns = [[row[n] for row in rows] for n in range(len(heads))]
    stiff = [
        figures or (not table.headed and n == 0) or all(len(t) <= _SHORT for t in columns[n])
        for n, (_, figures) in enumerate(heads)
    ]
    fitted: list[int] | list[None] = [None] * len(heads)
    if table.clipped:
        cells = [[head, *column] for (head, _), column in zip(heads, columns, strict=True)]
        key = [n == 0 for n in range(len(heads))]
        and_figures = [figures or n == 0 for n, (_, figures) in enumerate(heads)]
        fitted = _fitted(cells, [stiff, and_figures, key], width - 2)
    for n, (head, figures) in enumerate(heads):
        grid.add_column(
            styled(head),
            justify="right" if figures else "left",
            width=fitted[n],
            no_wrap=table.clipped or (stiff[n] and width >= PLAIN_WIDTH),
            overflow="ellipsis" if table.clipped else "fold",
        )
    for row in rows:
        grid.add_row(*map(styled, row))
    return Padding(grid, (0, 0, 0, 2))


def _said(say: Say) -> RenderableType:
    from rich.padding import Padding

    sign = "" if say.verdict is None else f"{WORDS[say.verdict]}: "
    style = _STYLES[say.tone]
    text = styled(sign, style) + styled(say.lead, "bold") + styled(say.text, style)
    if say.aside:
        text = text + styled(f"  ({say.aside})", "dim")
    return Padding(text, (0, 0, 0, 2 * say.deep)) if say.deep else text


def _block(block: Block, width: int) -> Iterator[RenderableType]:
    from rich.padding import Padding

    if isinstance(block, Table):
        if block.title:
            yield styled(block.title, "dim")
        yield table_lines(block, width)
    elif isinstance(block, Say):
        yield _said(block)
    elif isinstance(block, Items):
        for n, say in enumerate(block.says, start=1):
            number = f"{n}. " if block.numbered and say.deep <= 1 else ""
            yield _said(replace(say, text=f"{number}{say.text}", deep=max(say.deep, 1)))
    elif isinstance(block, Picture):
        if not block.text:
            return
        yield Padding(styled(block.text), (0, 0, 0, 2))
    else:
        yield ""
        if block.title:
            title = styled(block.heading, "bold" if block.loud else "dim")
            yield title + styled(f"  ({block.aside})", "dim") if block.aside else title
        for inner in block.blocks:
            yield from _block(inner, width)


def lines(report: Report, width: int = PLAIN_WIDTH) -> list[RenderableType]:
    """Return a report as pieces that rich prints.

    Parameters
    ----------
    report : Report
        The report.
    width : int
        Columns there are.
    """
    from rich.padding import Padding

    pieces: list[RenderableType] = []
    if report.headline:
        pieces.append(styled(report.headline, "bold"))
    for block in report.blocks:
        pieces += _block(block, width)
    for caution in report.cautions:
        pieces += ["", Padding(styled(caution, "italic"), (0, 0, 0, 2))]
    return pieces


def text(report: Report, width: int = PLAIN_WIDTH) -> str:
    """Return a report as plain lines without blanks at their ends.

    Examples
    --------
    >>> print(text(Report("Fits.", (Say("By 0.02 mm.", deep=1),), ("Mind your fingers.",))))
    Fits.
      By 0.02 mm.
    <BLANKLINE>
      Mind your fingers.
    """
    import io

    file = io.StringIO()
    console(file, width, terminal=False).print(*lines(report, width), sep="\n")
    return "\n".join(line.rstrip() for line in file.getvalue().splitlines())


def screenful(whole: str, most: int = 40) -> str:
    """Return the first lines of a text, and how many follow.

    Examples
    --------
    >>> print(screenful("one\\ntwo\\nthree\\nfour", 3))
    one
    two
    ... 2 more lines: print(answer)
    """
    every = whole.splitlines()
    if len(every) <= most:
        return whole
    left = len(every) - most + 1
    return "\n".join([*every[: most - 1], f"... {left} more lines: print(answer)"])
