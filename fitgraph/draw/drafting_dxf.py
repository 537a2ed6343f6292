"""A drafted sheet as DXF: the part at its true size, with dimensions that measure it."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any

from fitgraph.draw.drafting import (
    ARROW,
    BEYOND,
    NORMAL,
    OFF,
    Arc,
    Area,
    Drawing,
    Item,
    Label,
    Line,
    Measure,
    Stroke,
    hatching,
)
from fitgraph.files import whole

_STYLE = "DRAFTING"
_ALIGN = {"start": "LEFT", "middle": "CENTER", "end": "RIGHT"}


def _setup(document: Any, scale: float) -> None:
    """Give a document its layers, units and way of dimensioning."""
    from ezdxf import units

    document.units = units.MM
    document.header["$MEASUREMENT"] = 1
    for line in Line:
        kind = "CONTINUOUS"
        if line.dashes:
            kind = "CENTRELINE"
            pattern = [sum(line.dashes) / scale]
            for n, dash in enumerate(line.dashes):
                pattern.append((dash if n % 2 == 0 else -dash) / scale)
            document.linetypes.add(kind, pattern, description="long-dashed dotted")
        document.layers.add(line.layer, linetype=kind, lineweight=round(line.width * 100), color=7)
    document.layers.add("dimensions", lineweight=round(Line.THIN.width * 100), color=7)
    document.layers.add("texts", lineweight=round(Line.THIN.width * 100), color=7)
    style = document.dimstyles.duplicate_entry("EZDXF", _STYLE)
    style.dxf.dimtxt = NORMAL / scale
    style.dxf.dimasz = ARROW[0] / scale
    style.dxf.dimexe, style.dxf.dimexo = BEYOND / scale, OFF / scale
    style.dxf.dimgap = 1.0 / scale
    style.dxf.dimtad = 1
    style.dxf.dimlfac = 1.0
    style.dxf.dimdec = 3
    style.dxf.dimblk = ""
    style.dxf.dimtsz = 0


def _add(space: Any, item: Item, scale: float) -> None:
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
            dxfattribs={"layer": "texts"},
        )
        text.set_placement(
            (item.x / scale, item.y / scale), align=TextEntityAlignment[_ALIGN[item.anchor]]
        )
    elif isinstance(item, Area):
        for stroke in hatching(item):
            _add(space, stroke, scale)
    elif isinstance(item, Measure):
        _measure(space, item, scale)


def _one_line(text: str) -> str:
    """Return a text that a DXF file can hold: no control codes of its own."""
    plain = "".join(c if c.isprintable() else " " for c in text)
    return " ".join(plain.split()).replace("%%", "% %").replace("^", " ")


def _measure(space: Any, item: Measure, scale: float) -> None:
    base = (item.at, item.y1) if item.upright else (item.x1, item.at)
    made = space.add_linear_dim(
        base=(base[0] / scale, base[1] / scale),
        p1=(item.x1 / scale, item.y1 / scale),
        p2=(item.x2 / scale, item.y2 / scale),
        angle=90 if item.upright else 0,
        text=_one_line(f"{item.text} {item.limits}"),
        dimstyle=_STYLE,
        dxfattribs={"layer": "dimensions"},
    )
    made.render()


def write_dxf(drawing: Drawing, path: Path) -> None:
    """Write a drafted sheet as DXF, the part at true size.

    Parameters
    ----------
    drawing : Drawing
        From :func:`fitgraph.draw.drafting.drawing`.
    path : Path
        The file to write; it appears whole or not at all.

    Raises
    ------
    ImportError
        If ezdxf is not installed (the extra ``sheets``).
    """
    import ezdxf

    document = ezdxf.new("R2010", setup=True)
    _setup(document, drawing.scale)
    space = document.modelspace()
    for item in _ordered(drawing.items):
        _add(space, item, drawing.scale)
    with whole(path) as file:
        document.saveas(file)


def _ordered(items: Iterable[Item]) -> list[Item]:
    """Return items with dimensions last, so that they lie above what they measure."""
    return sorted(items, key=lambda item: isinstance(item, Measure))
