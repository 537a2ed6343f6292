"""``python -m fitgraph`` is the command ``fitgraph``."""

import gc


def run() -> None:
    """Run the command line; the entry point of the script ``fitgraph``."""
    gc.disable()  # while modules are loaded there is no rubbish to look for
    from fitgraph.cli.main import run

    run()


if __name__ == "__main__":
    run()
