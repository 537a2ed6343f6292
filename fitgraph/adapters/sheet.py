"""Everything that a specification sheet says of one part that could be made."""

from __future__ import annotations

from collections.abc import Sequence

from fitgraph.adapters.assemblies import WholeYield, wholes_in
from fitgraph.adapters.design_scan import Worth
from fitgraph.adapters.made import Cost, MadeShape, cost_of, shape_of
from fitgraph.adapters.mates import Mate, Yield, mates, yield_of
from fitgraph.adapters.what_if import only_parts
from fitgraph.graph.hold import Hold, hold
from fitgraph.graph.options import empty
from fitgraph.mechanics.cautions import CAUTIONS
from fitgraph.mechanics.materials import MATERIALS
from fitgraph.mechanics.slots import closes_by_mm, elastic_closure_mm
from fitgraph.model import (
    Catalogue,
    Dimension,
    Make,
    Part,
    Presence,
    Reference,
    Verdict,
    Vocabulary,
)
from fitgraph.records import dataclass
from fitgraph.solve import Request, TreeEngine

#: Cheapest builds in which the grip of the clamp is looked at.
_BUILDS = 10

#: What always goes with a part that nobody has made yet.
_OWN_CAUTIONS = (
    "A proposal worked out from figures in a catalogue, not a released drawing. Measure the "
    "counterparts, make one, try it, and have a competent person release it before a lot is "
    "made.",
    "The cost is an estimate from the stated model, not a quotation.",
)


@dataclass(frozen=True, slots=True)
class Size:
    """One dimension on the sheet.

    Parameters
    ----------
    reference : Reference
        Which dimension.
    title : str
        Its name for people.
    nominal : float
        In mm.
    dimension : Dimension
        With its limits.
    klass : str
        ISO 286 class; empty where plain limits are held.
    free : bool
        Whether it was chosen; otherwise every part of the make has it.
    """

    reference: Reference
    title: str
    nominal: float
    dimension: Dimension
    klass: str
    free: bool


@dataclass(frozen=True, slots=True)
class Closure:
    """What the part's own slot closes, in mm of diameter.

    Parameters
    ----------
    needed : float
        The most clearance over a counterpart that certainly fits.
    slot_gives : float
        What the slot's width lets it close at most.
    springs_back : float or None
        What it closes before the material yields; None where that is not known.
    """

    needed: float
    slot_gives: float
    springs_back: float | None

    @property
    def elastic(self) -> bool:
        """Whether it springs back after the widest clearance is closed."""
        return self.springs_back is None or self.needed <= self.springs_back


@dataclass(frozen=True, slots=True)
class SpecSheet:
    """A specification sheet.

    Parameters
    ----------
    catalogue : Catalogue
        What the part was designed for.
    worth : Worth
        What it is worth.
    sizes : tuple of Size
        Its dimensions.
    shape : MadeShape
        Outside, bore, slot and length.
    cost : Cost
        An estimate.
    mates : tuple of Mate
        What it meets.
    yields : Yield
        What share of pairs fits.
    wholes : WholeYield
        What share of whole assemblies goes together.
    closure : Closure or None
        Of its slot, if it has one.
    holds : tuple of Hold
        The clamp's grip in the cheapest builds with it, the weakest first.
    gained : tuple of str
        Numbers of the enquiries that it alone would serve.
    cautions : tuple of str
        What has to be said with it.
    """

    catalogue: Catalogue
    worth: Worth
    sizes: tuple[Size, ...]
    shape: MadeShape
    cost: Cost
    mates: tuple[Mate, ...]
    yields: Yield
    wholes: WholeYield
    closure: Closure | None
    holds: tuple[Hold, ...]
    gained: tuple[str, ...]
    cautions: tuple[str, ...]

    @property
    def part(self) -> Part:
        """Return the part."""
        return self.worth.candidate.part

    @property
    def make(self) -> Make:
        """Return what kind of part it is."""
        return self.worth.candidate.make


def size_title(reference: Reference, vocabulary: Vocabulary) -> str:
    """Return what a size is called, in two or three words."""
    feature = vocabulary.roles[reference.role].features[reference.feature or ""]
    if reference.name in (feature.title, feature.name):
        return feature.title
    return f"{feature.title} {reference.name}"


def _sizes(catalogue: Catalogue, worth: Worth) -> tuple[Size, ...]:
    make, part = worth.candidate.make, worth.candidate.part
    role = catalogue.vocabulary.roles[make.role]
    free = {f.size: f for f in make.free}
    found = []
    for feature in role.features.values():
        of_part = part.features[feature.name]
        if of_part.presence is not Presence.PRESENT:
            continue
        for name, dimension in of_part.lengths.items():
            reference = Reference(make.role, feature.name, name)
            chosen = free.get(reference)
            found.append(
                Size(
                    reference,
                    size_title(reference, catalogue.vocabulary),
                    worth.candidate.sizes.get(reference, dimension.mid),
                    dimension,
                    chosen.klass if chosen is not None else "",
                    chosen is not None,
                )
            )
    return tuple(found)


def _closure(make: Make, shape: MadeShape, found: Sequence[Mate]) -> Closure | None:
    """Return what the slot closes over the counterparts that certainly fit inside."""
    if shape.slot is None or shape.bore is None:
        return None
    inside = [
        mate.clearance[1]
        for mate in found
        if mate.verdict is Verdict.FITS and mate.joint.arguments.get("bore") == make.bore
    ]
    material = MATERIALS[make.material]
    gives = float(closes_by_mm(shape.slot.lo, shape.bore.lo, shape.outside.hi))
    springs = None
    if material.modulus_gpa is not None and material.yield_mpa is not None:
        springs = float(
            elastic_closure_mm(
                shape.outside.hi,
                shape.bore.lo,
                material.modulus_gpa,
                material.yield_mpa,
                shape.slot.lo,
            )
        )
    return Closure(max(inside, default=0.0), gives, springs)


def _holds(engine: TreeEngine, part: Part) -> list[Hold]:
    """Return the grip in the cheapest builds with a part, the weakest first."""
    vocabulary = engine.catalogue.vocabulary
    if vocabulary.hold is None:
        return []
    found = []
    for build in engine.best(Request(want=(part.sku,)), sort="price", limit=_BUILDS):
        chosen = {r: build.options.get(r, empty(r)) for r in vocabulary.roles}
        grip = hold(chosen, vocabulary)
        if grip is not None:
            found.append(grip)
    return sorted(found, key=lambda h: h.grip.low_nm)


def sheet(catalogue: Catalogue, worth: Worth, gained: Sequence[str] = ()) -> SpecSheet:
    """Return the specification sheet of a part.

    Parameters
    ----------
    catalogue : Catalogue
        What the part was designed for.
    worth : Worth
        What it is worth, from a scan.
    gained : sequence of str
        Numbers of the enquiries that it alone would serve.
    """
    make, part = worth.candidate.make, worth.candidate.part
    shape = shape_of(make, part.features)
    met = tuple(mates(catalogue, part))
    engine = TreeEngine(only_parts(catalogue, part.role, [part]))
    holds = tuple(_holds(engine, part))
    texts = {**CAUTIONS, **catalogue.vocabulary.cautions}
    topics = [make.caution, *(["torque"] if holds else [])]
    return SpecSheet(
        catalogue,
        worth,
        _sizes(catalogue, worth),
        shape,
        cost_of(make, shape),
        met,
        yield_of(catalogue, part, [f.size for f in make.free]),
        wholes_in(engine.space, part),
        _closure(make, shape, met),
        holds,
        tuple(gained),
        (*_OWN_CAUTIONS, *(texts[t] for t in dict.fromkeys(topics) if t in texts)),
    )
