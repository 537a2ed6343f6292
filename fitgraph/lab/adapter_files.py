"""The sheet of a made part as links that save it: SVG, PDF, DXF, STEP and HTML."""

from __future__ import annotations

import tempfile
from importlib.util import find_spec
from pathlib import Path

from fitgraph.adapters import Sheet
from fitgraph.draw.drafting import drawing
from fitgraph.draw.drafting_dxf import write_dxf
from fitgraph.draw.drafting_svg import sheet_svg
from fitgraph.draw.sheet_html import sheet_html
from fitgraph.draw.sheet_pdf import sheet_pdf
from fitgraph.draw.sheet_step import can_write_step, write_step
from fitgraph.lab.downloads import download_link


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


def step_bytes(sheet: Sheet) -> bytes:
    """Return the part as a STEP file.

    Raises
    ------
    ImportError
        If no CAD kernel is installed (the extra ``cad``).
    """
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "part.step"
        write_step(sheet, file)
        return file.read_bytes()


def links_html(sheet: Sheet) -> str:
    """Return a link for each format."""
    name = sheet.part.sku
    links = [
        download_link(
            "Save as SVG", f"{name}.svg", "image/svg+xml", sheet_svg(drawing(sheet)).encode()
        ),
        download_link("Save as PDF", f"{name}.pdf", "application/pdf", sheet_pdf(sheet)),
        download_link("Save as HTML", f"{name}.html", "text/html", sheet_html(sheet).encode()),
    ]
    note = ""
    if find_spec("ezdxf") is None:
        note += '<p class="fg-note">For DXF install fitgraph with the extra “sheets”.</p>'
    else:
        links.insert(
            2, download_link("Save as DXF", f"{name}.dxf", "image/vnd.dxf", dxf_bytes(sheet))
        )
    if not can_write_step():
        note += '<p class="fg-note">For STEP install fitgraph with the extra “cad”.</p>'
    else:
        links.insert(
            -1, download_link("Save as STEP", f"{name}.step", "model/step", step_bytes(sheet))
        )
    return f"<p>{''.join(links)}</p>{note}"
