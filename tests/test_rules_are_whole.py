"""A rule is one thing: each is asked for its judge, its inverse, its words and its drawing.

Options are drawn by lot for whatever rules there are, so a new rule is tried as soon as it is
named; nothing here knows what a rule compares.
"""

from __future__ import annotations

import ast
import math
import random
import xml.etree.ElementTree as ET
from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import fitgraph
from fitgraph.draw.joint import DRAWN, interval_text, joint_svg
from fitgraph.draw.style import SIGNS, WORDS
from fitgraph.explain import Clash, clash_text
from fitgraph.explain.reasons import clashes
from fitgraph.explain.words import COMES_TO, figure_text
from fitgraph.graph.unknowns import shared_joint
from fitgraph.mechanics.limits_of_size import UNKNOWN_WORD, Limits
from fitgraph.mechanics.rules import EPSILON_MM, RULES, Rule
from fitgraph.model import (
    Basis,
    Catalogue,
    Condition,
    Dimension,
    Feature,
    Fill,
    Joint,
    Option,
    Part,
    Presence,
    Reference,
    Ring,
    Role,
    Span,
    Verdict,
    Word,
)
from fitgraph.report.explanations import joint_told
from fitgraph.report.whole_rules import WHOLE
from tests.shared import parsed, the_demo

PACKAGE = Path(fitgraph.__file__).parent

#: What a joint asks of figures that nobody knows, nothing measured can leave open.
NEVER_OPEN = {"one-figure"}


@pytest.fixture(scope="module")
def trade() -> Catalogue:
    """Return a catalogue whose roles are those that the lots are drawn for."""
    catalogue = the_demo().catalogue
    roles = {name: Role(name, f"the {name}", Fill.ALWAYS, {}) for name in ("one", "other", "more")}
    return replace(catalogue, vocabulary=replace(catalogue.vocabulary, roles=roles))


class Lot:
    """A joint of a rule, and options for it, drawn by lot."""

    def __init__(self, seed: int) -> None:
        self.random = random.Random(seed)
        self.features: dict[str, dict[str, Feature]] = {"one": {}, "other": {}, "more": {}}

    def size(self, middle: float = 30.0) -> Dimension:
        if self.random.random() < 0.1:
            return Dimension.unknown()
        half = self.random.choice((0.0, 0.05, 0.2))
        mid = middle + self.random.choice((-2.0, -0.4, -0.1, 0.0, 0.1, 0.2, 0.4, 2.0))
        return Dimension(round(mid - half, 6), round(mid + half, 6), Basis.MEASURED)

    def length(self, role: str, name: str, size: Dimension | None = None) -> Reference:
        feature = Feature(Presence.PRESENT, {"size": size or self.size()}, {})
        self.features[role][name] = feature
        return Reference(role, name, "size")

    def word(self, role: str, name: str) -> Reference:
        word = Word(self.random.choice(("M5", "M6", None)))
        self.features[role][name] = Feature(Presence.PRESENT, {}, {"kind": word})
        return Reference(role, name, "kind")

    def options(self) -> dict[str, Option]:
        return {
            role: Option(role, Part(f"SKU-{role}", role, name=role, features=made), (), made)
            for role, made in self.features.items()
        }

    def windows(self, rule: Rule) -> dict[str, float]:
        least = self.random.choice((-0.3, 0.0, 0.1))
        given = {"least": least, "most": least + 0.4, "reserve": 0.05}
        names = [name for name in rule.limits or {} if name in given]
        if rule.sums == "spans":
            names = [self.random.choice(names)]
        return {name: given[name] for name in names}

    def joint(self, rule: Rule) -> Joint:
        made = Joint("tried", f"the {rule.name} joint", rule.name, limits=self.windows(rule))
        if rule.sums == "shares":
            nobody_knows = self.length("one", "hole", Dimension.unknown())
            clearance = RULES["clearance"]
            shares = tuple(
                Joint(
                    f"with {role}",
                    f"goes on the {role}",
                    clearance.name,
                    {"bore": nobody_knows, "spigot": self.length(role, "top", self.known())},
                    {"least": 0.0, "most": 0.4},
                )
                for role in ("other", "more")
            )
            return shared_joint(shares, (nobody_knows,))
        if rule.sums == "rings":
            core = Ring(None, self.length("one", "top"))
            slot = self.length("other", "cut", Dimension(3.0, 3.0 + self.random.random()))
            bore = self.length("other", "hole")
            outside = self.length("other", "skin", self.size(40))
            return replace(made, rings=(core, Ring(bore, outside, slot)))
        if rule.sums == "spans":
            return replace(
                made,
                spans=(
                    Span(self.length("one", "length")),
                    Span(self.length("other", "depth"), sign=-1),
                ),
            )
        if rule.on_presence:
            presence = self.random.choice(list(Presence))
            self.features["one"]["hole"] = Feature(presence, {}, {})
            return replace(made, subject=Condition("one", "hole"))
        # Of two things that are compared the second is of another part.
        role = {name: "other" if n == 1 else "one" for n, name in enumerate(rule.arguments)}
        arguments = {name: self.word(role[name], name) for name in rule.words}
        for n, name in enumerate(rule.lengths):
            size = Dimension(3.0, 3.0 + self.random.random()) if n == 2 else None
            arguments[name] = self.length(role[name], name, size or self.size((30, 30, 0, 40)[n]))
        return replace(made, arguments=arguments)

    def known(self) -> Dimension:
        while not (size := self.size()).known:
            pass
        return size


def drawn(rule: Rule, seeds: range = range(300)) -> Iterator[Clash]:
    """Yield what a rule says of options drawn by lot."""
    for seed in seeds:
        lot = Lot(seed)
        joint = lot.joint(rule)
        yield from clashes([joint], lot.options(), at_most=Verdict.FITS)


def of_each_verdict(rule: Rule) -> dict[Verdict, Clash]:
    found: dict[Verdict, Clash] = {}
    for clash in drawn(rule):
        found.setdefault(clash.verdict, clash)
    return found


every_rule = pytest.mark.parametrize("rule", RULES.values(), ids=lambda r: r.name)


@every_rule
def test_every_rule_stands_in_one_place_with_all_four(rule: Rule) -> None:
    whole = WHOLE[rule.name]
    assert whole.rule is rule
    assert whole.comes_to is COMES_TO[rule.name]
    assert whole.drawn is DRAWN[rule.name]
    assert set(WHOLE) == set(RULES) == set(COMES_TO) == set(DRAWN)


@every_rule
def test_every_rule_judges_and_carries_what_it_measured(rule: Rule) -> None:
    """It fits for certain exactly where the interval that is carried lies in what is wanted."""
    seen = set()
    for clash in drawn(rule):
        seen.add(clash.verdict)
        measured = clash.interval_mm is not None
        assert measured == bool(rule.lengths or rule.sums in ("rings", "spans"))
        assert measured == (clash.wanted_mm is not None)
        if clash.interval_mm is None or clash.wanted_mm is None:
            continue
        (lo, hi), (least, most) = clash.interval_mm, clash.wanted_mm
        inside = least - 2 * EPSILON_MM <= lo and hi <= most + 2 * EPSILON_MM
        assert inside == (clash.verdict is Verdict.FITS)
        if clash.verdict is Verdict.FAILS:
            assert hi < least or lo > most
    assert seen == set(Verdict) - ({Verdict.UNKNOWN} if rule.name in NEVER_OPEN else set())


def settled(rule: Rule, lot: Lot) -> tuple[dict[str, Limits], dict[str, float]]:
    """Return what stands beside one argument that is made, and the rule's windows."""
    windows = lot.windows(rule)
    if rule.on_presence:
        return {}, {}
    if rule.sums:
        sizes = {"core": lot.known(), "ring": lot.known()}
        return {n: Limits(*np.array([[d.lo], [d.hi]])) for n, d in sizes.items()}, {}
    if rule.words:
        codes = {n: lot.random.choice((0, 1, UNKNOWN_WORD)) for n in rule.words}
        return {n: Limits(np.array([c]), np.array([c])) for n, c in codes.items()}, {}
    sizes = {n: lot.known() for n in rule.lengths}
    for n, name in enumerate(rule.lengths):
        if n >= 2:
            width = (2.0 + lot.random.random(), 40.0)[n - 2]
            sizes[name] = Dimension(width, width + 0.02)
    return {n: Limits(*np.array([[d.lo], [d.hi]])) for n, d in sizes.items()}, windows


def verdict_on(
    rule: Rule, made: str, value: float, others: Mapping[str, Limits], windows: Mapping[str, float]
) -> Verdict:
    """Return what the judge says of a value beside the others."""
    exact = Limits(np.array([value]), np.array([value]))
    if rule.on_presence:
        judged = rule.judge(np.array([int(value)]))
    elif rule.sums:
        ends = [sum(getattr(x, end) for x in (exact, *others.values())) for end in ("lo", "hi")]
        judged = rule.judge(Limits(*ends))
    elif rule.words:
        codes = {n: np.asarray(x.lo, dtype=np.int64) for n, x in {**others, made: exact}.items()}
        judged = rule.judge(**codes)
    else:
        judged = rule.judge(**{**others, made: exact}, **windows)
    return Verdict(int(judged.verdict.item()))


@every_rule
def test_every_rule_turned_round_proposes_what_its_judge_accepts(rule: Rule) -> None:
    """Each figure inside the window fits, and just outside of it nothing does.

    But a bore wider than the snuggest closes a little further than its window says
    (:mod:`fitgraph.mechanics.windows`), so it is tried a little farther out.
    """
    step = 1.0 if rule.words or rule.on_presence else 1e-3
    proposed = refused = 0
    for seed in range(200):
        others, windows = settled(rule, Lot(seed))
        can = [n for n in rule.arguments if n not in rule.may_lack] or ["term"]
        for made in can:
            beside = {n: x for n, x in others.items() if n != made}
            least, most = (
                float(np.asarray(end).reshape(-1)[0]) for end in rule.inverse(made, beside, windows)
            )
            if least > most or least == math.inf:  # whatever is made, nothing certainly fits
                continue
            low, high = max(least, -1e5), min(most, 1e5)
            for value in {low, high, low if step == 1.0 else (low + high) / 2}:
                assert verdict_on(rule, made, value, beside, windows) is Verdict.FITS
                proposed += 1
            beyond = 0.02 if made == "bore" and "slot" in rule.lengths else step
            for value in (least - step, most + beyond):
                if math.isfinite(value) and not (rule.on_presence and not 0 <= value <= 2):
                    assert verdict_on(rule, made, value, beside, windows) is not Verdict.FITS
                    refused += 1
    assert proposed > 100
    assert refused > 100


@every_rule
def test_every_rule_has_words_for_every_verdict(rule: Rule, trade: Catalogue) -> None:
    for verdict, clash in of_each_verdict(rule).items():
        text = clash_text(clash, trade)
        assert text.startswith(clash.joint.title[:1].upper() + clash.joint.title[1:])
        assert text.endswith((".", ")"))
        for figure in clash.figures:
            shown = figure.word or ("" if figure.dimension is None else figure_text(figure))
            if figure.argument not in ("outside",) and figure.reference not in clash.joint.unknown:
                # A part is named where it first comes, and then by its role.
                role = trade.vocabulary.roles[figure.option.role].title
                assert shown in text or shown.replace(figure.option.called, f"the {role}") in text
        for option in clash.options.values():
            if option.part is not None and option.part.name:
                assert text.count(option.part.called) <= 1
        if clash.figures and not rule.words:
            assert " mm" in text
        if not clash.figures:
            assert all(sku in text for sku in clash.parts)
        if verdict is Verdict.FAILS and clash.margin_mm is not None:
            assert f"{-clash.margin_mm:.2f} mm" in text
        if verdict is Verdict.UNKNOWN:
            assert any(w in text for w in ("without measuring", "look at it", "overlap the window"))


@every_rule
def test_every_rule_has_a_drawing_with_its_figures(rule: Rule, trade: Catalogue) -> None:
    for verdict, clash in of_each_verdict(rule).items():
        svg = joint_svg(clash)
        shown = [node.text or "" for node in ET.fromstring(svg).iter() if node.tag.endswith("text")]
        assert any(f"{SIGNS[verdict]} {WORDS[verdict]}" in text for text in shown)
        for figure in clash.figures:
            part = figure.option.part
            again = "" if part is None else figure_text(figure).replace(part.called, part.name)
            assert {figure_text(figure), again} & {*shown}
            if figure.word:
                assert figure.word in shown
        if clash.interval_mm is not None and clash.wanted_mm is not None:
            assert interval_text(*clash.interval_mm) in shown
            assert interval_text(*clash.wanted_mm) in shown
        said, picture = joint_told(clash, trade)
        assert said.text == clash_text(clash, trade)
        assert picture.svg == svg


def differences(tree: ast.AST) -> Iterator[int]:
    """Yield the lines that take one thing's upper limit off another's lower one, or back."""
    for node in ast.walk(tree):
        if not isinstance(node, ast.BinOp) or not isinstance(node.op, ast.Sub):
            continue
        sides = (node.left, node.right)
        if not all(isinstance(side, ast.Attribute) for side in sides):
            continue
        ends = {side.attr for side in sides if isinstance(side, ast.Attribute)}
        whose = {ast.unparse(side.value) for side in sides if isinstance(side, ast.Attribute)}
        if ends == {"lo", "hi"} and len(whose) == 2:
            yield node.lineno


def test_a_clearance_is_worked_out_in_one_place_and_carried_from_there() -> None:
    """Nobody above the rules takes limits from each other; screens show what is carried."""
    found = {
        path.relative_to(PACKAGE).as_posix(): lines
        for path in sorted(PACKAGE.rglob("*.py"))
        if (lines := list(differences(parsed(path))))
    }
    assert set(found) == {"model/dimension.py", "mechanics/limits_of_size.py"}
