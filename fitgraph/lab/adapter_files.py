"""The sheet of a made part as files that a page hands over: SVG, PDF, DXF, STEP and HTML."""

from __future__ import annotations

from collections.abc import Callable
from importlib.util import find_spec

from fitgraph.adapters import SpecSheet
from fitgraph.draw.sheet_step import can_write_step, step_bytes
from fitgraph.lab.saves import SavedFile
from fitgraph.shop.sheets import sheet_files

#: Media types by ending, in the order of the buttons.
_KINDS = {
    "svg": "image/svg+xml",
    "pdf": "application/pdf",
    "dxf": "image/vnd.dxf",
    "step": "model/step",
    "html": "text/html",
}


def _missing() -> dict[str, str]:
    """Return the endings for which something is not installed, and the extra that has it."""
    there = {"dxf": ("sheets", find_spec("ezdxf") is not None), "step": ("cad", can_write_step())}
    return {ending: extra for ending, (extra, is_there) in there.items() if not is_there}


def files_of(sheet: SpecSheet) -> dict[str, Callable[[], SavedFile]]:
    """Return what makes the files of a sheet, by what a button says.

    Parameters
    ----------
    sheet : SpecSheet
        Of a made part.
    """
    makes = {**sheet_files(sheet), "step": lambda: step_bytes(sheet)}

    def file(ending: str) -> Callable[[], SavedFile]:
        name = f"{sheet.part.sku}.{ending}"
        return lambda: SavedFile(name, _KINDS[ending], makes[ending]())

    missing = _missing()
    return {f"Save as {end.upper()}": file(end) for end in _KINDS if end not in missing}


def lacking() -> tuple[str, ...]:
    """Return which files need something that is not installed, and how to get it."""
    told = "For {} install fitgraph with the extra “{}”."
    return tuple(told.format(ending.upper(), extra) for ending, extra in _missing().items())
