"""What pressing parts into each other does to them, joint by joint of a combination."""

from __future__ import annotations

from collections.abc import Mapping

from fitgraph.graph.options import length_of
from fitgraph.graph.said import judge
from fitgraph.mechanics.materials import MATERIALS
from fitgraph.mechanics.press_fits import PressFit, press_fit
from fitgraph.model import Joint, Option, Presence, PressSource, Verdict, Vocabulary
from fitgraph.records import dataclass


@dataclass(frozen=True, slots=True)
class Pressed:
    """A joint that is pressed together, and what that comes to.

    Parameters
    ----------
    joint : Joint
        Of a bore and a spigot.
    hub, shaft : Option
        What is bored, and what is pressed in.
    fit : PressFit
        Interference, force and stress over the limits of size and the usual walls; a comparison.
    """

    joint: Joint
    hub: Option
    shaft: Option
    fit: PressFit


def pressed(chosen: Mapping[str, Option], vocabulary: Vocabulary) -> tuple[Pressed, ...]:
    """Return the joints of a combination that interfere, at least at their tightest.

    Parameters
    ----------
    chosen : mapping of str to Option
        An option for each role of the combination, empty ones included.
    vocabulary : Vocabulary
        Its ``[press]`` table says what is taken for walls, lengths and materials.

    Returns
    -------
    tuple of Pressed
        Without joints that fail, or of which a size is not known.
    """
    joints = {j.name: j for j in vocabulary.joints}
    found = []
    for source in vocabulary.press:
        joint = joints[source.joint]
        if set(joint.roles) <= set(chosen):
            one = _pressed(joint, source, chosen)
            if one is not None:
                found.append(one)
    return tuple(found)


def _pressed(joint: Joint, source: PressSource, chosen: Mapping[str, Option]) -> Pressed | None:
    bored, put_in = joint.arguments["bore"], joint.arguments["spigot"]
    bore, spigot = length_of(chosen[bored.role], bored), length_of(chosen[put_in.role], put_in)
    if bore is None or spigot is None or not (bore.known and spigot.known):
        return None
    if spigot.hi <= bore.lo:
        return None
    said = judge(joint, chosen)
    if said.there is not Presence.PRESENT or said.verdict is Verdict.FAILS:
        return None
    hub, shaft = MATERIALS[source.hub], MATERIALS[source.shaft]
    if hub.modulus_gpa is None or hub.yield_mpa is None or shaft.modulus_gpa is None:
        return None
    inside = max(spigot.lo - 2 * source.shaft_wall_mm, 0.0) if source.shaft_wall_mm else 0.0
    # Sizes beyond what the joint wants are not pressed together.
    beyond = max(joint.limits["least"] - bore.over(spigot)[0], 0.0)
    fit = press_fit(
        (bore.lo, bore.hi),
        (min(spigot.lo, spigot.hi - beyond), spigot.hi - beyond),
        (bore.hi + 2 * source.wall_mm[0], bore.hi + 2 * source.wall_mm[1]),
        source.length_mm,
        hub.modulus_gpa,
        shaft.modulus_gpa,
        hub.yield_mpa,
        (inside, inside),
    )
    return Pressed(joint, chosen[bored.role], chosen[put_in.role], fit)
