"""What is said of one part that could be made: sizes and worth, where its cell ends, its yield."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial
from math import isfinite

from fitgraph.adapters import (
    Barred,
    Candidate,
    Edge,
    GradeYield,
    Worth,
    cost_of,
    shape_of,
    size_title,
)
from fitgraph.adapters.made import words_text
from fitgraph.draw.line_chart import Series, line_chart_svg
from fitgraph.explain.words_rider import builds_text
from fitgraph.model import Catalogue, Make, Reference, Vocabulary
from fitgraph.report.blocks import Block, Picture, Say, Section, items
from fitgraph.report.tables import Column, Table
from fitgraph.report.values import FINE_SHARE, Unit, money_of
from fitgraph.units import show_mass
from fitgraph.wording import capital, plural

#: What somebody asks for, one and several.
ENQUIRIES = ("enquiry", "enquiries")

#: Figures that are told in words of their own.
_TOLD = Unit(str, str)


def called(candidate: Candidate) -> str:
    """Return what a part is called: what is made, what tells it from its like, its number."""
    return f"{candidate.make.title}, {candidate.by_size} ({candidate.part.sku})"


def room_text(candidate: Candidate) -> str:
    """Return how much its sizes may shift before a counterpart is lost."""
    if candidate.tightens:
        return "snug, the tightest that its counterparts still slide on and into at the worst sizes"
    if not isfinite(candidate.slack_mm):
        return "no counterpart bounds its sizes"
    return f"its sizes may shift by {candidate.slack_mm:.2f} mm before a counterpart is lost"


def sizes_text(candidate: Candidate, vocabulary: Vocabulary) -> str:
    """Return the sizes that were chosen, each with its class or its limits."""
    features = candidate.part.features
    return ", ".join(
        f"{size_title(r, vocabulary)} {features[r.feature or ''].lengths[r.name].text}"
        for r in candidate.sizes
    )


def worth_text(worth: Worth, vocabulary: Vocabulary) -> str:
    """Return what a part is worth, in a line."""
    frees = f", frees {vocabulary.money(worth.released_value)}" if worth.released_value > 0 else ""
    return (
        f"{worth.gained:,g} newly served, {worth.served:,g} in all, "
        f"{builds_text(worth.builds)}{frees}"
    )


def worth_rows(worth: Worth, catalogue: Catalogue, gained_rows: int = 0) -> list[tuple[str, str]]:
    """Return what a part is worth, in pairs of a name and a text.

    Parameters
    ----------
    worth : Worth
        From a scan.
    catalogue : Catalogue
        Names the parts that it gives a use to.
    gained_rows : int
        In how many rows those stand whom nothing else serves; 0 where that is not told.
    """
    gained = f"{plural(worth.gained, *ENQUIRIES)} that nothing serves now"
    if gained_rows:
        gained += f" (in {plural(gained_rows, 'row')})"
    builds, frees = "none", "nothing"
    if worth.builds:
        like = f"{worth.shared:,} of them" if worth.shared else "none of them"
        builds = f"{worth.builds:,}; an existing part joins {like} as well"
    if worth.released:
        value = catalogue.vocabulary.money(worth.released_value)
        frees = f"{value}: {'; '.join(map(catalogue.called, worth.released))}"
    return [
        ("Newly served", gained),
        ("Served in all", plural(worth.served, *ENQUIRIES)),
        ("Takes from its like", f"{plural(worth.taken, *ENQUIRIES)} that an existing part serves"),
        ("Builds with it", builds),
        ("Stranded stock released", frees),
    ]


def making_rows(candidate: Candidate, vocabulary: Vocabulary) -> Iterator[tuple[str, str]]:
    """Yield what is known of a part before it is weighed: its words, mass, cost and price."""
    make, part = candidate.make, candidate.part
    cost, money = cost_of(make, shape_of(make, part.features)), vocabulary.money
    for r, word in candidate.words.items():
        feature = vocabulary.roles[r.role].features[r.feature or ""]
        gloss = f" ({feature.gloss})" if feature.gloss else ""
        yield capital(feature.title), f"{word or 'none'}{gloss}"
    yield "Mass", f"{show_mass(part.mass_g or 0.0)} (blank {show_mass(cost.blank_g)})"
    yield (
        "Estimated cost",
        f"{money(cost.total)} a piece in lots of {make.cost.lot}: material {money(cost.material)}, "
        f"machine {money(cost.machining)} ({cost.minutes:.1f} min), setting up {money(cost.setup)}",
    )
    yield "Price taken", money(make.price)
    yield "To spare", room_text(candidate)


def facts_table(rows: Sequence[tuple[str, str]], title: str = "") -> Table:
    """Return pairs of a name and a text as a table without headings."""
    return Table("facts", (Column("what"), Column("figure")), tuple(rows), title, headed=False)


def part_table(candidate: Candidate, worth: Worth | None, catalogue: Catalogue) -> Table:
    """Return what is known of a part, with what it is worth where it was weighed."""
    vocabulary = catalogue.vocabulary
    told = [("Worth", "not weighed yet")] if worth is None else worth_rows(worth, catalogue)
    rows = [("Sizes, mm", sizes_text(candidate, vocabulary)), *told]
    return facts_table([*rows, *making_rows(candidate, vocabulary)], called(candidate))


def thin_text(found: Barred) -> str:
    """Return which wall would be left, or how much too wide a bore is."""
    wall = found.wall
    return f"a wall of {wall:.2f} mm" if wall > 0 else f"no wall ({-2 * wall:.2f} mm too wide)"


def barred_blocks(found: Barred, make: Make, vocabulary: Vocabulary) -> tuple[Block, ...]:
    """Return why a pair of sizes cannot be made."""
    sizes = ", ".join(f"{size_title(r, vocabulary)} {mm:.2f} mm" for r, mm in found.sizes.items())
    words = sorted({words_text(w) for w in found.words} - {"–"})
    whom = f" They are asked for with: {', '.join(words)}." if words else ""
    why = (
        f"{capital(sizes)}: these sizes would fit most counterparts on both sides, but leave "
        f"{thin_text(found)} at the worst sizes; {make.least_wall:g} mm is the least that was "
        f"asked for.{whom}"
    )
    what = (
        "Take a thinner wall if material and process bear it, or a neighbour on the other side of "
        "the limit."
    )
    return (Section("✗ Cannot be made", (Say(why), Say(what))),)


def edges_section(edges: Sequence[Edge], vocabulary: Vocabulary) -> Section:
    """Return what ends the cell of each size."""

    def told(edge: Edge) -> str:
        why = [
            f"a counterpart is {what} in: {', '.join(joints)}"
            for what, joints in (("lost", edge.joints), ("gained", edge.gains))
            if joints
        ] or ["no counterpart is lost, the sizes looked at end there"]
        side = "below" if edge.below else "over"
        return f"{size_title(edge.size, vocabulary)} {side} {edge.at:.2f} mm: {'; '.join(why)}."

    title = "Where its cell ends, and at which joint"
    return Section(title, (items(map(told, edges)),), folded=True)


def axis_title(size: Reference, make: Make, vocabulary: Vocabulary) -> str:
    """Return the label of an axis along which a size of a make goes."""
    special = {make.outside: "Outer diameter", make.bore: "Inner diameter"}
    return f"{special.get(size) or capital(size_title(size, vocabulary))}, mm"


def yield_blocks(
    yields: Sequence[GradeYield], grade: int, vocabulary: Vocabulary
) -> tuple[Block, ...]:
    """Return the share of pairs that assemble, against the grade that the process holds.

    Parameters
    ----------
    yields : sequence of GradeYield
        One for each grade.
    grade : int
        The grade that the part is designed for.
    vocabulary : Vocabulary
        Gives the currency.
    """
    if not yields:
        return (Say("This kind of part names no class, only plain limits."),)
    grades = [y.grade for y in yields]
    chart = partial(
        line_chart_svg,
        "Share of pairs that assemble, by standard tolerance grade",
        "Standard tolerance grade (ISO 286-1)",
        "Pairs that assemble, %",
        [f"IT{g}" for g in grades],
        [
            Series("mean of all counterparts", tuple(100 * y.pairs for y in yields)),
            Series("worst of the certain ones", tuple(100 * y.worst for y in yields)),
        ],
        marked=grades.index(grade) if grade in grades else None,
        meaning="as designed",
        ends=(0.0, 104.0),
    )
    table = Table.of(
        "yields",
        yields,
        (Column("grade"), lambda y: f"IT{y.grade}{' (as designed)' * (y.grade == grade)}"),
        (Column("pairs", FINE_SHARE), lambda y: y.pairs),
        (Column("worst", FINE_SHARE), lambda y: y.worst),
        (Column("least_wall", _TOLD, "least wall"), lambda y: f"{y.wall:.2f} mm"),
        (Column("cost", money_of(vocabulary)), lambda y: y.cost),
        title=(
            f"Over {plural(yields[0].counterparts, 'pairing')}; the cost model prices the blank "
            "and the machine's time, not the tolerance"
        ),
        whole=True,
    )
    return (
        Picture(chart, "", partial(chart, narrow=True)),
        Section("The same as a table", (table,), folded=True),
    )
