"""Ways from one part to another, and pairs that nearly fit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from typing import Any

from fitgraph.explain.ways import First, Way
from fitgraph.graph.near_misses import Closer, NearMiss
from fitgraph.model import Catalogue
from fitgraph.records import dataclass
from fitgraph.report.blocks import Say
from fitgraph.report.cautions_told import cautions_on_work
from fitgraph.report.graphs import Told, named
from fitgraph.report.tables import Column, Table
from fitgraph.report.values import LENGTH, MARGIN, MINUTES, Unit, money_of, number
from fitgraph.units import show_length
from fitgraph.wording import plural


def _on_the_way(catalogue: Catalogue, labels: Sequence[str]) -> str:
    return " > ".join(map(catalogue.called, labels))


def _row(catalogue: Catalogue) -> Unit:
    """Return how the parts of a way are told, in a row."""
    return Unit(partial(_on_the_way, catalogue), " > ".join, figures=False, blank="")


def _first_closers(closers: Sequence[str]) -> str:
    more = f"; {len(closers) - 2} more" if len(closers) > 2 else ""
    return "; ".join(closers[:2]) + more


#: Closers of a near miss: the first two for people, all of them as data.
_CLOSERS = Unit(_first_closers, "; ".join, figures=False, blank="")

_BY = {First.SHORTEST: "shortest", First.CHEAPEST: "cheapest", First.MARGIN: "most to spare"}


@dataclass(frozen=True, slots=True)
class Ways:
    """Ways between two parts, as they were asked for.

    Parameters
    ----------
    ends : tuple of str
        The two stock numbers.
    ways : tuple of Way
        In the order asked for.
    first : First
        Which come first.
    adapters_only : bool
        Whether only adapters were let in between.
    """

    ends: tuple[str, str]
    ways: tuple[Way, ...]
    first: First
    adapters_only: bool


def _way(way: Way, money: Unit) -> dict[str, Any]:
    return {
        "parts": [o.label for o in way.options],
        "alike": [list(labels) for labels in way.alike],
        "joints": [h.joint.name for h in way.holds],
        "margins_mm": [number(h.margin_mm) for h in way.holds],
        "given": [[str(c) for c in h.given] for h in way.holds],
        "price": money.data(way.price),
        "minutes": number(way.minutes),
        "margin_mm": number(way.margin_mm),
        "tight": None if way.tight is None else way.tight.name,
    }


def paths(found: Ways, catalogue: Catalogue) -> Told:
    """Tell the paths between two parts: what each costs, and where it is tight."""
    vocabulary = catalogue.vocabulary
    table = Table.of(
        "ways",
        found.ways,
        (Column("way", _row(catalogue), "path"), lambda w: [o.label for o in w.options]),
        (Column("price", money_of(vocabulary)), lambda w: w.price),
        (Column("minutes", MINUTES, "work"), lambda w: w.minutes),
        (Column("margin_mm", MARGIN, "least to spare"), lambda w: w.margin_mm),
        (Column("tight", title="where it is tight"), lambda w: w.tight and w.tight.title),
    )
    names = " and ".join(map(catalogue.called, found.ends))
    headline = f"{plural(len(found.ways), 'path')} between {names}, {_BY[found.first]} first."
    blocks: tuple[Say, ...] = ()
    if not found.ways:
        headline = f"No path between {names}."
        blocks = (
            Say(
                "Only adapters and services were let in between; --any-part (any_part=True) "
                "lets in every part."
                if found.adapters_only
                else "No build holds both with these steps between.",
                deep=1,
            ),
        )
    services = (s for w in found.ways for o in w.options for s in o.services)
    told = cautions_on_work(vocabulary, services)
    data = {
        "ways": [_way(w, money_of(vocabulary)) for w in found.ways],
        "currency": vocabulary.currency,
        "cautions": list(told),
    }
    shown = table if any(w.minutes for w in found.ways) else table.without("minutes")
    return Told(headline, data, (table,), blocks, told, (shown,))


def way_text(way: Way, catalogue: Catalogue) -> str:
    """Return a way in a line: what stands between its ends, work on these, and what it costs."""
    vocabulary = catalogue.vocabulary
    first, *between, last = way.options
    work = [
        f"{e.called}: {vocabulary.services[s].title}" for e in (first, last) for s in e.services
    ]
    over = " > ".join(o.called for o in between) or "nothing between"
    return f"{'; '.join([over, *work])}, {money_of(vocabulary).show(way.price)}"


def closer_text(closer: Closer) -> str:
    """Return what would close a near miss, in short."""
    if closer.size is None:
        return f"{closer.kind} {closer.what}"
    by_mm = closer.by_mm or 0.0
    return f"{closer.size} {'+' if by_mm > 0 else ''}{MARGIN.show(by_mm)}"


def near_misses(
    found: Sequence[tuple[NearMiss, Sequence[Closer]]], mm: float, catalogue: Catalogue
) -> Told:
    """Tell the pairs of parts that fail by a little, and what would close them.

    Parameters
    ----------
    found : sequence of (NearMiss, sequence of Closer)
        The nearest first.
    mm : float
        The most that may be lacking [mm].
    catalogue : Catalogue
        Whose parts they are.
    """
    names = named(catalogue)
    columns = (
        (Column("part", names), lambda m: m[0].parts[0]),
        (Column("with", names), lambda m: m[0].parts[1]),
        (Column("joint"), lambda m: m[0].joint.title),
        (Column("lacks_mm", LENGTH, "lacks"), lambda m: round(-m[0].margin_mm, 4)),
        (
            Column("closers", _CLOSERS, "would no longer fail with"),
            lambda m: [closer_text(c) for c in m[1]],
        ),
    )
    table = Table.of("near_misses", found, *columns)
    data = {
        "near_misses": [
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
                    for c in closers
                ],
            }
            for miss, closers in found
        ]
    }
    pairs = sum(len(m.parts[0]) * len(m.parts[1]) for m, _ in found)
    length = show_length(mm)
    headline = (
        f"{plural(pairs, 'pair')} of parts fail by no more than {length}, the nearest first."
        if found
        else f"No pair of parts fails by so little as {length}."
    )
    return Told(headline, data, (table,), shown=(_merged(table),))


def _merged(table: Table) -> Table:
    """Return near misses with those in one row that lack the same and are closed alike."""
    rows: dict[tuple[Any, ...], list[str]] = {}
    for parts, other, joint, lacks, closers in table.rows:
        # A service done to one of them stands for itself, whichever of them it is done to.
        alike = tuple(text.replace(f" {p} + ", " ") for text in closers for p in parts[:1])
        rows.setdefault((tuple(other), joint, lacks, alike), []).extend(parts)
    merged = ((parts, *key[:3], key[3]) for key, parts in rows.items())
    return replace(table, rows=tuple(merged))
