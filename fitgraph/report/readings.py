"""What to measure next, and what that settles."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from fitgraph.explain import Explanation, share_of_pairs
from fitgraph.explain.measure import Measurement
from fitgraph.explain.reasons import to_measure
from fitgraph.explain.words import size_text
from fitgraph.explain.words_rider import figure_text, how_text, measurement_text, outcome_text
from fitgraph.model import Catalogue, Verdict, Vocabulary
from fitgraph.records import dataclass
from fitgraph.report.blocks import Block, Items, Report, Say, Section, Tone, say_all
from fitgraph.report.hints import Hints
from fitgraph.report.tables import Column, Table
from fitgraph.report.values import COUNT, FLAG, THOUSANDS, number
from fitgraph.wording import capital, percent

#: Outcomes listed for people, and measurements of named parts; data has them all.
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


def to_do(found: Explanation, vocabulary: Vocabulary) -> Block:
    """Return what to measure, where and how, for every joint that cannot be told.

    Parameters
    ----------
    found : Explanation
        The answer to a question about parts.
    vocabulary : Vocabulary
        Says how each dimension is measured.
    """
    says = []
    for clash in found.conflicts:
        if clash.verdict is not Verdict.UNKNOWN:
            continue
        share = share_of_pairs(clash)
        told = "" if share is None else f" As things stand {percent(share)} of such pairs fit."
        says.append(Say(f"{capital(clash.joint.title)}.{told}", deep=1))
        for figure in to_measure(clash):
            reference = figure.reference
            if reference.feature is None or figure.option.part is None:
                continue
            kind = vocabulary.roles[reference.role].features[reference.feature]
            now = "not known" if figure.dimension is None else size_text(figure.dimension)
            text = f"{kind.title} of {figure.option.part.called} (now {now}): "
            says.append(Say(text + kind.dimensions[reference.name].measure, deep=2))
    return Items(tuple(says)) if says else Say("Nothing: no figure is in doubt here.")


def settling(
    measurements: Sequence[Measurement], named: Sequence[str], catalogue: Catalogue
) -> tuple[Block, ...]:
    """Return which measurements of the named parts settle most of the builds with them.

    Parameters
    ----------
    measurements : sequence of Measurement
        What settles most first.
    named : sequence of str
        Stock numbers.
    catalogue : Catalogue
        Where they come from.
    """
    mine = [m for m in measurements if m.sku in named][:_OUTCOMES]
    if not mine:
        return (Say("No single measurement of these parts settles a whole build."),)
    return Say("What settles most whole builds with these parts:"), *_blocks(mine, catalogue)


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
