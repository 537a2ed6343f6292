"""How fitment works: what parts around one axis say of a joint, and of all joints between them."""

from __future__ import annotations

from collections.abc import Mapping

from fitgraph.draw import Nest
from fitgraph.draw.nested import Mating
from fitgraph.draw.section import gap_text
from fitgraph.draw.style import WORDS
from fitgraph.explain import Clash, clash_text, hold_text
from fitgraph.graph.hold import Hold
from fitgraph.model import Catalogue, Option, Reference, Verdict
from fitgraph.records import dataclass
from fitgraph.report.blocks import Block, Report, Say, Section, Tone, say_all
from fitgraph.report.cautions_told import cautions_on
from fitgraph.report.cross_sections import cross_section
from fitgraph.report.tables import Column, Table
from fitgraph.report.values import VERDICT
from fitgraph.wording import capital


@dataclass(frozen=True, slots=True)
class Lesson:
    """Parts around one axis, and what their joints say.

    Parameters
    ----------
    options : mapping of str to Option
        The parts by role, with the sizes that were given to them.
    moved : mapping of Reference to float
        Middles of sizes [mm] that somebody gave them.
    nest : Nest
        What is drawn.
    mating : Mating
        The joint looked at.
    clash : Clash or None
        Its figures; None where some role of it is open.
    joints : tuple of (Verdict, str)
        All joints between these parts, the worst first.
    hold : Hold or None
        How hard they hold; None where nothing is known of it.
    """

    options: Mapping[str, Option]
    moved: Mapping[Reference, float]
    nest: Nest
    mating: Mating
    clash: Clash | None
    joints: tuple[tuple[Verdict, str], ...]
    hold: Hold | None


def headline(found: Lesson) -> Report:
    """Return the verdict of the joint looked at, and what the others say, in one line."""
    mating, number = found.mating, len(found.joints)
    ill = [
        f"{count} {words}"
        for verdict, words in ((Verdict.FAILS, "not fitting"), (Verdict.UNKNOWN, "not told"))
        if (count := sum(v is verdict for v, _ in found.joints))
    ]
    text = f"{capital(WORDS[mating.verdict])}: {mating.joint.title}, {gap_text(mating)}"
    if number > 1:  # not only the one looked at, whose verdict stands before
        text += f"; of {number} joints {', '.join(ill)}" if ill else f"; all {number} joints fit"
    return Report(f"{text}.", verdict=mating.verdict)


def sentence(found: Lesson, catalogue: Catalogue) -> Say:
    """Return what the joint looked at says, with its figures."""
    mating, clash = found.mating, found.clash
    return Say(mating.joint.title if clash is None else clash_text(clash, catalogue))


def joints(found: Lesson) -> tuple[Block, ...]:
    """Return all joints between the parts, and how hard they hold."""
    columns = (Column("verdict", VERDICT), Column("joint"))
    held = () if found.hold is None else (Say(hold_text(found.hold)),)
    return (Table("joints", columns, found.joints, headed=False), *held)


def cautions(found: Lesson, catalogue: Catalogue) -> tuple[str, ...]:
    """Return the cautions that go with how hard the parts hold."""
    return cautions_on(catalogue.vocabulary, () if found.hold is None else ("torque",))


def _moved_text(reference: Reference, size: float, catalogue: Catalogue) -> str:
    title = catalogue.vocabulary.roles[reference.role].title
    feature = (reference.feature or "").replace("_", " ")
    return f"Moved by hand: {feature} {reference.name} of the {title}, {size:.2f} mm."


def report(found: Lesson, catalogue: Catalogue) -> Report:
    """Return what is kept of a lesson."""
    vocabulary = catalogue.vocabulary
    parts = Table.of(
        "parts",
        [option.part for option in found.options.values() if option.part is not None],
        (Column("role", title="Role"), lambda p: vocabulary.roles[p.role].title),
        (Column("name", title="Name"), lambda p: p.name),
        (Column("number", title="Number"), lambda p: p.sku),
    )
    moved = (_moved_text(ref, size, catalogue) for ref, size in found.moved.items())
    told = headline(found)
    return Report(
        told.headline,
        (
            sentence(found, catalogue),
            *say_all(moved, Tone.LOUD, deep=0),
            parts,
            cross_section(found.nest, vocabulary),
            Section("All joints between these parts", joints(found)),
        ),
        cautions(found, catalogue),
        told.verdict,
    )
