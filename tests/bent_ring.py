"""A slotted ring in plane stress and large displacements, bent until its faces meet.

Finite elements of the general library scikit-fem (nine-node quadrilaterals, total Lagrangian,
St Venant-Kirchhoff), half of the ring by symmetry. The face beside the slot turns as a plane,
free to move as a whole, which is pure bending. Nothing is shared with the formula under test.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy.sparse import csr_matrix
from scipy.sparse.linalg import spsolve
from skfem import Basis, BilinearForm, ElementQuad2, ElementVector, LinearForm, MeshQuad, MeshQuad2
from skfem.helpers import grad

MODULUS, POISSON = 205e3, 0.3
_BULK = MODULUS * POISSON / (1 - POISSON**2)
_SHEAR = MODULUS / (2 * (1 + POISSON))
_ONE = np.eye(2)[:, :, None, None]


def _stress(strain: np.ndarray) -> np.ndarray:
    return _BULK * (strain[0, 0] + strain[1, 1]) * _ONE + 2 * _SHEAR * strain


def _times(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    return np.einsum("ik...,kj...->ij...", a, b)


def _turned(a: np.ndarray) -> np.ndarray:
    return np.einsum("ij...->ji...", a)


@LinearForm
def _inner_forces(v: Any, w: Any) -> np.ndarray:
    f = w["u"].grad + _ONE
    stress = _stress((_times(_turned(f), f) - _ONE) / 2)
    return np.einsum("ij...,ij...", _times(f, stress), grad(v))


@BilinearForm
def _tangent(u: Any, v: Any, w: Any) -> np.ndarray:
    f, h = w["u"].grad + _ONE, grad(u)
    stress = _stress((_times(_turned(f), f) - _ONE) / 2)
    more = _stress((_times(_turned(h), f) + _times(_turned(f), h)) / 2)
    return np.einsum("ij...,ij...", _times(h, stress) + _times(f, more), grad(v))


def closure_mm(width: float, bore: float, outside: float) -> tuple[float, float]:
    """Return what the bore loses in diameter when the faces meet, and how far it is from round."""
    flat = MeshQuad2.from_mesh(
        MeshQuad.init_tensor(np.linspace(0, 1, 25), np.linspace(0, 1, 2))  # around, through
    )
    radius = bore / 2 + flat.doflocs[1] * (outside - bore) / 2
    angle = flat.doflocs[0] * (np.pi - np.arcsin(width / 2 / radius))
    mesh = MeshQuad2(np.array([radius * np.sin(angle), -radius * np.cos(angle)]), flat.t)
    basis = Basis(mesh, ElementVector(ElementQuad2()), intorder=4)
    along = np.ones(basis.N, dtype=int)
    for dofs in (basis.nodal_dofs, basis.facet_dofs, basis.interior_dofs):
        along[dofs[0]] = 0
    x, y = basis.doflocs
    reach = np.hypot(x, y)
    face = np.isclose(np.arctan2(x, -y), np.pi - np.arcsin(width / 2 / reach), atol=1e-7)
    middle = np.isclose(x, 0, atol=1e-9) & (y < 0)
    held = middle & ((along == 0) | np.isclose(reach, bore / 2))
    free = ~held & ~face
    # Unknowns: the free displacements, then the two by which the face moves as a whole.
    column = np.full(basis.N, -1)
    column[free] = np.arange(free.sum())
    column[face] = free.sum() + along[face]
    row = np.nonzero(column >= 0)[0]
    spread = csr_matrix((np.ones(len(row)), (row, column[row])), shape=(basis.N, free.sum() + 2))
    edge = np.array([width / 2, np.sqrt((outside / 2) ** 2 - (width / 2) ** 2)])

    def bend(turn: float, start: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        c, s = np.cos(turn), np.sin(turn)
        right, up = x - edge[0], y - edge[1]
        swing = np.where(along == 0, c * right - s * up - right, s * right + c * up - up)
        unknown = start
        for _ in range(25):
            moved = spread @ unknown + np.where(face, swing, 0.0)
            at = basis.interpolate(moved)
            left = spread.T @ _inner_forces.assemble(basis, u=at)
            if np.abs(left).max() < 1e-6:
                return unknown, moved
            stiffness = spread.T @ _tangent.assemble(basis, u=at) @ spread
            unknown = unknown - spsolve(stiffness.tocsc(), left)
        raise AssertionError("the ring does not come to rest")

    # The outer edge reaches the middle of the slot: a search by secants over the face's turn.
    turns, gaps = [0.0], [float(edge[0])]
    unknown = np.zeros(free.sum() + 2)
    turn = 0.4 * np.arcsin(width / outside)
    while abs(gaps[-1]) > 1e-6:
        unknown, moved = bend(turn, unknown)
        turns.append(turn)
        gaps.append(float(edge[0] + unknown[-2]))
        turn = turns[-1] - gaps[-1] * (turns[-1] - turns[-2]) / (gaps[-1] - gaps[-2])
    nodes = np.hstack([basis.nodal_dofs, basis.facet_dofs])
    nodes = nodes[:, np.isclose(reach[nodes[0]], bore / 2)]
    round_ = np.array([x[nodes[0]] + moved[nodes[0]], y[nodes[1]] + moved[nodes[1]]])
    # The best circle through the bore, by linear least squares.
    fit = np.linalg.lstsq(
        np.column_stack([2 * round_.T, np.ones(round_.shape[1])]), (round_**2).sum(0), rcond=None
    )[0]
    best = np.sqrt(fit[2] + fit[0] ** 2 + fit[1] ** 2)
    off = np.abs(np.hypot(round_[0] - fit[0], round_[1] - fit[1]) - best).max()
    return float(bore - 2 * best), float(off)
