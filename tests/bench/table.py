"""Bars on catalogues and cores, each piece of work measured in a process of its own.

A refusal of the engine is a row as well, and does not reach its bar; nor does what failed.
"""

from __future__ import annotations

import statistics
from collections.abc import Callable, Iterator
from typing import Any

from tests.bench.alone import alone
from tests.bench.line import Line

Told = dict[str, Any]

#: Characters of a refusal that a row shows.
_SHOWN = 100


def ms(seconds: float) -> str:
    """Return seconds as milliseconds with digits that mean something."""
    return f"{seconds * 1000:.3g} ms" if seconds < 0.1 else f"{seconds * 1000:,.0f} ms"


def _row(
    what: str, bar: str, told: Told, found: Callable[[Told], str], met: Callable[[Told], bool]
) -> Line:
    """Return a row; that of a refusal or a failure where there is one."""
    if "refused" in told:
        words = str(told["refused"])
        cut = words if len(words) <= _SHOWN else words[:_SHOWN].rsplit(" ", 1)[0] + " ..."
        return Line(what, bar, f"refused after {told.get('seconds', 0.0):.2g} s: {cut}", False)
    if "failed" in told:
        return Line(what, bar, f"failed: {told['failed']}".replace("|", "/"), False)
    return Line(what, bar, found(told), met(told))


def _spread(seconds: list[float]) -> str:
    return f"{ms(statistics.median(seconds))} (slowest of {len(seconds)} {ms(max(seconds))})"


#: Parts a role, and the bars to compile them when each is measured: seconds and MB.
_COMPILED = {80: (0.3, 200), 200: (2.0, 500), 1000: (30.0, 2000)}

#: Seconds of processor time that work on many measured parts may take in all.
_PATIENT = 150

#: Parts a role, and the bars to count after a pick and to tell what remains, in seconds.
_PICKED = {200: (0.010, 0.050), 1000: (0.100, 0.500)}


def measured_parts() -> Iterator[Line]:
    """Compile catalogues of which every part was measured by itself, and ask after a pick."""
    for parts, (seconds, megabytes) in _COMPILED.items():
        yield _row(
            f"compile {parts:,} parts a role, each measured",
            f"{seconds:g} s, {megabytes:,} MB",
            alone("compiling", "measured", parts, patience=_PATIENT),
            lambda t: f"{t['seconds']:.2f} s, {t['megabytes']} MB; {t['builds']} builds",
            lambda t, s=seconds, m=megabytes: t["seconds"] <= s and t["megabytes"] <= m,
        )
    for parts, (counted, rest) in _PICKED.items():
        yield _row(
            f"exact count after a pick, {parts:,} parts a role, each measured",
            ms(counted),
            alone("picking", "measured", parts, patience=_PATIENT),
            lambda t: (
                f"{_spread(t['times'])}, {t['megabytes']} MB; the first count {t['first']:.1f} s"
            ),
            lambda t, bar=counted: statistics.median(t["times"]) <= bar,
        )
        told = alone("remaining", "measured", parts, patience=_PATIENT)
        for key, what in (("which", "which"), ("rests", "how many builds with each, exactly")):
            yield _row(
                f"what remains after a pick, {what}: {parts:,} parts a role, each measured",
                ms(rest),
                told,
                lambda t, key=key: (
                    f"{_spread(t[key])}, {t['megabytes']} MB; before that, once a catalogue, "
                    f"{t['first']:.1f} s"
                ),
                lambda t, key=key, bar=rest: statistics.median(t[key]) <= bar,
            )
    for parts in (120, 200):
        yield _row(
            f"all sixteen roles, where liners tie nests of five rings: {parts} parts a role, "
            "each measured: first count",
            "2 GB (no time asked)",
            alone("picking", "whole", parts, patience=_PATIENT),
            lambda t: (
                f"{t['first']:.1f} s, {t['megabytes']} MB; after a pick {_spread(t['times'])}"
            ),
            lambda t: t["megabytes"] <= 2000,
        )


def cores() -> Iterator[Line]:
    """Count rings of roles and find their cheapest, and a clique."""
    for roles, parts in ((4, 230), (6, 400), (12, 100)):
        yield _row(
            f"ring of {roles} roles with {parts} parts: count, and the 10 cheapest",
            "2 s, 500 MB each",
            alone("ringing", roles, parts),
            lambda t: (
                f"count {ms(t['seconds'])}, cheapest {ms(t['best'])}, {t['megabytes']} MB; "
                f"{int(t['builds']):.1e} builds"
            ),
            lambda t: max(t["seconds"], t["best"]) <= 2 and t["megabytes"] <= 500,
        )
    told = alone("meeting", 12, 10)
    soon = "refused" in told and told["seconds"] <= 1
    line = _row(
        "clique of 12 roles with 10 parts, loosely tied: count",
        "20 s, 2 GB, or refused within 1 s",
        told,
        lambda t: f"{t['seconds']:.1f} s, {t['megabytes']} MB; {int(t['builds']):.1e} builds",
        lambda t: t["seconds"] <= 20 and t["megabytes"] <= 2000,
    )
    yield Line(line.what, line.bar, line.found, line.met or soon)


def ranked() -> Iterator[Line]:
    """Find the 100 cheapest of measured parts under mass limits, beside CP-SAT's one."""
    told = alone("ranking", "measured", 200, 100)
    what = "the 100 cheapest under a mass limit, 200 parts a role, each measured"
    yield _row(
        what,
        ms(0.2),
        told,
        lambda t: f"{_spread(t['times'])}, {t['megabytes']} MB",
        lambda t: statistics.median(t["times"]) <= 0.2,
    )
    theirs: Told = {}
    if "limits" in told:
        theirs = alone("solving", "measured", 200, *told["limits"], patience=_PATIENT)
    both = {**told, **{k: v for k, v in theirs.items() if k in ("failed", "refused")}}
    if "times" in theirs and "times" in told:
        both["ratios"] = [b / a for a, b in zip(told["times"], theirs["times"], strict=True)]
        pairs = list(zip(told["cheapest"], theirs["cheapest"], strict=True))
        both["same"] = sum(a == b for a, b in pairs)
        both["cheaper"] = all(b is None or a <= b for a, b in pairs)
        both["proved"] = theirs["proved"]
    yield _row(
        f"{what}: against OR-Tools CP-SAT for the one cheapest only, 30 s each",
        "20 times, none dearer",
        both,
        lambda t: (
            f"{'' if all(t['proved']) else 'at least '}{statistics.median(t['ratios']):.1f} times "
            f"(least {min(t['ratios']):.1f}); CP-SAT proved {sum(t['proved'])} of "
            f"{len(t['proved'])} and found the same price {t['same']} times"
            f"{'' if t['cheaper'] else ', A CHEAPER ONE at least once'}"
        ),
        lambda t: min(t["ratios"]) >= 20 and t["cheaper"],
    )


def fronts() -> Iterator[Line]:
    """Find exact fronts of price, mass and strength, and coarse ones before them."""
    for name, kind, parts, seconds, coarse in (
        ("12,000 parts of shared shapes", "shapes", 1000, 2.0, 0.1),
        ("the demo", "demo", 0, 0.1, None),
    ):
        told = alone("fronting", kind, parts)
        yield _row(
            f"exact front of price, mass and strength, {name}",
            f"{seconds:g} s, 500 MB" if coarse else ms(seconds),
            told,
            lambda t: f"{t['builds']:,} builds in {ms(t['seconds'])}, {t['megabytes']} MB",
            lambda t, s=seconds: t["seconds"] <= s and t["megabytes"] <= 500,
        )
        yield _row(
            f"coarse front, {name}",
            "" if coarse is None else ms(coarse),
            told,
            lambda t: f"{t['coarse']} builds in {ms(t['first'])}; the first time {ms(t['ready'])}",
            lambda t, s=coarse: s is None or t["first"] <= s,
        )


def limited() -> Iterator[Line]:
    """Count under both limits among 12,000 parts."""
    yield _row(
        "count under both limits, 12,000 parts, 7 pairs of limits",
        "200 ms, half-width 1%",
        alone("limiting", "shapes", 1000),
        lambda t: (
            f"{_spread(t['times'])}; {t['exact']} exact; half-width of the 99 % interval "
            f"{max(t['widths'], default=0.0):.1%} at most, {statistics.median(t['widths']):.1%} "
            "in the middle"
        ),
        lambda t: max(t["times"]) <= 0.2 and max(t["widths"], default=0.0) <= 0.01,
    )


def gaps() -> Iterator[Line]:
    """Find the gaps in a shop's stock of measured parts."""
    yield _row(
        "gaps in stock: 3,000 parts, each measured, and 1,000 enquiries",
        "10 s, 1 GB",
        alone("gapping", 3000, 1000, patience=150),
        lambda t: f"{t['seconds']:.1f} s, {t['megabytes']} MB",
        lambda t: t["seconds"] <= 10 and t["megabytes"] <= 1000,
    )
