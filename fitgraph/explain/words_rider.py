"""Sentences for measurements, for what a rider has, for comparisons and for advice.

Together with :mod:`fitgraph.explain.words` the one place where sentences are made.
"""

from __future__ import annotations

import math

from fitgraph.explain.advice import FamilyAdvice, RiderAdvice, Tube
from fitgraph.explain.compare import FigurePair, Opened, Side
from fitgraph.explain.exchange import Aim, Exchange, NotOffered
from fitgraph.explain.identify import State, Turn, Value
from fitgraph.explain.measure import Measurement, Outcome
from fitgraph.explain.words import named_figure, size_text
from fitgraph.mechanics.grip import GripRatio, inverse
from fitgraph.model import Basis, Catalogue, Presence
from fitgraph.model.rider import Question
from fitgraph.solve import Services
from fitgraph.units import show_mass
from fitgraph.wording import capital, first_of, percent, plural, sentence

#: Names of thousands, so that nobody counts digits.
_SCALES = (
    (10**18, "quintillion"),
    (10**15, "quadrillion"),
    (10**12, "trillion"),
    (10**9, "billion"),
    (10**6, "million"),
)

#: Values and stock numbers listed before "and more".
_LISTED = 3


def about(number: float) -> str:
    """Return a number of builds as people say it.

    Examples
    --------
    >>> about(5722470705214), about(12894), about(0.4)
    ('5.72 trillion', '12,894', '0.4')
    """
    for scale, name in _SCALES:
        if number >= scale:
            return f"{number / scale:,.3g} {name}"
    return f"{number:,.0f}" if number >= 10 or number == int(number) else f"{number:.1f}"


def builds_text(number: int) -> str:
    """Return a number of builds in few characters.

    Examples
    --------
    >>> builds_text(1), builds_text(812), builds_text(98_980_594_620)
    ('1 build', '812 builds', 'about 99 billion builds')
    """
    if number >= 10**6:
        return f"about {about(number)} builds"
    return plural(number, "build")


def figure_text(catalogue: Catalogue, role: str, feature: str, dimension: str | None) -> str:
    """Return a figure as a sentence names it: "slot width of the bar"."""
    kind = catalogue.vocabulary.roles[role].features[feature]
    return f"{named_figure(kind.title, dimension)} of the {catalogue.vocabulary.roles[role].title}"


def _a(noun: str) -> str:
    return f"{'an' if noun[:1].lower() in 'aeiou' else 'a'} {noun}"


def how_text(catalogue: Catalogue, measurement: Measurement) -> str:
    """Return how to measure a figure, or what to look for."""
    role = catalogue.vocabulary.roles[measurement.role]
    kind = role.features[measurement.feature]
    if measurement.dimension is None:
        gloss = f": {kind.gloss}" if kind.gloss else ""
        return f"Look whether the {role.title} has {_a(kind.title)}{gloss}."
    text = kind.dimensions[measurement.dimension].measure
    if text:
        return text
    worded = kind.dimensions[measurement.dimension].worded
    return "Read it off the part." if worded else "Calliper."


def _value(value: float | str | bool) -> str:
    if isinstance(value, bool):
        return "it is there" if value else "it is not there"
    return f"{value:.2f} mm" if isinstance(value, float) else value


def outcome_text(outcome: Outcome) -> str:
    """Return what an outcome of a measurement is, and what it settles."""
    sizes = sorted(v for v in outcome.values if isinstance(v, float))
    if len(sizes) > _LISTED:
        shown = f"{len(sizes)} sizes between {sizes[0]:.2f} and {sizes[-1]:.2f} mm"
    else:
        shown = " or ".join(_value(v) for v in (sizes or outcome.values))
    if not outcome.settled:
        return f"{shown} ({percent(float(outcome.share))}): settles nothing by itself"
    pieces = []
    if outcome.certain:
        verb = "becomes" if outcome.certain == 1 else "become"
        pieces.append(f"{about(outcome.certain)} {verb} certain")
    if outcome.impossible:
        verb = "is" if outcome.impossible == 1 else "are"
        pieces.append(f"{about(outcome.impossible)} {verb} ruled out")
    return f"{shown} ({percent(float(outcome.share))}): {', '.join(pieces)}"


def measurement_text(catalogue: Catalogue, measurement: Measurement) -> str:
    """Return what a measurement is expected to settle, in one or two sentences."""
    m = measurement
    text = (
        f"Settles {percent(float(m.expected / m.open_builds))} on average: "
        f"{about(float(m.expected))} of the {about(m.open_builds)} builds with it that "
        "nobody can judge yet"
    )
    if m.rest and m.with_rest > m.expected:
        others = first_of((_figure(catalogue, m.role, *r) for r in m.rest), _LISTED)
        verb = "is" if len(m.rest) == 1 else "are"
        text += f"; {about(float(m.with_rest))} when its {others} {verb} measured with it"
    return text + "."


def _figure(catalogue: Catalogue, role: str, feature: str, dimension: str | None) -> str:
    return figure_text(catalogue, role, feature, dimension).rpartition(" of the ")[0]


# ---------------------------------------------------------------- what a rider has


def answer_text(value: Value) -> str:
    """Return an answer as the rider gave it."""
    if value is None:
        return "cannot be seen"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.1f} mm"
    return value


def question_text(question: Question) -> str:
    """Return a question with how to find its answer."""
    return f"{question.ask} {question.how}".strip()


def kind_text(state: State, name: str) -> str:
    """Return a kind with what it means."""
    if not name:
        return "none of these"
    means = state.identifier.identify.means.get(name)
    return f"{name} ({means})" if means else name


def state_text(state: State) -> str:
    """Return what a rider most likely has, and how sure that is, in one or two sentences."""
    first, *rest = state.kinds
    text = f"{kind_text(state, first.name)}: {percent(first.chance)} sure."
    also = [f"{kind_text(state, k.name)} {percent(k.chance)}" for k in rest if k.chance >= 0.01]
    if also:
        text += f" It could also be {'; '.join(also)}."
    return text


def turn_text(state: State, turn: Turn) -> str:
    """Return what would change the answer."""
    then = turn.kind or "none of these"
    if turn.value is None:
        return (
            f'If the answer to "{turn.question.ask}" was a slip ({percent(turn.chance)}), '
            f"{then} would be the likeliest."
        )
    return (
        f'If the answer to "{turn.question.ask}" were {answer_text(turn.value)} '
        f"({percent(turn.chance)}), {then} would be the likeliest."
    )


def doubt_text(surprising: float) -> str:
    """Return a warning where the answers hardly go together; else nothing."""
    if surprising >= 0.01:
        return ""
    return (
        "These answers hardly go together: look again at the one that is easiest to get wrong, "
        "or there are parts that this catalogue does not know."
    )


# ---------------------------------------------------------------- comparisons


def side_text(side: Side) -> str:
    """Return one figure of one of two parts."""
    if side.presence is Presence.ABSENT:
        return "none"
    if side.presence is Presence.UNKNOWN:
        return "nobody has looked"
    if side.size is not None:
        basis = side.size.basis
        source = f" ({basis.word})" if basis is not Basis.UNKNOWN else ""
        return f"{size_text(side.size)}{source}"
    if side.word is not None:
        return side.word.value or "unknown"
    return "there"


def difference_title(difference: FigurePair) -> str:
    """Return the figure that two parts are compared by."""
    return named_figure(difference.feature.replace("_", " "), difference.dimension)


def grip_text(ratio: GripRatio, names: tuple[str, str], of: str) -> str:
    """Return how much more the first of two holds than the second, as a sentence.

    Parameters
    ----------
    ratio : GripRatio
        Draw by draw.
    names : tuple of str
        The two.
    of : str
        On what each of them grips.
    """
    one, other = names
    if ratio.more < 0.5:
        return grip_text(inverse(ratio), (other, one), of)
    if math.isinf(ratio.middle):
        return f"{one} holds {of}, and {other} mostly does not."
    text = f"{one} holds about {ratio.middle:.2g} times as much as {other} {of}"
    if ratio.high > 1.02 * ratio.low:
        text += f" (nine times out of ten {ratio.low:.2g} to {ratio.high:.2g} times)"
    elif ratio.middle < 1.02:
        text = f"{one} and {other} hold alike {of}"
    return text + "; friction and tightening are the same for both, and cancel."


def opened_text(catalogue: Catalogue, opened: Opened, names: tuple[str, str]) -> str:
    """Return which counterparts a joint opens to one of two parts and closes to the other."""
    title = catalogue.vocabulary.roles[opened.role].title
    pieces = []
    for side, name in enumerate(names):
        mates = opened.mates[side]
        judged = len(mates.fits) + len(mates.unknown) + len(mates.fails)
        if not judged:
            pieces.append(f"{name} has no such joint")
            continue
        text = f"{name} fits {len(mates.fits)} of {judged}"
        if mates.unknown:
            text += f" (and perhaps {len(mates.unknown)} more)"
        if alone := opened.opens(side):
            called = [catalogue.called(sku) for sku in alone]
            text += f", {len(alone)} of them only it: {first_of(called, _LISTED)}"
        pieces.append(text)
    joint = capital(opened.joint.title)
    return f"{joint} ({title}): {'; '.join(pieces)}."


# ---------------------------------------------------------------- advice


def tube_text(tube: Tube) -> str:
    """Return a kind of tube with its sizes."""
    sizes = ", ".join(f"{words} {lo:.1f} to {hi:.1f} mm" for words, (lo, hi) in tube.sizes.items())
    wall = f", wall {tube.wall_mm:.1f} mm" if tube.wall_mm is not None else ""
    told = f": {sizes}{wall}" if sizes else ""
    return f"{tube.kind or 'other'}{told} ({plural(tube.parts, 'part')})"


def family_text(catalogue: Catalogue, advice: FamilyAdvice) -> str:
    """Return what a family of materials trades, with its numbers, in a few sentences."""
    corner, vocabulary = advice.corner, catalogue.vocabulary
    price = vocabulary.money(corner.price)
    text = (
        f"{capital(advice.family)}: {' and '.join(corner.reaches)}. "
        f"The middle of {plural(corner.parts, 'part')}: {show_mass(corner.mass_g)}, "
        f"{corner.strength_nm:,.0f} N·m, {price}."
    )
    if any(tube.kind or tube.sizes for tube in advice.tubes):
        text += f" It comes as {'; '.join(tube_text(t) for t in advice.tubes)}."
    return f"{text} {sentence(advice.say)}".strip()


def advice_text(catalogue: Catalogue, advice: RiderAdvice) -> str:
    """Return the advice in a few sentences: which material, why, and the rule of thumb."""
    first, *rest = advice.families
    riding = f"For {advice.style.name}" if advice.style.name else "Without more to go by"
    if advice.broken:
        riding += ", and as parts have broken before"
    weighed = ", ".join(
        f"{word} {weight:g}"
        for word, weight in (
            ("light", advice.style.light),
            ("strong", advice.style.strong),
            ("affordable", advice.style.affordable),
        )
    )
    text = f"{riding}: {first.family} (worth {first.worth:.2f} of 1, with weights {weighed})"
    if rest:
        text += ", then " + ", ".join(f"{f.family} ({f.worth:.2f})" for f in rest)
    text += "."
    for why in advice.why:
        text += f" {sentence(why)}"
    if advice.broken and len(advice.families) > 1:
        others = " or ".join(f.family for f in advice.families if f.family != advice.weakest)
        text += (
            f" The weakest in the middle is {advice.weakest}: who keeps breaking parts of it "
            f"should go to {others}."
        )
    return f"{text} {sentence(advice.rule)}".strip()


# ---------------------------------------------------------------- one part changed

#: Why parts are not offered; what follows their number.
_NOT_OFFERED = {
    NotOffered.SIZE: ("does not go", "do not go", "with what is kept, whatever comes along"),
    NotOffered.WORK: ("would go", "would go", "after work on what is bought"),
    NotOffered.UNTOLD: ("cannot", "cannot", "be told: a figure has to be measured"),
    NotOffered.UNSOLD: ("has", "have", "no price"),
    NotOffered.MATERIAL: ("is", "are", "of another material"),
    NotOffered.STOCK: ("cannot", "cannot", "be done from the shelf"),
    NotOffered.BUDGET: ("costs", "cost", "more, with all that comes along, than the budget"),
}


def _as_sold(services: Services) -> str:
    """Return that work on what is bought was not looked for, where that is so."""
    return "" if services is Services.ANY else " as sold"


def not_offered_text(outcome: NotOffered, aim: Aim, services: Services, number: int) -> str:
    """Return how many parts are not offered for a reason, and the reason.

    Examples
    --------
    >>> not_offered_text(NotOffered.UNSOLD, Aim.ANY, Services.OWNED, 1)
    '1 has no price'
    >>> not_offered_text(NotOffered.AIM, Aim.LIGHTER, Services.OWNED, 2)
    '2 go, and are not lighter, or nobody knows'
    """
    one, many, rest = _NOT_OFFERED.get(
        outcome, ("goes, and is", "go, and are", f"not {aim.value}, or nobody knows")
    )
    sold = _as_sold(services) if outcome is NotOffered.SIZE else ""
    return f"{plural(number, one, many)}{sold} {rest}"


def exchange_text(found: Exchange) -> str:
    """Return how many parts could take the place, in a sentence.

    Parameters
    ----------
    found : Exchange
        What was found.
    """
    told = _exchange_text(found)
    if not found.all_stay:
        return told
    return f"{told} To replace other parts as well would need too much memory to be looked at."


def _exchange_text(found: Exchange) -> str:
    role = found.catalogue.vocabulary.roles[found.role]
    title, many = role.title, role.many
    several = title == many
    open_ = found.aim is not Aim.ANY and found.old is None
    wish = "other" if found.aim is Aim.ANY or open_ else found.aim.value
    if found.count:
        told = (
            f"{found.count:,} {wish} {title if found.count == 1 else many}: {found.alone:,} with "
            f"nothing else, {found.today:,} from the shelf."
        )
        than = f"Which are {found.aim.value} than theirs is told once theirs is named."
        return f"{told} {than}" if open_ else told
    if set(found.others.values()) <= {NotOffered.SIZE, NotOffered.WORK}:
        along = "with all that is kept" if found.all_stay else "whatever comes along"
        return f"No other {title} {'go' if several else 'goes'}{_as_sold(found.services)}, {along}."
    return f"Of {len(found.others):,} other {many} none is what is wanted."
