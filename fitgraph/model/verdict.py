"""Three-valued answers: a fit is certain, impossible, or not known yet."""

from __future__ import annotations

from enum import IntEnum
from typing import TypeVar

E = TypeVar("E", bound=type[IntEnum])


def looked_up(kind: E) -> E:
    """Make an enum's members plain attributes of its class, as they are from Python 3.12 on.

    Before, each look at one calls a function, which took a fortieth of all tests.
    """
    for name, member in kind.__members__.items():
        type.__setattr__(kind, name, member)
    return kind


@looked_up
class Verdict(IntEnum):
    """What a joint, or a whole combination, comes to.

    The order is Kleene's: a conjunction is the minimum, so verdicts combine
    with :func:`min`.
    """

    FAILS = 0
    UNKNOWN = 1
    FITS = 2

    @property
    def word(self) -> str:
        """Return the verdict as people and JSON read it."""
        return ("fails", "unknown", "fits")[int(self)]


@looked_up
class Presence(IntEnum):
    """Whether a part has a feature."""

    ABSENT = 0
    UNKNOWN = 1
    PRESENT = 2

    @property
    def word(self) -> str:
        """Return whether it is there, as tables and JSON say it."""
        return ("no", "unknown", "yes")[int(self)]
