"""Enquiries that stock does not serve, and what each lacks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from html import escape

from markupsafe import Markup

from fitgraph.explain import Conflict, RequestExplanation, action_text, conflict_text
from fitgraph.lab.coverage_tables import standing_html
from fitgraph.lab.leads import why_link
from fitgraph.lab.tables import MOST_NAMES, long_table
from fitgraph.model import Catalogue, Enquiry
from fitgraph.report.tables import Column, Table
from fitgraph.report.values import DATE, LIST, WEIGHT, WORD
from fitgraph.stock import Coverage, Standing
from fitgraph.units import show_mass
from fitgraph.wording import capital, plural

#: Enquiries listed at once; what each lacks takes a moment.
PAGE = 6


def wanted_text(enquiry: Enquiry, catalogue: Catalogue) -> str:
    """Return the limits of an enquiry in words."""
    told = [] if enquiry.material is None else [enquiry.material]
    if enquiry.budget is not None:
        told.append(f"at most {catalogue.vocabulary.money(enquiry.budget)}")
    if enquiry.max_mass_g is not None:
        told.append(f"at most {show_mass(enquiry.max_mass_g)}")
    return ", ".join(told) or "no limits"


def _without_joints(conflict: Conflict) -> Conflict:
    kept = tuple(e for e in conflict.elements if e.joint is None)
    return replace(conflict, elements=kept) if kept else conflict


def lacks_html(said: RequestExplanation | str | None, catalogue: Catalogue) -> str:
    """Return what an enquiry lacks: the smallest change, the first reason, and the others.

    Parameters
    ----------
    said : RequestExplanation, str or None
        From :meth:`fitgraph.explain.Explainer.explain`; a text where that could not be worked
        out, None while it has not been.
    catalogue : Catalogue
        Its parts and words.
    """
    if said is None:
        return '<span class="fg-note">not worked out yet</span>'
    if isinstance(said, str):
        return escape(said)
    steps = [[action_text(a, catalogue) for a in c.actions] for c in said.changes]
    first = "No change of it makes a build."
    if steps:
        first = f"{capital('; '.join(steps[0][:MOST_NAMES]))}."
        if len(steps[0]) > MOST_NAMES:
            first = f"{first[:-1]}; and {plural(len(steps[0]) - MOST_NAMES, 'more step')}."
    reasons = [conflict_text(c, catalogue) for c in said.conflicts]
    text = escape(first)
    if said.conflicts:
        short = conflict_text(_without_joints(said.conflicts[0]), catalogue)
        text += f'<br><span class="fg-note">{escape(short)}</span>'
    if reasons or len(steps) > 1:
        items = "".join(f"<li>{escape(r)}</li>" for r in reasons)
        ways = "".join(f"<li>{escape(capital('; '.join(way)))}.</li>" for way in steps)
        count = f"{plural(len(reasons), 'reason')}, {plural(len(steps), 'way')} out"
        text += f"<details><summary>{count}</summary>"
        text += f"<p>Reasons:</p><ul>{items}</ul>" if items else ""
        text += (f"<p>Ways out:</p><ul>{ways}</ul>" if ways else "") + "</details>"
    return text


def _owned_html(enquiry: Enquiry, catalogue: Catalogue) -> str:
    if not enquiry.have:
        return "owns nothing yet"
    owned = escape(", ".join(map(catalogue.called, enquiry.have)))
    if len(enquiry.have) <= MOST_NAMES:
        return f"owns {owned}"
    return f"<details><summary>owns {len(enquiry.have)} parts</summary>{owned}</details>"


def unserved(coverage: Coverage) -> list[tuple[Enquiry, Standing]]:
    """Return the enquiries that stock does not serve, the most frequent first."""
    found = zip(coverage.enquiries, coverage.standings, strict=True)
    listed = [(e, s) for e, s in found if s is not Standing.STOCK]
    return sorted(listed, key=lambda pair: (-pair[0].weight, pair[0].number))


def _lead(enquiry: Enquiry, catalogue: Catalogue) -> str:
    """Return a way to why what somebody owns does not go together, or what goes with it."""
    owned = [sku for sku in enquiry.have if sku in catalogue.parts]
    way = why_link(owned, catalogue, "Why?") if owned else ""
    return f"<br>{way}" if way else ""


def unserved_html(
    caption: str,
    enquiries: Sequence[tuple[Enquiry, Standing]],
    said: Mapping[Enquiry, RequestExplanation | str],
    catalogue: Catalogue,
) -> str:
    """Return enquiries that stock does not serve, with what each lacks."""
    if not enquiries:
        return f"<p>{escape(caption)}</p>"
    rows = []
    for enquiry, standing in enquiries:
        date = (
            ""
            if enquiry.date is None
            else f'<br><span class="fg-code fg-note">{enquiry.date}</span>'
        )
        about = [t for t in (enquiry.style, enquiry.note) if t]
        first = (
            f'<span class="fg-code">{escape(enquiry.number)}</span>{date}<br>'
            f"{standing_html(standing)}{_lead(enquiry, catalogue)}"
        )
        asked = (
            f"{escape(': '.join(about))}<br>"
            f'<span class="fg-note">{escape(wanted_text(enquiry, catalogue))}</span>'
            f'<div class="fg-note">{_owned_html(enquiry, catalogue)}</div>'
        )
        lacks = lacks_html(said.get(enquiry), catalogue)
        rows.append((Markup(first), enquiry.weight, Markup(asked), Markup(lacks)))
    columns = (
        *(Column("number", title="No."), Column("count", WEIGHT, "Count")),
        *(Column("enquiry", title="Enquiry"), Column("lacks", title="What it lacks")),
    )
    table = Table("unserved", columns, tuple(rows), caption)
    # Its sentences get most of the width.
    return f'<div class="fg-unserved">{long_table(table, len(rows))}</div>'


def unserved_table(
    enquiries: Sequence[tuple[Enquiry, Standing]],
    said: Mapping[Enquiry, RequestExplanation | str],
    catalogue: Catalogue,
) -> Table:
    """Return those enquiries as data; what has not been worked out yet is left blank."""

    def change(enquiry: Enquiry) -> str:
        why = said.get(enquiry)
        found = why.changes[:1] if isinstance(why, RequestExplanation) else ()
        return "; ".join(action_text(a, catalogue) for one in found for a in one.actions)

    def reasons(enquiry: Enquiry) -> str:
        why = said.get(enquiry)
        if isinstance(why, RequestExplanation):
            return " ".join(conflict_text(c, catalogue) for c in why.conflicts)
        return why or ""

    return Table.of(
        "unserved",
        enquiries,
        (Column("number"), lambda row: row[0].number),
        (Column("date", DATE), lambda row: row[0].date),
        (Column("count", WEIGHT), lambda row: row[0].weight),
        (Column("standing", WORD), lambda row: row[1]),
        (Column("style"), lambda row: row[0].style),
        (Column("note"), lambda row: row[0].note),
        (Column("owned", LIST), lambda row: row[0].have),
        (Column("change"), lambda row: change(row[0])),
        (Column("reasons"), lambda row: reasons(row[0])),
    )
