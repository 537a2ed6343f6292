"""What to measure next, and what that settles."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from fitgraph.explain.measure import Measurement
from fitgraph.explain.words_rider import figure_text, how_text, measurement_text, outcome_text
from fitgraph.model import Catalogue
from fitgraph.records import dataclass
from fitgraph.report.blocks import Block, Report, Say, Section, Tone, say_all
from fitgraph.report.hints import Hints
from fitgraph.report.tables import Column, Table
from fitgraph.report.values import COUNT, FLAG, THOUSANDS, number

#: Outcomes listed for people; data has them all.
_OUTCOMES = 3


@dataclass(frozen=True, slots=True)
class Ranked:
    """Measurements, what settles most first.

    Parameters
    ----------
    catalogue : Catalogue
        Whose parts and words are meant.
    named : tuple of str
        Stock numbers that the builds have.
    measurements : tuple of Measurement
        The first of them.
    more : int
        How many there are beside them.
    """

    catalogue: Catalogue
    named: tuple[str, ...]
    measurements: tuple[Measurement, ...]
    more: int


def _measurement(found: Measurement, catalogue: Catalogue) -> dict[str, Any]:
    return {
        "sku": found.sku,
        "role": found.role,
        "feature": found.feature,
        "dimension": found.dimension,
        "known": found.known,
        "how": how_text(catalogue, found),
        "open_builds": found.open_builds,
        "expected": number(float(found.expected)),
        "with_rest": number(float(found.with_rest)),
        "rest": [{"feature": f, "dimension": d} for f, d in found.rest],
        "outcomes": [
            {
                "share": number(float(o.share)),
                "values": list(o.values),
                "certain": o.certain,
                "impossible": o.impossible,
            }
            for o in found.outcomes
        ],
        "text": measurement_text(catalogue, found),
    }


def data(found: Ranked) -> dict[str, Any]:
    """Return the answer in the shape that docs/commands.md describes."""
    return {
        "named": list(found.named),
        "measurements": [_measurement(m, found.catalogue) for m in found.measurements],
        "more": found.more,
    }


def tables(found: Ranked) -> tuple[Table, ...]:
    """Return the measurements, a row each."""
    return (
        Table.of(
            "measurements",
            found.measurements,
            (Column("sku"), lambda m: m.sku),
            (Column("role"), lambda m: m.role),
            (Column("feature"), lambda m: m.feature),
            (Column("dimension"), lambda m: m.dimension),
            (Column("known", FLAG), lambda m: m.known),
            (Column("open_builds", COUNT), lambda m: m.open_builds),
            (Column("expected", THOUSANDS), lambda m: float(m.expected)),
            (Column("with_rest", THOUSANDS), lambda m: float(m.with_rest)),
            (Column("how"), lambda m: how_text(found.catalogue, m)),
        ),
    )


def _blocks(measurements: Sequence[Measurement], catalogue: Catalogue) -> list[Block]:
    pieces: list[Block] = []
    for n, m in enumerate(measurements, start=1):
        title = figure_text(catalogue, m.role, m.feature, m.dimension)
        again = " (again, closer)" if m.known else ""
        part = catalogue.parts[m.sku]
        held = f", {part.stock} in stock" if part.stock else ", none in stock"
        lines = [f"{title}{again}{held}", how_text(catalogue, m), measurement_text(catalogue, m)]
        lines += [outcome_text(o) for o in m.outcomes[:_OUTCOMES]]
        head = f"{n:>3}  {part.called}"
        pieces.append(Section(head, say_all(lines, deep=2), loud=True))
    return pieces


def report(found: Ranked, hints: Hints) -> Report:
    """Return the answer for people."""
    about = f" about {', '.join(map(found.catalogue.called, found.named))}" if found.named else ""
    if not found.measurements:
        return Report(f"No measurement settles anything{about}.")
    pieces = _blocks(found.measurements, found.catalogue)
    if found.more:
        more = Say(f"{found.more:,} more: {hints.limit}", Tone.QUIET)
        pieces.append(Section("", (more,)))
    own = "its own figures first, then " if len(found.named) == 1 else ""
    own = "their own figures first, then " if len(found.named) > 1 else own
    return Report(f"To measure{about}, {own}what settles most builds first", tuple(pieces))
