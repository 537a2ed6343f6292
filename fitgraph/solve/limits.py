"""How many builds keep a budget and a mass limit."""

from __future__ import annotations

from dataclasses import dataclass

from fitgraph.solve.messages import count
from fitgraph.solve.query import Query


@dataclass(frozen=True, slots=True)
class Counted:
    """A number of builds: exact, or between two numbers that contain it.

    Parameters
    ----------
    least, most : int
        Equal where the number is exact.
    """

    least: int
    most: int

    @property
    def exact(self) -> bool:
        """Whether the number is exact."""
        return self.least == self.most


def count_within(query: Query, *, certain: bool) -> Counted:
    total = count(
        query.space.tree, query.weights(query.mask(certain=certain)), certain=certain
    )
    return Counted(total, total)
