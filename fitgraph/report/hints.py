"""How an answer says where there is more: as a command, or as a call in Python."""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from pathlib import Path

from fitgraph.records import dataclass


@dataclass(frozen=True, slots=True)
class Hints:
    """What to type next.

    Parameters
    ----------
    rest : str
        Where everything is that is not shown.
    command : bool
        Whether commands are named, not calls.
    folder : Path or None
        The catalogue folder that a command has to name; None for the demo.

    Examples
    --------
    >>> Hints().ask("why", ["A", "B"])
    "shop.why('A', 'B')"
    >>> Hints("--json", True, Path("my shop")).ask("why", ["A", "B"])
    "fitgraph why --catalogue 'my shop' A B"
    """

    rest: str = "to_dict()"
    command: bool = False
    folder: Path | None = None

    def option(self, name: str) -> str:
        """Return how an option is named that asks for more."""
        return f"--{name}" if self.command else f"{name}="

    @property
    def limit(self) -> str:
        """Return how to have more listed."""
        return f"{self.option('limit')}, or {self.rest}"

    @property
    def worked(self) -> str:
        """Return how to have work done on what is bought."""
        return "--services any" if self.command else "services='any'"

    def answering(self, question: str) -> str:
        """Return how a question is answered."""
        return f"--saw {question}=..." if self.command else f".answer({question!r}, ...)"

    def ask(self, verb: str, names: Sequence[str] = ()) -> str:
        """Return what asks a further question about some parts."""
        if not self.command:
            return f"shop.{verb}({', '.join(map(repr, names))})"
        where = [] if self.folder is None else ["--catalogue", str(self.folder)]
        return shlex.join(["fitgraph", verb, *where, *names])
