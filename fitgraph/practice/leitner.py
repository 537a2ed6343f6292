"""Spaced repetition with five boxes: what is known comes back later, what is not, soon.

References
----------
.. [1] S. Leitner, "So lernt man lernen", Herder 1972 (reference checked): five boxes; a card
   that is known moves one box on, one that is not moves back to the first. The days between are our
   own, roughly doubling.
"""

from __future__ import annotations

import datetime
import random
from collections.abc import Mapping, Sequence
from dataclasses import replace

from fitgraph.records import dataclass

#: Days until a card of each box is due again; the first box is due at once.
DAYS = (0, 1, 3, 7, 14)


@dataclass(frozen=True, slots=True)
class TopicCard:
    """How well one topic is known.

    Parameters
    ----------
    box : int
        From 1 (new or forgotten) to 5.
    due : datetime.date
        From when on it is asked again.
    right, wrong : int
        Answers so far.
    """

    box: int = 1
    due: datetime.date = datetime.date.min
    right: int = 0
    wrong: int = 0


def answered(card: TopicCard, today: datetime.date, *, right: bool) -> TopicCard:
    """Return a card after an answer.

    Examples
    --------
    >>> day = datetime.date(2026, 1, 1)
    >>> once = answered(TopicCard(), day, right=True)
    >>> once.box, once.due.isoformat()
    (2, '2026-01-02')
    >>> answered(once, day, right=False).box
    1
    """
    box = min(card.box + 1, len(DAYS)) if right else 1
    due = today + datetime.timedelta(days=DAYS[box - 1])
    return replace(card, box=box, due=due, right=card.right + right, wrong=card.wrong + (not right))


def pick(
    topics: Sequence[str],
    cards: Mapping[str, TopicCard],
    today: datetime.date,
    number: int,
    rng: random.Random,
) -> list[str]:
    """Return what to ask next: what is due, then what is new, then what is due soonest.

    Parameters
    ----------
    topics : sequence of str
        All there are.
    cards : mapping of str to Card
        Those that have been asked before.
    today : datetime.date
        Decides what is due.
    number : int
        How many.
    rng : random.Random
        Mixes those that rank alike.
    """
    mixed = list(topics)
    rng.shuffle(mixed)

    def rank(topic: str) -> tuple[int, int, datetime.date]:
        card = cards.get(topic)
        if card is None:
            return (1, 0, datetime.date.min)
        return (0 if card.due <= today else 2, card.box, card.due)

    return sorted(mixed, key=rank)[:number]
