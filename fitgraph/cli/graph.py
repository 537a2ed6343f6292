"""``fitgraph graph``: the graph of fits, what it can be asked, and files of it."""

from __future__ import annotations

import datetime
import json as json_text
import sys
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from fitgraph.cli.options import AsJson, CatalogueFolder
from fitgraph.cli.output import (
    ANSWER,
    NO,
    BadInputError,
    caution_lines,
    cautions_on,
    number,
    show,
    show_json,
    styled,
)
from fitgraph.cli.reading import read, remark_findings
from fitgraph.plain import csv_text
from fitgraph.units import UnitError, major, parse_length, show_length, show_money

if TYPE_CHECKING:
    import networkx as nx

    from fitgraph.catalogue import Loaded
    from fitgraph.explain.ways import Way
    from fitgraph.graph.cut_points import CutPoint

#: Rows listed for people; JSON and CSV have all.
_ROWS = 12

#: Names in a cell.
_NAMES = 3


class Order(StrEnum):
    """Which ways come first."""

    SHORTEST = "shortest"
    CHEAPEST = "cheapest"
    MARGIN = "margin"


@dataclass(frozen=True, slots=True)
class Answer:
    """An answer for every medium.

    Parameters
    ----------
    title : str
        Its first line.
    data : dict
        For JSON.
    heads, rows
        The table, for people and as CSV; a number, a text or None in each cell.
    words : callable
        Turns a row into cells for people.
    lines : sequence of str
        What else is to be said.
    cautions : sequence of str
        Cautions that go with it.
    code : int
        The exit code.
    """

    title: str
    data: dict[str, Any]
    heads: Sequence[str] = ()
    rows: Sequence[Sequence[Any]] = ()
    words: Callable[[Sequence[Any]], Sequence[str]] = lambda row: [_cell(v) for v in row]
    lines: Sequence[str] = ()
    cautions: Sequence[str] = ()
    code: int = ANSWER


def _cell(value: Any) -> str:
    return "" if value is None else f"{value:,}" if isinstance(value, int) else str(value)


def _short(names: Sequence[str]) -> str:
    more = len(names) - _NAMES
    shown = ", ".join(names[:_NAMES])
    return f"{shown} and {more:,} more" if more > 0 else shown


def _length(mm: float | None) -> str:
    return "" if mm is None else show_length(mm).replace("-", "\N{MINUS SIGN}")


def _bare(node: str) -> str:
    return node.partition(":")[2]


def _graph(loaded: Loaded, in_stock: bool) -> nx.MultiDiGraph:
    from fitgraph.graph.fit_graph import fit_graph
    from fitgraph.graph.views import in_stock as on_shelf

    graph = fit_graph(loaded.catalogue)
    return on_shelf(graph) if in_stock else graph


def _overview(graph: nx.MultiDiGraph) -> Answer:
    from fitgraph.graph.views import by_role, edges_of, nodes_of

    kinds: dict[str, int] = {}
    for _, data in graph.nodes(data=True):
        kinds[data["kind"]] = kinds.get(data["kind"], 0) + 1
    verdicts: dict[str, int] = {}
    for _, _, data in edges_of(graph, "joint"):
        verdicts[data["verdict"]] = verdicts.get(data["verdict"], 0) + 1
    whole = sum(not d["services"] for _, d in nodes_of(graph, "part"))
    roles = by_role(graph)
    rows = [
        [n, d["parts"], d["interfaces"], ", ".join(sorted(roles[n]))]
        for n, d in roles.nodes(data=True)
    ]
    title = (
        f"{whole:,} parts have {kinds.get('feature', 0):,} features, which come to "
        f"{kinds.get('interface', 0):,} interfaces; {verdicts.get('fits', 0):,} joints between "
        f"interfaces fit, of {verdicts.get('unknown', 0):,} it cannot be told."
    )
    data = {
        "nodes": kinds,
        "joints": verdicts,
        "roles": [
            {"role": r[0], "parts": r[1], "interfaces": r[2], "mates_with": sorted(roles[r[0]])}
            for r in rows
        ],
    }
    return Answer(title, data, ["role", "parts", "interfaces", "mates with"], rows)


def _way_json(way: Way, digits: int) -> dict[str, Any]:
    return {
        "parts": [o.label for o in way.options],
        "alike": [list(labels) for labels in way.alike],
        "joints": [h.joint.name for h in way.holds],
        "margins_mm": [number(h.margin_mm) for h in way.holds],
        "given": [[str(c) for c in h.given] for h in way.holds],
        "price": None if way.price is None else major(way.price, digits),
        "minutes": number(way.minutes),
        "margin_mm": number(way.margin_mm),
        "tight": None if way.tight is None else way.tight.name,
    }


def _path(
    loaded: Loaded, ends: tuple[str, str], between: int, any_part: bool, order: Order
) -> Answer:
    from fitgraph.explain import Explainer
    from fitgraph.explain.ways import First, ways

    catalogue = loaded.catalogue
    vocabulary = catalogue.vocabulary
    found = ways(
        Explainer(catalogue),
        *ends,
        through=vocabulary.roles if any_part else None,
        most_between=between,
        first=First(order.value),
    )
    rows = []
    for way in found:
        price = None if way.price is None else major(way.price, vocabulary.minor_digits)
        tight = "" if way.tight is None else way.tight.title
        rows.append([" > ".join(o.label for o in way.options), price, way.margin_mm, tight])

    def words(row: Sequence[Any]) -> Sequence[str]:
        money = "?"
        if row[1] is not None:
            minor = round(row[1] * 10**vocabulary.minor_digits)
            money = show_money(minor, vocabulary.currency, vocabulary.minor_digits)
        return [row[0], money, _length(row[2]), row[3]]

    names = " and ".join(ends)
    count = "1 way" if len(found) == 1 else f"{len(found):,} ways"
    by = "most to spare" if order is Order.MARGIN else order.value
    title = f"{count} between {names}, {by} first."
    lines: list[str] = []
    if not found:
        title = f"No way between {names}."
        lines.append(
            "No build holds both with these steps between."
            if any_part
            else "Only adapters and services were let in between; --any-part lets in every part."
        )
    cautions = cautions_on(
        vocabulary,
        (vocabulary.services[s].caution for w in found for o in w.options for s in o.services),
    )
    data = {
        "ways": [_way_json(w, vocabulary.minor_digits) for w in found],
        "currency": vocabulary.currency,
    }
    heads = ["way", "price", "least to spare", "where it is tight"]
    return Answer(title, data, heads, rows, words, lines, cautions, ANSWER if found else NO)


def _around(loaded: Loaded, graph: nx.MultiDiGraph, sku: str, steps: int) -> Answer:
    from fitgraph.graph.around import around
    from fitgraph.solve.request import find_part

    label = find_part(loaded.catalogue, sku).sku
    try:
        near = around(graph, label, steps)
    except KeyError:
        raise BadInputError(f"{label} is not in stock; leave --in-stock out") from None
    rows = [[n.step, n.role, n.label, n.verdict, n.behind, ", ".join(n.joints)] for n in near]
    groups: dict[tuple[int, str, str], list[str]] = {}
    for n in near:
        groups.setdefault((n.step, n.role, n.verdict), []).append(n.label)
    lines = [
        f"{step}  {role}, {verdict}: {_short(labels)}"
        for (step, role, verdict), labels in groups.items()
    ]
    count = "1 step" if steps == 1 else f"{steps} steps"
    title = f"{len(near):,} parts within {count} of {label}: step, role, what its joints say."
    keys = ("step", "role", "part", "verdict", "behind", "joints")
    data = {"around": [dict(zip(keys, r, strict=True)) for r in rows]}
    return Answer(
        title,
        data,
        ["step", "role", "part", "verdict", "behind", "joints"],
        rows,
        lambda r: (),
        lines,
    )


def _cuts(points: Sequence[CutPoint], joints: Sequence[CutPoint]) -> Answer:
    rows: list[list[Any]] = [
        *([_bare(p.nodes[0]), p.cut_off, "", len(p.pieces)] for p in points),
        *([" | ".join(map(_bare, p.nodes)), p.cut_off, p.joints, 2] for p in joints),
    ]
    rows.sort(key=lambda r: r[1], reverse=True)
    data = {
        "articulation_points": [
            {"node": p.nodes[0], "cut_off": p.cut_off, "pieces": list(p.pieces)} for p in points
        ],
        "bridges": [
            {"ends": list(p.nodes), "joints": p.joints.split(","), "cut_off": p.cut_off}
            for p in joints
        ],
    }
    title = (
        f"{len(points):,} interfaces and parts, and {len(joints):,} joints, hold the trade "
        "together alone."
        if rows
        else "Nothing holds the trade together alone."
    )
    return Answer(title, data, ["without", "parts cut off", "joints", "pieces"], rows)


def _hubs(graph: nx.MultiDiGraph) -> Answer:
    from fitgraph.graph.hubs import hubs

    found = hubs(graph)
    rows = [[_bare(h.node), h.share] for h in found]
    data = {"hubs": [{"node": h.node, "share": number(h.share)} for h in found]}
    title = "What the shortest ways between the parts that riders own lead through."
    return Answer(title, data, ["hub", "share of ways"], rows, lambda r: [r[0], f"{r[1]:.1%}"])


def _families(loaded: Loaded, graph: nx.MultiDiGraph) -> Answer:
    from fitgraph.graph.families import families

    found = families(graph, loaded.catalogue)
    roles = {sku: p.role for sku, p in loaded.catalogue.parts.items()}
    rows: list[list[Any]] = []
    for n, skus in enumerate(found.families):
        of = sorted({roles[s] for s in skus})
        rows.append([n + 1, len(skus), ", ".join(of), ", ".join(skus)])
    lines = [
        f"Against the {c.grouping} of {c.parts:,} parts: adjusted Rand index {c.rand:.2f}, "
        f"normalised mutual information {c.information:.2f} (1 is the same, 0 is chance)."
        for c in found.compared
    ]
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
    title = (
        f"{len(found.families):,} families mate among themselves more than with others "
        f"(modularity {found.modularity:.2f})."
    )
    return Answer(
        title,
        data,
        ["family", "parts", "roles", "which"],
        rows,
        lambda r: [str(r[0]), str(r[1]), r[2], _short(r[3].split(", "))],
        lines,
    )


def _islands(graph: nx.MultiDiGraph) -> Answer:
    from fitgraph.graph.islands import islands

    found = islands(graph)
    rows: list[list[Any]] = [
        ["mates with nothing", "", len(found.alone), ", ".join(found.alone)]
    ] * bool(found.alone)
    rows += [["group apart", "", len(g), ", ".join(g)] for g in found.groups[1:]]
    rows += [
        ["nothing goes on", _bare(i), len(skus), ", ".join(skus)]
        for i, skus in found.dead_ends.items()
    ]
    data = {
        "groups": [list(g) for g in found.groups],
        "alone": list(found.alone),
        "dead_ends": {i: list(skus) for i, skus in found.dead_ends.items()},
    }
    size = len(found.groups[0]) if found.groups else 0
    title = (
        f"{size:,} parts hang together; {len(found.groups[1:]):,} groups are apart, "
        f"{len(found.alone):,} parts mate with nothing, and nothing goes on "
        f"{len(found.dead_ends):,} interfaces."
    )
    return Answer(
        title,
        data,
        ["island", "interface", "parts", "which"],
        rows,
        lambda r: [r[0], r[1], str(r[2]), _short(r[3].split(", "))],
    )


def _near_misses(loaded: Loaded, text: str) -> Answer:
    from fitgraph.graph.interfaces import find_interfaces
    from fitgraph.graph.near_misses import closers, near_misses

    try:
        mm = parse_length(text)
    except UnitError as error:
        raise BadInputError(f"--near-misses {text!r} {error}") from None
    if not 0 < mm < 1e6:
        raise BadInputError(f"--near-misses {text!r} is out of range; write a length like 0.1 mm")
    catalogue = loaded.catalogue
    fits = find_interfaces(catalogue, services=False)
    found = near_misses(catalogue, mm, fits)
    rows, data = [], []
    for miss in found:
        near = closers(miss, catalogue, fits)
        told = [
            f"{c.size} {_signed(c.by_mm)}" if c.size is not None else f"{c.kind} {c.what}"
            for c in near
        ]
        rows.append(
            [
                ", ".join(miss.parts[0]),
                ", ".join(miss.parts[1]),
                miss.joint.title,
                miss.margin_mm,
                "; ".join(told),
            ]
        )
        data.append(
            {
                "joint": miss.joint.name,
                "title": miss.joint.title,
                "parts": [list(p) for p in miss.parts],
                "margin_mm": number(miss.margin_mm),
                "closers": [
                    {
                        "kind": c.kind,
                        "size": None if c.size is None else str(c.size),
                        "by_mm": number(c.by_mm),
                        "what": c.what or None,
                        "verdict": c.verdict.word,
                    }
                    for c in near
                ],
            }
        )

    def words(row: Sequence[Any]) -> Sequence[str]:
        one, other = (_short(x.split(", ")) for x in row[:2])
        return [one, other, row[2], _length(-row[3]), _closest(row[4])]

    pairs = sum(len(m.parts[0]) * len(m.parts[1]) for m in found)
    title = f"{pairs:,} pairs of parts fail by no more than {_length(mm)}, the nearest first."
    if not found:
        title = f"No pair of parts fails by so little as {_length(mm)}."
    heads = ["part", "with", "joint", "lacks", "would no longer fail with"]
    return Answer(title, {"near_misses": data}, heads, rows, words)


def _signed(mm: float | None) -> str:
    return ("+" if (mm or 0.0) > 0 else "") + _length(mm)


def _closest(told: str) -> str:
    pieces = told.split("; ")
    more = len(pieces) - 2
    shown = "; ".join(pieces[:2])
    return f"{shown}; {more} more" if more > 0 else shown


def _diff(loaded: Loaded, other: str) -> Answer:
    from fitgraph.catalogue import load
    from fitgraph.graph.differences import differences, on_day
    from fitgraph.graph.fit_graph import fit_graph
    from fitgraph.graph.views import in_stock

    after = fit_graph(loaded.catalogue)
    try:
        day = datetime.date.fromisoformat(other)
    except ValueError:
        folder = Path(other)
        if not folder.is_dir():
            raise BadInputError(
                f"--diff {other!r} is neither a day like 2026-03-31 nor a catalogue's folder"
            ) from None
        before, title = fit_graph(load(folder).catalogue), f"Since the catalogue {folder.name}:"
    else:
        try:
            shelf = on_day(loaded.catalogue, loaded.supply.counts, day)
        except LookupError:
            raise BadInputError(f"--diff {other}: the shelf was not counted by then") from None
        before, after = in_stock(fit_graph(shelf)), in_stock(after)
        title = f"On the shelf since {day.isoformat()}:"
    found = differences(before, after)
    rows: list[list[Any]] = []
    for kind, difference in found.items():
        rows += [[kind, "come", _plain(n), ""] for n in difference.come]
        rows += [[kind, "gone", _plain(n), ""] for n in difference.gone]
        for changed in difference.changed:
            what = ", ".join(
                f"{k} {changed.before.get(k, 'none')} to {changed.after.get(k, 'none')}"
                for k in dict.fromkeys([*changed.before, *changed.after])
            )
            rows.append([kind, "changed", _plain(changed.name), what])
    counts = [
        f"{kind}s {len(d.come):,} come, {len(d.gone):,} gone, {len(d.changed):,} changed"
        for kind, d in found.items()
    ]
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
    return Answer(
        f"{title} {'; '.join(counts)}.",
        data,
        ["kind", "what", "which", "change"],
        rows,
        code=ANSWER,
    )


def _plain(name: str) -> str:
    head, _, rest = name.partition(":")
    return rest if head in ("part", "feature", "interface") and " | " not in name else name


def _export(loaded: Loaded, graph: nx.MultiDiGraph, file: Path) -> Answer:
    from fitgraph.draw.fit_map import fit_map_svg, map_view
    from fitgraph.files import write_text_whole
    from fitgraph.graph.export import graphml, json_ld, node_link

    kinds: dict[str, Callable[[], str]] = {
        ".graphml": lambda: graphml(graph),
        ".json": lambda: json_text.dumps(node_link(graph), allow_nan=False),
        ".jsonld": lambda: json_text.dumps(json_ld(graph), allow_nan=False),
        ".svg": lambda: fit_map_svg(map_view(loaded.catalogue), loaded.catalogue.vocabulary),
    }
    made = kinds.get(file.suffix.lower())
    if made is None:
        raise BadInputError(f"--export {str(file)!r}: name a file that ends in {', '.join(kinds)}")
    write_text_whole(file, made())
    title = f"{file.name}: {graph.number_of_nodes():,} nodes, {graph.number_of_edges():,} edges."
    if file.suffix.lower() == ".svg":
        title = f"{file.name}: the map of fits."
    data = {"file": file.name, "nodes": len(graph), "edges": graph.number_of_edges()}
    return Answer(title, data)


def _show(answer: Answer, rows_shown: int) -> None:
    from rich.padding import Padding
    from rich.table import Table

    pieces: list[Any] = [styled(answer.title, "bold")]
    told = [cells for r in answer.rows[:rows_shown] if (cells := answer.words(r))]
    if told:
        table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
        for n, head in enumerate(answer.heads):
            values = [r[n] for r in answer.rows if r[n] is not None]
            figures = bool(values) and all(isinstance(v, int | float) for v in values)
            table.add_column(
                styled(f"  {head}" if not n else head),
                justify="right" if figures else "left",
                overflow="fold",
            )
        for cells in told:
            table.add_row(*(styled(f"  {c}" if not n else c) for n, c in enumerate(cells)))
        pieces += ["", table]
        if (more := len(answer.rows) - rows_shown) > 0:
            pieces.append(styled(f"  {more:,} more with --json or --csv", "dim"))
    if answer.lines:
        pieces += ["", *(Padding(styled(line), (0, 0, 0, 2)) for line in answer.lines)]
    show(*pieces, *caution_lines(answer.cautions))


def _chosen(given: Iterable[tuple[str, object]]) -> str:
    names = [name for name, value in given if value]
    if len(names) > 1:
        raise BadInputError(f"ask one question at a time: {' or '.join(names)}")
    return names[0] if names else ""


def graph(
    catalogue: CatalogueFolder = None,
    path: Annotated[
        tuple[str, str] | None,
        typer.Option("--path", metavar="A B", help="All ways from one part to another."),
    ] = None,
    around: Annotated[
        str | None, typer.Option("--around", metavar="SKU", help="What is around a part.")
    ] = None,
    bridges: Annotated[
        bool, typer.Option("--bridges", help="What splits the trade if it goes.")
    ] = False,
    hubs: Annotated[
        bool, typer.Option("--hubs", help="What most ways between owned parts lead through.")
    ] = False,
    families: Annotated[
        bool, typer.Option("--families", help="Parts that mate among themselves.")
    ] = False,
    islands: Annotated[bool, typer.Option("--islands", help="What mates with nothing.")] = False,
    near_misses: Annotated[
        str | None,
        typer.Option("--near-misses", metavar="MM", help="Pairs that fail by no more than this."),
    ] = None,
    diff: Annotated[
        str | None,
        typer.Option(
            "--diff", metavar="OTHER", help="What changed since a day, or against another folder."
        ),
    ] = None,
    export: Annotated[
        Path | None,
        typer.Option(
            "--export", metavar="FILE", help="Write it: .graphml, .json, .jsonld or .svg."
        ),
    ] = None,
    steps: Annotated[
        int, typer.Option(metavar="N", min=1, max=20, help="With --around: how far to go.")
    ] = 1,
    between: Annotated[
        int, typer.Option(metavar="N", min=0, max=4, help="With --path: most parts between.")
    ] = 2,
    any_part: Annotated[
        bool, typer.Option("--any-part", help="With --path: not only adapters between.")
    ] = False,
    first: Annotated[
        Order, typer.Option(help="With --path: which ways come first.")
    ] = Order.SHORTEST,
    in_stock: Annotated[bool, typer.Option("--in-stock", help="Only the parts in stock.")] = False,
    json: AsJson = False,
    csv: Annotated[bool, typer.Option("--csv", help="Print the table as CSV.")] = False,
) -> None:
    """Ask the graph of parts and interfaces, or write it to a file."""
    from fitgraph.graph.cut_points import articulation_points
    from fitgraph.graph.cut_points import bridges as find_bridges

    which = _chosen(
        [
            ("--path", path),
            ("--around", around),
            ("--bridges", bridges),
            ("--hubs", hubs),
            ("--families", families),
            ("--islands", islands),
            ("--near-misses", near_misses),
            ("--diff", diff),
            ("--export", export),
        ]
    )
    if json and csv:
        raise BadInputError("--json and --csv go one at a time")
    loaded = read(catalogue)
    if path is not None:
        answer = _path(loaded, path, between, any_part, first)
    elif near_misses is not None:
        answer = _near_misses(loaded, near_misses)
    elif diff is not None:
        answer = _diff(loaded, diff)
    else:
        whole = _graph(loaded, in_stock)
        if around is not None:
            answer = _around(loaded, whole, around, steps)
        elif export is not None:
            answer = _export(loaded, whole, export)
        else:
            ask: dict[str, Callable[[], Answer]] = {
                "--bridges": lambda: _cuts(articulation_points(whole), find_bridges(whole)),
                "--hubs": lambda: _hubs(whole),
                "--families": lambda: _families(loaded, whole),
                "--islands": lambda: _islands(whole),
                "": lambda: _overview(whole),
            }
            answer = ask[which]()
    if json:
        extra = {"cautions": list(answer.cautions), "findings": len(loaded.findings)}
        show_json({**answer.data, **extra})
    elif csv:
        sys.stdout.write(csv_text(answer.heads, answer.rows))
    else:
        remark_findings(loaded, catalogue)
        _show(answer, _ROWS)
    raise typer.Exit(answer.code)
