"""Three-valued answers: a fit is certain, impossible, or not known yet."""

from __future__ import annotations

from enum import IntEnum


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


class Presence(IntEnum):
    """Whether a part has a feature."""

    ABSENT = 0
    UNKNOWN = 1
    PRESENT = 2
