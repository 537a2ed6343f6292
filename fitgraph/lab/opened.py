"""A catalogue made ready for questions, compiled once however many widgets use it."""

from __future__ import annotations

from functools import cached_property
from pathlib import Path

import scipy.stats  # noqa: F401  loaded now, so that no first answer waits for it

from fitgraph.catalogue import Finding, demo_folder, load
from fitgraph.explain import Explainer
from fitgraph.explain.measure import Measurer
from fitgraph.model import Catalogue, Supply
from fitgraph.solve import TreeEngine
from fitgraph.units import show_money


class OpenCatalogue:
    """A catalogue with what answers questions about it.

    Parameters
    ----------
    catalogue : Catalogue
        The parts and their vocabulary.
    findings : sequence of Finding
        What was wrong in its tables.
    supply : Supply, optional
        What can be ordered, and what was held when.
    """

    def __init__(
        self,
        catalogue: Catalogue,
        findings: tuple[Finding, ...] = (),
        supply: Supply | None = None,
    ) -> None:
        self.catalogue = catalogue
        self.findings = findings
        self.supply = Supply() if supply is None else supply

    @cached_property
    def engine(self) -> TreeEngine:
        """Return the engine that counts and ranks builds."""
        return TreeEngine(self.catalogue)

    @cached_property
    def explainer(self) -> Explainer:
        """Return what says why parts do not fit."""
        return Explainer(self.catalogue)

    @cached_property
    def measurer(self) -> Measurer:
        """Return what says which measurement settles most."""
        return Measurer(self.catalogue)

    def money(self, minor: int) -> str:
        """Return an amount in minor units as people read it, in the catalogue's currency."""
        vocabulary = self.catalogue.vocabulary
        return show_money(minor, vocabulary.currency, vocabulary.minor_digits)

    def __repr__(self) -> str:
        """Return how many parts there are, and how many remarks on the tables."""
        parts, roles = len(self.catalogue.parts), len(self.catalogue.vocabulary.roles)
        return (
            f"{self.catalogue.vocabulary.trade}: {parts} parts in {roles} roles, "
            f"{len(self.findings)} remarks on the tables"
        )


def open_catalogue(folder: str | Path | None = None) -> OpenCatalogue:
    """Read a catalogue folder and make it ready.

    Parameters
    ----------
    folder : str or Path, optional
        The folder; the demo catalogue where none is given.

    Raises
    ------
    CatalogueError
        If nothing in it can be used; the message says what to mend.
    """
    loaded = load(demo_folder() if folder is None else folder)
    return OpenCatalogue(loaded.catalogue, loaded.findings, loaded.supply)
