"""A drafted sheet as DXF: the part at its true size, with dimensions that measure it."""

from __future__ import annotations

from io import StringIO
from typing import Any

from fitgraph.draw.drafting_items import (
    ARROW,
    BEYOND,
    NORMAL,
    OFF,
    Arc,
    Drawing,
    FilledTriangle,
    Label,
    LineKind,
    Measure,
    Piece,
    Stroke,
    drawn,
    pieces_of,
)

_STYLE = "DRAFTING"

#: Letters as wide as those that the sheet was laid out with.
_LETTERS, _FONT = "LETTERING", "arial.ttf"

#: Letters in circles, where a program writes a dimension's text anew.
_RINGED = {"E": "Ⓔ", "F": "Ⓕ"}

_ALIGN = {"start": "LEFT", "middle": "CENTER", "end": "RIGHT"}


def _setup(document: Any, scale: float) -> None:
    """Give a document its layers, units and way of dimensioning."""
    from ezdxf import units

    document.units = units.MM
    document.header["$MEASUREMENT"] = 1
    for line in LineKind:
        kind = "CONTINUOUS"
        if line.dashes:
            kind = "CENTRELINE"
            pattern = [sum(line.dashes) / scale]
            for n, dash in enumerate(line.dashes):
                pattern.append((dash if n % 2 == 0 else -dash) / scale)
            document.linetypes.add(kind, pattern, description="long-dashed dotted")
        document.layers.add(line.layer, linetype=kind, lineweight=round(line.width * 100), color=7)
    document.layers.add("dimensions", lineweight=round(LineKind.THIN.width * 100), color=7)
    document.layers.add("texts", lineweight=round(LineKind.THIN.width * 100), color=7)
    document.styles.add(_LETTERS, font=_FONT)
    style = document.dimstyles.duplicate_entry("EZDXF", _STYLE)
    style.dxf.dimtxsty = _LETTERS
    style.dxf.dimtxt = NORMAL / scale
    style.dxf.dimasz = ARROW[0] / scale
    style.dxf.dimexe, style.dxf.dimexo = BEYOND / scale, OFF / scale
    style.dxf.dimgap = 1.0 / scale
    style.dxf.dimtad = 1
    style.dxf.dimlfac = 1.0
    style.dxf.dimdec = 3
    style.dxf.dimblk = ""
    style.dxf.dimtsz = 0


def _add(space: Any, item: Piece, scale: float) -> None:
    if isinstance(item, Stroke):
        space.add_line(
            (item.x1 / scale, item.y1 / scale),
            (item.x2 / scale, item.y2 / scale),
            dxfattribs={"layer": item.line.layer},
        )
    elif isinstance(item, Arc):
        centre, radius = (item.x / scale, item.y / scale), item.radius / scale
        at = {"layer": item.line.layer}
        if item.stop - item.start >= 360:
            space.add_circle(centre, radius, dxfattribs=at)
        else:
            space.add_arc(centre, radius, item.start, item.stop, dxfattribs=at)
    elif isinstance(item, Label):
        from ezdxf.enums import TextEntityAlignment

        text = space.add_text(
            _one_line(item.text),
            height=item.height / scale,
            rotation=item.turned,
            dxfattribs={"layer": "texts", "style": _LETTERS},
        )
        text.set_placement(
            (item.x / scale, item.y / scale), align=TextEntityAlignment[_ALIGN[item.anchor]]
        )
    elif isinstance(item, FilledTriangle):
        a, b, c = ((x / scale, y / scale) for x, y in item.corners)
        space.add_solid([a, b, c], dxfattribs={"layer": "symbols"})


def _one_line(text: str) -> str:
    """Return a text that a DXF file can hold: no control codes of its own."""
    plain = "".join(c if c.isprintable() else " " for c in text)
    return " ".join(plain.split()).replace("%%", "% %").replace("^", " ")


def _measure(space: Any, item: Measure, scale: float) -> None:
    """Add a dimension that measures, shown as every other writer shows it."""
    at = (item.at, item.y1) if item.upright else (item.x1, item.at)
    marks = "".join(_RINGED.get(letter, f"({letter})") for letter in item.marks)
    made = space.add_linear_dim(
        base=(at[0] / scale, at[1] / scale),
        p1=(item.x1 / scale, item.y1 / scale),
        p2=(item.x2 / scale, item.y2 / scale),
        angle=90 if item.upright else 0,
        text=_one_line(f"{item.text} {marks} {item.limits}"),
        dimstyle=_STYLE,
        dxfattribs={"layer": "dimensions"},
    )
    pieces = drawn(item)
    block = space.doc.blocks.new_anonymous_block(type_char="D")
    for piece in pieces:
        _add(block, piece, scale)
    text = next(piece for piece in pieces if isinstance(piece, Label))
    made.dimension.dxf.geometry = block.name
    made.dimension.dxf.text_midpoint = (text.x / scale, text.y / scale)


def dxf_bytes(drawing: Drawing) -> bytes:
    """Return a drafted sheet as DXF, the part at true size.

    Parameters
    ----------
    drawing : Drawing
        From :func:`fitgraph.draw.drafting.drawing`.

    Raises
    ------
    ImportError
        If ezdxf is not installed (the extra ``sheets``).
    """
    import ezdxf

    document = ezdxf.new("R2010", setup=True)
    _setup(document, drawing.scale)
    space = document.modelspace()
    # Dimensions come last, so that they lie above what they measure.
    for item in drawing.items:
        if not isinstance(item, Measure):
            for piece in pieces_of([item]):
                _add(space, piece, drawing.scale)
    for item in drawing.items:
        if isinstance(item, Measure):
            _measure(space, item, drawing.scale)
    file = StringIO()
    document.write(file)
    return bytes(document.encode(file.getvalue()))
