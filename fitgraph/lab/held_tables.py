"""Parts held without a use, and parts on which much depends."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from markupsafe import Markup

from fitgraph.lab.leads import why_link
from fitgraph.lab.tables import MOST_NAMES, TOLD_FIGURE, long_table, part_html, with_cards
from fitgraph.model import Catalogue
from fitgraph.report.shelf import stranded_text
from fitgraph.report.tables import Column, Table
from fitgraph.report.values import COUNT, LIST, WEIGHT, WORD, Unit, money_of, number
from fitgraph.stock import Stranded, Weak
from fitgraph.wording import capital, percent, plural


def stranded_html(shown: Sequence[Stranded], catalogue: Catalogue) -> str:
    """Return parts held without a use as a table, and what they are worth together."""
    if not shown:
        return "<p>No such part: every part held is in some build from stock.</p>"
    worth = catalogue.vocabulary.money(sum(s.value or 0 for s in shown))
    table = Table.of(
        "stranded",
        shown,
        (Column("part", title="Part"), lambda s: Markup(part_html(s.sku, catalogue, "<br>"))),
        (Column("pieces", COUNT, "Pieces"), lambda s: s.pieces),
        (Column("worth", money_of(catalogue.vocabulary), "Worth"), lambda s: s.value),
        (Column("lacks", title="What it lacks"), lambda s: _lacks(s, catalogue)),
        title="Dearest first",
    )
    return (
        f'<p role="status"><span class="fg-number">{escape(worth)}</span> at selling prices in '
        f"{plural(len(shown), 'part')}, {plural(sum(s.pieces for s in shown), 'piece')}.</p>"
        + long_table(table)
    )


def _lacks(one: Stranded, catalogue: Catalogue) -> Markup:
    told = with_cards(escape(capital(stranded_text(one, catalogue, MOST_NAMES))), catalogue)
    why = why_link((one.sku,), catalogue, "Why?")
    return Markup(f"{told} {why}" if why else told)


def stranded_table(shown: Sequence[Stranded], catalogue: Catalogue) -> Table:
    """Return parts held without a use as data, with all names."""
    vocabulary = catalogue.vocabulary
    return Table.of(
        "stranded",
        shown,
        (Column("sku"), lambda s: s.sku),
        (Column("name"), lambda s: catalogue.parts[s.sku].name),
        (Column("pieces", COUNT), lambda s: s.pieces),
        (Column("worth", money_of(vocabulary)), lambda s: s.value),
        (Column("standing", WORD), lambda s: s.standing),
        (Column("needs", LIST), lambda s: s.needs),
        (Column("joints"), lambda s: "; ".join(vocabulary.joint(j).title for j in s.joints)),
    )


#: A share of which a little is not nothing.
_FINE = Unit(lambda share: percent(share, 1), number)


def weak_html(weak: Sequence[Weak], builds: str, catalogue: Catalogue, *, pairs: bool) -> str:
    """Return parts, or pairs, on which much depends.

    Parameters
    ----------
    weak : sequence of Weak
        In order.
    builds : str
        How many builds from stock there are, in words.
    catalogue : Catalogue
        Names the parts.
    pairs : bool
        Whether they are pairs.
    """
    if not weak:
        kind = "pair" if pairs else "part"
        return f"<p>No enquiry and no build from stock hangs on one {kind}.</p>"
    names = Markup("<br>")
    told = Table.of(
        "weak",
        weak,
        (
            Column("parts", title="Parts" if pairs else "Part"),
            lambda w: names.join(Markup(part_html(s, catalogue, "<br>")) for s in w.skus),
        ),
        (
            Column("held", TOLD_FIGURE, "In stock"),
            lambda w: " + ".join(str(catalogue.parts[s].stock) for s in w.skus),
        ),
        (Column("together", WEIGHT, "Enquiries lost"), lambda w: w.together),
        (Column("share", _FINE, "Builds lost"), lambda w: w.share),
        title=("Two parts, and what is lost only if both are gone" if pairs else "One part gone")
        + f". Builds: of {builds} from stock, workshop work on any part included.",
    )
    return long_table(told)
