"""The parts worth making: each on its own, and the best few together, in one answer."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from concurrent.futures import Executor
from dataclasses import field

import numpy as np

from fitgraph.adapters.assemblies import WholeYield, whole_yield
from fitgraph.adapters.best_k import Together, frontier
from fitgraph.adapters.design_scan import Bools, Scan, Worth
from fitgraph.adapters.pairs import pairs
from fitgraph.adapters.sheet import SpecSheet, sheet
from fitgraph.model import Catalogue, Make
from fitgraph.records import dataclass
from fitgraph.solve import NamingError

#: What is said wherever a part is proposed.
PROPOSAL = (
    "Worked out from the figures of the catalogue: measure the counterparts and try one before "
    "a lot is made. Costs are estimates from the stated model."
)


@dataclass(frozen=True, slots=True)
class Proposals:
    """What is worth making.

    Parameters
    ----------
    scans : tuple of Scan
        All parts of each make that could be worth making.
    listed : tuple of (Scan, Worth)
        The first of them, none whose gain lies within that of a listed one.
    together : tuple of Together
        The best one, two, ... together.
    in_stock : bool
        Whether enquiries are served from stock only.
    refused : tuple of (Make, str)
        What else could be made but would need too much memory to be weighed, and why.
    """

    scans: tuple[Scan, ...]
    listed: tuple[tuple[Scan, Worth], ...]
    together: tuple[Together, ...]
    in_stock: bool
    refused: tuple[tuple[Make, str], ...] = ()
    _wholes: dict[str, WholeYield] = field(default_factory=dict, compare=False, repr=False)

    @property
    def catalogue(self) -> Catalogue:
        """Return what they were weighed against."""
        return self.scans[0].catalogue

    def chosen(self, most: int) -> tuple[Worth, ...]:
        """Return the best together, or else the first listed ones."""
        if self.together:
            return tuple(self.together[-1].worths)
        return tuple(worth for _, worth in self.listed[:most])

    def gained_by(self, worth: Worth) -> list[str]:
        """Return the numbers of the enquiries that one part alone would serve."""
        return [number for scan in self.scans for number in scan.gained_by(worth)]

    def wholes(self, worth: Worth) -> WholeYield:
        """Return what share of whole assemblies with a part goes together; drawn once."""
        part = worth.candidate.part
        if part.sku not in self._wholes:
            self._wholes[part.sku] = whole_yield(self.catalogue, part)
        return self._wholes[part.sku]

    def sheet(self, worth: Worth) -> SpecSheet:
        """Return the specification sheet of a part."""
        made = sheet(self.catalogue, worth, self.gained_by(worth))
        self._wholes[made.part.sku] = made.wholes
        return made


def makes_of(catalogue: Catalogue, role: str | None) -> list[Make]:
    """Return what could be made, of one role or make if it is named.

    Raises
    ------
    NamingError
        If the vocabulary says of nothing how it is made, or not of this.
    """
    makes = catalogue.vocabulary.makes
    if not makes:
        raise NamingError(
            "this vocabulary does not say what could be made; add a [make.NAME] table "
            "(docs/catalogue.md)"
        )
    if role is None:
        return list(makes.values())
    found = [m for m in makes.values() if role.strip().lower() in (m.name.lower(), m.role.lower())]
    if not found:
        raise NamingError(f"{role!r} cannot be made; use one of {', '.join(makes)}")
    return found


def _listed(scans: Sequence[Scan], limit: int) -> tuple[tuple[Scan, Worth], ...]:
    """Return the first of all parts; one whose gain lies within a listed one's is passed over."""
    ranked = [(s, w, s.serves[:, n] & ~s.before) for s in scans for n, w in enumerate(s.worths)]
    ranked.sort(key=lambda entry: (-entry[1].gained, entry[1].shared - entry[1].builds))
    found: list[tuple[Scan, Worth]] = []
    told: list[Bools] = []
    for scan, worth, gains in ranked:
        if len(found) == limit or not worth.builds:
            continue
        if gains.any() and any(not (gains & ~other).any() for other in told):
            continue
        found.append((scan, worth))
        told.append(gains if gains.any() else np.zeros(len(gains), dtype=bool))
    return tuple(found)


def proposals(
    scans: Iterable[Scan],
    *,
    most: int,
    limit: int,
    in_stock: bool,
    refused: Sequence[tuple[Make, str]] = (),
    executor: Executor | None = None,
) -> Proposals:
    """Return what is worth making.

    Parameters
    ----------
    scans : iterable of Scan
        One for each make.
    most : int
        How many may be made.
    limit : int
        How many are listed.
    in_stock : bool
        Whether enquiries were served from stock only.
    refused : sequence of (Make, str)
        What else could be made but was not weighed, and why.
    executor : concurrent.futures.Executor, optional
        Where it is looked for what two parts serve in one build; here by default.
    """
    every = tuple(scans)
    both = pairs(every, in_stock=in_stock, executor=executor) if most > 1 else ()
    together = tuple(step for step in frontier(every, most, both) if step.worths)
    return Proposals(every, _listed(every, limit), together, in_stock, tuple(refused))
