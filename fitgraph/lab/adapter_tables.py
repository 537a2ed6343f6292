"""What is said of made parts, as HTML made of data; every text from a catalogue is escaped."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from markupsafe import Markup

from fitgraph.adapters import Candidate, Edge, GradeYield, Sheet, Together
from fitgraph.adapters.best_k import cost
from fitgraph.adapters.trials import Plane
from fitgraph.lab.adapter_entries import Entry, words_text
from fitgraph.lab.tables import TOLD_FIGURE, builds_text, long_table, plain_table
from fitgraph.model import Make, Reference, Vocabulary
from fitgraph.report.as_html import html
from fitgraph.report.blocks import Report
from fitgraph.report.designs import now_text, proof_text, room_text
from fitgraph.report.specification import shared_text, sheet_blocks
from fitgraph.report.tables import Column, Table
from fitgraph.report.values import FINE_SHARE, PLACE, THOUSANDS, Unit, money_of, number
from fitgraph.stock import Coverage, Standing, StandingTally
from fitgraph.units import show_mass
from fitgraph.wording import capital, plural


def size_title(reference: Reference, vocabulary: Vocabulary) -> str:
    """Return what a size is called, in two or three words."""
    feature = vocabulary.roles[reference.role].features[reference.feature or ""]
    if reference.name in (feature.title, feature.name):
        return feature.title
    return f"{feature.title} {reference.name}"


def axis_titles(plane: Plane, vocabulary: Vocabulary) -> tuple[str, str]:
    """Return labels for the axes of a map, with the unit."""
    make = plane.make
    special = {make.outside: "Outer diameter", make.bore: "Inner diameter"}

    def title(reference: Reference) -> str:
        plain = size_title(reference, vocabulary)
        return f"{special.get(reference) or capital(plain)}, mm"

    across, up = plane.axes
    return title(across), "" if up is None else title(up)


def entry_text(entry: Entry, vocabulary: Vocabulary, *, named: bool = False) -> str:
    """Return a part as a line of the list, or as what the map says when it is pointed at.

    Parameters
    ----------
    entry : Entry
        The part.
    vocabulary : Vocabulary
        Whose currency is meant.
    named : bool
        Whether it is told what is made; that is the same for all parts of one list.
    """
    if entry.barred is not None:
        return (
            f"✗ {entry.x:.2f} with {entry.y:.2f} mm: cannot be made, "
            f"{_thin(entry.barred.wall)} at the worst sizes"
        )
    assert entry.candidate is not None
    size = entry.candidate.by_size
    called = f"{entry.candidate.make.title}, {size}" if named else size
    worth = entry.worth
    if worth is None:
        return f"{called}: not weighed yet"
    frees = f", frees {vocabulary.money(worth.released_value)}" if worth.released_value > 0 else ""
    return (
        f"{called}: {worth.gained:,g} newly served, {worth.served:,g} in all, "
        f"{builds_text(worth.builds)}{frees}"
    )


def _thin(wall: float) -> str:
    return f"a wall of {wall:.2f} mm" if wall > 0 else f"no wall ({-2 * wall:.2f} mm too wide)"


def _facts(rows: Sequence[tuple[str, str]], caption: str) -> str:
    """Return what is known of a part as a table of names and texts."""
    table = Table("facts", (Column("what"), Column("figure")), tuple(rows), headed=False)
    return plain_table(table, caption, "fg-narrow")


def barred_html(entry: Entry, make: Make, vocabulary: Vocabulary) -> str:
    """Return why a pair of sizes cannot be made."""
    assert entry.barred is not None and make.bore is not None
    sizes = ", ".join(
        f"{size_title(r, vocabulary)} {mm:.2f} mm" for r, mm in entry.barred.sizes.items()
    )
    words = sorted({words_text(w) for w in entry.barred.words} - {"–"})
    whom = f" They are asked for with: {', '.join(words)}." if words else ""
    return (
        f"<p><strong>✗ Cannot be made:</strong> {escape(sizes)}. These sizes would fit most "
        f"counterparts on both sides, but leave {escape(_thin(entry.barred.wall))} at the worst "
        f"sizes; {make.least_wall:g} mm is the least that was asked for.{escape(whom)}</p>"
        "<p>Lower the least wall above if material and process bear it, or choose a "
        "neighbour on the other side of the dashed line.</p>"
    )


def worth_html(entry: Entry, vocabulary: Vocabulary) -> str:
    """Return what one part is worth."""
    assert entry.candidate is not None
    candidate = entry.candidate
    part, make = candidate.part, candidate.make
    sizes = ", ".join(
        f"{size_title(r, vocabulary)} {part.features[r.feature or ''].lengths[r.name].text}"
        for r in candidate.sizes
    )
    rows = [("Sizes, mm", sizes)]
    for r, word in candidate.words.items():
        feature = vocabulary.roles[r.role].features[r.feature or ""]
        told = f" ({feature.gloss})" if feature.gloss else ""
        rows.append((capital(feature.title), f"{word or 'none'}{told}"))
    worth = entry.worth
    if worth is None:
        rows.append(("Worth", "not weighed yet"))
    else:
        joined = shared_text(worth)
        frees = "nothing"
        if worth.released:
            frees = f"{vocabulary.money(worth.released_value)}: {', '.join(worth.released)}"
        rows += [
            ("Newly served", f"{worth.gained:,g}, whom nothing serves now"),
            ("Served in all", f"{worth.served:,g}"),
            (
                "Takes from its like",
                f"{plural(worth.taken, vocabulary.customer)} whom an existing part serves",
            ),
            ("Builds with it", f"{worth.builds:,}; {joined}" if worth.builds else "none"),
            ("Stranded stock released", frees),
        ]
        rows.append(("Estimated cost", f"{vocabulary.money(cost(worth))} a piece"))
    rows += [
        ("Mass", show_mass(part.mass_g or 0.0)),
        ("Price taken", vocabulary.money(make.price)),
        ("To spare", room_text(candidate)),
    ]
    return _facts(rows, _made_html(candidate))


def edges_html(edges: Sequence[Edge], vocabulary: Vocabulary) -> str:
    """Return what ends the cell of each size, as a list."""
    items = []
    for edge in edges:
        size = escape(size_title(edge.size, vocabulary))
        side = "below" if edge.below else "over"
        why = [
            f"a counterpart is {what} in: {escape(', '.join(joints))}"
            for what, joints in (("lost", edge.joints), ("gained", edge.gains))
            if joints
        ] or ["no counterpart is lost, the sizes looked at end there"]
        items.append(f"<li>{size} {side} {edge.at:.2f} mm: {'; '.join(why)}.</li>")
    return (
        "<details><summary>Where its cell ends, and at which joint</summary>"
        f"<ul>{''.join(items)}</ul></details>"
    )


def _made_html(candidate: Candidate) -> Markup:
    """Return what is made and its sizes, the stock number small behind it."""
    number = Markup('<span class="fg-note fg-small">{}</span>').format(candidate.part.sku)
    return Markup("{}, {} {}").format(candidate.make.title, candidate.by_size, number)


def together_html(
    steps: Sequence[Together],
    k: int,
    total: float,
    now: float,
    vocabulary: Vocabulary,
    *,
    in_stock: bool,
) -> str:
    """Return the best choice of so many parts, with its proof."""
    if not total:
        return (
            f"<p>{escape(now_text(now, total, in_stock=in_stock))}. Builds and stranded stock are "
            "counted above.</p>"
        )
    useful = [s for s in steps if s.worths]
    if not useful:
        return (
            f"<p>{escape(now_text(now, total, in_stock=in_stock))}, and none of these parts "
            "serves another.</p>"
        )
    step = useful[min(k, len(useful)) - 1]
    choice = step.choice
    proof = proof_text(choice) + (
        ": no other choice of so many serves more"
        if choice.proven
        else f" of the best, which cannot exceed {choice.bound:,g}"
    )
    table = Table.of(
        "together",
        list(enumerate(step.worths, start=1)),
        (Column("place", PLACE, "No."), lambda row: row[0]),
        (Column("part", title="Part"), lambda row: _made_html(row[1].candidate)),
        (Column("gained", THOUSANDS, "Newly served, alone"), lambda row: row[1].gained),
        (Column("taken", THOUSANDS, "Takes from its like"), lambda row: row[1].taken),
        (Column("cost", money_of(vocabulary), "Cost, estimated"), lambda row: cost(row[1])),
    )
    count = len(step.worths)
    enough = (
        f"<p>{plural(count, 'part is', 'parts are')} enough: a further one serves nobody new.</p>"
        if k > count
        else ""
    )
    return (
        f'<p role="status"><span class="fg-number">{step.coverage:,g}</span> of '
        f"{plural(total, vocabulary.customer)} served ({step.coverage / total:.1%}), "
        f"{step.gained:,g} of them new. Gap {choice.gap:.1%}, {proof}.</p>{enough}"
        + long_table(table, len(table.rows))
    )


def yields_html(yields: Sequence[GradeYield], grade: int, vocabulary: Vocabulary) -> str:
    """Return tolerance against yield as a table."""
    designed = {grade: " (as designed)"}
    table = Table.of(
        "yields",
        yields,
        (Column("grade", title="Grade"), lambda y: f"IT{y.grade}{designed.get(y.grade, '')}"),
        (Column("pairs", FINE_SHARE, "Pairs"), lambda y: y.pairs),
        (Column("worst", FINE_SHARE, "Worst"), lambda y: y.worst),
        (Column("least_mm", TOLD_FIGURE, "Least wall"), lambda y: f"{y.wall:.2f} mm"),
        (Column("cost", money_of(vocabulary), "Cost"), lambda y: y.cost),
    )
    counterparts = yields[0].counterparts if yields else 0
    caption = (
        f"Over {plural(counterparts, 'pairing')}; the cost model prices the blank and the "
        "machine's time, not the tolerance"
    )
    inner = plain_table(table, caption, "fg-narrow")
    return f"<details><summary>The same as a table</summary>{inner}</details>"


def sheet_shown(sheet: Sheet) -> str:
    """Return the drawing, the sizes, the facts, the mating parts and the cautions of a sheet."""
    return str(html(Report("", sheet_blocks(sheet), sheet.cautions)))


def before_after_html(
    before: tuple[Coverage, int], after: tuple[Coverage, int], by: str, title: str
) -> str:
    """Return coverage and builds without and with the added parts.

    Parameters
    ----------
    before, after : tuple of (Coverage, int)
        The standing of all enquiries and the number of builds.
    by : str
        Grouping of the rows.
    title : str
        Its name for people.
    """
    (was, builds_were), (now, builds_are) = before, after

    def served(tally: StandingTally, least: Standing) -> float:
        return sum(tally.of(s) for s in Standing if s >= least)

    old = was.by(by)
    lines = [("all", was.total, now.total), *((g, old[g], t) for g, t in now.by(by).items())]
    rows = []
    for name, one, other in lines:
        figures = [
            served(t, least) for least in (Standing.CATALOGUE, Standing.STOCK) for t in (one, other)
        ]
        rows.append((name, *figures, figures[1] - figures[0] or None, one.total))
    table = Table(
        "before_after",
        (
            Column("group", title=title),
            *(Column("before", THOUSANDS, "served before"), Column("after", THOUSANDS, "with it")),
            Column("stock_before", THOUSANDS, "from stock before"),
            *(Column("stock_after", THOUSANDS, "with it"), Column("change", _MORE)),
            Column("of", THOUSANDS),
        ),
        tuple(rows),
    )
    return (
        f"<p>Builds: {builds_were:,} before, {builds_are:,} with what was added "
        f"({builds_are - builds_were:+,}).</p>"
        + plain_table(table, f"Served from the catalogue and from stock, by {title}", "fg-narrow")
    )


#: How many more, a dash where it is the same.
_MORE = Unit(lambda more: f"{more:+,g}", number, blank="–")
