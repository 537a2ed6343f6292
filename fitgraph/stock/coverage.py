"""How much of what people ask for can be built: from stock, by ordering, perhaps, or not.

Every enquiry is a question about builds around what is owned, within its budget, mass limit
and material; the workshop may work on any part.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import replace
from enum import IntEnum
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

from fitgraph.demand.menus import SOLD, Listing
from fitgraph.demand.questions import LeftOut
from fitgraph.demand.served import Asked, Progress, in_pieces, served
from fitgraph.model import Catalogue, Enquiry
from fitgraph.records import dataclass
from fitgraph.solve import TreeEngine
from fitgraph.solve.plan import naming_none
from fitgraph.stock.from_stock import FromStock, from_stock
from fitgraph.stock.groups import grouper


class Standing(IntEnum):
    """How far an enquiry can be met; the best of them counts."""

    NEITHER = 0
    POSSIBLY = 1
    CATALOGUE = 2
    STOCK = 3

    @property
    def word(self) -> str:
        """Return the standing as people and JSON read it."""
        return ("neither", "possibly", "catalogue", "stock")[int(self)]


@dataclass(frozen=True, slots=True)
class StandingTally:
    """Enquiries by standing.

    Parameters
    ----------
    weights : tuple of float
        Enquiries of each standing, in the order of :class:`Standing`.
    """

    weights: tuple[float, ...] = (0.0,) * len(Standing)

    @property
    def total(self) -> float:
        """Return how many enquiries there are."""
        return sum(self.weights)

    def of(self, standing: Standing) -> float:
        """Return how many enquiries have a standing."""
        return self.weights[standing]

    def share(self, standing: Standing = Standing.STOCK) -> float:
        """Return the share of a standing; 0 where there is no enquiry."""
        return self.weights[standing] / self.total if self.total else 0.0

    @property
    def unmet(self) -> float:
        """Return how many enquiries have no certain build from stock."""
        return self.total - self.weights[Standing.STOCK]


@dataclass(frozen=True, slots=True)
class Matrix:
    """Enquiries by two groupings.

    Parameters
    ----------
    by : tuple of str
        Names of the two groupings.
    rows, columns : tuple of str
        Their groups.
    cells : mapping of (str, str) to Tally
        Empty pairs are left out.
    """

    by: tuple[str, str]
    rows: tuple[str, ...]
    columns: tuple[str, ...]
    cells: Mapping[tuple[str, str], StandingTally]

    def cell(self, row: str = "", column: str = "") -> StandingTally:
        """Return one pair's enquiries; those of all rows, or columns, where none is named."""
        if row and column:
            return self.cells.get((row, column), StandingTally())
        spots = [t for (r, c), t in self.cells.items() if row in ("", r) and column in ("", c)]
        weights = zip(*(t.weights for t in spots), strict=True)
        return StandingTally(tuple(map(sum, weights))) if spots else StandingTally()


@dataclass(frozen=True, slots=True)
class Coverage:
    """The standing of every enquiry.

    Parameters
    ----------
    catalogue : Catalogue
        Whose parts and words are meant.
    enquiries : tuple of Enquiry
        Those that could be asked.
    standings : tuple of Standing
        One for each of them.
    questions : int
        Distinct questions that had to be answered.
    left_out : tuple of LeftOut
        Enquiries that could not be asked, and why.
    told_without : tuple of str
        Conditions without which it is told what is only possible, as they would need too much
        memory.
    """

    catalogue: Catalogue
    enquiries: tuple[Enquiry, ...]
    standings: tuple[Standing, ...]
    questions: int
    left_out: tuple[LeftOut, ...] = ()
    told_without: tuple[str, ...] = ()

    @property
    def total(self) -> StandingTally:
        """Return all enquiries by standing."""
        return self.by_keys(lambda _: "")[""] if self.enquiries else StandingTally()

    @property
    def unserved(self) -> list[tuple[Enquiry, Standing]]:
        """Return the enquiries without a certain build from stock, the most frequent first."""
        pairs = zip(self.enquiries, self.standings, strict=True)
        listed = [(e, s) for e, s in pairs if s is not Standing.STOCK]
        return sorted(listed, key=lambda pair: (-pair[0].weight, pair[0].number))

    def by_keys(self, key: Callable[[Enquiry], str]) -> dict[str, StandingTally]:
        """Return enquiries by standing for every value of a function of theirs."""
        sums: dict[str, list[float]] = {}
        for enquiry, standing in zip(self.enquiries, self.standings, strict=True):
            sums.setdefault(key(enquiry), [0.0] * len(Standing))[standing] += enquiry.weight
        return {name: StandingTally(tuple(sums[name])) for name in sorted(sums)}

    def by(self, name: str) -> dict[str, StandingTally]:
        """Return enquiries by standing for every group of a grouping.

        Parameters
        ----------
        name : str
            One of :func:`fitgraph.stock.grouping_names`.

        Raises
        ------
        NamingError
            If there is no such grouping.
        """
        return self.by_keys(grouper(self.catalogue, name))

    def matrix(self, row: str, column: str) -> Matrix:
        """Return enquiries by two groupings at once.

        Raises
        ------
        NamingError
            If there is no such grouping.
        """
        one, other = grouper(self.catalogue, row), grouper(self.catalogue, column)
        sums: dict[tuple[str, str], list[float]] = {}
        for enquiry, standing in zip(self.enquiries, self.standings, strict=True):
            spot = (one(enquiry), other(enquiry))
            sums.setdefault(spot, [0.0] * len(Standing))[standing] += enquiry.weight
        return Matrix(
            (row, column),
            tuple(sorted({r for r, _ in sums})),
            tuple(sorted({c for _, c in sums})),
            MappingProxyType({spot: StandingTally(tuple(sums[spot])) for spot in sorted(sums)}),
        )


@naming_none()
def coverage(
    engine: TreeEngine,
    enquiries: Sequence[Enquiry] | None = None,
    *,
    stock: Mapping[str, int] | None = None,
    executor: Executor | None = None,
    progress: Progress | None = None,
) -> Coverage:
    """Return the standing of every enquiry.

    Parameters
    ----------
    engine : TreeEngine
        A compiled catalogue.
    enquiries : sequence of Enquiry, optional
        The catalogue's own by default.
    stock : mapping of str to int, optional
        Pieces held by stock number, instead of the catalogue's own.
    executor : concurrent.futures.Executor, optional
        Where the questions are answered, such as a process pool or the executor of a
        ``dask.distributed`` client; here by default.
    progress : callable, optional
        Is told how many questions are answered so far, and how many there are.

    Returns
    -------
    Coverage
        Exact: an enquiry counts as met where a build exists within all its limits.
    """
    shelf = from_stock(engine, enquiries, stock=stock)
    standing = standings(shelf, executor=executor, progress=progress)
    each = tuple(Standing)
    return Coverage(
        engine.catalogue,
        shelf.enquiries,
        tuple(each[s] for s in standing[shelf.questions.of].tolist()),
        len(shelf.questions),
        shelf.left_out,
        engine.left_out,
    )


def standings(
    shelf: FromStock,
    *,
    executor: Executor | None = None,
    progress: Progress | None = None,
) -> npt.NDArray[np.int8]:
    """Return the standing of every distinct question.

    Parameters
    ----------
    shelf : FromStock
        The questions, and what they come to from stock.
    executor, progress
        As in :func:`coverage`.
    """
    questions, total = shelf.questions, len(shelf.questions)
    found = np.full(total, Standing.NEITHER, dtype=np.int8)
    here = shelf.served(executor).yes
    found[here] = Standing.STOCK
    left = np.flatnonzero(~here)
    ended = total - len(left)
    if progress is not None:
        progress(ended, total)
    if len(left):
        told = None if progress is None else lambda done, _: progress(ended + done, total)
        sold = questions.asked_of(SOLD, left)
        found[left] = np.concatenate(in_pieces(_sold, questions.menus, [sold], executor, told))
    return found


def _sold(listing: Listing, asked: Asked) -> npt.NDArray[np.int8]:
    """Return the standings of questions that are not served from stock."""
    found = np.full(len(asked), Standing.NEITHER, dtype=np.int8)
    # What is certain is possible, and there is far less to look at where all is certain.
    sure = served(listing, asked, certain=True).yes
    found[sure] = Standing.CATALOGUE
    left = np.flatnonzero(~sure)
    found[left[served(listing, asked.take(left), certain=False).yes]] = Standing.POSSIBLY
    return found


def trend(coverage: Coverage) -> dict[str, StandingTally]:
    """Return enquiries by standing for every month with a date, in order.

    Examples
    --------
    A key looks like ``2026-03``; enquiries without a date are left out.
    """
    dated = [(e, s) for e, s in zip(coverage.enquiries, coverage.standings, strict=True) if e.date]
    part = replace(
        coverage, enquiries=tuple(e for e, _ in dated), standings=tuple(s for _, s in dated)
    )
    return part.by("month")
