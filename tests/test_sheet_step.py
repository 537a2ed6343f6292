"""The part of a sheet as a solid: read back, and compared with sums made here.

The volume is integrated along the axis from the sections' areas (a ring less the strip between
the slot's parallel faces), apart from the CAD kernel that wrote the file. AP242 is ISO 10303-242,
the file's syntax ISO 10303-21 (references checked).
"""

from __future__ import annotations

import math
import pickle
import shutil
import subprocess
import sys
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from scipy.integrate import quad
from typer.testing import CliRunner

from fitgraph.adapters import SpecSheet, sheet
from fitgraph.cli.main import app
from fitgraph.draw.sheet_step import write_step
from fitgraph.files import whole
from fitgraph.lab import adapter_files
from fitgraph.mechanics.materials import MATERIALS
from fitgraph.model import Catalogue
from tests.made_catalogues import thinned, unweighed
from tests.shared import the_demo

MAKES = ("sleeve", "liner", "insert")


@pytest.fixture(scope="module")
def demo() -> Catalogue:
    return the_demo().catalogue


@pytest.fixture(scope="module")
def sheets(demo: Catalogue) -> dict[str, SpecSheet]:
    """Return a sheet of each make, for a few parts of the demo."""
    few = thinned(demo)
    worths = (
        unweighed(demo, "sleeve", 25.4, 31.8, word="Skerrowby"),
        unweighed(demo, "liner", 31.8, 34.9),
        unweighed(demo, "insert", 31.75, 80.0),
    )
    return {name: sheet(few, worth) for name, worth in zip(MAKES, worths, strict=True)}


def read_back(path: Path) -> Any:
    from OCP.IFSelect import IFSelect_ReturnStatus
    from OCP.STEPControl import STEPControl_Reader

    reader = STEPControl_Reader()
    assert reader.ReadFile(str(path)) == IFSelect_ReturnStatus.IFSelect_RetDone
    assert reader.TransferRoots() == 1
    return reader.OneShape()


def volume(shape: Any) -> float:
    from OCP.BRepGProp import BRepGProp
    from OCP.GProp import GProp_GProps

    properties = GProp_GProps()
    BRepGProp.VolumeProperties_s(shape, properties)
    return float(properties.Mass())


def box(shape: Any) -> tuple[float, ...]:
    from OCP.Bnd import Bnd_Box
    from OCP.BRepBndLib import BRepBndLib

    found = Bnd_Box()
    BRepBndLib.AddOptimal_s(shape, found, False, False)
    low, high = found.CornerMin(), found.CornerMax()
    return tuple(p for c in (low, high) for p in (c.X(), c.Y(), c.Z()))


def surfaces(shape: Any) -> list[Any]:
    from OCP.BRepAdaptor import BRepAdaptor_Surface
    from OCP.TopAbs import TopAbs_ShapeEnum
    from OCP.TopExp import TopExp_Explorer
    from OCP.TopoDS import TopoDS

    explorer = TopExp_Explorer(shape, TopAbs_ShapeEnum.TopAbs_FACE)
    found = []
    while explorer.More():
        found.append(BRepAdaptor_Surface(TopoDS.Face(explorer.Current())))
        explorer.Next()
    return found


def by_integration(of: SpecSheet) -> float:
    """Return a part's volume in mm3 at the middle sizes."""
    shape, work = of.shape, of.make.work
    outer = shape.outside.mid / 2
    inner = shape.bore.mid / 2 if shape.bore is not None else 0.0
    half = shape.slot.mid / 2 if shape.slot is not None else 0.0
    near, far = (work.chamfer_bore if inner else 0.0), work.chamfer_outside

    def area(along: float) -> float:
        end = min(along, shape.length - along)
        big, small = outer - max(far - end, 0.0), inner + max(near - end, 0.0) if inner else 0.0
        strip = 0.0
        if half:
            strip = quad(lambda y: math.sqrt(big**2 - y**2) - math.sqrt(small**2 - y**2), 0, half)[
                0
            ]
        return math.pi * (big**2 - small**2) - 2 * strip

    knees = sorted({near, far, shape.length - near, shape.length - far} - {0.0, shape.length})
    ends = [0.0, *knees, shape.length]
    return sum(quad(area, a, b)[0] for a, b in pairwise(ends))


@pytest.mark.parametrize("name", MAKES)
def test_the_solid_has_the_middle_sizes(
    name: str, sheets: dict[str, SpecSheet], tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    from OCP.GeomAbs import GeomAbs_SurfaceType as Kind

    of = sheets[name]
    write_step(of, tmp_path / "a.step")
    assert capfd.readouterr() == ("", "")  # the kernel keeps quiet beside an answer in JSON
    solid = read_back(tmp_path / "a.step")
    found = volume(solid)
    assert found == pytest.approx(by_integration(of), rel=1e-6)
    # The sheet's mass leaves chamfers out and takes the slot's strip as a rectangle.
    density = MATERIALS[of.make.material].density_kg_m3 * 1e-6
    assert found * density == pytest.approx(of.part.mass_g, rel=0.02)
    outer = of.shape.outside.mid / 2
    low_y = outer if of.shape.slot is None else math.sqrt(outer**2 - (of.shape.slot.mid / 2) ** 2)
    wanted = (0.0, -low_y, -outer, of.shape.length, outer, outer)
    assert box(solid) == pytest.approx(wanted, abs=1e-3)
    faces = surfaces(solid)
    radii = {round(f.Cylinder().Radius(), 6) for f in faces if f.GetType() == Kind.GeomAbs_Cylinder}
    bore = () if of.shape.bore is None else (of.shape.bore.mid / 2,)
    assert radii == {round(r, 6) for r in (outer, *bore)}
    planes = [f.Plane() for f in faces if f.GetType() == Kind.GeomAbs_Plane]
    along_z = [p.Location().Z() for p in planes if abs(p.Axis().Direction().Z()) > 1 - 1e-9]
    if of.shape.slot is None:
        assert along_z == []
    else:
        half = of.shape.slot.mid / 2
        assert sorted(along_z) == pytest.approx([-half, half])
    cones = [f.Cone() for f in faces if f.GetType() == Kind.GeomAbs_Cone]
    work = of.make.work
    assert len(cones) == 2 * ((work.chamfer_outside > 0) + (work.chamfer_bore > 0))
    assert all(abs(c.SemiAngle()) == pytest.approx(math.pi / 4) for c in cones)


def test_the_file_says_what_it_is(sheets: dict[str, SpecSheet], tmp_path: Path) -> None:
    of = sheets["sleeve"]
    odd = replace(of.part, name="sleeve 'x'\n\\X2\\ #1 = ENDSEC; ß")
    candidate = replace(of.worth.candidate, part=odd)
    write_step(replace(of, worth=replace(of.worth, candidate=candidate)), tmp_path / "a.step")
    text = (tmp_path / "a.step").read_text(encoding="ascii")
    assert "AP242" in text.split("ENDSEC;")[0] and "'fitgraph'" in text
    assert f"PRODUCT('{of.part.sku}'" in text
    assert "sleeve ''x''?/X2/ #1 = ENDSEC; ?" in text.replace("\n", "")
    assert "EN AW-6061 T6" in text
    assert volume(read_back(tmp_path / "a.step")) > 0


def test_a_page_has_it_made_by_a_process_of_its_own(
    sheets: dict[str, SpecSheet], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It says the same as the one made here, and the process that asked never loads the kernel."""
    of = sheets["sleeve"]
    write_step(of, tmp_path / "a.step")
    here, apart = read_back(tmp_path / "a.step"), tmp_path / "b.step"
    asked = (
        "import pickle, sys; from fitgraph.draw.sheet_step import step_bytes;"
        "made = step_bytes(pickle.load(sys.stdin.buffer)); assert not any("
        "m.split('.')[0] == 'OCP' for m in sys.modules); sys.stdout.buffer.write(made)"
    )
    done = subprocess.run(
        [sys.executable, "-c", asked], input=pickle.dumps(of), capture_output=True, check=True
    )
    apart.write_bytes(done.stdout)
    assert volume(read_back(apart)) == pytest.approx(volume(here), rel=1e-12)
    assert f"PRODUCT('{of.part.sku}'" in apart.read_text(encoding="ascii")
    made = adapter_files.files_of(of)["Save as STEP"]
    monkeypatch.setattr(sys, "executable", shutil.which("false"))
    with pytest.raises(OSError, match="ended with 1"):
        made()


@pytest.mark.long
def test_without_a_kernel_one_line_says_how_to_get_it(
    sheets: dict[str, SpecSheet], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("fitgraph.draw.sheet_step.find_spec", lambda name: None)
    out = tmp_path / "sheets"
    result = CliRunner().invoke(
        app, ["adapters", "--role", "insert", "--k", "1", "--json", "--sheet", str(out)]
    )
    assert result.exit_code == 0
    assert result.stderr.count("\n") == 1 and "fitgraph[cad]" in result.stderr
    assert {p.suffix for p in out.iterdir()} == {".svg", ".html", ".pdf", ".dxf"}
    monkeypatch.setattr("fitgraph.lab.adapter_files.can_write_step", lambda: False)
    assert "Save as STEP" not in adapter_files.files_of(sheets["insert"])
    assert "extra “cad”" in " ".join(adapter_files.lacking())
    assert "OCP" in sys.modules  # the tests themselves have it


# -- files -------------------------------------------------------------------------------


def test_a_file_appears_whole_or_not_at_all(tmp_path: Path) -> None:
    path = tmp_path / ("n" * 250)
    path.write_text("old", encoding="utf-8")
    with pytest.raises(RuntimeError), whole(path) as beside:
        beside.write_text("half", encoding="utf-8")
        raise RuntimeError
    assert path.read_text(encoding="utf-8") == "old"
    with whole(path) as beside:
        beside.write_text("new", encoding="utf-8")
        assert path.read_text(encoding="utf-8") == "old"
    assert path.read_text(encoding="utf-8") == "new"
    assert list(tmp_path.iterdir()) == [path]
    with pytest.raises(OSError), whole(tmp_path / "none" / "x") as beside:
        beside.write_text("x", encoding="utf-8")
