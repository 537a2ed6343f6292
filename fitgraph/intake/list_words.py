"""Words that the lists of all trades have in common, in several languages: ``list_words.toml``."""

from __future__ import annotations

import re
import tomllib
from functools import cache
from pathlib import Path


@cache
def _table() -> dict[str, dict[str, list[str]]]:
    return tomllib.loads(Path(__file__).with_suffix(".toml").read_text(encoding="utf-8"))


def words_for(about: str) -> dict[str, list[str]]:
    """Return the words of one part of the table, by what they are for.

    Parameters
    ----------
    about : {'fields', 'columns', 'titles', 'counts'}
        Names of columns that become fields of a part; what else stands in names of columns, in
        titles, and beside numbers of pieces.
    """
    return _table()[about]


def any_of(*lists: list[str]) -> str:
    r"""Return a regular expression for any word of some lists, a longer one first.

    Examples
    --------
    >>> any_of(["st", "stk"], ["per"])
    '(?:per|stk|st)'
    """
    words = {word for some in lists for word in some}
    return f"(?:{'|'.join(map(re.escape, sorted(words, key=lambda w: (-len(w), w))))})"
