"""What a rider has: how likely each kind and part is, and what to ask next."""

from __future__ import annotations

from typing import Any

from fitgraph.explain.identify import Candidates, State
from fitgraph.explain.words_rider import (
    answer_text,
    doubt_text,
    question_text,
    state_text,
    turn_text,
)
from fitgraph.model import Catalogue
from fitgraph.model.rider import Question
from fitgraph.report.blocks import Block, Report, Say, Section, say_all
from fitgraph.report.hints import Hints
from fitgraph.report.tables import Column, Table
from fitgraph.report.values import FINE_SHARE, number
from fitgraph.wording import percent

#: Parts of a role, and turns, listed for people; data has more.
_PARTS, _TURNS = 4, 3

#: Roles whose likeliest part is less likely than this are not listed.
_TELLING = 0.05


def _question(state: State, question: Question) -> dict[str, Any]:
    return {
        "question": question.name,
        "ask": question.ask,
        "how": question.how,
        "gain_bits": number(state.gains().get(question.name)),
        "answers": [answer_text(v) for v in state.identifier.answers(question)],
    }


def data(state: State) -> dict[str, Any]:
    """Return the answer in the shape that docs/commands.md describes."""
    found = state.candidates()
    following = state.next_question()
    return {
        "saw": [{"question": q, "answer": answer_text(v)} for q, v in state.given],
        "sure": state.sure,
        "text": state_text(state),
        "kinds": [{"kind": k.name or None, "chance": number(k.chance)} for k in found.kinds],
        "parts": {
            role: [{"sku": p.name, "chance": number(p.chance)} for p in parts]
            for role, parts in found.parts.items()
        },
        "next": None if following is None else _question(state, following),
        "turns": [
            {
                "question": t.question.name,
                "answer": None if t.value is None else answer_text(t.value),
                "chance": number(t.chance),
                "kind": t.kind or None,
                "text": turn_text(state, t),
            }
            for t in state.turns()
        ],
        "agreement": number(found.surprising),
    }


def tables(state: State) -> tuple[Table, ...]:
    """Return how likely each part is, and each kind."""
    found = state.candidates()
    rows = tuple((role, p.name, p.chance) for role, parts in found.parts.items() for p in parts)
    chance = Column("chance", FINE_SHARE)
    return (
        Table("parts", (Column("role"), Column("sku"), chance), rows),
        Table.of(
            "kinds",
            found.kinds,
            (Column("kind"), lambda k: k.name or None),
            (chance, lambda k: k.chance),
        ),
    )


def _parts(found: Candidates, catalogue: Catalogue, roles: set[str]) -> Table:
    rows = [
        (
            catalogue.vocabulary.roles[role].title,
            ", ".join(f"{p.name} {percent(p.chance)}" for p in parts[:_PARTS]),
        )
        for role, parts in found.parts.items()
        if role in roles and parts and parts[0].chance >= _TELLING
    ]
    return Table("parts", (Column("role"), Column("parts")), tuple(rows), headed=False)


def report(state: State, catalogue: Catalogue, hints: Hints) -> Report:
    """Return the answer for people."""
    found = state.candidates()
    questions = state.identifier.questions
    pieces: list[Block] = []
    if doubt := doubt_text(found.surprising):
        pieces.append(Say(doubt))
    if state.given:
        seen = say_all(f"{questions[q].ask} {answer_text(v)}" for q, v in state.given)
        pieces.append(Section("Seen", seen))
    following = state.next_question()
    if following is not None:
        answers = ", ".join(answer_text(v) for v in state.identifier.answers(following))
        told = say_all(
            [
                question_text(following),
                f"Common answers: {answers}; ? if it cannot be seen",
            ]
        )
        pieces.append(Section("Next question", told, aside=hints.answering(following.name)))
    roles = {q.role for q in questions.values()}
    likeliest = _parts(found, catalogue, roles)
    pieces.append(Section("Likeliest parts", (likeliest,)))
    if turns := state.turns()[:_TURNS]:
        changes = say_all(turn_text(state, t) for t in turns)
        pieces.append(Section("What would change the answer", changes))
    return Report(state_text(state), tuple(pieces))
