"""Stress around an opening in a wide plate under tension, by plane finite elements.

General library scikit-fem, six-node triangles, a quarter of the plate. Nothing is shared with
the formulas under test.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from skfem import (
    Basis,
    BilinearForm,
    ElementTriP2,
    ElementVector,
    FacetBasis,
    LinearForm,
    MeshTri,
    condense,
    solve,
)
from skfem.helpers import ddot, sym_grad, trace

POISSON = 0.3
_BULK, _SHEAR = POISSON / (1 - POISSON**2), 1 / (2 * (1 + POISSON))


@BilinearForm
def _stiffness(u: Any, v: Any, _: Any) -> np.ndarray:
    strain = sym_grad(u)
    return _BULK * trace(strain) * trace(sym_grad(v)) + 2 * _SHEAR * ddot(strain, sym_grad(v))


@LinearForm
def _pull(v: Any, w: Any) -> np.ndarray:
    return w.n[1] * v[1]


def _quarter(half: float, length: float, radius: float) -> np.ndarray:
    """Return points on the opening's edge, from its end (0, length) to its side (half, 0)."""
    points = []
    if half > radius:
        points += [((half - radius) * q, length) for q in np.linspace(0, 1, 31)[:-1] ** 0.6]
    turn = np.linspace(0, np.pi / 2, 37)
    points += [
        (half - radius + radius * np.sin(a), length - radius + radius * np.cos(a)) for a in turn
    ]
    if length > radius:
        points += [(half, (length - radius) * (1 - q)) for q in np.linspace(0, 1, 25)[1:] ** 2.5]
    return np.array(points)


def concentration(half: float, length: float, radius: float) -> float:
    """Return the peak stress over the plate's, for an opening along the tension.

    Half its width, half its length along the tension, and the radius of its corners.
    """
    edge, far, layers = _quarter(half, length, radius), 15 * length, 36
    angle = np.pi / 2 * (1 - np.linspace(0, 1, len(edge)))
    outer = far * np.column_stack([np.cos(angle), np.sin(angle)])
    growth = (far / (0.05 * radius)) ** (1 / layers)
    out = np.concatenate([[0], np.cumsum(growth ** np.arange(layers))])
    out /= out[-1]
    points = edge[:, None] * (1 - out)[None, :, None] + outer[:, None] * out[None, :, None]
    at = np.arange(len(edge) * (layers + 1)).reshape(len(edge), layers + 1)
    a, b, c, d = (x.ravel() for x in (at[:-1, :-1], at[1:, :-1], at[1:, 1:], at[:-1, 1:]))
    mesh = MeshTri(
        np.ascontiguousarray(points.reshape(-1, 2).T),
        np.ascontiguousarray(np.hstack([[a, b, c], [a, c, d]])),
    )
    element = ElementVector(ElementTriP2())
    basis = Basis(mesh, element)
    on_rim = mesh.facets_satisfying(lambda x: np.hypot(*x) > 0.98 * far, boundaries_only=True)
    rim = FacetBasis(mesh, element, facets=on_rim)
    x, y = basis.doflocs
    along = np.ones(basis.N, dtype=int)
    for dofs in (basis.nodal_dofs, basis.facet_dofs):
        along[dofs[0]] = 0
    held = np.nonzero((np.isclose(x, 0) & (along == 0)) | (np.isclose(y, 0) & (along == 1)))[0]
    moved = solve(*condense(_stiffness.assemble(basis), _pull.assemble(rim), D=held))
    on_edge = mesh.facets_satisfying(
        lambda p: (p[0] <= half + 1e-6) & (p[1] <= length + 1e-6), boundaries_only=True
    )
    hole = FacetBasis(mesh, element, facets=on_edge, intorder=6)
    gradient = hole.interpolate(moved).grad
    strain = (gradient + np.einsum("ij...->ji...", gradient)) / 2
    stress = _BULK * (strain[0, 0] + strain[1, 1]) * np.eye(2)[:, :, None, None]
    stress = stress + 2 * _SHEAR * strain
    tangent = np.array([-hole.normals[1], hole.normals[0]])
    return float(np.einsum("i...,ij...,j...", tangent, stress, tangent).max())
