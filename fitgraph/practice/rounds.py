"""Questions for practice, made from the catalogue as it is now; the engine knows the answers."""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from typing import Protocol

from fitgraph.draw.style import SIGNS, WORDS
from fitgraph.explain import Explainer, Explanation, action_text, clash_text
from fitgraph.explain.advice import advise
from fitgraph.explain.changes import SWAP, Action
from fitgraph.explain.reasons import Clash
from fitgraph.explain.standing import standings
from fitgraph.explain.words import the_part
from fitgraph.explain.words_rider import advice_text
from fitgraph.graph.fit_graph import mates
from fitgraph.graph.joints import asked
from fitgraph.graph.options import plain
from fitgraph.model import Catalogue, Joint, Part, Verdict
from fitgraph.records import dataclass
from fitgraph.solve import NamingError, Request, TreeEngine
from fitgraph.wording import an, capital

#: The three levels.
WILL_IT_FIT, WHICH_IS_MISSING, WHAT_TO_TELL = 1, 2, 3
LEVELS = {
    WILL_IT_FIT: "1: Will it fit?",
    WHICH_IS_MISSING: "2: Which part is missing?",
    WHAT_TO_TELL: "3: What would you tell them?",
}

#: Parts of each role that a question draws from, so that one is soon made at any size.
_DRAWN = 40

#: How often a question is tried before its topic is given up.
_TRIES = 12

#: What the names of topics on ways of riding begin with; no joint's name has such a sign.
_RIDING = "riding/"

#: Wrong answers beside the right one.
_WRONG = 3

#: What there is to say of two parts that do not clash.
_SAID = {
    Verdict.UNKNOWN: "A figure decides that nobody knows well enough: measure or try this very "
    "pair first.",
    Verdict.FITS: "It fits: sell it as it is.",
}


class Knowing(Protocol):
    """Whoever knows a catalogue and answers about it: a shop, or an opened catalogue."""

    @property
    def catalogue(self) -> Catalogue:
        """The catalogue."""

    @property
    def engine(self) -> TreeEngine:
        """What finds builds."""

    @property
    def explainer(self) -> Explainer:
        """What says why parts do not fit."""


@dataclass(frozen=True, slots=True)
class Exercise:
    """A question with its answer.

    Parameters
    ----------
    level : int
        From 1 to 3.
    topic : str
        The joint, the role or the way of riding it practises.
    text : str
        What is asked.
    parts : tuple of str
        Stock numbers that are shown.
    choices : tuple of str
        To choose from.
    right : int
        Which of them.
    because : tuple of str
        Why, in sentences.
    drawn : tuple of str
        Stock numbers of the cross-section that shows it; none where materials are compared.
    """

    level: int
    topic: str
    text: str
    parts: tuple[str, ...]
    choices: tuple[str, ...]
    right: int
    because: tuple[str, ...]
    drawn: tuple[str, ...]


def _between_two(opened: Knowing) -> list[Joint]:
    """Return the joints that compare figures of two roles."""
    return [
        j
        for j in asked(opened.catalogue.vocabulary.joints, tidy=False)
        if len({r.role for r in j.arguments.values()}) == 2
    ]


def topics(opened: Knowing, level: int) -> list[str]:
    """Return what a level practises: joints, roles, ways of riding.

    Parameters
    ----------
    opened : Knowing
        The catalogue.
    level : int
        From 1 to 3.
    """
    catalogue = opened.catalogue
    if level == WHICH_IS_MISSING:
        names = [r for r in catalogue.vocabulary.roles if len(catalogue.of(r)) > 1]
    else:
        names = [
            j.name
            for j in _between_two(opened)
            if all(catalogue.of(r.role) for r in j.arguments.values())
        ]
    if level == WHAT_TO_TELL and catalogue.vocabulary.advice is not None:
        names += [f"{_RIDING}{style}" for style in catalogue.vocabulary.advice.styles]
    return [f"{level}:{name}" for name in names]


def topic_title(opened: Knowing, topic: str) -> str:
    """Return a topic as people read it."""
    _, _, name = topic.partition(":")
    vocabulary = opened.catalogue.vocabulary
    if name.startswith(_RIDING):
        return f"riding: {name.removeprefix(_RIDING)}"
    if name in vocabulary.roles:
        return vocabulary.roles[name].title
    found = [j.title for j in vocabulary.joints if j.name == name]
    return found[0] if found else name


def question(opened: Knowing, topic: str, seed: int) -> Exercise | None:
    """Return a question on a topic; the same seed gives the same one.

    Parameters
    ----------
    opened : Knowing
        The catalogue.
    topic : str
        One of :func:`topics`.
    seed : int
        Where chance comes from.

    Returns
    -------
    Question or None
        None where the catalogue gives none on this topic.
    """
    level, _, name = topic.partition(":")
    rng = random.Random(f"{seed} {topic}")
    for _ in range(_TRIES):
        if level == str(WHICH_IS_MISSING):
            made = _which_is_missing(opened, name, topic, rng)
        elif name.startswith(_RIDING):
            made = _which_material(opened, name.removeprefix(_RIDING), topic, rng)
        else:
            made = _pair_question(opened, name, topic, int(level), rng)
        if made is not None:
            return made
    return None


def _pairs(
    opened: Knowing, joint: Joint, rng: random.Random
) -> dict[Verdict, list[tuple[str, str]]]:
    """Return pairs of parts by what a joint says of them."""
    catalogue = opened.catalogue
    drawn: dict[str, Part] = {}
    for role in dict.fromkeys(r.role for r in joint.arguments.values()):
        parts = list(catalogue.of(role))
        drawn |= {p.sku: p for p in rng.sample(parts, min(_DRAWN, len(parts)))}
    # In the catalogue's order, so that the same seed finds the same pair.
    ordered = {sku: drawn[sku] for sku in catalogue.parts if sku in drawn}
    found: dict[Verdict, list[tuple[str, str]]] = {}
    for one, other, verdict, _ in mates(catalogue, joint, ordered):
        found.setdefault(verdict, []).append((one, other))
    return {verdict: found[verdict] for verdict in Verdict if verdict in found}


def _joint(opened: Knowing, name: str) -> Joint | None:
    return next((j for j in _between_two(opened) if j.name == name), None)


def _about(opened: Knowing, said: Explanation, pair: Sequence[str]) -> tuple[Clash, ...]:
    """Return what the answer hangs on, if any of it is between the two: that first."""
    roles = {opened.catalogue.parts[sku].role for sku in pair}
    shown = said.conflicts if said.verdict is not Verdict.FITS else said.joints
    first = [c for c in shown if roles <= c.options.keys()]
    return (*first, *(c for c in shown if c not in first)) if first else ()


def _reasons(opened: Knowing, clashes: Sequence[Clash]) -> tuple[str, ...]:
    return tuple(clash_text(c, opened.catalogue) for c in clashes[:3])


def _pair_question(
    opened: Knowing, name: str, topic: str, level: int, rng: random.Random
) -> Exercise | None:
    joint = _joint(opened, name)
    if joint is None:
        return None
    found = _pairs(opened, joint, rng)
    if not found:
        return None
    if level == WILL_IT_FIT:
        return _will_it_fit(opened, topic, found, rng)
    if Verdict.FAILS not in found:
        return None  # there is nothing to decide
    # Each answer is to be right as often as any other beside it, so that none can be told
    # without looking: those to swap something stand for all that is no sentence of its own.
    swaps = _WRONG + 1 - sum(v in found for v in _SAID)
    (truth,) = rng.choices(list(found), [1 if v in _SAID else swaps for v in found])
    for pair in rng.sample(found[truth], min(_TRIES, len(found[truth]))):
        made = _what_to_tell(opened, topic, pair, truth, tuple(found), rng)
        if made is not None:
            return made
    return None


def _will_it_fit(
    opened: Knowing,
    topic: str,
    found: Mapping[Verdict, Sequence[tuple[str, str]]],
    rng: random.Random,
) -> Exercise | None:
    """Return a question on a pair of which the verdict that was drawn is the truth.

    What a joint says of a pair is not all: another joint of the two may say less. So each verdict
    is right as often as the others where the joint's pairs show it at all.
    """
    for truth in rng.sample(list(found), len(found)):
        for pair in rng.sample(found[truth], min(_TRIES, len(found[truth]))):
            said = opened.explainer.why(pair, with_changes=False)
            about = _about(opened, said, pair)
            if not about or said.verdict is not truth:
                continue
            # A verdict that no pair has would never be right.
            told = [v for v in reversed(Verdict) if v in found or len(found) == 1]
            choices = tuple(f"{SIGNS[v]} {WORDS[v]}" for v in told)
            return Exercise(
                WILL_IT_FIT,
                topic,
                "Do these two go together in a build?",
                pair,
                choices,
                choices.index(f"{SIGNS[truth]} {WORDS[truth]}"),
                _reasons(opened, about),
                pair,
            )
    return None


def _what_to_tell(
    opened: Knowing,
    topic: str,
    pair: tuple[str, str],
    truth: Verdict,
    seen: Sequence[Verdict],
    rng: random.Random,
) -> Exercise | None:
    """Return a question on a pair of which a verdict is the truth.

    What another verdict would have one say stands beside it where the joint's pairs show that
    verdict; other changes, of no use here, fill up.
    """
    catalogue = opened.catalogue
    said = opened.explainer.why(pair)
    about = _about(opened, said, pair)
    failing = truth is Verdict.FAILS
    if said.verdict is not truth or not about or (failing and not said.changes):
        return None
    mine, other = (catalogue.parts[sku] for sku in pair)
    because = _reasons(opened, about)
    if failing:
        change = said.changes[0]
        price = opened.catalogue.vocabulary.money(change.price)
        steps = ", and ".join(action_text(a, catalogue) for a in change.actions)
        right = f"It does not fit. {capital(steps)}: {price}."
        because = (*because, f"What keeps most of what they have: {steps}, {price}.")
    else:
        right = _SAID[truth]
    wrong = [text for verdict, text in _SAID.items() if verdict in seen and text != right]
    others = [p for p in catalogue.of(other.role) if p.price is not None and p.sku != other.sku]
    for part in rng.sample(others, min(len(others), 8)):
        if len(wrong) >= _WRONG:
            break
        # Where the two do clash, what is offered beside the way out must clash as well.
        if (
            not failing
            or opened.explainer.why((mine.sku, part.sku), with_changes=False).verdict
            is Verdict.FAILS
        ):
            step = action_text(Action(SWAP, part.role, plain(other), plain(part)), catalogue)
            price = opened.catalogue.vocabulary.money(part.price or 0)
            wrong.append(f"It does not fit. {capital(step)}: {price}.")
    if not wrong:
        return None
    choices = [right, *wrong]
    rng.shuffle(choices)
    titles = catalogue.vocabulary.roles
    return Exercise(
        WHAT_TO_TELL,
        topic,
        f"{capital(an(catalogue.vocabulary.customer))} has "
        f"{the_part(titles[mine.role].title, mine.called)} and wants "
        f"{the_part(titles[other.role].title, other.called)} with it. What do you say?",
        pair,
        tuple(choices),
        choices.index(right),
        because,
        pair,
    )


def _which_is_missing(
    opened: Knowing, role: str, topic: str, rng: random.Random
) -> Exercise | None:
    catalogue, engine = opened.catalogue, opened.engine
    sold = [p for p in catalogue.of(role) if p.price is not None]
    if not sold:
        return None
    part = rng.choice(sold)
    best = engine.best(Request(want=(part.sku,)), sort=rng.choice(("price", "mass")), limit=1)
    if not best:
        return None
    near = {
        r for j in catalogue.vocabulary.joints if role in j.roles and not j.check for r in j.roles
    }
    rest = tuple(sku for r, sku in best[0].parts.items() if r != role)
    fails = [
        s.part for s in standings(engine, Request(have=rest))[role] if s.verdict is Verdict.FAILS
    ]
    if not fails:
        return None
    wrong = rng.sample(fails, min(_WRONG, len(fails)))
    choices = [part, *wrong]
    rng.shuffle(choices)
    because = []
    for other in wrong:
        said = opened.explainer.why((*rest, other.sku), with_changes=False)
        because += [f"{other.called}: {clash_text(c, catalogue)}" for c in said.conflicts[:1]]
    shown = tuple(sku for sku in rest if catalogue.parts[sku].role in near)
    title = catalogue.vocabulary.roles[role].title
    return Exercise(
        WHICH_IS_MISSING,
        topic,
        f"A build has these parts, and others that match. Which {title} completes it?",
        shown,
        tuple(p.called for p in choices),
        choices.index(part),
        tuple(because),
        (*rest, part.sku),
    )


def _which_material(opened: Knowing, style: str, topic: str, rng: random.Random) -> Exercise | None:
    catalogue = opened.catalogue
    advice = catalogue.vocabulary.advice
    if advice is None or style not in advice.styles:
        return None
    broken = advice.broken is not None and rng.random() < 0.5
    try:
        told = advise(catalogue, style, broken=broken)
    except NamingError:  # no part has its tube, mass and price known
        return None
    families = [f.family for f in told.families]
    if len(families) < 2:
        return None
    rng.shuffle(families)
    past = ", and has broken such parts before" if broken else ""
    return Exercise(
        WHAT_TO_TELL,
        topic,
        f"Asked how it is used, {an(catalogue.vocabulary.customer)} says: {style}{past}. "
        "Which material do you suggest first?",
        (),
        tuple(families),
        families.index(told.families[0].family),
        (advice_text(catalogue, told), *(f.say for f in told.families if f.say)),
        (),
    )
