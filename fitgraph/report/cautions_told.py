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


def cautions_on_work(
    vocabulary: Vocabulary, services: Iterable[str], strengths: Iterable[float | None] = ()
) -> tuple[str, ...]:
    """Return the cautions on what a workshop does, and on strength where any is told.

    Parameters
    ----------
    vocabulary : Vocabulary
        Says on which topic each service is to be cautioned.
    services : iterable of str
        Their names.
    strengths : iterable of float or None
        Of what is shown; None where one is not known.
    """
    topics = [vocabulary.services[service].caution for service in services]
    told = any(strength is not None for strength in strengths)
    return cautions_on(vocabulary, [*topics, *(["strength"] if told else [])])
