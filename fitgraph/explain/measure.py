"""What to measure next: the figure that is expected to settle most builds.

A build is open when it is possible but not certain. Whatever a measurement shows, it can
only close open builds with that part: make them certain, or rule them out. So for each
outcome the builds settled are those open before less those open after, both counted exactly;
and the expected number is their mean over the outcomes.

A part as measured is one more option of its role that nobody may take; one pass over the
catalogue with all of them tells how many builds there would be with each.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from fractions import Fraction

import numpy as np

from fitgraph.array_types import Bools, Ints
from fitgraph.explain.outcomes import (
    Changes,
    OpenFigure,
    Possibility,
    measured,
    open_figures,
    possibilities,
    together,
)
from fitgraph.graph.options import options_for, serviced
from fitgraph.model import Catalogue, Joint, Option, Part, Verdict
from fitgraph.records import dataclass
from fitgraph.solve import Request, Space
from fitgraph.solve.counting import count_through
from fitgraph.solve.draft import Memo
from fitgraph.solve.query import Query, ask
from fitgraph.solve.request import find_part, named_by_role
from fitgraph.solve.sample import of_classes
from fitgraph.solve.space import compile_options
from fitgraph.stopping import check


@dataclass(frozen=True, slots=True)
class Outcome:
    """One thing that a measurement may show, and what it would settle.

    Parameters
    ----------
    share : Fraction
        How likely it is.
    values : tuple of float, str or bool
        What is read: sizes in mm, words, or whether the feature is there. Several where they
        come to the same.
    certain, impossible : int
        How many open builds it makes certain, and how many it rules out.
    part : Part
        The part as it would stand in the catalogue afterwards.
    """

    share: Fraction
    values: tuple[float | str | bool, ...]
    certain: int
    impossible: int
    part: Part

    @property
    def settled(self) -> int:
        """Return how many builds it settles."""
        return self.certain + self.impossible


@dataclass(frozen=True, slots=True)
class Measurement:
    """A figure worth measuring.

    Parameters
    ----------
    sku, role : str
        The part and its role.
    feature : str
        Of which feature.
    dimension : str or None
        Which figure of it; None for the question whether the feature is there.
    known : bool
        Whether the figure has limits already, only too wide ones.
    open_builds : int
        Builds with this part that are possible, not certain.
    expected : Fraction
        Expected number of them that the measurement settles.
    outcomes : tuple of Outcome
        What it rests on, the likeliest first.
    with_rest : Fraction
        Expected number settled when every unknown figure of the part is measured at once;
        equal to `expected` where this is the only one.
    rest : tuple of (str, str or None)
        Feature and dimension of those other figures.
    """

    sku: str
    role: str
    feature: str
    dimension: str | None
    known: bool
    open_builds: int
    expected: Fraction
    outcomes: tuple[Outcome, ...]
    with_rest: Fraction
    rest: tuple[tuple[str, str | None], ...] = ()


@dataclass(frozen=True, slots=True)
class _Hypothesis:
    """A possibility for a figure (or for all figures of a part), as an option.

    Parameters
    ----------
    of : int
        The place of the option as it is.
    figure : int
        Place among the option's open figures; -1 for all of them at once.
    """

    of: int
    figure: int
    possibility: Possibility
    option: Option


@dataclass(frozen=True, slots=True)
class _Told:
    """What comes of one possibility for the builds with one option.

    Parameters
    ----------
    possibility : Possibility
        What is shown.
    klass : int
        The class of the option as measured.
    certain, impossible : int
        How many open builds it makes certain, and how many it rules out.
    """

    possibility: Possibility
    klass: int
    certain: int
    impossible: int


@dataclass(frozen=True, slots=True)
class _OfOption:
    """A measurement as far as builds with one option go; as in :class:`Measurement`."""

    figure: OpenFigure
    expected: Fraction
    with_rest: Fraction
    rest: tuple[tuple[str, str | None], ...]
    told: tuple[_Told, ...]


def _after(catalogue: Catalogue, option: Option, part: Part, changes: Changes) -> Option | None:
    """Return a part as measured, with the services that its option has."""
    after: Option | None = Option(option.role, part, (), measured(part, changes).features)
    for service in option.services:
        if after is not None:
            vocabulary = catalogue.vocabulary
            after = serviced(after, vocabulary.services[service], vocabulary)
    return after


def _undecided(space: Space, *, sums: bool) -> dict[tuple[str, str], Bools]:
    """Return for each feature of a role the options that some joint on it cannot judge.

    Whether a sum can be judged is only bounded, so it may be told of too many options.
    """
    found: dict[tuple[str, str], Bools] = {}

    def add(joint: Joint, role: str, open_: Bools) -> None:
        read = {(r.role, r.feature) for r in joint.measures}
        read |= {(c.role, c.feature) for c in joint.conditions}
        read |= {(joint.subject.role, joint.subject.feature)} if joint.subject else set()
        for of, feature in read:
            if of == role and feature is not None:
                key = (role, feature)
                found[key] = found[key] | open_ if key in found else open_

    for table in space.joint_tables:
        for axis, role in enumerate(table.roles):
            rows = np.moveaxis(table.verdicts == Verdict.UNKNOWN, axis, 0)
            add(table.joint, role, rows.reshape(len(rows), -1).any(axis=1)[table.class_of[axis]])
    for condition in space.sums if sums else ():
        least = [float(t.worst.min(initial=np.inf)) for t in condition.terms]
        most = [float(t.best.max(initial=-np.inf)) for t in condition.terms]
        for n, term in enumerate(condition.terms):
            low, high = sum(least) - least[n], sum(most) - most[n]
            for axis, role in enumerate(term.roles):
                worst = np.moveaxis(term.worst, axis, 0).reshape(term.worst.shape[axis], -1)
                best = np.moveaxis(term.best, axis, 0).reshape(term.best.shape[axis], -1)
                open_ = (worst.min(axis=1) + low < 0) & (best.max(axis=1) + high >= 0)
                add(condition.joint, role, open_[term.class_of[axis]])
    return found


class Measurer:
    """Ranks measurements over one catalogue.

    Parameters
    ----------
    catalogue : Catalogue
        Where figures are missing.
    names : iterable of str
        Stock numbers of which the builds in question have one, where they name any for a role:
        other parts of these roles are left aside, which takes less memory. None by default.

    Notes
    -----
    Every part as a measurement may leave it is compiled beside the parts as they are, as an
    option that no request lets in. For each role, one pass that ends with it tells for each of
    them how many builds there would be with it, exactly.
    """

    def __init__(self, catalogue: Catalogue, names: Iterable[str] = ()) -> None:
        self.catalogue = catalogue
        vocabulary = catalogue.vocabulary
        named = named_by_role(catalogue, tuple(names))
        self.real = {
            r: options_for(
                (p for p in catalogue.of(r) if r not in named or p.sku in named[r]), r, vocabulary
            )
            for r in vocabulary.roles
        }
        self.space = compile_options(catalogue, self.real)
        self.undecided = {known: _undecided(self.space, sums=not known) for known in (True, False)}

    def _open(self, option: Option, place: int) -> list[OpenFigure]:
        if option.part is None:
            return []
        return [
            figure
            for figure in open_figures(self.catalogue, option.part)
            if (key := (option.role, figure.feature)) in self.undecided[figure.known]
            and self.undecided[figure.known][key][place]
        ]

    def _suppose(
        self, option: Option, place: int, figures: Sequence[OpenFigure]
    ) -> Iterator[_Hypothesis]:
        check()
        part = option.part
        if part is None:
            return
        found = [(n, p) for n, f in enumerate(figures) for p in possibilities(self.catalogue, f)]
        if sum(not f.known for f in figures) > 1:
            found += [(-1, p) for p in together(self.catalogue, figures)]
        for n, possibility in found:
            after = _after(self.catalogue, option, part, possibility.changes)
            if after is not None:
                yield _Hypothesis(place, n, possibility, after)

    def rank(self, request: Request | None = None) -> list[Measurement]:
        """Return the measurements that settle anything, the most telling first.

        Parameters
        ----------
        request : Request, optional
            The question; the whole catalogue if there is none. Limits of budget and mass
            are left aside, as they do not hang on a measurement.

        Returns
        -------
        list of Measurement
            Those of the parts that the request names first, each lot by the expected number of
            builds settled.

        Raises
        ------
        NamingError
            If the request names something the catalogue does not have.
        """
        query = ask(self.space, request or Request())
        lets = query.lets
        found: list[Measurement] = []
        weights = query.weights(lets)
        possible, certain = (self.space.through(weights, certain=sure) for sure in (False, True))
        figures: dict[str, dict[int, list[OpenFigure]]] = {}
        supposed: dict[str, list[_Hypothesis]] = {}
        for role, mask in lets.items():
            # Where every possible build is certain there is nothing to settle.
            open_ = (possible[role] != certain[role])[self.space.class_of[role]]
            at = np.flatnonzero(mask & open_)
            figures[role] = {int(n): self._open(self.real[role][n], int(n)) for n in at}
            supposed[role] = [
                h
                for n, of in figures[role].items()
                for h in self._suppose(self.real[role][n], n, of)
            ]
        memo = Memo()
        for role, space in self._supposing(supposed):
            found.extend(self._of_role(role, figures[role], supposed[role], space, query, memo))
        asked = (*query.request.have, *query.request.want)
        named = {find_part(self.catalogue, sku).sku for sku in asked}

        def order(m: Measurement) -> tuple[bool, Fraction, Fraction, str, str, str]:
            own = m.sku not in named
            return own, -m.expected, -m.with_rest, m.sku, m.feature, m.dimension or ""

        return sorted(found, key=order)

    def _supposing(
        self, supposed: Mapping[str, Sequence[_Hypothesis]]
    ) -> Iterator[tuple[str, Space]]:
        """Yield each role that something is supposed of, and a space with what is supposed.

        It is one space for all roles where parts share shapes. Parts that were each measured
        have so many shapes that each role gets its own, one after the other.
        """
        some = [role for role, of_role in supposed.items() if of_role]
        apart = self.space.circuit(certain=True) is not None
        space: Space | None = None
        for role in some:
            if apart or space is None:
                with_more = {role} if apart else set(some)
                options = {
                    r: (*of, *(h.option for h in supposed[r])) if r in with_more else of
                    for r, of in self.real.items()
                }
                space = compile_options(self.catalogue, options)
            yield role, space

    def _of_role(
        self,
        role: str,
        figures: Mapping[int, Sequence[OpenFigure]],
        supposed: Sequence[_Hypothesis],
        space: Space,
        query: Query,
        memo: Memo,
    ) -> list[Measurement]:
        real = len(self.real[role])
        weights = {
            r: of_classes(mask.astype(float), space.class_of[r][: len(mask)], space.sizes[r])
            for r, mask in query.lets.items()
        }
        domains = {r: np.flatnonzero(of) for r, of in weights.items() if r != role}
        counted = {}
        for certain in (False, True):
            check()
            if self.space.circuit(certain=True) is not None:
                # Of parts that were each measured a plan that ends with a role is far too wide.
                every = {**weights, role: np.ones(space.sizes[role])}
                through = space.through(every, certain=certain)[role]
            else:
                plan = space.ingredients(certain=certain).plan(domains, last=role, memo=memo)
                through = count_through(plan, weights)
            counted[certain] = [int(x) for x in through[space.class_of[role]]]
        mine: dict[int, list[tuple[int, _Hypothesis]]] = defaultdict(list)
        for n, hypothesis in enumerate(supposed, start=real):
            mine[hypothesis.of].append((n, hypothesis))
        by_figure: dict[tuple[str, str, str | None], list[_OfOption]] = defaultdict(list)
        for place, hypotheses in mine.items():
            of_option = self._of_option(
                place, figures[place], hypotheses, space.class_of[role], counted
            )
            for one in of_option:
                figure = one.figure
                by_figure[(figure.part.sku, figure.feature, figure.dimension)].append(one)
        open_builds: dict[str, int] = defaultdict(int)
        for place in np.flatnonzero(query.lets[role]).tolist():
            part = self.real[role][place].part
            if part is not None:
                open_builds[part.sku] += counted[False][place] - counted[True][place]
        return [
            _added(role, open_builds[sku], of_figure) for (sku, *_), of_figure in by_figure.items()
        ]

    def _of_option(
        self,
        place: int,
        figures: Sequence[OpenFigure],
        hypotheses: Sequence[tuple[int, _Hypothesis]],
        class_of: Ints,
        counted: Mapping[bool, Sequence[int]],
    ) -> Iterator[_OfOption]:
        """Yield what measurements would settle of the builds with one option."""
        at = [place, *(n for n, _ in hypotheses)]
        now = int(class_of[place])
        possible, certain = (
            {int(class_of[n]): counted[sure][n] for n in at} for sure in (False, True)
        )
        if possible[now] == certain[now]:
            return
        told: dict[int, list[_Told]] = defaultdict(list)
        for n, hypothesis in hypotheses:
            c = int(class_of[n])
            told[hypothesis.figure].append(
                _Told(
                    hypothesis.possibility,
                    c,
                    certain[c] - certain[now],
                    possible[now] - possible[c],
                )
            )
        expected = {
            f: sum((t.possibility.share * (t.certain + t.impossible) for t in of), Fraction())
            for f, of in told.items()
        }
        unknown = [(f.feature, f.dimension) for f in figures if not f.known]
        for n, figure in enumerate(figures):
            best = max(expected.get(n, Fraction()), expected.get(-1, Fraction()))
            alone_settles = expected.get(n, Fraction())
            alone = figure.known or len(unknown) == 1 or -1 not in expected
            if n not in told or not (alone_settles or (best and not figure.known)):
                continue
            yield _OfOption(
                figure,
                alone_settles,
                alone_settles if alone else best,
                ()
                if alone
                else tuple(u for u in unknown if u != (figure.feature, figure.dimension)),
                tuple(told[n]),
            )


def _outcomes(part: Part, of_options: Sequence[Sequence[_Told]]) -> Iterator[Outcome]:
    """Yield what a measurement may show, with what it settles of the builds with any option.

    What comes to the same for every option is one outcome.
    """
    alike: dict[tuple[int, ...], list[tuple[_Told, ...]]] = defaultdict(list)
    for same in zip(*of_options, strict=True):  # one thing shown, option by option
        alike[tuple(t.klass for t in same)].append(same)
    for group in alike.values():
        shown = [same[0].possibility for same in group]
        yield Outcome(
            sum((p.share for p in shown), Fraction()),
            tuple(dict.fromkeys(v for p in shown for v in p.values)),
            sum(t.certain for t in group[0]),
            sum(t.impossible for t in group[0]),
            measured(part, shown[0].changes),
        )


def _added(role: str, open_builds: int, of_figure: Sequence[_OfOption]) -> Measurement:
    """Return the measurement of one figure over the part as it is and after each service."""
    figure = of_figure[0].figure
    outcomes = _outcomes(figure.part, [m.told for m in of_figure])
    return Measurement(
        figure.part.sku,
        role,
        figure.feature,
        figure.dimension,
        figure.known,
        open_builds,
        sum((m.expected for m in of_figure), Fraction()),
        tuple(sorted(outcomes, key=lambda o: (-o.share, -o.settled))),
        sum((m.with_rest for m in of_figure), Fraction()),
        tuple(dict.fromkeys(u for m in of_figure for u in m.rest)),
    )
