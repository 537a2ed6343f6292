"""Somebody who answers question after question, in a process of their own."""

from __future__ import annotations

import datetime
from dataclasses import replace
from pathlib import Path

from fitgraph.practice import progress as kept
from fitgraph.practice.leitner import TopicCard
from fitgraph.practice.progress import Round


def practise(folder: str, topic: str, answers: int) -> None:
    """Answer rightly about a topic, wrongly about what is shared, and keep each answer."""
    mine = kept.load(Path(folder), "Quill")
    day = datetime.date(2026, 3, 1)
    for n in range(answers):
        before = mine
        card = mine.cards.get(topic, TopicCard(1, day, 0, 0))
        shared = mine.cards.get("shared", TopicCard(1, day, 0, 0))
        cards = {
            **mine.cards,
            topic: replace(card, right=card.right + 1),
            "shared": replace(shared, wrong=shared.wrong + 1),
        }
        rounds = mine.rounds
        if n % 50 == 49:
            rounds = (*rounds, Round(1, day, 50, 50))
        mine = kept.save(Path(folder), replace(mine, cards=cards, rounds=rounds), before)
