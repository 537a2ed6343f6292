"""Made parts: none better is missed, each is worth what the engine says, the best few are best.

The claim that matters is checked against a grid of a twentieth of a millimetre, judged by plain
inequalities in ``tests/made_catalogues.py``; the worth of a part against the engine with the
part added; the best few against every choice.
"""

from __future__ import annotations

import functools
import itertools
from collections.abc import Iterator
from concurrent.futures import Executor, ThreadPoolExecutor
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from dask.distributed import Client, LocalCluster
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

import fitgraph
from fitgraph import adapters
from fitgraph.adapters import (
    Scan,
    best_cover,
    best_together,
    candidates,
    frontier,
    make_part,
    mates,
    only_parts,
    scan,
    stranded,
    whole_yield,
    with_part,
)
from fitgraph.adapters.cells import cells
from fitgraph.adapters.pairs import pairs
from fitgraph.demand.questions import request_of
from fitgraph.graph.options import options_for
from fitgraph.mechanics.rules import RULES, Limits
from fitgraph.model import Catalogue, Dimension, Enquiry, Make, Verdict
from fitgraph.solve import Request, TreeEngine
from fitgraph.solve.plan import TooWideError
from fitgraph.solve.space import Space
from tests import made_catalogues as small
from tests.bench.catalogues import measured, scaled
from tests.shared import the_demo
from tests.test_certain_is_certain import demo_told, nesting_joints, picked, tried
from tests.turns import turns

FEW = settings(max_examples=turns(25), deadline=None, suppress_health_check=list(HealthCheck))


def options_of(catalogue: Catalogue) -> dict:
    words = catalogue.vocabulary
    return {r: options_for(catalogue.of(r), r, words) for r in words.roles}


def found_in(catalogue: Catalogue) -> Scan:
    return scan(catalogue, catalogue.vocabulary.makes["sleeve"])


# -- no better one is missed --------------------------------------------------------


@FEW
@given(small.catalogues(), st.none() | st.integers(0, 2**32 - 1))
def test_no_sleeve_of_a_fine_grid_fits_more(catalogue: Catalogue, seed: int | None) -> None:
    """Of sizes in whole twentieths, or all measured, with all decimals."""
    if seed is not None:
        catalogue = measured(catalogue, seed=seed)
    make = catalogue.vocabulary.makes["sleeve"]
    found = candidates(catalogue, make, options_of(catalogue))
    grid = small.fine_grid(catalogue)
    if not found:
        assert not grid.fits.any()
        return
    bore, outside = (np.array([c.sizes[r] for c in found]) for r in (small.BORE, small.OUTSIDE))
    maker = np.array([c.words[small.KEY] for c in found], dtype=object)
    fits = small.fits_of(catalogue, bore, outside, maker)
    walls = (outside + small.OUTSIDE_HELD[0] - bore - small.BORE_HELD[1]) / 2
    assert (walls >= make.least_wall - 1e-9).all()
    for row in np.unique(grid.fits[grid.fits.any(axis=1)], axis=0):
        assert (fits >= row).all(axis=1).any(), "a sleeve of the grid fits what no candidate does"


@FEW
@given(small.catalogues())
def test_builds_are_those_of_the_grid_and_of_the_engine(catalogue: Catalogue) -> None:
    found, grid = found_in(catalogue), small.fine_grid(catalogue)
    best = max((w.builds for w in found.worths), default=0)
    assert best == grid.fits.sum(axis=1).max(initial=0)
    for worth in found.worths[:3]:
        part = worth.candidate.part
        asked = Request(want=(part.sku,))
        assert worth.builds == TreeEngine(with_part(catalogue, part)).count(asked).number
        rest = small.fits_of(
            catalogue,
            *(np.array([worth.candidate.sizes[r]]) for r in (small.BORE, small.OUTSIDE)),
            np.array([worth.candidate.words[small.KEY]], dtype=object),
        )
        assert worth.builds == rest.sum()


@FEW
@given(small.catalogues())
def test_enquiries_are_served_as_the_engine_serves_them(catalogue: Catalogue) -> None:
    found = found_in(catalogue)
    alone = TreeEngine(catalogue)

    def asks(enquiry: Enquiry, *want: str) -> Request:
        return Request(enquiry.have, want, enquiry.budget, enquiry.max_mass_g)

    served = [bool(alone.best(asks(e), limit=1)) for e in catalogue.enquiries]
    assert found.before.tolist() == served
    bare = TreeEngine(only_parts(catalogue, "sleeve", ()))
    for n, worth in enumerate(found.worths[:3]):
        part = worth.candidate.part
        engine = TreeEngine(only_parts(catalogue, "sleeve", [part]))
        gained = taken = all_served = 0.0
        for enquiry, had in zip(catalogue.enquiries, served, strict=True):
            owns = any(catalogue.parts[s].role == "sleeve" for s in enquiry.have)
            can = not owns and bool(engine.best(asks(enquiry, part.sku), limit=1))
            assert found.serves[catalogue.enquiries.index(enquiry), n] == can
            all_served += enquiry.weight * can
            gained += enquiry.weight * (can and not had)
            needs = had and (owns or not bare.best(asks(enquiry), limit=1))
            taken += enquiry.weight * (can and needs)
        assert (worth.served, worth.gained, worth.taken) == (all_served, gained, taken)


@FEW
@given(small.catalogues())
def test_stock_that_is_released_has_a_build_then(catalogue: Catalogue) -> None:
    found = found_in(catalogue)
    lost = {
        p.sku: p.stock * (p.price or 0)
        for p in catalogue.parts.values()
        if p.stock
        and p.price is not None
        and not TreeEngine(catalogue).count(Request(want=(p.sku,), in_stock=True)).number
    }
    assert {p.sku for p in stranded(catalogue)} == set(lost)
    for worth in found.worths[:2]:
        engine = TreeEngine(with_part(catalogue, worth.candidate.part))
        freed = [sku for sku in lost if engine.count(Request(want=(sku,), in_stock=True)).number]
        assert sorted(worth.released) == sorted(freed)
        assert worth.released_value == sum(lost[s] for s in freed)


@FEW
@given(small.catalogues(), st.integers(0, 2**32 - 1))
def test_parts_that_are_all_measured_are_weighed_as_plain_arithmetic_weighs_them(
    catalogue: Catalogue, seed: int
) -> None:
    """Builds, and those that an existing sleeve joins as well, are counted one by one."""
    catalogue = measured(catalogue, seed=seed)
    found = found_in(catalogue)
    assume(found.worths)
    fits = small.fits_of(
        catalogue,
        *(
            np.array([w.candidate.sizes[r] for w in found.worths])
            for r in (small.BORE, small.OUTSIDE)
        ),
        np.array([w.candidate.words[small.KEY] for w in found.worths], dtype=object),
    )
    assert [w.builds for w in found.worths] == fits.sum(axis=1).tolist()
    assert not (fits[:, None] <= fits[None]).all(axis=2)[~np.eye(len(fits), dtype=bool)].any()
    engine, rests = TreeEngine(catalogue), [catalogue.of(r) for r in ("pin", "tube", "lid")]
    known = [
        any(
            engine.count(Request(want=(*(p.sku for p in rest), sleeve.sku))).number
            for sleeve in catalogue.of("sleeve")
        )
        for rest in itertools.product(*rests)
    ]
    assert [w.shared for w in found.worths] == fits[:, known].sum(axis=1).tolist()


# -- windows and cells ---------------------------------------------------------------


@settings(max_examples=turns(60), deadline=None)
@given(st.data())
def test_windows_say_what_the_rules_say(data: st.DataObject) -> None:
    """Each rule judges the made size; the window must come to the same.

    But for a bore that is wider than it has to be: its slot closes a little further than at the
    snuggest size, which the window leaves out.
    """
    number = st.integers(0, 80).map(lambda n: n / 20)
    rule = RULES[data.draw(st.sampled_from(["clearance", "closes-by-slot", "at-least"]))]
    # Nothing is made to the size of a ring's outside by what the ring closes on.
    made = data.draw(st.sampled_from([n for n in rule.lengths if n not in rule.may_lack]))
    limits = {"least": data.draw(number) - 2}
    if rule.name == "clearance":
        limits["most"] = limits["least"] + data.draw(number)
    if rule.name == "closes-by-slot":
        limits["reserve"] = data.draw(st.sampled_from([0.0, 0.05]))
    sizes = {}
    for name in rule.lengths:
        low = data.draw(number)
        sizes[name] = (low, low + data.draw(st.sampled_from([0.0, 0.05, 0.2])))
    others = {n: Limits(*map(np.atleast_1d, s)) for n, s in sizes.items() if n != made}
    found = rule.inverse(made, others, limits)
    judged = rule.judge(**{n: Limits(*s) for n, s in sizes.items()}, **limits)
    low, high = sizes[made]
    inside = low >= found.least[0] - 1e-9 and high <= found.most[0] + 1e-9
    fits = bool(judged.verdict == Verdict.FITS)
    assert fits or not inside
    if not (rule.name == "closes-by-slot" and made == "bore" and low > found.least[0] + 1e-9):
        assert inside == fits


def test_cells_of_two_intervals() -> None:
    """By hand: 1 to 3 and 2 to 4 overlap from 2 to 3, the only peak; their ends bound it."""
    found = cells(np.array([1.0, 2.0]), np.array([3.0, 4.0]), (0.0, 5.0), (0.0, 0.0))
    assert [(c.lo, c.hi, c.peak) for c in found] == [
        (0.0, 1.0, False),
        (1.0, 2.0, False),
        (2.0, 3.0, True),
        (3.0, 4.0, False),
        (4.0, 5.0, False),
    ]
    touching = cells(np.array([1.0, 2.0]), np.array([2.0, 3.0]), (0.0, 5.0), (0.0, 0.0))
    assert [(c.lo, c.hi) for c in touching if c.peak] == [(2.0, 2.0)]


# -- the best few ---------------------------------------------------------------------


@settings(max_examples=turns(60), deadline=None)
@given(
    st.integers(1, 7).flatmap(
        lambda n: st.tuples(
            st.lists(st.lists(st.booleans(), min_size=n, max_size=n), min_size=1, max_size=8),
            st.lists(st.integers(1, 9), min_size=n, max_size=n),
            st.integers(0, 4),
        )
    ),
    st.data(),
)
def test_the_best_few_are_the_best_of_all_choices(
    problem: tuple[list[list[bool]], list[int], int], data: st.DataObject
) -> None:
    rows, costs, most = problem
    covers = np.array(rows)
    weights = np.array(
        data.draw(st.lists(st.integers(0, 5), min_size=len(rows), max_size=len(rows)))
    ).astype(float)
    wide = covers.shape[1]
    places = st.tuples(st.integers(0, wide - 1), st.integers(0, wide - 1))
    pairs = data.draw(st.lists(places.filter(lambda two: two[0] != two[1]), max_size=3))
    paired = np.array(
        [data.draw(st.lists(st.booleans(), min_size=len(rows), max_size=len(rows))) for _ in pairs],
        dtype=bool,
    ).reshape(len(pairs), len(rows))
    found = best_cover(
        covers,
        weights,
        most,
        np.array(costs, dtype=float),
        pairs=np.array(pairs, dtype=np.intp).reshape(-1, 2),
        paired=paired.T,
    )

    def met(some: tuple[int, ...]) -> float:
        both = [n for n, two in enumerate(pairs) if set(two) <= set(some)]
        return float(weights[covers[:, list(some)].any(axis=1) | paired[both].any(axis=0)].sum())

    every = [
        (-met(some), sum(costs[c] for c in some))
        for k in range(most + 1)
        for some in itertools.combinations(range(covers.shape[1]), k)
    ]
    covered, cost = min(every)
    assert found.covered == -covered
    assert found.cost == cost
    assert found.proven and found.bound == pytest.approx(found.covered)
    assert len(found.chosen) <= most


def test_two_overlapping_sleeves_are_no_pair(planted: Catalogue) -> None:
    found = found_in(planted)
    steps = list(frontier([found], 5))
    assert [len(s.worths) for s in steps] == list(range(1, len(steps) + 1))
    assert [s.gained for s in steps] == sorted(s.gained for s in steps)
    for k, step in enumerate(steps, start=1):
        gains = found.serves & ~found.before[:, None]
        every = [
            found.weights[gains[:, list(some)].any(axis=1)].sum()
            for some in itertools.combinations(range(len(found.worths)), k)
        ]
        assert step.gained == max(every)
        assert step.choice.proven
    assert best_together([found], 20).gained == steps[-1].gained


@pytest.mark.long
def test_pairs_serve_what_the_engine_builds_with_both(demo: Catalogue, demo_scan: Scan) -> None:
    """Of all pairs of a sleeve and a liner that are not made yet: those told, and 60 by lot."""
    scans = [demo_scan, scan(demo, demo.vocabulary.makes["liner"])]
    found = pairs(scans)
    assert found, "on the demo some enquiries wait for two parts"
    made = [w.candidate.part for s in scans for w in s.worths]
    engine = TreeEngine(functools.reduce(with_part, made, demo))

    def built(enquiry: Enquiry, *want: str) -> bool:
        asked = replace(request_of(enquiry, in_stock=False), want=want)
        return bool(engine.best(asked, limit=1))

    told = {(p.first, p.second): p.serves for p in found}
    lot = np.random.default_rng(11)
    begins = len(scans[0].worths)
    waiting = np.flatnonzero(~scans[0].before)
    asked = [(two, int(lot.choice(np.flatnonzero(on)))) for two, on in list(told.items())[::4]]
    while len(asked) < 60:
        two = (int(lot.integers(begins)), int(lot.integers(begins, len(made))))
        asked.append((two, int(lot.choice(waiting))))
    serves = np.hstack([s.serves for s in scans])
    for (first, second), row in asked:
        enquiry = demo.enquiries[row]
        roles = {demo.parts[sku].role for sku in enquiry.have}
        owns = not roles.isdisjoint(s.make.role for s in scans)
        both = not owns and built(enquiry, made[first].sku, made[second].sku)
        alone = serves[row, first] or serves[row, second]
        serves_both = bool(told.get((first, second), np.zeros(len(serves), dtype=bool))[row])
        assert serves_both == (both and not alone)
    for k in (2, 3):
        assert best_together(scans, k, found).gained >= best_together(scans, k).gained


# -- planted gaps ---------------------------------------------------------------------


@pytest.fixture(scope="module")
def planted() -> Catalogue:
    """Return a catalogue of which 40 % of enquiries want one missing sleeve.

    Tubes of 13 mm take a sleeve on pins of 10 mm. By hand: pins are 9.95 to 10.00 mm; the bore
    has to be 10.00 mm or more, and at most 9.95 + 1/pi, so nominal 10.00 to 10.228 (it is made
    up to 0.04 larger), the snuggest 10.00. Tubes are 12.98 to 13.02 mm: the outside is at most
    12.96 and at least 12.72, so nominal 12.75 to 12.95, the snuggest 12.95.
    """
    pins = [small.part("pin", n, "post", Dimension(9.95, 10.0), "Ash") for n in range(3)]
    odd = [small.part("pin", 9, "post", Dimension(11.0, 11.02), "Beech")]
    tubes = [
        small.part("tube", 0, "hole", Dimension(10.1, 10.15)),
        small.part("tube", 1, "hole", Dimension(12.98, 13.02)),
        small.part("tube", 2, "hole", Dimension(15.0, 15.02)),
    ]
    lids = [small.part("lid", 0, "edge", Dimension(14.0, 14.0))]
    enquiries = [
        *(Enquiry(f"A{n}", have=(f"P{n % 3}", "T1")) for n in range(8)),
        *(Enquiry(f"B{n}", have=(f"P{n % 3}", "T0")) for n in range(9)),
        *(Enquiry(f"C{n}", have=("P9", "T2")) for n in range(3)),
    ]
    return small.catalogue_of([*pins, *odd, *tubes, *lids], enquiries)


def test_the_planted_gap_is_found_first_at_the_right_size(planted: Catalogue) -> None:
    found = found_in(planted)
    first = found.worths[0]
    assert found.covered == 9 and found.total == 20
    assert first.gained / found.total == 0.4
    assert first.candidate.sizes[small.BORE] == pytest.approx(10.0)
    assert first.candidate.sizes[small.OUTSIDE] == pytest.approx(12.95)
    assert first.candidate.words[small.KEY] == "Ash"
    # Rounded to the step, which the cell allows.
    for size in first.candidate.sizes.values():
        assert round(size / 0.05) * 0.05 == pytest.approx(size)
    assert found.worths[1].gained == 3
    again = found_in(with_part(planted, first.candidate.part))
    assert again.covered == 17 and again.worths[0].gained == 3


def test_an_enquiry_that_cannot_be_asked_is_told_and_the_others_are_weighed(
    planted: Catalogue,
) -> None:
    odd = replace(planted.enquiries[0], number="odd", material="31,8")
    found = found_in(replace(planted, enquiries=(odd, *planted.enquiries)))
    plain = found_in(planted)
    assert [one.number for one in found.left_out] == ["odd"] and "31,8" in found.left_out[0].why
    assert found.total == plain.total and found.covered == plain.covered
    assert [(w.candidate, w.gained, w.served, w.taken) for w in found.worths] == [
        (w.candidate, w.gained, w.served, w.taken) for w in plain.worths
    ]


def cut_tube(cut: float) -> Catalogue:
    """Return pins and a tube as planted, the tube with a cut of its own.

    At the snug corner, bore 10.00 and outside 12.95, the tube has to take up 13.02 - 12.92 of its
    own and 10.04 - 9.95 of the sleeve's: 0.19 mm, and 0.02 to spare.
    """
    return small.catalogue_of(
        [
            small.part("pin", 0, "post", Dimension(9.95, 10.0), "Ash"),
            small.part("tube", 0, "hole", Dimension(12.98, 13.02), cut=cut),
            small.part("lid", 0, "edge", Dimension(14.0, 14.0)),
        ]
    )


def test_series_decide_between_sizes_of_one_cell() -> None:
    """A cut of 0.8 mm closes 0.2546 mm: enough for the snug corner, not for the middle."""
    catalogue = cut_tube(0.8)
    bore, outside = np.array([10.0, 10.11]), np.array([12.95, 12.85])
    fits = small.fits_of(catalogue, bore, outside, np.array(["Ash", "Ash"], dtype=object))
    assert fits[:, 0].tolist() == [True, False]
    [worth] = found_in(catalogue).worths
    assert worth.builds == 1
    assert list(worth.candidate.sizes.values()) == [10.0, 12.95]
    assert not found_in(cut_tube(0.6)).worths  # 0.19 + 0.02 > 0.6 / pi


@pytest.mark.parametrize(
    ("gauges", "sizes"),
    [
        # 1.2 / pi - 0.21 = 0.172 mm are to spare: 0.12 and 0.05 together are less.
        ((10.12, 12.9), (10.12, 12.9)),
        # 0.13 and 0.05 are more; of one gauge alone the rounder sizes.
        ((10.13, 12.9), (10.0, 12.9)),
        # A gauge that is tighter loses the counterpart, and one beyond the cell as well.
        ((9.99, 12.96), (10.0, 12.95)),
        ((10.3, 12.5), (10.0, 12.95)),
    ],
)
def test_a_gauge_is_taken_where_nothing_is_lost(
    gauges: tuple[float, float], sizes: tuple[float, float]
) -> None:
    catalogue = cut_tube(1.2)
    make = catalogue.vocabulary.makes["sleeve"]
    free = tuple(replace(f, gauges=(gauge,)) for f, gauge in zip(make.free, gauges, strict=True))
    [worth] = scan(catalogue, replace(make, free=free)).worths
    found = worth.candidate
    assert tuple(found.sizes.values()) == pytest.approx(sizes)
    taken = [r for r, g in zip(found.sizes, gauges, strict=True) if found.sizes[r] == g]
    assert list(found.standard) == taken
    drawn = [np.array([size]) for size in found.sizes.values()]
    assert small.fits_of(catalogue, *drawn, np.array(["Ash"], dtype=object)).all()


@pytest.fixture(scope="module")
def demo() -> Catalogue:
    return the_demo().catalogue


@pytest.fixture(scope="module")
def demo_scan(demo: Catalogue) -> Scan:
    return scan(demo, demo.vocabulary.makes["sleeve"])


@pytest.mark.long
def test_on_the_demo_the_sleeve_nobody_makes_comes_first(demo: Catalogue, demo_scan: Scan) -> None:
    """As ``data/demo/README.md`` has it: 46 enquiries of 83 riders, a sleeve 25.4 to 31.8."""
    first = demo_scan.worths[0]
    part = first.candidate.part
    assert list(first.candidate.words.values()) == ["Skerrowby"]
    bore, outside = (part.features[f].lengths["diameter"] for f in ("bore", "outside"))
    assert bore.lo >= 25.4 and bore.hi <= 25.4 + 0.95  # a slot of 3 mm closes 3 / pi
    assert outside.lo >= 31.8 - 0.95 and outside.hi <= 31.8
    makers, wide = {}, set()
    for sku, piece in demo.parts.items():
        makers[sku] = piece.maker
        size = piece.features["bore"].lengths["diameter"] if piece.role == "bar" else None
        if size is not None and 31.6 <= size.mid <= 32.2:
            wide.add(sku)
    thin = {p.sku for p in demo.of("fork") if p.features["top"].lengths["diameter"].mid < 26}
    wanted = [
        e
        for e in demo.enquiries
        if any(s in thin and makers[s] == "Skerrowby" for s in e.have)
        and any(s in wide for s in e.have)
    ]
    assert (len(wanted), sum(e.weight for e in wanted)) == (46, 83)
    # Nothing serves any of them now. The sleeve may serve all, and for certain all but ten, who
    # own other parts whose sizes leave a doubt.
    before, after = TreeEngine(demo), TreeEngine(with_part(demo, part))
    plain = {e.number: replace(Request(), have=e.have) for e in wanted}
    assert not any(before.best(asked, limit=1) for asked in plain.values())
    assert all(after.best(asked, limit=1, certain=False) for asked in plain.values())
    served = [e for e in wanted if after.best(plain[e.number], limit=1)]
    assert len(served) == 36
    assert first.gained == sum(e.weight for e in served)
    assert first.gained > 3 * demo_scan.worths[1].gained


@pytest.mark.long
def test_no_stack_of_what_is_recommended_fails(demo: Catalogue, demo_scan: Scan) -> None:
    """Every build with them, drawn at random sizes, goes together: diameters, nests, stacks."""
    for worth in demo_scan.worths[: turns(3, 1)]:
        found = whole_yield(demo, worth.candidate.part)
        assert found.certain_builds > 100
        assert found.certain == 1.0


@pytest.mark.long
@pytest.mark.some(1)
@pytest.mark.parametrize("nth", range(3))
def test_no_stack_of_what_is_recommended_fails_as_geometry(
    demo: Catalogue, demo_scan: Scan, nth: int
) -> None:
    """Rings are closed step by step: no stack with it that nests let pass stays open."""
    part = demo_scan.worths[nth].candidate.part
    told = demo_told(with_part(demo, part), nesting_joints(demo.vocabulary))
    rng = np.random.default_rng(nth)
    lot = dict(told.by_lot(200_000, rng))
    where = next(n for n, o in enumerate(told.options["sleeve"]) if o.part is part)
    lot["sleeve"] = np.full(200_000, where)
    fits = np.flatnonzero(told.least(told.joints, lot) == Verdict.FITS)
    assert len(fits) > 200
    found = tried(demo.vocabulary, told, picked(lot, fits[:2000]), 16, rng)
    assert found.drawn[Verdict.FITS] > 16 * 200
    assert found.assembled[Verdict.FITS] == found.drawn[Verdict.FITS]


@pytest.mark.long
def test_a_looser_sleeve_of_the_same_cell_fails_in_series(demo: Catalogue, demo_scan: Scan) -> None:
    """25.75 H9 / 31.45 h9 meets all that the snug one meets, pair by pair, and closes on none."""
    first = demo_scan.worths[0].candidate
    make, words = first.make, demo.vocabulary
    bore, outside = first.sizes
    loose = make_part(make, words, "LOOSE", {bore: 25.75, outside: 31.45}, first.words)
    met = {m.option.label for m in mates(demo, first.part) if m.verdict is Verdict.FITS}
    same = {m.option.label for m in mates(demo, loose) if m.verdict is Verdict.FITS}
    assert met and met <= same
    snug, worse = (whole_yield(demo, part).certain_builds for part in (first.part, loose))
    assert snug and not worse


# -- on other machines ------------------------------------------------------------------


@pytest.fixture(scope="module")
def dask() -> Iterator[Executor]:
    with (
        LocalCluster(
            n_workers=2,
            threads_per_worker=1,
            processes=True,
            host="127.0.0.1",
            dashboard_address=None,
        ) as cluster,
        Client(cluster) as client,
    ):
        yield client.get_executor()


@pytest.fixture(scope="module")
def crowded() -> Catalogue:
    """Return a catalogue with more enquiries than go into one piece."""
    made = scaled(30)
    rng = np.random.default_rng(5)
    enquiries = tuple(
        Enquiry(
            f"E{n}",
            have=tuple(
                made.of(role)[int(rng.integers(30))].sku
                for role in ("fork", "bar")
                if rng.random() < 0.9
            ),
            budget=None if rng.random() < 0.3 else int(rng.integers(20_000, 90_000)),
        )
        for n in range(5000)
    )
    return replace(made, enquiries=enquiries)


@pytest.fixture(scope="module")
def here(crowded: Catalogue) -> Scan:
    told: list[tuple[int, int]] = []
    found = scan(
        crowded,
        crowded.vocabulary.makes["sleeve"],
        progress=lambda done, total: told.append((done, total)),
    )
    assert len(told) > 2 and told[-1][0] == told[-1][1] >= 5000
    return found


@pytest.mark.long
@pytest.mark.parametrize("where", ["threads", "dask"])
def test_executors_give_what_this_process_gives(
    crowded: Catalogue, here: Scan, where: str, request: pytest.FixtureRequest
) -> None:
    make = crowded.vocabulary.makes["sleeve"]
    if where == "threads":
        with ThreadPoolExecutor(2) as pool:
            there = scan(crowded, make, executor=pool)
    else:
        there = scan(crowded, make, executor=request.getfixturevalue("dask"))
    assert (there.serves == here.serves).all() and (there.before == here.before).all()
    assert there.worths == here.worths
    assert here.serves.any() and not here.serves.all()


def test_what_is_too_wide_to_be_weighed_is_told_beside_the_rest(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    shop = fitgraph.open()
    weighed = adapters.scan

    def narrow(catalogue: Catalogue, make: Make, **given: Any) -> Any:
        if make.role == "sleeve":
            raise TooWideError(1e12, 2e9, ["fork", "bar"], [], naming=False)
        return weighed(catalogue, make, **given)

    monkeypatch.setattr(adapters, "scan", narrow)
    told = shop.adapters(k=1)
    made = {m.role for m in shop.catalogue.vocabulary.makes.values()}
    assert {scan.make.role for scan in told.found.scans} == made - {"sleeve"}
    refused = told.to_dict()["refused"]
    assert [one["make"] for one in refused] == [
        m.name for m in shop.catalogue.vocabulary.makes.values() if m.role == "sleeve"
    ]
    assert "not weighed, this would need 1 TB" in " ".join(told.to_text().split())
    with pytest.raises(TooWideError):
        shop.adapters("sleeve")


def test_an_answer_stands_where_assemblies_are_too_wide_to_be_drawn(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """What is only possible is much wider than what is certain, where no two parts are alike."""
    known = fitgraph.open().adapters("sleeve", k=1).to_dict()
    assert known["first_assemblies"]["possible_drawn"] > 0
    plan = Space.plan

    def narrow(self: Space, *, certain: bool, **given: Any) -> Any:
        if not certain:
            raise TooWideError(1e12, self.ceiling, ["fork", "bar"], [])
        return plan(self, certain=certain, **given)

    told = fitgraph.open().adapters("sleeve", k=1)
    monkeypatch.setattr(Space, "plan", narrow)
    first = told.to_dict()["first_assemblies"]
    assert first == {**known["first_assemblies"], "possible": None, "possible_drawn": 0}
    assert "Worth making" in told.to_text()
