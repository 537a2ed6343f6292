"""The entry point: one app, one command a module, and no traceback for anybody."""

from __future__ import annotations

import gc
import importlib
import os
import shlex
import sys
from collections.abc import Iterator, Mapping
from keyword import iskeyword
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from fitgraph import __version__
from fitgraph.cli.output import BAD_INPUT, STOPPED, complain
from fitgraph.errors import ArgumentError, InputError, brief
from fitgraph.plain import plain

#: Exit code where fitgraph itself is at fault.
FAULT = 70

#: Set to anything, it lets a fault of fitgraph itself print its traceback.
TRACEBACK = "FITGRAPH_TRACEBACK"


def _line_for(error: Exception) -> str | None:
    """Return the one line that says what to mend; None for a fault of fitgraph itself."""
    if isinstance(error, ArgumentError):
        return error.as_option
    if isinstance(error, InputError):
        first, *more = getattr(error, "findings", ()) or (error,)
        folder = getattr(error, "folder", None)
        where = "" if folder is None else f" --catalogue {shlex.quote(str(folder))}"
        rest = f" ({len(more)} more: fitgraph check{where})" if more else ""
        return f"{first}{rest}"
    if isinstance(error, OSError):
        reason = error.strerror or str(error)
        return f"{error.filename}: {reason}" if error.filename else reason
    return None


#: The commands, in the order in which help lists them, and the module of each.
_COMMANDS: Mapping[str, str] = {
    "builds": "fitting",
    "why": "fitting",
    "exchange": "fitting",
    "measure": "knowing",
    "identify": "knowing",
    "compare": "fitting",
    "advise": "knowing",
    "gaps": "stocking",
    "restock": "stocking",
    "adapters": "stocking",
    "graph": "graph",
    "check": "house",
    "tour": "house",
    "lab": "notebooks",
    "import": "import_",
}

#: How every one of them is read.
_SETTINGS: dict[str, Any] = {
    "add_completion": False,
    "rich_markup_mode": None,
    "pretty_exceptions_enable": False,
}


class _Commands(Mapping[str, Any]):
    """Commands by their names, each loaded and its options read when it is first asked for."""

    def __init__(self) -> None:
        self.read: dict[str, Any] = {}

    def __getitem__(self, name: str) -> Any:
        if name not in self.read:
            module = importlib.import_module(f"fitgraph.cli.{_COMMANDS[name]}")
            alone = typer.Typer(**_SETTINGS)
            alone.command(name)(getattr(module, f"{name}_" if iskeyword(name) else name))
            self.read[name] = typer.main.get_command(alone)
        return self.read[name]

    def __iter__(self) -> Iterator[str]:
        return iter(_COMMANDS)

    def __len__(self) -> int:
        return len(_COMMANDS)


class PlainGroup(TyperGroup):
    """The group of all commands, whose errors end as one clear line."""

    def __init__(self, **settings: Any) -> None:
        super().__init__(**settings)
        self.commands = _Commands()  # type: ignore[assignment]  # only read

    def invoke(self, ctx: Any) -> Any:
        """Run the command that was asked for."""
        try:
            return super().invoke(ctx)
        except KeyboardInterrupt:
            complain("stopped")
            raise typer.Exit(STOPPED) from None
        except BrokenPipeError:
            # Whoever read the answer has had enough of it; Python would complain at the end.
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            raise typer.Exit(0) from None
        except Exception as error:
            if hasattr(error, "exit_code") or isinstance(error, typer.Abort):
                # Typer's own: the end of a command, or a usage error, which tells what was typed.
                if isinstance(message := getattr(error, "message", None), str):
                    error.message = brief(plain(message))  # type: ignore[attr-defined]
                raise
            line = _line_for(error)
            if line is not None:
                complain(line)
                raise typer.Exit(BAD_INPUT) from None
            if TRACEBACK in os.environ:
                raise
            complain(
                f"a fault in fitgraph itself ({type(error).__name__}: {error}); "
                f"run it again with {TRACEBACK}=1 and report what it prints"
            )
            raise typer.Exit(FAULT) from None


app = typer.Typer(
    name="fitgraph",
    cls=PlainGroup,
    help="Which parts fit together, why the rest do not, and what would change that.",
    epilog="Exit codes: 0 an answer, 1 no, 2 bad input.",
    no_args_is_help=True,
    context_settings={"help_option_names": ["-h", "--help"]},
    **_SETTINGS,
)


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"fitgraph {__version__}")
        raise typer.Exit


@app.callback()
def fitgraph(
    version: Annotated[
        bool,
        typer.Option(
            "--version", callback=_version, is_eager=True, help="Print the version and stop."
        ),
    ] = False,
) -> None:
    """Which parts fit together, why the rest do not, and what would change that."""


def run() -> None:
    """Run the command line."""
    # numpy's threads wait busily, and no product of matrices here is large enough for a second.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # What a command imports and reads stays until it ends: looking for rubbish among it as often
    # as Python does by default finds none, and takes a tenth of the time.
    gc.freeze()
    gc.set_threshold(500_000, 20, 50)
    gc.enable()
    for stream in (sys.stdout, sys.stderr):
        # A terminal without a character for ± gets a question mark, not a traceback.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    app(prog_name="fitgraph")
