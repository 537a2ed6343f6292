"""The part of a sheet as a solid, in a STEP file for CAD and CAM.

The file follows ISO 10303-242 (AP242), written by Open CASCADE through its Python bindings
(the extra ``cad``). Sizes stand in the middle of their limits, as programs for machines want
them; the drawing has the limits.
"""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path
from typing import Any

from fitgraph.adapters.sheet import Sheet
from fitgraph.draw.drafting_profile import Turned, turned
from fitgraph.files import whole
from fitgraph.mechanics.materials import MATERIALS

#: How to get what writes STEP.
GET_STEP = "STEP files need a CAD kernel: pip install 'fitgraph[cad]'"

#: How the kernel calls AP242.
_SCHEMA = "AP242DIS"


def can_write_step() -> bool:
    """Return whether the extra ``cad`` is installed."""
    return find_spec("OCP") is not None


def _solid(part: Turned) -> Any:
    """Return a part as a solid about the x axis, its slot at -y."""
    from OCP.BRepAlgoAPI import BRepAlgoAPI_Cut
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeFace, BRepBuilderAPI_MakePolygon
    from OCP.BRepPrimAPI import BRepPrimAPI_MakeBox, BRepPrimAPI_MakeRevol
    from OCP.gp import gp_Ax1, gp_Dir, gp_Pnt

    # The seam that a full turn leaves lies where the slot takes it away.
    outline = BRepBuilderAPI_MakePolygon()
    for along, away in part.half_section:
        outline.Add(gp_Pnt(along, -away, 0.0))
    outline.Close()
    face = BRepBuilderAPI_MakeFace(outline.Wire()).Face()
    axis = gp_Ax1(gp_Pnt(0.0, 0.0, 0.0), gp_Dir(1.0, 0.0, 0.0))
    solid = BRepPrimAPI_MakeRevol(face, axis).Shape()
    if part.slot:
        half, over = part.slot / 2, part.outside
        cutter = BRepPrimAPI_MakeBox(
            gp_Pnt(-over, -over, -half), gp_Pnt(part.length + over, 0.0, half)
        ).Shape()
        solid = BRepAlgoAPI_Cut(solid, cutter).Shape()
    return solid


def _plain(text: str) -> str:
    """Return a text in the letters that ISO 10303-21 has without escapes."""
    shown = "".join(c if c.isascii() and c.isprintable() else "?" for c in text)
    return shown.replace("\\", "/")


def _name(model: Any, sheet: Sheet) -> None:
    """Put the part's number, name and material into the file's product and header."""
    from OCP.APIHeaderSection import APIHeaderSection_MakeHeader
    from OCP.StepBasic import StepBasic_Product
    from OCP.TCollection import TCollection_HAsciiString as Text

    material = MATERIALS[sheet.make.material]
    sku, name = _plain(sheet.part.sku), _plain(sheet.part.name)
    made_of = _plain(material.designation or material.title)
    for n in range(1, model.NbEntities() + 1):
        entity = model.Value(n)
        if isinstance(entity, StepBasic_Product):
            entity.SetId(Text(sku))
            entity.SetName(Text(name))
            entity.SetDescription(Text(f"{made_of}; proposal, not released"))
    header = APIHeaderSection_MakeHeader(model)
    header.SetName(Text(sku))
    header.SetAuthorValue(1, Text(""))
    header.SetOrganizationValue(1, Text(""))
    header.SetOriginatingSystem(Text("fitgraph"))


def write_step(sheet: Sheet, path: Path) -> None:
    """Write a part as a STEP file, in mm, sizes in the middle of their limits.

    Parameters
    ----------
    sheet : Sheet
        From :func:`fitgraph.adapters.sheet`.
    path : Path
        The file to write; it appears whole or not at all.

    Raises
    ------
    ImportError
        If the extra ``cad`` is not installed.
    OSError
        If the file cannot be written.
    """
    from OCP.IFSelect import IFSelect_ReturnStatus
    from OCP.Interface import Interface_Static
    from OCP.Message import Message, Message_Gravity
    from OCP.STEPControl import STEPControl_StepModelType, STEPControl_Writer

    # The kernel tells of its work on the standard output, which belongs to answers.
    for printer in Message.DefaultMessenger_s().Printers():
        printer.SetTraceLevel(Message_Gravity.Message_Fail)
    writer = STEPControl_Writer()
    Interface_Static.SetCVal_s("write.step.schema", _SCHEMA)
    Interface_Static.SetCVal_s("write.step.unit", "MM")
    kind = STEPControl_StepModelType.STEPControl_AsIs
    done = IFSelect_ReturnStatus.IFSelect_RetDone
    if writer.Transfer(_solid(turned(sheet, middle=True)), kind) != done:
        raise OSError(f"{sheet.part.sku}: the CAD kernel could not make a solid of its sizes")
    _name(writer.Model(), sheet)
    with whole(path) as file:
        if writer.Write(str(file)) != done:
            raise OSError(f"{path} cannot be written")
