"""A catalogue made ready for questions, compiled once however many widgets use it."""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fitgraph.catalogue import CatalogueError, Finding, Loaded, demo_folder, load
from fitgraph.catalogue.loaded import FEATURES, PARTS
from fitgraph.lab.chosen import chosen_folder
from fitgraph.model import Catalogue, Enquiry, Supply
from fitgraph.shop.front import Shop
from fitgraph.wording import plural

if TYPE_CHECKING:
    from fitgraph.adapters import Scan
    from fitgraph.explain import Explainer, RequestExplanation
    from fitgraph.explain.identify import State
    from fitgraph.explain.measure import Measurer
    from fitgraph.graph.size_map import SizeMap
    from fitgraph.solve import TreeEngine
    from fitgraph.solve.engine import Build
    from fitgraph.stock import Coverage, Stranded
    from fitgraph.stock.in_turn import InTurn
    from fitgraph.stock.known_plans import KnownPlans

#: What takes more memory than this [bytes] for all builds waits until somebody asks for it.
WIDE = 100e6

#: Joints that lack no more than this are on the map of sizes [mm].
MOST_MISS_MM = 0.5

#: Columns of parts in which no figure stands.
_WORDS = {"name", "maker", "material", "note"}

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
        #: What the enquiries asked so far lack of what is in stock.
        self.lacking: dict[Enquiry, RequestExplanation | str] = {}
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

    @cached_property
    def ends(self) -> tuple[Build, ...]:
        """Return the first of all builds in each order: cheapest, lightest, strongest."""
        from fitgraph.solve import Request
        from fitgraph.solve.engine import SORTS

        return tuple(b for s in SORTS for b in self.engine.best(Request(), sort=s, limit=1))

    @cached_property
    def rider(self) -> State:
        """Return what is known of a rider whom nobody has asked, its question worked out.

        Raises
        ------
        NamingError
            If the vocabulary asks no questions.
        TooWideError
            If that would need more memory than the ceiling.
        """
        found = self.shop.identify().found
        found.next_question()
        return found

    @cached_property
    def is_wide(self) -> bool:
        """Whether questions over all parts take much memory, as where every part is measured."""
        from fitgraph.solve import TooWideError

        try:
            return self.engine.space.plan(certain=False).bytes > WIDE
        except TooWideError:
            return True

    @cached_property
    def sizes(self) -> SizeMap:
        """Return the interfaces of the catalogue on one axis, with pairs that fail narrowly."""
        from fitgraph.graph.size_map import size_map

        return size_map(self.catalogue, misses_mm=MOST_MISS_MM)

    def coverage(self, progress: Callable[[int, int], None] | None = None) -> Coverage:
        """Return how every enquiry could be served; asked once.

        Parameters
        ----------
        progress : callable, optional
            Told how many questions of how many are answered.
        """
        from fitgraph.shop.weighed import weighed

        return weighed(self.shop).coverage(progress)

    @property
    def covered(self) -> bool:
        """Whether :meth:`coverage` answers at once."""
        from fitgraph.shop.weighed import weighed

        return weighed(self.shop).covered

    @cached_property
    def stranded(self) -> tuple[Stranded, ...]:
        """Return the parts in stock that go into no build from stock."""
        from fitgraph.stock import stranded

        return stranded(self.engine)

    @cached_property
    def turn(self) -> InTurn:
        """Return who is served as pieces run out."""
        from fitgraph.stock.in_turn import in_turn

        return in_turn(self.engine)

    @cached_property
    def curve(self) -> KnownPlans:
        """Return the best orders for every sum, whenever they come."""
        from fitgraph.stock import Restocking
        from fitgraph.stock.known_plans import KnownPlans

        return KnownPlans(tuple(Restocking(self.engine, self.supply).steps()), True)

    def knows(self, answer: str) -> bool:
        """Whether an answer of this name has been worked out."""
        return answer in self.__dict__

    def lacks(self, enquiry: Enquiry) -> RequestExplanation | str:
        """Return what an enquiry lacks of what is in stock, or why that is not told; asked once."""
        if enquiry not in self.lacking:
            self.lacking[enquiry] = self.explainer.lacks(enquiry)
        return self.lacking[enquiry]

    def doubts(self, sku: str) -> tuple[Finding, ...]:
        """Return what the check of the tables has against the figures of a part."""
        return tuple(
            f
            for f in self.findings
            if f.sku == sku and f.file in (PARTS, FEATURES) and f.column not in _WORDS
        )

    def money(self, minor: int) -> str:
        """Return an amount in minor units as people read it, in the catalogue's currency."""
        return self.catalogue.vocabulary.money(minor)

    def __repr__(self) -> str:
        """Return how many parts there are, and how many remarks on the tables."""
        parts, roles = len(self.catalogue.parts), len(self.catalogue.vocabulary.roles)
        return (
            f"{self.catalogue.vocabulary.trade}: {plural(parts, 'part')} in "
            f"{plural(roles, 'role')}, {plural(len(self.findings), 'remark')} on the tables"
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
    except (OSError, ValueError):  # of a name that no folder can have
        return ()
    return tuple((name, s.st_ino, s.st_size, s.st_mtime_ns) for name, s in found)


def prepare() -> None:
    """Open the chosen catalogue for all kernels that come of this process."""
    where = chosen_folder()
    now = (where, _states(where))
    _ready[:] = []
    _tried[:] = [now]
    try:
        opened = _opened(where)
    except (CatalogueError, OSError):
        return  # it is told to whoever opens a page
    _ready[:] = [now, opened]


def made_ready() -> OpenCatalogue | None:
    """Return the catalogue that :func:`prepare` opened, None where it could not."""
    return _ready[1] if _ready else None


def outdated() -> bool:
    """Say whether the chosen catalogue is another one than was prepared, or was written to."""
    where = chosen_folder()
    return _tried != [(where, _states(where))]
