"""What is raised where somebody asked for something that cannot be used."""

from __future__ import annotations


class InputError(ValueError):
    """Something typed or asked for that cannot be used; the message says how to mend it."""

    def _render_traceback_(self) -> list[str]:
        """Return what a notebook shows in place of a traceback."""
        return [f"{type(self).__name__}: {self}"]
