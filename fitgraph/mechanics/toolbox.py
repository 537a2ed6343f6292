"""What a designer or a workshop may want to work out beside fits, gathered in one place.

The package asks some of it; the rest is for whoever plans a clamp, a press fit or a stack of
tolerances in a notebook. docs/mechanics.md says where each formula comes from and what it leaves
out; a strength is a comparison and no certificate.

Examples
--------
>>> from fitgraph.mechanics import toolbox
>>> toolbox.parse_class("28.6 h9")[0], toolbox.standard_tolerance_mm(28.6, 9)
(28.6, 0.052)
"""

from fitgraph.mechanics.clamps import (
    NUT_FACTORS,
    REUSED_SHARE_OF_PROOF,
    bolt_preload_n,
    check_torque,
    clamp_grip,
    slotted_end_gap_mm,
    torque_for_preload_nm,
)
from fitgraph.mechanics.crush import tube_crush, two_line_flattening_mm
from fitgraph.mechanics.grip import STEERING_TORQUES, bolts_within
from fitgraph.mechanics.limits_and_fits import (
    deviations_mm,
    expected_clearance_mm,
    fit_kind,
    parse_class,
    standard_tolerance_mm,
)
from fitgraph.mechanics.materials import MATERIALS
from fitgraph.mechanics.notches import neuber_root_of_steel, slot_end_factor
from fitgraph.mechanics.press_fits import press_fit, shaft_stress_mpa, slip_torque_nm
from fitgraph.mechanics.slots import closes_by_mm, width_to_close_by_mm
from fitgraph.mechanics.stackup import (
    ChainDimension,
    Pair,
    rss_mm,
    share_of_assemblies,
    share_that_fit,
    share_that_fit_normal,
    share_within,
    simulate_mm,
    worst_case_mm,
)
from fitgraph.mechanics.standards import INCH_TUBES, bearing, head_tube
from fitgraph.mechanics.threads import bolt_shear_area_mm2, stripping
from fitgraph.mechanics.tubes import (
    bar_tube_length_mm,
    bending_stress_mpa,
    stiffness_nm2,
    stiffness_per_mass,
    strength_per_mass,
    tube_mass_g,
)

__all__ = [
    "INCH_TUBES",
    "MATERIALS",
    "NUT_FACTORS",
    "REUSED_SHARE_OF_PROOF",
    "STEERING_TORQUES",
    "ChainDimension",
    "Pair",
    "bar_tube_length_mm",
    "bearing",
    "bending_stress_mpa",
    "bolt_preload_n",
    "bolt_shear_area_mm2",
    "bolts_within",
    "check_torque",
    "clamp_grip",
    "closes_by_mm",
    "deviations_mm",
    "expected_clearance_mm",
    "fit_kind",
    "head_tube",
    "neuber_root_of_steel",
    "parse_class",
    "press_fit",
    "rss_mm",
    "shaft_stress_mpa",
    "share_of_assemblies",
    "share_that_fit",
    "share_that_fit_normal",
    "share_within",
    "simulate_mm",
    "slip_torque_nm",
    "slot_end_factor",
    "slotted_end_gap_mm",
    "standard_tolerance_mm",
    "stiffness_nm2",
    "stiffness_per_mass",
    "strength_per_mass",
    "stripping",
    "torque_for_preload_nm",
    "tube_crush",
    "tube_mass_g",
    "two_line_flattening_mm",
    "width_to_close_by_mm",
    "worst_case_mm",
]
