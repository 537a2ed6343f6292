"""What is raised where somebody asked for something that cannot be used."""

from __future__ import annotations


class InputError(ValueError):
    """Something typed or asked for that cannot be used; the message says how to mend it."""

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
        return f"--{self.argument.replace('_', '-')} {self.text}"
