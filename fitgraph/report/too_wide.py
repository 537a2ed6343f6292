"""A question that would need more memory than there is, as somebody at a page reads it."""

from __future__ import annotations

from fitgraph.model import Vocabulary
from fitgraph.solve import TooWideError
from fitgraph.solve.plan import memory_text
from fitgraph.wording import listed


def too_wide_text(error: TooWideError, vocabulary: Vocabulary, instead: str) -> str:
    """Return why there is no answer, and what can be had instead.

    Parameters
    ----------
    error : TooWideError
        The refusal.
    vocabulary : Vocabulary
        Has the titles of its roles.
    instead : str
        What can be had on the page, as a sentence.
    """
    roles = vocabulary.roles
    titles = [roles[name].title for name in error.roles if name in roles]
    of = f" for {listed(titles)} together" if titles else ""
    return (
        f"This catalogue is too large for this question: the answer would need "
        f"{memory_text(error.needed)} of memory{of}, and {memory_text(error.ceiling)} is the most "
        f"that is taken. {instead}"
    )
