"""What is raised where somebody asked for something that cannot be used."""

from __future__ import annotations

import re

#: Letters from which on a word or a quoted text is cut in a message; paths are shorter.
_LONGEST = 200
#: What is shown of it.
_HEAD, _TAIL = 60, 20

_LONG_QUOTED = re.compile(
    rf"(?<!\w)(['\"])((?:\\.|(?!\1)[^\\\n]){{{_LONGEST},}})\1(?!\w)"  # as repr writes it
)
_LONG_WORD = re.compile(rf"[^\s/\\]{{{_LONGEST},}}")  # a path stays whole


def _cut(text: str) -> str:
    return f"{text[:_HEAD]}…{text[-_TAIL:]}"


def brief(message: str) -> str:
    """Return a message in which no word and no quoted text goes on for pages.

    Examples
    --------
    >>> told = brief(f"'{'a b ' * 2000}' is no mass")
    >>> len(told), told[:6], told[-16:]
    (94, "'a b a", "a b ' is no mass")
    """
    if len(message) < _LONGEST:
        return message
    quoted = _LONG_QUOTED.sub(lambda m: m[1] + _cut(m[2]) + m[1], message)
    return _LONG_WORD.sub(lambda m: _cut(m[0]), quoted)


def handed(value: object) -> str:
    """Return what a program handed in as a message tells it: whole, or its kind if it is large.

    Examples
    --------
    >>> handed("4 mm"), handed(2.5), handed([[1, 2]] * 40)
    ("'4 mm'", '2.5', 'a value of type list')
    """
    try:
        text = repr(value)
    except Exception:  # whatever its own code does
        text = ""
    if text and (isinstance(value, str) or (len(text) <= _HEAD and text.isprintable())):
        return text
    return f"a value of type {type(value).__name__}"


class InputError(ValueError):
    """Something typed or asked for that cannot be used; the message says how to mend it.

    What was typed may be long; the message shows its two ends.

    Examples
    --------
    >>> import fitgraph
    >>> try:
    ...     fitgraph.open().why("FORK-VEN-40", "BAR-CUL-05")
    ... except fitgraph.InputError as error:
    ...     print(error)
    no part has the stock number 'FORK-VEN-40'; did you mean FORK-VEN-08, FORK-VEN-07, FORK-VEN-06?
    """

    def __str__(self) -> str:
        return brief(super().__str__())

    def _render_traceback_(self) -> list[str]:
        """Return what a notebook shows in place of a traceback."""
        return [f"{type(self).__name__}: {self}"]


class ArgumentError(InputError):
    """An argument that cannot be used.

    Parameters
    ----------
    argument : str
        Its name in Python; an option of a command is spelt ``--like-this``.
    text : str
        Its value, what is wrong with it and how to mend it.

    Examples
    --------
    >>> error = ArgumentError("max_mass_g", "'4 mm' is no mass")
    >>> str(error), error.as_option
    ("max_mass_g '4 mm' is no mass", "--max-mass-g '4 mm' is no mass")
    """

    def __init__(self, argument: str, text: str) -> None:
        self.argument = argument
        self.text = text
        super().__init__(f"{argument} {text}")

    @property
    def as_option(self) -> str:
        """Return the message as a command tells it."""
        return brief(f"--{self.argument.replace('_', '-')} {self.text}")
