"""Parts held without a use, and parts on which much depends."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from fitgraph.lab.leads import why_link
from fitgraph.lab.long_table import MOST_NAMES, long_table
from fitgraph.lab.tables import part_html, with_cards
from fitgraph.model import Catalogue
from fitgraph.plain import csv_text
from fitgraph.stock import Standing, Stranded, Weak
from fitgraph.wording import capital, first_of, plural


def stranded_text(one: Stranded, catalogue: Catalogue) -> str:
    """Return what a part held without a use lacks."""
    titles = [catalogue.vocabulary.joint(name).title for name in one.joints]
    joints = first_of(titles, MOST_NAMES)
    order = f"to order: {first_of(map(catalogue.called, one.needs), MOST_NAMES)}"
    if one.standing is Standing.CATALOGUE:
        return order
    if one.standing is Standing.POSSIBLY:
        told = f"{plural(len(titles), 'joint')} to be measured: {joints}"
        return f"{told}; {order}" if one.needs else told
    return f"nothing sold goes with it: {joints or 'a role has no part'}"


def stranded_html(shown: Sequence[Stranded], catalogue: Catalogue) -> str:
    """Return parts held without a use as a table, and what they are worth together."""
    if not shown:
        return "<p>No such part: every part held is in some build from stock.</p>"
    worth = catalogue.vocabulary.money(sum(s.value or 0 for s in shown))
    rows = [
        [
            part_html(s.sku, catalogue, "<br>"),
            f"{s.pieces}",
            "not known" if s.value is None else escape(catalogue.vocabulary.money(s.value)),
            with_cards(escape(capital(stranded_text(s, catalogue))), catalogue)
            + (f" {why}" if (why := why_link((s.sku,), catalogue, "Why?")) else ""),
        ]
        for s in shown
    ]
    number = plural(len(shown), "part")
    heads = [("Part", False), ("Pieces", True), ("Worth", True), ("What it lacks", False)]
    return (
        f'<p role="status"><span class="fg-number">{escape(worth)}</span> at '
        f"selling prices in {number}, {sum(s.pieces for s in shown)} pieces.</p>"
        + long_table("Dearest first", heads, rows)
    )


def stranded_csv(shown: Sequence[Stranded], catalogue: Catalogue) -> str:
    """Return the same as CSV, with all names."""
    heads = ["sku", "name", "pieces", f"worth_{catalogue.vocabulary.currency}", "standing"]
    rows: list[Sequence[str | float | None]] = []
    for s in shown:
        titles = [catalogue.vocabulary.joint(name).title for name in s.joints]
        worth = None if s.value is None else catalogue.vocabulary.plain_money(s.value)
        name = catalogue.parts[s.sku].name
        needs = " ".join(s.needs)
        rows.append([s.sku, name, s.pieces, worth, s.standing.word, needs, "; ".join(titles)])
    return csv_text([*heads, "needs", "joints"], rows)


def _share(share: float) -> str:
    return "under 0.1%" if 0 < share < 0.001 else f"{share:.1%}"


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
    rows = []
    for w in weak:
        names = "<br>".join(part_html(s, catalogue, "<br>") for s in w.skus)
        held = " + ".join(str(catalogue.parts[s].stock) for s in w.skus)
        rows.append([names, held, f"{w.together:g}", _share(w.share)])
    what = "Two parts, and what is lost only if both are gone" if pairs else "One part gone"
    heads = [
        ("Parts" if pairs else "Part", False),
        ("In stock", True),
        ("Enquiries lost", True),
        ("Builds lost", True),
    ]
    return long_table(f"{what}. Builds: of {builds} from stock.", heads, rows)


def weak_csv(weak: Sequence[Weak]) -> str:
    """Return parts and pairs as CSV."""
    heads = ["part", "second_part", "enquiries_lost", "only_if_both", "builds_lost", "share"]
    rows: list[Sequence[str | float | None]] = [
        [*(*w.skus, "")[:2], w.enquiries, w.together, w.builds, round(w.share, 6)] for w in weak
    ]
    return csv_text(heads, rows)
