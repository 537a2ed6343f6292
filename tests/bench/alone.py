"""One piece of work in a process of its own, so that its time and its memory are its own.

``python -m tests.bench.alone NAME ARGUMENTS`` prints what came out as JSON; :func:`alone` runs
that and reads it. Times are processor time; the peak of memory is the most that the process held
at any time (the resident set, with Python and numpy in it).
"""

from __future__ import annotations

import json
import resource
import subprocess
import sys
import time
from collections.abc import Callable
from typing import Any

import numpy as np

from fitgraph.model import Catalogue
from fitgraph.solve import Request, Space, TooWideError, TreeEngine
from fitgraph.solve.best import k_best
from fitgraph.solve.counting import count
from fitgraph.solve.engine import criteria_of
from fitgraph.solve.query import TENTHS, ask
from tests.bench.catalogues import measured, scaled
from tests.bench.cores import clique, ring

#: Seconds after which a piece of work is given up.
PATIENCE = 300.0

Told = dict[str, Any]


def timed(work: Callable[[], Any]) -> tuple[float, Any]:
    """Return seconds of processor time, and what came out."""
    began = time.process_time()
    found = work()
    return time.process_time() - began, found


def _catalogue(kind: str, parts: int) -> Catalogue:
    made = scaled(parts)
    return measured(made) if kind == "measured" else made


def _ready(catalogue: Catalogue) -> TreeEngine:
    engine = TreeEngine(catalogue)
    engine.space.plan(certain=True)
    return engine


def compiling(kind: str, parts: str) -> Told:
    """Compile a catalogue until the first question can be asked."""
    catalogue = _catalogue(kind, int(parts))
    seconds, engine = timed(lambda: _ready(catalogue))
    return {"seconds": seconds, "builds": str(engine.count(Request()).number)}


def picking(kind: str, parts: str) -> Told:
    """Count, and say what remains, after a pick: one in each role, each the third time asked."""
    engine = _ready(_catalogue(kind, int(parts)))
    counts, rests = [], []
    for role in engine.space.roles:
        skus = [p.sku for p in engine.catalogue.of(role)]
        for sku in skus[:: max(1, len(skus) // 7)]:
            request = Request(want=(sku,))
            if engine.count(request).number:
                counts.append(min(timed(lambda r=request: engine.count(r))[0] for _ in range(3)))
                rests.append(min(timed(lambda r=request: engine.remaining(r))[0] for _ in range(2)))
                break
    return {"counts": counts, "rests": rests}


def ranking(kind: str, parts: str, k: str) -> Told:
    """Find the cheapest under five mass limits between the lightest and the cheapest build's."""
    engine = _ready(_catalogue(kind, int(parts)))
    (cheap,) = engine.best(Request(), limit=1)
    (light,) = engine.best(Request(), sort="mass", limit=1)
    ends = [TENTHS * (b.mass_g or 0.0) for b in (light, cheap)]
    limits = [round(np.interp(share, (0, 1), ends)) for share in (0.1, 0.3, 0.5, 0.7, 0.9)]
    times = []
    for tenths in limits:
        request = Request(max_mass_g=tenths / TENTHS)
        times.append(min(timed(lambda r=request: engine.best(r, limit=int(k)))[0] for _ in "12"))
    return {"times": times}


def fronting(kind: str, parts: str) -> Told:
    """Find the exact front, and before that a coarse one."""
    engine = _ready(_catalogue(kind, int(parts)))
    ready, _ = timed(lambda: engine.first_front(Request()))  # its plan and rows are made here
    first = min(timed(lambda: engine.first_front(Request()))[0] for _ in range(3))
    seconds, builds = timed(lambda: engine.front(Request()))
    again = min(timed(lambda: engine.front(Request()))[0] for _ in range(2))
    coarse = engine.first_front(Request())
    return {
        "ready": ready,
        "first": first,
        "coarse": None if coarse is None else len(coarse),
        "seconds": min(seconds, again),
        "builds": len(builds),
    }


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
    seconds, told = timed(lambda: _counted(space))
    return {**told, "whole": seconds}


WORK: dict[str, Callable[..., Told]] = {
    w.__name__: w for w in (compiling, picking, ranking, fronting, ringing, meeting)
}


def alone(name: str, *arguments: object) -> Told:
    """Return what a piece of work tells from a process of its own, with the peak in MB.

    Parameters
    ----------
    name : str
        One of :data:`WORK`.
    *arguments
        Its arguments.

    Returns
    -------
    dict
        ``{"failed": ...}`` where it did not end well or in time.
    """
    command = [sys.executable, "-m", "tests.bench.alone", name, *map(str, arguments)]
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=PATIENCE)
    except subprocess.TimeoutExpired:
        return {"failed": f"not done after {PATIENCE:.0f} s"}
    if done.returncode:
        return {"failed": (done.stderr.strip().splitlines() or ["killed"])[-1]}
    told: Told = json.loads(done.stdout.splitlines()[-1])
    return told


def main() -> None:
    """Do what is named, and print what came out."""
    name, *arguments = sys.argv[1:]
    told = WORK[name](*arguments)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3
    print(json.dumps({**told, "megabytes": round(peak)}))


if __name__ == "__main__":
    main()
