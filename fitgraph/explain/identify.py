"""What does a rider have? Questions, each the most telling one, and how sure the answer is.

Every complete build is a candidate, as common as its parts: a part counts once for being in
the catalogue, once for each piece in stock and once for each rider in the enquiries who owns
one; an empty role counts once, and once for each rider who names none. What the rider sees
or measures makes candidates more or less likely (Bayes), with room for a rider's calliper and
for a slip. The next question is the one whose answer is expected to tell most about the
kinds of the vocabulary's grouping, for the effort it takes.

References
----------
.. [1] D. V. Lindley, "On a measure of the information provided by an experiment", Annals of
   Mathematical Statistics 27 (1956) 986-1005 (reference checked): expected information gain.
.. [2] T. M. Cover, J. A. Thomas, "Elements of Information Theory", 2nd ed., Wiley 2006,
   sections 2.1 to 2.4 (reference checked): entropy and mutual information.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from functools import cached_property

import numpy as np

from fitgraph.array_types import Floats, Ints
from fitgraph.errors import handed
from fitgraph.explain.outcomes import SAME_MM
from fitgraph.explain.sightings import Looks, looks_of_builds
from fitgraph.graph.columns import fold
from fitgraph.graph.groupings import suits
from fitgraph.graph.options import presence_of
from fitgraph.model import Catalogue, Option, Presence
from fitgraph.model.rider import Identify, Question
from fitgraph.records import dataclass
from fitgraph.solve import NamingError, Space, compile_space
from fitgraph.units import UnitError, parse_length
from fitgraph.wording import NO, YES

#: What a rider answers: a size in mm, a word, whether it is there, or None for "I cannot see".
Value = float | str | bool | None

#: Chance that an answer is a slip.
SLIP = 0.02

#: What a build counts for that is possible but not certain.
DOUBT = 0.25

#: Sizes of parts are told apart to a tenth of a millimetre.
LOOK_MM = 0.1

#: Below this gain, in bits, a question is not worth asking.
LEAST_GAIN = 0.02

#: The answer where there is nothing to measure.
NOTHING = "none"

#: Words by which a rider says that it cannot be seen.
UNSEEN = ("?", "", "unknown", "unseen")


@dataclass(frozen=True, slots=True)
class Likely:
    """A kind, or a part, with its chance."""

    name: str
    chance: float


@dataclass(frozen=True, slots=True)
class Turn:
    """An answer that would change what is most likely.

    Parameters
    ----------
    question : Question
        What would have to be asked, or was.
    value : float, str, bool or None
        The answer; None where an answer given already is taken back.
    chance : float
        How likely that answer is; for one taken back, that of a slip.
    kind : str
        What would be most likely then.
    """

    question: Question
    value: Value
    chance: float
    kind: str


@dataclass(frozen=True, slots=True)
class Candidates:
    """Who it could be, the likeliest first.

    Parameters
    ----------
    kinds : tuple of Likely
        The kinds of the grouping; a last one without a name is none of them.
    parts : mapping of str to tuple of Likely
        For each role, the parts by chance.
    surprising : float
        How well the answers go together: their chance against that of the likeliest answers
        to the same questions; small means that they contradict each other.
    """

    kinds: tuple[Likely, ...]
    parts: Mapping[str, tuple[Likely, ...]]
    surprising: float


def _entropy(chances: Floats) -> float:
    """Return the entropy of chances, in bits."""
    some = chances[chances > 0]
    return float(-(some * np.log2(some)).sum())


def _sums(place: Ints, weight: Floats, size: int) -> Floats:
    """Return the weights added up by place."""
    return np.bincount(place, weights=weight, minlength=size).astype(float)


def popularity(catalogue: Catalogue, space: Space) -> dict[str, Floats]:
    """Return how common each option of each role is.

    Parameters
    ----------
    catalogue : Catalogue
        Its stock and enquiries are the evidence.
    space : Space
        Lists the options; parts after workshop work count nothing.
    """
    owners: dict[str, float] = {}
    riders = sum(e.weight for e in catalogue.enquiries)
    for enquiry in catalogue.enquiries:
        for sku in set(enquiry.have):
            owners[sku] = owners.get(sku, 0.0) + enquiry.weight
    found = {}
    for role, options in space.options.items():
        of_role = {p.sku for p in catalogue.of(role)}
        owned = sum(
            e.weight for e in catalogue.enquiries if any(sku in of_role for sku in set(e.have))
        )
        weights = []
        for option in options:
            if option.services:
                weights.append(0.0)
            elif option.part is None:
                weights.append(1.0 + riders - owned)
            else:
                weights.append(1.0 + max(option.part.stock, 0) + owners.get(option.part.sku, 0.0))
        found[role] = np.array(weights)
    return found


def seen_on(option: Option, question: Question) -> Value:
    """Return what a question would show on an option, as the catalogue knows it.

    True or False, a size in mm to a tenth, a word, :data:`NOTHING` where there is nothing to
    read, None where the catalogue does not know.
    """
    presence = presence_of(option, question.feature)
    if question.dimension is None:
        return None if presence is Presence.UNKNOWN else presence is Presence.PRESENT
    if presence is Presence.ABSENT:
        return NOTHING
    if presence is Presence.UNKNOWN:
        return None
    feature = option.features[question.feature]
    word = feature.words.get(question.dimension)
    if word is not None:
        return fold(word.value) if word.value else None
    size = feature.lengths.get(question.dimension)
    if size is None or not size.known:
        return None
    return round(round(size.mid / LOOK_MM) * LOOK_MM, 6)


class Identifier:
    """Finds out what a rider has.

    Parameters
    ----------
    catalogue : Catalogue
        Its vocabulary has an ``[identify]`` table.
    space : Space, optional
        The catalogue as compiled already, to save the time.

    Raises
    ------
    NamingError
        If the vocabulary asks no questions.
    """

    def __init__(self, catalogue: Catalogue, space: Space | None = None) -> None:
        identify = catalogue.vocabulary.identify
        if identify is None:
            raise NamingError(
                "this catalogue asks no questions; write an [identify] table into its "
                "vocabulary.toml (docs/catalogue.md)"
            )
        self.catalogue = catalogue
        self.identify: Identify = identify
        self.space = compile_space(catalogue, tidy=False) if space is None else space
        self.kinds = catalogue.vocabulary.groups[identify.group].kinds
        self.weights = popularity(catalogue, self.space)
        self.questions: Mapping[str, Question] = {q.name: q for q in identify.questions}
        roles = dict.fromkeys(
            [q.role for q in identify.questions]
            + [c.role for k in self.kinds for c in k.when]
            + [r.role for k in self.kinds for r in k.within]
        )
        self._example: dict[str, list[Option]] = {}
        self._looks_of: dict[str, Ints] = {role: self._looks_in(role) for role in roles}

    def _looks_in(self, role: str) -> Ints:
        """Return the look of every option of a role, and note an option of each look."""
        mine = [q for q in self.identify.questions if q.role == role]
        looks: dict[tuple[object, ...], int] = {}
        examples: list[Option] = []
        found = []
        for option in self.space.options[role]:
            seen = [seen_on(option, q) for q in mine]
            key = (*((type(v), v) for v in seen), *(suits(kind, option) for kind in self.kinds))
            if key not in looks:
                looks[key] = len(looks)
                examples.append(option)
            found.append(looks[key])
        self._example[role] = examples
        return np.array(found, dtype=np.intp)

    @cached_property
    def looks(self) -> Looks:
        """Return every combination of looks, with its weight."""
        return looks_of_builds(self.space, self.weights, self._looks_of, DOUBT)

    @cached_property
    def kind_of(self) -> Ints:
        """Return the kind of each combination: the first that it is of; one more for none."""
        found = np.full(len(self.looks.weight), len(self.kinds), dtype=np.intp)
        for n in range(len(self.kinds) - 1, -1, -1):
            holds = np.ones(len(found), dtype=bool)
            for role, look in self.looks.of.items():
                bits = np.array([suits(self.kinds[n], o) for o in self._example[role]], dtype=bool)
                holds &= bits[look]
            found[holds] = n
        return found

    # -- what an answer says ---------------------------------------------------

    def _seen(self, question: Question) -> list[Value]:
        """Return what a question shows on each look of its role."""
        return [seen_on(o, question) for o in self._example[question.role]]

    @cached_property
    def _look_weight(self) -> dict[str, Floats]:
        """Return how common each look of each role is, before any question."""
        return {
            role: _sums(look, self.looks.weight, len(self._example[role]))
            for role, look in self.looks.of.items()
        }

    def is_length(self, question: Question) -> bool:
        """Return whether a question is answered with a size."""
        if question.dimension is None:
            return False
        feature = self.catalogue.vocabulary.roles[question.role].features[question.feature]
        return not feature.dimensions[question.dimension].worded

    def read(self, question: str, answer: object) -> Value:
        """Return a typed answer as a value.

        Parameters
        ----------
        question : str
            The question's name.
        answer : object
            Text such as yes, no, 31.8, 1 1/4 in, none or ?; or a value already.

        Raises
        ------
        NamingError
            If there is no such question, or the answer is none it can have.
        """
        asked = self.questions.get(question) if isinstance(question, str) else None
        if asked is None:
            known = ", ".join(self.questions)
            raise NamingError(
                f"no question is called {handed(question)}; the questions are {known}"
            )
        said = handed(answer)
        text = str(answer).strip().casefold()
        if answer is None or text in UNSEEN:
            return None
        if asked.dimension is None:
            if text in YES | NO:
                return text in YES
            raise NamingError(f"{question}: {said} is no answer; write yes, no or ?")
        if text == NOTHING or text in NO:
            return NOTHING
        if not self.is_length(asked):
            words = {w for w in self._seen(asked) if isinstance(w, str)}
            if fold(str(answer)) in words:
                return fold(str(answer))
            raise NamingError(
                f"{question}: {said} is no answer; write one of {', '.join(sorted(words))} or ?"
            )
        feature = self.catalogue.vocabulary.roles[asked.role].features[asked.feature]
        plausible = feature.dimensions[asked.dimension].plausible
        try:
            size = parse_length(str(answer), plausible)
        except UnitError as error:
            raise NamingError(f"{question}: {said} {error}; or write none or ?") from None
        if not 0 < size < 1e4:
            raise NamingError(f"{question}: {said} is no size; write it in mm, or none or ?")
        if plausible is not None and not plausible[0] <= size <= plausible[1]:
            raise NamingError(
                f"{question}: {said} lies outside {plausible[0]:g} to {plausible[1]:g} mm; "
                "check the figure and its unit, or write none or ?"
            )
        return size

    def likelihood(self, question: Question, value: Value) -> Floats:
        """Return how likely an answer is on each look of the question's role.

        Where the catalogue does not know, the looks that it does know stand in, each as often
        as it is common.
        """
        seen = self._seen(question)
        if value is None:
            return np.ones(len(seen))
        known = np.array([s is not None for s in seen])
        chance = np.zeros(len(seen))
        if self.is_length(question):
            at = [(n, float(s)) for n, s in enumerate(seen) if isinstance(s, float)]
            sizes = [s for _, s in at]
            span = max(max(sizes, default=1.0) - min(sizes, default=0.0), 10 * LOOK_MM)
            sigma = question.tolerance_mm / 2
            for n, s in enumerate(seen):
                if isinstance(s, float) and isinstance(value, float):
                    # Per tenth of a millimetre, so that it compares with the chance of "none".
                    density = math.exp(-0.5 * ((value - s) / sigma) ** 2) / (
                        sigma * math.sqrt(2 * math.pi)
                    )
                    chance[n] = (1 - SLIP) * density * LOOK_MM + SLIP * LOOK_MM / span
                elif s == NOTHING and value == NOTHING:
                    chance[n] = 1 - SLIP
                elif s is not None:
                    chance[n] = SLIP if value == NOTHING else SLIP * LOOK_MM / span
        else:
            others = max(len({s for s in seen if s is not None} | {value}) - 1, 1)
            for n, s in enumerate(seen):
                if s is not None:
                    chance[n] = 1 - SLIP if s == value else SLIP / others
        weight = np.where(known, self._look_weight[question.role], 0.0)
        mean = float((chance * weight).sum() / weight.sum()) if weight.sum() > 0 else 1.0
        return np.where(known, chance, mean)

    def answers(self, question: Question) -> list[Value]:
        """Return the answers that tell looks apart: sizes closer than the tolerance are one."""
        seen = self._seen(question)
        weight = self._look_weight[question.role]
        plain = dict.fromkeys(s for s in seen if s is not None and not isinstance(s, float))
        sizes = sorted((s, weight[n]) for n, s in enumerate(seen) if isinstance(s, float))
        groups: list[list[tuple[float, float]]] = []
        for s, w in sizes:
            if groups and s - groups[-1][-1][0] <= question.tolerance_mm + SAME_MM:
                groups[-1].append((s, w))
            else:
                groups.append([(s, w)])
        means = [
            sum(s * w for s, w in g) / sum(w for _, w in g) if sum(w for _, w in g) else g[0][0]
            for g in groups
        ]
        return [*map(float, means), *plain]

    def _shares(self, question: Question) -> tuple[list[Value], Floats]:
        """Return the answers, and for each look how likely each of them is."""
        values = self.answers(question)
        if not values:
            return [], np.zeros((0, len(self._example[question.role])))
        raw = np.array([self.likelihood(question, v) for v in values])
        return values, raw / raw.sum(axis=0)

    @cached_property
    def _all_shares(self) -> dict[str, tuple[list[Value], Floats]]:
        return {name: self._shares(q) for name, q in self.questions.items()}

    # -- states ------------------------------------------------------------------

    def start(self) -> State:
        """Return the state in which nothing has been asked."""
        return State(self)


@dataclass(frozen=True, slots=True)
class State:
    """What is known of a rider's parts so far; nothing changes it, answers make new ones.

    Parameters
    ----------
    identifier : Identifier
        The catalogue's questions.
    given : tuple of (str, Value)
        The answers so far, None for one that could not be seen.
    """

    identifier: Identifier
    given: tuple[tuple[str, Value], ...] = ()

    def answer(self, question: str, value: object) -> State:
        """Return the state after an answer; a later answer to a question replaces the first.

        Raises
        ------
        NamingError
            If there is no such question, or the answer is none it can have.
        """
        read = self.identifier.read(question, value)
        others = tuple(g for g in self.given if g[0] != question)
        return replace(self, given=(*others, (question, read)))

    def without(self, question: str) -> State:
        """Return the state without an answer."""
        return replace(self, given=tuple(g for g in self.given if g[0] != question))

    def _weights(self) -> Floats:
        """Return the weight of each combination of looks, not scaled to 1."""
        looks = self.identifier.looks
        weight = looks.weight
        for name, value in self.given:
            question = self.identifier.questions[name]
            likely = self.identifier.likelihood(question, value)
            weight = weight * likely[looks.of[question.role]]
        return weight

    def _chances(self) -> Floats:
        weight = self._weights()
        total = weight.sum()
        return weight / total if total > 0 else weight

    def _by_kind(self, chances: Floats) -> Floats:
        kinds = len(self.identifier.kinds) + 1
        return _sums(self.identifier.kind_of, chances, kinds)

    @property
    def kinds(self) -> tuple[Likely, ...]:
        """Return the kinds by chance, the likeliest first; the last name, empty, is none."""
        names = [*(k.name for k in self.identifier.kinds), ""]
        found = self._by_kind(self._chances())
        order = np.argsort(-found, kind="stable")
        return tuple(Likely(names[n], float(found[n])) for n in order)

    @property
    def sure(self) -> bool:
        """Whether the likeliest kind is as good as found."""
        return self.kinds[0].chance >= self.identifier.identify.sure

    def gains(self) -> dict[str, float]:
        """Return for each question not asked yet what it is expected to tell, in bits."""
        chances = self._chances()
        now = _entropy(self._by_kind(chances))
        asked = {name for name, _ in self.given}
        found = {}
        for name, question in self.identifier.questions.items():
            if name in asked:
                continue
            then = sum(
                chance * _entropy(by_kind)
                for _, chance, by_kind in self._outcomes(question, chances)
            )
            found[name] = max(now - then, 0.0)
        return found

    def _outcomes(self, question: Question, chances: Floats) -> list[tuple[Value, float, Floats]]:
        """Return the answers of a question with their chance, and the kinds after each."""
        identifier = self.identifier
        values, shares = identifier._all_shares[question.name]
        look = identifier.looks.of[question.role]
        kinds = len(identifier.kinds) + 1
        looks = shares.shape[1]
        key = look * kinds + identifier.kind_of
        joint = _sums(key, chances, looks * kinds).reshape(looks, kinds)
        after = shares @ joint  # answers by kinds
        found = []
        for n, value in enumerate(values):
            chance = float(after[n].sum())
            if chance > 0:
                found.append((value, chance, after[n] / chance))
        return found

    def next_question(self) -> Question | None:
        """Return the most telling question for its effort; None where none is worth asking."""
        if self.sure:
            return None
        questions = self.identifier.questions
        gains = {n: g for n, g in self.gains().items() if g >= LEAST_GAIN}
        if not gains:
            return None
        return questions[max(gains, key=lambda n: gains[n] / questions[n].effort)]

    def candidates(self, *, least: float = 0.01) -> Candidates:
        """Return what it could be.

        Parameters
        ----------
        least : float
            Parts less likely than this are left out.
        """
        chances = self.part_chances()
        parts = {}
        for role, options in self.identifier.space.options.items():
            found = [
                Likely(o.label, float(c))
                for o, c in zip(options, chances[role], strict=True)
                if c >= least
            ]
            parts[role] = tuple(sorted(found, key=lambda f: (-f.chance, f.name)))
        return Candidates(self.kinds, parts, self._surprising())

    def part_chances(self) -> dict[str, Floats]:
        """Return the chance of every option of every role, exact over all complete builds."""
        identifier, space = self.identifier, self.identifier.space
        weights = {r: w / max(w.sum(), 1e-300) for r, w in identifier.weights.items()}
        for name, value in self.given:
            question = identifier.questions[name]
            likely = identifier.likelihood(question, value)
            role = question.role
            weights[role] = weights[role] * likely[identifier._looks_of[role]]
        per_class = {r: _sums(space.class_of[r], w, space.sizes[r]) for r, w in weights.items()}
        sure = space.through(per_class, certain=True, exact=False)
        maybe = space.rough_perhaps(per_class)
        found = {}
        for role, weight in weights.items():
            through = (1 - DOUBT) * sure[role] + DOUBT * maybe[role]
            chance = weight * through[space.class_of[role]]
            total = chance.sum()
            found[role] = chance / total if total > 0 else chance
        return found

    def _surprising(self) -> float:
        """Return the chance of the answers against the likeliest ones to the same questions."""
        identifier, state, ratio = self.identifier, State(self.identifier), 1.0
        for name, value in self.given:
            question = identifier.questions[name]
            if value is None:
                continue
            before = state._weights().sum()
            likeliest = max(
                (state.answer(name, v)._weights().sum() for v in identifier.answers(question)),
                default=before,
            )
            state = replace(state, given=(*state.given, (name, value)))
            if likeliest > 0:
                ratio *= min(state._weights().sum() / likeliest, 1.0)
        return float(ratio)

    def turns(self) -> list[Turn]:
        """Return what would change the likeliest kind: answers to come, and given ones as slips.

        Returns
        -------
        list of Turn
            The likeliest first.
        """
        names = [*(k.name for k in self.identifier.kinds), ""]
        now = self.kinds[0].name
        chances = self._chances()
        asked = {name for name, _ in self.given}
        found = []
        for name, question in self.identifier.questions.items():
            if name in asked:
                continue
            for value, chance, by_kind in self._outcomes(question, chances):
                then = names[int(np.argmax(by_kind))]
                if then != now:
                    found.append(Turn(question, value, chance, then))
        for name, value in self.given:
            then = self.without(name).kinds[0].name
            if value is not None and then != now:
                found.append(Turn(self.identifier.questions[name], None, SLIP, then))
        return sorted(found, key=lambda t: -t.chance)
