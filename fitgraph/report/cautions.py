"""The cautions that travel with an answer."""

from __future__ import annotations

from collections.abc import Iterable

from fitgraph.mechanics.cautions import CAUTIONS
from fitgraph.model import Vocabulary


def cautions_on(vocabulary: Vocabulary, topics: Iterable[str]) -> tuple[str, ...]:
    """Return the cautions on topics, each once, in order; a vocabulary's own words go first."""
    texts = {**CAUTIONS, **vocabulary.cautions}
    found = (texts[topic] for topic in topics if topic in texts)
    return tuple(dict.fromkeys(found))
