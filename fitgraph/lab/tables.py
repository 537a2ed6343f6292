"""HTML made of data: pure functions, in which every text from a catalogue is escaped."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from html import escape

from markupsafe import Markup

from fitgraph.draw import Nest
from fitgraph.errors import brief
from fitgraph.explain import (
    Change,
    Clash,
    Explanation,
    action_text,
    clash_text,
    conflict_text,
)
from fitgraph.explain.standing import PartStanding
from fitgraph.explain.words_rider import about
from fitgraph.explain.words_rider import builds_text as builds_text
from fitgraph.lab.part_numbers import sku_html
from fitgraph.lab.part_numbers import with_cards as with_cards
from fitgraph.model import Catalogue, Option, Part, Verdict, Vocabulary, split_label
from fitgraph.report.as_html import blocks_html, rows_html, unbroken, verdict_sign
from fitgraph.report.builds import between_text, cores_text
from fitgraph.report.cautions import cautions_on
from fitgraph.report.cross_sections import cross_section, cross_sections
from fitgraph.report.explanations import change_cautions
from fitgraph.report.remainders import stand_counts
from fitgraph.report.tables import Column, Table
from fitgraph.report.unasked import without_text
from fitgraph.report.values import MASS_TOLD, MOMENT_TOLD, PLACE, Unit, money_of
from fitgraph.report.values import TOLD_FIGURE as TOLD_FIGURE
from fitgraph.solve.engine import Build
from fitgraph.solve.limits import Counted
from fitgraph.units import show_mass
from fitgraph.wording import capital, plural

#: Changes beyond these are told as a number only.
_MOST_CHANGES = 5

#: Rows shown at once; the others open on demand.
MOST_ROWS = 10

#: Joints, parts and steps named at once.
MOST_NAMES = 3


def long_table(table: Table, most: int = MOST_ROWS) -> str:
    """Return a table; rows beyond so many open on demand.

    The page folds what is beyond (fitgraph/lab/sorting.py), so that it sorts all of them; in a
    narrow window each row stands under itself.
    """
    return str(rows_html(table, table.title, "fg-rows", most))


def plain_table(table: Table, caption: str = "", kind: str = "") -> str:
    """Return a table whose rows all stand there; one of the kind ``fg-narrow`` is narrow."""
    return str(rows_html(table, caption, kind))


def wrap(inner: str) -> str:
    """Return a fragment in the frame that the style sheet speaks to; no stock number is broken."""
    return f'<div class="fg fg-html">{unbroken(inner)}</div>'


def alert(message: str) -> str:
    """Return what went wrong, one paragraph a line."""
    lines = "".join(f"<p>{escape(line)}</p>" for line in brief(message).splitlines())
    return f'<div class="fg-alert" role="alert">{lines}</div>'


def status(text: str) -> str:
    """Return what is told as soon as it stands there."""
    return f'<p role="status">{escape(text)}</p>'


def without_html(conditions: Sequence[str]) -> str:
    """Return what did not count where it cannot be told whether something fits, if anything."""
    return f'<p class="fg-note">{escape(without_text(conditions))}</p>' if conditions else ""


def cautions_html(texts: Iterable[str]) -> str:
    """Return cautions, a paragraph each."""
    return "".join(
        f'<p class="fg-caution"><strong>Caution.</strong> {escape(text)}</p>' for text in texts
    )


def cautions(vocabulary: Vocabulary, *topics: str) -> str:
    """Return the cautions on topics: the vocabulary's own, else the general ones."""
    return cautions_html(cautions_on(vocabulary, topics))


def counted_text(counted: Counted) -> str:
    """Return a number of builds as people read it; an estimate says that it is one.

    Examples
    --------
    >>> counted_text(Counted(1234, 1234, 1234))
    '1,234'
    """
    if counted.exact:
        return f"{counted.number:,}"
    return f"about {counted.number:,} ({between_text(counted)})"


def count_html(
    certain: Counted | None, possible: Counted | None, ways: Counted | None = None
) -> str:
    """Return the numbers of certain and of possible builds; None while they are counted.

    Parameters
    ----------
    certain, possible : Counted or None
        How many builds hold, and how many hold or may hold.
    ways : Counted or None
        How many ways these are, which is what somebody chooses between.
    """
    if certain is None:
        return status("Counting the builds …")
    one = certain.exact and certain.number == 1
    figure = f"{certain.number:,}" if certain.exact else f"about {certain.number:,}"
    if certain.exact:
        large = certain.number >= 10**6
        kind = "exactly" + (f", about {about(certain.number)}" if large else "")
    else:
        kind = f"estimated, {between_text(certain)}"
    many = "" if ways is None else cores_text(ways)
    builds = f'<span class="fg-number">{figure}</span> {"build" if one else "builds"}'
    if many:
        builds = f'<strong class="fg-number-of">{many}</strong> ({builds})'
    pieces = [
        f'<p role="status">{builds} certain to fit <span class="fg-note">'
        f"({escape(kind)})</span></p>"
    ]
    if possible is None:
        more = "what is possible as well" if certain.exact else "further"
        pieces.append(f'<p class="fg-note">Counting {more} …</p>')
    elif possible.number > certain.number or not possible.exact:
        pieces.append(
            f'<p class="fg-note">{escape(counted_text(possible))} when those are counted in that '
            "only fit if a missing or loose figure turns out well.</p>"
        )
    return "".join(pieces)


def part_html(sku: str, catalogue: Catalogue, between: str = " ") -> str:
    """Return a part's name with its stock number, small, behind it; the number opens its card."""
    part = catalogue.parts.get(sku)
    if part is None:
        return f'<span class="fg-code">{escape(sku)}</span>'
    return part_name_html(part, between)


def part_name_html(part: Part, between: str = " ") -> str:
    """Return a part's name with its stock number, small, behind it; the number opens its card."""
    number = sku_html(part.sku, part.name)
    if not part.name:
        return f'<span class="fg-code">{number}</span>'
    return f'{escape(part.name)}{between}<span class="fg-code fg-note fg-small">{number}</span>'


def _bought(option: Option, vocabulary: Vocabulary) -> str:
    done = ", ".join(vocabulary.services[s].title for s in option.services)
    named = "" if option.part is None else part_name_html(option.part)
    return named + (f" ({escape(done)})" if done else "")


def _to_buy(build: Build, owned: frozenset[str]) -> dict[str, Option]:
    """Return the options that cost something: not owned, or with work done to them."""
    return {
        role: option
        for role, option in build.options.items()
        if option.part is not None and (option.part.sku not in owned or option.services)
    }


def builds_html(
    builds: Sequence[Build], owned: frozenset[str], sort: str, vocabulary: Vocabulary
) -> str:
    """Return the first builds as a table; what they have in common is said once.

    Parameters
    ----------
    builds : sequence of Build
        In their order.
    owned : frozenset of str
        Stock numbers that cost nothing.
    sort : str
        What they are sorted by.
    vocabulary : Vocabulary
        Names roles, services and the currency.
    """
    if not builds:
        return "<p>No build is certain to fit.</p>"
    order = {"price": "cheapest", "mass": "lightest", "strength": "strongest"}[sort]
    buying = [_to_buy(b, owned) for b in builds]
    labels = [{(r, o.label) for r, o in bought.items()} for bought in buying]
    shared = set.intersection(*labels) if len(builds) > 1 else set()

    def listed(bought: Mapping[str, Option], *, common: bool) -> Markup:
        return Markup(", ").join(
            Markup(_bought(o, vocabulary))
            for r, o in bought.items()
            if ((r, o.label) in shared) is common
        )

    table = Table.of(
        "builds",
        list(enumerate(zip(builds, buying, strict=True), start=1)),
        (Column("place", PLACE, "No."), lambda row: row[0]),
        (Column("price", money_of(vocabulary), "To pay"), lambda row: row[1][0].price),
        (Column("mass_g", MASS_TOLD, "Mass"), lambda row: row[1][0].mass_g),
        (Column("strength_nm", MOMENT_TOLD, "Tube bears"), lambda row: row[1][0].strength_nm),
        (
            Column("parts", title=f"To buy{' besides' * bool(shared)}, or have done"),
            lambda row: listed(row[1][1], common=False) or "nothing more",
        ),
    )
    number = f"The {len(builds)} {order}" if len(builds) > 1 else "The only one"
    in_all = f"<p>In all of them, to buy: {listed(buying[0], common=True)}.</p>" if shared else ""
    return plain_table(table, number) + in_all + cautions(vocabulary, "strength")


def roles_html(
    standing: Mapping[str, Sequence[PartStanding]], owned: Mapping[str, str], catalogue: Catalogue
) -> str:
    """Return for each role how many parts remain, may, do not, and are kept out otherwise."""

    def title(role: str) -> Markup:
        mine = Markup("")
        if role in owned:
            mine = Markup('<br><span class="fg-note fg-plain">yours: {}</span>').format(
                Markup(part_html(owned[role], catalogue))
            )
        return Markup("{}{}").format(catalogue.vocabulary.roles[role].title, mine)

    verdicts = (Verdict.FITS, Verdict.UNKNOWN, Verdict.FAILS)
    table = Table(
        "roles",
        (
            Column("role", title="Role"),
            *(Column(v.word, _SOME, verdict_sign(v)) for v in verdicts),
            *(Column("kept_out", _SOME, "kept out"), Column("of", _SOME)),
        ),
        tuple((title(role), *stand_counts(parts), len(parts)) for role, parts in standing.items()),
    )
    caption = (
        "Parts of each role, by size; under “kept out” those that would go, but are out of stock, "
        "of another material or without a price. Budget and mass limit act on whole builds, above."
    )
    return plain_table(table, caption, "fg-narrow")


#: Numbers of which none stands out.
_SOME = Unit(lambda n: f"{n}" if n else "–", int)


def _mass_change(grams: float | None) -> str:
    if grams is None:
        return "mass not known"
    if round(grams) == 0:
        return "same mass"
    return f"{show_mass(abs(grams))} {'lighter' if grams < 0 else 'heavier'}"


def _change(change: Change, catalogue: Catalogue) -> str:
    steps = ", and ".join(action_text(a, catalogue) for a in change.actions)
    others = change.alternatives - 1
    more = f"; {plural(others, 'other part')} would do" if others > 0 else ""
    return (
        f"<li>{escape(capital(steps))}: "
        f"{escape(catalogue.vocabulary.money(change.price))}, "
        f"{_mass_change(change.mass_change_g)}{more}.</li>"
    )


def changes_html(changes: Sequence[Change] | None, catalogue: Catalogue) -> str:
    """Return the cheapest changes with the cautions on the work in them; None while sought."""
    head = "<h3>What would change that</h3>"
    if changes is None:
        return f"{head}<p>Looking for the smallest changes …</p>"
    if not changes:
        return f"{head}<p>No change of up to three steps makes these fit.</p>"
    shown = changes[:_MOST_CHANGES]
    more = len(changes) - len(shown)
    items = "".join(_change(c, catalogue) for c in shown)
    rest = f'<p class="fg-note">{plural(more, "dearer way")} besides.</p>' if more > 0 else ""
    return f"{head}<ul>{items}</ul>{rest}{cautions_html(change_cautions(shown, catalogue))}"


def clashes_html(clashes: Sequence[Clash], catalogue: Catalogue) -> str:
    """Return reasons as a list of sentences."""
    items = "".join(
        f"<li>{verdict_sign(c.verdict)}. {escape(clash_text(c, catalogue))}</li>" for c in clashes
    )
    return f"<ul>{items}</ul>" if items else ""


#: Parts that a verdict calls by name; of more only the roles are told.
_MOST_NAMED = 3

_TELL = {
    Verdict.FITS: "Every joint can be made, and a whole build around them is certain.",
    Verdict.UNKNOWN: "A missing or loose figure decides:",
    Verdict.FAILS: "What stands in the way:",
}


def _label_html(label: str, catalogue: Catalogue, *, named: bool) -> str:
    """Return a part with the work done to it; its stock number opens its card."""
    sku, work = split_label(label)
    part = catalogue.parts.get(sku)
    if not named and part is not None:
        part = replace(part, name=catalogue.vocabulary.roles[part.role].title)
    shown = part_html(sku, catalogue) if part is None else part_name_html(part)
    return shown + "".join(f" + {escape(w)}" for w in work)


def _names_html(explanation: Explanation, catalogue: Catalogue) -> str:
    """Return the parts that an answer is about: by name where they are few, else by role."""
    named = len(explanation.named) <= _MOST_NAMED
    return ", ".join(_label_html(n, catalogue, named=named) for n in explanation.named)


def verdict_html(explanation: Explanation, catalogue: Catalogue) -> str:
    """Return in one line whether parts go together, and which joints stand in the way."""
    names = _names_html(explanation, catalogue)
    where = "; ".join(dict.fromkeys(c.joint.title for c in explanation.conflicts))
    return (
        f'<p role="status"><strong>{verdict_sign(explanation.verdict)}</strong> {names}'
        + (f": {escape(where)}" if where else "")
        + "</p>"
    )


def reasons_html(explanation: Explanation, catalogue: Catalogue) -> str:
    """Return why parts go together or not, in sentences."""
    remarks = clashes_html(explanation.remarks, catalogue)
    # What no joint of these parts is to blame for.
    whole = [conflict_text(c, catalogue) for c in explanation.minimal_conflicts if not c.elements]
    return (
        f"<p>{_TELL[explanation.verdict]}</p>"
        + "".join(f"<p>{escape(text)}</p>" for text in whole)
        + clashes_html(explanation.conflicts, catalogue)
        + (f"<p>Besides, needless:</p>{remarks}" if remarks else "")
    )


def why_html(explanation: Explanation, catalogue: Catalogue) -> str:
    """Return whether parts go together, and why not, without the changes."""
    names = _names_html(explanation, catalogue)
    reasons = reasons_html(explanation, catalogue)
    return f"<p>{verdict_sign(explanation.verdict)} <strong>{names}</strong></p>{reasons}"


def drawn_html(wide: str, narrow: str) -> str:
    """Return a drawing that has another shape where there is little room.

    Parameters
    ----------
    wide, narrow : str
        SVG elements that show the same; which is shown goes by the width of what they stand in.
    """
    return (
        f'<div class="fg-drawn"><div class="fg-when-wide">{wide}</div>'
        f'<div class="fg-when-narrow">{narrow}</div></div>'
    )


def section_html(nest: Nest, vocabulary: Vocabulary) -> str:
    """Return a cross-section, as wide as there is room for."""
    return str(blocks_html([cross_section(nest, vocabulary)]))


def sections_html(nests: Sequence[Nest], vocabulary: Vocabulary) -> str:
    """Return cross-sections; the first is shown, the others open on demand."""
    return str(blocks_html(cross_sections(nests, vocabulary)))


def lines_html(lines: Sequence[str]) -> str:
    """Return plain sentences, one paragraph each."""
    return "".join(f"<p>{escape(line)}</p>" for line in lines)
