"""What can be chosen on the map of made parts: every candidate, and what no wall is left for."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from enum import Enum

from fitgraph.adapters import Barred, Candidate, Scan, Worth
from fitgraph.adapters.made import Words
from fitgraph.model import Reference
from fitgraph.records import dataclass

#: Between the words of a part that has several.
_AND = ", "


class Kind(Enum):
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
    kind : Kind
        How it stands.
    x, y : float
        Its two sizes in mm; y is 0 where only one is free.
    candidate, worth, barred : Candidate, Worth, Barred or None
        What is known of it.
    """

    key: str
    kind: Kind
    x: float
    y: float
    candidate: Candidate | None = None
    worth: Worth | None = None
    barred: Barred | None = None


def words_text(words: Words) -> str:
    """Return the words of a part for people; a dash where it has none."""
    return _AND.join(word or "none" for word in words.values()) or "–"


def kind_of(worth: Worth) -> Kind:
    """Return how a weighed part stands."""
    if worth.gained > 0:
        return Kind.GAINS
    return Kind.JOINS if worth.builds else Kind.IDLE


def entries(
    axes: tuple[Reference, Reference | None],
    scan: Scan | None,
    found: Sequence[Candidate],
    barred: Sequence[Barred],
    word: str = "",
) -> Iterator[Entry]:
    """Yield what can be chosen, the best first.

    Parameters
    ----------
    axes : tuple of Reference
        The sizes of the map.
    scan : Scan or None
        What the parts are worth; None while that is not known.
    found : sequence of Candidate
        Shown until they are weighed.
    barred : sequence of Barred
        What no wall is left for.
    word : str
        Only parts with these words, as :func:`words_text` has them; empty for all.
    """

    def at(sizes: Mapping[Reference, float]) -> tuple[float, float]:
        return sizes[axes[0]], 0.0 if axes[1] is None else sizes[axes[1]]

    if scan is not None:
        for worth in scan.worths:
            one = worth.candidate
            if not word or words_text(one.words) == word:
                yield Entry(one.part.sku, kind_of(worth), *at(one.sizes), one, worth)
    else:
        for one in found:
            # Cells that no counterpart bounds hold nothing; they are there for completeness.
            meets = all(c.bound_below or c.bound_above for c in one.cells.values())
            if meets and (not word or words_text(one.words) == word):
                yield Entry(one.part.sku, Kind.WAITING, *at(one.sizes), one)
    for none in barred:
        if not word or word in map(words_text, none.words):
            x, y = at(none.sizes)
            yield Entry(f"no wall {x:.2f} {y:.2f}", Kind.BARRED, x, y, barred=none)
