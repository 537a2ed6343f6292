"""The part of a sheet as a solid, in a STEP file for CAD and CAM.

The file follows ISO 10303-242 (AP242), written by Open CASCADE through its Python bindings
(the extra ``cad``). Sizes stand in the middle of their limits, as programs for machines want
them; the drawing has the limits.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from dataclasses import asdict
from importlib.util import find_spec
from pathlib import Path

from fitgraph.adapters.sheet import SpecSheet
from fitgraph.draw import solid_step
from fitgraph.draw.drafting_profile import turned
from fitgraph.draw.solid_step import Solid, write_solid
from fitgraph.files import whole
from fitgraph.mechanics.materials import MATERIALS

#: How to get what writes STEP.
GET_STEP = "STEP files need a CAD kernel: pip install 'fitgraph[cad]'"

#: A process that takes longer for one part is stuck [s].
_PATIENCE_S = 120


def can_write_step() -> bool:
    """Return whether the extra ``cad`` is installed."""
    return find_spec("OCP") is not None


def _plain(text: str) -> str:
    """Return a text in the letters that ISO 10303-21 has without escapes."""
    shown = "".join(c if c.isascii() and c.isprintable() else "?" for c in text)
    return shown.replace("\\", "/")


def solid_of(sheet: SpecSheet) -> Solid:
    """Return the solid of a sheet, its sizes in the middle of their limits.

    Parameters
    ----------
    sheet : SpecSheet
        From :func:`fitgraph.adapters.sheet`.
    """
    part, material = turned(sheet, middle=True), MATERIALS[sheet.make.material]
    made_of = _plain(material.designation or material.title)
    return Solid(
        part.half_section,
        part.outside,
        part.length,
        part.slot,
        _plain(sheet.part.sku),
        _plain(sheet.part.name),
        f"{made_of}; proposal, not released",
    )


def write_step(sheet: SpecSheet, path: Path) -> None:
    """Write a part as a STEP file, in mm, sizes in the middle of their limits.

    Parameters
    ----------
    sheet : SpecSheet
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
    with whole(path) as file:
        write_solid(solid_of(sheet), str(file))


def step_bytes(sheet: SpecSheet) -> bytes:
    """Return a part as a STEP file, made by a process that takes the CAD kernel away again.

    Parameters
    ----------
    sheet : SpecSheet
        From :func:`fitgraph.adapters.sheet`.

    Raises
    ------
    OSError
        If the file cannot be made; the message says why.
    """
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "part.step"
        try:
            done = subprocess.run(
                # Run by its path, so that nothing else of the package is read for it.
                [sys.executable, "-P", solid_step.__file__, str(file)],
                input=json.dumps(asdict(solid_of(sheet))),
                capture_output=True,
                encoding="utf-8",
                errors="replace",
                timeout=_PATIENCE_S,
                check=False,
            )
        except subprocess.TimeoutExpired:
            raise OSError(f"the CAD kernel was not done after {_PATIENCE_S} s") from None
        if done.returncode:
            lines = done.stderr.strip().splitlines()
            raise OSError(lines[-1] if lines else f"the CAD kernel ended with {done.returncode}")
        return file.read_bytes()
