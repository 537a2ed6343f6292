"""Sentences for reasons, changes and needs: the one place where they are made.

Those for measurements, riders, comparisons and advice are in its other half,
:mod:`fitgraph.explain.words_rider`.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence

import numpy as np

from fitgraph.explain.chance import Chance, chance_of
from fitgraph.explain.changes import (
    ADD,
    LEAVE_OUT,
    LOOSEN_MASS,
    ORDER,
    OTHER_MATERIAL,
    RAISE_BUDGET,
    SERVICE,
    SWAP,
    Action,
    Change,
)
from fitgraph.explain.conflicts import Conflict
from fitgraph.explain.elements import (
    ABSENT,
    BUDGET,
    MASS,
    MATERIAL,
    PICK,
    PLAIN,
    STOCK,
    Element,
)
from fitgraph.explain.reasons import Clash, Figure
from fitgraph.explain.series import nesting, wanted_of_unknown
from fitgraph.explain.shares import share_of_pairs
from fitgraph.graph.hold import Hold, Surface
from fitgraph.graph.joints import conditions_of
from fitgraph.graph.options import presence_of
from fitgraph.graph.pressed import Pressed
from fitgraph.mechanics.limits_of_size import Limits
from fitgraph.mechanics.materials import MATERIALS
from fitgraph.mechanics.nests import closes
from fitgraph.mechanics.rules import RULES
from fitgraph.mechanics.stackup import AssemblyShare
from fitgraph.model import Basis, Catalogue, Dimension, Fill, Option, Presence, Verdict
from fitgraph.units import show_mass
from fitgraph.wording import capital, listed, percent, sentence


def size_text(dimension: Dimension) -> str:
    """Return a dimension with its limits as people read it.

    Examples
    --------
    >>> size_text(Dimension(28.55, 28.65))
    '28.60 ±0.05 mm'
    """
    if not dimension.known:
        return "an unknown size"
    half = (dimension.hi - dimension.lo) / 2
    if half < 5e-4:
        return f"{dimension.mid:.2f} mm"
    return f"{dimension.mid:.2f} ±{half:.2f} mm"


def the_part(title: str, called: str, the: str = "the ") -> str:
    """Return what a part is called, with its role before it unless the name says that already.

    Examples
    --------
    >>> the_part("wheel axle", "Ostra axle 8 x 50 (A-1)"), the_part("clamp", "Ostra collar (C-1)")
    ('Ostra axle 8 x 50 (A-1)', 'the clamp Ostra collar (C-1)')
    """
    kind = title.lower().split()[-1:]
    said = re.findall(r"\w+", called.lower())
    return called if set(kind) <= set(said) else f"{the}{title} {called}"


def _named_once(
    text: str, options: Iterable[Option], catalogue: Catalogue, named: Collection[str]
) -> str:
    """Return a text in which each part is named where it first comes, and then by its role.

    Of parts that were named before, by stock number, the role is told at once.
    """
    roles = catalogue.vocabulary.roles
    by_role = {o.role: o.part for o in options if o.part is not None}
    for role, part in by_role.items():
        head, called, rest = text.partition(part.called)
        if part.sku in named:
            head, called, rest = "", "", text
        if part.name:
            text = head + called + rest.replace(part.called, f"the {roles[role].title}")
    return text


def _name(figure: Figure) -> str:
    title = (figure.reference.feature or figure.reference.name).replace("_", " ")
    name = figure.reference.name
    return named_figure(title, name)


#: Words of a feature's name that say already which way it is measured.
_LENGTHS = ("length", "height", "depth")


def named_figure(title: str, dimension: str | None) -> str:
    """Return a feature's figure by name, nothing said twice: "slot width", "stack height".

    Parameters
    ----------
    title : str
        The feature's.
    dimension : str or None
        Which of its figures; None for the feature itself.
    """
    detail = (dimension or "diameter").replace("_", " ")
    told = detail == "length" and title.split()[-1] in _LENGTHS
    return title if detail == "diameter" or title.endswith(detail) or told else f"{title} {detail}"


def figure_text(figure: Figure) -> str:
    """Return a figure with whose it is, its limits and where it comes from."""
    title = (figure.reference.feature or figure.reference.name).replace("_", " ")
    whose = f"{_name(figure)} of {figure.option.called}"
    if figure.presence is Presence.ABSENT:
        return f"no {title} on {figure.option.called}"
    if figure.dimension is None:
        return f"{whose}: {figure.word or 'unknown'}"
    basis = figure.dimension.basis
    source = f" ({basis.word})" if basis is not Basis.UNKNOWN else ""
    return f"{whose}: {size_text(figure.dimension)}{source}"


def _range(lo: float, hi: float) -> str:
    if hi - lo < 5e-3:
        return f"{lo:.2f} mm"
    return f"{lo:.2f} to {hi:.2f} mm"


def _larger(lo: float, hi: float) -> str:
    """Return by how much one length exceeds another, or falls short of it."""
    if lo >= 0:
        return f"{_range(lo, hi)} more than"
    if hi <= 0:
        return f"{_range(-hi, -lo)} less than"
    return f"between {-lo:.2f} mm less and {hi:.2f} mm more than"


def _wanted(least: float) -> str:
    if abs(least) < 5e-3:
        return "no less"
    return f"{least:.2f} mm more at least" if least > 0 else f"{-least:.2f} mm less at most"


def _sizes(clash: Clash) -> tuple[Figure, Figure] | None:
    """Return the two figures that a joint on lengths compares, None where one is not known."""
    outer, inner = (
        next((f for f in clash.figures if f.argument == name), None)
        for name in RULES[clash.joint.rule].lengths[:2]
    )
    for figure in (outer, inner):
        if figure is None or figure.dimension is None or not figure.dimension.known:
            return None
    return None if outer is None or inner is None else (outer, inner)


def _exceeds(clash: Clash) -> str:
    """Return by how much one length exceeds another, and what is wanted."""
    compared = _sizes(clash)
    if compared is None or clash.interval_mm is None:
        return ""
    outer, inner = compared
    one, other = _name(outer), _name(inner)
    if one == other:
        one, other = f"that of {outer.option.called}", f"that of {inner.option.called}"
    else:
        one, other = f"the {one}", f"the {other}"
    wanted = _wanted(clash.joint.limits.get("least", 0.0))
    return f"{one} is {_larger(*clash.interval_mm)} {other}, where {wanted} is wanted"


def _gap(clash: Clash) -> str:
    """Return which clearance or interference two diameters leave."""
    if _sizes(clash) is None or clash.interval_mm is None:
        return ""
    lo, hi = clash.interval_mm
    if hi < 0 <= clash.joint.limits["least"]:
        return f"too tight: it would have to be pressed by {_range(-hi, -lo)}"
    if hi < 0:
        return f"the interference is {_range(-hi, -lo)}"
    return f"the clearance is {_range(lo, hi)}"


def _clearance(clash: Clash) -> str:
    limits = clash.joint.limits
    gap = _gap(clash)
    return f"{gap}, where {_window(limits['least'], limits['most'])} is wanted" if gap else ""


def _closed(clash: Clash) -> str:
    gap, interval = _gap(clash), clash.interval_mm
    return gap + _closing(clash, interval[1]) if gap and interval and interval[1] >= 0 else gap


def _window(least: float, most: float) -> str:
    if most <= 0:
        return f"an interference of {_range(-most, -least)}"
    if least < 0:
        return f"anything from {-least:.2f} mm of interference to {most:.2f} mm of clearance"
    return _range(least, most)


def _closing(clash: Clash, clearance: float) -> str:
    found = {f.argument: f for f in clash.figures}
    slot, bore = found.get("slot"), found.get("bore")
    if slot is None or slot.dimension is None or bore is None or bore.dimension is None:
        return ""
    if slot.presence is Presence.ABSENT:
        return ", and without a slot nothing closes it"
    if not slot.dimension.known:
        return ", and the slot's width is unknown"
    outside = found.get("outside")
    shuts = _closes_at_most(clash, bore.dimension, slot.dimension, outside)
    text = f"; a slot of {slot.dimension.mid:.1f} mm closes {shuts:.2f} mm of diameter at most"
    if clearance > shuts and slot.dimension.hi > 0:
        wide = slot.dimension.hi * clearance / shuts
        text += f", and this would take one of {wide:.1f} mm"
    return text


def _closes_at_most(
    clash: Clash, bore: Dimension, slot: Dimension, outside: Figure | None
) -> float:
    def limits(size: Dimension) -> Limits:
        return Limits(np.array(size.lo), np.array(size.hi))

    around = None
    if outside is not None and outside.dimension is not None:
        around = limits(outside.dimension)
    elif "outside" in clash.joint.arguments:
        around = limits(Dimension.unknown())
    return float(closes(limits(bore), limits(slot), around).hi)


def _nest_text(clash: Clash) -> str:
    nest = nesting(clash)
    if nest is None or not all(math.isfinite(end) for end in nest.together_mm):
        return ""
    each = [
        f"{s.outer.called} leaves {_range(*s.clearance_mm)} around {s.inner.called}"
        for s in nest.steps
    ]
    text = "; ".join(each)
    if len(nest.steps) > 1:
        text += f"; {_range(*nest.together_mm)} together"
    last = nest.steps[-1].outer.called
    if nest.slot is None or nest.slot.presence is Presence.ABSENT:
        return f"{text}, and {last} has no slot that could take it up"
    reserve = clash.joint.limits.get("reserve", 0.0)
    spare = f", of which {reserve:.2f} mm are kept to press with" if reserve else ""
    return f"{text}, and {last} closes {_range(*nest.closes_mm)} of diameter{spare}"


def _snugger(clash: Clash, catalogue: Catalogue) -> str:
    """Return which part would leave less to take up, where a nest cannot close."""
    nest = nesting(clash)
    if nest is None or len(nest.steps) < 2:
        return ""
    roles = catalogue.vocabulary.roles
    loose = sorted(nest.steps, key=lambda step: -step.clearance_mm[1])
    for step in loose:
        for option in (step.inner, step.outer):
            if option.part is not None and roles[option.role].fill is not Fill.ALWAYS:
                return (
                    f" A snugger {roles[option.role].title} than {option.part.called} would help "
                    "first, as it leaves less to take up."
                )
    outer = nest.widest.outer
    return f" A snugger {roles[outer.role].title} than {outer.called} would help first."


def _stack_text(clash: Clash) -> str:
    found = clash.interval_mm
    if found is None or not all(f.dimension and f.dimension.known for f in clash.figures):
        return ""
    limits = clash.joint.limits
    window = "least" if "least" in limits else "most"
    return f"together {_range(*found)}, where at {window} {limits[window]:.2f} mm is wanted"


def _shared_text(clash: Clash) -> str:
    """Return what several joints want of a figure that nobody knows."""
    wants = []
    for joint, lo, hi in wanted_of_unknown(clash):
        if math.isfinite(lo) and math.isfinite(hi):
            wants.append(f"{joint.title} takes {lo:.2f} to {hi:.2f} mm")
        elif math.isfinite(lo):
            wants.append(f"{joint.title} takes {lo:.2f} mm or more")
        elif math.isfinite(hi):
            wants.append(f"{joint.title} takes {hi:.2f} mm or less")
    figures = [f for f in clash.figures if f.reference in clash.joint.unknown]
    figures += [
        f
        for f in clash.figures
        if not figures and f.reference.feature in {r.feature for r in clash.joint.unknown}
    ]
    whose = " and ".join(dict.fromkeys(f"{_name(f)} of {f.option.called}" for f in figures))
    text = f"nobody knows the {whose}, and nothing it could be serves them all" if whose else ""
    return "; ".join(filter(None, (text, ", ".join(wants))))


def _terms(clash: Clash) -> str:
    """Return the figures of a stack with their signs in words."""
    signed = [("less " if f.argument == "take" else "", figure_text(f)) for f in clash.figures]
    return "; ".join(sign + text for sign, text in signed)


def _nothing_measured(clash: Clash) -> str:
    """Return nothing: words and what is there or not are told by their figures alone."""
    return ""


#: What each rule says of its lengths, behind the figures that it compares.
COMES_TO: Mapping[str, Callable[[Clash], str]] = {
    "clearance": _clearance,
    "closes-by-slot": _closed,
    "at-least": _exceeds,
    "equal": _nothing_measured,
    "key": _nothing_measured,
    "present": _nothing_measured,
    "absent": _nothing_measured,
    "nest": _nest_text,
    "stack": _stack_text,
    "one-figure": _shared_text,
}


def _missing(clash: Clash, catalogue: Catalogue) -> str:
    """Return what is not there and has to be, or is there and must not be, where a joint fails."""
    subject = clash.joint.subject
    if subject is None or clash.verdict is not Verdict.FAILS:
        return ""
    option = clash.options.get(subject.role)
    title = catalogue.vocabulary.roles[subject.role].title
    feature = (subject.feature or "").replace("_", " ")
    if clash.joint.rule == "absent":
        return f"no {title} may be there" if not feature else f"the {title} may have no {feature}"
    if option is None or not feature:
        return f"no {title}"
    return f"no {feature} on {option.called}"


def clash_text(clash: Clash, catalogue: Catalogue, named: Collection[str] = ()) -> str:
    """Return why a joint fails, or why nobody can tell, in one or two sentences.

    Parameters
    ----------
    clash : Clash
        The reason.
    catalogue : Catalogue
        Whose vocabulary names the roles.
    named : collection of str
        Stock numbers of parts that were named just before; these are called by their roles.
    """
    joint = clash.joint
    title = capital(joint.title)
    told = [
        f
        for f in clash.figures
        if (f.argument != "outside" or joint.rings) and f.reference not in joint.unknown
    ]
    figures = _terms(clash) if joint.spans else "; ".join(figure_text(f) for f in told)
    missing = _missing(clash, catalogue)
    # What was named just before stands there; only what is missing is news.
    told_of = [sku for sku in clash.parts if not (missing and sku in named)]
    about = [called for called in map(catalogue.called, told_of) if called not in missing]
    subject = figures or ", ".join(about)
    comes_to = "; ".join(filter(None, (subject, COMES_TO[joint.rule](clash), missing)))
    text = f"{title}: {comes_to}." if comes_to else f"{title}."
    slotless = any(f.argument == "slot" and f.presence is Presence.ABSENT for f in clash.figures)
    if clash.verdict is Verdict.FAILS and clash.margin_mm is not None and not slotless:
        text += f" Lacking {-clash.margin_mm:.2f} mm even at the most favourable sizes."
        text += _snugger(clash, catalogue)
    if clash.verdict is Verdict.UNKNOWN:
        text += " " + _undecided(clash)
        if (chance := chance_of(clash, catalogue)) is not None:
            text += f" {_chance(chance, catalogue)}"
    if joint.because:
        text += f" {sentence(joint.because)}"
    named_once = [*clash.options.values(), *(f.option for f in told)]
    return _named_once(text, named_once, catalogue, named) + _nearest(clash, catalogue)


def _nearest(clash: Clash, catalogue: Catalogue) -> str:
    """Return which parts come nearest in the roles that nobody named."""
    found = [(role, clash.options[role].part) for role in sorted(clash.free & set(clash.options))]
    roles = catalogue.vocabulary.roles
    told = [the_part(roles[role].title, part.called) for role, part in found if part is not None]
    return f" (What comes nearest: {listed(told)}.)" if told else ""


def _chance(chance: Chance, catalogue: Catalogue) -> str:
    title = catalogue.vocabulary.roles[chance.figure.reference.role].title
    return (
        f"Of {chance.seen} other parts ({title}) whose {_name(chance.figure)} is known, "
        f"{chance.fit} would fit ({percent(chance.share)})."
    )


def _undecided(clash: Clash) -> str:
    unknown = [
        f
        for f in clash.figures
        if (f.dimension is not None and not f.dimension.known)
        or (f.dimension is None and f.word is None)
        or f.presence is Presence.UNKNOWN
    ]
    if unknown:
        what = " and ".join(
            f"the {(f.reference.feature or f.reference.name).replace('_', ' ')} of "
            f"{f.option.called}"
            for f in unknown
        )
        return f"It cannot be told without measuring {what}."
    unseen = dict.fromkeys(
        f"{clash.options[c.role].called} has a {(c.feature or c.role).replace('_', ' ')}"
        for c in (*conditions_of(clash.joint), clash.joint.subject)
        if c is not None
        and c.role in clash.options
        and presence_of(clash.options[c.role], c.feature) is Presence.UNKNOWN
    )
    if unseen:
        return f"Nobody has noted whether {' or whether '.join(unseen)}: look at it."
    share = share_of_pairs(clash)
    part = (
        "some pairs fit and some do not" if share is None else f"{percent(share)} of such pairs fit"
    )
    return f"The limits overlap the window: {part}. Try this pair, or measure it."


def element_text(element: Element, catalogue: Catalogue) -> str:
    """Return one element of a conflict in a few words."""
    roles = catalogue.vocabulary.roles
    title = roles[element.role].title if element.role else ""
    if element.joint is not None:
        return element.joint.title
    return {
        PICK: the_part(title, listed([catalogue.called(s) for s in element.skus], "or")),
        ABSENT: f"no {title} is added",
        PLAIN: f"the workshop does no work on the {title}",
        MATERIAL: f"made of {element.word}",
        STOCK: "all of it in stock",
        BUDGET: f"for at most {catalogue.vocabulary.money(element.figure or 0)}",
        MASS: f"within {show_mass(element.figure or 0)}",
    }[element.kind]


def unfilled_text(catalogue: Catalogue) -> str:
    """Return of which roles a catalogue has no part, so that it has no build; empty if of none."""
    titles = [catalogue.vocabulary.roles[role].title for role in catalogue.unfilled]
    if not titles:
        return ""
    return f"No build of this catalogue can be complete: it has no part for {listed(titles)}."


def conflict_text(conflict: Conflict, catalogue: Catalogue) -> str:
    """Return what cannot hold together, in one or two sentences; :func:`clash_text` says why."""
    if not conflict.elements:
        return unfilled_text(catalogue) or "Nothing in this catalogue makes a complete build."
    told: dict[str, list[str]] = {
        kind: [] for kind in (PICK, ABSENT, PLAIN, MATERIAL, STOCK, BUDGET, MASS, "")
    }
    for element in conflict.elements:
        told["" if element.joint else element.kind].append(element_text(element, catalogue))
    picks, joints = told[PICK], list(dict.fromkeys(told[""]))
    asked = told[MATERIAL] + told[STOCK] + told[BUDGET] + told[MASS]
    kept = told[ABSENT] + told[PLAIN]
    how = (" " + ", ".join(asked)) if asked else ""
    how += f" as long as {listed(kept)}" if kept else ""
    whole = "cannot be used" if picks and not asked else "cannot be had"
    if len(picks) > 1:
        subject, predicate, open_ = listed(picks), f"do not go together{how}", f"go together{how}"
    else:
        subject = picks[0] if picks else "a complete build"
        predicate, open_ = f"{whole}{how}", f"{whole.replace('cannot', 'can')}{how}"
    if conflict.verdict is Verdict.UNKNOWN:
        text = f"It cannot be told whether {subject} {open_}."
    else:
        text = f"{capital(subject)} {predicate}."
    if len(joints) > 1:
        text += f" Whatever else is taken, one of these is not made: {'; '.join(joints)}."
    over = {e.kind: by for e, by in conflict.lacking}
    if len(over) > 1 and max(over.values()) <= 0:
        text += " Either limit alone can be kept, both together cannot."
    elif (by := over.get(BUDGET, 0.0)) > 0:
        text += f" The cheapest that may fit costs {catalogue.vocabulary.money(by)} more."
    elif (by := over.get(MASS, 0.0)) > 0:
        text += f" The lightest that may fit weighs {show_mass(by)} more."
    return text


def _done(action: Action, catalogue: Catalogue) -> tuple[str, list[str]]:
    """Return the work of a step, and which dimensions it moves."""
    services = catalogue.vocabulary.services
    work = " and ".join(services[s].title for s in action.services)
    moved = [
        f"{feature.replace('_', ' ')} {by:+.0f} mm".replace("-", "−")
        for s in action.services
        for (feature, _), by in services[s].shifts.items()
    ]
    return work, moved


def action_text(action: Action, catalogue: Catalogue) -> str:
    """Return one step of a change as an instruction."""
    if action.kind == RAISE_BUDGET:
        return f"pay {catalogue.vocabulary.money(action.amount or 0)} more than the budget"
    if action.kind == LOOSEN_MASS:
        if action.amount is None:
            return "ask for no mass limit: the mass of some part is not known"
        return f"let it weigh {show_mass(action.amount)} more"
    title = catalogue.vocabulary.roles[action.role].title
    after, before = action.after.part, action.before.part
    work, moved = _done(action, catalogue)
    if action.kind == SERVICE and before is not None:
        detail = f" ({', '.join(moved)})" if moved else ""
        return f"on {the_part(title, before.called)}, have the workshop {work}{detail}"
    if action.kind == LEAVE_OUT and before is not None:
        return f"leave out {the_part(title, before.called)}"
    if after is None:
        return action.kind
    then = f" and have the workshop {work}" + (f" ({', '.join(moved)})" if moved else "")
    then = then if work else ""
    if action.kind == SWAP and before is not None:
        old = before.name if before.name not in ("", after.name) else before.called
        return f"take {the_part(title, after.called)} instead of {old}{then}"
    if action.kind == ADD:
        return f"add {the_part(title, after.called)}{then}"
    if action.kind == OTHER_MATERIAL:
        known = MATERIALS.get(after.material or "")
        material = "a material that is not known" if known is None else known.title
        return f"take another material: {the_part(title, after.called)} of {material}"
    if action.kind == ORDER:
        return f"order {the_part(title, after.called)}, which is not in stock"
    return action.kind


def stock_text(change: Change, catalogue: Catalogue) -> str:
    """Return whether a change can be done today."""
    order = [*map(catalogue.called, change.to_order)]
    if change.held is not None:
        price = catalogue.vocabulary.money(change.held.price)
        return f"not today: order {listed(order)}; today with {change.held.after.called}, {price}"
    return f"not today: order {listed(order)}" if order else "can be done today"


def hold_text(hold: Hold) -> str:
    """Return how hard a clamp holds, in a few sentences; the torque caution goes with it."""
    grip = hold.grip
    bolts = f"{hold.bolts} bolts {hold.thread}"
    if grip.high_nm <= 0:
        text = (
            f"{bolts} at {hold.torque_nm:g} N·m do not close the rings onto what is inside: "
            f"{_surface(hold.weakest, 't')} is not pressed."
        )
    else:
        text = (
            f"{bolts} at {hold.torque_nm:g} N·m hold against a turning moment of about "
            f"{grip.middle_nm:.0f} N·m; nine times out of ten it lies between "
            f"{grip.low_nm:.0f} and {grip.high_nm:.0f} N·m, depending on friction, tightening "
            f"and how evenly they press. {_surface(hold.weakest)} slips first"
        )
        if grip.closing_n >= 50:
            pull = hold.pressing * hold.torque.usual_preload_n
            text += (
                f"; closing the rings takes {grip.closing_n / 1000:.1f} kN of {pull / 1000:.1f} kN"
            )
        text += "."
        if grip.closes < 1:
            text += f" In {percent(1 - grip.closes)} of the cases the rings do not close for it."
    if hold.demand_nm is not None and hold.demand_share is not None:
        share = "all" if hold.demand_share > 0.9995 else f"{hold.demand_share:.1%}"
        name = f", {hold.demand}," if hold.demand else ""
        text += f" {hold.demand_nm:g} N·m{name} are reached in {share} of the cases."
    if not hold.elastic and hold.elastic_gap_mm is not None:
        text += (
            f" Its slot has to narrow by up to {hold.gap_mm:.1f} mm and springs back only from "
            f"{hold.elastic_gap_mm:.1f} mm, so the end may stay bent."
        )
    if hold.torque.over_proof:
        share = f"{hold.torque.worst_share_of_proof:.0%}"
        text += f" The bolts may reach {share} of their proof load: too much."
    return text


def _surface(surface: Surface, letter: str = "T") -> str:
    return f"{letter}he surface between {surface.outer.called} and {surface.inner.called}"


def held_texts(hold: Hold | None, pressed: Sequence[Pressed]) -> tuple[tuple[str, str], ...]:
    """Return what holds an assembly and what that does to it: topics of cautions, and sentences.

    Parameters
    ----------
    hold : Hold or None
        The clamp's grip, where it is known.
    pressed : sequence of Pressed
        What is pressed together.
    """
    found = [] if hold is None else [("torque", hold_text(hold)), *strain_texts(hold)]
    return (*found, *(("press", pressed_text(one)) for one in pressed))


def _length(low: float, high: float) -> str:
    if low <= 0:
        return f"up to {high:.1f} mm"
    return f"{low:.1f} mm" if high - low < 0.05 else f"{low:.1f} to {high:.1f} mm"


def pressed_text(one: Pressed) -> str:
    """Return what a press fit comes to, in a sentence; the caution on pressing goes with it."""
    fit = one.fit
    low, high = fit.interference_mm
    tight = f"up to {high:.3g} mm" if low <= 0 else f"{low:.3g} to {high:.3g} mm"
    most = fit.force_n[1] / 1000
    text = (
        f"{one.shaft.called} is pressed into {one.hub.called} with {tight} of "
        f"interference: some {most:.1f} kN at the most, which stresses the bore to "
        f"{fit.share_of_yield[1]:.0%} of yield"
    )
    if fit.possibly_yields:
        text += ", so that it may stretch for good"
    if fit.loose:
        text += "; at other sizes within their limits it goes in by hand"
    return text + "."


def strain_texts(hold: Hold) -> tuple[tuple[str, str], ...]:
    """Return what a clamp does to its parts: the topic of a caution, and a sentence, each."""
    found: list[tuple[str, str]] = []
    if hold.notch is not None and hold.slot_beyond_mm is not None:
        text = (
            "The slot's end is a notch: what the tube bears again and again is divided by "
            f"{hold.notch[0]:.1f} to {hold.notch[1]:.1f}, less with a round, drilled end than "
            "with a sawn one."
        )
        low, high = hold.slot_beyond_mm
        if high > 0:
            beyond = _length(low, high)
            text += f" The slot reaches {beyond} beyond the clamp, where the tube bends most."
        found.append(("strength", text))
    if hold.crush is not None:
        even, lines = hold.crush.share_of_yield
        text = f"The clamp stresses the closed tube to between {even:.0%} and {lines:.0%} of yield"
        if hold.crush.for_certain:
            text += ", which crushes it."
        elif hold.crush.possibly:
            text += ": it may be crushed where it is not pressed evenly."
        else:
            text += "."
        found.append(("crush", text))
    if hold.thread_needs_mm is not None:
        short, long = hold.thread_needs_mm
        found.append(
            (
                "thread",
                f"Tapped into the clamp's own metal, the {hold.thread} thread wants {short:.1f} "
                f"to {long:.1f} mm of full turns, so that the bolt gives way before it does.",
            )
        )
    return tuple(found)


def assembly_text(assembly: AssemblyShare) -> str:
    """Return what share of assemblies of such parts fits."""
    return (
        f"Over all these joints at once, {percent(assembly.share)} of assemblies of such parts fit "
        "(sizes spread evenly within their limits)."
    )
