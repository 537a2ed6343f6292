"""The sheet of a made part as files: SVG, PDF, DXF, STEP and HTML."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from importlib.util import find_spec
from pathlib import Path

from fitgraph.adapters import Sheet
from fitgraph.draw.drafting import drawing
from fitgraph.draw.drafting_dxf import write_dxf
from fitgraph.draw.drafting_svg import sheet_svg
from fitgraph.draw.sheet_step import can_write_step, step_bytes
from fitgraph.lab.saves import SavedFile
from fitgraph.report.specification import sheet_html, sheet_pdf


def dxf_bytes(sheet: Sheet) -> bytes:
    """Return the drawing as DXF.

    Raises
    ------
    ImportError
        If ezdxf is not installed (the extra ``sheets``).
    """
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "sheet.dxf"
        write_dxf(drawing(sheet), file)
        return file.read_bytes()


def files_of(sheet: Sheet) -> dict[str, Callable[[], SavedFile]]:
    """Return what makes the files of a sheet, by what a button says.

    Parameters
    ----------
    sheet : Sheet
        Of a made part.
    """
    name = sheet.part.sku

    def file(ending: str, kind: str, make: Callable[[], bytes]) -> Callable[[], SavedFile]:
        return lambda: SavedFile(f"{name}.{ending}", kind, make())

    found = {
        "Save as SVG": file("svg", "image/svg+xml", lambda: sheet_svg(drawing(sheet)).encode()),
        "Save as PDF": file("pdf", "application/pdf", lambda: sheet_pdf(sheet)),
        "Save as DXF": file("dxf", "image/vnd.dxf", lambda: dxf_bytes(sheet)),
        "Save as STEP": file("step", "model/step", lambda: step_bytes(sheet)),
        "Save as HTML": file("html", "text/html", lambda: sheet_html(sheet).encode()),
    }
    if find_spec("ezdxf") is None:
        del found["Save as DXF"]
    if not can_write_step():
        del found["Save as STEP"]
    return found


def lacking() -> tuple[str, ...]:
    """Return which files need something that is not installed, and how to get it."""
    told = []
    if find_spec("ezdxf") is None:
        told.append("For DXF install fitgraph with the extra “sheets”.")
    if not can_write_step():
        told.append("For STEP install fitgraph with the extra “cad”.")
    return tuple(told)
