"""The frame of a sheet, its title block, what holds for the whole part, and the notes.

References
----------
.. [1] ISO 7200:2004: fields of a title block 180 mm wide; owner, number, date of issue, sheet,
   title, who approved, who made it and the kind of document have to be there.
.. [2] ISO 5457:1999: sizes and margins of sheets (looked up). ISO 5455:1979: scales.
.. [3] ISO 2768-1:1989: general tolerances of lengths and angles; its part 2 was withdrawn for
   ISO 22081:2021, which has no values of its own. ISO 8015:2011: each requirement by itself.
"""

from __future__ import annotations

from collections.abc import Iterator

from fitgraph.adapters.sheet import SpecSheet
from fitgraph.draw.drafting_items import (
    NORMAL,
    PAPER,
    SMALL,
    TINY,
    Item,
    Label,
    LineKind,
    Piece,
    Stroke,
    box,
    cut,
    placed,
    text_width,
    wrapped,
)
from fitgraph.draw.drafting_symbols import edge, general_texture, projection, texture
from fitgraph.mechanics.materials import MATERIALS
from fitgraph.units import show_mass
from fitgraph.wording import capital

#: Margins of the frame, and of its left side, where sheets are bound, in mm.
MARGIN, BINDING = 10.0, 20.0

#: The block's width, and the heights of its rows from below, in mm.
WIDE = 180.0
_ROWS = (9.0, 9.0, 9.0, 9.0, 13.0, 9.0)

#: The block's height in mm.
HIGH = sum(_ROWS)

#: A row of notes, in mm.
_NOTE = 3.9


def scale_text(scale: float) -> str:
    """Return a scale as drawings write it.

    Examples
    --------
    >>> scale_text(2.0), scale_text(0.5)
    ('2:1', '1:2')
    """
    return f"{scale:g}:1" if scale >= 1 else f"1:{1 / scale:g}"


def roughness_text(ra: float) -> str:
    """Return a roughness as a texture symbol has it.

    Examples
    --------
    >>> roughness_text(1.6)
    'Ra 1.6'
    """
    return f"Ra {ra:g}"


def one_texture(sheet: SpecSheet) -> bool:
    """Return whether all faces of a part are to be equally smooth."""
    work = sheet.make.work
    asked = {work.roughness_outside, work.roughness_rest}
    if sheet.shape.bore is not None:
        asked.add(work.roughness_bore)
    return len(asked) == 1


def frame() -> list[Piece]:
    """Return the sheet's frame."""
    return box(BINDING, MARGIN, PAPER[0] - MARGIN, PAPER[1] - MARGIN, LineKind.OUTLINE)


class _Block:
    """Fills cells of a block, each with a small caption and a text."""

    def __init__(self) -> None:
        self.right, self.low = PAPER[0] - MARGIN, MARGIN
        self.left = self.right - WIDE
        self.pieces: list[Piece] = box(
            self.left, self.low, self.right, self.low + HIGH, LineKind.OUTLINE
        )

    def row(self, n: int, widths: tuple[float, ...]) -> Iterator[tuple[float, float, float]]:
        """Rule a row, counted from below, and yield each cell's x, y and width."""
        y, x = self.low + sum(_ROWS[:n]), self.left
        top = y + _ROWS[n]
        if n:
            # What the standard's block has is set off from what is added above.
            line = LineKind.OUTLINE if n == 3 else LineKind.THIN
            self.pieces.append(Stroke(self.left, y, self.right, y, line))
        for k, wide in enumerate(widths):
            if k:
                self.pieces.append(Stroke(x, y, x, top, LineKind.THIN))
            yield x, y, wide
            x += wide

    def cell(
        self, n: int, at: tuple[float, float, float], name: str, text: str, height: float = 3.0
    ) -> None:
        """Write a caption and a text, smaller or cut where it is long."""
        x, y, wide = at
        room = wide - 2.5
        self.pieces.append(Label(name, x + 1.5, y + _ROWS[n] - 2.6, TINY))
        if not text:
            return
        # No more than what a cell could hold is measured.
        needed = text_width(text[:500], 1.0)
        height = max(min(height, 0.999 * room / needed), SMALL) if needed else SMALL
        self.pieces.append(Label(cut(text, height, room), x + 1.5, y + 1.9, height))

    def put(self, pieces: list[Piece], x: float, y: float) -> None:
        """Draw a symbol with its origin at a place."""
        self.pieces += placed(pieces, x, y)


def _signed(mm: float) -> str:
    return f"{mm:+g}".replace("-", "−")


def title_block(sheet: SpecSheet, scale: float) -> list[Item]:
    """Return the title block of ISO 7200, and above it what holds for the whole part.

    Owner, approval and date are left blank, for whoever releases the drawing.
    """
    block, make, work = _Block(), sheet.make, sheet.make.work
    maker = next((w for w in sheet.worth.candidate.words.values() if w), None)
    title = sheet.part.name + (f", for {maker}" if maker else "")
    material = MATERIALS[make.material]
    made_of = material.designation or f"{material.title} (grade to be agreed)"
    if material.standards:
        made_of = f"{made_of}, {material.standards}"

    owner, titled = block.row(2, (60.0, 120.0))
    block.cell(2, owner, "Legal owner", "")
    block.cell(2, titled, "Title", title, NORMAL)
    approved, number, issued = block.row(1, (60.0, 84.0, 36.0))
    block.cell(1, approved, "Approved by", "")
    block.cell(1, number, "Drawing number", sheet.part.sku)
    block.cell(1, issued, "Date of issue", "")
    created, kind, status, page = block.row(0, (60.0, 42.0, 60.0, 18.0))
    block.cell(0, created, "Created by", "fitgraph")
    block.cell(0, kind, "Document type", "part drawing")
    block.cell(0, status, "Document status", "proposal, not released")
    block.cell(0, page, "Sheet", "1 / 1")

    bar, process = block.row(5, (110.0, 70.0))
    block.cell(5, bar, "Material", made_of)
    block.cell(5, process, "Made by", make.process)
    general, independent, smooth, edges = block.row(4, (43.0, 33.0, 52.0, 52.0))
    block.cell(4, general, "General tolerances", f"ISO 2768-1:1989-{work.tolerances}")
    block.cell(4, independent, "Tolerancing", "ISO 8015:2011")
    block.cell(4, smooth, "Surface texture, ISO 21920-1:2021", "")
    rest = roughness_text(work.roughness_rest)
    symbol = texture(rest, SMALL) if one_texture(sheet) else general_texture(rest)
    block.put(symbol, smooth[0] + 10.0, smooth[1] + 1.0)
    block.cell(4, edges, "Edges, ISO 13715:2017", "")
    block.put(edge(_signed(-work.edges), outside=True), edges[0] + 9.0, edges[1] + 4.2)
    block.put(edge(_signed(work.edges), outside=False), edges[0] + 33.0, edges[1] + 4.2)
    finish, mass, sized, angle = block.row(3, (86.0, 24.0, 24.0, 46.0))
    block.cell(3, finish, "Finish", work.finish or "as machined")
    block.cell(3, mass, "Mass", show_mass(sheet.part.mass_g or 0.0))
    block.cell(3, sized, "Scale", scale_text(scale))
    block.cell(3, angle, "Projection", "")
    block.put(projection(), angle[0] + 26.5, angle[1] + 4.5)
    return list(block.pieces)


def note_texts(sheet: SpecSheet) -> list[str]:
    """Return what a drawing has to say in words, each to be set in two lines at most."""
    make, shape, work = sheet.make, sheet.shape, sheet.make.work
    texts = [
        "Proposal from a catalogue's figures: measure the counterparts and try one first.",
        "Dimensions in mm; they hold after finishing and deburring.",
    ]
    if any(s.klass for s in sheet.sizes):
        texts.append("E in a circle: envelope requirement, ISO 14405-1:2016.")
    if shape.slot is not None:
        texts.append(
            "ISO 10579-NR. F in a circle: free state, axis upright, nothing held, slot relaxed."
        )
        if work.coaxiality and shape.bore is not None:
            texts.append(
                f"Restrained, for coaxiality: on a mandrel Ø{round(shape.bore.lo, 3):g} h6, the "
                "slot drawn onto it by hand."
            )
        texts.append("Slot along the whole length, faces parallel to the axis.")
    if work.deburring:
        texts.append(f"{capital(work.deburring)}".rstrip(".") + ".")
    if shape.bore is not None:
        texts.append(f"Wall at the worst sizes {shape.least_wall:.2f}, least {make.least_wall:g}.")
    return texts


def notes(sheet: SpecSheet) -> list[Item]:
    """Return the notes beside the title block, numbered."""
    left, right = BINDING + 2.0, PAPER[0] - MARGIN - WIDE - 2.0
    rows: list[tuple[str, str]] = []
    for n, text in enumerate(note_texts(sheet), start=1):
        for k, line in enumerate(wrapped(text, SMALL, right - left - 5.0, 2)):
            rows.append(("" if k else f"{n}", line))
    found: list[Item] = []
    for row, (number, line) in enumerate(reversed(rows)):
        y = MARGIN + 2.0 + row * _NOTE
        if number:
            found.append(Label(number, left, y, SMALL))
        found.append(Label(line, left + 5.0, y, SMALL))
    return found
