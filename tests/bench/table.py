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

#: Seconds of processor time that picks among measured parts may take in all.
_PATIENT = 240

#: Parts a role, and the bars to count after a pick and to tell what remains, in seconds.
_PICKED = {200: (0.010, 0.050), 1000: (0.100, 0.500)}


def measured_parts() -> Iterator[Line]:
    """Compile catalogues of which every part was measured by itself, and ask after a pick."""
    for parts, (seconds, megabytes) in _COMPILED.items():
        yield _row(
            f"compile {parts:,} parts a role, each measured",
            f"{seconds:g} s, {megabytes:,} MB",
            alone("compiling", "measured", parts),
            lambda t: f"{t['seconds']:.2f} s, {t['megabytes']} MB; {t['builds']} builds",
            lambda t, s=seconds, m=megabytes: t["seconds"] <= s and t["megabytes"] <= m,
        )
    for parts, (counted, rest) in _PICKED.items():
        told = alone("picking", "measured", parts, patience=_PATIENT)
        yield _row(
            f"first count, {parts:,} parts a role, each measured; then, once a catalogue, what "
            "later answers go through",
            "",
            told,
            lambda t: f"{t['first']:.1f} s; {t['once']:.1f} s, {t['megabytes']} MB",
            lambda t: True,
        )
        yield _row(
            f"exact count after a pick, {parts:,} parts a role, each measured",
            ms(counted),
            told,
            lambda t: _spread(t["counts"]),
            lambda t, bar=counted: statistics.median(t["counts"]) <= bar,
        )
        refused = told.get("rests_refused")
        for key, what in (("which", "which"), ("rests", "how many builds with each, exactly")):
            yield _row(
                f"what remains after a pick, {what}: {parts:,} parts a role, each measured",
                ms(rest),
                told if refused is None or told.get(key) else {"refused": refused},
                lambda t, key=key: _spread(t[key]),
                lambda t, key=key, bar=rest: statistics.median(t[key]) <= bar,
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
    theirs = {} if "limits" not in told else alone("solving", "measured", 200, *told["limits"])
    both = {**told, **{k: v for k, v in theirs.items() if k in ("failed", "refused")}}
    if "times" in theirs and "times" in told:
        both["ratios"] = [b / a for a, b in zip(told["times"], theirs["times"], strict=True)]
        same = theirs["cheapest"] == told["cheapest"]
        both["same"] = "same prices" if same else "prices differ"
        both["proved"] = theirs["proved"] and same
    yield _row(
        f"{what}: against OR-Tools CP-SAT for the one cheapest only",
        "20 times, the same price",
        both,
        lambda t: (
            f"{statistics.median(t['ratios']):.1f} times (least {min(t['ratios']):.1f}); "
            f"{t['same']}{'' if t['proved'] else ', not all proved by CP-SAT in 10 s'}"
        ),
        lambda t: min(t["ratios"]) >= 20 and t["same"] == "same prices",
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
        alone("gapping", 3000, 1000),
        lambda t: f"{t['seconds']:.1f} s, {t['megabytes']} MB",
        lambda t: t["seconds"] <= 10 and t["megabytes"] <= 1000,
    )
