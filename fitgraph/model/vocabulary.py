"""The words of a trade as data: roles, features, joints, services."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import field
from enum import Enum
from typing import NamedTuple

from fitgraph.model.dimension import Basis, Dimension, Word
from fitgraph.model.rider import Advice, Identify
from fitgraph.model.verdict import Presence
from fitgraph.records import dataclass
from fitgraph.units import major, parse_money, show_money


class Fill(Enum):
    """When a build fills a role."""

    ALWAYS = "always"
    WHEN_NEEDED = "when-needed"
    ADAPTER = "adapter"
    EXTRA = "extra"

    @property
    def may_be_empty(self) -> bool:
        """Whether a build may leave the role empty."""
        return self is not Fill.ALWAYS

    @property
    def free(self) -> bool:
        """Whether a question that does not name the role leaves it open."""
        return self in (Fill.ALWAYS, Fill.WHEN_NEEDED)


@dataclass(frozen=True, slots=True)
class DimensionKind:
    """A dimension that a feature has.

    Parameters
    ----------
    worded : bool
        Whether it is compared as text rather than measured.
    hole : bool
        Whether it is an internal size, which takes hole tolerance classes.
    plausible : tuple of float or None
        Limits in mm outside of which a figure is taken for a slip.
    measure : str
        How to measure it.
    """

    name: str
    worded: bool = False
    hole: bool = False
    plausible: tuple[float, float] | None = None
    measure: str = ""


@dataclass(frozen=True, slots=True)
class FeatureKind:
    """A feature that parts of a role may have.

    ``if_missing`` says what a table without a row for it means.
    """

    name: str
    kind: str
    if_missing: Presence
    dimensions: Mapping[str, DimensionKind]
    title: str = ""
    gloss: str = ""


@dataclass(frozen=True, slots=True)
class StrengthSource:
    """Which dimensions give the tube section whose strength is compared."""

    outside: Reference
    bore: Reference
    slot: Reference | None = None


@dataclass(frozen=True, slots=True)
class WeighSource:
    """Which dimensions give the mass of a part from its geometry.

    Parameters
    ----------
    outside, bore : Reference
        Diameters of the tube the part is made of.
    length : Reference
        A length of it.
    more : tuple of float
        Least and most tube beside that length, in mm.
    """

    outside: Reference
    bore: Reference
    length: Reference
    more: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Outline:
    """One line of a silhouette, in the silhouette's units from its left and upper edge.

    Parameters
    ----------
    points : tuple of (float, float)
        What it goes through; a single one is the middle of a ring.
    wide : float
        How wide it is drawn.
    radius : float
        Of a ring; zero for a line.
    """

    points: tuple[tuple[float, float], ...]
    wide: float
    radius: float = 0.0


@dataclass(frozen=True, slots=True)
class Silhouette:
    """The product from the side, for pages on which a role is chosen by pressing it.

    Parameters
    ----------
    width, height : float
        Size in units of its own.
    roles : mapping of str to tuple of Outline
        What each role looks like; the last one drawn lies on top.
    """

    width: float
    height: float
    roles: Mapping[str, tuple[Outline, ...]]


@dataclass(frozen=True, slots=True)
class HoldSource:
    """Which figures say how hard bolts hold a tube.

    Parameters
    ----------
    thread, count : Reference
        The bolts' thread and their number.
    height : Reference
        Height of the gripping band.
    outside, bore : Reference
        Diameters of the tube that is held.
    slot, slot_length : Reference or None
        The slot in the tube's end.
    property_class : str
        ISO 898-1 property class taken for the bolts.
    torque_nm : mapping of str to float
        Tightening torque taken for each thread, in N m.
    demand_nm : float or None
        A twisting moment to compare the grip with, in N m.
    demand : str
        What that moment is, for people.
    """

    thread: Reference
    count: Reference
    height: Reference
    outside: Reference
    bore: Reference
    slot: Reference | None
    slot_length: Reference | None
    property_class: str
    torque_nm: Mapping[str, float]
    demand_nm: float | None = None
    demand: str = ""


@dataclass(frozen=True, slots=True)
class PressSource:
    """What is taken for parts that a joint presses into each other.

    Parameters
    ----------
    joint : str
        A joint of a bore and a spigot.
    wall_mm : tuple of float
        Usual wall around the bore, least and most [mm].
    length_mm : float
        Usual length of the fit [mm].
    hub, shaft : str
        Materials of what is bored and of what is pressed in.
    shaft_wall_mm : float
        Usual wall of what is pressed in [mm]; 0 where it is solid.
    """

    joint: str
    wall_mm: tuple[float, float]
    length_mm: float
    hub: str
    shaft: str
    shaft_wall_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class Role:
    """The place a part takes in a build.

    ``by_material`` says that a wish for a material is meant for it, ``decides`` that its part
    makes a build another one to whoever chooses; parts of other roles only complete it.
    ``plural`` names several of its parts; without it that is made of the title.
    """

    name: str
    title: str
    fill: Fill
    features: Mapping[str, FeatureKind]
    gloss: str = ""
    by_material: bool = False
    decides: bool = False
    plural: str = ""

    @property
    def many(self) -> str:
        """Return what several of its parts are called."""
        if self.plural:
            return self.plural
        if self.title.endswith("s") and not self.title.endswith("ss"):  # such as grips
            return self.title
        return self.title + ("es" if self.title.endswith("s") else "s")


class Reference(NamedTuple):
    """A dimension of a feature of a role, or an attribute of the part itself.

    ``feature`` is None for an attribute (``maker``, ``material``).
    """

    role: str
    feature: str | None
    name: str

    def __str__(self) -> str:
        return ".".join(x for x in (self.role, self.feature, self.name) if x)


class Condition(NamedTuple):
    """That a role is filled, or that its part has a feature (or not)."""

    role: str
    feature: str | None
    wanted: bool = True

    def __str__(self) -> str:
        subject = self.role if self.feature is None else f"{self.role}.{self.feature}"
        return subject if self.wanted else f"not {subject}"


def contradictory(conditions: Iterable[Condition]) -> bool:
    """Return whether conditions cannot all hold, whatever the parts are.

    Examples
    --------
    >>> contradictory([Condition("cap", None, False), Condition("cap", "slot")])
    True
    """
    asked = set(conditions)
    filled = {c.role for c in asked if c.wanted}
    return any(
        c._replace(wanted=not c.wanted) in asked
        or (c.feature is None and not c.wanted and c.role in filled)
        for c in asked
    )


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of what people own, told by the figures and features of the parts.

    Parameters
    ----------
    within : mapping of Reference to tuple of float
        Windows in mm that dimensions have to lie in.
    when : tuple of Condition
        What has to be there, or not.
    """

    name: str
    within: Mapping[Reference, tuple[float, float]] = field(default_factory=dict)
    when: tuple[Condition, ...] = ()


@dataclass(frozen=True, slots=True)
class Grouping:
    """A way to group enquiries: the first kind that the owned parts are of."""

    name: str
    title: str
    kinds: tuple[Kind, ...]


@dataclass(frozen=True, slots=True)
class Ring:
    """One ring of a nest: it stands around those before it.

    Parameters
    ----------
    bore : Reference or None
        Its inner diameter; None for the core, of which only the outside counts.
    outside : Reference or None
        Its outer diameter; None where nothing is known to stand around it.
    slot : Reference or None
        The cut that lets it close; None where it has none.
    when : tuple of Condition
        It is in the nest only where all of them hold, and where it has its bore.
    """

    bore: Reference | None
    outside: Reference | None
    slot: Reference | None = None
    when: tuple[Condition, ...] = ()

    @property
    def references(self) -> tuple[Reference, ...]:
        """Return its dimensions."""
        return tuple(r for r in (self.bore, self.outside, self.slot) if r is not None)

    @property
    def role(self) -> str:
        """Return the role it is of."""
        return self.references[0].role


@dataclass(frozen=True, slots=True)
class Span:
    """One length of a stack along the axis.

    Parameters
    ----------
    length : Reference
        The dimension.
    sign : int
        1 where it adds, -1 where it takes away.
    optional : bool
        Whether a part without it only adds nothing; otherwise the stack is not there.
    when : tuple of Condition
        It counts only where all of them hold. One that is not optional and does not count
        leaves no stack; a vocabulary's file is read into one joint for each case instead.
    """

    length: Reference
    sign: int = 1
    optional: bool = False
    when: tuple[Condition, ...] = ()


@dataclass(frozen=True, slots=True)
class Joint:
    """A pairing of features and the rule that decides it.

    Parameters
    ----------
    name : str
        Identifier, unique in the vocabulary.
    rule : str
        Name of a rule in :data:`fitgraph.mechanics.rules.RULES`.
    arguments : mapping of str to Reference
        The dimensions that the rule compares, by the rule's argument names.
    limits : mapping of str to float
        The rule's windows, in mm.
    when : tuple of Condition
        The joint is there only where all of them hold.
    subject : Condition or None
        For rules on presence: what must, or must not, be there.
    tidy : bool
        A joint that only keeps needless parts out of lists of builds; a
        combination that breaks it still fits.
    check : bool
        A joint of one part with itself, used to find contradictory figures.
    rings : tuple of Ring
        For a nest: from the core outwards. The last is the ring that has to close on all
        that is inside.
    spans : tuple of Span
        For a stack: the lengths that are added up.
    shares, unknown : tuple
        For what several joints ask of figures that nobody knows: those joints, and the figures
        (:mod:`fitgraph.graph.unknowns`); no vocabulary lists it.
    """

    name: str
    title: str
    rule: str
    arguments: Mapping[str, Reference] = field(default_factory=dict)
    limits: Mapping[str, float] = field(default_factory=dict)
    when: tuple[Condition, ...] = ()
    subject: Condition | None = None
    tidy: bool = False
    check: bool = False
    because: str = ""
    rings: tuple[Ring, ...] = ()
    spans: tuple[Span, ...] = ()
    shares: tuple[Joint, ...] = ()
    unknown: tuple[Reference, ...] = ()

    @property
    def measures(self) -> tuple[Reference, ...]:
        """Return every dimension it compares or adds up, in order of mention."""
        return (
            *self.arguments.values(),
            *(r for ring in self.rings for r in ring.references),
            *(span.length for span in self.spans),
            *(r for joint in self.shares for r in joint.measures),
        )

    @property
    def conditions(self) -> tuple[Condition, ...]:
        """Return its own conditions and those of its rings and spans."""
        return (
            *self.when,
            *(c for ring in self.rings for c in ring.when),
            *(c for span in self.spans for c in span.when),
            *(c for joint in self.shares for c in joint.conditions),
        )

    @property
    def roles(self) -> tuple[str, ...]:
        """Return the roles it touches, in order of mention."""
        seen: dict[str, None] = {}
        for reference in self.measures:
            seen.setdefault(reference.role)
        if self.subject is not None:
            seen.setdefault(self.subject.role)
        for condition in self.conditions:
            seen.setdefault(condition.role)
        for joint in self.shares:
            seen.update(dict.fromkeys(joint.roles))
        return tuple(seen)


@dataclass(frozen=True, slots=True)
class Service:
    """Workshop work that changes a part's features.

    Parameters
    ----------
    price : int
        In minor currency units.
    minutes : float
        Workshop time.
    when : tuple of Condition
        What must be so, for certain, before it can be done.
    sets : mapping of str to Feature
        Features that the part has afterwards.
    removes : tuple of str
        Features that it no longer has.
    shifts : mapping of (feature, dimension) to float
        Dimensions that change, by how many mm.
    cuts_off : float
        Length of tube taken off, in mm.
    """

    name: str
    title: str
    role: str
    price: int
    minutes: float = 0.0
    when: tuple[Condition, ...] = ()
    sets: Mapping[str, tuple[Mapping[str, Dimension], Mapping[str, Word]]] = field(
        default_factory=dict
    )
    removes: tuple[str, ...] = ()
    shifts: Mapping[tuple[str, str], float] = field(default_factory=dict)
    cuts_off: float = 0.0
    caution: str = ""
    gloss: str = ""


@dataclass(frozen=True, slots=True)
class FreeSize:
    """A dimension of a made part that its designer may choose, and what the process holds.

    Parameters
    ----------
    size : Reference
        The dimension.
    klass : str
        ISO 286 tolerance class that the process holds; empty where deviations are given.
    lower, upper : float
        Deviations from the nominal size in mm that the process holds, without a class.
    gauges : tuple of float
        Nominal sizes in mm that the workshop has gauges, reamers or bar for.
    """

    size: Reference
    klass: str = ""
    lower: float = 0.0
    upper: float = 0.0
    gauges: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class CostModel:
    """What making a part is estimated to cost.

    Parameters
    ----------
    material_per_kg : int
        Price of the blank's material, in minor currency units.
    hour : int
        Price of an hour on the machine, in minor currency units.
    minutes : float
        Machine time of a piece beside the removal of material.
    removal : float
        Material removed in a minute, in mm3.
    setup_minutes : float
        Machine time to set up a lot.
    lot : int
        Pieces in a lot.
    allowance : float
        What a blank is wider and longer than the finished part, in mm.
    """

    material_per_kg: int
    hour: int
    minutes: float
    removal: float
    setup_minutes: float
    lot: int
    allowance: float


@dataclass(frozen=True, slots=True)
class Workmanship:
    """What a process leaves on a part beside its sizes: what a workshop's drawing has to say.

    Parameters
    ----------
    roughness_bore, roughness_outside, roughness_rest : float
        The most that Ra may be, in µm: in the bore, on the outer cylinder, on all other faces.
    chamfer_bore, chamfer_outside : float
        Lead-ins at both ends, in mm, at 45 degrees; zero for none.
    coaxiality : float
        Diameter in mm of the zone that the outside's axis has to keep to, about that of the
        bore; zero where nothing is asked for.
    edges : float
        By how much edges may be broken, in mm, that no chamfer is drawn at.
    tolerances : str
        Class of general tolerances, ISO 2768-1: f, m, c or v.
    finish, deburring : str
        For people; empty where there is nothing to say.
    """

    roughness_bore: float = 3.2
    roughness_outside: float = 3.2
    roughness_rest: float = 3.2
    chamfer_bore: float = 0.0
    chamfer_outside: float = 0.0
    coaxiality: float = 0.0
    edges: float = 0.2
    tolerances: str = "m"
    finish: str = ""
    deburring: str = ""


@dataclass(frozen=True, slots=True)
class Make:
    """A kind of part that could be made: what is free about it, and what bounds it.

    Parameters
    ----------
    role : str
        The role of the part.
    free : tuple of FreeSize
        Dimensions to choose.
    words : tuple of Reference
        Words to choose, such as a key; each from what its counterparts have.
    wordless : bool
        Whether it may also be made without the features that those words belong to.
    fixed : mapping of str to (lengths, words)
        Features that every such part has.
    outside : Reference
        The dimension that is its outer diameter.
    bore, slot : Reference or None
        The dimensions that are its inner diameter (None where it is solid) and its slot.
    length : Reference or float
        The dimension that is its length, or its length in mm.
    least_wall : float
        In mm, for this material and process, at the worst sizes.
    step : float
        Nominal sizes are rounded to it, in mm, where the fits allow.
    material : str
        Identifier of a material in the materials table.
    process : str
        How it is made, for people.
    price : int
        What it is to be sold for, in minor currency units.
    work : Workmanship
        What a drawing says beside sizes.
    materials : frozenset of str
        Identifiers and families that the process can work.
    """

    name: str
    title: str
    role: str
    free: tuple[FreeSize, ...]
    words: tuple[Reference, ...]
    wordless: bool
    fixed: Mapping[str, tuple[Mapping[str, Dimension], Mapping[str, Word]]]
    outside: Reference
    bore: Reference | None
    slot: Reference | None
    length: Reference | float
    least_wall: float
    step: float
    material: str
    process: str
    price: int
    cost: CostModel
    caution: str = ""
    work: Workmanship = Workmanship()
    materials: frozenset[str] = frozenset()

    def works(self, material: str, family: str) -> bool:
        """Return whether the process can work a material, by its identifier or its family."""
        return material == self.material or not self.materials.isdisjoint((material, family))


@dataclass(frozen=True, slots=True)
class Vocabulary:
    """The words of one trade.

    Parameters
    ----------
    currency : str
        ISO 4217 code.
    minor_digits : int
        Decimal digits of the currency's minor unit.
    half_width : mapping of Basis to float
        Half the width of the limits, in mm, for a figure that comes without.
    strength : StrengthSource or None
        The tube whose strength is compared between builds.
    weigh : WeighSource or None
        The tube whose mass is checked against its geometry.
    hold : HoldSource or None
        The bolts and the tube whose grip is compared.
    cautions : mapping of str to str
        Texts that travel with results, by topic.
    groups : mapping of str to Grouping
        Ways to group enquiries by what people own.
    makes : mapping of str to Make
        What could be made, by name.
    identify : Identify or None
        How to find out what a rider has.
    advice : Advice or None
        What advice by rider rests on.
    silhouette : Silhouette or None
        The product from the side.
    customer : str
        What somebody who asks is called, in small letters.
    """

    trade: str
    currency: str
    minor_digits: int
    half_width: Mapping[Basis, float]
    roles: Mapping[str, Role]
    joints: tuple[Joint, ...]
    services: Mapping[str, Service] = field(default_factory=dict)
    strength: StrengthSource | None = None
    weigh: WeighSource | None = None
    hold: HoldSource | None = None
    press: tuple[PressSource, ...] = ()
    cautions: Mapping[str, str] = field(default_factory=dict)
    groups: Mapping[str, Grouping] = field(default_factory=dict)
    makes: Mapping[str, Make] = field(default_factory=dict)
    identify: Identify | None = None
    advice: Advice | None = None
    silhouette: Silhouette | None = None
    customer: str = "customer"

    @property
    def deciding(self) -> tuple[str, ...]:
        """Return the roles that decide, in order: those so marked, or all where none is."""
        marked = tuple(name for name, role in self.roles.items() if role.decides)
        return marked or tuple(self.roles)

    def money(self, minor: float) -> str:
        """Return an amount in minor currency units as people read it."""
        return show_money(round(minor), self.currency, self.minor_digits)

    def major(self, minor: float) -> float:
        """Return an amount in minor currency units as a number of major ones."""
        return major(round(minor), self.minor_digits)

    def plain_money(self, minor: float) -> str:
        """Return an amount in minor currency units for a file: in major ones, without the code."""
        return f"{self.major(minor):.{self.minor_digits}f}"

    def read_money(self, text: str) -> int:
        """Return a typed amount in minor currency units.

        Raises
        ------
        UnitError
            If it is none, or one of another currency.
        """
        return parse_money(text, self.minor_digits, self.currency)

    def joint(self, name: str) -> Joint:
        """Return the joint called `name`.

        Raises
        ------
        KeyError
            If there is none.
        """
        for joint in self.joints:
            if joint.name == name:
                return joint
        raise KeyError(name)
