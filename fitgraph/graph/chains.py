"""Chains of parts from one to another, each held to the next by a joint.

A chain's parts, as they are or after a service, take different roles. Two neighbours are held
together by a joint between two of their features that is there and certainly fits. What can be
told of a chain alone is told here: every joint whose parts are all in it, with adapters and
extras that it does not name left out. Whether the rest of a build can be found around it is
:mod:`fitgraph.explain.ways`.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Mapping

import networkx as nx
import numpy as np

from fitgraph.errors import ArgumentError
from fitgraph.graph.interfaces import Fits, find_interfaces, pair_joints, pair_of
from fitgraph.graph.joints import asked
from fitgraph.graph.options import empty, presence_of
from fitgraph.graph.said import judge
from fitgraph.graph.shapes import Shape
from fitgraph.model import Catalogue, Condition, Fill, Joint, Option, Presence, Verdict
from fitgraph.records import dataclass
from fitgraph.stopping import check


@dataclass(frozen=True, slots=True)
class ChainJoint:
    """A joint that holds two neighbours of a chain.

    Parameters
    ----------
    joint : Joint
        The joint.
    margin_mm : float or None
        What is to spare at the worst sizes [mm]; None where it is no length.
    given : tuple of Condition
        What has to be so of roles that the chain leaves open.
    """

    joint: Joint
    margin_mm: float | None
    given: tuple[Condition, ...]


@dataclass(frozen=True, slots=True)
class Chain:
    """Parts in a row, each held to the next.

    Parameters
    ----------
    shapes : tuple of Shape
        The parts; those between the ends with all that are like them.
    holds : tuple of tuple of ChainJoint
        For each pair of neighbours, the joints that can hold them.
    margin_mm : float or None
        The least margin of all joints inside the chain [mm]; None where none is a length.
    tight : Joint or None
        The joint that has it.
    """

    shapes: tuple[Shape, ...]
    holds: tuple[tuple[ChainJoint, ...], ...]
    margin_mm: float | None
    tight: Joint | None

    @property
    def options(self) -> tuple[Option, ...]:
        """Return one part for each place."""
        return tuple(shape.option for shape in self.shapes)


def adapter_roles(catalogue: Catalogue) -> frozenset[str]:
    """Return the roles of adapters."""
    return frozenset(r.name for r in catalogue.vocabulary.roles.values() if r.fill is Fill.ADAPTER)


Node = tuple[str, int]

#: More rows are not judged.
MOST_ROWS = 3_000


def mating_graph(fits: Fits) -> nx.Graph:
    """Return shapes, joined where some joint between them is there and certainly fits.

    Conditions on further parts are taken to hold. Nodes are a role and the place of a shape.
    """
    graph = nx.Graph()
    for joint in pair_joints(fits.catalogue.vocabulary.joints):
        pair, judged = pair_of(joint), fits.judged.get(joint.name)
        if pair is None or judged is None:
            continue
        good = (judged.verdicts == Verdict.FITS) & (judged.there == Presence.PRESENT)
        order = [r for r in joint.roles if r in {e.role for e in pair}]
        good = good[np.ix_(judged.row_of[0], judged.row_of[1])]
        graph.add_edges_from(((order[0], int(i)), (order[1], int(j))) for i, j in np.argwhere(good))
    return graph


class _Judge:
    """What joints say of a chain, with what it does not name and builds leave out."""

    def __init__(self, fits: Fits) -> None:
        self.fits = fits
        joints = asked(fits.catalogue.vocabulary.joints, tidy=False)
        self.pairs = [j for j in pair_joints(joints) if j.name in fits.judged]
        named = {j.name for j in self.pairs}
        self.others = [j for j in joints if j.name not in named]
        roles = fits.catalogue.vocabulary.roles.values()
        self.out = {r.name: empty(r.name) for r in roles if not r.fill.free}
        self._said: dict[tuple[object, ...], tuple[Verdict, float | None]] = {}

    def _given(self, joint: Joint, known: Mapping[str, Option]) -> tuple[Condition, ...] | None:
        """Return the conditions on open roles; None where a known one is not met at all."""
        given = []
        for condition in joint.when:
            if condition.role not in known:
                given.append(condition)
                continue
            presence = presence_of(known[condition.role], condition.feature)
            held = int(presence) if condition.wanted else 2 - int(presence)
            if held == Presence.ABSENT:
                return None
            if held == Presence.UNKNOWN:
                given.append(condition)
        return tuple(given)

    def of_pair(
        self, joint: Joint, chain: Mapping[str, Node], known: Mapping[str, Option]
    ) -> tuple[Verdict, float | None, tuple[Condition, ...], bool] | None:
        """Return verdict, margin, open conditions and whether it is there; None if it is not."""
        given = self._given(joint, known)
        if given is None:
            return None
        judged = self.fits.judged[joint.name]
        roles = [r for r in joint.roles if r in {e.role for e in pair_of(joint) or ()}]
        at = tuple(judged.row_of[n][chain[r][1]] for n, r in enumerate(roles))
        there = Presence(int(judged.there[at]))
        if there is Presence.ABSENT:
            return None
        margin = float(judged.margins[at])
        return (
            Verdict(int(judged.verdicts[at])),
            None if np.isnan(margin) else margin,
            given,
            there is Presence.PRESENT,
        )

    def of_all(self, joint: Joint, known: Mapping[str, Option]) -> tuple[Verdict, float | None]:
        """Return what a joint says of known options."""
        key = (joint.name, *(known[r].label for r in joint.roles))
        if key not in self._said:
            said = judge(joint, known)
            self._said[key] = (said.verdict, said.margin)
        return self._said[key]

    def chain(self, nodes: tuple[Node, ...]) -> Chain | None:
        """Return a row of shapes as a chain; None where some joint inside does not fit."""
        shapes = [self.fits.shapes[role][place] for role, place in nodes]
        places = {node[0]: node for node in nodes}
        known = {**self.out, **{s.option.role: s.option for s in shapes}}
        holds: dict[frozenset[str], list[ChainJoint]] = {}
        margins: list[tuple[float, str, Joint]] = []
        for joint in self.pairs:
            ends = frozenset(e.role for e in pair_of(joint) or ())
            if not ends <= places.keys():
                continue
            said = self.of_pair(joint, places, known)
            if said is None:
                continue
            verdict, margin, given, there = said
            decided = all(c.role in known for c in given)
            if decided and verdict is not Verdict.FITS:
                return None
            unsure = any(c.role in known for c in given)
            if verdict is Verdict.FITS and there and not unsure:
                holds.setdefault(ends, []).append(ChainJoint(joint, margin, given))
            if margin is not None and verdict is Verdict.FITS and not given:
                margins.append((margin, joint.name, joint))
        for joint in self.others:
            if set(joint.roles) <= known.keys() and set(joint.roles) & places.keys():
                verdict, margin = self.of_all(joint, known)
                if verdict is not Verdict.FITS:
                    return None
                if margin is not None:
                    margins.append((margin, joint.name, joint))
        held = [tuple(holds.get(frozenset((a[0], b[0])), ())) for a, b in itertools.pairwise(nodes)]
        if not all(held):
            return None
        least = min(margins, default=None, key=lambda m: m[:2])
        return Chain(
            tuple(shapes),
            tuple(held),
            None if least is None else least[0],
            None if least is None else least[2],
        )


def _rows(
    graph: nx.Graph, starts: Iterable[Node], goals: Iterable[Node], longest: int
) -> Iterator[tuple[Node, ...]]:
    """Yield every path between shapes of different roles, of so many edges at most.

    Nothing is entered from which no goal is near enough.
    """
    goals = set(goals)
    far = nx.multi_source_dijkstra_path_length(graph, goals) if goals else {}
    ahead: list[tuple[Node, ...]] = [
        (start,) for start in starts if far.get(start, longest + 1) <= longest
    ]
    while ahead:
        row = ahead.pop()
        if row[-1] in goals:
            yield row
            continue
        roles = {role for role, _ in row}
        ahead += [
            (*row, node)
            for node in graph[row[-1]]
            if node[0] not in roles and len(row) + far.get(node, longest) <= longest
        ]


def chains(
    catalogue: Catalogue,
    one: str,
    other: str,
    *,
    through: Iterable[str] | None = None,
    most_between: int = 2,
) -> Iterator[Chain]:
    """Yield every chain from one part to another, the shortest first.

    Parameters
    ----------
    catalogue : Catalogue
        Where the parts come from.
    one, other : str
        Stock numbers. Services may be done to them as to all others.
    through : iterable of str, optional
        Roles whose parts may stand between; adapters by default.
    most_between : int
        Most parts between.

    Yields
    ------
    Chain
        All joints inside it certainly fit, or hang on roles that it leaves open.

    Raises
    ------
    KeyError
        If a stock number is unknown.
    ArgumentError
        If more than 3,000 rows of parts lead from one to the other.
    """
    ends = [catalogue.parts[one], catalogue.parts[other]]
    if ends[0].role == ends[1].role:
        return
    roles = (adapter_roles(catalogue) if through is None else frozenset(through)) - {
        p.role for p in ends
    }
    parts = [*ends, *(p for p in catalogue.parts.values() if p.role in roles)]
    fits = find_interfaces(catalogue, parts)
    graph, judge_of = mating_graph(fits), _Judge(fits)
    starts, goals = (
        [(p.role, n) for n in range(len(fits.shapes[p.role])) if (p.role, n) in graph] for p in ends
    )
    rows = list(itertools.islice(_rows(graph, starts, goals, most_between + 1), MOST_ROWS + 1))
    if len(rows) > MOST_ROWS:
        raise ArgumentError(
            "between",
            f"{most_between}: more than {MOST_ROWS:,} rows of parts lead from {one} to {other}; "
            "let in fewer parts between, or adapters alone",
        )
    for row in sorted(rows, key=lambda r: (len(r), r)):
        check()
        chain = judge_of.chain(row)
        if chain is not None:
            yield chain
