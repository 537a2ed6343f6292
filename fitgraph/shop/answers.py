"""Answers: each is data, and shows itself as text, HTML, JSON, CSV and frames."""

from __future__ import annotations

import operator
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import field
from functools import cached_property
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from fitgraph.errors import ArgumentError
from fitgraph.records import dataclass
from fitgraph.report import as_csv, as_frame, as_json, as_text
from fitgraph.report.hints import Hints
from fitgraph.report.tables import Table
from fitgraph.shop.edge import listed_of, one_of, path_of, whole_of

if TYPE_CHECKING:
    from fitgraph.adapters.proposals import Proposals
    from fitgraph.catalogue import Finding
    from fitgraph.catalogue.missing import Missing
    from fitgraph.explain import Explanation, Prefer
    from fitgraph.explain.advice import RiderAdvice
    from fitgraph.explain.exchange import Exchange
    from fitgraph.explain.identify import State
    from fitgraph.explain.representatives import Representative
    from fitgraph.explain.requested import Listed
    from fitgraph.explain.standing import PartStanding
    from fitgraph.explain.story import Story
    from fitgraph.model import Catalogue
    from fitgraph.report.blocks import Report
    from fitgraph.report.readings import Ranked
    from fitgraph.report.sides import Compared
    from fitgraph.report.unserved import Lacking
    from fitgraph.solve import TreeEngine
    from fitgraph.stock import Coverage
    from fitgraph.stock.gaps import Gaps
    from fitgraph.stock.plans import Plans

#: No text is wider, whatever width is asked for.
_WIDEST = 100_000

#: Lines of a screen that an answer's repr keeps to.
SCREEN = 40


class Answer:
    """What was found, and every way to have it.

    Examples
    --------
    >>> import fitgraph
    >>> shop = fitgraph.open()
    >>> answer = shop.why("BAR-MAR-05", "CLMP-SKE-02")
    >>> answer.yes, answer.report().headline
    (False, 'Does not fit.')
    >>> print(answer.to_text().splitlines()[0])
    Does not fit.
    >>> answer.to_dict()["verdict"], answer.to_json().split()[2]
    ('fails', '"fails",')
    >>> answer.tables
    ('joints', 'changes', 'minimal_conflicts', 'needs')
    >>> answer.records("joints")[0]["verdict"], answer.units("joints")
    ('fails', {'margin_mm': 'mm'})
    >>> answer.table("joints").keys == tuple(answer.to_frame("joints").columns)
    True
    >>> print(answer.to_csv("joints").splitlines()[0])
    joint,verdict,margin_mm,share,rule
    """

    #: The module of :mod:`fitgraph.report` that makes data, tables and a report of it; which fields
    #: of it all of them ask for, which the report asks for besides, and whether that says where
    #: there is more.
    _module = ""
    _about: tuple[str, ...] = ("found",)
    _shown: tuple[str, ...] = ()
    _hinted = False

    def report(self, hints: Hints | None = None) -> Report:
        """Return what is shown of it: sentences, tables, pictures and cautions."""
        more = (getattr(self, name) for name in self._shown)
        made: Report = self._made("report", *more, *((hints or Hints(),) if self._hinted else ()))
        return made

    def _made(self, what: Literal["data", "tables", "report"], *more: Any) -> Any:
        module = import_module(f"fitgraph.report.{self._module}")
        return getattr(module, what)(*(getattr(self, name) for name in self._about), *more)

    def _tables(self) -> Sequence[Table]:
        """Return its tables, the main one first."""
        made: Sequence[Table] = self._made("tables")
        return made

    def to_dict(self) -> dict[str, Any]:
        """Return it as plain data, in the shape that ``--json`` prints.

        Returns
        -------
        dict
            Lengths in mm, masses in g, moments in N m, money in major units; None where
            nobody knows.
        """
        made: dict[str, Any] = self._made("data")
        return made

    @property
    def yes(self) -> bool:
        """Whether it is an answer, not a no; commands end with 0 or 1 by it."""
        return True

    @cached_property
    def _by_name(self) -> dict[str, Table]:
        return {table.name: table for table in self._tables()}

    @property
    def tables(self) -> tuple[str, ...]:
        """Return the names of its tables, the main one first."""
        return tuple(self._by_name)

    def table(self, name: str | None = None) -> Table:
        """Return one of its tables as data; the main one by default.

        Raises
        ------
        InputError
            If there is none of that name.
        """
        if name is None:
            name = self.tables[0]
        return self._by_name[one_of(name, self.tables, "table")]

    def to_frame(self, table: str | None = None, *, backend: str | None = None) -> Any:
        """Return a table as a data frame, money in major units.

        Parameters
        ----------
        table : str, optional
            One of :attr:`tables`; the main one by default.
        backend : {'pandas', 'polars', 'pyarrow'}, optional
            The library to make it with; the first installed one by default.

        Returns
        -------
        pandas.DataFrame, polars.DataFrame or pyarrow.Table
            A row for each thing found.

        Raises
        ------
        InputError
            If there is no such table, or no such library is installed.
        """
        return as_frame.frame(self.table(table), backend)

    def __arrow_c_stream__(self, requested_schema: object = None) -> object:
        """Hand the main table to any library that reads Arrow."""
        return self.to_frame(backend="pyarrow").__arrow_c_stream__(requested_schema)

    def records(self, table: str | None = None) -> list[dict[str, Any]]:
        """Return a table as plain data, a mapping for each row."""
        return self.table(table).records()

    def units(self, table: str | None = None) -> dict[str, str]:
        """Return the units of a table's columns, of those that have one."""
        return self.table(table).units

    def to_csv(self, table: str | None = None) -> str:
        """Return a table as CSV, whose cells no spreadsheet takes for a formula."""
        return as_csv.csv(self.table(table))

    def to_json(self) -> str:
        """Return :meth:`to_dict` as JSON, in ASCII."""
        return as_json.json_text(self.to_dict())

    def to_text(self, width: int = as_text.PLAIN_WIDTH) -> str:
        """Return the whole answer as text of so many columns."""
        return as_text.text(self.report(), min(whole_of(width, "width", 1), _WIDEST))

    def __str__(self) -> str:
        return self.to_text()

    def __repr__(self) -> str:
        return as_text.screenful(self.to_text(), SCREEN)

    def _repr_html_(self) -> str:
        from fitgraph.report.as_html import document

        return str(document(self.report()))


@dataclass(frozen=True, eq=False, repr=False)
class TableAnswer(Answer):
    """A listing of the catalogue: parts, features, stock, enquiries, offers.

    Parameters
    ----------
    found : Table
        The rows.
    what : str
        What one row is.

    Examples
    --------
    >>> import fitgraph
    >>> shop = fitgraph.open()
    >>> list(shop.stock[0])
    ['sku', 'role', 'pieces', 'price', 'value']
    >>> len(shop.stock["pieces"]) == len(shop.stock) == len(shop.stock.to_dict()["stock"])
    True
    >>> shop.parts.report().headline
    '346 parts'
    """

    found: Table
    what: str

    def report(self, hints: Hints | None = None) -> Report:
        """Return the first rows."""
        from fitgraph.report.listings import listing_report

        return listing_report(self.found, self.what)

    def _tables(self) -> Sequence[Table]:
        return (self.found,)

    def to_dict(self) -> dict[str, Any]:
        """Return the rows by the name of the listing; dates as ISO 8601."""
        rows = self.found.records()
        return {self.found.name: [{k: as_json.plain_value(v) for k, v in r.items()} for r in rows]}

    def __len__(self) -> int:
        return len(self.found.rows)

    def __iter__(self) -> Iterator[dict[str, Any]]:
        return iter(self.found.records())

    def __getitem__(self, key: int | slice | str) -> Any:
        """Return a row by its place, some rows, or a column by its name."""
        if isinstance(key, slice):
            return self.found.records()[key]
        try:
            return self.found.records()[operator.index(key)]  # type: ignore[arg-type]
        except TypeError:  # a text stands in no place
            name = one_of(key, self.found.keys, "the column")  # type: ignore[arg-type]
            return self.found.data()[name]


@dataclass(frozen=True, eq=False, repr=False)
class BuildsAnswer(Answer):
    """How many builds there are, the ways that stand for all, and the first builds.

    Parameters
    ----------
    found : Listed
        The counts, the ways and the builds.
    engine : TreeEngine or None
        Who answered, to open a way.

    Examples
    --------
    >>> import fitgraph
    >>> shop = fitgraph.open()
    >>> answer = shop.builds(have="FORK-VEN-04", budget="350 EUR", limit=1)
    >>> answer.yes, answer.count, answer.exact, len(answer)
    (True, 190093, True, 1)
    >>> answer.possible is None
    True
    >>> answer.to_frame()["price"].max() <= 350
    np.True_
    >>> answer.cores, answer.cores_exact, answer.answers[0].reasons
    (69, True, ('cheapest', 'lightest'))
    >>> answer.open(1).count == answer.answers[0].fillings.number
    True
    """

    _module = "builds"
    _hinted = True

    found: Listed
    engine: TreeEngine | None = None

    @property
    def cores(self) -> int | None:
        """How many ways there are: choices for the roles that decide; None if not counted."""
        return None if self.found.cores is None else self.found.cores.number

    @property
    def cores_exact(self) -> bool:
        """Whether :attr:`cores` is exact."""
        return self.found.cores is not None and self.found.cores.exact

    @property
    def answers(self) -> tuple[Representative, ...]:
        """The few ways that stand for all, each with its fillings and why it is shown."""
        return self.found.answers

    def open(self, place: int, *, limit: int = 5) -> BuildsAnswer:
        """Return the fillings of one of :attr:`answers`: builds that have it in common.

        Parameters
        ----------
        place : int
            Which, counted from 1.
        limit : int
            How many are listed, in the order that was asked for.

        Raises
        ------
        InputError
            If there is no such row.
        """
        from fitgraph.explain.requested import list_fillings

        many = len(self.answers)
        place, limit = whole_of(place, "open", 1), listed_of(limit)
        if self.engine is None or not 1 <= place <= many:
            known = f"write 1 to {many}" if many else "none is listed"
            raise ArgumentError("open", f"{place} is no listed way; {known}")
        one, found = self.answers[place - 1], self.found
        listed = list_fillings(self.engine, found.request, one, sort=found.sort, limit=limit)
        return BuildsAnswer(listed, self.engine)

    @property
    def count(self) -> int:
        """How many builds there are; an estimate where :attr:`exact` is False."""
        return self.found.count.number

    @property
    def exact(self) -> bool:
        """Whether :attr:`count` is exact."""
        return self.found.count.exact

    @property
    def possible(self) -> int | None:
        """How many hold or may hold; None where it was not counted."""
        return self.found.possible

    @property
    def yes(self) -> bool:
        """Whether there is a build."""
        return not self.found.none

    def __len__(self) -> int:
        return len(self.found.builds)


@dataclass(frozen=True, eq=False, repr=False)
class ExchangeAnswer(Answer):
    """What could be taken for a part, with the rest kept.

    Parameters
    ----------
    found : Exchange
        The parts, and what comes along with each.

    Examples
    --------
    >>> import fitgraph
    >>> shop = fitgraph.open()
    >>> answer = shop.exchange("bar", "FORK-VEN-04", "CLMP-SKE-01", "BAR-MAR-05")
    >>> answer.yes, answer.records()[0]["total"] >= answer.records()[0]["price"]
    (True, True)
    """

    _module = "exchanges"
    _hinted = True

    found: Exchange

    @property
    def yes(self) -> bool:
        """Whether there is another part that goes."""
        return self.found.count > 0


@dataclass(frozen=True, eq=False, repr=False)
class WhyAnswer(Answer):
    """Whether parts fit, why not, and what would change that.

    Parameters
    ----------
    found : Explanation
        Verdict, minimal conflicts, joints and changes.
    catalogue : Catalogue
        Whose parts and words are meant.
    prefer : Prefer
        Which changes come first.

    Examples
    --------
    >>> import fitgraph
    >>> shop = fitgraph.open()
    >>> answer = shop.why("BAR-MAR-05", "CLMP-SKE-02")
    >>> answer.verdict, answer.yes
    ('fails', False)
    """

    _module = "explanations"
    _about = ("found", "catalogue")
    _shown = ("prefer",)
    _hinted = True

    found: Explanation
    catalogue: Catalogue
    prefer: Prefer

    @property
    def verdict(self) -> str:
        """``"fits"``, ``"fails"`` or ``"unknown"``."""
        return self.found.verdict.word

    @property
    def yes(self) -> bool:
        """Whether they fit for certain."""
        return self.verdict == "fits"


@dataclass(frozen=True, eq=False, repr=False)
class RemainingAnswer(Answer):
    """What remains of each role after a choice.

    Parameters
    ----------
    found : mapping of str to tuple of PartStanding
        How every part of every role stands.
    catalogue : Catalogue
        Whose parts and words are meant.
    left_out : tuple of str
        Conditions that did not count where it cannot be told whether a part fits: with them it
        would need too much memory.
    have : tuple of str
        Stock numbers that are owned.

    Examples
    --------
    >>> import fitgraph
    >>> shop = fitgraph.open()
    >>> shop.remaining("FORK-VEN-04")["bar"][:2]
    ['BAR-SKE-01', 'BAR-SKE-02']
    """

    _module = "remainders"
    _shown = ("catalogue", "left_out", "have")

    found: Mapping[str, tuple[PartStanding, ...]]
    catalogue: Catalogue
    left_out: tuple[str, ...] = ()
    have: tuple[str, ...] = ()

    def __getitem__(self, role: str) -> list[str]:
        """Return the stock numbers that remain for a role, for certain."""
        return [s.part.sku for s in self.found[one_of(role, self.found, "the role")] if s.remains]


@dataclass(frozen=True, eq=False, repr=False)
class MeasureAnswer(Answer):
    """What to measure next, and what that settles.

    Parameters
    ----------
    found : Ranked
        Measurements, what settles most first.

    Examples
    --------
    >>> import fitgraph
    >>> shop = fitgraph.open()
    >>> answer = shop.measure("BAR-WYN-04", limit=1)
    >>> answer.yes, answer.records()[0]["sku"]
    (True, 'CLMP-VEN-01')
    """

    _module = "readings"
    _hinted = True

    found: Ranked

    @property
    def yes(self) -> bool:
        """Whether a measurement settles anything."""
        return bool(self.found.measurements)


@dataclass(frozen=True, eq=False, repr=False)
class IdentifyAnswer(Answer):
    """What a rider has, as far as the answers tell.

    Parameters
    ----------
    found : State
        The answers so far.
    catalogue : Catalogue
        Whose parts and words are meant.

    Examples
    --------
    >>> import fitgraph
    >>> shop = fitgraph.open()
    >>> asked = shop.identify()
    >>> asked.question, asked.common, asked.yes
    ('nuts-on-headset', ['no', 'yes'], False)
    >>> asked.ask.split("?")[0]
    'Is there a large nut for a spanner on top of the headset'
    >>> asked.answer(asked.question, "no").question
    'sleeve-outside'
    """

    _module = "guesses"
    _shown = ("catalogue",)
    _hinted = True

    found: State
    catalogue: Catalogue

    @property
    def question(self) -> str | None:
        """The most telling question for its effort; None where none is worth asking."""
        following = self.found.next_question()
        return None if following is None else following.name

    @property
    def ask(self) -> str:
        """The same in a rider's words, with how to look."""
        from fitgraph.explain.words_rider import question_text

        following = self.found.next_question()
        return "" if following is None else question_text(following)

    @property
    def common(self) -> list[str]:
        """Common answers to it."""
        from fitgraph.explain.words_rider import answer_text

        following = self.found.next_question()
        if following is None:
            return []
        return [answer_text(v) for v in self.found.identifier.answers(following)]

    @property
    def yes(self) -> bool:
        """Whether the likeliest kind is as good as found."""
        return self.found.sure

    def answer(self, question: str, seen: str) -> IdentifyAnswer:
        """Return what is known with one more answer.

        Parameters
        ----------
        question : str
            Name of the question.
        seen : str
            ``yes``, ``no``, a size, a word, ``none``, or ``?`` where it cannot be seen.

        Raises
        ------
        InputError
            If there is no such question, or it cannot be answered so.
        """
        return IdentifyAnswer(self.found.answer(question, seen), self.catalogue)


@dataclass(frozen=True, eq=False, repr=False)
class CompareAnswer(Answer):
    """Two parts or two builds side by side.

    Parameters
    ----------
    found : ComparedParts or ComparedBuilds
        The two.
    catalogue : Catalogue
        Whose parts and words are meant.

    Examples
    --------
    >>> import fitgraph
    >>> shop = fitgraph.open()
    >>> [row["parts"] for row in shop.compare("BAR-MAR-05", "BAR-CUL-05").records()]
    ['BAR-MAR-05', 'BAR-CUL-05']
    """

    _module = "sides"
    _about = ("found", "catalogue")

    found: Compared
    catalogue: Catalogue


@dataclass(frozen=True, eq=False, repr=False)
class AdviceAnswer(Answer):
    """Which family of materials suits a way of riding.

    Parameters
    ----------
    found : RiderAdvice
        Families, the best first.
    catalogue : Catalogue
        Whose parts and words are meant.

    Examples
    --------
    >>> import fitgraph
    >>> shop = fitgraph.open()
    >>> shop.advise("street").records()[0]["family"]
    'steel'
    """

    _module = "advised"
    _about = ("found", "catalogue")

    found: RiderAdvice
    catalogue: Catalogue


@dataclass(frozen=True, eq=False, repr=False)
class PivotAnswer(TableAnswer):
    """One figure of enquiries for every pair of groups.

    ``to_frame()`` has the groups of the first grouping in its first column.

    Examples
    --------
    >>> import fitgraph
    >>> shop = fitgraph.open()
    >>> pivot = shop.coverage().pivot("system", "material", "enquiries")
    >>> pivot[0]["steel"], pivot.report().headline
    (14.0, 'enquiries: system down, material across')
    """

    def report(self, hints: Hints | None = None) -> Report:
        """Return the whole table."""
        from fitgraph.report.blocks import Report

        return Report(self.what, (self.found,))


@dataclass(frozen=True, eq=False, repr=False)
class CoverageAnswer(Answer):
    """How far each enquiry can be met.

    Parameters
    ----------
    found : Coverage
        The standing of every enquiry.
    by : tuple of str
        One or two groupings that are shown.

    Examples
    --------
    >>> import fitgraph
    >>> shop = fitgraph.open()
    >>> coverage = shop.coverage()
    >>> round(coverage.share, 2)
    0.39
    >>> coverage.pivot("system", "material").to_frame().columns[0]
    'system'
    """

    _module = "tallies"
    _about = ("found", "by")

    found: Coverage
    by: tuple[str, ...]

    @property
    def share(self) -> float:
        """The share of enquiries that can be built from stock, 0 to 1."""
        return self.found.total.share()

    def pivot(self, row: str, column: str, values: str = "share") -> PivotAnswer:
        """Return one figure of enquiries for every pair of groups.

        Parameters
        ----------
        row, column : str
            Groupings: ``style``, ``material``, ``month`` or one of the vocabulary.
        values : {'share', 'enquiries', 'unmet', 'stock', 'catalogue', 'possibly', 'neither'}
            The share served from stock, or how many enquiries there are of a standing.

        Raises
        ------
        InputError
            If there is no such grouping or figure.
        """
        from fitgraph.report import tallies
        from fitgraph.stock.groups import grouping_names

        values = one_of(values, tallies.PIVOTS, "the figure")
        known = grouping_names(self.found.catalogue)
        row, column = (one_of(name, known, "the grouping") for name in (row, column))
        table = tallies.pivot_table(self.found, row, column, values)
        return PivotAnswer(table, f"{values}: {row} down, {column} across")


@dataclass(frozen=True, eq=False, repr=False)
class GapsAnswer(Answer):
    """What is asked for and cannot be built, and what is held and cannot be used.

    Parameters
    ----------
    found : Gaps
        Coverage, stranded parts and what much depends on.
    said : mapping of Enquiry to RequestExplanation or str
        What enquiries lack, of those of which it was asked.
    limit : int
        How many parts are listed of each sort.

    Examples
    --------
    >>> import fitgraph
    >>> shop = fitgraph.open()
    >>> shop.gaps().tables
    ('enquiries', 'by_system', 'by_material', 'matrix', 'by_month', 'stranded', 'weak', 'lacking')
    """

    _module = "shelf"
    _about = ("found", "said")
    _shown = ("limit",)
    _hinted = True

    found: Gaps
    said: Lacking
    limit: int = 8


@dataclass(frozen=True, eq=False, repr=False)
class RestockAnswer(Answer):
    """What to order, with proof, and what more money buys.

    Parameters
    ----------
    found : Plans
        The orders and the curve.

    Examples
    --------
    >>> import fitgraph
    >>> shop = fitgraph.open()
    >>> orders = shop.restock(spend=100)
    >>> orders.yes, orders.tables
    (True, ('orders', 'curve'))
    """

    _module = "purchases"
    _hinted = True

    found: Plans

    @property
    def yes(self) -> bool:
        """Whether the share that was asked for can be reached."""
        return self.found.reached


@dataclass(frozen=True, eq=False, repr=False)
class AdapterAnswer(Answer):
    """Parts worth making.

    Parameters
    ----------
    found : Proposals
        Each on its own, and the best few together.
    files : tuple of Path
        Sheets that were written.
    saved : Path or None
        The copy of the catalogue that has them.

    Examples
    --------
    >>> import fitgraph
    >>> shop = fitgraph.open()
    >>> made = shop.adapters("sleeve", k=1, limit=1)
    >>> made.yes, made.tables
    (True, ('parts', 'together'))
    >>> made.write_sheets("sheets", most=1)  # doctest: +SKIP
    """

    _module = "designs"
    _about = ("found", "files", "saved")
    _hinted = True

    found: Proposals
    files: tuple[Path, ...] = field(default=())
    saved: Path | None = None

    @property
    def yes(self) -> bool:
        """Whether something that could be made joins a build."""
        return bool(self.found.listed)

    def write_sheets(self, folder: str | Path, *, most: int = 3) -> tuple[Path, ...]:
        """Write the sheets of the best few: page, print, drawing and exchange files.

        Each file appears whole or not at all. The solid comes only where a CAD kernel is
        installed.

        Parameters
        ----------
        folder : path
            Where they go; it is made where it is not there.
        most : int
            How many parts, where none were chosen together.

        Raises
        ------
        InputError
            If a library for sheets is not installed.
        """
        from fitgraph.shop.sheets import write_sheets

        return write_sheets(self.found, path_of(folder, "folder"), whole_of(most, "most"))


@dataclass(frozen=True, eq=False, repr=False)
class CheckAnswer(Answer):
    """What is wrong in a catalogue, where, and how to mend it.

    Parameters
    ----------
    found : tuple of Finding
        What was found.
    catalogue : Catalogue or None
        What can be used; None where nothing can go on.
    name : str
        The catalogue's.

    Examples
    --------
    >>> import fitgraph
    >>> shop = fitgraph.open()
    >>> found = shop.check()
    >>> found.yes, found.parts, found.report().headline
    (False, 346, 'demo: 346 parts, 10 things to look at.')
    >>> list(found.to_dict()), len(found.missing)
    (['usable', 'parts', 'findings', 'missing'], 44)
    """

    found: tuple[Finding, ...]
    catalogue: Catalogue | None
    name: str

    @property
    def parts(self) -> int | None:
        """Parts that can be used; None where nothing can go on."""
        return None if self.catalogue is None else len(self.catalogue.parts)

    @cached_property
    def missing(self) -> tuple[Missing, ...]:
        """Lengths that parts lack, the one on which most answers hang first."""
        from fitgraph.catalogue.missing import missing_lengths

        return () if self.catalogue is None else tuple(missing_lengths(self.catalogue))

    @property
    def yes(self) -> bool:
        """Whether there is nothing to mend."""
        return not self.found

    def report(self, hints: Hints | None = None) -> Report:
        """Return the findings."""
        from fitgraph.report import faults

        return faults.report(self.found, self.parts, self.name, self.missing)

    def _tables(self) -> Sequence[Table]:
        from fitgraph.report import faults

        return faults.tables(self.found, self.missing)

    def to_dict(self) -> dict[str, Any]:
        """Return the findings."""
        from fitgraph.report import faults

        return faults.data(self.found, self.parts, self.missing)


@dataclass(frozen=True, eq=False, repr=False)
class StoryAnswer(Answer):
    """One enquiry, answered from end to end.

    Parameters
    ----------
    found : Story
        The enquiry and both answers.

    Examples
    --------
    >>> import fitgraph
    >>> shop = fitgraph.open()
    >>> shop.story().tables
    ('builds', 'joints', 'changes', 'minimal_conflicts', 'needs')
    """

    _module = "stories"

    found: Story
