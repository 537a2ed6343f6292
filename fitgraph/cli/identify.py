"""``fitgraph identify``: what a rider has, found by the most telling questions."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Annotated, Any

import typer

from fitgraph.cli.options import AsJson, CatalogueFolder
from fitgraph.cli.output import (
    ANSWER,
    NO,
    BadInputError,
    complain,
    number,
    plain,
    show,
    show_json,
    styled,
)
from fitgraph.cli.reading import read, remark_findings
from fitgraph.model import Catalogue

if TYPE_CHECKING:
    from rich.console import RenderableType

    from fitgraph.explain.identify import Candidates, State
    from fitgraph.model.rider import Question

#: Parts of a role, and turns, listed for people; JSON has more.
_PARTS, _TURNS = 4, 3

#: Roles whose likeliest part is less likely than this are not listed.
_TELLING = 0.05


def _question_json(state: State, question: Question) -> dict[str, Any]:
    from fitgraph.explain.words_rider import answer_text

    return {
        "question": question.name,
        "ask": question.ask,
        "how": question.how,
        "gain_bits": number(state.gains().get(question.name)),
        "answers": [answer_text(v) for v in state.identifier.answers(question)],
    }


def as_json(state: State) -> dict[str, Any]:
    """Return a state in the shape that docs/commands.md describes."""
    from fitgraph.explain.words_rider import answer_text, state_text, turn_text

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
        "next": None if following is None else _question_json(state, following),
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


def _parts_table(found: Candidates, catalogue: Catalogue, roles: set[str]) -> RenderableType:
    from rich.table import Table

    from fitgraph.explain.words_rider import percent

    table = Table.grid(padding=(0, 2, 0, 0))
    table.add_column()
    table.add_column(overflow="fold")
    for role, parts in found.parts.items():
        if role not in roles or not parts or parts[0].chance < _TELLING:
            continue
        listed = ", ".join(f"{p.name} {percent(p.chance)}" for p in parts[:_PARTS])
        table.add_row(styled(f"  {catalogue.vocabulary.roles[role].title}"), styled(listed))
    return table


def _lines(state: State, catalogue: Catalogue) -> list[RenderableType]:
    from rich.padding import Padding

    from fitgraph.explain.words_rider import (
        answer_text,
        doubt_text,
        question_text,
        state_text,
        turn_text,
    )

    found = state.candidates()
    questions = state.identifier.questions
    pieces: list[RenderableType] = [styled(state_text(state), "bold")]
    if doubt := doubt_text(found.surprising):
        pieces.append(styled(doubt))
    if state.given:
        pieces += ["", styled("Seen", "dim")]
        pieces += [
            Padding(styled(f"{questions[q].ask} {answer_text(v)}"), (0, 0, 0, 2))
            for q, v in state.given
        ]
    following = state.next_question()
    if following is not None:
        pieces += ["", styled(f"Next question  (--saw {following.name}=...)", "dim")]
        pieces.append(Padding(styled(question_text(following)), (0, 0, 0, 2)))
        answers = ", ".join(answer_text(v) for v in state.identifier.answers(following))
        pieces.append(Padding(styled(f"Common answers: {answers}; ? if it cannot be seen"), (0, 2)))
    pieces += ["", styled("Likeliest parts", "dim")]
    pieces.append(_parts_table(found, catalogue, {q.role for q in questions.values()}))
    if turns := state.turns()[:_TURNS]:
        pieces += ["", styled("What would change the answer", "dim")]
        pieces += [Padding(styled(turn_text(state, t)), (0, 0, 0, 2)) for t in turns]
    return pieces


def _asked(state: State) -> State:
    """Return the state after asking on the terminal, until it is sure or nothing is left."""
    from fitgraph.explain.words_rider import answer_text, question_text
    from fitgraph.solve import NamingError

    while (question := state.next_question()) is not None:
        answers = ", ".join(answer_text(v) for v in state.identifier.answers(question))
        sys.stdout.write(plain(f"{question_text(question)}") + f"\n  ({answers}; ? to pass) ")
        sys.stdout.flush()
        typed = sys.stdin.readline()
        if not typed:
            break
        try:
            state = state.answer(question.name, typed.strip())
        except NamingError as error:
            complain(str(error))
    return state


def identify(
    saw: Annotated[
        list[str] | None,
        typer.Option("--saw", metavar="QUESTION=ANSWER", help="What was seen; ? if it cannot be."),
    ] = None,
    catalogue: CatalogueFolder = None,
    json: AsJson = False,
) -> None:
    """Find out what a rider has, by the most telling questions."""
    from fitgraph.explain.identify import Identifier

    loaded = read(catalogue)
    state = Identifier(loaded.catalogue).start()
    for text in saw or []:
        question, equals, value = text.partition("=")
        if not equals:
            raise BadInputError(f"--saw {text!r} has no =; write it like --saw QUESTION=ANSWER")
        state = state.answer(question.strip(), value.strip())
    if not json and not saw and sys.stdin.isatty():
        state = _asked(state)
    if json:
        show_json({**as_json(state), "findings": len(loaded.findings)})
    else:
        remark_findings(loaded, catalogue)
        show(*_lines(state, loaded.catalogue))
    raise typer.Exit(ANSWER if state.sure else NO)
