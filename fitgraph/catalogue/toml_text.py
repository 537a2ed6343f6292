"""TOML as people hand it in: what nests too deep or counts too far is refused before it is read."""

from __future__ import annotations

import re
import tomllib
from typing import Any

from fitgraph.plain import composed

#: Brackets inside one another, and points in a line, at most.
MOST_DEEP, MOST_POINTS = 60, 2000

_QUOTED = re.compile(r'"(?:[^"\\\n]|\\.)*"')


class TomlError(ValueError):
    """A text that is no valid TOML; the message says what it is instead."""


def read_toml(text: str) -> dict[str, Any]:
    """Return what a text in TOML holds.

    Parameters
    ----------
    text : str
        Of a file that somebody wrote.

    Raises
    ------
    TomlError
        If it is not valid, or asks for more than a file of words ever does.

    Examples
    --------
    >>> read_toml('say = ["[", "a.b"]')
    {'say': ['[', 'a.b']}
    >>> read_toml("a = " + "[" * 100 + "]" * 100)
    Traceback (most recent call last):
    ...
    fitgraph.catalogue.toml_text.TomlError: its brackets nest too deep
    """
    text = composed(text)
    if _too_deep(_QUOTED.sub('""', text)):
        raise TomlError("its brackets nest too deep")
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise TomlError(str(error)) from None
    except ValueError:  # Python's own limit of digits
        raise TomlError("a number in it is too long") from None
    except RecursionError:
        raise TomlError("it nests too deep") from None


def _too_deep(text: str) -> bool:
    depth = deepest = 0
    for letter in re.findall(r"[\[\]{}]", text):
        depth = depth + 1 if letter in "[{" else max(depth - 1, 0)
        deepest = max(deepest, depth)
    return deepest > MOST_DEEP or any(line.count(".") > MOST_POINTS for line in text.splitlines())
