"""The sheets of parts worth making, written to a folder."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path

from fitgraph.adapters.proposals import Proposals
from fitgraph.errors import InputError


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
    from fitgraph.draw.drafting import drawing
    from fitgraph.draw.drafting_dxf import write_dxf
    from fitgraph.draw.drafting_svg import sheet_svg
    from fitgraph.draw.sheet_step import can_write_step, write_step
    from fitgraph.files import write_bytes_whole
    from fitgraph.report.specification import sheet_html, sheet_pdf

    folder.mkdir(parents=True, exist_ok=True)
    files: list[Path] = []
    for worth in found.chosen(most):
        made = found.sheet(worth)
        drafted = drawing(made)
        name = worth.candidate.part.sku
        contents = {
            "svg": sheet_svg(drafted).encode(),
            "html": sheet_html(made).encode(),
            "pdf": sheet_pdf(made),
        }
        paths = {end: folder / f"{name}.{end}" for end in (*contents, "dxf", "step")}
        for end, content in contents.items():
            write_bytes_whole(paths[end], content)
        write_dxf(drafted, paths["dxf"])
        files += [paths[end] for end in (*contents, "dxf")]
        if can_write_step():
            write_step(made, paths["step"])
            files.append(paths["step"])
    return tuple(files)
