"""The page of benchmarks: a table a section, of which some can be made anew and the rest kept."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from tests.bench.line import Line
from tests.bench.report import as_markdown

HEAD = """# Benchmarks

Made with `python -m tests.bench --write docs/benchmarks.md` (extra `bench`; `--only NAMES` makes
some sections anew); each section names the machine on which it was measured.

Times are of one thread, of processor time (which is what a watch shows where nothing else
runs), medians or the least of a few runs. Generated catalogues are those of
`tests/bench/catalogues.py`, seeded: shapes of the demo, or every part measured by itself. Where
megabytes stand in a row, that piece of work ran in a process of its own (`tests/bench/alone.py`)
and they are the most that process held, Python and numpy included. Peers run side by side on the
same catalogue: they get the options that are let in and what the joints allow; making their
models is not timed, nor is compiling ours, except where a line says so. They list ids alone;
fitgraph lists ids, price and mass. Each peer is taken at the fastest of the ways we know. CP-SAT
has the hundred cheapest one by one (five timed, and taken twenty times) or by listing all up to
the hundredth price, which fitgraph found for it, whichever is quicker. Public instances are read
and made smaller before they are counted, and all of that is in the times: of fitgraph's as of
the other counters.

{missed}
"""

FOOT = """
What the bars do not say: the peers are general solvers and take any constraint; fitgraph's
engine is made for joints between a few roles each, and is as quick as its widest clique is small
(see [the engine](engine.md)).
"""

#: What stands below the table of a section.
BELOW = {
    "growth": "![Time to compile and to count, by number of parts, both nearly flat to linear]"
    "(growth.svg)"
}


def section(name: str, title: str, lines: Sequence[Line], seconds: float, machine: str) -> str:
    """Return one section as Markdown; its name goes along in a comment, to be found again."""
    below = f"\n\n{BELOW[name]}" if name in BELOW else ""
    return (
        f"## {title}\n<!-- {name} -->\n\nMeasured in {seconds:.0f} s on {machine}\n\n"
        f"{as_markdown(lines)}{below}\n"
    )


def sections_of(page: str) -> dict[str, str]:
    """Return the sections of a page by name."""
    found = re.split(r"^(?=## )", page, flags=re.MULTILINE)[1:]
    named: dict[str, str] = {}
    for text in found:
        name = re.search(r"<!-- (\S+) -->", text)
        if name is not None:
            named[name[1]] = text.split("\nWhat the bars do not say")[0].rstrip() + "\n"
    return named


def missed(sections: Mapping[str, str]) -> str:
    """Return what to say of the bars that are missed."""
    rows = [line for text in sections.values() for line in text.splitlines()]
    cells = [[c.strip() for c in row.strip("| ").split(" | ")] for row in rows if row[:1] == "|"]
    bad = [c for c in cells if c[-1] == "NO"]
    if not bad:
        return "Every bar is met."
    told = [f"- {what}: {found}; the bar is {bar}." for what, bar, found, _ in bad]
    return "\n".join(["Bars that are missed:", "", *told])


def page(sections: Mapping[str, str]) -> str:
    """Return the whole page."""
    head = HEAD.format(missed=missed(sections))
    return "\n".join([head, *sections.values()]).rstrip() + "\n" + FOOT
