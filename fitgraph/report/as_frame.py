"""Tables as data frames of whichever library is installed.

narwhals is the only library asked for; it makes the frame with pandas, polars or pyarrow.
"""

from __future__ import annotations

from importlib.util import find_spec
from typing import Any, Literal

from fitgraph.errors import InputError, handed
from fitgraph.report.tables import Table

Backend = Literal["pandas", "polars", "pyarrow"]

#: Libraries that frames can be made with, the first installed one by default.
BACKENDS: tuple[Backend, ...] = ("pandas", "polars", "pyarrow")


class NoFrameError(InputError, ImportError):
    """No library for frames is installed, or not the one asked for."""


def backend_of(name: str | None = None) -> Backend:
    """Return the library that frames are made with.

    Parameters
    ----------
    name : str, optional
        ``"pandas"``, ``"polars"`` or ``"pyarrow"``; the first installed one by default.

    Raises
    ------
    NoFrameError
        If it is not installed, or none is.
    """
    asked = name if name is None or isinstance(name, str) else handed(name)
    wanted = [backend for backend in BACKENDS if asked in (None, backend)]
    if not wanted:
        raise NoFrameError(f"frames are made with {', '.join(BACKENDS)}, not with {handed(name)}")
    for backend in wanted:
        if find_spec(backend) is not None:
            return backend
    raise NoFrameError(
        f"frames need {' or '.join(wanted)}: pip install {wanted[0]}; "
        "without it, .records() and .to_csv() give the same"
    )


def frame(table: Table, backend: str | None = None) -> Any:
    """Return a table as a data frame, in the units that :attr:`Table.units` names.

    Raises
    ------
    NoFrameError
        If the library is not installed.
    """
    library = backend_of(backend)
    import narwhals as nw

    data = table.data()
    return nw.from_dict(data, backend=library).to_native()
