"""A number of builds, and how sure it is."""

from __future__ import annotations

from fitgraph.records import dataclass


@dataclass(frozen=True, slots=True)
class Counted:
    """A number of builds: exact, or an estimate with the interval that holds it.

    Parameters
    ----------
    number : int
        The exact number, or the best estimate of it.
    least, most : int
        Equal to `number` where it is exact.
    confidence : float
        The share of such intervals that hold the true number; 1 where the
        interval is certain.
    """

    number: int
    least: int
    most: int
    confidence: float = 1.0

    @property
    def exact(self) -> bool:
        """Whether the number is exact."""
        return self.least == self.most and self.confidence == 1.0


def exactly(number: int) -> Counted:
    """Return an exact number."""
    return Counted(number, number, number)
