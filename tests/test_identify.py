"""What a rider has: chances against plain enumeration, and how many questions it takes."""

from __future__ import annotations

import json
import math
from collections import defaultdict
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from strategies import FEATURES, LENGTH, WORD, catalogues, rows_of
from typer.testing import CliRunner

import fitgraph
from fitgraph.catalogue import CatalogueError, demo_folder, load, shipped_folder
from fitgraph.cli import knowing, main
from fitgraph.explain.identify import (
    DOUBT,
    LOOK_MM,
    NOTHING,
    SLIP,
    Identifier,
    State,
    Value,
    seen_on,
)
from fitgraph.explain.words_rider import doubt_text, state_text, turn_text
from fitgraph.graph.joints import asked
from fitgraph.graph.options import holds_for_certain, length_of, options_for
from fitgraph.model import (
    Catalogue,
    Condition,
    Enquiry,
    Grouping,
    Kind,
    Option,
    Reference,
    Verdict,
)
from fitgraph.model.rider import Identify, Question
from fitgraph.solve import NamingError
from tests.shared import the_demo

# Commands on the demo do not each read it.
pytestmark = pytest.mark.usefixtures("demo_read_once")


@pytest.fixture(scope="module")
def demo() -> Identifier:
    return Identifier(the_demo().catalogue)


# -- against enumeration -------------------------------------------------------


def _weight(catalogue: Catalogue, option: Option) -> float:
    """Count a part once, once a piece in stock, once a rider who owns it; empty likewise."""
    if option.services:
        return 0.0
    if option.part is not None:
        owners = sum(e.weight for e in catalogue.enquiries if option.part.sku in e.have)
        return 1 + option.part.stock + owners
    mine = {p.sku for p in catalogue.of(option.role)}
    return 1 + sum(e.weight for e in catalogue.enquiries if not mine & set(e.have))


def _plain_builds(catalogue: Catalogue) -> list[tuple[dict[str, Option], float]]:
    """Return every build that is possible, with its weight before any question."""
    options = {
        r: options_for(catalogue.of(r), r, catalogue.vocabulary) for r in catalogue.vocabulary.roles
    }
    joints = asked(catalogue.vocabulary.joints, tidy=False)
    sure = set(rows_of(options, joints, Verdict.FITS))
    found = []
    for row in rows_of(options, joints, Verdict.UNKNOWN):
        build = {r: os[i] for (r, os), i in zip(options.items(), row, strict=True)}
        weight = math.prod(
            _weight(catalogue, o) / max(sum(_weight(catalogue, x) for x in options[r]), 1e-300)
            for r, o in build.items()
        )
        found.append((build, weight * (1.0 if row in sure else DOUBT)))
    return found


def _likely(
    question: Question, seen: Value, value: Value, every: set[Value], length: bool
) -> float | None:
    """Return the chance of an answer on what the catalogue knows; None where it knows nothing."""
    if seen is None:
        return None
    if not length:
        others = max(len(every | {value}) - 1, 1)
        return 1 - SLIP if seen == value else SLIP / others
    sizes = [s for s in every if isinstance(s, float)]
    span = max(max(sizes, default=1.0) - min(sizes, default=0.0), 10 * LOOK_MM)
    if isinstance(seen, float) and isinstance(value, float):
        sigma = question.tolerance_mm / 2
        z = (value - seen) / sigma
        density = math.exp(-z * z / 2) / (sigma * math.sqrt(2 * math.pi))
        return (1 - SLIP) * density * LOOK_MM + SLIP * LOOK_MM / span
    if seen == value == NOTHING:
        return 1 - SLIP
    return SLIP if value == NOTHING else SLIP * LOOK_MM / span


def _is_kind(kind: Kind, build: dict[str, Option]) -> bool:
    return all(holds_for_certain(build[c.role], c) for c in kind.when) and all(
        (size := length_of(build[r.role], r)) is not None and size.known and low <= size.mid <= high
        for r, (low, high) in kind.within.items()
    )


def _plain_chances(
    identifier: Identifier,
    given: tuple[tuple[str, Value], ...],
    builds: list[tuple[dict[str, Option], float]],
) -> tuple[dict[str, float], dict[tuple[str, str], float]]:
    """Return the chance of each kind, and of each option of each role."""
    catalogue = identifier.catalogue
    weights = [w for _, w in builds]
    for name, value in given:
        if value is None:
            continue
        question = identifier.questions[name]
        length = identifier.is_length(question)
        role = question.role
        options = options_for(catalogue.of(role), role, catalogue.vocabulary)
        every = {s for o in options if (s := seen_on(o, question)) is not None}
        likely = [
            _likely(question, seen_on(b[role], question), value, every, length) for b, _ in builds
        ]
        known = [(x, w) for x, (_, w) in zip(likely, builds, strict=True) if x is not None]
        total = sum(w for _, w in known)
        mean = sum(x * w for x, w in known) / total if total else 1.0
        weights = [w * (mean if x is None else x) for w, x in zip(weights, likely, strict=True)]
    whole = sum(weights)
    kinds: dict[str, float] = defaultdict(float)
    parts: dict[tuple[str, str], float] = defaultdict(float)
    for (build, _), weight in zip(builds, weights, strict=True):
        name = next((k.name for k in identifier.kinds if _is_kind(k, build)), "")
        kinds[name] += weight / whole
        for role, option in build.items():
            parts[(role, option.label)] += weight / whole
    return kinds, parts


def _check(state: State, builds: list[tuple[dict[str, Option], float]]) -> None:
    identifier = state.identifier
    if not sum(w for _, w in builds):
        assert identifier.looks.weight.sum() == 0
        return
    kinds, parts = _plain_chances(identifier, state.given, builds)
    for found in state.kinds:
        assert found.chance == pytest.approx(kinds.get(found.name, 0.0), abs=1e-9)
    for role, chances in state.part_chances().items():
        for option, chance in zip(identifier.space.options[role], chances, strict=True):
            assert chance == pytest.approx(parts.get((role, option.label), 0.0), abs=1e-9)


@st.composite
def _asking(draw: st.DrawFn) -> Catalogue:
    """Draw a small catalogue with questions, kinds and enquiries."""
    catalogue = draw(catalogues(most_parts=2))
    roles = list(catalogue.vocabulary.roles)
    questions = []
    for n in range(draw(st.integers(1, 3))):
        dimension = draw(st.sampled_from([None, LENGTH, WORD]))
        role, feature = draw(st.sampled_from(roles)), draw(st.sampled_from(FEATURES))
        questions.append(Question(f"q{n}", "?", role, feature, dimension, 0.3))
    kinds = []
    for n in range(draw(st.integers(1, 3))):
        role, feature = draw(st.sampled_from(roles)), draw(st.sampled_from(FEATURES))
        when = (Condition(role, feature, draw(st.booleans())),)
        window = {Reference(draw(st.sampled_from(roles)), feature, LENGTH): (9.0, 10.5)}
        kinds.append(Kind(f"k{n}", window if draw(st.booleans()) else {}, when))
    skus = sorted(catalogue.parts)
    enquiries = tuple(
        Enquiry(str(n), have=(draw(st.sampled_from(skus)),), weight=2.0)
        for n in range(draw(st.integers(0, 2)) if skus else 0)
    )
    return replace(
        catalogue,
        enquiries=enquiries,
        vocabulary=replace(
            catalogue.vocabulary,
            groups=MappingProxyType({"group": Grouping("group", "group", tuple(kinds))}),
            identify=Identify("group", tuple(questions)),
        ),
    )


@settings(max_examples=15, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.data())
def test_chances_are_those_of_plain_enumeration(data: st.DataObject) -> None:
    identifier = Identifier(data.draw(_asking()))
    if not all(identifier.space.options.values()):
        return
    state, builds = identifier.start(), _plain_builds(identifier.catalogue)
    _check(state, builds)
    for name, question in identifier.questions.items():
        values: list[Value] = [*identifier.answers(question), None]
        if identifier.is_length(question):
            values.append(10.07)
        state = state.answer(name, data.draw(st.sampled_from(values)))
        _check(state, builds)


def _bench() -> Catalogue:
    """Return data/bench40 with three questions: its forks' tops, its bars' slots and outsides."""
    catalogue = load(shipped_folder("data") / "bench40").catalogue
    kinds = (
        Kind("thin", {Reference("fork", "top", "diameter"): (25.0, 26.0)}),
        Kind("thick", {Reference("fork", "top", "diameter"): (28.0, 29.0)}),
    )
    questions = (
        Question("slot", "Is there a slot?", "bar", "slot"),
        Question("outside", "How wide?", "bar", "outside", "diameter", 0.2),
        Question("inside", "How wide inside?", "bar", "bore", "diameter", 0.2),
    )
    return replace(
        catalogue,
        vocabulary=replace(
            catalogue.vocabulary,
            groups=MappingProxyType({"fork": Grouping("fork", "fork", kinds)}),
            identify=Identify("fork", questions),
        ),
    )


@pytest.mark.long
def test_forty_parts_against_enumeration() -> None:
    identifier = Identifier(_bench())
    state, builds = identifier.start(), _plain_builds(identifier.catalogue)
    _check(state, builds)
    for name, value in (("outside", 31.7), ("slot", True), ("inside", 28.8)):
        state = state.answer(name, value)
        _check(state, builds)


def test_expected_gain_is_what_answers_tell_on_average() -> None:
    """The gain is now's entropy less the mean of then's, over the answers (Lindley 1956)."""
    identifier = Identifier(_bench())
    state = identifier.start()

    def entropy(s: State) -> float:
        return -sum(k.chance * math.log2(k.chance) for k in s.kinds if k.chance > 0)

    gains = state.gains()
    for name in ("slot",):
        question = identifier.questions[name]
        chances = {}
        for value in identifier.answers(question):
            seen = [seen_on(o, question) for o in identifier._example[question.role]]
            likely = identifier.likelihood(question, value)
            look = identifier.looks.of[question.role]
            chances[value] = float((identifier.looks.weight * likely[look]).sum())
            assert len(seen) == len(likely)
        assert sum(chances.values()) == pytest.approx(1.0)
        then = sum(c * entropy(state.answer(name, v)) for v, c in chances.items())
        assert gains[name] == pytest.approx(entropy(state) - then, abs=1e-12)
    assert all(g >= 0 for g in gains.values())


# -- the demo --------------------------------------------------------------------


def _asked_of_every_build(
    identifier: Identifier,
) -> dict[str, list[tuple[float, int, str, tuple[tuple[str, Value], ...]]]]:
    """Return, by true kind: weight, questions asked, kind found, answers, of every build's look.

    The rider answers what the parts show, and passes where the catalogue does not know.
    """
    known: dict[tuple[tuple[str, Value], ...], tuple[Question | None, str]] = {}
    names = [*(k.name for k in identifier.kinds), ""]
    found: dict[str, list[tuple[float, int, str, tuple[tuple[str, Value], ...]]]] = defaultdict(
        list
    )
    for n, weight in enumerate(identifier.looks.weight):
        given: tuple[tuple[str, Value], ...] = ()
        while True:
            if given not in known:
                state = State(identifier, given)
                known[given] = (state.next_question(), state.kinds[0].name)
            question, likeliest = known[given]
            if question is None:
                break
            option = identifier._example[question.role][identifier.looks.of[question.role][n]]
            given = (*given, (question.name, seen_on(option, question)))
        true = names[identifier.kind_of[n]]
        found[true].append((float(weight), len(given), likeliest, given))
    return found


def test_five_questions_find_any_system_of_the_demo_and_three_on_average(
    demo: Identifier,
) -> None:
    """Over every build of the demo, weighted by how common it is, and over every system."""
    found = _asked_of_every_build(demo)
    systems = {k.name for k in demo.kinds} & set(found)
    assert {"IHC", "HIC", "SCS", "ICS", "threaded"} <= systems
    means = {}
    for name in systems:
        asked_of = found[name]
        assert max(count for _, count, *_ in asked_of) <= 5, name
        weight = sum(w for w, *_ in asked_of)
        means[name] = sum(w * count for w, count, *_ in asked_of) / weight
        right = sum(w for w, _, likeliest, _ in asked_of if likeliest == name) / weight
        assert right > 0.99, name
    common = {n: sum(w for w, *_ in found[n]) for n in systems}
    assert sum(means[n] * common[n] for n in systems) / sum(common.values()) <= 3
    assert np.mean(list(means.values())) <= 3


def test_common_practice_leads_to_the_systems(demo: Identifier) -> None:
    """Common practice, no source: what is seen on each system, sizes in mm."""
    start = demo.start()
    for name, saw in {
        "IHC": {"sleeve-outside": "28,6 mm", "steerer-top": "25.4"},
        "HIC": {"sleeve-outside": "1 1/4 in", "steerer-top": "28.6"},
        "SCS": {"clamp-grips-steerer": "yes", "slot": "no", "nuts-on-headset": "no"},
        "ICS": {"bolt-from-below": "yes", "sleeve-outside": "none"},
        "threaded": {"nuts-on-headset": "yes"},
    }.items():
        state = start
        for question, answer in saw.items():
            state = state.answer(question, answer)
        assert state.kinds[0].name == name
        assert state.sure or state.kinds[0].chance > 0.8
    assert start.given == ()  # states do not change


def test_an_answer_that_cannot_be_seen_leaves_the_chances_alone(demo: Identifier) -> None:
    start = demo.start()
    state = start.answer("slot", "?")
    assert [(k.name, pytest.approx(k.chance)) for k in start.kinds] == [
        (k.name, k.chance) for k in state.kinds
    ]
    assert "slot" not in state.gains()
    asked: set[str] = set()
    while (question := state.next_question()) is not None:
        assert question.name not in asked
        asked.add(question.name)
        state = state.answer(question.name, None)
    assert asked and not state.sure


def test_answers_that_contradict_each_other_are_told(demo: Identifier) -> None:
    fine = demo.start().answer("steerer-top", 25.4).answer("sleeve-outside", 28.6)
    odd = fine.answer("clamp-grips-steerer", "yes").answer("nuts-on-headset", "yes")
    assert doubt_text(fine.candidates().surprising) == ""
    assert "look again" in doubt_text(odd.candidates().surprising)


def test_what_would_change_the_answer_does(demo: Identifier) -> None:
    state = demo.start().answer("slot", "yes")
    turns = state.turns()
    assert turns
    for turn in turns:
        if turn.value is None:
            then = state.without(turn.question.name)
        else:
            then = state.answer(turn.question.name, turn.value)
        assert then.kinds[0].name == turn.kind != state.kinds[0].name
        assert (turn.kind or "none of these") in turn_text(state, turn)
    assert "sure" in state_text(state)


def test_the_part_itself_becomes_likelier(demo: Identifier) -> None:
    """An aluminium bar of thick wall, 31.8 outside and 25.4 inside (data/demo/README.md)."""
    before = {f.name: f.chance for f in demo.start().candidates(least=0).parts["bar"]}
    state = demo.start().answer("bar-outside", 31.8).answer("bar-inside", 25.4)
    after = state.candidates(least=0).parts["bar"]
    assert {f.name for f in after[:4]} >= {"BAR-PEL-12", "BAR-PEL-13", "BAR-PEL-14"}
    assert after[0].chance > 10 * before[after[0].name]


@pytest.mark.parametrize(
    ("question", "answer", "wanted"),
    [
        ("no-such", "yes", "the questions are"),
        ("slot", "perhaps", "yes, no or ?"),
        ("clamp-bolts", "seventeen", "write one of"),
        ("bar-outside", "wide", "write it like"),
        ("bar-outside", "-3", "is no size"),
        ("bar-outside", "349", "none or ?"),
    ],
)
def test_answers_that_cannot_be_say_how_to_mend_them(
    demo: Identifier, question: str, answer: str, wanted: str
) -> None:
    with pytest.raises(NamingError, match="no") as caught:
        demo.start().answer(question, answer)
    assert wanted in str(caught.value)


def test_what_a_size_can_be_decides_what_is_meant(demo: Identifier) -> None:
    """34,925 can mean 35 m as well; no bar is so thick."""
    assert demo.read("bar-outside", "34.925") == pytest.approx(34.925)
    assert demo.read("bar-outside", "34,925 mm") == pytest.approx(34.925)
    with pytest.raises(NamingError, match="outside 25 to 45 mm"):
        demo.read("bar-outside", "20")


def test_a_catalogue_without_questions_says_so() -> None:
    with pytest.raises(NamingError, match=r"\[identify\]"):
        Identifier(load(shipped_folder("data") / "bench40").catalogue)


# -- the command -----------------------------------------------------------------


def _run(*arguments: str) -> tuple[int, str]:
    result = CliRunner().invoke(main.app, ["identify", *arguments])
    return result.exit_code, result.output


def test_command_prints_state_and_next_question() -> None:
    code, text = _run("--json")
    assert code == 1
    answer = json.loads(text)
    assert answer["saw"] == [] and answer["next"]["question"]
    assert sum(k["chance"] for k in answer["kinds"]) == pytest.approx(1.0, abs=1e-3)
    code, text = _run("--json", "--saw", "sleeve-outside=28.6", "--saw", "slot=?")
    answer = json.loads(text)
    assert code == 0 and answer["sure"] and answer["next"] is None
    assert answer["kinds"][0]["kind"] == "IHC"
    assert answer["saw"][1] == {"question": "slot", "answer": "cannot be seen"}


def test_command_for_people_and_bad_input() -> None:
    code, text = _run("--saw", "slot=yes")
    assert code == 1 and "Next question" in text and "What would change the answer" in text
    code, text = _run("--saw", "slot")
    assert code == 2 and "QUESTION=ANSWER" in text
    code, text = _run("--saw", "slot=purple")
    assert code == 2 and "yes, no or ?" in text


def test_command_asks_on_a_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    """The answers are typed one after the other; a slip of the keyboard is asked again."""
    typed = iter(["?", "what", "no", "yes", ""])

    class Terminal:
        def isatty(self) -> bool:
            return True

        def readline(self) -> str:
            return next(typed, "") + "\n"

    monkeypatch.setattr("fitgraph.cli.knowing.sys.stdin", Terminal())
    state = knowing._asked(fitgraph.open().identify()).found
    assert state.given[0][1] is None  # passed
    # What is there or not answers with a truth, a size of it with "none".
    assert state.given[1][1] in (False, "none") and state.given[2][1] is True


# -- the table in the vocabulary -----------------------------------------------------


@pytest.mark.parametrize(
    ("before", "after", "wanted"),
    [
        ('group = "system"\nsure', 'group = "nothing"\nsure', "is no known group"),
        ("sure = 0.95", "sure = 95", "is no number that can be used"),
        ('reads = "bar.slot"', 'reads = "bar.slit"', "names no feature and no dimension"),
        ('id = "clamp-bolts"', 'id = "slot"', "is the id of two questions"),
        ("effort = 1.2", "effort = 0", "is zero"),
        ('tolerance = "0.4 mm"', 'tolerance = "0 mm"', "is not above zero"),
        ('SCS = "an', 'SCX = "an', "is no kind of the group"),
        ("[advice.styles.park]\nlight = 3", "[advice.styles.park]\nlght = 3", "is no known entry"),
        ('group = "family"', 'group = "families"', "is no known group"),
        ("[advice.say]\nsteel", "[advice.say]\nstel", "is no family of materials"),
        ('"bore" = "bar.bore.diameter"', '"bore" = "bar.bore.width"', "names no known dimension"),
    ],
)
def test_mistakes_in_the_tables_are_told(
    tmp_path: Path, before: str, after: str, wanted: str
) -> None:
    for source in demo_folder().iterdir():
        text = source.read_text(encoding="utf-8")
        if source.name == "vocabulary.toml":
            assert text.count(before) == 1
            text = text.replace(before, after)
        (tmp_path / source.name).write_text(text, encoding="utf-8")
    with pytest.raises(CatalogueError) as caught:
        load(tmp_path)
    assert any(wanted in f.message for f in caught.value.findings)
    assert all(f.remedy for f in caught.value.findings)
