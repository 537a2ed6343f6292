"""What a question asks for, taken apart into elements that can be dropped one by one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field

import numpy as np
import numpy.typing as npt

from fitgraph.array_types import Bools, Floats
from fitgraph.model import Fill, Joint
from fitgraph.records import dataclass
from fitgraph.solve.query import TENTHS
from fitgraph.solve.request import Request, allowed
from fitgraph.solve.space import Space

Codes = npt.NDArray[np.uint8]

#: The kinds of element: a role is filled by what was named; a role that nobody named stays
#: empty; no work is done on a role's part; a filter; a limit; a joint has to be made.
PICK, ABSENT, PLAIN = "part", "nothing added", "no work"
MATERIAL, STOCK = "material", "in stock"
BUDGET, MASS = "budget", "mass"
JOINT = "joint"

#: What one option can break, as bits of its code.
_PICK, _ABSENT, _PLAIN, _MATERIAL, _STOCK, _WEIGHED = (1 << n for n in range(6))


@dataclass(frozen=True, slots=True)
class Element:
    """One thing that is asked for, or that has to hold.

    Parameters
    ----------
    kind : str
        One of the kinds above.
    role : str or None
        For what is asked of one role.
    skus : tuple of str
        For ``PICK``: the stock numbers, one of which fills the role.
    joint : Joint or None
        For ``JOINT``.
    figure : float or None
        For ``BUDGET`` in minor currency units, for ``MASS`` in g.
    word : str or None
        For ``MATERIAL``.
    """

    kind: str
    role: str | None = None
    skus: tuple[str, ...] = ()
    joint: Joint | None = field(default=None, compare=False)
    figure: float | None = None
    word: str | None = None
    name: str = ""


@dataclass(frozen=True, slots=True)
class AskedElements:
    """What is asked, and what each option of each role breaks of it.

    Parameters
    ----------
    space : Space
        The compiled catalogue.
    elements : tuple of Element
        What is asked for; joints are not among them.
    allowed : mapping of str to ndarray of bool
        Options that may be used at all, whatever is dropped.
    broken : mapping of str to ndarray of uint8
        What each option breaks, as bits.
    meaning : mapping of str to tuple of int or None
        For each role and bit the place of the element; None where the bit
        is not used.
    price : mapping of str to ndarray of float
        What each option costs, in minor currency units.
    tenths : mapping of str to ndarray of float
        Mass in tenths of a gram; zero where it is not known.
    """

    space: Space
    elements: tuple[Element, ...]
    allowed: Mapping[str, Bools]
    broken: Mapping[str, Codes]
    meaning: Mapping[str, tuple[int | None, ...]]
    price: Mapping[str, Floats]
    tenths: Mapping[str, Floats]

    def place(self, kind: str) -> int | None:
        """Return the place of the element of a kind that there is once."""
        return next((n for n, e in enumerate(self.elements) if e.kind == kind), None)

    def broken_by(self, role: str, code: int) -> int:
        """Return the elements that a code breaks, as a set of bits."""
        found = 0
        for bit, place in enumerate(self.meaning[role]):
            if place is not None and code >> bit & 1:
                found |= 1 << place
        return found

    def lets(self, role: str, dropped: int) -> Bools:
        """Return the options that break nothing but dropped elements."""
        codes, allowed = self.broken[role], self.allowed[role]
        fine = np.zeros(256, dtype=bool)
        fine[[c for c in set(codes.tolist()) if not self.broken_by(role, c) & ~dropped]] = True
        return np.asarray(allowed & fine[codes])


class _Builder:
    def __init__(self, space: Space) -> None:
        self.space = space
        self.elements: list[Element] = []
        self.allowed: dict[str, Bools] = {}
        self.broken: dict[str, Codes] = {}
        self.meaning: dict[str, list[int | None]] = {r: [None] * 6 for r in space.options}
        for role, facts in space.facts.items():
            self.broken[role] = np.zeros(len(facts.void), dtype=np.uint8)

    def element(self, element: Element) -> int:
        self.elements.append(element)
        return len(self.elements) - 1

    def breaks(self, role: str, bit: int, mask: Bools, place: int) -> None:
        self.broken[role][mask] |= bit
        self.meaning[role][bit.bit_length() - 1] = place

    def plain(self, role: str, mask: Bools) -> None:
        """Add that no work is done, where there is work that could be."""
        if (mask & self.allowed[role]).any():
            self.breaks(role, _PLAIN, mask, self.element(Element(PLAIN, role)))

    def question(self, price: Mapping[str, Floats]) -> AskedElements:
        masses = self.space.mass_g
        return AskedElements(
            self.space,
            tuple(self.elements),
            self.allowed,
            self.broken,
            {r: tuple(m) for r, m in self.meaning.items()},
            price,
            {r: np.rint(np.nan_to_num(mass) * TENTHS) for r, mass in masses.items()},
        )


def of_parts(space: Space, chosen: Mapping[str, int]) -> AskedElements:
    """Take apart the question whether parts fit together.

    Parameters
    ----------
    space : Space
        The compiled catalogue.
    chosen : mapping of str to int
        The place of the option for each role that was named: a part, or a
        part to which work was done before.

    Returns
    -------
    AskedElements
        Roles that a build fills and nobody named are free; adapters and
        extras that nobody named are absent; no work is done anywhere. A
        role whose part is dropped takes any other part that is sold.
    """
    build = _Builder(space)
    roles = space.catalogue.vocabulary.roles
    done: dict[str, Bools] = {}
    named: dict[str, Bools] = {}
    for role, place in chosen.items():
        facts = space.facts[role]
        option = space.options[role][place]
        if option.part is None:
            raise ValueError(f"nothing is chosen for {role}")
        named[role] = facts.named(frozenset([option.part.sku]))
        done[role] = np.arange(len(facts.void)) == place
        # What is cut is cut: a part to which work was done is that option or none.
        mine = done[role] if option.services else named[role]
        build.allowed[role] = mine | (facts.sold & ~named[role]) | facts.void
        element = Element(PICK, role, (option.part.sku,))
        build.breaks(role, _PICK, ~named[role], build.element(element))
    for role, facts in space.facts.items():
        if role in chosen:
            continue
        if roles[role].fill.free:
            build.allowed[role] = facts.sold | ~facts.serviced
        else:
            build.allowed[role] = facts.sold | facts.void
            build.breaks(role, _ABSENT, ~facts.void, build.element(Element(ABSENT, role)))
    price = {}
    for role, facts in space.facts.items():
        before = done.get(role, np.zeros(len(facts.void), dtype=bool))
        owned = named.get(role, before)
        build.plain(role, facts.serviced & ~before)
        price[role] = np.where(owned, 0.0, facts.price) + np.where(before, 0.0, facts.service_price)
    return build.question(price)


def of_request(space: Space, request: Request, *, certain: bool) -> AskedElements:
    """Take apart a request for builds.

    Parameters
    ----------
    space : Space
        The compiled catalogue.
    request : Request
        What is asked for.
    certain : bool
        Whether an option whose mass is not known breaks a mass limit.

    Returns
    -------
    AskedElements
        As :meth:`TreeEngine.count` reads the request: adapters are free,
        extras that nobody named are absent, work is done where the request
        says so.

    Raises
    ------
    NamingError
        If the request names something the catalogue does not have.
    """
    build = _Builder(space)
    rules = allowed(space.catalogue, request)
    for role, facts in space.facts.items():
        asked = rules[role]
        owned = facts.named(asked.owned)
        build.allowed[role] = owned | facts.sold | facts.void
        if asked.named:
            element = Element(PICK, role, tuple(sorted(asked.named)))
            build.breaks(role, _PICK, ~facts.named(asked.named), build.element(element))
        elif asked.fill is Fill.EXTRA:
            build.breaks(role, _ABSENT, ~facts.void, build.element(Element(ABSENT, role)))
    for role, facts in space.facts.items():
        asked = rules[role]
        owned = facts.named(asked.owned)
        if asked.services.value == "none":
            build.plain(role, facts.serviced)
        elif asked.services.value == "owned":
            build.plain(role, facts.serviced & ~owned)
    if request.material is not None:
        place = build.element(Element(MATERIAL, word=request.material))
        for role, facts in space.facts.items():
            wanted = rules[role].material
            if wanted is not None:
                other = ~np.array([wanted in of for of in facts.materials], dtype=bool)
                build.breaks(role, _MATERIAL, other & ~facts.void, place)
    if request.in_stock:
        place = build.element(Element(STOCK))
        for role, facts in space.facts.items():
            owned = facts.named(rules[role].owned)
            build.breaks(role, _STOCK, ~owned & ~facts.stocked & ~facts.void, place)
    if request.budget is not None:
        build.element(Element(BUDGET, figure=float(request.budget)))
    if request.max_mass_g is not None:
        place = build.element(Element(MASS, figure=float(request.max_mass_g)))
        if certain:
            for role, mass in space.mass_g.items():
                build.breaks(role, _WEIGHED, np.isnan(mass), place)
    price = {r: rules[r].price(f) for r, f in space.facts.items()}
    return build.question(price)
