"""How often the tests try what they try again and again.

The plain run tries a few, so that it is over soon; with ``--long`` each test tries many.
"""

from __future__ import annotations

import os

#: Set by ``conftest`` before the first test is collected, and seen by every process of a run.
SWITCH = "FITGRAPH_LONG_TESTS"

LONG = os.environ.get(SWITCH) == "1"


def turns(many: int, few: int | None = None) -> int:
    """Return how often to try.

    Parameters
    ----------
    many : int
        With ``--long``.
    few : int, optional
        In the plain run; by itself a quarter, and ten at least.
    """
    if LONG:
        return many
    return max(10, many // 4) if few is None else few
