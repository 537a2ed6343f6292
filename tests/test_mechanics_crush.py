"""Crushing of tubes: Roark's rings by integration, curved beams by finite elements."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from skfem import (
    Basis,
    BilinearForm,
    ElementQuad2,
    ElementVector,
    MeshQuad,
    MeshQuad2,
    condense,
    solve,
)
from skfem.helpers import ddot, sym_grad, trace

from fitgraph.mechanics import crush

RADIUS, WALL, HEIGHT, MODULUS = 16.0, 0.4, 40.0, 70.0
OUTSIDE, BORE = 2 * RADIUS + WALL, 2 * RADIUS - WALL
BENDING = MODULUS * 1e3 * HEIGHT * WALL**3 / 12


def _moment(angle: float) -> float:
    """Return the moment by W R: Roark, table 9.2, case 1, thin ring: 0.3183 under the load."""
    return 1 / np.pi - np.sin(angle) / 2


def test_two_line_moments_are_roarks_figures() -> None:
    """0.3183 W R at the load, -0.1817 W R beside; 0.1488 and 0.1366 for the diameters."""
    assert _moment(0) == pytest.approx(0.3183, abs=1e-4)
    assert _moment(np.pi / 2) == pytest.approx(-0.1817, abs=1e-4)
    # The section does not turn where symmetry holds it: the moments add up to nothing.
    assert quad(_moment, 0, np.pi / 2)[0] == pytest.approx(0, abs=1e-12)
    force = 10.0
    stress = crush.two_line_stress_mpa(force, OUTSIDE, BORE, HEIGHT)
    assert stress == pytest.approx(6 * 0.3183 * force * RADIUS / (HEIGHT * WALL**2), rel=0.01)
    shrinks = crush.two_line_flattening_mm(force, OUTSIDE, BORE, HEIGHT, MODULUS)
    assert shrinks == pytest.approx(0.1488 * force * RADIUS**3 / BENDING, rel=1e-3)
    fills = crush.force_that_fills_n(0.5, OUTSIDE, BORE, HEIGHT, MODULUS)
    assert 0.1366 * fills * RADIUS**3 / BENDING == pytest.approx(0.5, rel=1e-3)


def test_flattening_is_a_published_benchmark() -> None:
    """10 mm x 5 mm steel ring of 100 mm mean radius, 10 N: half of it 3.57e-5 m.

    pi/4 - 2/pi after Timoshenko and Young, section 79, and Roark, table 9, case 1
    (solver-docs.pages.dev, verification/pinched_ring.html, seen on 2026-11-29).
    """
    shrinks = crush.two_line_flattening_mm(10.0, 205.0, 195.0, 10.0, 200.0)
    assert shrinks / 2 == pytest.approx(3.57e-2, abs=5e-5)


def test_collapse_is_a_published_example() -> None:
    """Roark, long tube under lateral pressure: 6.75 in by 0.375 in, 29e6 psi, nu 0.29: 1357 psi.

    A worked sheet of table 35, case 19a (studylib.net/doc/26029783, seen on 2026-11-29).
    """
    inch, psi = 25.4, 6.894757e-3
    outside, bore = (2 * 6.75 + 0.375) * inch, (2 * 6.75 - 0.375) * inch
    ours = crush.collapse_pressure_mpa(outside, bore, 29e6 * psi / 1e3, 0.29) / psi
    assert ours == pytest.approx(1357, abs=0.5)


def test_flattening_agrees_with_castigliano_by_integration() -> None:
    """Four quarters, each with M dM/dW / (E I)."""
    shrinks = 4 * quad(lambda a: _moment(a) ** 2, 0, np.pi / 2)[0] * RADIUS**3 / BENDING
    assert crush.two_line_flattening_mm(1.0, OUTSIDE, BORE, HEIGHT, MODULUS) == (
        pytest.approx(shrinks)
    )


@BilinearForm
def _stiffness(u: Any, v: Any, _: Any) -> np.ndarray:
    strain = sym_grad(u)
    return 0.3 / 0.91 * trace(strain) * trace(sym_grad(v)) + ddot(strain, sym_grad(v)) / 1.3


@pytest.mark.parametrize("thickness", [0.1, 0.3])
def test_stress_of_a_thick_ring_agrees_with_finite_elements(thickness: float) -> None:
    """A quarter of a ring (scikit-fem), point load outside; stress at the bore under it."""
    flat = MeshQuad2.from_mesh(MeshQuad.init_tensor(np.linspace(0, 1, 41), np.linspace(0, 1, 7)))
    radius = 1 + thickness * (flat.doflocs[1] - 0.5)
    angle = flat.doflocs[0] * np.pi / 2
    mesh = MeshQuad2(np.array([radius * np.sin(angle), radius * np.cos(angle)]), flat.t)
    basis = Basis(mesh, ElementVector(ElementQuad2()), intorder=4)
    x, y = basis.doflocs
    along = np.ones(basis.N, dtype=int)
    for dofs in (basis.nodal_dofs, basis.facet_dofs, basis.interior_dofs):
        along[dofs[0]] = 0
    loaded = np.isclose(x, 0, atol=1e-9) & np.isclose(y, 1 + thickness / 2) & (along == 1)
    force = np.where(loaded, -0.5, 0.0)
    held = np.nonzero(
        (np.isclose(x, 0, atol=1e-9) & (along == 0)) | (np.isclose(y, 0, atol=1e-9) & (along == 1))
    )[0]
    moved = solve(*condense(_stiffness.assemble(basis), force, D=held))
    # Strain around the bore under the load, from the arc's first two nodes.
    pairs = np.hstack([basis.nodal_dofs, basis.facet_dofs])
    at_bore = np.isclose(np.hypot(x[pairs[0]], y[pairs[0]]), 1 - thickness / 2)
    arc = pairs[:, at_bore][:, np.argsort(x[pairs[0, at_bore]])][:, :2]
    apart = [
        np.hypot(*(np.diff(np.array([x[arc[0]], y[arc[0]]]) + factor * moved[arc])[:, 0]))
        for factor in (0.0, 1e-6)
    ]
    found = (apart[1] / apart[0] - 1) / 1e-6
    computed = crush.two_line_stress_mpa(1.0, 2 + thickness, 2 - thickness, 1.0)
    # A load that stands on a point spreads in a wedge, which a beam's theory leaves out.
    assert found < computed < 1.05 * found


def test_even_pressure_on_a_thin_tube_is_the_boiler_formula() -> None:
    """Thin-walled limit p r / t (Shigley, section 3-14), within the wall's share."""
    assert crush.even_stress_mpa(10.0, 40.0, 39.6) == pytest.approx(10 * 20 / 0.2, rel=0.02)


def test_collapse_is_the_ring_that_buckles_into_an_oval() -> None:
    """Timoshenko, Gere, Theory of Elastic Stability, section 7.3: 3 E I / R^3, per length."""
    per_length = MODULUS * 1e3 / (1 - 0.3**2) * WALL**3 / 12
    assert crush.collapse_pressure_mpa(OUTSIDE, BORE, MODULUS) == (
        pytest.approx(3 * per_length / RADIUS**3)
    )


@given(
    hoop=st.floats(0, 3e4),
    wall=st.floats(0.8, 4),
    room=st.floats(0, 1),
    more=st.floats(0, 1),
)
def test_less_room_and_less_pull_never_crush_more(
    hoop: float, wall: float, room: float, more: float
) -> None:
    sizes = (31.8, 31.8 - 2 * wall, 40.0, 70.0, 276.0)
    tight, wide = (crush.tube_crush(hoop, *sizes, room=r) for r in (room, room + more))
    unknown, gentle = crush.tube_crush(hoop, *sizes), crush.tube_crush(hoop / 2, *sizes, room=room)
    assert tight.stress_mpa[0] == wide.stress_mpa[0] <= tight.stress_mpa[1]
    assert tight.stress_mpa[1] <= wide.stress_mpa[1] <= unknown.stress_mpa[1]
    assert gentle.stress_mpa[1] <= tight.stress_mpa[1]
    assert tight.possibly >= tight.for_certain and unknown.possibly >= tight.possibly


def test_a_clamp_without_room_presses_evenly() -> None:
    snug = crush.tube_crush(8000.0, 31.8, 29.0, 40.0, 68.9, 276.0, room=0.0)
    assert snug.stress_mpa[0] == snug.stress_mpa[1] and not snug.possibly
    loose = crush.tube_crush(8000.0, 31.8, 29.0, 40.0, 68.9, 276.0)
    assert loose.possibly and not loose.for_certain


def test_arguments_without_sense_are_refused() -> None:
    with pytest.raises(ValueError, match="bore"):
        crush.two_line_stress_mpa(1.0, 30.0, 0.0, 10.0)
    with pytest.raises(ValueError, match="tension"):
        crush.tube_crush(-1.0, 31.8, 29.0, 40.0, 68.9, 276.0)
    with pytest.raises(ValueError, match="room"):
        crush.force_that_fills_n(-0.1, 31.8, 29.0, 40.0, 68.9)
