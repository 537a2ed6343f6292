"""``python -m fitgraph`` is the command ``fitgraph``."""

from fitgraph.cli.main import run

if __name__ == "__main__":
    run()
