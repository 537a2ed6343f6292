"""What to measure next: the figure that is expected to settle most builds.

A build is open when it is possible but not certain. Whatever a measurement shows, it can
only close open builds with that part: make them certain, or rule them out. So for each
outcome the builds settled are those open before less those open after, both counted exactly;
and the expected number is their mean over the outcomes.

A part as measured stays within what is known of it now, so its builds are among the rows of
the junction tree that the part has today. Only those rows are judged again, all outcomes at
once, and nothing is compiled anew.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from types import MappingProxyType
from typing import Any

import numpy as np
import numpy.typing as npt

from fitgraph.explain.outcomes import (
    Changes,
    OpenFigure,
    Possibility,
    measured,
    open_figures,
    possibilities,
    together,
)
from fitgraph.graph.columns import WordCodes, columns_of
from fitgraph.graph.joints import JointTable, asked, joint_table
from fitgraph.graph.options import options_for, serviced
from fitgraph.model import Catalogue, Joint, Option, Part, Verdict
from fitgraph.solve import Request, Space
from fitgraph.solve.messages import EXACT_FLOAT, as_integers, upward
from fitgraph.solve.query import ask
from fitgraph.solve.space import compile_tables
from fitgraph.solve.tree import Clique

Ints = npt.NDArray[np.intp]
Numbers = npt.NDArray[Any]


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
    """A possibility for a figure (or for all figures of a part), as an option."""

    figure: int  # place among the part's figures; -1 for all of them at once
    possibility: Possibility
    option: Option


@dataclass(frozen=True, slots=True)
class _Span:
    """An option with its open figures, and which hypotheses are about it."""

    place: int
    option: Option
    figures: Sequence[OpenFigure]
    begin: int
    end: int


def _read(joint: Joint, role: str) -> set[str]:
    """Return the features of a role that a joint looks at."""
    read = [(a.role, a.feature) for a in joint.arguments.values()]
    read += [(c.role, c.feature) for c in joint.when]
    read += [(joint.subject.role, joint.subject.feature)] if joint.subject else []
    return {feature for r, feature in read if r == role and feature is not None}


def _after(catalogue: Catalogue, option: Option, part: Part, changes: Changes) -> Option | None:
    """Return a part as measured, with the services that its option has."""
    features = MappingProxyType({**part.features, **changes})
    after: Option | None = Option(option.role, part, (), features)
    for service in option.services:
        if after is not None:
            vocabulary = catalogue.vocabulary
            after = serviced(after, vocabulary.services[service], vocabulary)
    return after


def _supposable(
    catalogue: Catalogue, options: Sequence[Option]
) -> Iterator[tuple[Option, frozenset[str]]]:
    """Yield every option as some measurement may leave it, with the features it changes."""
    for option in options:
        if option.part is None:
            continue
        figures = list(open_figures(catalogue, option.part))
        found = [p for figure in figures for p in possibilities(catalogue, figure)]
        if sum(not f.known for f in figures) > 1:
            found += together(catalogue, figures)
        for possibility in found:
            after = _after(catalogue, option, option.part, possibility.changes)
            if after is not None:
                yield after, frozenset(possibility.changes)


def _foreseeing(catalogue: Catalogue) -> Space:
    """Return a catalogue compiled so that no measurement of one part splits a class.

    Every joint is judged over the options as they are and as measured; classes are those of
    the options as they are.
    """
    vocabulary = catalogue.vocabulary
    options = {role: options_for(catalogue.of(role), role, vocabulary) for role in vocabulary.roles}
    supposed = {role: list(_supposable(catalogue, of_role)) for role, of_role in options.items()}
    tables = []
    for joint in asked(vocabulary.joints, tidy=True):
        if not all(options[role] for role in joint.roles):
            continue
        every = {}
        for role in joint.roles:
            read = _read(joint, role)
            told = (option for option, changed in supposed[role] if not read.isdisjoint(changed))
            every[role] = [*options[role], *told]
        table = joint_table(joint, columns_of(every, WordCodes()))
        verdicts, classes = table.verdicts, []
        for axis, role in enumerate(joint.roles):
            real = table.class_of[axis][: len(options[role])]
            used, class_of = np.unique(real, return_inverse=True)
            verdicts = np.take(verdicts, used, axis=axis)
            classes.append(class_of.reshape(-1).astype(np.intp))
        tables.append(replace(table, class_of=tuple(classes), verdicts=verdicts))
    return compile_tables(catalogue, options, tables)


class Measurer:
    """Ranks measurements over one catalogue.

    Parameters
    ----------
    catalogue : Catalogue
        Where figures are missing.

    Notes
    -----
    It compiles the catalogue by itself: two options that no joint can tell apart today may
    come apart once a counterpart is measured, so its classes are finer than an engine's.
    """

    def __init__(self, catalogue: Catalogue) -> None:
        self.catalogue = catalogue
        self.space = _foreseeing(catalogue)

    # -- where each joint is judged ---------------------------------------

    @cached_property
    def _class_in(self) -> dict[str, dict[str, Ints]]:
        """Return for each role its variables, and the class of each option in them."""
        space = self.space
        found: dict[str, dict[str, Ints]] = {r: {r: space.class_of[r]} for r in space.options}
        for table in space.tables:
            for role in table.scope:
                for variable in table.scope:
                    if role in found and variable.startswith(f"{role}/"):
                        narrow = table.verdicts.argmax(axis=table.scope.index(variable))
                        found[role][variable] = narrow[space.class_of[role]]
        return found

    @cached_property
    def _homes(self) -> dict[str, tuple[int, dict[str, str]]]:
        """Return for each joint the clique that judges it, and the variable of each role."""
        homes = {}
        for table in self.space.joint_tables:
            telling = {r: self._telling(table, r) for r in table.roles}
            scope = {r: vs for r, vs in telling.items() if vs}
            for at, clique in enumerate(self.space.tree.cliques):
                inside = {r: [v for v in vs if v in clique.variables] for r, vs in scope.items()}
                if all(inside.values()):
                    homes[table.joint.name] = (at, {r: vs[0] for r, vs in inside.items()})
                    break
        return homes

    def _telling(self, table: JointTable, role: str) -> list[str]:
        """Return the variables of a role whose classes say what a joint says of it.

        Empty where the joint cannot tell the role's options apart.
        """
        own = table.class_of[table.roles.index(role)]
        if own.max(initial=0) == 0:
            return []
        return [
            variable
            for variable, klass in self._class_in[role].items()
            if len(set(zip(klass.tolist(), own.tolist(), strict=True))) == len(set(klass.tolist()))
        ]

    @cached_property
    def _tables(self) -> dict[str, JointTable]:
        return {t.joint.name: t for t in self.space.joint_tables}

    @cached_property
    def _first(self) -> dict[str, Ints]:
        """Return for each variable an option of each class."""
        first = {}
        for variables in self._class_in.values():
            for variable, klass in variables.items():
                at = np.zeros(int(klass.max(initial=-1)) + 1, dtype=np.intp)
                at[klass[::-1]] = np.arange(len(klass) - 1, -1, -1)
                first[variable] = at
        return first

    def _own_class(self, name: str, role: str, clique: Clique, rows: Ints) -> Ints:
        """Return a joint's own class of a role on rows of a clique."""
        table, variable = self._tables[name], self._homes[name][1].get(role)
        if variable is None:
            return np.zeros(len(rows), dtype=np.intp)
        own = table.class_of[table.roles.index(role)][self._first[variable]]
        return own[clique.rows[rows, clique.variables.index(variable)]]

    @cached_property
    def _fits(self) -> dict[str, npt.NDArray[np.bool_]]:
        """Return for each joint whether it fits for certain, on each row of its clique."""
        found = {}
        for name, (home, _) in self._homes.items():
            table, clique = self._tables[name], self.space.tree.cliques[home]
            rows = np.arange(len(clique.rows))
            at = tuple(self._own_class(name, role, clique, rows) for role in table.roles)
            found[name] = table.verdicts[at] == Verdict.FITS
        return found

    @cached_property
    def _group_of(self) -> list[Ints]:
        return [c.group_of for c in self.space.tree.cliques]

    # -- judging a part as measured ----------------------------------------

    def _tables_of(self, role: str, feature: str | None = None) -> list[JointTable]:
        """Return the joints that look at a role, or at a feature of it."""
        return [
            t
            for t in self.space.joint_tables
            if role in t.roles and (feature is None or feature in _read(t.joint, role))
        ]

    def _judged_where_told(
        self,
        table: JointTable,
        role: str,
        hypotheses: Sequence[_Hypothesis],
        spans: Sequence[_Span],
    ) -> Numbers:
        """Return what a joint says of every hypothesis, then of every option as it is.

        Only hypotheses on a feature that the joint looks at are judged; of the others it says
        what it says of the option as it is.
        """
        read = _read(table.joint, role)
        told = [n for n, h in enumerate(hypotheses) if read & h.possibility.changes.keys()]
        options = [hypotheses[n].option for n in told] + [span.option for span in spans]
        verdicts = self._judged(table, role, options)
        now = verdicts[len(told) :]
        span_of = np.repeat(np.arange(len(spans)), [s.end - s.begin for s in spans])
        rows = np.concatenate([now[span_of], now])
        rows[told] = verdicts[: len(told)]
        return rows

    def _judged(self, table: JointTable, role: str, options: Sequence[Option]) -> Numbers:
        """Return what a joint says of options of a role with every class of its other roles.

        The first axis is that of the options; the others follow the joint's roles.
        """
        of_role: dict[str, Sequence[Option]] = {role: options}
        for other, klass in zip(table.roles, table.class_of, strict=True):
            if other == role:
                continue
            at = np.zeros(int(klass.max(initial=-1)) + 1, dtype=np.intp)
            at[klass[::-1]] = np.arange(len(klass) - 1, -1, -1)
            of_role[other] = [self.space.options[other][n] for n in at]
        judged = joint_table(table.joint, columns_of(of_role, WordCodes()))
        verdicts = judged.verdicts[np.ix_(*judged.class_of)]
        return np.moveaxis(verdicts, table.roles.index(role), 0)

    @cached_property
    def _undecided(self) -> dict[tuple[str, str], npt.NDArray[np.bool_]]:
        """Return for each feature of a role the options that some joint on it cannot judge."""
        found = {}
        for role, kind in self.catalogue.vocabulary.roles.items():
            for feature in kind.features:
                open_ = np.zeros(len(self.space.options[role]), dtype=bool)
                for table in self._tables_of(role, feature):
                    axis = table.roles.index(role)
                    rows = np.moveaxis(table.verdicts == Verdict.UNKNOWN, axis, 0)
                    open_ |= rows.reshape(len(rows), -1).any(axis=1)[table.class_of[axis]]
                found[(role, feature)] = open_
        return found

    # -- the ranking ---------------------------------------------------------

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
            By expected number of builds settled.

        Raises
        ------
        NamingError
            If the request names something the catalogue does not have.
        """
        query = ask(self.space, request or Request())
        weights = query.weights(query.lets)
        found: list[Measurement] = []
        counter = _Counter(self, weights)
        for role, options in self.space.options.items():
            allowed = query.lets[role]
            todo = [
                (n, o) for n, o in enumerate(options) if o.part is not None and bool(allowed[n])
            ]
            found.extend(self._of_role(role, todo, counter))
        return sorted(
            found, key=lambda m: (-m.expected, -m.with_rest, m.sku, m.feature, m.dimension or "")
        )

    def _of_role(
        self, role: str, todo: Sequence[tuple[int, Option]], counter: _Counter
    ) -> list[Measurement]:
        hypotheses: list[_Hypothesis] = []
        spans: list[_Span] = []
        for place, option in todo:
            if option.part is None:
                continue
            figures = [
                f
                for f in open_figures(self.catalogue, option.part)
                if self._undecided[(role, f.feature)][place]
            ]
            begin = len(hypotheses)
            for n, figure in enumerate(figures):
                self._suppose(hypotheses, n, option, possibilities(self.catalogue, figure))
            if sum(not f.known for f in figures) > 1:
                self._suppose(hypotheses, -1, option, together(self.catalogue, figures))
            if len(hypotheses) > begin:
                spans.append(_Span(place, option, figures, begin, len(hypotheses)))
        if not spans:
            return []
        judged = {
            t.joint.name: self._judged_where_told(t, role, hypotheses, spans)
            for t in self._tables_of(role)
        }
        by_figure: dict[tuple[str, str, str | None], list[Measurement]] = defaultdict(list)
        for n, span in enumerate(spans):
            mine = [*range(span.begin, span.end), len(hypotheses) + n]
            rows = {name: v[mine] for name, v in judged.items()}
            of_span = hypotheses[span.begin : span.end]
            for m in self._of_option(role, span, of_span, rows, counter):
                by_figure[(m.sku, m.feature, m.dimension)].append(m)
        return [_added(of_figure) for of_figure in by_figure.values()]

    def _suppose(
        self, into: list[_Hypothesis], figure: int, option: Option, found: Iterable[Possibility]
    ) -> None:
        part = option.part
        for possibility in found:
            after = (
                _after(self.catalogue, option, part, possibility.changes)
                if part is not None
                else None
            )
            if after is not None:
                into.append(_Hypothesis(figure, possibility, after))

    def _of_option(
        self,
        role: str,
        span: _Span,
        hypotheses: Sequence[_Hypothesis],
        judged: Mapping[str, Numbers],
        counter: _Counter,
    ) -> list[Measurement]:
        """Return the measurements of one option; outcomes that come to the same are one."""
        now, figures = len(hypotheses), span.figures
        key = [b"".join(v[n].tobytes() for v in judged.values()) for n in range(now + 1)]
        distinct = list(dict.fromkeys([key[now], *key[:now]]))
        if len(distinct) == 1:
            return []  # no outcome changes any verdict
        at = [key.index(k) for k in distinct]
        possible, certain = counter.through(
            role, span.place, {name: v[at] for name, v in judged.items()}
        )
        if possible[0] == certain[0]:
            return []
        groups: dict[int, dict[bytes, list[Possibility]]] = defaultdict(dict)
        for n, hypothesis in enumerate(hypotheses):
            groups[hypothesis.figure].setdefault(key[n], []).append(hypothesis.possibility)
        outcomes = {
            figure: tuple(
                _outcome(figures[0].part, same, possible, certain, distinct.index(k))
                for k, same in of.items()
            )
            for figure, of in groups.items()
        }
        expected = {
            f: sum((o.share * o.settled for o in os), Fraction()) for f, os in outcomes.items()
        }
        unknown = [(f.feature, f.dimension) for f in figures if not f.known]
        found = []
        for n, figure in enumerate(figures):
            best = max(expected.get(n, Fraction()), expected.get(-1, Fraction()))
            mine = expected.get(n, Fraction())
            alone = figure.known or len(unknown) == 1 or -1 not in expected
            if n not in outcomes or not (mine or (best and not figure.known)):
                continue
            rest = tuple(u for u in unknown if u != (figure.feature, figure.dimension))
            found.append(
                Measurement(
                    figure.part.sku,
                    role,
                    figure.feature,
                    figure.dimension,
                    figure.known,
                    possible[0] - certain[0],
                    mine,
                    tuple(sorted(outcomes[n], key=lambda o: (-o.share, -o.settled))),
                    mine if alone else best,
                    () if alone else rest,
                )
            )
        return found


def _outcome(
    part: Part,
    same: Sequence[Possibility],
    possible: Sequence[int],
    certain: Sequence[int],
    at: int,
) -> Outcome:
    return Outcome(
        sum((p.share for p in same), Fraction()),
        tuple(dict.fromkeys(v for p in same for v in p.values)),
        certain[at] - certain[0],
        possible[0] - possible[at],
        measured(part, same[0].changes),
    )


def _added(of_figure: Sequence[Measurement]) -> Measurement:
    """Return the measurement of one figure over the part as it is and after each service."""
    first = of_figure[0]
    if len(of_figure) == 1:
        return first
    return replace(
        first,
        open_builds=sum(m.open_builds for m in of_figure),
        expected=sum((m.expected for m in of_figure), Fraction()),
        with_rest=sum((m.with_rest for m in of_figure), Fraction()),
    )


class _Counter:
    """Counts builds through one option, for many judgements of it at once."""

    def __init__(self, measurer: Measurer, weights: Mapping[str, Numbers]) -> None:
        self.measurer = measurer
        self.tree = measurer.space.tree
        # A role that the request leaves no option for still has to be counted through.
        filled = {v: np.maximum(w, 1.0) for v, w in weights.items()}
        exact = self._most(filled) < EXACT_FLOAT
        self.weights: Mapping[str, Numbers] = weights if exact else as_integers(weights)
        self.kind = next(iter(self.weights.values())).dtype
        self.inside = {s: upward(self.tree, self.weights, certain=s)[0] for s in (False, True)}
        self.outside = {s: self._outside(s) for s in (False, True)}

    def _most(self, weights: Mapping[str, Numbers]) -> float:
        """Return the largest number that counting can meet."""
        messages, _, largest = upward(self.tree, weights, certain=False)
        total = 1.0
        for root in self.tree.roots:
            total *= max(float(messages[root].sum()), 1.0)
        return max(largest, total)

    def _outside(self, sure: bool) -> list[Numbers]:
        """Return for each group of a clique's rows the solutions of all that is not below it."""
        one = np.ones(1, dtype=self.kind)
        tops = {r: self.inside[sure][r] for r in self.tree.roots}
        found: list[Numbers] = [one] * len(self.tree.cliques)
        for root in tops:
            for other, message in tops.items():
                if other != root:
                    found[root] = found[root] * (message if len(message) else 0 * one)
        for at in self.tree.preorder:
            clique = self.tree.cliques[at]
            base = found[at][clique.group_of] if len(clique.rows) else one[:0]
            if sure:
                base = base * clique.certain
            for variable in clique.own:
                if variable in self.weights:
                    base = base * self.weights[variable][clique.column(variable)]
            for child in clique.children:
                value = base
                for other in clique.children:
                    if other != child:
                        into = self.tree.cliques[other].group_in_parent
                        value = value * self.inside[sure][other][into]
                below = self.tree.cliques[child]
                total = np.zeros(len(below.starts), dtype=self.kind)
                np.add.at(total, below.group_in_parent, value)
                found[child] = total
        return found

    def _touched(self, role: str, joints: Iterable[str]) -> set[int]:
        """Return the cliques in which a role, or one of some joints, has a say."""
        mine = set(self.measurer._class_in[role])
        cliques = self.tree.cliques
        found = {at for at, c in enumerate(cliques) if mine & set(c.variables)}
        for name in joints:
            scope = set(self.measurer._homes[name][1].values())
            if not scope & mine:  # the joint could not tell the role's options apart so far
                found |= {at for at, c in enumerate(cliques) if scope <= set(c.variables)}
        return found

    def _top(self, touched: set[int]) -> int | None:
        """Return the one clique under which all that is touched hangs, if there is one."""
        tops = [at for at in touched if self.tree.cliques[at].parent not in touched]
        return tops[0] if len(tops) == 1 else None

    def through(
        self, role: str, place: int, judged: Mapping[str, Numbers]
    ) -> tuple[list[int], list[int]]:
        """Return the possible and the certain builds with an option.

        Parameters
        ----------
        role : str
            Its role.
        place : int
            Its place among the role's options.
        judged : mapping of str to ndarray
            For each joint that looks at the role, its verdicts for every judgement of the
            option (first axis) with the classes of its other roles.
        """
        mine = {v: int(k[place]) for v, k in self.measurer._class_in[role].items()}
        touched = self._touched(role, judged)
        rows = {at: self._rows(self.tree.cliques[at], mine) for at in touched}
        possible = self._through(role, rows, judged, False)
        return possible, self._through(role, rows, judged, True)

    def _rows(self, clique: Clique, mine: Mapping[str, int]) -> Ints:
        """Return the rows of a clique on which variables have given classes."""
        rows: Ints | None = None
        for variable, klass in mine.items():
            if variable in clique.variables:
                column = clique.rows[:, clique.variables.index(variable)]
                if rows is None:
                    rows = np.flatnonzero(column == klass)
                else:
                    rows = rows[column[rows] == klass]
        return np.arange(len(clique.rows)) if rows is None else rows

    def _through(
        self,
        role: str,
        rows_of: Mapping[int, Ints],
        judged: Mapping[str, Numbers],
        sure: bool,
    ) -> list[int]:
        width = len(next(iter(judged.values())))
        messages: list[Numbers] = list(self.inside[sure])
        touched = set(rows_of)
        top = self._top(touched)
        fresh: set[int] = set()
        for at, clique in enumerate(self.tree.cliques):
            if at not in touched and (top is not None or not fresh.intersection(clique.children)):
                continue
            fresh.add(at)
            rows = rows_of[at] if at in rows_of else np.arange(len(clique.rows))
            value: Numbers = np.ones((len(rows), 1), dtype=self.kind)
            if at in touched:
                value = value * self._allows(at, clique, rows, role, judged, sure)
            elif sure:
                value = value * clique.certain[rows, None]
            for variable in clique.own:
                if variable in self.weights and variable != role:
                    weight = self.weights[variable][
                        clique.rows[rows, clique.variables.index(variable)]
                    ]
                    value = value * weight[:, None]
            for child in clique.children:
                into = self.tree.cliques[child].group_in_parent[rows]
                message = messages[child]
                value = value * (message[into] if message.ndim > 1 else message[into, None])
            if at == top:
                value = value * self.outside[sure][at][self.measurer._group_of[at][rows], None]
                sums = value.sum(axis=0) if len(value) else np.zeros(width)
                return [int(x) for x in np.broadcast_to(sums, width)]
            messages[at] = _by_group(value, self.measurer._group_of[at][rows], len(clique.starts))
        whole: Numbers = np.ones(width, dtype=object)
        for root in self.tree.roots:
            message = messages[root]
            first = message[0] if len(message) else np.zeros(1)
            whole = whole * np.array([int(x) for x in np.atleast_1d(first)], dtype=object)
        return [int(x) for x in whole]

    def _allows(
        self,
        at: int,
        clique: Clique,
        rows: Ints,
        role: str,
        judged: Mapping[str, Numbers],
        sure: bool,
    ) -> npt.NDArray[np.bool_]:
        """Return whether every joint that a clique judges allows each row."""
        allowed = np.ones((len(rows), 1), dtype=bool)
        least = Verdict.FITS if sure else Verdict.UNKNOWN
        for name, (home, _) in self.measurer._homes.items():
            if home != at:
                continue
            if name in judged:
                allowed = allowed & (self._said(name, clique, rows, role, judged[name]) >= least)
            elif sure:
                allowed = allowed & self.measurer._fits[name][rows, None]
        return allowed

    def _said(self, name: str, clique: Clique, rows: Ints, role: str, judged: Numbers) -> Numbers:
        """Return what a joint says on rows of a clique, one column a judgement."""
        others = [r for r in self.measurer._tables[name].roles if r != role]
        at = [self.measurer._own_class(name, r, clique, rows) for r in others]
        if not at:
            return np.broadcast_to(judged, (len(rows), len(judged)))
        every: tuple[Any, ...] = (slice(None), *at)
        return np.asarray(judged[every].T)


def _by_group(value: Numbers, group: Ints, groups: int) -> Numbers:
    """Return the sums of rows by group; the rows are sorted by group."""
    total = np.zeros((groups, value.shape[1]), dtype=value.dtype)
    if len(value):
        starts = np.flatnonzero(np.diff(group, prepend=-1))
        total[group[starts]] = np.add.reduceat(value, starts, axis=0)
    return total
