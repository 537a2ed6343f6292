"""Questions of the graph of fits: each as data, tables and a report."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import partial
from typing import Any

import networkx as nx

from fitgraph.graph.around import Near
from fitgraph.graph.cut_points import CutPoint
from fitgraph.graph.differences import Difference
from fitgraph.graph.families import Families
from fitgraph.graph.hubs import Hub
from fitgraph.graph.islands import Islands
from fitgraph.graph.views import by_role, edges_of, nodes_of
from fitgraph.model import Catalogue
from fitgraph.records import dataclass
from fitgraph.report.blocks import Block, Picture, Report, Say, Section, Tone, say_all
from fitgraph.report.hints import Hints
from fitgraph.report.tables import Column, Table
from fitgraph.report.values import COUNT, FINE_SHARE, PLACE, TEXT, Unit, number
from fitgraph.wording import first_of, plural

#: Rows that people see; data and tables have all.
SHOWN = 12

#: Parts that a cell names for people, the rest counted.
_NAMED = 2


def _first_named(catalogue: Catalogue, labels: Sequence[str]) -> str:
    return first_of(map(catalogue.called, labels), _NAMED)


def named(catalogue: Catalogue) -> Unit:
    """Return how parts in one cell are told: the first by name for people, all as data."""
    return Unit(partial(_first_named, catalogue), " ".join, figures=False, blank="")


_SCORE = Unit("{:.2f}".format, number)

#: Words of one cell in a row.
WORDS = Unit(", ".join, ", ".join, figures=False, blank="", several=True)


@dataclass(frozen=True, slots=True)
class Told:
    """An answer of the graph, in every form but its medium.

    Parameters
    ----------
    headline : str
        The answer in a sentence.
    data : dict
        The shape that docs/commands.md describes.
    tables : tuple of Table
        All rows, the main table first.
    blocks : tuple of Block
        What is said or drawn beside the main table.
    cautions : tuple of str
        What has to be shown with it.
    shown : tuple of Table or None
        What people see in place of the main table.
    """

    headline: str
    data: dict[str, Any]
    tables: tuple[Table, ...] = ()
    blocks: tuple[Block, ...] = ()
    cautions: tuple[str, ...] = ()
    shown: tuple[Table, ...] | None = None

    def report(self, hints: Hints) -> Report:
        """Return what is shown of it."""
        blocks: list[Block] = []
        for table in self.tables[:1] if self.shown is None else self.shown:
            if table.rows:
                blocks.append(Section("", (table.first(SHOWN),)))
            if (more := len(table.rows) - SHOWN) > 0:
                blocks.append(Say(f"{more:,} more: {hints.rest}", Tone.QUIET, deep=1))
        if self.blocks:
            blocks.append(Section("", self.blocks))
        return Report(self.headline, tuple(blocks), self.cautions)


def bare(node: str) -> str:
    """Return the name of a node without its kind.

    Examples
    --------
    >>> bare("interface:bar.lower/30")
    'bar.lower/30'
    """
    return node.partition(":")[2]


def overview(graph: nx.MultiDiGraph, picture: Picture | None = None) -> Told:
    """Tell what a graph of fits holds, by role."""
    kinds: dict[str, int] = {}
    for _, data in graph.nodes(data=True):
        kinds[data["kind"]] = kinds.get(data["kind"], 0) + 1
    verdicts: dict[str, int] = {}
    for _, _, data in edges_of(graph, "joint"):
        verdicts[data["verdict"]] = verdicts.get(data["verdict"], 0) + 1
    whole = sum(not d["services"] for _, d in nodes_of(graph, "part"))
    roles = by_role(graph)
    rows = [(n, d["parts"], d["interfaces"], sorted(roles[n])) for n, d in roles.nodes(data=True)]
    table = Table(
        "roles",
        (
            Column("role"),
            Column("parts", COUNT),
            Column("interfaces", COUNT),
            Column("mates_with", WORDS, "mates with"),
        ),
        tuple(rows),
    )
    come = "feature, which comes to", "features, which come to"
    headline = (
        f"{plural(whole, 'part has', 'parts have')} {plural(kinds.get('feature', 0), *come)} "
        f"{plural(kinds.get('interface', 0), 'interface')}; of the joints between interfaces "
        f"{plural(verdicts.get('fits', 0), 'fits', 'fit')}, and of {verdicts.get('unknown', 0):,} "
        "it cannot be told."
    )
    data = {
        "nodes": kinds,
        "joints": verdicts,
        "roles": [
            {"role": r, "parts": p, "interfaces": i, "mates_with": list(m)} for r, p, i, m in rows
        ],
    }
    blocks = () if picture is None else (picture,)
    counted = [
        Table(name, (Column(of), Column("count", COUNT)), tuple(counts.items()))
        for name, of, counts in (("nodes", "kind", kinds), ("joints", "verdict", verdicts))
    ]
    return Told(headline, data, (table, *counted), blocks)


def near(found: Sequence[Near], label: str, steps: int, catalogue: Catalogue) -> Told:
    """Tell what is around a part, step by step."""
    columns = (
        (Column("step", PLACE), lambda n: n.step),
        (Column("role"), lambda n: n.role),
        (Column("part"), lambda n: n.label),
        (Column("verdict"), lambda n: n.verdict),
        (Column("behind"), lambda n: n.behind),
        (Column("joints", WORDS), lambda n: n.joints),
    )
    groups: dict[tuple[int, str, str], list[str]] = {}
    for one in found:
        groups.setdefault((one.step, one.role, one.verdict), []).append(one.label)
    grouped = Table(
        "around",
        (
            Column("step", PLACE),
            Column("role"),
            Column("verdict"),
            Column("parts", COUNT),
            Column("which", named(catalogue)),
        ),
        tuple((*key, len(labels), labels) for key, labels in groups.items()),
    )
    table = Table.of("around", found, *columns)
    headline = (
        f"{plural(len(found), 'part')} within {plural(steps, 'step')} of {catalogue.called(label)}."
    )
    return Told(
        headline,
        {"around": table.entries()},
        (table,),
        shown=(grouped,),
    )


def cuts(points: Sequence[CutPoint], joints: Sequence[CutPoint]) -> Told:
    """Tell what splits the trade if it goes."""
    both = sorted([*points, *joints], key=lambda p: -p.cut_off)
    table = Table.of(
        "bridges",
        both,
        (Column("without"), lambda p: " | ".join(map(bare, p.nodes))),
        (Column("cut_off", COUNT, "parts cut off"), lambda p: p.cut_off),
        (Column("joints", WORDS), lambda p: p.joints.split(",") if p.joints else ()),
        (Column("pieces", COUNT), lambda p: len(p.pieces)),
    )
    data = {
        "articulation_points": [
            {"node": p.nodes[0], "cut_off": p.cut_off, "pieces": list(p.pieces)} for p in points
        ],
        "bridges": [
            {"ends": list(p.nodes), "joints": p.joints.split(","), "cut_off": p.cut_off}
            for p in joints
        ],
    }
    headline = (
        f"{plural(len(points), 'interface or part', 'interfaces and parts')}, and "
        f"{plural(len(joints), 'joint')}, hold the trade "
        "together alone."
        if both
        else "Nothing holds the trade together alone."
    )
    return Told(headline, data, (table,))


def hubs(found: Sequence[Hub]) -> Told:
    """Tell what most paths between the parts that people own lead through."""
    table = Table.of(
        "hubs",
        found,
        (Column("node"), lambda h: bare(h.node)),
        (Column("share", FINE_SHARE, "share of paths"), lambda h: h.share),
    )
    data = {"hubs": [{"node": h.node, "share": number(h.share)} for h in found]}
    headline = (
        f"{bare(found[0].node)} is the hub: {FINE_SHARE.show(found[0].share)} of the shortest "
        "paths between the parts that people own lead through it."
        if found
        else "There are no paths, so there is no hub."
    )
    return Told(headline, data, (table,))


def families(found: Families, catalogue: Catalogue) -> Told:
    """Tell which parts mate among themselves, and how far that agrees with the named groups."""
    roles = {sku: p.role for sku, p in catalogue.parts.items()}
    rows = tuple(
        (n, len(skus), sorted({roles[s] for s in skus}), skus)
        for n, skus in enumerate(found.families, 1)
    )
    table = Table(
        "families",
        (
            Column("family", PLACE),
            Column("parts", COUNT),
            Column("roles", WORDS),
            Column("which", named(catalogue)),
        ),
        rows,
    )
    told = say_all(
        f"Against the {c.grouping} of {c.parts:,} parts: adjusted Rand index {c.rand:.2f}, "
        f"normalised mutual information {c.information:.2f} (1 is the same, 0 is chance)."
        for c in found.compared
    )
    data = {
        "families": [
            {"parts": list(p), "interfaces": list(i)}
            for p, i in zip(found.families, found.interfaces, strict=True)
        ],
        "modularity": number(found.modularity),
        "compared": [
            {
                "grouping": c.grouping,
                "parts": c.parts,
                "kinds": {k: {str(f + 1): n for f, n in row.items()} for k, row in c.kinds.items()},
                "adjusted_rand_index": number(c.rand),
                "normalised_mutual_information": number(c.information),
            }
            for c in found.compared
        ],
    }
    mate = "family mates within itself", "families mate among themselves"
    headline = (
        f"{plural(len(found.families), *mate)} more than with others "
        f"(modularity {found.modularity:.2f})."
    )
    agreement = Table.of(
        "agreement",
        found.compared,
        (Column("grouping"), lambda c: c.grouping),
        (Column("parts", COUNT), lambda c: c.parts),
        (Column("adjusted_rand_index", _SCORE), lambda c: c.rand),
        (Column("normalised_mutual_information", _SCORE), lambda c: c.information),
    )
    compared = Table(
        "compared",
        (Column("grouping"), Column("kind"), Column("family", PLACE), Column("parts", COUNT)),
        tuple(
            (c.grouping, kind, family + 1, parts)
            for c in found.compared
            for kind, row in c.kinds.items()
            for family, parts in row.items()
        ),
    )
    return Told(headline, data, (table, agreement, compared), told)


def islands(found: Islands, catalogue: Catalogue) -> Told:
    """Tell what mates with nothing, and what only among itself."""
    rows: list[tuple[Any, ...]] = []
    if found.alone:
        rows.append(("mates with nothing", None, len(found.alone), found.alone))
    rows += [("group apart", None, len(g), g) for g in found.groups[1:]]
    rows += [("nothing goes on", bare(i), len(skus), skus) for i, skus in found.dead_ends.items()]
    table = Table(
        "islands",
        (
            Column("island"),
            Column("interface"),
            Column("parts", COUNT),
            Column("which", named(catalogue)),
        ),
        tuple(rows),
    )
    data = {
        "groups": [list(g) for g in found.groups],
        "alone": list(found.alone),
        "dead_ends": {i: list(skus) for i, skus in found.dead_ends.items()},
    }
    size = len(found.groups[0]) if found.groups else 0
    headline = (
        f"{plural(size, 'part hangs', 'parts hang')} together; "
        f"{plural(len(found.groups[1:]), 'group')} apart, "
        f"{plural(len(found.alone), 'part that mates', 'parts that mate')} "
        f"with nothing, {plural(len(found.dead_ends), 'interface')} that nothing goes on."
    )
    return Told(headline, data, (table,))


def _named(name: str) -> str:
    head, _, rest = name.partition(":")
    return rest if head in ("part", "feature", "interface") and " | " not in name else name


def _changes(found: dict[str, Difference]) -> Iterable[tuple[str, str, str, str]]:
    for kind, difference in found.items():
        yield from ((kind, "come", _named(n), "") for n in difference.come)
        yield from ((kind, "gone", _named(n), "") for n in difference.gone)
        for changed in difference.changed:
            what = ", ".join(
                f"{k} {changed.before.get(k, 'none')} to {changed.after.get(k, 'none')}"
                for k in dict.fromkeys([*changed.before, *changed.after])
            )
            yield kind, "changed", _named(changed.name), what


def differences(found: dict[str, Difference], since: str) -> Told:
    """Tell what came, went and changed.

    Parameters
    ----------
    found : dict of str to Difference
        By kind.
    since : str
        Against what, in words.
    """
    table = Table(
        "changes",
        (Column("kind"), Column("what"), Column("which"), Column("change", TEXT)),
        tuple(_changes(found)),
    )
    counts = "; ".join(
        f"{kind}s {len(d.come):,} come, {len(d.gone):,} gone, {len(d.changed):,} changed"
        for kind, d in found.items()
    )
    data = {
        kind: {
            "come": list(d.come),
            "gone": list(d.gone),
            "changed": [
                {"name": c.name, "before": dict(c.before), "after": dict(c.after)}
                for c in d.changed
            ],
        }
        for kind, d in found.items()
    }
    return Told(f"{since}: {counts}.", data, (table,))
