"""Tube sections, masses and yield moments, and the materials they are made of."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from sectionproperties.analysis import Section
from sectionproperties.pre import Geometry
from shapely import Point, box

from fitgraph.mechanics import tubes
from fitgraph.mechanics.materials import MATERIALS, material

# Circular hollow sections, cold formed (scribd.com/document/338559492, "Tubes - Final - English",
# seen on 2026-11-29): outside and wall in mm, mass in kg/m, area in cm2, I in cm4, W in cm3.
HOLLOW_SECTIONS = [
    (26.9, 2.5, 1.50, 1.92, 1.44, 1.07),
    (33.7, 3.0, 2.27, 2.89, 3.44, 2.04),
    (42.4, 3.0, 2.91, 3.71, 7.25, 3.42),
    (42.4, 4.0, 3.79, 4.83, 8.99, 4.24),
    (48.3, 3.0, 3.35, 4.27, 11.0, 4.55),
    (48.3, 5.0, 5.34, 6.80, 16.2, 6.69),
    (60.3, 5.0, 6.82, 8.69, 33.5, 11.1),
]


@pytest.mark.parametrize(("outside", "wall", "mass", "area", "second", "modulus"), HOLLOW_SECTIONS)
def test_plain_tubes_agree_with_the_table_of_hollow_sections(
    outside: float, wall: float, mass: float, area: float, second: float, modulus: float
) -> None:
    bore = outside - 2 * wall
    assert tubes.area_mm2(outside, bore) == pytest.approx(area * 1e2, rel=3e-3)
    assert tubes.second_moment_mm4(outside, bore) == pytest.approx(second * 1e4, rel=5e-3)
    assert tubes.section_modulus_mm3(outside, bore) == pytest.approx(modulus * 1e3, rel=5e-3)
    assert tubes.mass_per_mm_g(outside, bore, 7850) == pytest.approx(mass, rel=4e-3)


def _finite_elements(outside: float, bore: float, slot: float) -> Section:
    """Mesh the section with the slot at the bottom (sectionproperties, finite elements)."""
    ring = Point(0, 0).buffer(outside / 2, quad_segs=90) - Point(0, 0).buffer(
        bore / 2, quad_segs=90
    )
    if slot:
        ring = ring - box(-slot / 2, -outside, slot / 2, 0)
    geometry = Geometry(ring).create_mesh(mesh_sizes=[2.0])
    section = Section(geometry)
    section.calculate_geometric_properties()
    return section


@pytest.mark.some(3)
@pytest.mark.parametrize(
    ("outside", "bore", "slot"),
    [
        (34.9, 30.9, 0.0),
        (34.9, 30.9, 3.0),
        (31.8, 28.6, 5.0),
        (38.1, 32.0, 8.0),
        (28.6, 20.0, 12.0),
        (30.0, 27.0, 26.5),
    ],
)
def test_sections_agree_with_finite_elements(outside: float, bore: float, slot: float) -> None:
    """sectionproperties (general finite-element library for cross-sections)."""
    section = _finite_elements(outside, bore, slot)
    across, along, _ = section.get_ic()
    x_up, x_down, *_ = section.get_z()
    _, y = section.get_c()
    assert tubes.area_mm2(outside, bore, slot) == pytest.approx(section.get_area(), rel=5e-4)
    assert tubes.neutral_axis_mm(outside, bore, slot) == pytest.approx(y, abs=2e-3)
    assert tubes.second_moment_mm4(outside, bore, slot, "slot") == pytest.approx(across, rel=5e-4)
    assert tubes.second_moment_mm4(outside, bore, slot, "side") == pytest.approx(along, rel=5e-4)
    modulus = tubes.section_modulus_mm3(outside, bore, slot, "slot")
    assert modulus == pytest.approx(min(x_up, x_down), rel=1e-3)


def test_a_solid_bar_has_the_textbook_section() -> None:
    """Shigley's Mechanical Engineering Design, table A-18: pi d^4/64 and pi d^3/32."""
    assert tubes.second_moment_mm4(20.0, 0.0) == pytest.approx(np.pi * 20**4 / 64)
    assert tubes.section_modulus_mm3(20.0, 0.0) == pytest.approx(np.pi * 20**3 / 32)


def test_yield_moment_and_stress_are_inverse() -> None:
    moment = tubes.moment_at_stress_nm(34.9, 30.9, 436.0, 4.0)
    assert tubes.bending_stress_mpa(moment, 34.9, 30.9, 4.0) == pytest.approx(436.0)


def test_arrays_give_what_single_sizes_give() -> None:
    outside, slot = np.array([31.8, 34.9, 38.1]), np.array([0.0, 3.0, 5.0])
    many = tubes.section_modulus_mm3(outside, outside - 4, slot)
    assert isinstance(many, np.ndarray)
    one_by_one = [
        tubes.section_modulus_mm3(o, o - 4, s) for o, s in zip(outside, slot, strict=True)
    ]
    np.testing.assert_allclose(many, one_by_one)


@given(
    outside=st.floats(20, 60),
    wall=st.floats(1, 5),
    slot=st.floats(0, 6),
    more=st.floats(0.01, 2),
)
def test_a_wider_slot_never_makes_a_tube_stronger(
    outside: float, wall: float, slot: float, more: float
) -> None:
    bore = outside - 2 * wall
    for plane in ("slot", "side", "least"):
        narrow = tubes.section_modulus_mm3(outside, bore, slot, plane)
        wide = tubes.section_modulus_mm3(outside, bore, slot + more, plane)
        assert wide <= narrow * (1 + 1e-12)


@given(outside=st.floats(20, 60), wall=st.floats(1, 5), more=st.floats(0.1, 5))
def test_a_larger_tube_of_the_same_wall_is_stronger_and_stiffer_by_mass(
    outside: float, wall: float, more: float
) -> None:
    small = (outside, outside - 2 * wall)
    large = (outside + more, outside + more - 2 * wall)
    assert tubes.strength_per_mass(*large, 276, 2700) > tubes.strength_per_mass(*small, 276, 2700)
    assert tubes.stiffness_per_mass(*large, 69, 2700) > tubes.stiffness_per_mass(*small, 69, 2700)


def test_the_mass_band_holds_a_true_mass_and_refuses_a_slip() -> None:
    lengths = tubes.bar_tube_length_mm(600.0, 650.0)
    lo, hi = tubes.bar_mass_band_g(34.9, 30.9, lengths, 7850)
    true = tubes.tube_mass_g(34.9, 30.9, 1450.0, 7850)
    assert lo < true < hi
    assert not lo < true / 10 < hi, "a decimal point in the wrong place"
    assert not lo < true * 2700 / 7850 < hi, "the mass of an aluminium bar said to be steel"


@pytest.mark.parametrize(
    ("sizes", "says"),
    [
        ((30.0, 30.0, 0.0), "larger than the bore"),
        ((30.0, -1.0, 0.0), "less than 0"),
        ((30.0, 26.0, -1.0), "slot"),
        ((30.0, 26.0, 26.0), "narrower than the bore"),
    ],
)
def test_sizes_that_are_no_tube_are_refused(sizes: tuple[float, float, float], says: str) -> None:
    with pytest.raises(ValueError, match=says):
        tubes.section_modulus_mm3(*sizes)


# MIL-HDBK-5J: density in lb/in3 (looked up in copies of it); Ti-3Al-2.5V from ASM's data sheet
# MTA321 (a copy, scribd.com/document/322058320, seen on 2026-11-29).
HANDBOOK_DENSITY = {
    "steel-4130": 0.283,
    "aluminium-6061-t6": 0.098,
    "aluminium-7075-t6": 0.101,
    "titanium-6al-4v": 0.160,
    "titanium-3al-2.5v": 0.162,
}

# MIL-HDBK-5J, tensile yield in ksi: normalised 4130 tube (table 2.3.1.0(c1), S basis); drawn
# 6061-T6 tube (table 3.6.2.0(c1), S basis), both looked up in a copy. Ti-6Al-4V annealed:
# a mill's minimum of 120; ASTM B338 grade 9: 70 (both looked up in data sheets).
HANDBOOK_YIELD = {
    "steel-4130": 75,
    "aluminium-6061-t6": 35,
    "titanium-6al-4v": 120,
    "titanium-3al-2.5v": 70,
}


# Data sheets seen on 2026-11-29 (docs/mechanics.md lists them): what they give, in kg/m3, GPa and
# MPa, and how far rounding may go.
DATA_SHEETS = [
    ("stainless-304", "density_kg_m3", 8000, 0.0),
    ("stainless-304", "yield_mpa", 215, 0.0),
    ("stainless-304", "tensile_mpa", 505, 0.0),
    ("stainless-304", "modulus_gpa", 193, 0.0),
    ("stainless-304", "endurance_mpa", 240, 0.0),
    ("titanium-3al-2.5v", "density_kg_m3", 4480, 0.0),
    ("titanium-3al-2.5v", "tensile_mpa", 620, 0.0),
    ("titanium-3al-2.5v", "modulus_gpa", 100, 0.0),
    ("titanium-3al-2.5v", "endurance_mpa", 280, 0.0),
    ("aluminium-7005-t6", "density_kg_m3", 2780, 0.0),
    ("aluminium-7005-t6", "tensile_mpa", 350, 0.0),
    ("brass", "density_kg_m3", 8490, 0.002),
    ("brass", "modulus_gpa", 97, 0.0),
    ("brass", "yield_mpa", 124, 0.0),
    ("pom", "density_kg_m3", 1410, 0.0),
    ("pom", "yield_mpa", 65, 0.0),
    ("polypropylene", "modulus_gpa", 1.4, 0.0),
    ("polypropylene", "density_kg_m3", 910, 0.006),
    ("nylon", "density_kg_m3", 1140, 0.0),
    ("rubber", "density_kg_m3", 1150, 0.0),
]


@pytest.mark.parametrize(("name", "field", "figure", "slack"), DATA_SHEETS)
def test_figures_are_those_of_the_data_sheets(
    name: str, field: str, figure: float, slack: float
) -> None:
    assert getattr(material(name), field) == pytest.approx(figure, rel=slack + 1e-9)


def test_ranges_hold_what_the_data_sheets_give() -> None:
    """Minimum of ASTM B221 in ksi for 6061-T6; ends by temper or kind for the others, in MPa."""
    aluminium, steel = material("aluminium-6061-t6"), material("stainless-304")
    assert aluminium.tensile_range_mpa is not None and aluminium.yield_range_mpa is not None
    assert aluminium.tensile_range_mpa[0] == pytest.approx(38 * 6.894757, rel=0.01)
    assert aluminium.yield_range_mpa[0] == pytest.approx(35 * 6.894757, rel=0.01)
    assert steel.yield_range_mpa == (205, 310)
    assert material("brass").yield_range_mpa == (124, 310)
    assert material("pom").yield_range_mpa == (60, 72)
    nylon = material("nylon")
    assert nylon.yield_range_mpa is not None and nylon.yield_range_mpa[0] == 45
    assert nylon.yield_range_mpa[1] == pytest.approx(83, rel=0.03) and nylon.modulus_gpa == 2.0
    assert steel.tensile_range_mpa == (500, 700), "EN 10088-3, 1.4301"
    assert steel.endurance_range_mpa is not None
    assert steel.endurance_range_mpa[0] <= 0.45 * 505 <= steel.endurance_range_mpa[1]
    for name, *starts in (("aluminium", 145, 240), ("titanium", 275, 345)):  # 6061-T4, grade 2
        row = material(name)
        assert row.yield_range_mpa is not None and row.tensile_range_mpa is not None
        assert [row.yield_range_mpa[0], row.tensile_range_mpa[0]] == starts
    assert 1050 <= material("polyurethane").density_kg_m3 <= 1250
    polypropylene = material("polypropylene").yield_range_mpa
    assert polypropylene is not None and polypropylene[0] <= 31 < 37 <= polypropylene[1]


@pytest.mark.parametrize(("name", "pounds"), HANDBOOK_DENSITY.items())
def test_densities_agree_with_the_aerospace_handbook(name: str, pounds: float) -> None:
    in_metric = pounds * 0.45359237 / 0.0254**3
    assert material(name).density_kg_m3 == pytest.approx(in_metric, rel=8e-3)


@pytest.mark.parametrize(("name", "ksi"), HANDBOOK_YIELD.items())
def test_handbook_yields_lie_in_the_ranges(name: str, ksi: float) -> None:
    spread = material(name).yield_range_mpa
    assert spread is not None
    assert spread[0] * 0.99 <= ksi * 6.894757 <= spread[1] * 1.01


def test_every_material_is_consistent_and_names_its_source() -> None:
    for name, row in MATERIALS.items():
        assert row.name == name
        assert row.source and row.fatigue.endswith(".")
        assert 800 < row.density_kg_m3 < 9000
        if row.bears_load:
            assert row.yield_range_mpa is not None and row.yield_mpa is not None
            assert row.yield_range_mpa[0] <= row.yield_mpa <= row.yield_range_mpa[1]


def test_structural_metals_are_about_equally_stiff_by_density() -> None:
    """Ashby, Materials Selection in Mechanical Design: E/rho near 25 MN m/kg (from memory)."""
    for name in ("steel-4130", "aluminium-6061-t6", "titanium-6al-4v"):
        row = material(name)
        assert row.modulus_gpa is not None
        assert row.modulus_gpa * 1e3 / row.density_kg_m3 == pytest.approx(25.5, abs=1.5)


def test_a_family_alone_is_rated_no_stronger_than_its_usual_tube_alloy() -> None:
    for family, alloy in [
        ("steel", "steel-4130"),
        ("aluminium", "aluminium-6061-t6"),
        ("titanium", "titanium-3al-2.5v"),
    ]:
        assert material(family).yield_mpa <= material(alloy).yield_mpa


def test_an_unknown_material_is_answered_with_close_ones() -> None:
    with pytest.raises(KeyError, match="did you mean steel-4130"):
        material("steel-4310")
    with pytest.raises(KeyError, match="known are"):
        material("zzz")
