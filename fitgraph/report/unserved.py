"""Enquiries that stock does not serve, and what each lacks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from fitgraph.explain import Conflict, RequestExplanation, action_text, conflict_text
from fitgraph.model import Catalogue, Enquiry
from fitgraph.report.blocks import Block, Say, Section, items, quiet
from fitgraph.report.explanations import change_cautions
from fitgraph.report.tables import Column, Table
from fitgraph.report.values import DATE, LIST, WEIGHT, WORD
from fitgraph.stock import Standing
from fitgraph.units import show_mass
from fitgraph.wording import capital, plural

#: Parts and steps named at once.
_NAMED = 3

#: An enquiry, and how far it can be met.
Unserved = tuple[Enquiry, Standing]

#: What enquiries lack, as far as that was worked out; a text where it could not be. By the enquiry
#: itself: numbers may be blank, or given twice.
Lacking = Mapping[Enquiry, RequestExplanation | str]


def _wanted_text(enquiry: Enquiry, catalogue: Catalogue) -> str:
    told = [] if enquiry.material is None else [enquiry.material]
    if enquiry.budget is not None:
        told.append(f"at most {catalogue.vocabulary.money(enquiry.budget)}")
    if enquiry.max_mass_g is not None:
        told.append(f"at most {show_mass(enquiry.max_mass_g)}")
    return ", ".join(told) or "no limits"


def asked(enquiry: Enquiry, catalogue: Catalogue) -> tuple[Block, ...]:
    """Return what an enquiry asks for: what about, within which limits, around which parts."""
    about = [Say(": ".join(filter(None, (enquiry.style, enquiry.note))))]
    wanted = quiet(_wanted_text(enquiry, catalogue))
    named = ", ".join(map(catalogue.called, enquiry.have))
    owned: Block = quiet(f"owns {named or 'nothing yet'}")
    if len(enquiry.have) > _NAMED:
        owned = Section(f"owns {len(enquiry.have)} parts", (quiet(named),), folded=True)
    return (*(say for say in about if say.text), wanted, owned)


def _without_joints(conflict: Conflict) -> Conflict:
    kept = tuple(e for e in conflict.elements if e.joint is None)
    return replace(conflict, elements=kept) if kept else conflict


def lacks(said: RequestExplanation | str | None, catalogue: Catalogue) -> tuple[Block, ...]:
    """Return what an enquiry lacks: the smallest change, the first reason, and the others.

    Parameters
    ----------
    said : RequestExplanation, str or None
        From :meth:`fitgraph.explain.Explainer.lacks`; None while it has not been worked out.
    catalogue : Catalogue
        Its parts and words.
    """
    if said is None:
        return (quiet("not worked out yet"),)
    if isinstance(said, str):
        return (Say(said),)
    steps = [[action_text(a, catalogue) for a in c.actions] for c in said.changes]
    first = "No change of it makes a build."
    if steps:
        more = len(steps[0]) - _NAMED
        rest = f"; and {plural(more, 'more step')}" if more > 0 else ""
        first = f"{capital('; '.join(steps[0][:_NAMED]))}{rest}."
    told: list[Block] = [Say(first)]
    if said.conflicts:
        told.append(quiet(conflict_text(_without_joints(said.conflicts[0]), catalogue)))
    reasons = [conflict_text(c, catalogue) for c in said.conflicts]
    ways = [f"{capital('; '.join(way))}." for way in steps]
    if reasons or len(ways) > 1:
        inner: list[Block] = []
        for head, texts in (("Reasons:", reasons), ("Ways out:", ways)):
            inner += [Say(head), items(texts)] if texts else []
        count = f"{plural(len(reasons), 'reason')}, {plural(len(ways), 'way')} out"
        told.append(Section(count, tuple(inner), folded=True))
    return tuple(told)


def cautions(listed: Sequence[Unserved], said: Lacking, catalogue: Catalogue) -> tuple[str, ...]:
    """Return the cautions on the work that is told of enquiries."""
    found = [said.get(enquiry) for enquiry, _ in listed]
    changes = [c for one in found if isinstance(one, RequestExplanation) for c in one.changes]
    return change_cautions(changes, catalogue)


def table(listed: Sequence[Unserved], said: Lacking, catalogue: Catalogue) -> Table:
    """Return enquiries as data; what has not been worked out yet is left blank."""

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
        listed,
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
