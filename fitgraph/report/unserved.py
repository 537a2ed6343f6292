"""Enquiries that stock does not serve, and what each lacks."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from fitgraph.explain import Conflict, RequestExplanation, action_text, conflict_text
from fitgraph.model import Catalogue, Enquiry
from fitgraph.report.blocks import Block, Say, Section, Tone, items
from fitgraph.report.explanations import change_cautions, change_text
from fitgraph.report.hints import Hints
from fitgraph.report.standing_words import WORDS
from fitgraph.report.tables import Column, Table
from fitgraph.report.values import DATE, LIST, WEIGHT, WORD, Unit
from fitgraph.stock import Standing
from fitgraph.units import show_mass
from fitgraph.wording import capital, plural

#: Parts and steps named at once.
_NAMED = 3

#: Several sentences in one cell.
_SENTENCES = Unit(" ".join, " ".join, figures=False, blank="", several=True)

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


def _quiet(text: str) -> Say:
    return Say(text, Tone.QUIET, deep=1)


def _owned_text(enquiry: Enquiry, catalogue: Catalogue) -> str:
    return ", ".join(map(catalogue.called, enquiry.have)) or "nothing yet"


def _about(enquiry: Enquiry, catalogue: Catalogue) -> list[Block]:
    told = ": ".join(filter(None, (enquiry.style, enquiry.note)))
    return [*([Say(told, deep=1)] if told else []), _quiet(_wanted_text(enquiry, catalogue))]


def asked(enquiry: Enquiry, catalogue: Catalogue) -> list[Block]:
    """Return what an enquiry asks for: what about, within which limits, around which parts."""
    named, count = _owned_text(enquiry, catalogue), len(enquiry.have)
    owned: Block = _quiet(f"owns {named}")
    if count > _NAMED:
        owned = Section(f"owns {count} parts", (_quiet(named),), folded=True)
    return [*_about(enquiry, catalogue), owned]


def _without_joints(conflict: Conflict) -> Conflict:
    kept = tuple(e for e in conflict.elements if e.joint is None)
    return replace(conflict, elements=kept) if kept else conflict


def lacks(said: RequestExplanation | str | None, catalogue: Catalogue) -> tuple[Say, ...]:
    """Return what an enquiry lacks: the smallest change, and the first reason.

    Parameters
    ----------
    said : RequestExplanation, str or None
        From :meth:`fitgraph.explain.Explainer.lacks`; None while it has not been worked out.
    catalogue : Catalogue
        Its parts and words.
    """
    if said is None:
        return (_quiet("not worked out yet"),)
    if isinstance(said, str):
        return (Say(said, deep=1),)
    first = "No change of it makes a build."
    if said.changes:
        steps = [action_text(a, catalogue) for a in said.changes[0].actions]
        more = len(steps) - _NAMED
        rest = f"; and {plural(more, 'more step')}" if more > 0 else ""
        first = f"{capital('; '.join(steps[:_NAMED]))}{rest}."
    reasons = (conflict_text(_without_joints(c), catalogue) for c in said.conflicts[:1])
    return (Say(first, deep=1), *map(_quiet, reasons))


def _ways(said: RequestExplanation, catalogue: Catalogue) -> list[str]:
    return [f"{capital(change_text(c, catalogue, ways=False))}." for c in said.changes]


def in_full(said: RequestExplanation | str | None, catalogue: Catalogue) -> tuple[Section, ...]:
    """Return every reason and every way out, where :func:`lacks` does not tell them all."""
    if not isinstance(said, RequestExplanation) or not (said.conflicts or said.changes[1:]):
        return ()
    reasons = [conflict_text(c, catalogue) for c in said.conflicts]
    ways = _ways(said, catalogue)
    told: list[Block] = []
    for head, texts in (("Reasons:", reasons), ("Ways out:", ways)):
        told += [Say(head), items(texts)] if texts else []
    count = f"{plural(len(reasons), 'reason')}, {plural(len(ways), 'way')} out"
    return (Section(count, tuple(told), folded=True),)


def listed_text(every: Sequence[Unserved], shown: int) -> str:
    """Return how many enquiries are not served, and how many of their rows are shown."""
    count = sum(enquiry.weight for enquiry, _ in every)
    text = f"{count:g} not served from stock, in {plural(len(every), 'row')}"
    return text if shown >= len(every) else f"{text}; the first {shown} are shown"


def sections(
    every: Sequence[Unserved], said: Lacking, catalogue: Catalogue, hints: Hints
) -> list[Section]:
    """Return those enquiries of which it was worked out what they lack, one after the other."""
    listed = [(enquiry, standing) for enquiry, standing in every if enquiry in said]
    told = []
    for enquiry, standing in listed:
        day = "" if enquiry.date is None else enquiry.date.isoformat()
        often = f", {enquiry.weight:g} times" if enquiry.weight != 1 else ""
        rest = [f"{more.title}: {hints.rest}" for more in in_full(said[enquiry], catalogue)]
        if enquiry.have:
            rest.append(f"To see why: {hints.ask('why', enquiry.have)}")
        owned = _quiet(f"owns {_owned_text(enquiry, catalogue)}")
        lack = lacks(said[enquiry], catalogue)
        blocks = (*_about(enquiry, catalogue), owned, *lack, *map(_quiet, rest))
        told.append(Section(f"{enquiry.called}{often}: {WORDS[standing]}", blocks, aside=day))
    title = f"What the unserved lack: {listed_text(every, len(listed))}"
    return [Section(title, tuple(told))] if told else []


def cautions(
    said: Iterable[RequestExplanation | str | None], catalogue: Catalogue
) -> tuple[str, ...]:
    """Return the cautions on the work that is told of enquiries."""
    changes = [c for one in said if isinstance(one, RequestExplanation) for c in one.changes]
    return change_cautions(changes, catalogue)


def table(listed: Sequence[Unserved], said: Lacking, catalogue: Catalogue) -> Table:
    """Return enquiries as data; what has not been worked out yet is left blank."""

    def reasons(enquiry: Enquiry) -> list[str]:
        why = said.get(enquiry)
        if isinstance(why, RequestExplanation):
            return [conflict_text(c, catalogue) for c in why.conflicts]
        return [why] if why else []

    def ways(enquiry: Enquiry) -> list[str]:
        why = said.get(enquiry)
        return _ways(why, catalogue) if isinstance(why, RequestExplanation) else []

    return Table.of(
        "lacking",
        listed,
        (Column("number"), lambda row: row[0].number),
        (Column("date", DATE), lambda row: row[0].date),
        (Column("count", WEIGHT), lambda row: row[0].weight),
        (Column("standing", WORD), lambda row: row[1]),
        (Column("style"), lambda row: row[0].style),
        (Column("note"), lambda row: row[0].note),
        (Column("owned", LIST), lambda row: row[0].have),
        (Column("change"), lambda row: "".join(ways(row[0])[:1])),
        (Column("reasons", _SENTENCES), lambda row: reasons(row[0])),
        (Column("ways", _SENTENCES), lambda row: ways(row[0])),
    )
