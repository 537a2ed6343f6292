"""The samples of what commands print, in docs/commands.md: made anew, or looked at by a test.

A sample is a block that begins with ``$ fitgraph``. It shows the first lines of what the command
prints on the demo; ``...`` at its end says that more follows. Run from a checkout::

    python -m tests.samples

It writes every sample anew, each as long as it was where it ended in ``...``.
"""

from __future__ import annotations

import re
import shlex
from pathlib import Path

from typer.testing import CliRunner

from fitgraph.cli.main import app

PAGE = Path(__file__).resolve().parents[1] / "docs" / "commands.md"

#: What stands at the end of a sample that leaves lines out.
MORE = "..."

_SAMPLE = re.compile(
    r"^```(?P<language>\w+)\n\$ (?P<command>fitgraph .*)\n(?P<shown>[^`]*)^```$", re.M
)


def samples(page: str) -> dict[str, str]:
    """Return what a page shows of each command."""
    return {found["command"]: found["shown"] for found in _SAMPLE.finditer(page)}


def printed(command: str) -> str:
    """Return what a command prints, run in this process."""
    return CliRunner().invoke(app, shlex.split(command)[1:]).stdout


def shortened(text: str, shown: str) -> str:
    """Return what a command prints, cut where its sample is."""
    lines = text.strip("\n").splitlines()
    before = shown.splitlines()
    if before and before[-1] == MORE:
        lines = [*lines[: len(before) - 1], MORE]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def main() -> None:
    """Write every sample anew."""

    def renewed(found: re.Match[str]) -> str:
        text = shortened(printed(found["command"]), found["shown"])
        return f"```{found['language']}\n$ {found['command']}\n{text}```"

    page = PAGE.read_text(encoding="utf-8")
    PAGE.write_text(_SAMPLE.sub(renewed, page), encoding="utf-8")


if __name__ == "__main__":
    main()
