"""What can be chosen on the map of made parts: every candidate, and what no wall is left for."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from enum import Enum

from fitgraph.adapters import Barred, Candidate, Scan, Worth
from fitgraph.adapters.made import words_text
from fitgraph.adapters.trials import Plane
from fitgraph.model import Reference, Vocabulary
from fitgraph.records import dataclass
from fitgraph.report.made_parts import thin_text, worth_text


class Mark(Enum):
    """How a part that could be made stands; each kind has a shape of its own on the map."""

    GAINS = "serves people whom nothing serves now"
    JOINS = "joins builds, but serves nobody new"
    IDLE = "fits parts, but joins no whole build"
    WAITING = "not weighed yet"
    BARRED = "leaves too thin a wall"


@dataclass(frozen=True, slots=True)
class Entry:
    """A line of the list, and a place on the map.

    Parameters
    ----------
    key : str
        Tells it from all others of the same make.
    kind : Mark
        How it stands.
    x, y : float
        Its two sizes in mm; y is 0 where only one is free.
    candidate, worth, barred : Candidate, Worth, Barred or None
        What is known of it.
    """

    key: str
    kind: Mark
    x: float
    y: float
    candidate: Candidate | None = None
    worth: Worth | None = None
    barred: Barred | None = None

    @property
    def place(self) -> tuple[float, float]:
        """Return where it stands on the map; what differs by less is one dot."""
        return round(self.x, 2), round(self.y, 2)

    def text(self, vocabulary: Vocabulary) -> str:
        """Return it as a line of the list, or as what the map says when it is pointed at."""
        if self.barred is not None:
            return (
                f"✗ {self.x:.2f} with {self.y:.2f} mm: cannot be made, "
                f"{thin_text(self.barred)} at the worst sizes"
            )
        assert self.candidate is not None
        told = "not weighed yet" if self.worth is None else worth_text(self.worth, vocabulary)
        return f"{self.candidate.by_size}: {told}"


def _kind(worth: Worth | None) -> Mark:
    if worth is None:
        return Mark.WAITING
    if worth.gained > 0:
        return Mark.GAINS
    return Mark.JOINS if worth.builds else Mark.IDLE


def entries(plane: Plane, scan: Scan | None, word: str = "") -> Iterator[Entry]:
    """Yield what can be chosen, the best first.

    Parameters
    ----------
    plane : Plane
        What there is of a make; its candidates are shown until they are weighed.
    scan : Scan or None
        What the parts are worth; None while that is not known.
    word : str
        Only parts with these words, as :func:`fitgraph.adapters.made.words_text` has them; empty
        for all.
    """
    across, up = plane.axes

    def at(sizes: Mapping[Reference, float]) -> tuple[float, float]:
        return sizes[across], 0.0 if up is None else sizes[up]

    # Cells that no counterpart bounds hold nothing; they are there for completeness.
    ones: list[tuple[Candidate, Worth | None]] = [
        (one, None)
        for one in plane.found
        if all(c.bound_below or c.bound_above for c in one.cells.values())
    ]
    if scan is not None:
        ones = [(worth.candidate, worth) for worth in scan.worths]
    for one, value in ones:
        if not word or words_text(one.words) == word:
            yield Entry(one.part.sku, _kind(value), *at(one.sizes), one, value)
    for none in plane.barred:
        if not word or word in map(words_text, none.words):
            x, y = at(none.sizes)
            yield Entry(f"no wall {x:.2f} {y:.2f}", Mark.BARRED, x, y, barred=none)
