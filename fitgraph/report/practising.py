"""Practice for staff: how far somebody is, what is asked, what came of it, who finds what hard."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Sequence
from dataclasses import replace
from operator import attrgetter

from fitgraph.model import Catalogue, Verdict
from fitgraph.practice.leitner import DAYS
from fitgraph.practice.progress import OpenRound, Progress
from fitgraph.practice.rounds import Exercise
from fitgraph.report.blocks import Block, Report, Say, Section, quiet, status
from fitgraph.report.part_card import sizes_table
from fitgraph.report.tables import Column, Table
from fitgraph.report.values import COUNT, DATE, TOLD, Unit
from fitgraph.wording import plural

#: How often something is asked again.
COMES_BACK = "What you know comes back later, what you do not, soon."

#: Topics that somebody finds hard, told at once.
_HARD = 3

#: Of people who have not finished a round, and who find nothing hard.
_DAY = replace(DATE, blank="not yet")
_HARD_TOPICS = Unit("; ".join, "; ".join, figures=False, blank="–", several=True)


def state(progress: Progress, today: datetime.date) -> tuple[Block, ...]:
    """Return how far somebody is."""
    told = f": {plural(len(progress.rounds), 'round')} finished."
    if progress.rounds:
        last = progress.rounds[-1]
        told += f" The last: {last.right} of {last.asked} right, on {last.day.isoformat()}."
    if (begun := progress.open) is not None:
        told += f" A round of level {begun.level} waits at question {len(begun.answers) + 1}."
    boxes = [sum(c.box == n for c in progress.cards.values()) for n in range(1, len(DAYS) + 1)]
    topics = ", ".join(f"{count} in box {n}" for n, count in enumerate(boxes, start=1) if count)
    said = status(told, progress.learner)
    if not topics:
        return (said,)
    due = sum(c.due <= today for c in progress.cards.values())
    return said, quiet(f"Topics: {topics}; {due} due today. {COMES_BACK}")


def place(begun: OpenRound, at: int) -> str:
    """Return which question of a round one is."""
    return f"Question {at} of {len(begun.topics)}"


def asked(item: Exercise, catalogue: Catalogue) -> Section:
    """Return what is asked, with the sizes of the parts that it is about."""
    vocabulary = catalogue.vocabulary
    parts = [catalogue.parts[sku] for sku in item.parts]
    return Section(
        item.text,
        tuple(
            replace(
                sizes_table(part, vocabulary),
                title=f"{vocabulary.roles[part.role].title} {part.called}",
                headed=False,
            )
            for part in parts
        ),
    )


def judged(item: Exercise, begun: OpenRound) -> Report:
    """Return whether the last answer of a round was right, and how the round ended if it is over.

    Parameters
    ----------
    item : Exercise
        What was asked last.
    begun : OpenRound
        The round, with the answer.
    """
    answers = begun.answers
    told = "right." if answers[-1] else f"not so. Right is: {item.choices[item.right]}"
    end: tuple[Block, ...] = ()
    if len(answers) == len(begun.topics):
        over = f"The round is over: {sum(answers)} of {len(answers)} right."
        end = (Say("", lead=over),)
    verdict = Verdict.FITS if answers[-1] else Verdict.FAILS
    return Report(f"{place(begun, len(answers))}: {told}", end, verdict=verdict)


def learners(people: Sequence[Progress], title: Callable[[str], str]) -> Table:
    """Return who has practised, how much of it was right, and what they find hard.

    Parameters
    ----------
    people : sequence of Progress
        A row each.
    title : callable
        Returns what a topic is called.
    """

    def right(person: Progress) -> int:
        return sum(c.right for c in person.cards.values())

    def answers(person: Progress) -> int:
        return right(person) + sum(c.wrong for c in person.cards.values())

    def told(person: Progress) -> str:
        share = f"{right(person) / answers(person):.0%}" if answers(person) else "–"
        return f"{right(person)} of {answers(person)} ({share})"

    def hard(person: Progress) -> list[str] | None:
        cards = sorted(person.cards.items(), key=lambda item: item[1].right - item[1].wrong)
        return [title(topic) for topic, c in cards if c.wrong > c.right][:_HARD] or None

    return Table.of(
        "practice",
        people,
        (Column("learner", title="who"), attrgetter("learner")),
        (Column("rounds", COUNT), lambda p: len(p.rounds)),
        (Column("answers", COUNT), answers),
        (Column("right", COUNT), right),
        (Column("told", TOLD, "right"), told),
        (
            Column("last_day", _DAY, "last round"),
            lambda p: max((r.day for r in p.rounds), default=None),
        ),
        (Column("hard_topics", _HARD_TOPICS, "more often wrong than right"), hard),
    )
