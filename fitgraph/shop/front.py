"""The shop: a catalogue opened once, and every question to it."""

from __future__ import annotations

import datetime
import os
from collections.abc import Callable, Iterable
from contextlib import AbstractContextManager
from functools import cached_property, partial
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Literal, get_args

from fitgraph.catalogue import Loaded, demo_folder
from fitgraph.errors import ArgumentError, InputError, handed
from fitgraph.files import folder_name
from fitgraph.report import listings
from fitgraph.shop.answers import (
    AdapterAnswer,
    AdviceAnswer,
    BuildsAnswer,
    CheckAnswer,
    CompareAnswer,
    CoverageAnswer,
    ExchangeAnswer,
    GapsAnswer,
    IdentifyAnswer,
    MeasureAnswer,
    RemainingAnswer,
    RestockAnswer,
    StoryAnswer,
    TableAnswer,
    WhyAnswer,
)
from fitgraph.shop.edge import (
    Amount,
    day_of,
    length_of,
    listed_of,
    mass_of,
    money_of,
    names_of,
    one_of,
    path_of,
    seconds_of,
    share_of,
    text_of,
    whole_of,
    yes_of,
)
from fitgraph.shop.fits import GraphAnswer, MapAnswer, changes_since, map_of
from fitgraph.wording import plural

if TYPE_CHECKING:
    from concurrent.futures import Executor

    import networkx as nx

    from fitgraph.explain.identify import Identifier
    from fitgraph.explain.why import Explainer
    from fitgraph.model import Catalogue
    from fitgraph.solve import Request, TreeEngine
    from fitgraph.solve.write import Written

#: Stock numbers: one, or several.
Names = str | Iterable[str]

#: Is told how far a question is: how many steps are done, and of how many.
Progress = Callable[[int, int], None]

Sort = Literal["price", "mass", "strength"]
Aim = Literal["any", "lighter", "stronger", "cheaper"]
Work = Literal["none", "owned", "any"]
Preference = Literal["owned", "price", "mass", "work"]


#: No curve has as many steps.
_MOST_STEPS = 10**9

#: Groupings are shown side by side up to two.
_SIDES = 2


class Shop:
    """A catalogue, and every question to it.

    What a question needs is compiled when it is first asked, and kept.

    Parameters
    ----------
    loaded : Loaded
        The catalogue, what was found wrong in it, and what can be ordered.
    folder : Path or None
        Where it lies; None for the demo.

    Examples
    --------
    >>> import fitgraph
    >>> shop = fitgraph.open()
    >>> shop.why("FORK-VEN-04", "BAR-MAR-05", "CLMP-SKE-01", "KIT-VEN-01").verdict
    'fits'
    """

    def __init__(self, loaded: Loaded, folder: Path | None = None) -> None:
        self._loaded = loaded
        #: Where the catalogue lies; None for the demo.
        self.folder = folder

    def __repr__(self) -> str:
        parts = self.catalogue.parts
        held = sum(part.stock > 0 for part in parts.values())
        # A row may stand for several, as wherever enquiries are counted.
        asked = sum(enquiry.weight for enquiry in self.catalogue.enquiries)
        return (
            f"Shop({self.name!r}: {plural(len(parts), 'part')}, "
            f"{plural(asked, 'enquiry', 'enquiries')}, {plural(held, 'kind')} in stock)"
        )

    # -- what it holds ---------------------------------------------------

    @property
    def catalogue(self) -> Catalogue:
        """The catalogue as frozen data, in mm, g and minor currency units."""
        return self._loaded.catalogue

    @property
    def name(self) -> str:
        """The catalogue's name: that of its folder."""
        folder = demo_folder() if self.folder is None else self.folder
        return folder_name(folder)

    @cached_property
    def parts(self) -> TableAnswer:
        """The parts, a row each.

        Examples
        --------
        >>> import fitgraph
        >>> shop = fitgraph.open()
        >>> parts = shop.parts
        >>> parts.units()
        {'price': 'EUR', 'mass_g': 'g'}
        >>> sorted(set(parts["role"])) == sorted(shop.catalogue.vocabulary.roles)
        True
        """
        return TableAnswer(listings.parts_table(self.catalogue), "part")

    @cached_property
    def features(self) -> TableAnswer:
        """The figures of all parts: a row each, limits of size in mm.

        Examples
        --------
        >>> import fitgraph
        >>> fitgraph.open().features.table().keys[:5]
        ('sku', 'role', 'feature', 'there', 'dimension')
        """
        return TableAnswer(listings.features_table(self.catalogue), "figure")

    @cached_property
    def stock(self) -> TableAnswer:
        """What is held: a row for each part with pieces on the shelf.

        Examples
        --------
        >>> import fitgraph
        >>> min(fitgraph.open().stock["pieces"])
        1
        """
        return TableAnswer(listings.stock_table(self.catalogue), "kind")

    @cached_property
    def enquiries(self) -> TableAnswer:
        """What riders asked for: a row for each enquiry.

        Examples
        --------
        >>> import fitgraph
        >>> min(fitgraph.open().enquiries["count"])
        1.0
        """
        return TableAnswer(listings.asked_table(self.catalogue), "row")

    @cached_property
    def offers(self) -> TableAnswer:
        """What can be ordered: a row for each offer of a supplier.

        Examples
        --------
        >>> import fitgraph
        >>> fitgraph.open().offers.table().keys[0]
        'sku'
        """
        return TableAnswer(listings.offers_table(self._loaded.supply, self.catalogue), "offer")

    def check(self) -> CheckAnswer:
        """Return what is wrong in the catalogue, where, and how to mend it.

        Examples
        --------
        >>> import fitgraph
        >>> fitgraph.open().check().to_dict()["usable"]
        True
        """
        return CheckAnswer(tuple(self._loaded.findings), self.catalogue, self.name)

    # -- compiled once ---------------------------------------------------

    @cached_property
    def engine(self) -> TreeEngine:
        """The compiled catalogue, for questions that have no method here."""
        from fitgraph.shop.kept_joints import compiled
        from fitgraph.solve import TreeEngine

        return TreeEngine(self.catalogue, compiled=partial(compiled, self._loaded.word))

    @cached_property
    def explainer(self) -> Explainer:
        """The catalogue compiled for explanations."""
        from fitgraph.explain.why import Explainer

        return Explainer(self.catalogue, self.engine)

    @cached_property
    def _identifier(self) -> Identifier:
        from fitgraph.explain.identify import Identifier

        return Identifier(self.catalogue)

    def _request(
        self,
        have: Names | None,
        want: Names | None,
        budget: Amount | None,
        max_mass_g: Amount | None,
        material: str | None,
        in_stock: bool,
        services: str = "owned",
    ) -> Request:
        from fitgraph.solve import Request, Services
        from fitgraph.solve.request import check_material, find_part

        def found(names: Names | None) -> tuple[str, ...]:
            return tuple(find_part(self.catalogue, sku).sku for sku in names_of(names))

        kind = text_of(material, "material")
        return Request(
            have=found(have),
            want=found(want),
            budget=money_of(budget, self.catalogue.vocabulary),
            max_mass_g=mass_of(max_mass_g, self.catalogue),
            in_stock=yes_of(in_stock, "in_stock"),
            material=None if kind is None else check_material(kind),
            services=Services(one_of(services, get_args(Work), "services")),
        )

    # -- what fits -------------------------------------------------------

    def builds(
        self,
        have: Names | None = None,
        *,
        want: Names | None = None,
        budget: Amount | None = None,
        max_mass_g: Amount | None = None,
        material: str | None = None,
        in_stock: bool = False,
        services: Work = "owned",
        sort: Sort = "price",
        limit: int = 5,
        ways: int = 8,
    ) -> BuildsAnswer:
        """Return how many builds fit for certain, the ways that stand for all, and the first.

        A *way* is one choice for each role that decides, with whatever fills the rest.

        Parameters
        ----------
        have : str or iterable of str, optional
            Stock numbers that are owned: they cost nothing.
        want : str or iterable of str, optional
            Stock numbers that must be in and are paid for.
        budget : str or number, optional
            Most to pay [major currency units], or as typed: ``"250,50 EUR"``.
        max_mass_g : str or number, optional
            Most the whole may weigh [g], or as typed: ``"4.2 kg"``.
        material : str, optional
            A material or a family, for roles chosen by material.
        in_stock : bool
            Whether only parts in stock are taken, beside the owned ones.
        services : {'none', 'owned', 'any'}
            To which parts the workshop may do work.
        sort : {'price', 'mass', 'strength'}
            Cheapest, lightest or strongest first.
        limit : int
            How many builds are listed, 100,000 at most; 0 only counts.
        ways : int
            How many ways are listed, unless `limit` is 0: five that hold the best for most ways
            to weigh price, mass and strength, then the other ends of these, what is on the shelf
            or needs least work, and what differs most.

        Returns
        -------
        BuildsAnswer
            The counts say whether they are exact.

        Raises
        ------
        InputError
            If something named is not in the catalogue, or cannot be read.

        Examples
        --------
        >>> import fitgraph
        >>> answer = fitgraph.open().builds(["FORK-VEN-04"], budget=350, limit=3)
        >>> answer.to_frame()[["price", "mass_g"]].shape
        (3, 2)
        """
        from fitgraph.explain.requested import list_builds
        from fitgraph.solve.only_named import asked_of_named

        request = self._request(have, want, budget, max_mass_g, material, in_stock, services)
        order = one_of(sort, get_args(Sort), "sort")
        limit = listed_of(limit)
        rows = whole_of(ways, "ways") if limit else 0
        found, engine = asked_of_named(
            self.engine,
            (*request.have, *request.want),
            lambda e: list_builds(e, request, sort=order, limit=limit, rows=rows),
        )
        return BuildsAnswer(found, engine)

    def save_builds(
        self,
        path: str | Path,
        have: Names | None = None,
        *,
        want: Names | None = None,
        budget: Amount | None = None,
        max_mass_g: Amount | None = None,
        material: str | None = None,
        in_stock: bool = False,
        services: Work = "owned",
        most: int = 10_000_000,
    ) -> Written:
        """Write all builds that fit for certain to a file, in constant memory.

        Parameters
        ----------
        path : path
            Overwritten if it is there: Parquet where it ends in ``.parquet`` (extra ``arrow``),
            else CSV. One column a role with stock numbers, ``price`` [major currency units] and
            ``mass_g`` [g], blank where a part's is not known.
        have, want, budget, max_mass_g, material, in_stock, services
            As in :meth:`builds`.
        most : int
            Builds to walk; under a limit fewer are written.

        Returns
        -------
        Written
            ``builds`` says how many rows there are, ``ended`` why it ended early, if it did.

        Raises
        ------
        InputError
            If something named is not in the catalogue, or cannot be read.

        Examples
        --------
        >>> import fitgraph, tempfile
        >>> with tempfile.TemporaryDirectory() as folder:
        ...     fitgraph.open().save_builds(f"{folder}/all.csv", "FORK-VEN-04", most=500).builds
        500
        """
        from fitgraph.solve.only_named import asked_of_named
        from fitgraph.solve.query import ask
        from fitgraph.solve.scan import Patience
        from fitgraph.solve.write import write_csv, write_parquet

        request = self._request(have, want, budget, max_mass_g, material, in_stock, services)
        file = path_of(path, "path")
        write = write_parquet if file.suffix.lower() == ".parquet" else write_csv
        if write is write_parquet and find_spec("pyarrow") is None:
            raise InputError(
                "Parquet needs pyarrow: pip install 'fitgraph[arrow]'; "
                "or name a file that ends in .csv"
            )
        patience = Patience(builds=whole_of(most, "most"))
        written, _ = asked_of_named(
            self.engine,
            (*request.have, *request.want),
            lambda e: write(ask(e.space, request), file, patience=patience),
        )
        return written

    def exchange(
        self,
        role: str,
        *skus: str,
        aim: Aim = "any",
        budget: Amount | None = None,
        material: str | None = None,
        in_stock: bool = False,
        sort: Sort | None = None,
        limit: int = 8,
        ends: bool = False,
        services: Work = "owned",
    ) -> ExchangeAnswer:
        """Return what could be taken for one role with the rest kept, and what comes along.

        Only the parts in question are named; for a role that nobody named, something that goes
        with the rest is taken to be there, and is not priced.

        Parameters
        ----------
        role : str
            The role in question.
        *skus : str
            Stock numbers of what is to stay, and of the part that is replaced: prices and masses
            are then told as differences from that as well.
        aim : {'any', 'lighter', 'stronger', 'cheaper'}
            What it is to be: lighter or stronger than the part that is replaced, or less to pay
            in all than that costs. Of no consequence where none was named.
        budget : str or number, optional
            Most to pay in all.
        material : str, optional
            A material or a family.
        in_stock : bool
            Whether only parts in stock are taken, and only such come along.
        sort : {'price', 'mass', 'strength'}, optional
            Least to pay in all, lightest or strongest first, of those for which as many kept
            parts are replaced; the fewest come first. By default what goes with the aim.
        limit : int
            How many are listed.
        ends : bool
            Whether room is kept among them for the first that needs nothing else, for the least
            to pay, the lightest, the strongest, and the first that can be done today.
        services : {'none', 'owned', 'any'}
            To which parts the workshop may do work: none, those that stay, or what is bought as
            well. A part that would go only after work on it has that for its reason.

        Raises
        ------
        InputError
            If there is no such role, part or material.

        Examples
        --------
        >>> import fitgraph
        >>> answer = fitgraph.open().exchange("bar", "FORK-VEN-04", "CLMP-SKE-01", "BAR-MAR-05")
        >>> answer.to_dict()["old"]
        'BAR-MAR-05'
        """
        from fitgraph.explain import exchange as exchanges
        from fitgraph.solve.request import Services, check_material

        name = one_of(role, self.catalogue.vocabulary.roles, "the role")
        kind = text_of(material, "material")
        found = exchanges.exchange_named(
            self.engine,
            name,
            names_of(skus),
            aim=exchanges.Aim(one_of(aim, [a.value for a in exchanges.Aim], "aim")),
            budget=money_of(budget, self.catalogue.vocabulary),
            material=None if kind is None else check_material(kind),
            in_stock=yes_of(in_stock, "in_stock"),
            sort=None if sort is None else one_of(sort, get_args(Sort), "sort"),
            limit=whole_of(limit, "limit"),
            ends=yes_of(ends, "ends"),
            services=Services(one_of(services, get_args(Work), "services")),
        )
        return ExchangeAnswer(found)

    def remaining(
        self,
        have: Names | None = None,
        *,
        material: str | None = None,
        in_stock: bool = False,
        services: Work = "owned",
    ) -> RemainingAnswer:
        """Return how every part of every role stands to what is owned.

        Parameters
        ----------
        have : str or iterable of str, optional
            Stock numbers that are owned.
        material, in_stock, services
            As in :meth:`builds`.

        Returns
        -------
        RemainingAnswer
            A part that the choice keeps out is judged as if it were taken instead.

        Raises
        ------
        InputError
            If something named is not in the catalogue.

        Examples
        --------
        >>> import fitgraph
        >>> left = fitgraph.open().remaining(["FORK-VEN-04"])
        >>> "KIT-VEN-01" in left["kit"]
        True
        """
        from fitgraph.explain.standing import standings

        request = self._request(have, None, None, None, material, in_stock, services)
        found = standings(self.engine, request)
        return RemainingAnswer(found, self.catalogue, self.engine.left_out, request.have)

    def compare(self, one: Names, other: Names) -> CompareAnswer:
        """Put two parts of a role, or two builds, side by side.

        Parameters
        ----------
        one, other : str or iterable of str
            A stock number each, or the stock numbers of two builds.

        Raises
        ------
        InputError
            If something named is not in the catalogue, or the two are of different roles.

        Examples
        --------
        >>> import fitgraph
        >>> compared = fitgraph.open().compare("BAR-TAR-07", "BAR-PEL-02")
        >>> [side["mass_g"] for side in compared.to_dict()["sides"]]
        [1500.0, 920.0]
        """
        from fitgraph.explain.compare import Comparer

        sides = [names_of(one), names_of(other)]
        if not all(sides):
            raise InputError("there is nothing to compare; name a part, or the parts of a build")
        comparer = Comparer(self.catalogue, self.engine)
        if all(len(side) == 1 for side in sides):
            return CompareAnswer(comparer.parts(sides[0][0], sides[1][0]), self.catalogue)
        return CompareAnswer(comparer.builds(*sides), self.catalogue)

    # -- why not, and what would change that -----------------------------

    def why(
        self,
        *skus: str,
        budget: Amount | None = None,
        max_mass_g: Amount | None = None,
        material: str | None = None,
        in_stock: bool = False,
        prefer: Preference = "owned",
    ) -> WhyAnswer:
        """Return whether parts fit together, why not, and what would change that.

        Parameters
        ----------
        *skus : str
            Stock numbers, at most one a role.
        budget, max_mass_g, material, in_stock
            As in :meth:`builds`; with one of them the question is about complete builds.
        prefer : {'owned', 'price', 'mass', 'work'}
            Which changes come first.

        Returns
        -------
        WhyAnswer
            Every minimal conflict and every minimal change.

        Raises
        ------
        InputError
            If something named is not in the catalogue, or nothing is asked.

        Examples
        --------
        >>> import fitgraph
        >>> answer = fitgraph.open().why("BAR-MAR-05", "CLMP-SKE-02")
        >>> print(answer.to_text().splitlines()[0])
        Does not fit.
        >>> answer.records("changes")[0]["price"]
        6.9
        """
        from fitgraph.explain import Prefer
        from fitgraph.explain.why import explain_named
        from fitgraph.solve import Request

        request = self._request(skus, None, budget, max_mass_g, material, in_stock)
        if request == Request():
            raise InputError("name the parts to ask about, or a limit")
        wanted = Prefer(one_of(prefer, get_args(Preference), "prefer"))
        found = explain_named(self.explainer, request, wanted)
        return WhyAnswer(found, self.catalogue, wanted)

    # -- who knows it ----------------------------------------------------

    def measure(self, *skus: str, limit: int = 10) -> MeasureAnswer:
        """Return what to measure next: what settles most builds first.

        Parameters
        ----------
        *skus : str
            Stock numbers that the builds have; the whole catalogue without.
        limit : int
            How many are listed.

        Raises
        ------
        InputError
            If something named is not in the catalogue.

        Examples
        --------
        >>> import fitgraph
        >>> fitgraph.open().measure("BAR-WYN-02", limit=1).records()[0]["feature"]
        'slot'
        """
        from fitgraph.explain.measure import Measurer
        from fitgraph.report.readings import Ranked
        from fitgraph.solve import Request
        from fitgraph.solve.request import find_part

        names = tuple(dict.fromkeys(find_part(self.catalogue, s).sku for s in names_of(skus)))
        limit = whole_of(limit, "limit")
        ranked = Measurer(self.catalogue, names).rank(Request(have=names))
        found = tuple(ranked[:limit])
        return MeasureAnswer(Ranked(self.catalogue, names, found, len(ranked) - len(found)))

    def identify(self, **seen: str) -> IdentifyAnswer:
        """Return what a rider has, as far as answers to questions tell.

        Parameters
        ----------
        **seen : str
            Answers by question, with ``_`` for ``-``; further ones with
            :meth:`IdentifyAnswer.answer`.

        Raises
        ------
        InputError
            If there is no such question, or it cannot be answered so.

        Examples
        --------
        >>> import fitgraph
        >>> asked = fitgraph.open().identify(clamp_grips_steerer="yes")
        >>> [kind["kind"] for kind in asked.records("kinds")[:2]]
        ['threaded', 'SCS']
        """
        answer = IdentifyAnswer(self._identifier.start(), self.catalogue)
        known = answer.found.identifier.questions
        for name, value in seen.items():
            plain = name if name in known else name.replace("_", "-")
            answer = answer.answer(plain, value)
        return answer

    def advise(self, style: str | None = None, *, broken: bool = False) -> AdviceAnswer:
        """Return which family of materials suits a way of riding, and why.

        Parameters
        ----------
        style : str, optional
            One of the vocabulary's ways of riding; any way by default.
        broken : bool
            Whether the rider has broken such parts before.

        Raises
        ------
        InputError
            If there is no such way of riding.

        Examples
        --------
        >>> import fitgraph
        >>> fitgraph.open().advise("beginner").records()[0]["family"]
        'steel'
        """
        from fitgraph.explain.advice import advise

        riding, broken = text_of(style, "style"), yes_of(broken, "broken")
        return AdviceAnswer(advise(self.catalogue, riding, broken=broken), self.catalogue)

    # -- what is missing -------------------------------------------------

    def _groupings(self, by: Names | None) -> tuple[str, ...]:
        from fitgraph.stock.gaps import default_groupings
        from fitgraph.stock.groups import grouping_names

        known = grouping_names(self.catalogue)
        wanted = tuple(dict.fromkeys(one_of(name, known, "by") for name in names_of(by)))
        if len(wanted) > _SIDES:
            raise ArgumentError("by", "can name two groupings at most")
        return wanted or default_groupings(self.catalogue)

    def coverage(
        self,
        by: Names | None = None,
        *,
        executor: Executor | None = None,
        progress: Progress | None = None,
    ) -> CoverageAnswer:
        """Return how far each enquiry can be met: from stock, by ordering, perhaps, or not.

        Parameters
        ----------
        by : str or iterable of str, optional
            One or two groupings that are shown.
        executor : concurrent.futures.Executor, optional
            Where the questions are answered; here by default.
        progress : callable, optional
            Is told how many questions are answered, and how many there are.

        Raises
        ------
        InputError
            If there is no such grouping.

        Examples
        --------
        >>> import fitgraph
        >>> table = fitgraph.open().coverage().pivot("system", "material", "unmet")
        >>> table.table().keys[0]
        'system'
        """
        from fitgraph.stock import coverage

        names = self._groupings(by)
        found = coverage(self.engine, executor=executor, progress=progress)
        return CoverageAnswer(found, names)

    def gaps(
        self,
        by: Names | None = None,
        *,
        limit: int = 8,
        lacks: int = 0,
        executor: Executor | None = None,
        progress: Progress | None = None,
    ) -> GapsAnswer:
        """Return what is asked for and cannot be built, and what is held and cannot be used.

        Parameters
        ----------
        by, executor, progress
            As in :meth:`coverage`.
        limit : int
            How many parts are shown of each sort.
        lacks : int
            Of how many enquiries that stock does not serve it is told what each lacks, the most
            frequent first. Each takes a moment.

        Raises
        ------
        InputError
            If there is no such grouping.

        Examples
        --------
        >>> import fitgraph
        >>> gaps = fitgraph.open().gaps("system")
        >>> "stranded" in gaps.tables
        True
        """
        from fitgraph.stock.gaps import gaps

        names, limit = self._groupings(by), whole_of(limit, "limit")
        counts = self._loaded.supply.counts
        found = gaps(self.engine, counts, names, executor=executor, progress=progress)
        listed = found.coverage.unserved[: whole_of(lacks, "lacks")]
        said = {enquiry: self.explainer.lacks(enquiry) for enquiry, _ in listed}
        return GapsAnswer(found, said, limit)

    def restock(
        self,
        *,
        target: str | float | None = None,
        spend: Amount | None = None,
        within_days: int | None = None,
        steps: int = 12,
        seconds: float | None = None,
        progress: Progress | None = None,
    ) -> RestockAnswer:
        """Return what to order, with proof, and what more money buys.

        Parameters
        ----------
        target : str or float, optional
            Share of all enquiries that is to be served: 0.9 or ``"90%"``.
        spend : str or number, optional
            Most to spend [major currency units], goods and deliveries.
        within_days : int, optional
            Only what comes within so many days.
        steps : int
            Steps of the curve.
        seconds : float, optional
            Time for a plan [s]; then its gap is stated.
        progress : callable, optional
            Is told the round and how many cuts were found.

        Raises
        ------
        InputError
            If `target` or `spend` cannot be read, or both are given.

        Examples
        --------
        >>> import fitgraph
        >>> orders = fitgraph.open().restock(spend=40, steps=0)
        >>> orders.to_dict()["plan"]["cost"] <= 40
        True
        """
        from fitgraph.stock import Restocking
        from fitgraph.stock.plans import plans

        if target is not None and spend is not None:
            raise InputError("target and spend are two questions; ask one of them")
        share = share_of(target)
        most = money_of(spend, self.catalogue.vocabulary, "spend")
        restocking = Restocking(
            self.engine,
            self._loaded.supply,
            within_days=None if within_days is None else whole_of(within_days, "within_days"),
            seconds=seconds_of(seconds),
            progress=progress,
        )
        found = plans(
            restocking,
            self.catalogue,
            self._loaded.supply,
            target=share,
            spend=most,
            steps=min(whole_of(steps, "steps"), _MOST_STEPS),
        )
        return RestockAnswer(found)

    def adapters(
        self,
        role: str | None = None,
        *,
        k: int = 3,
        in_stock: bool = False,
        limit: int = 8,
        executor: Executor | None = None,
        watched: Callable[[str], AbstractContextManager[Progress | None]] | None = None,
    ) -> AdapterAnswer:
        """Return the parts worth making: each on its own, and the best few together.

        Parameters
        ----------
        role : str, optional
            Only parts of this role, or of this make.
        k : int
            How many may be made.
        in_stock : bool
            Whether enquiries are served from stock only.
        limit : int
            How many are listed.
        executor : concurrent.futures.Executor, optional
            Where the questions are answered; here by default.
        watched : callable, optional
            Is given what is made, and returns a context that is told how far it is.

        Raises
        ------
        InputError
            If the vocabulary says of nothing how it is made, or not of this.
        TooWideError
            If all that could be made would need more memory than the ceiling to be weighed.

        Examples
        --------
        >>> import fitgraph
        >>> proposed = fitgraph.open().adapters("sleeve", k=1, limit=1)
        >>> proposed.to_dict()["together"][0]["proven"]
        True
        """
        from contextlib import nullcontext

        from fitgraph.adapters import scan
        from fitgraph.adapters.proposals import makes_of, proposals
        from fitgraph.solve.plan import TooWideError

        k, limit = whole_of(k, "k"), whole_of(limit, "limit")
        in_stock = yes_of(in_stock, "in_stock")
        scans, refused = [], []
        for make in makes_of(self.catalogue, text_of(role, "role")):
            with nullcontext() if watched is None else watched(make.title) as progress:
                try:
                    scans.append(
                        scan(
                            self.catalogue,
                            make,
                            in_stock=in_stock,
                            executor=executor,
                            progress=progress,
                            engine=self.engine,
                        )
                    )
                except TooWideError as error:
                    refused.append((make, error.again()))
        if not scans:
            raise refused[0][1]
        return AdapterAnswer(
            proposals(
                scans,
                most=k,
                limit=limit,
                in_stock=in_stock,
                refused=[(make, str(error)) for make, error in refused],
                executor=executor,
            )
        )

    def save_with(self, answer: AdapterAnswer, folder: str | Path, *, most: int = 3) -> Path:
        """Write a copy of the catalogue folder that has the best few parts, to be asked again.

        Parameters
        ----------
        answer : AdapterAnswer
            From :meth:`adapters`.
        folder : path
            A folder that does not exist yet.
        most : int
            How many parts, where none were chosen together.

        Returns
        -------
        Path
            The folder.
        """
        from fitgraph.adapters import save_with

        if not isinstance(answer, AdapterAnswer):
            raise ArgumentError("answer", f"{handed(answer)} is no answer of adapters()")
        source = demo_folder() if self.folder is None else self.folder
        parts = [w.candidate.part for w in answer.found.chosen(whole_of(most, "most"))]
        target = path_of(folder, "folder")
        save_with(source, target, self.catalogue, parts)
        return target

    # -- the graph, and a story ------------------------------------------

    @cached_property
    def _fits(self) -> nx.MultiDiGraph:
        from fitgraph.graph.fit_graph import fit_graph

        return fit_graph(self.catalogue)

    def _graph_of(self, in_stock: bool) -> nx.MultiDiGraph:
        from fitgraph.graph.views import in_stock as on_shelf

        return on_shelf(self._fits) if yes_of(in_stock, "in_stock") else self._fits

    def graph(self, skus: Names | None = None) -> nx.MultiDiGraph:
        """Return parts, features, interfaces and joints as one networkx graph.

        ``help(fitgraph.graph.fit_graph)`` lists the attributes of its nodes and edges.

        Parameters
        ----------
        skus : str or iterable of str, optional
            The parts to show, with joints that fail among them; all parts by default.

        Raises
        ------
        InputError
            If something named is not in the catalogue.

        Examples
        --------
        >>> import fitgraph
        >>> graph = fitgraph.open().graph(["BAR-MAR-05", "CLMP-SKE-02"])
        >>> graph.nodes["part:BAR-MAR-05"]["role"]
        'bar'
        """
        from fitgraph.graph.fit_graph import fit_graph
        from fitgraph.solve.request import find_part

        if skus is None:
            return self._fits.copy()
        named = [find_part(self.catalogue, sku).sku for sku in names_of(skus)]
        return fit_graph(self.catalogue, named, misses_mm=float("inf"))

    def map(self, *, in_stock: bool = False) -> MapAnswer:
        """Return what the graph holds, role by role, drawn by size; and write it to files.

        Parameters
        ----------
        in_stock : bool
            Whether only parts in stock are in it.

        Examples
        --------
        >>> import fitgraph
        >>> fitgraph.open().map().to_dict()["nodes"]["interface"] > 100
        True
        """
        return map_of(self._graph_of(in_stock), self.catalogue)

    def paths(
        self,
        one: str,
        other: str,
        *,
        between: int = 2,
        any_part: bool = False,
        first: Literal["shortest", "cheapest", "margin"] = "shortest",
    ) -> GraphAnswer:
        """Return all paths from one part to another, through adapters and services.

        Parameters
        ----------
        one, other : str
            Stock numbers.
        between : int
            Most parts between.
        any_part : bool
            Whether any part may stand between, not only adapters.
        first : {'shortest', 'cheapest', 'margin'}
            Which paths come first.

        Returns
        -------
        GraphAnswer
            Each path is part of a build that :meth:`why` accepts.

        Raises
        ------
        InputError
            If something named is not in the catalogue.

        Examples
        --------
        >>> import fitgraph
        >>> found = fitgraph.open().paths("BAR-MAR-05", "CLMP-SKE-02", first="cheapest")
        >>> found.records()[0]["price"]
        6.9
        """
        from fitgraph.explain.ways import First, ways
        from fitgraph.report.ways_told import Ways, paths

        order = First(one_of(first, [f.value for f in First], "first"))
        through = self.catalogue.vocabulary.roles if yes_of(any_part, "any_part") else None
        most = whole_of(between, "between")
        found = ways(self.explainer, one, other, through=through, most_between=most, first=order)
        asked = Ways((one, other), found, order, not any_part)
        return GraphAnswer(asked, paths(asked, self.catalogue), bool(found))

    def around(self, sku: str, steps: int = 1, *, in_stock: bool = False) -> GraphAnswer:
        """Return what mates with a part, what mates with that, step by step.

        Parameters
        ----------
        sku : str
            A stock number.
        steps : int
            How far to go; a joint or a service is a step.
        in_stock : bool
            Whether only parts in stock are looked at.

        Raises
        ------
        InputError
            If it is not in the catalogue, or not in stock.

        Examples
        --------
        >>> import fitgraph
        >>> "SLV-VEN-01" in {r["part"] for r in fitgraph.open().around("FORK-VEN-04").records()}
        True
        """
        from fitgraph.graph.around import around
        from fitgraph.report.graphs import near
        from fitgraph.solve.request import find_part

        label, steps = find_part(self.catalogue, sku).sku, whole_of(steps, "steps")
        try:
            found = around(self._graph_of(in_stock), label, steps)
        except KeyError:
            raise ArgumentError("around", f"{label} is not in stock; ask of all parts") from None
        return GraphAnswer(found, near(found, label, steps, self.catalogue))

    def bridges(self, *, in_stock: bool = False) -> GraphAnswer:
        """Return the one interface, part or joint whose loss splits the trade, the worst first.

        Parameters
        ----------
        in_stock : bool
            Whether only parts in stock are looked at.

        Examples
        --------
        >>> import fitgraph
        >>> fitgraph.open().bridges(in_stock=True).table().keys
        ('without', 'cut_off', 'joints', 'pieces')
        """
        from fitgraph.graph.cut_points import articulation_points, bridges
        from fitgraph.report.graphs import cuts

        graph = self._graph_of(in_stock)
        points, joints = articulation_points(graph), bridges(graph)
        return GraphAnswer((points, joints), cuts(points, joints))

    def hubs(self, *, in_stock: bool = False) -> GraphAnswer:
        """Return what most paths between the parts that people own lead through.

        Parameters
        ----------
        in_stock : bool
            Whether only parts in stock are looked at.

        Examples
        --------
        >>> import fitgraph
        >>> 0 < fitgraph.open().hubs().records()[0]["share"] < 1
        True
        """
        from fitgraph.graph.hubs import hubs
        from fitgraph.report import graphs

        found = hubs(self._graph_of(in_stock))
        return GraphAnswer(found, graphs.hubs(found))

    def families(self, *, in_stock: bool = False) -> GraphAnswer:
        """Return parts that mate among themselves, against the vocabulary's own groups.

        Parameters
        ----------
        in_stock : bool
            Whether only parts in stock are looked at.

        Examples
        --------
        >>> import fitgraph
        >>> [c["grouping"] for c in fitgraph.open().families().to_dict()["compared"]]
        ['system', 'family']
        """
        from fitgraph.graph.families import families
        from fitgraph.report import graphs

        found = families(self._graph_of(in_stock), self.catalogue)
        return GraphAnswer(found, graphs.families(found, self.catalogue))

    def islands(self, *, in_stock: bool = False) -> GraphAnswer:
        """Return what mates with nothing, and groups that mate only among themselves.

        Parameters
        ----------
        in_stock : bool
            Whether only parts in stock are looked at.

        Examples
        --------
        >>> import fitgraph
        >>> fitgraph.open().islands().to_dict()["alone"]
        []
        """
        from fitgraph.graph.islands import islands
        from fitgraph.report import graphs

        found = islands(self._graph_of(in_stock))
        return GraphAnswer(found, graphs.islands(found, self.catalogue))

    def near_misses(self, mm: Amount = 0.1) -> GraphAnswer:
        """Return pairs of parts that fail by a little, and what would close them.

        Parameters
        ----------
        mm : str or number
            The most that may be lacking [mm], or as typed: ``"1/64 in"``.

        Raises
        ------
        InputError
            If it is no length.

        Examples
        --------
        >>> import fitgraph
        >>> fitgraph.open().near_misses(0.05).records()[0]["lacks_mm"] <= 0.05
        True
        """
        from fitgraph.graph.interfaces import find_interfaces
        from fitgraph.graph.near_misses import closers, near_misses
        from fitgraph.report import ways_told

        most = length_of(mm, "near_misses")
        fits = find_interfaces(self.catalogue, services=False)
        found = [
            (miss, closers(miss, self.catalogue, fits))
            for miss in near_misses(self.catalogue, most, fits)
        ]
        return GraphAnswer(found, ways_told.near_misses(found, most, self.catalogue))

    def diff(self, other: str | os.PathLike[str] | datetime.date) -> GraphAnswer:
        """Return what changed in the graph.

        Parameters
        ----------
        other : str, path or date
            A day on which the shelf was counted, against today's shelf; or another folder.

        Raises
        ------
        InputError
            If it is neither, or nothing was counted by then.

        Examples
        --------
        >>> import fitgraph
        >>> list(fitgraph.open().diff("2026-01-15").to_dict())
        ['part', 'feature', 'interface', 'joint']
        """
        from fitgraph.report import graphs

        where = (
            day_of(other, "diff") if isinstance(other, datetime.date) else path_of(other, "diff")
        )
        found, since = changes_since(self._loaded, self._fits, where)
        return GraphAnswer(found, graphs.differences(found, since))

    def story(self) -> StoryAnswer | None:
        """Return the first enquiry that shows both what fits and what does not, answered.

        Examples
        --------
        >>> import fitgraph
        >>> fitgraph.open().story().to_dict()["why"]["verdict"]
        'fails'
        """
        from fitgraph.explain.story import first_story

        found = first_story(self.catalogue, self.engine, self.explainer)
        return None if found is None else StoryAnswer(found)


def open_shop(folder: str | os.PathLike[str] | None = None) -> Shop:
    """Open a catalogue folder; the demo where none is named.

    Parameters
    ----------
    folder : path, optional
        The folder.

    Returns
    -------
    Shop
        With every row that can be used; :meth:`Shop.check` tells the rest.

    Raises
    ------
    CatalogueError
        If nothing can go on.

    Examples
    --------
    >>> open_shop().name
    'demo'
    """
    from fitgraph.catalogue import load

    where = None if folder is None else path_of(folder, "the folder")
    return Shop(load(demo_folder() if where is None else where), where)


def check_folder(folder: str | os.PathLike[str] | None = None) -> CheckAnswer:
    """Return what is wrong in a catalogue folder, even where nothing can go on.

    Parameters
    ----------
    folder : path, optional
        The folder; the demo by default.

    Examples
    --------
    >>> check_folder("no such folder").to_dict()["usable"]
    False
    """
    from fitgraph.catalogue import CatalogueError

    try:
        return open_shop(folder).check()
    except CatalogueError as error:
        where = demo_folder() if folder is None else Path(folder)
        return CheckAnswer(error.findings, None, folder_name(where))
