"""The slot's end as a notch: handbooks, a formula of Roark's, plane finite elements."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitgraph.mechanics import notches, tubes
from fitgraph.mechanics.materials import MATERIALS
from tests.slot_end import concentration

PSI_ROOT = 25.4**0.5

# Norton, Machine Design, table 6-6, Neuber's constant of steels: tensile strength in ksi, root
# in in^0.5; as reproduced with a worked example of the same book on holooly.com.
NORTON_STEELS = [
    (55, 0.118),
    (60, 0.108),
    (70, 0.093),
    (80, 0.080),
    (90, 0.070),
    (100, 0.062),
    (110, 0.055),
    (120, 0.049),
    (140, 0.039),
    (160, 0.031),
    (180, 0.024),
]

# The same, table 6-8, heat-treated aluminium alloys, as a published solution of an exercise has
# it (table 6-7 on that page has the annealed ones, 0.126 at 40 ksi and 0.180 at 30).
NORTON_ALUMINIUM = {15: 0.475, 20: 0.380, 30: 0.278, 40: 0.219, 50: 0.186}
NORTON_ALUMINIUM |= {60: 0.162, 70: 0.144, 80: 0.131, 90: 0.122}


@pytest.mark.parametrize(("ksi", "root"), NORTON_STEELS)
def test_neubers_constant_of_steels_agrees_with_a_table(ksi: float, root: float) -> None:
    computed = notches.neuber_root_of_steel(ksi * 6.894757) / PSI_ROOT
    assert computed == pytest.approx(root, abs=0.003)


def test_fatigue_factor_is_the_handbook_example() -> None:
    """Shigley, example 6-6: 690 MPa, fillet of 3 mm, K_t 1.65: K_f 1.55."""
    root = notches.neuber_root_of_steel(690)
    assert root == pytest.approx(0.313, abs=1e-3)
    assert notches.fatigue_factor(1.65, 3.0, root) == pytest.approx(1.55, abs=5e-3)


def test_fatigue_factor_agrees_with_nortons_example() -> None:
    """Norton, example 6-3: root of 0.062 in^0.5, radius 0.25 in, K_t 1.56: K_f 1.50."""
    found = notches.fatigue_factor(1.56, 0.25 * 25.4, 0.062 * PSI_ROOT)
    assert found == pytest.approx(1.50, abs=5e-3)


@pytest.mark.parametrize("radius", [0.4, 1.0, 1.5])
@pytest.mark.parametrize("tensile", [560.0, 655.0])
def test_heywoods_factor_for_holes_is_of_the_same_size(radius: float, tensile: float) -> None:
    """Shigley, eq. 6-78, table 6-15, transverse hole: root of 174/S_ut, scatter of 10 %."""
    for concentration_ in notches.slot_end_concentration(3.0, radius):
        heywood = concentration_ / (
            1 + 2 * (concentration_ - 1) / concentration_ * 174 / tensile / radius**0.5
        )
        neuber = notches.fatigue_factor(
            concentration_, radius, notches.neuber_root_of_steel(tensile)
        )
        # Neuber's is the more cautious of the two, by what Heywood's scatter spans twice.
        assert 0.98 * heywood < neuber < 1.45 * heywood


@pytest.mark.parametrize(
    ("ratio", "round_"), [(0.3, 1.0), (0.5, 1.0), (1.0, 1.0), (0.5, 0.5), (1.0, 0.3)]
)
def test_most_concentration_agrees_with_roarks_rectangular_hole(
    ratio: float, round_: float
) -> None:
    """Roark, table 17.1, rectangular hole with rounded corners, as reproduced on amesweb.info.

    Height 2a across the tension, width 2b along it, corner radius r; 0.2 <= r/b <= 1.
    """
    x = round_
    c1 = 14.815 - 15.774 * x**0.5 + 8.149 * x
    c2 = -11.201 - 9.750 * x**0.5 + 9.600 * x
    c3 = 0.202 + 38.662 * x**0.5 - 27.374 * x
    c4 = 3.232 - 23.002 * x**0.5 + 15.482 * x
    roark = c1 + c2 * ratio + c3 * ratio**2 + c4 * ratio**3
    # Half the height is what stands across the tension: width 2a, radius r.
    _, most = notches.slot_end_concentration(2 / ratio, round_)
    assert most > roark * 0.98
    if round_ == 1:
        assert most == pytest.approx(roark, rel=0.03)


@pytest.mark.some(2)
@pytest.mark.parametrize(("radius", "rel"), [(1.0, 0.02), (0.4, 0.02), (0.1, 0.02)])
def test_least_concentration_agrees_with_finite_elements(radius: float, rel: float) -> None:
    least, most = notches.slot_end_concentration(2.0, radius)
    found = concentration(1.0, 20.0, radius)
    assert least == pytest.approx(found, rel=rel)
    assert found < most


def test_a_round_hole_triples_the_stress_in_the_finite_elements_as_well() -> None:
    """Kirsch: 3 in an endless plate; the plate here is fifteen times as wide."""
    assert concentration(1.0, 1.0, 1.0) == pytest.approx(3.0, rel=0.02)
    assert notches.slot_end_concentration(2.0, 1.0)[1] == pytest.approx(3.0)


def test_tables_of_materials_span_what_the_sources_give() -> None:
    for name, material in MATERIALS.items():
        if material.neuber_root is None:
            assert material.endurance_mpa is None, f"{name}: strength without its notch"
            continue
        assert material.tensile_range_mpa is not None and material.tensile_mpa is not None
        least, most = material.tensile_range_mpa
        assert least <= material.tensile_mpa <= most and material.tensile_source
        assert material.yield_mpa is not None and material.yield_mpa < material.tensile_mpa
        if material.family == "aluminium":
            ksi, root = zip(*NORTON_ALUMINIUM.items(), strict=True)
            spans = [np.interp(s / 6.894757, ksi, root) * PSI_ROOT for s in (most, least)]
        else:
            spans = [notches.neuber_root_of_steel(s) for s in (most, least)]
        if material.family == "titanium":
            spans[0] = 0.0
        assert material.neuber_root == pytest.approx(spans, abs=0.03), name


def test_a_drilled_end_costs_less_than_a_sawn_one() -> None:
    root = MATERIALS["steel-4130"].neuber_root
    assert root is not None
    sawn = notches.slot_end_factor(2.0, root, notches.SAWN_RADIUS_MM)
    drilled = notches.slot_end_factor(6.0, root, (3.0, 3.0))
    unknown = notches.slot_end_factor(2.0, root)
    assert drilled[0] < sawn[0] and drilled[1] < sawn[1]
    assert unknown[0] <= sawn[0] and unknown[1] >= sawn[1]


@given(
    width=st.floats(0.5, 8),
    radius=st.floats(0.05, 0.25),
    more=st.floats(1.0, 2.0),
    root=st.floats(0, 1.3),
)
def test_a_sharper_end_is_never_better(
    width: float, radius: float, more: float, root: float
) -> None:
    for sharp, blunt in zip(
        notches.slot_end_concentration(width, radius),
        notches.slot_end_concentration(width, min(radius * more, width / 2)),
        strict=True,
    ):
        assert sharp >= blunt - 1e-12 and blunt > 1
        factors = notches.fatigue_factor(sharp, radius, np.array([0.0, root]))
        assert factors[0] == pytest.approx(sharp) and factors[1] <= factors[0]


@given(
    outside=st.floats(25, 45),
    wall=st.floats(1, 4),
    width=st.floats(1, 6),
    factor=st.floats(1, 6),
    more=st.floats(0, 3),
)
def test_moment_with_a_notch(
    outside: float, wall: float, width: float, factor: float, more: float
) -> None:
    bore = outside - 2 * wall
    without = notches.moment_with_slot_end_nm(outside, bore, 200.0, width, 1.0)
    assert without == pytest.approx(tubes.moment_at_stress_nm(outside, bore, 200.0, width))
    notched = notches.moment_with_slot_end_nm(outside, bore, 200.0, width, factor)
    assert without / factor - 1e-9 <= notched <= without
    assert notches.moment_with_slot_end_nm(outside, bore, 200.0, width, factor + more) <= notched


def test_arguments_without_sense_are_refused() -> None:
    with pytest.raises(ValueError, match="half"):
        notches.slot_end_concentration(2.0, 1.5)
    with pytest.raises(ValueError, match="above 0"):
        notches.slot_end_concentration(2.0, 0.0)
    with pytest.raises(ValueError, match="1 or more"):
        notches.fatigue_factor(0.9, 1.0, 0.3)
    with pytest.raises(ValueError, match="1700"):
        notches.neuber_root_of_steel(2000.0)
    with pytest.raises(ValueError, match="1 or more"):
        notches.moment_with_slot_end_nm(34.9, 30.9, 200.0, 4.0, 0.5)
