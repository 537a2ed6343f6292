"""Integer programs, solved quietly, whose answers keep what was asked of them."""

from __future__ import annotations

import contextlib
import ctypes
import os
import sys
import threading
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, OptimizeResult, milp

from fitgraph.array_types import Floats

#: Of scipy's milp: it gave up, for reasons of its own.
FAILED = 4

#: How far a constraint may be passed, of its bound.
_CLOSE = 1e-5

_lock = threading.Lock()
_silent = {"deep": 0, "kept": -1}


@contextlib.contextmanager
def _hushed() -> Iterator[None]:
    """Let nothing be written to the process's standard output meanwhile.

    The solver prints a line there that was left in by mistake and that no option turns off
    (github.com/jump-dev/HiGHS.jl/issues/312, read 2026-11-29).
    """
    with _lock:
        if not _silent["deep"]:
            _silent["kept"] = _turned_away()
        _silent["deep"] += 1
    try:
        yield
    finally:
        with _lock:
            _silent["deep"] -= 1
            if not _silent["deep"] and _silent["kept"] >= 0:
                _written()
                os.dup2(_silent["kept"], 1)
                os.close(_silent["kept"])


def _turned_away() -> int:
    """Turn standard output to nowhere and return where it went; -1 where there is none."""
    _written()
    try:
        kept = os.dup(1)
    except OSError:
        return -1
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 1)
    os.close(nowhere)
    return kept


def _written() -> None:
    """Write out what Python and the C library still hold for standard output."""
    with contextlib.suppress(OSError, ValueError, AttributeError):
        sys.stdout.flush()
    if os.name == "posix":
        ctypes.CDLL(None).fflush(None)


def least_whole(
    objective: Floats,
    constraints: Sequence[LinearConstraint],
    whole: Floats,
    bounds: Bounds,
    options: Mapping[str, float | bool],
) -> OptimizeResult:
    """Return where a sum is least, some of its variables whole numbers.

    Parameters
    ----------
    objective : ndarray of float, shape (n_variables,)
        What is minimised, by variable.
    constraints : sequence of scipy.optimize.LinearConstraint
        What has to be kept.
    whole : ndarray of float, shape (n_variables,)
        One for variables that are whole numbers, else zero.
    bounds : scipy.optimize.Bounds
        Of the variables.
    options : mapping
        As for :func:`scipy.optimize.milp`.

    Returns
    -------
    scipy.optimize.OptimizeResult
        As of :func:`scipy.optimize.milp`, with whole numbers that are exactly whole. Its ``x`` is
        None as well where the solver's answer does not keep the constraints.

    Notes
    -----
    Where one way fails numerically, or says something that is not so
    (github.com/scipy/scipy/issues/24141, read 2026-11-29), the other mostly works: so it is asked
    again without presolving.
    """
    for presolve in (True, False):
        with _hushed():
            result = milp(
                objective,
                constraints=constraints,
                integrality=whole,
                bounds=bounds,
                options={**options, "presolve": presolve},
            )
        if result.x is not None:
            result.x = np.where(whole > 0, np.rint(result.x), result.x)
            if all(_kept(c, result.x) for c in constraints):
                return result
            result.x, result.status = None, FAILED
        if result.status != FAILED:
            return result
    return result


def _kept(constraint: LinearConstraint, x: Floats) -> bool:
    """Return whether a constraint holds, but for rounding."""
    value: Any = constraint.A @ x
    low, high = (np.broadcast_to(b, value.shape) for b in (constraint.lb, constraint.ub))
    with np.errstate(invalid="ignore"):
        near = _CLOSE * (1 + np.minimum(np.abs(low), np.abs(high)))
    return bool((value >= low - near).all() and (value <= high + near).all())
