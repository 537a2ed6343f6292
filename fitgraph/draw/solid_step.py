"""A turned solid as a STEP file; also run as a program, which takes the CAD kernel away again.

The kernel is some 200 MB that a process keeps until it ends, and a page is open all day. Nothing
else of the package is imported here, so that a process for one file is soon there.
"""

from __future__ import annotations

import json
import sys
from typing import Any

from fitgraph.records import dataclass

#: How the kernel calls AP242.
_SCHEMA = "AP242DIS"


@dataclass(frozen=True, slots=True)
class Solid:
    """What turns about the x axis, in mm, and what is said of it.

    Parameters
    ----------
    corners : sequence of (float, float)
        Of the half section: along the axis, away from the axis.
    outside, length, slot : float
        Outer diameter, length, and width of a straight slot at -y; 0 where there is none.
    number, name, described : str
        In the letters that ISO 10303-21 has without escapes.
    """

    corners: tuple[tuple[float, float], ...]
    outside: float
    length: float
    slot: float
    number: str
    name: str
    described: str


def _shape(solid: Solid) -> Any:
    from OCP.BRepAlgoAPI import BRepAlgoAPI_Cut
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeFace, BRepBuilderAPI_MakePolygon
    from OCP.BRepPrimAPI import BRepPrimAPI_MakeBox, BRepPrimAPI_MakeRevol
    from OCP.gp import gp_Ax1, gp_Dir, gp_Pnt

    # The seam that a full turn leaves lies where the slot takes it away.
    outline = BRepBuilderAPI_MakePolygon()
    for along, away in solid.corners:
        outline.Add(gp_Pnt(along, -away, 0.0))
    outline.Close()
    face = BRepBuilderAPI_MakeFace(outline.Wire()).Face()
    axis = gp_Ax1(gp_Pnt(0.0, 0.0, 0.0), gp_Dir(1.0, 0.0, 0.0))
    shape = BRepPrimAPI_MakeRevol(face, axis).Shape()
    if solid.slot:
        half, over = solid.slot / 2, solid.outside
        cutter = BRepPrimAPI_MakeBox(
            gp_Pnt(-over, -over, -half), gp_Pnt(solid.length + over, 0.0, half)
        ).Shape()
        shape = BRepAlgoAPI_Cut(shape, cutter).Shape()
    return shape


def _say(model: Any, solid: Solid) -> None:
    """Put number, name and description into the file's product and header."""
    from OCP.APIHeaderSection import APIHeaderSection_MakeHeader
    from OCP.StepBasic import StepBasic_Product
    from OCP.TCollection import TCollection_HAsciiString as Text

    for n in range(1, model.NbEntities() + 1):
        entity = model.Value(n)
        if isinstance(entity, StepBasic_Product):
            entity.SetId(Text(solid.number))
            entity.SetName(Text(solid.name))
            entity.SetDescription(Text(solid.described))
    header = APIHeaderSection_MakeHeader(model)
    header.SetName(Text(solid.number))
    header.SetAuthorValue(1, Text(""))
    header.SetOrganizationValue(1, Text(""))
    header.SetOriginatingSystem(Text("fitgraph"))


def write_solid(solid: Solid, path: str) -> None:
    """Write a solid as a STEP file, in mm.

    Parameters
    ----------
    solid : Solid
        The part.
    path : str
        The file to write.

    Raises
    ------
    ImportError
        If the extra ``cad`` is not installed.
    OSError
        If the kernel makes no solid of it, or the file cannot be written.
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
    if writer.Transfer(_shape(solid), kind) != done:
        raise OSError(f"{solid.number}: the CAD kernel could not make a solid of its sizes")
    _say(writer.Model(), solid)
    if writer.Write(path) != done:
        raise OSError(f"{path} cannot be written")


def main() -> int:
    """Write the solid that the standard input tells to the file that the first argument names."""
    told = json.load(sys.stdin)
    corners = tuple((along, away) for along, away in told.pop("corners"))
    try:
        write_solid(Solid(corners, **told), sys.argv[1])
    except (ImportError, OSError) as error:
        print(error, file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
