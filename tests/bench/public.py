"""Instances that others use, counted by the engine's core beside independent counters.

The feature models are fifteen of the public collection "feature-model-benchmark" of
SoftVarE-Group. They lie beside the repository, not in it: where they are missing the bench says
so. Published figures: C. Sundermann et al., "Evaluating state-of-the-art #SAT solvers on
industrial configuration spaces", Empirical Software Engineering 28 (2023), abstract: of 130
models of 15 systems 13 systems are mastered, by sharpSAT in 2.5 s and by Ganak in 3.5 s in all.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np

from fitgraph.solve import Space
from fitgraph.solve.counting import count
from tests.bench.clauses import Clauses, read_dimacs, simplified
from tests.bench.cores import space_of
from tests.bench.counters import COUNTERS
from tests.bench.csplib import PROBLEMS
from tests.bench.groups import space_of_clauses
from tests.bench.line import Line

#: The bars: seconds and megabytes for each, and how many of the fifteen.
SECONDS, MEGABYTES, MODELS = 60.0, 2000, 13

#: Seconds after which another counter is given up.
_OTHERS = 30


def folder() -> Path:
    """Return where the models lie: beside the repository, or one above that."""
    above = Path(__file__).resolve().parents
    for place in above[3:5]:
        if (place / "shared" / "instances").is_dir():
            return place / "shared" / "instances"
    return above[3] / "shared" / "instances"


def models() -> list[Path]:
    """Return the files of the models; none where they are missing."""
    return sorted(folder().glob("*.dimacs"))


def formula_of(name: str) -> Clauses:
    """Return a model by the name of its file."""
    return read_dimacs((folder() / name).read_text(encoding="utf-8", errors="replace"))


def total(space: Space) -> int:
    """Return the number of builds of a space of roles and tables."""
    weights = {role: np.bincount(of_role).astype(float) for role, of_role in space.class_of.items()}
    return count(space.plan(certain=True), weights)


def count_formula(formula: Clauses) -> int:
    """Return the number of assignments that keep a formula, counted by the engine's core."""
    left = simplified(formula)
    if not left.possible:
        return 0
    if not left.variables:
        return 1 << left.free
    return total(space_of_clauses(left)) << left.free


def problem(name: str) -> tuple[int, int]:
    """Return a problem of :mod:`tests.bench.csplib` counted, and its published count."""
    made = PROBLEMS[name]()
    return total(space_of(made.sizes, made.tables)), made.count


Alone = Callable[..., dict[str, Any]]


def _short(name: str) -> str:
    """Return domain and system of a model, as its file is called."""
    return name.removesuffix(".dimacs").replace("_", " ")


def _took(told: dict[str, Any]) -> str:
    if "failed" in told:
        return str(told["failed"])
    return f"{told['seconds']:.2f} s, {told['megabytes']} MB"


def feature_models(alone: Alone) -> Iterator[Line]:
    """Count the public feature models, each in a process of its own, beside other counters."""
    files = models()
    if not files:
        yield Line(
            "public feature models",
            f"{MODELS} of 15 in {SECONDS:g} s and 2 GB each",
            "not measured: the models are not on this machine",
        )
        return
    reached = 0
    ours_in_all = 0.0
    in_all = dict.fromkeys(COUNTERS, 0.0)
    most = 0
    for file in files:
        told = alone("modelling", file.name)
        others = {
            name: alone("other_counting", name, file.name, patience=_OTHERS) for name in COUNTERS
        }
        numbers = {o["count"] for o in others.values() if "count" in o}
        same = "count" in told and numbers == {told["count"]}
        met = same and told["seconds"] <= SECONDS and told["megabytes"] <= MEGABYTES
        reached += met
        ours_in_all += told.get("seconds", 0.0)
        most = max(most, told.get("megabytes", 0))
        beside = []
        for name, other in others.items():
            in_all[name] += other.get("seconds", 0.0)
            if "seconds" in told and "seconds" in other:
                ratio = other["seconds"] / told["seconds"]
                beside.append(f"{name} {_took(other)}, {ratio:.2g} times as long")
            else:
                beside.append(f"{name} {_took(other)}")
        agrees = "the same digits" if same else "NOT the same, or nobody to compare with"
        digits = f"{len(told['count'])} digits, " if "count" in told else ""
        yield Line(
            f"{_short(file.name)}: number of configurations",
            f"{SECONDS:g} s, 2 GB, the same digits",
            f"{_took(told)}; {digits}{agrees}; {'; '.join(beside)}",
            met,
        )
    others_in_all = ", ".join(f"{name} {seconds:.1f} s" for name, seconds in in_all.items())
    yield Line(
        f"public feature models that are counted exactly, of {len(files)}",
        str(MODELS),
        f"{reached}; {ours_in_all:.1f} s in all, {most} MB at most; {others_in_all} "
        "(of those that ended in time)",
        reached >= MODELS,
    )


def published_counts(alone: Alone) -> Iterator[Line]:
    """Count problems whose counts are published."""
    for name in PROBLEMS:
        told = alone("publishing", name)
        published = told.get("published", "?")
        yield Line(
            f"{name} ({PROBLEMS[name]().source})",
            "the published count",
            f"{told.get('count', '')} in {_took(told)}",
            told.get("count") == published,
        )
