"""Enquiries as distinct questions: what people own by what joints see of it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fitgraph.model import Enquiry
from fitgraph.solve import NamingError, Request, Services
from fitgraph.solve.query import TENTHS
from fitgraph.solve.request import check_material, find_part
from fitgraph.stock.least import dense
from fitgraph.stock.menus import Menus, Shelf
from fitgraph.stock.served import Asked

Ints = npt.NDArray[np.intp]
Floats = npt.NDArray[np.float64]


def request_of(enquiry: Enquiry, *, in_stock: bool) -> Request:
    """Return an enquiry as a question: the workshop may work on any part."""
    return Request(
        have=enquiry.have,
        budget=enquiry.budget,
        max_mass_g=enquiry.max_mass_g,
        in_stock=in_stock,
        material=enquiry.material,
        services=Services.ANY,
    )


@dataclass(frozen=True, slots=True)
class Questions:
    """Distinct questions, and which enquiries ask them.

    Parameters
    ----------
    menus : Menus
        Whose numbers are used.
    own : ndarray of int, shape (n_questions, n_roles)
        The menu of what is owned for each role, -1 where nothing is.
    material : ndarray of int, shape (n_questions,)
        Place in `materials` of the material asked for.
    materials : tuple of str or None
        Materials asked for.
    budget, tenths : ndarray of float, shape (n_questions,)
        Limits as in :class:`fitgraph.stock.served.Asked`.
    weight : ndarray of float, shape (n_questions,)
        How many enquiries ask it.
    of : ndarray of int, shape (n_enquiries,)
        The question of each enquiry.
    """

    menus: Menus
    own: Ints
    material: Ints
    materials: tuple[str | None, ...]
    budget: Floats
    tenths: Floats
    weight: Floats
    of: Ints

    def __len__(self) -> int:
        return len(self.own)

    def asked_of(self, shelf: Shelf, at: Ints | None = None) -> Asked:
        """Return the questions, or those at some places, with a shelf for what is not owned."""
        at = np.arange(len(self)) if at is None else at
        own, material = self.own[at], self.material[at]
        numbers = np.zeros((len(self.materials), own.shape[1]), dtype=np.intp)
        for m in np.unique(material):
            numbers[m] = [
                self.menus.shelf(r, shelf, self.materials[m]) for r in range(own.shape[1])
            ]
        return Asked(np.where(own < 0, numbers[material], own), self.budget[at], self.tenths[at])


@dataclass(frozen=True, slots=True)
class LeftOut:
    """An enquiry that cannot be asked, and why."""

    number: str
    why: str


def _by_role(
    have: Sequence[str], role_of: Mapping[str, int]
) -> Iterable[tuple[int, tuple[str, ...]]]:
    """Return what is owned for each role, by the role's place."""
    owned: dict[int, tuple[str, ...]] = {role_of[sku]: (sku,) for sku in have}
    if len(owned) < len(have):  # two of a role: either may be taken
        for at in owned:
            owned[at] = tuple(sorted({s for s in have if role_of[s] == at}))
    return owned.items()


def questions_of(
    menus: Menus, enquiries: Sequence[Enquiry]
) -> tuple[Questions, tuple[Enquiry, ...], tuple[LeftOut, ...]]:
    """Return the distinct questions of enquiries.

    Parameters
    ----------
    menus : Menus
        Of the compiled catalogue.
    enquiries : sequence of Enquiry
        What people asked for.

    Returns
    -------
    questions : Questions
        One for all enquiries that nothing can tell apart.
    enquiries : tuple of Enquiry
        Those that could be asked, in order.
    left_out : tuple of LeftOut
        Those that name a part or material which is not there.
    """
    catalogue = menus.space.catalogue
    place_of = {role: n for n, role in enumerate(menus.roles)}
    by_material = [catalogue.vocabulary.roles[r].by_material for r in menus.roles]
    role_of = {sku: place_of[part.role] for sku, part in catalogue.parts.items()}
    known: dict[tuple[int, tuple[str, ...], str | None], tuple[int, float]] = {}
    checked: dict[str | None, str | None] = {None: None, "": None}
    materials: dict[str | None, int] = {}
    rows, limits, kept, left = [], [], [], []
    blank = [-1] * len(menus.roles)
    for enquiry in enquiries:
        try:
            if enquiry.material not in checked:
                checked[enquiry.material] = check_material(enquiry.material or "")
            material = checked[enquiry.material]
            have = [s if s in role_of else find_part(catalogue, s).sku for s in enquiry.have]
        except NamingError as error:
            left.append(LeftOut(enquiry.number, str(error)))
            continue
        row, shared = blank.copy(), 0.0
        for at, skus in _by_role(have, role_of):
            key = (at, skus, material if by_material[at] else None)
            found = known.get(key)
            if found is None:
                found = known[key] = menus.owned(at, frozenset(skus), key[2])
            row[at] = found[0]
            shared += found[1]
        # A material that every role chosen by it has settled already asks for nothing more.
        open_ = any(b and row[n] < 0 for n, b in enumerate(by_material))
        asked_for = materials.setdefault(material if open_ else None, len(materials))
        limit = enquiry.max_mass_g
        rows.append((*row, asked_for))
        limits.append(
            (
                np.inf if enquiry.budget is None else float(enquiry.budget),
                np.inf if limit is None else round(limit * TENTHS) - shared,
            )
        )
        kept.append(enquiry)
    columns = np.array(rows, dtype=np.intp).reshape(-1, len(blank) + 1)
    bounds = np.array(limits, dtype=float).reshape(-1, 2)
    ranks = [np.unique(b, return_inverse=True)[1].reshape(-1) for b in bounds.T]
    first, of = dense([*(columns[:, :-1] + 1).T, columns[:, -1], *ranks])
    weight = np.bincount(of, [e.weight for e in kept], minlength=len(first)).astype(float)
    questions = Questions(
        menus,
        columns[first, :-1],
        columns[first, -1],
        tuple(materials),
        bounds[first, 0],
        bounds[first, 1],
        weight,
        of,
    )
    return questions, tuple(kept), tuple(left)
