"""Plain, safe output: text on the terminal, JSON for programs, one line for an error."""

from __future__ import annotations

import json
import math
import shutil
import sys
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from fitgraph.plain import plain
from fitgraph.units import show_mass

if TYPE_CHECKING:
    from rich.console import Console, RenderableType
    from rich.text import Text

    from fitgraph.model import Vocabulary

#: Exit codes.
ANSWER, NO, BAD_INPUT, STOPPED = 0, 1, 2, 130

#: Columns where the output is no terminal.
PLAIN_WIDTH = 100

#: Decimals of a number in JSON; mm and g are not known better.
_DECIMALS = 4


class BadInputError(Exception):
    """Something typed that cannot be used; the message says how to mend it."""


def styled(text: str, style: str = "") -> Text:
    """Return text as it stands for the terminal: neither markup nor escapes count."""
    from rich.text import Text

    return Text(plain(text), style=style)


def screen(*, error: bool = False) -> Console:
    """Return the console for an answer, or for a remark beside it."""
    from rich.console import Console

    stream = sys.stderr if error else sys.stdout
    width = None if stream.isatty() else PLAIN_WIDTH
    return Console(file=stream, width=width, highlight=False, markup=False, emoji=False)


def show(*pieces: RenderableType) -> None:
    """Print an answer for people."""
    console = screen()
    if console.is_terminal:
        console.print(*pieces, sep="\n")
        return
    with console.capture() as captured:
        console.print(*pieces, sep="\n")
    # Tables fill every line up; a file or a pipe has no use for that.
    lines = (line.rstrip() for line in captured.get().splitlines())
    sys.stdout.write("\n".join(lines) + "\n")


def show_json(answer: dict[str, Any]) -> None:
    """Print an answer for programs: ASCII, so that no character set can spoil it."""
    sys.stdout.write(json.dumps(answer, indent=2, allow_nan=False) + "\n")


def complain(message: str) -> None:
    """Print one line on the error stream."""
    sys.stderr.write(plain(f"fitgraph: {message}") + "\n")


def remark(message: str) -> None:
    """Print one quiet line on the error stream."""
    screen(error=True).print(styled(message, "dim"), soft_wrap=True)


def number(value: float | None) -> float | None:
    """Return a number for JSON: null where it is not known or not finite.

    Examples
    --------
    >>> number(0.10999999999999943), number(float("-inf"))
    (0.11, None)
    """
    if value is None or not math.isfinite(value):
        return None
    return round(float(value), _DECIMALS) + 0.0


def mass_change(g: float | None) -> str:
    """Return a change of mass as people read it.

    Examples
    --------
    >>> mass_change(38.0), mass_change(-57.5), mass_change(None)
    ('+38 g', '−58 g', '?')
    """
    if g is None:
        return "?"
    sign = "+" if round(g) > 0 else "\N{MINUS SIGN}" if round(g) < 0 else "\N{PLUS-MINUS SIGN}"
    return sign + show_mass(abs(g))


def cautions_on(vocabulary: Vocabulary, topics: Iterable[str]) -> list[str]:
    """Return the cautions on topics, each once, in order; a vocabulary's own words go first."""
    from fitgraph.mechanics.cautions import CAUTIONS

    texts = {**CAUTIONS, **vocabulary.cautions}
    return [texts[topic] for topic in dict.fromkeys(topics) if topic in texts]


def caution_lines(cautions: Iterable[str]) -> list[RenderableType]:
    """Return cautions as the last lines of an answer."""
    from rich.padding import Padding

    lines: list[RenderableType] = []
    for caution in cautions:
        lines += ["", Padding(styled(caution, "italic"), (0, 0, 0, 2))]
    return lines


def terminal_width() -> int:
    """Return the columns there are."""
    return shutil.get_terminal_size().columns if sys.stdout.isatty() else PLAIN_WIDTH
