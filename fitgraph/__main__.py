"""``python -m fitgraph`` is the command ``fitgraph``."""

import contextlib
import gc
import os
import sys
import threading

#: Exit code of a command that was stopped; a shell's own for it.
_STOPPED = 130


def run() -> None:
    """Run the command line; the entry point of the script ``fitgraph``."""
    gc.disable()  # while modules are loaded there is no rubbish to look for
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:  # it was closed by whoever started this: nobody reads it
            setattr(sys, name, open(os.devnull, mode))  # noqa: SIM115 (as long as Python runs)
    try:
        try:
            from fitgraph.cli.main import run

            run()
        except KeyboardInterrupt:  # perhaps while modules are still loaded
            print("fitgraph: stopped", file=sys.stderr)
            sys.exit(_STOPPED)
    except SystemExit as end:
        # Python would free every object by itself, which takes a tenth of a short command.
        if isinstance(end.code, int) and threading.active_count() == 1:
            with contextlib.suppress(OSError):  # nobody reads on: Python knows what to do
                sys.stdout.flush()
                sys.stderr.flush()
                os._exit(end.code)
        raise


if __name__ == "__main__":
    run()
