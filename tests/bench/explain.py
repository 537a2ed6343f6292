"""How fast explanations are: ``python -m tests.bench.explain --write FILE.md``.

Combinations are drawn with a seed: so many parts of different roles, of which some do not go
together. Times are medians of processor time, which is what a watch shows where nothing else
runs. Compiling the explainer is not timed, nor is making CPMpy's model.
"""

from __future__ import annotations

import argparse
import gc
import statistics
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from cpmpy.tools.explain import marco, mus

from fitgraph.catalogue import demo_folder, load
from fitgraph.explain import Explainer
from fitgraph.explain.changes import changes
from fitgraph.explain.conflicts import minimal_conflicts, minimal_drops
from fitgraph.explain.elements import of_parts
from fitgraph.model import Catalogue, Verdict
from fitgraph.solve import Request
from tests.bench.catalogues import scaled
from tests.bench.explain_peer import PeerModel
from tests.bench.line import Line
from tests.bench.machine import machine
from tests.bench.report import as_markdown, as_text

#: The bars, in ms, and how many times faster than the peer.
DEMO_MS, LARGE_MS, TIMES = 50, 200, 500

#: Of one part of every role: questions, and the bar of the slowest in s.
EVERY_ROLE, SLOWEST_S = 40, 2.0

#: How many times as quick as `mus` each conflict and all of them have to be.
MUS_TIMES = 100

#: The roles among which most questions at a counter are asked.
ROLES = ("fork", "bar", "clamp", "kit", "headset", "deck")

PAGE = """# Benchmarks of explanations

Measured with `python -m tests.bench.explain --write docs/benchmarks-explanations.md` (extra
`test`) on {machine}

{table}

Of one part of every role, drawn blindly, each question is asked once, so nothing is remembered of
it. Of the others each question's time is the least processor time of five runs; told are the
median and the most over seeded questions. They include every minimal conflict and every
minimal change, each with its cheapest parts; the whole of `why` also judges every joint between
the parts, their grip and their share. CPMpy gets the same question as a plain model: an
option a role, a clause for every combination of classes that a joint rules out, and a soft
constraint for each pick, each absence, each "no work" and each joint. Neither compiling the
explainer nor making CPMpy's model is timed. `mus` finds one conflict, `marco` all of them and
all minimal sets to drop. [Explanations](explanations.md) says how it works, and where it ends.
"""


def least_ms(work: Callable[[], object], times: int = 5) -> float:
    """Return the least processor time, in ms: the run that others disturbed the least."""
    work()
    spent = []
    for _ in range(times):
        gc.collect()
        began = time.process_time()
        work()
        spent.append((time.process_time() - began) * 1000)
    return min(spent)


def clashing(
    catalogue: Catalogue, explainer: Explainer, parts: int, count: int, *, seed: int = 1
) -> list[list[str]]:
    """Return seeded combinations of so many parts that do not go together."""
    rng = np.random.default_rng(seed)
    roles = [r for r in ROLES if r in catalogue.vocabulary.roles]
    if parts > len(roles):
        roles = [r for r in catalogue.vocabulary.roles if catalogue.of(r)]
    found: list[list[str]] = []
    while len(found) < count:
        chosen = rng.permutation(len(roles))[:parts]
        of_role = [catalogue.of(roles[k]) for k in chosen]
        skus = [of[int(rng.integers(len(of)))].sku for of in of_role]
        if explainer.why(skus, with_changes=False).verdict is Verdict.FAILS:
            found.append(skus)
    return found


def conflicts_and_changes(explainer: Explainer, skus: list[str]) -> tuple[int, int]:
    """Return how many conflicts and changes a combination has, as ``why`` finds them."""
    chosen = explainer._named(skus, {})
    question = of_parts(explainer.space, chosen)
    possible, certain = explainer.kinds(Verdict.UNKNOWN), explainer.kinds(Verdict.FITS)
    conflicts = minimal_conflicts(possible, question, Verdict.FAILS)
    drops = minimal_drops(certain, question)
    return len(conflicts), len(changes(certain, question, drops, chosen))


def spread_line(
    name: str,
    catalogue: Catalogue,
    parts: int,
    bar: int | None,
    count: int,
    *,
    slowest: bool = False,
) -> Line:
    """Measure combinations of so many parts; the bar is of the median, or of the slowest."""
    explainer = Explainer(catalogue)
    explainer.kinds(Verdict.FITS)
    times, whole, found = [], [], []
    for skus in clashing(catalogue, explainer, parts, count):
        found.append(conflicts_and_changes(explainer, skus))
        times.append(least_ms(lambda skus=skus: conflicts_and_changes(explainer, skus)))
        whole.append(least_ms(lambda skus=skus: explainer.why(skus)))
    median, worst = statistics.median(times), max(times)
    most = [max(column) for column in zip(*found, strict=True)]
    return Line(
        f"{name}: all conflicts and changes of {parts} parts that clash ({count} questions)",
        "" if bar is None else f"slowest {bar} ms" if slowest else f"{bar} ms",
        f"{median:.0f} ms, at most {worst:.0f} ms, for up to {most[0]} conflicts and {most[1]} "
        f"changes; the whole of `why` {statistics.median(whole):.0f} ms",
        None if bar is None else (worst if slowest else median) <= bar,
    )


def every_role_line(catalogue: Catalogue, count: int, *, seed: int = 16) -> Line:
    """Measure `why` of one part of every role, each question asked once."""
    explainer = Explainer(catalogue)
    for verdict in (Verdict.FITS, Verdict.UNKNOWN):
        explainer.kinds(verdict).network  # noqa: B018 - compiled here
    rng = np.random.default_rng(seed)
    roles = [r for r in catalogue.vocabulary.roles if catalogue.of(r)]
    times, conflicts, changed, whole = [], 0, 0, 0
    for _ in range(count):
        of_role = [catalogue.of(roles[k]) for k in rng.permutation(len(roles))]
        skus = [of[int(rng.integers(len(of)))].sku for of in of_role]
        gc.collect()
        began = time.process_time()
        told = explainer.why(skus)
        times.append(time.process_time() - began)
        conflicts = max(conflicts, len(told.minimal_conflicts))
        changed = max(changed, len(told.changes))
        whole += told.complete
    return Line(
        f"demo, 340 parts: `why` of {len(roles)} parts, one of every role ({count} questions)",
        f"slowest {SLOWEST_S:.0f} s",
        f"{statistics.median(times):.2f} s, at most {max(times):.2f} s, for up to {conflicts} "
        f"conflicts and {changed} changes; {whole} of {count} answers are complete",
        max(times) <= SLOWEST_S,
    )


def request_line(name: str, catalogue: Catalogue, request: Request) -> Line:
    """Measure one request with limits and filters."""
    explainer = Explainer(catalogue)
    told = explainer.explain(request)
    spent = least_ms(lambda: explainer.explain(request))
    return Line(
        f"{name}: a request with a budget, a material and stock",
        "",
        f"{spent:.0f} ms; {len(told.conflicts)} conflicts and {len(told.changes)} changes",
    )


def peer_lines(parts_a_role: int, parts: int, patience_s: float) -> list[Line]:
    """Measure CPMpy's tools on the first question of a catalogue."""
    catalogue = scaled(parts_a_role, 12)
    explainer = Explainer(catalogue)
    explainer.kinds(Verdict.FITS)
    (skus,) = clashing(catalogue, explainer, parts, 1)
    told = explainer.why(skus)
    ours = least_ms(lambda: conflicts_and_changes(explainer, skus))
    each = ours / len(told.minimal_conflicts)
    model = PeerModel(catalogue, {catalogue.parts[s].role: s for s in skus}, Verdict.UNKNOWN)
    began = time.process_time()
    mus(model.soft, model.hard)
    one = time.process_time() - began
    began, found, done = time.process_time(), 0, True
    for kind, _ in marco(model.soft, model.hard):
        found += kind == "MUS"
        if time.process_time() - began > patience_s:
            done = False
            break
    every = time.process_time() - began
    times = f"{every * 1000 / ours:,.0f} times as long"
    name = f"{parts_a_role} parts a role, {parts} parts named"
    stopped = "" if done else f", stopped with {found} of them found"
    return [
        Line(
            f"{name}: fitgraph, all {len(told.minimal_conflicts)} conflicts and "
            f"{len(told.changes)} changes",
            "",
            f"{ours:.1f} ms",
        ),
        Line(
            f"{name}: CPMpy mus, one conflict",
            f"{MUS_TIMES} times",
            f"{one:.2f} s, {one * 1000 / ours:,.0f} times as long as all of ours, "
            f"{one * 1000 / each:,.0f} times as long as each of them",
            one * 1000 / ours >= MUS_TIMES,
        ),
        Line(
            f"{name}: CPMpy marco, all of them{stopped}",
            f"{TIMES} times",
            f"{'' if done else 'more than '}{every:.1f} s, {times}",
            every * 1000 / ours >= TIMES,
        ),
    ]


def main() -> None:
    """Measure, print, and write if asked."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.explain", description=__doc__)
    parser.add_argument("--patience", type=float, default=120, help="seconds for marco")
    parser.add_argument("--questions", type=int, default=12)
    parser.add_argument("--write", type=Path, help="Markdown file")
    given = parser.parse_args()
    print(machine())
    lines: list[Line] = []

    def tell(*more: Line) -> None:
        for line in more:
            print(as_text(line), flush=True)
            lines.append(line)

    demo = load(demo_folder()).catalogue
    large = scaled(1000, 12)
    for parts in (2, 3, 5):
        tell(spread_line("demo, 340 parts", demo, parts, DEMO_MS, given.questions))
    tell(spread_line("demo, 340 parts", demo, 9, None, given.questions))
    for parts in (2, 3, 5):
        tell(spread_line("1,000 parts a role", large, parts, LARGE_MS, given.questions))
    tell(spread_line("1,000 parts a role", large, 9, LARGE_MS, given.questions, slowest=True))
    tell(every_role_line(demo, EVERY_ROLE))
    titanium = Request(have=("FORK-VEN-04",), material="titanium", budget=30000, in_stock=True)
    tell(request_line("demo, 340 parts", demo, titanium))
    tell(*peer_lines(40, 3, given.patience))
    if given.write:
        page = PAGE.format(machine=machine(), table=as_markdown(lines))
        given.write.write_text(page, encoding="utf-8")


if __name__ == "__main__":
    main()
