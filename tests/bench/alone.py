"""One piece of work in a process of its own, so that its time and its memory are its own.

``python -m tests.bench.alone SECONDS NAME ARGUMENTS`` prints what came out as JSON;
:func:`alone` runs that and reads it. Times are processor time; the peak of memory is the most
that the process held at any time (the resident set, with Python and numpy in it). What cannot be
done is told as ``{"refused": ...}`` where the engine says so in words, ``{"failed": ...}``
otherwise.
"""

from __future__ import annotations

import json
import resource
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from fitgraph.catalogue import Loaded, demo_folder, load
from fitgraph.model import Catalogue
from fitgraph.solve import Request, Space, TooWideError, TreeEngine
from fitgraph.solve.best import k_best
from fitgraph.solve.counting import count
from fitgraph.solve.engine import criteria_of
from fitgraph.solve.estimate import sample_sums
from fitgraph.solve.query import TENTHS, ask
from tests.bench.catalogues import ROLES, measured, scaled
from tests.bench.cores import clique, ring

#: Seconds of processor time after which a piece of work is given up, and how many times as many
#: by the clock on the wall.
PATIENCE, _WALL = 60, 5

Told = dict[str, Any]


def timed(work: Callable[[], Any]) -> tuple[float, Any]:
    """Return seconds of processor time, and what came out."""
    began = time.process_time()
    found = work()
    return time.process_time() - began, found


#: Work shorter than this, in seconds, is done so many times in a row: a kernel that watches a
#: process's time for a limit may count it by ticks.
_TICK, _IN_A_ROW = 0.02, 20


def least(work: Callable[[], Any], seconds: float = 0.5) -> float:
    """Return the least processor time of some runs: three, or fewer where they take long."""
    times: list[float] = []
    while len(times) < 3 and sum(times) < seconds:
        times.append(timed(work)[0])
    if min(times) > _TICK:
        return min(times)
    rows = (timed(lambda: [work() for _ in range(_IN_A_ROW)])[0] for _ in range(3))
    return min(rows) / _IN_A_ROW


def megabytes() -> int:
    """Return the most that this process has held so far."""
    status = Path("/proc/self/status")
    if status.exists():  # a new process starts with its parent's peak in getrusage
        (peak,) = (x for x in status.read_text().splitlines() if x.startswith("VmHWM"))
        return round(int(peak.split()[1]) * 1.024e-3)
    return round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3)


def _catalogue(kind: str, parts: int) -> Catalogue:
    if kind == "demo":
        return load(demo_folder()).catalogue
    made = scaled(parts, len(ROLES)) if kind == "whole" else scaled(parts)
    return made if kind == "shapes" else measured(made)


def _ready(catalogue: Catalogue) -> TreeEngine:
    engine = TreeEngine(catalogue)
    engine.space.plan(certain=True)
    return engine


def compiling(kind: str, parts: str) -> Told:
    """Compile a catalogue until the first question can be asked."""
    catalogue = _catalogue(kind, int(parts))
    seconds, engine = timed(lambda: _ready(catalogue))
    told: Told = {"seconds": seconds, "megabytes": megabytes()}
    return {**told, "builds": f"{engine.count(Request()).number:.1e}"}


#: Seconds of picks in all, after which no further role is asked.
_PICKS = 20.0


def _picks(engine: TreeEngine) -> Iterator[Request]:
    """Yield requests for one part, of a role each, that has a build; as long as there is time."""
    began = time.process_time()
    for role in engine.space.roles:
        skus = [p.sku for p in engine.catalogue.of(role)]
        for sku in skus[:: max(1, len(skus) // 7)]:
            request = Request(want=(sku,))
            if engine.count(request).number:
                yield request
                break
        if time.process_time() - began > _PICKS:
            break


def picking(kind: str, parts: str) -> Told:
    """Count after a pick: one in each role, the least of a few times."""
    engine = _ready(_catalogue(kind, int(parts)))
    first, _ = timed(lambda: engine.count(Request()))
    times = [least(lambda r=r: engine.count(r)) for r in _picks(engine)]
    return {"times": times, "first": first}


def remaining(kind: str, parts: str) -> Told:
    """Say what remains after a pick: which, and how many builds with each."""
    engine = _ready(_catalogue(kind, int(parts)))
    first, _ = timed(lambda: engine.remaining(Request()))  # once a catalogue, for all later ones
    which, rests = [], []
    for request in _picks(engine):
        which.append(least(lambda r=request: engine.possible(r)))
        rests.append(least(lambda r=request: engine.remaining(r)))
    return {"which": which, "rests": rests, "first": first}


def _mass_limits(engine: TreeEngine) -> list[int]:
    """Return five limits, in tenths of a gram, between the lightest and the cheapest build."""
    (cheap,) = engine.best(Request(), limit=1)
    (light,) = engine.best(Request(), sort="mass", limit=1)
    ends = [TENTHS * (b.mass_g or 0.0) for b in (light, cheap)]
    return [round(np.interp(share, (0, 1), ends)) for share in (0.1, 0.3, 0.5, 0.7, 0.9)]


def ranking(kind: str, parts: str, k: str) -> Told:
    """Find the cheapest under five mass limits between the lightest and the cheapest build's."""
    engine = _ready(_catalogue(kind, int(parts)))
    limits = _mass_limits(engine)
    requests = [Request(max_mass_g=tenths / TENTHS) for tenths in limits]
    times = [least(lambda r=r: engine.best(r, limit=int(k))) for r in requests]
    cheapest = [engine.best(r, limit=1)[0].price for r in requests]
    return {"times": times, "limits": limits, "cheapest": cheapest}


def solving(kind: str, parts: str, *limits: str) -> Told:
    """Find the one cheapest build under mass limits with CP-SAT."""
    from tests.bench.peers import cp_sat_cheapest, task_of

    task = task_of(ask(_ready(_catalogue(kind, int(parts))).space, Request()))
    found = [cp_sat_cheapest(task, int(tenths), 30.0) for tenths in limits]
    return {
        "times": [f.seconds for f in found],
        "cheapest": [f.prices[0] if f.prices else None for f in found],
        "proved": [f.proved for f in found],
    }


def fronting(kind: str, parts: str) -> Told:
    """Find the exact front, and before that a coarse one."""
    engine = _ready(_catalogue(kind, int(parts)))
    ready, _ = timed(lambda: engine.first_front(Request()))  # its rows are made here
    first = least(lambda: engine.first_front(Request()))
    seconds, builds = timed(lambda: engine.front(Request()))
    if seconds < 5:
        seconds = min(seconds, least(lambda: engine.front(Request()), 5.0))
    coarse = engine.first_front(Request())
    return {
        "ready": ready,
        "first": first,
        "coarse": len(coarse),
        "seconds": seconds,
        "builds": len(builds),
    }


def limiting(kind: str, parts: str) -> Told:
    """Count under both limits, from few of the builds to most of them."""
    engine = _ready(_catalogue(kind, int(parts)))
    query = ask(engine.space, Request())
    sums = sample_sums(query, 20_000, np.random.default_rng(3), certain=True)
    engine.count(Request())
    engine.count(Request(budget=int(np.quantile(sums[0], 0.3))))  # libraries are loaded by that
    times, widths, exact = [], [], 0
    for q in (0.0, 0.01, 0.1, 0.25, 0.5, 0.75, 0.95):
        request = Request(
            budget=int(np.quantile(sums[0], q)) if q else int(sums[0].min() * 0.6),
            max_mass_g=float(np.quantile(sums[1], max(q, 0.3))) / TENTHS,
        )
        times.append(least(lambda r=request: engine.count(r)))
        counted = engine.count(request)
        exact += counted.exact
        if not counted.exact and counted.number:
            widths.append((counted.most - counted.least) / 2 / counted.number)
    return {"times": times, "widths": widths, "exact": exact}


def gapping(parts: str, enquiries: str) -> Told:
    """Answer a shop's enquiries from stock, find what is stranded, and what hangs on what.

    The enquiries own parts of builds of the same catalogue before its parts were measured; then
    each part's figures are its own, and one in twenty is in stock.
    """
    from fitgraph.shop.front import Shop
    from tests.bench.stock import enquiries_for

    made = scaled(int(parts) // 12)
    asked = enquiries_for(TreeEngine(made), int(enquiries))
    catalogue = measured(made)
    rng = np.random.default_rng(0)
    held = {s: replace(p, stock=int(rng.random() < 0.05)) for s, p in catalogue.parts.items()}
    shelf = replace(
        catalogue,
        parts=held,
        by_role={r: tuple(held[p.sku] for p in of) for r, of in catalogue.by_role.items()},
        enquiries=asked,
    )
    shop = Shop(Loaded(shelf, ()))
    seconds, answer = timed(lambda: shop.gaps())
    return {"seconds": seconds, "enquiries": len(asked), "kind": type(answer).__name__}


def _counted(space: Space) -> Told:
    """Count a space's builds and find the ten cheapest, or say why not."""
    query = ask(space, Request())

    def work() -> int:
        return count(space.plan(certain=True), query.weights(query.lets))

    try:
        seconds, number = timed(work)
    except TooWideError as refused:
        return {"refused": str(refused)}
    best, (_, costs) = timed(
        lambda: k_best(
            space.plan(certain=True),
            space.class_of,
            query.mask(certain=True),
            criteria_of(query, "price"),
            10,
        )
    )
    return {"seconds": seconds, "best": best, "builds": str(number), "found": len(costs)}


def ringing(roles: str, parts: str) -> Told:
    """Count a ring, and find the ten cheapest."""
    return _counted(ring(int(roles), int(parts)))


def meeting(roles: str, parts: str) -> Told:
    """Count a clique, or be refused."""
    space = clique(int(roles), int(parts))
    query = ask(space, Request())
    began = time.process_time()
    try:
        number = count(space.plan(certain=True), query.weights(query.lets))
    except TooWideError as refused:
        return {"refused": str(refused), "seconds": time.process_time() - began}
    return {"seconds": time.process_time() - began, "builds": str(number)}


def modelling(name: str) -> Told:
    """Count a public feature model."""
    from tests.bench.public import count_formula, formula_of

    formula = formula_of(name)
    seconds, number = timed(lambda: count_formula(formula))
    return {"seconds": seconds, "count": str(number)}


def other_counting(counter: str, name: str) -> Told:
    """Count a public feature model with another counter."""
    from tests.bench.counters import COUNTERS
    from tests.bench.public import formula_of

    sys.setrecursionlimit(100_000)
    formula = formula_of(name)
    seconds, number = timed(lambda: COUNTERS[counter](formula))
    return {"seconds": seconds, "count": str(number)}


def publishing(name: str) -> Told:
    """Count a problem whose count is published."""
    from tests.bench.public import problem

    seconds, (number, published) = timed(lambda: problem(name))
    return {"seconds": seconds, "count": str(number), "published": str(published)}


WORK: dict[str, Callable[..., Told]] = {
    w.__name__: w
    for w in (
        compiling,
        picking,
        remaining,
        ranking,
        solving,
        fronting,
        limiting,
        gapping,
        ringing,
        meeting,
        modelling,
        other_counting,
        publishing,
    )
}


def alone(name: str, *arguments: object, patience: int = PATIENCE) -> Told:
    """Return what a piece of work tells from a process of its own, with the peak in MB.

    Parameters
    ----------
    name : str
        One of :data:`WORK`.
    *arguments
        Its arguments.
    patience : int
        Seconds of processor time after which it is given up.

    Returns
    -------
    dict
        ``{"failed": ...}`` where it did not end well or in time.
    """
    command = [sys.executable, "-m", "tests.bench.alone", str(patience), name]
    command += map(str, arguments)
    late: Told = {"failed": f"not done after {patience} s"}
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=_WALL * patience)
    except subprocess.TimeoutExpired:
        return late
    lines = done.stdout.splitlines()
    if done.returncode == -signal.SIGXCPU:
        return late
    if done.returncode or not lines:
        return {"failed": (done.stderr.strip().splitlines() or ["killed"])[-1]}
    told: Told = json.loads(lines[-1])
    return told


def main() -> None:
    """Do what is named, and print what came out."""
    patience, name, *arguments = sys.argv[1:]
    resource.setrlimit(resource.RLIMIT_CPU, (int(patience), int(patience) + 5))
    began = time.process_time()
    try:
        told = WORK[name](*arguments)
    except TooWideError as refused:
        told = {"refused": str(refused), "seconds": time.process_time() - began}
    print(json.dumps({"megabytes": megabytes(), **told}))


if __name__ == "__main__":
    main()
