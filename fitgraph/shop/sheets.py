"""The sheets of parts worth making, as files."""

from __future__ import annotations

from collections.abc import Callable
from importlib.util import find_spec
from pathlib import Path

from fitgraph.adapters import SpecSheet
from fitgraph.adapters.proposals import Proposals
from fitgraph.errors import InputError


def sheet_files(made: SpecSheet) -> dict[str, Callable[[], bytes]]:
    """Return what makes the files of a sheet, by their endings: drawing, page, print, exchange."""
    from fitgraph.draw.drafting import drawing
    from fitgraph.draw.drafting_dxf import dxf_bytes
    from fitgraph.draw.drafting_svg import sheet_svg
    from fitgraph.report.specification import sheet_html, sheet_pdf

    return {
        "svg": lambda: sheet_svg(drawing(made)).encode(),
        "html": lambda: sheet_html(made).encode(),
        "pdf": lambda: sheet_pdf(made),
        "dxf": lambda: dxf_bytes(drawing(made)),
    }


def write_sheets(found: Proposals, folder: Path, most: int) -> tuple[Path, ...]:
    """Write the sheets of the best few: a page, the drawing, a print and exchange files.

    Raises
    ------
    InputError
        If the libraries for sheets are not installed.
    """
    for name in ("ezdxf", "fpdf"):
        if find_spec(name) is None:
            raise InputError(f"sheets need {name}: pip install 'fitgraph[sheets]'")
    from fitgraph.draw.sheet_step import can_write_step, write_step
    from fitgraph.files import write_bytes_whole

    folder.mkdir(parents=True, exist_ok=True)
    files: list[Path] = []
    for worth in found.chosen(most):
        made = found.sheet(worth)
        name = worth.candidate.part.sku
        for ending, content in sheet_files(made).items():
            files.append(folder / f"{name}.{ending}")
            write_bytes_whole(files[-1], content())
        if can_write_step():
            files.append(folder / f"{name}.step")
            write_step(made, files[-1])
    return tuple(files)
