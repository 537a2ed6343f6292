"""What parts that could be made are worth; what was weighed once is not weighed again."""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import field, replace
from weakref import WeakKeyDictionary

from fitgraph.adapters import (
    Scan,
    SpecSheet,
    Together,
    Worth,
    frontier,
    region,
    scan,
    sheet,
    with_part,
)
from fitgraph.adapters.made import words_text
from fitgraph.adapters.pairs import pairs
from fitgraph.adapters.trials import ChangedMake, MadeUp, Plane, plane_of
from fitgraph.catalogue import Loaded
from fitgraph.graph.options import options_for
from fitgraph.model import Make, Option
from fitgraph.records import dataclass
from fitgraph.shop.front import Shop
from fitgraph.stock import Coverage, coverage

#: Sheets that are kept, so that going back to a part costs nothing.
_SHEETS = 32


@dataclass(slots=True)
class Weighed:
    """A catalogue, perhaps with made-up parts, and what was weighed against it."""

    shop: Shop
    options: Mapping[str, tuple[Option, ...]]
    scans: dict[ChangedMake, Scan] = field(default_factory=dict)
    _one: threading.RLock = field(default_factory=threading.RLock)
    _planes: dict[ChangedMake, Plane] = field(default_factory=dict)
    _sheets: dict[tuple[ChangedMake, str], SpecSheet] = field(default_factory=dict)
    _coverage: Coverage | None = None

    def scan(self, choice: ChangedMake, progress: Callable[[int, int], None] | None = None) -> Scan:
        """Return what the parts of a make are worth."""
        with self._one:  # who asks for the same at the same time waits for it
            if choice not in self.scans:
                catalogue = self.shop.catalogue
                self.scans[choice] = scan(
                    catalogue,
                    choice.variant(catalogue.vocabulary),
                    in_stock=choice.in_stock,
                    progress=progress,
                    engine=self.shop.engine,
                )
            return self.scans[choice]

    def sheet(self, choice: ChangedMake, worth: Worth, gained: Sequence[str]) -> SpecSheet:
        """Return the specification sheet of a part; the last few are kept."""
        key = choice, worth.candidate.part.sku
        if key not in self._sheets:
            if len(self._sheets) >= _SHEETS:
                self._sheets.pop(next(iter(self._sheets)))
            self._sheets[key] = sheet(self.shop.catalogue, worth, gained)
        return self._sheets[key]

    def worth(self, made: MadeUp) -> Worth | None:
        """Return what a part is worth that was found here; None where it is none of them."""
        for worth in self.scan(made.choice).worths:
            one = worth.candidate
            if (tuple(one.sizes.values()), tuple(one.words.values())) == (made.sizes, made.words):
                return worth
        return None

    def coverage(self, progress: Callable[[int, int], None] | None = None) -> Coverage:
        """Return the standing of all enquiries; asked once.

        Parameters
        ----------
        progress : callable, optional
            Told how many questions of how many are answered.
        """
        if self._coverage is None:
            self._coverage = coverage(self.shop.engine, progress=progress)
        return self._coverage

    @property
    def covered(self) -> bool:
        """Whether :meth:`coverage` answers at once."""
        return self._coverage is not None

    def plane(self, choice: ChangedMake, word: str = "") -> Plane:
        """Return the candidates of a make, and the plane that they lie in.

        Parameters
        ----------
        choice : ChangedMake
            The make.
        word : str
            Cells for parts with these words, as :func:`fitgraph.adapters.made.words_text` has
            them; for cells whatever the words by default.
        """
        catalogue = self.shop.catalogue
        if choice not in self._planes:
            self._planes[choice] = plane_of(catalogue, choice, self.options)
        plane = self._planes[choice]
        words = next((c.words for c in plane.found if words_text(c.words) == word), None)
        if not word or words is None:
            return plane
        return replace(plane, region=region(catalogue, plane.make, self.options, words))

    def together(
        self,
        choice: ChangedMake,
        others: Sequence[Make],
        most: int,
        progress: Callable[[int, int], None] | None = None,
    ) -> tuple[Together, ...]:
        """Return the best choices of one part, of two, and so on.

        Parameters
        ----------
        choice : ChangedMake
            The make.
        others : sequence of Make
            What may be made besides.
        most : int
            How many parts may be made.
        progress : callable, optional
            Told how far a scan is.
        """
        more = (ChangedMake.of(make, in_stock=choice.in_stock) for make in others)
        scans = [self.scan(one, progress) for one in (choice, *more)]
        both = pairs(scans, in_stock=choice.in_stock) if others else ()
        return tuple(frontier(scans, most, both))


_WEIGHED: WeakKeyDictionary[Shop, dict[tuple[MadeUp, ...], Weighed]] = WeakKeyDictionary()


def weighed(shop: Shop, added: tuple[MadeUp, ...] = ()) -> Weighed:
    """Return what was weighed against a catalogue, by whoever asked.

    Parameters
    ----------
    shop : Shop
        The catalogue as it is.
    added : tuple of MadeUp
        Parts added to it for a trial.

    Raises
    ------
    ValueError
        If an added part cannot be made up in this catalogue.
    """
    kept = _WEIGHED.setdefault(shop, {})
    if added not in kept:
        tried, vocabulary = shop, shop.catalogue.vocabulary
        if added:
            parts = [made.part(vocabulary) for made in added]
            tried = Shop(Loaded(with_part(shop.catalogue, *parts), ()))
        catalogue = tried.catalogue
        options = {r: options_for(catalogue.of(r), r, vocabulary) for r in vocabulary.roles}
        kept[added] = Weighed(tried, options)
    return kept[added]
