"""Tables that open further on demand, and the pieces that stand in them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from html import escape

#: Rows shown at once; the others open on demand.
MOST_ROWS = 10

#: Joints, parts and steps named at once.
MOST_NAMES = 3


def long_table(
    caption: str,
    heads: Sequence[tuple[str, bool]],
    rows: Sequence[Sequence[str]],
    most: int = MOST_ROWS,
    broad: Mapping[str, int] | None = None,
) -> str:
    """Return a table; rows beyond so many open on demand.

    Parameters
    ----------
    caption : str
        What it shows, as plain text.
    heads : sequence of (str, bool)
        Headings, and whether a column holds figures.
    rows : sequence of sequence of str
        Cells as HTML; the first of each row is its heading.
    most : int
        Rows shown at once.
    broad : mapping of str to int, optional
        Headings of columns that hold sentences, and the share of the table's width that each
        asks for, in percent.
    """
    shares = {name: f' style="width:{share}%"' for name, share in (broad or {}).items()}

    head = "".join(
        f'<th scope="col"{_figure(figure)}{shares.get(name, "")}>{escape(name)}</th>'
        for name, figure in heads
    )
    body = []
    for first, *others in rows:
        cells = "".join(
            f'<td{_figure(figure)} data-head="{escape(name)}">{cell}</td>'
            for cell, (name, figure) in zip(others, heads[1:], strict=True)
        )
        body.append(f'<tr><th scope="row" class="fg-plain">{first}</th>{cells}</tr>')
    # The page folds what is beyond (fitgraph/lab/sorting.py), so that it sorts all of them.
    return (
        f'<div tabindex="0" class="fg-scroll"><table class="fg-rows" data-most="{most}">'
        f"<caption>{escape(caption)}</caption><thead><tr>{head}"
        f"</tr></thead><tbody>{''.join(body)}</tbody></table></div>"
    )


def _figure(figure: bool) -> str:
    return ' class="fg-figure"' if figure else ""
