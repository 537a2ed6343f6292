"""Enquiries as distinct questions: what people own by what joints see of it."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import chain

import numpy as np

from fitgraph.array_types import Floats, Ints
from fitgraph.demand.menus import Menus, Shelf
from fitgraph.demand.served import Asked
from fitgraph.model import Catalogue, Enquiry
from fitgraph.records import dataclass
from fitgraph.solve import NamingError, Request, Services
from fitgraph.solve.arrays import dense, rank
from fitgraph.solve.query import TENTHS
from fitgraph.solve.request import check_material, find_part


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
        Limits as in :class:`fitgraph.demand.served.Asked`.
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
    called: str


def readable(
    catalogue: Catalogue, enquiries: Sequence[Enquiry]
) -> tuple[list[Enquiry], list[tuple[str, ...]], list[str | None], list[LeftOut]]:
    """Return what can be asked, with its parts and material as they are spelt, and what cannot.

    Parameters
    ----------
    catalogue : Catalogue
        The parts there are.
    enquiries : sequence of Enquiry
        What people asked for.

    Returns
    -------
    enquiries : list of Enquiry
        Those that can be asked, in order.
    owned : list of tuple of str
        The stock numbers that each names.
    wanted : list of (str or None)
        The material that each asks for.
    left_out : list of LeftOut
        Those that name a part or material which is not there.
    """
    spelt: dict[str, str] = {}
    materials: dict[str | None, str | None] = {None: None, "": None}
    no_material: dict[str | None, str] = {}
    no_part: dict[str, str] = {}
    for word in {e.material for e in enquiries} - materials.keys():
        try:
            materials[word] = check_material(word or "")
        except NamingError as error:
            no_material[word] = str(error)
    for sku in set(chain.from_iterable(e.have for e in enquiries)) - catalogue.parts.keys():
        try:
            spelt[sku] = find_part(catalogue, sku).sku
        except NamingError as error:
            no_part[sku] = str(error)
    if not (spelt or no_material or no_part):
        kept = list(enquiries)
        return kept, [e.have for e in kept], [materials[e.material] for e in kept], []
    kept, left = [], []
    for enquiry in enquiries:
        faults = [no_part[sku] for sku in enquiry.have if sku in no_part]
        if enquiry.material in no_material:
            faults.insert(0, no_material[enquiry.material])
        if faults:
            left.append(LeftOut(enquiry.number, faults[0], enquiry.called))
        else:
            kept.append(enquiry)
    owned = [tuple(spelt.get(sku, sku) for sku in e.have) for e in kept]
    return kept, owned, [materials[e.material] for e in kept], left


def _own_menus(
    menus: Menus, owned: Sequence[tuple[str, ...]], wanted: Sequence[str | None]
) -> tuple[Ints, Floats]:
    """Return the menu of each enquiry's own parts for each role, and the mass left out."""
    parts = menus.space.catalogue.parts
    place_of = {role: n for n, role in enumerate(menus.roles)}
    number_of = {sku: n for n, sku in enumerate(parts)}
    skus, role_of = list(parts), np.array([place_of[p.role] for p in parts.values()], dtype=np.intp)
    who = np.repeat(np.arange(len(owned)), [len(have) for have in owned])
    part = np.array([number_of[sku] for have in owned for sku in have], dtype=np.intp)
    names = {word: n for n, word in enumerate(dict.fromkeys(wanted))}
    material = np.array([names[word] for word in wanted], dtype=np.intp)[who]
    rows = np.full((len(owned), len(menus.roles)), -1, dtype=np.intp)
    masses = np.zeros(rows.shape)
    role = role_of[part] if len(part) else part
    spot = who * len(menus.roles) + role
    alone = np.bincount(spot, minlength=rows.size)[spot] == 1
    kinds = menus.space.catalogue.vocabulary.roles
    for at, name in enumerate(menus.roles):
        of_role = np.flatnonzero(alone & (role == at))
        for word, m in names.items() if kinds[name].by_material else [(None, 0)]:
            here = of_role[material[of_role] == m] if kinds[name].by_material else of_role
            if len(here):
                distinct, used = np.unique(part[here], return_inverse=True)
                number, shared = menus.owned_each(at, [skus[p] for p in distinct], word)
                rows[who[here], at] = number[used.reshape(-1)]
                masses[who[here], at] = shared[used.reshape(-1)]
    several: dict[tuple[int, int], set[str]] = {}  # two of a role: either may be taken
    for n in np.flatnonzero(~alone).tolist():
        several.setdefault((int(who[n]), int(role[n])), set()).add(skus[part[n]])
    for (n, at), named in several.items():
        rows[n, at], masses[n, at] = menus.owned(at, frozenset(named), wanted[n])
    return rows, masses.sum(axis=1)


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
    kept, owned, wanted, left = readable(catalogue, enquiries)
    own, shared = _own_menus(menus, owned, wanted)
    # A material that every role chosen by it has settled already asks for nothing more.
    by_material = [catalogue.vocabulary.roles[r].by_material for r in menus.roles]
    settled = (own[:, by_material] >= 0).all(axis=1)
    materials: dict[str | None, int] = {}
    material = np.array(
        [
            materials.setdefault(None if done else word, len(materials))
            for word, done in zip(wanted, settled.astype(bool), strict=True)
        ],
        dtype=np.intp,
    )
    budget = np.array([np.inf if e.budget is None else e.budget for e in kept], dtype=float)
    grams = np.array([np.inf if e.max_mass_g is None else e.max_mass_g for e in kept], dtype=float)
    tenths = np.rint(grams * TENTHS) - shared
    first, of = dense([*(own + 1).T, material, rank(budget), rank(tenths)])
    weight = np.bincount(of, [e.weight for e in kept], minlength=len(first)).astype(float)
    questions = Questions(
        menus,
        own[first],
        material[first],
        tuple(materials),
        budget[first],
        tenths[first],
        weight,
        of,
    )
    return questions, tuple(kept), tuple(left)
