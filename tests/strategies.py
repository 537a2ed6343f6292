"""Small random catalogues, and what brute force says of them.

The vocabularies are made in memory: three to five roles, a few joints of every rule, parts
with unknown figures, adapters, workshop services. Brute force is the plain product of all
options, each combination judged joint by joint.
"""

from __future__ import annotations

import functools
import itertools
import operator
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from types import MappingProxyType
from typing import Any

from hypothesis import assume
from hypothesis import strategies as st

from fitgraph.graph.columns import WordCodes, columns_of
from fitgraph.graph.joints import JointTable, asked
from fitgraph.graph.options import options_for
from fitgraph.graph.said import judge
from fitgraph.graph.sums import SumCondition
from fitgraph.graph.unknowns import Unknowns
from fitgraph.model import (
    ABSENT,
    Basis,
    Catalogue,
    Condition,
    Dimension,
    DimensionKind,
    Feature,
    FeatureKind,
    Fill,
    Joint,
    Option,
    Part,
    Presence,
    Reference,
    Role,
    Service,
    StrengthSource,
    Verdict,
    Vocabulary,
    Word,
)
from fitgraph.solve import Request
from fitgraph.solve.request import Services

NAMES = ("alpha", "beta", "gamma", "delta", "epsilon")
FEATURES = ("post", "hole", "cut")
LENGTH, WORD = "size", "mark"

#: A handful of figures in mm for each feature, so that some fit, some clash, some overlap.
FIGURES = {
    "post": (
        Dimension(10.0, 10.0),
        Dimension(10.0, 10.0),
        Dimension(9.95, 10.02),
        Dimension(9.9, 10.15),
        Dimension(11.0, 11.2),
        Dimension.unknown(),
    ),
    "hole": (
        Dimension(10.05, 10.05),
        Dimension(10.05, 10.05),
        Dimension(10.1, 10.2),
        Dimension(9.95, 10.3),
        Dimension(11.5, 11.5),
        Dimension.unknown(),
    ),
    "cut": (Dimension(3.0, 3.0), Dimension(3.0, 3.0), Dimension(0.2, 0.6), Dimension.unknown()),
}
MARKS = (Word("M6"), Word("M6"), Word("m 6"), Word("M8"), Word(None, Basis.UNKNOWN))
MATERIALS = ("steel", "titanium", None)


#: Every feature there can be; drawn in one go, because drawing is what takes the time.
POOL = {
    name: (
        *(
            Feature(state, MappingProxyType({LENGTH: size}), MappingProxyType({WORD: mark}))
            for state in [Presence.PRESENT] * 8 + [Presence.UNKNOWN]
            for size in sizes
            for mark in MARKS
        ),
        *[ABSENT] * 40,
    )
    for name, sizes in FIGURES.items()
}
#: Price, mass and stock.
SALES = tuple(
    itertools.product(
        (100, 0, 100, 137, 250, 250, 389, 999, None),
        (10.0, 10.0, 25.5, 31.4, 100.1, None),
        (1, 1, 0),
    )
)
ORIGINS = tuple(itertools.product(("M6", "M6", "M8", ""), MATERIALS))


@st.composite
def parts(draw: st.DrawFn, role: str, number: int) -> Part:
    """Draw a part of a role."""
    price, mass_g, stock = draw(st.sampled_from(SALES))
    maker, material = draw(st.sampled_from(ORIGINS))
    return Part(
        sku=f"{role[:1].upper()}{number}",
        role=role,
        name=f"{role} {number}",
        maker=maker,
        price=price,
        mass_g=mass_g,
        material=material,
        stock=stock,
        features=MappingProxyType({f: draw(st.sampled_from(POOL[f])) for f in FEATURES}),
    )


@st.composite
def conditions(draw: st.DrawFn, roles: tuple[str, ...]) -> Condition:
    """Draw a condition on one of some roles."""
    return Condition(
        draw(st.sampled_from(roles)),
        draw(st.sampled_from([None, *FEATURES])),
        draw(st.booleans()),
    )


@st.composite
def joints(draw: st.DrawFn, roles: tuple[str, ...], number: int, *, local: bool) -> Joint:
    """Draw a joint between one to four roles; between two neighbours where it is local."""
    if local:
        at = number % (len(roles) - 1)
        near = around = roles[at : at + 2]
    else:
        near = tuple(draw(st.lists(st.sampled_from(roles), min_size=1, max_size=3, unique=True)))
        around = roles

    def length(usual: str) -> Reference:
        feature = draw(st.sampled_from([usual] * 4 + [*FEATURES]))
        return Reference(draw(st.sampled_from(near)), feature, LENGTH)

    def word() -> Reference:
        feature = draw(st.sampled_from([None, *FEATURES]))
        return Reference(draw(st.sampled_from(near)), feature, "maker" if feature is None else WORD)

    rule = draw(
        st.sampled_from(
            ["clearance", "closes-by-slot", "at-least", "equal", "key", "present", "absent"]
        )
    )
    arguments: dict[str, Reference] = {}
    limits: dict[str, float] = {}
    subject = None
    if rule == "clearance":
        arguments = {"bore": length("hole"), "spigot": length("post")}
        limits = {"least": 0.0, "most": draw(st.sampled_from([0.05, 0.3, 1.5]))}
    elif rule == "closes-by-slot":
        arguments = {
            "bore": length("hole"),
            "spigot": length("post"),
            "slot": length("cut"),
        }
        limits = {"least": 0.0, "reserve": draw(st.sampled_from([0.0, 0.05]))}
    elif rule == "at-least":
        arguments = {"whole": length("hole"), "part": length("post")}
        assume(arguments["whole"] != arguments["part"])  # a size with itself says nothing
        limits = {"least": draw(st.sampled_from([-1.0, 0.0, 0.5]))}
    elif rule == "equal":
        arguments = {"one": word(), "other": word()}
    elif rule == "key":
        arguments = {"key": word(), "lock": word()}
    else:
        subject = draw(conditions(near))
        subject = Condition(subject.role, subject.feature)
    return Joint(
        name=f"joint-{number}",
        title=f"joint {number}",
        rule=rule,
        arguments=MappingProxyType(arguments),
        limits=MappingProxyType(limits),
        when=tuple(draw(st.lists(conditions(around), max_size=1 if local else 2))),
        subject=subject,
        tidy=draw(st.sampled_from([False, False, False, True])),
    )


def a_role(name: str, fill: Fill, by_material: bool) -> Role:
    """Return a role whose parts have every feature there can be."""
    kinds = {
        f: FeatureKind(
            f,
            "bore",
            Presence.ABSENT,
            MappingProxyType({LENGTH: DimensionKind(LENGTH), WORD: DimensionKind(WORD, True)}),
        )
        for f in FEATURES
    }
    return Role(name, name, fill, MappingProxyType(kinds), by_material=by_material)


@st.composite
def services(draw: st.DrawFn, roles: tuple[str, ...]) -> Service:
    """Draw workshop work that adds, removes or shifts a feature."""
    role = draw(st.sampled_from(roles))
    feature = draw(st.sampled_from(FEATURES))
    size = draw(st.sampled_from(FIGURES[feature]))
    work = draw(st.sampled_from(["set", "remove", "shift"]))
    return Service(
        name="rework",
        title="rework",
        role=role,
        price=draw(st.sampled_from([0, 50])),
        when=tuple(Condition(role, feature) for _ in range(work != "set")),
        sets={feature: ({LENGTH: size}, {WORD: MARKS[0]})} if work == "set" else {},
        removes=(feature,) if work == "remove" else (),
        shifts={(feature, LENGTH): 0.1} if work == "shift" else {},
    )


@st.composite
def catalogues(draw: st.DrawFn, most_parts: int = 3) -> Catalogue:
    """Draw a catalogue of three to five roles with up to four options each."""
    names = NAMES[: draw(st.integers(3, 5))]
    fills = [draw(st.sampled_from([Fill.ALWAYS, Fill.ALWAYS, *Fill])) for _ in names]
    material = draw(st.sampled_from([None, None, *names]))
    roles = {n: a_role(n, f, n == material) for n, f in zip(names, fills, strict=True)}
    made = [
        draw(parts(name, number))
        for name, fill in zip(names, fills, strict=True)
        for number in range(draw(st.sampled_from([*[most_parts] * 6, *range(most_parts)])))
    ]
    compared = names[0]
    local = draw(st.booleans())  # a chain of joints makes a tree of many cliques
    vocabulary = Vocabulary(
        trade="trial",
        currency="EUR",
        minor_digits=2,
        half_width=MappingProxyType({}),
        roles=MappingProxyType(roles),
        joints=tuple(draw(joints(names, n, local=local)) for n in range(draw(st.integers(1, 5)))),
        services={"rework": draw(services(names))} if draw(st.booleans()) else {},
        strength=StrengthSource(
            Reference(compared, "hole", LENGTH), Reference(compared, "cut", LENGTH)
        )
        if draw(st.booleans())
        else None,
    )
    return Catalogue(
        vocabulary,
        MappingProxyType({p.sku: p for p in made}),
        by_role=MappingProxyType({n: tuple(p for p in made if p.role == n) for n in names}),
    )


@st.composite
def requests(draw: st.DrawFn, catalogue: Catalogue, *, limited: bool = True) -> Request:
    """Draw a request: named parts, stock, material, services and, if `limited`, limits."""
    skus = sorted(catalogue.parts)
    named = st.lists(st.sampled_from(skus), max_size=2, unique=True).map(tuple) if skus else None
    some = st.one_of(st.just(()), named) if named is not None else st.just(())
    return Request(
        have=draw(some),
        want=draw(st.one_of(st.just(()), st.just(()), some)),
        budget=draw(st.sampled_from([None, 0, 100, 350, 700, 1500])) if limited else None,
        max_mass_g=draw(st.sampled_from([None, 20.0, 45.5, 130.2, 400.0])) if limited else None,
        in_stock=draw(st.sampled_from([False, False, False, True])),
        material=draw(st.sampled_from([None, None, None, "steel"])),
        services=draw(st.sampled_from(list(Services))),
    )


# ---------------------------------------------------------------- brute force


def all_options(catalogue: Catalogue) -> dict[str, tuple[Option, ...]]:
    """Return the options of every role."""
    return {
        role: options_for(catalogue.of(role), role, catalogue.vocabulary)
        for role in catalogue.vocabulary.roles
    }


def verdict_of(chosen: Mapping[str, Option], counted: Iterable[Joint]) -> Verdict:
    """Return the worst verdict of some joints on one combination."""
    return min((judge(joint, chosen).verdict for joint in counted), default=Verdict.FITS)


#: Verdicts that were asked for already, by joint and by what its options are.
Known = dict[tuple[object, ...], Verdict]


def judged(
    joint: Joint, options: Mapping[str, Sequence[Option]], known: Known | None = None
) -> dict[tuple[int, ...], Verdict]:
    """Return what a joint says of every combination of the roles it touches.

    With `known`, of one catalogue, a pairing is judged once for all questions.
    """
    known = {} if known is None else known
    names = {
        r: [(o.part.sku if o.part is not None else None, o.services) for o in options[r]]
        for r in joint.roles
    }
    found = {}
    for row in itertools.product(*(range(len(options[r])) for r in joint.roles)):
        key = (joint.name, *(names[r][i] for r, i in zip(joint.roles, row, strict=True)))
        if key not in known:
            chosen = {r: options[r][i] for r, i in zip(joint.roles, row, strict=True)}
            known[key] = judge(joint, chosen).verdict
        found[row] = known[key]
    return found


def rows_of(
    options: Mapping[str, Sequence[Option]],
    counted: Iterable[Joint],
    least: Verdict,
    known: Known | None = None,
) -> Iterator[tuple[int, ...]]:
    """Yield every combination, as places, whose verdict is no worse than `least`.

    Everything is tried; each joint is judged once for each combination of its own roles. What
    joints ask together of one figure that nobody knows is taken from the package, whose
    exactness tests/test_unknown_figures.py shows by trying every value.
    """
    roles, counted = list(options), list(counted)
    together = {} if least is Verdict.FITS else together_of(options, counted)
    tables = [
        (
            judged(joint, options, known),
            operator.itemgetter(*map(roles.index, joint.roles)),
            len(joint.roles),
        )
        for joint in counted
    ]
    for row in itertools.product(*(range(len(options[r])) for r in roles)):
        if all(
            table[pick(row) if width > 1 else (pick(row),)] >= least
            for table, pick, width in tables
        ) and all(holds(row) for holds in together.values()):
            yield row


def lets(catalogue: Catalogue, request: Request, option: Option) -> bool:
    """Return whether a request lets an option in, limits aside: read off its description."""
    role = catalogue.vocabulary.roles[option.role]
    named = {s for s in (*request.have, *request.want) if catalogue.parts[s].role == role.name}
    part = option.part
    if part is None:
        return role.fill is not Fill.ALWAYS and not named
    if named and part.sku not in named:
        return False
    if not named and role.fill is Fill.EXTRA:
        return False
    owned = part.sku in request.have
    if not owned and (part.price is None or (request.in_stock and part.stock == 0)):
        return False
    if request.material is not None and role.by_material and part.material != request.material:
        return False
    if option.services and request.services is not Services.ANY:
        return owned and request.services is Services.OWNED
    return True


def allowed_options(catalogue: Catalogue, request: Request) -> dict[str, tuple[Option, ...]]:
    """Return the options that a request lets in."""
    return {
        role: tuple(o for o in options if lets(catalogue, request, o))
        for role, options in all_options(catalogue).items()
    }


def price_of(request: Request, chosen: Mapping[str, Option]) -> int:
    """Return what a combination costs the rider: owned parts nothing, work on them its price."""
    return sum(
        (0 if o.part.sku in request.have else o.part.price or 0) + o.service_price
        for o in chosen.values()
        if o.part is not None
    )


def mass_of(chosen: Mapping[str, Option]) -> float | None:
    """Return the mass of a combination, None where a part's is not known."""
    masses = [o.mass_g for o in chosen.values()]
    return None if None in masses else sum(m for m in masses if m is not None)


def brute_builds(
    catalogue: Catalogue,
    request: Request,
    *,
    tidy: bool = True,
    least: Verdict = Verdict.FITS,
    known: Known | None = None,
) -> list[dict[str, Option]]:
    """Return every combination whose verdict is no worse than `least`, limits aside."""
    counted = asked(catalogue.vocabulary.joints, tidy=tidy)
    options = allowed_options(catalogue, request)
    if not all(options.values()):
        return []
    return [
        {role: options[role][i] for role, i in zip(options, row, strict=True)}
        for row in rows_of(options, counted, least, known)
    ]


def together_of(
    options: Mapping[str, Sequence[Option]], counted: Sequence[Joint]
) -> dict[str, Callable[[tuple[int, ...]], bool]]:
    """Return what joints ask together of figures that nobody knows, as tests of a row by name."""
    if not all(options.values()):
        return {}
    unknowns = Unknowns(counted, columns_of(options, WordCodes()))
    roles = list(options)

    def at(row: tuple[int, ...], of: Sequence[str], class_of: Sequence[Any]) -> tuple[int, ...]:
        return tuple(int(c[row[roles.index(r)]]) for r, c in zip(of, class_of, strict=True))

    def sum_holds(condition: SumCondition, row: tuple[int, ...]) -> bool:
        best = (float(t.best[at(row, t.roles, t.class_of)]) for t in condition.terms)
        return sum(best) >= -1e-9

    def table_holds(table: JointTable, row: tuple[int, ...]) -> bool:
        return bool(table.verdicts[at(row, table.roles, table.class_of)] != Verdict.FAILS)

    tests: dict[str, list[Callable[[tuple[int, ...]], bool]]] = {}
    for condition in unknowns.conditions():
        tests.setdefault(condition.joint.name, []).append(functools.partial(sum_holds, condition))
    for table in unknowns.tables():
        tests.setdefault(table.joint.name, []).append(functools.partial(table_holds, table))
    return {name: functools.partial(_all_hold, some) for name, some in tests.items()}


def _all_hold(tests: Sequence[Callable[[tuple[int, ...]], bool]], row: tuple[int, ...]) -> bool:
    return all(holds(row) for holds in tests)


def keeps_limits(request: Request, chosen: Mapping[str, Option], *, certain: bool = True) -> bool:
    """Return whether a combination keeps the budget and the mass limit.

    What has no known mass certainly keeps no mass limit; it may keep one as long as what is
    known does.
    """
    if request.budget is not None and price_of(request, chosen) > request.budget:
        return False
    if request.max_mass_g is None:
        return True
    masses = [o.mass_g for o in chosen.values()]
    if certain and None in masses:
        return False
    return sum(m for m in masses if m is not None) <= request.max_mass_g + 1e-6
