"""A catalogue made ready for questions, compiled once however many widgets use it."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fitgraph.catalogue import CatalogueError, Finding, Loaded, demo_folder, load
from fitgraph.lab.chosen import chosen_folder
from fitgraph.model import Catalogue, Supply
from fitgraph.shop.front import Shop
from fitgraph.units import show_money

if TYPE_CHECKING:
    from fitgraph.adapters import Scan
    from fitgraph.explain import Explainer
    from fitgraph.explain.measure import Measurer
    from fitgraph.solve import TreeEngine

#: Name, number, size and time of a folder's files.
_States = tuple[tuple[str, int, int, int], ...]

#: What was made ready in the process that kernels are forked from: its folder, and it.
_ready: list[Any] = []

#: The folder that was to be made ready.
_tried: list[tuple[Path | None, _States]] = []


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
    folder : Path, optional
        Where it lies; None for the demo.
    """

    def __init__(
        self,
        catalogue: Catalogue,
        findings: tuple[Finding, ...] = (),
        supply: Supply | None = None,
        folder: Path | None = None,
    ) -> None:
        self.catalogue = catalogue
        self.findings = findings
        self.supply = Supply() if supply is None else supply
        #: The front door to the same catalogue, with the same compiled engine.
        self.shop = Shop(Loaded(catalogue, findings, self.supply), folder)

    @property
    def engine(self) -> TreeEngine:
        """Return the engine that counts and ranks builds."""
        return self.shop.engine

    @property
    def explainer(self) -> Explainer:
        """Return what says why parts do not fit."""
        return self.shop.explainer

    @cached_property
    def measurer(self) -> Measurer:
        """Return what says which measurement settles most."""
        from fitgraph.explain.measure import Measurer

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


def open_catalogue(folder: str | Path | None = None, *, demo: bool = False) -> OpenCatalogue:
    """Read a catalogue folder and make it ready.

    Parameters
    ----------
    folder : str or Path, optional
        The folder; where none is given, the one that was opened on the start page, else the
        demo catalogue.
    demo : bool
        Whether it is the demo catalogue whatever was opened.

    Raises
    ------
    CatalogueError
        If nothing in it can be used; the message says what to mend.
    """
    where = Path(folder) if folder is not None else None if demo else chosen_folder()
    if _ready and _ready[0] == (where, _states(where)):
        return _ready[1]
    return _opened(where)


def scan_of(opened: OpenCatalogue, make: str) -> Scan:
    """Return what every part of a make is worth; worked out once, for the pages as well.

    Raises
    ------
    KeyError
        If the vocabulary has no such make.
    """
    from fitgraph.adapters.trials import ChangedMake
    from fitgraph.shop.weighed import weighed

    return weighed(opened.shop).scan(ChangedMake.of(opened.catalogue.vocabulary.makes[make]))


def _opened(where: Path | None) -> OpenCatalogue:
    loaded = load(demo_folder() if where is None else where)
    return OpenCatalogue(loaded.catalogue, loaded.findings, loaded.supply, where)


def _states(where: Path | None) -> _States:
    """Return what the system says of a folder's files; something else once one was written to."""
    folder = demo_folder() if where is None else where
    try:
        # Folders inside hold no table: what is kept there makes a catalogue no other one.
        found = [(f.name, f.stat()) for f in sorted(folder.iterdir()) if not f.is_dir()]
    except OSError:
        return ()
    return tuple((name, s.st_ino, s.st_size, s.st_mtime_ns) for name, s in found)


def prepare() -> Iterator[None]:
    """Open the chosen catalogue for all kernels that come of this process, a step at a time.

    Yields
    ------
    None
        After each step.
    """
    where = chosen_folder()
    now = (where, _states(where))
    _ready[:] = []
    _tried[:] = [now]
    try:
        opened = _opened(where)
    except (CatalogueError, OSError):
        return  # it is told to whoever opens a page
    _ready[:] = [now, opened]
    yield
    for make in (lambda: opened.engine, lambda: opened.explainer, opened.shop.check):
        make()
        yield
    if opened.catalogue.vocabulary.identify is not None:
        opened.shop.identify()
        yield


def outdated() -> bool:
    """Say whether the chosen catalogue is another one than was prepared, or was written to."""
    where = chosen_folder()
    return _tried != [(where, _states(where))]
