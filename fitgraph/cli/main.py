"""The entry point: one app, one command a module, and no traceback for anybody."""

from __future__ import annotations

import gc
import os
import shlex
import sys
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from fitgraph import __version__
from fitgraph.cli.fitting import builds, compare, exchange, why
from fitgraph.cli.graph import graph
from fitgraph.cli.house import check, tour
from fitgraph.cli.import_ import import_
from fitgraph.cli.knowing import advise, identify, measure
from fitgraph.cli.notebooks import lab
from fitgraph.cli.output import BAD_INPUT, STOPPED, complain
from fitgraph.cli.stocking import adapters, gaps, restock
from fitgraph.errors import ArgumentError, InputError

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


class PlainGroup(TyperGroup):
    """A group of commands whose errors end as one clear line."""

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
                raise  # typer's own: a usage error, or the end of a command
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
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)
for command in (
    builds,
    why,
    exchange,
    measure,
    identify,
    compare,
    advise,
    gaps,
    restock,
    adapters,
    graph,
    check,
    tour,
    lab,
):
    app.command()(command)
app.command("import")(import_)


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
    """Run the command line; the entry point of the script ``fitgraph``."""
    # numpy's threads wait busily, and no product of matrices here is large enough for a second.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # What a command imports and reads stays until it ends: looking for rubbish among it as often
    # as Python does by default finds none, and takes a tenth of the time.
    gc.freeze()
    gc.set_threshold(50_000, 20, 50)
    for stream in (sys.stdout, sys.stderr):
        # A terminal without a character for ± gets a question mark, not a traceback.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    try:
        app(prog_name="fitgraph")
    except KeyboardInterrupt:
        complain("stopped")
        sys.exit(STOPPED)
