"""Stacks and nests as a vocabulary's file says them: an invented trade of optical posts.

Counts are by hand over all combinations; sizes and limits are this file's own.
"""

from __future__ import annotations

import itertools
import random
from collections.abc import Callable
from pathlib import Path

import pytest

import fitgraph
from fitgraph.explain.elements import ABSENT, PICK, Element
from fitgraph.graph.options import options_for
from fitgraph.graph.said import judge
from fitgraph.model import Option, Presence, Verdict

HEAD = """
[trade]
name = "Optical posts"
currency = "EUR"
minor_digits = 2
[roles.post]
fill = "always"
[roles.post.features.length]
kind = "length"
dimensions.d = { plausible = "5..500 mm" }
[roles.post.features.outside]
kind = "spigot"
dimensions.d = { plausible = "5..50 mm" }
[roles.foot]
fill = "adapter"
[roles.foot.features.height]
kind = "length"
dimensions.d = { plausible = "1..100 mm" }
[roles.collar]
fill = "always"
[roles.collar.features.bore]
kind = "bore"
dimensions.d = { plausible = "5..50 mm" }
[roles.collar.features.outside]
kind = "spigot"
dimensions.d = { plausible = "5..80 mm" }
[roles.collar.features.cut]
kind = "slot"
if_missing = "absent"
dimensions.w = { plausible = "0.5..10 mm" }
[roles.lock]
fill = "adapter"
[roles.lock.features.pin]
kind = "mount"
if_missing = "absent"
"""

POSTS = {"P-50": 50.0, "P-60": 60.0, "P-75": 75.0}
FEET = {None: 0.0, "F-10": 10.0, "F-20": 20.0}
LOCKS = {None: False, "L-PIN": True, "L-BARE": False}


def shop_of(folder: Path, joints: str, collars: str = "") -> fitgraph.Shop:
    folder.mkdir()
    (folder / "vocabulary.toml").write_text(HEAD + joints)
    (folder / "parts.csv").write_text(
        "sku,role,price\n"
        + "".join(f"{sku},post,4\n" for sku in POSTS)
        + "".join(f"{sku},foot,1\n" for sku in FEET if sku)
        + "C-12,collar,3\n"
        + "".join(f"{sku},lock,2\n" for sku in LOCKS if sku)
    )
    (folder / "features.csv").write_text(
        "sku,feature,dimension,value,basis\n"
        + "".join(f"{sku},length,d,{mm} ±0,measured\n" for sku, mm in POSTS.items())
        + "".join(f"{sku},outside,d,12.0 ±0,measured\n" for sku in POSTS)
        + "".join(f"{sku},height,d,{mm} ±0,measured\n" for sku, mm in FEET.items() if sku)
        + "L-PIN,pin,,yes,\nL-BARE,pin,,no,\n"
        + collars
    )
    return fitgraph.open(folder)


def counted(shop: fitgraph.Shop) -> set[tuple[str, str | None, str | None]]:
    builds = shop.builds(limit=1000, ways=0).to_dict()["builds"]
    return {(p["post"], p.get("foot"), p.get("lock")) for p in (b["parts"] for b in builds)}


OTHERS = """
[[joints]]
id = "collar-on-post"
rule = "at-least"
whole = "collar.bore.d"
part = "post.outside.d"
least = "-50 mm"
"""


@pytest.mark.parametrize(
    ("when", "counts"),
    [
        ('["foot"]', lambda foot, lock: True),
        ('["lock.pin"]', lambda foot, lock: LOCKS[lock]),
        ('["not lock"]', lambda foot, lock: lock is None),
        ('["lock", "not lock.pin"]', lambda foot, lock: lock == "L-BARE"),
    ],
)
def test_a_length_that_does_not_count_leaves_the_others(
    tmp_path: Path, when: str, counts: object
) -> None:
    shop = shop_of(
        tmp_path / "posts",
        OTHERS
        + f"""
[[joints]]
id = "reach"
rule = "stack"
least = "65 mm"
most = "85 mm"
spans = [{{ add = "post.length.d" }}, {{ add = "foot.height.d", when = {when} }}]
[[joints]]
id = "lock-on-foot"
rule = "present"
needs = "foot"
when = ["lock"]
""",
    )
    expected = set()
    for post, foot, lock in itertools.product(POSTS, FEET, LOCKS):
        if lock is not None and foot is None:
            continue
        asked = counts(foot, lock)  # type: ignore[operator]
        if asked and foot is None:
            # What counts is not there. Under its own condition it is no length at all.
            fits = 65 <= POSTS[post] <= 85 if when == '["foot"]' else True
        else:
            fits = 65 <= POSTS[post] + (FEET[foot] if asked else 0.0) <= 85
        if fits:
            expected.add((post, foot, lock))
    assert counted(shop) == expected
    assert 0 < len(expected) < 21


SUM = '[[joints]]\nid = "reach"\nrule = "stack"\nleast = "45 mm"\nmost = "55 mm"\n'
LOCK = '[[joints]]\nid = "locked"\nrule = "present"\nneeds = "foot"\nwhen = ["lock"]\n'


@pytest.mark.parametrize(
    ("when", "span", "keeps"),
    [
        # Never there: it wants a collar without a cut, and the cut's width.
        ("not collar.cut", '{ take = "collar.cut.w" }', lambda post, foot: True),
        # The foot never counts where the stack is there; nor does one that is not there.
        (
            "collar.cut",
            '{ add = "foot.height.d", when = ["not collar.cut"], optional = true }',
            lambda post, foot: 45 <= post <= 55,
        ),
        # It always counts where the stack is there.
        (
            "collar.cut",
            '{ take = "foot.height.d", when = ["collar.cut"], optional = true }',
            lambda post, foot: 45 <= post - foot <= 55,
        ),
    ],
)
def test_one_feature_that_nobody_has_seen_is_there_or_not_throughout_a_stack(
    tmp_path: Path, when: str, span: str, keeps: Callable[[float, float], bool]
) -> None:
    stack = f'when = ["{when}"]\nspans = [{{ add = "post.length.d" }}, {span}]\n'
    shop = shop_of(tmp_path / "posts", OTHERS + SUM + stack + LOCK, "C-12,cut,,?,\n")
    assert {(post, foot) for post, foot, _ in counted(shop)} == {
        (post, foot)
        for (post, long), (foot, high) in itertools.product(POSTS.items(), FEET.items())
        if keeps(long, high)
    }


def test_a_joint_that_wants_a_feature_and_its_lack_is_never_there(tmp_path: Path) -> None:
    never = (
        '[[joints]]\nid = "never"\nrule = "at-least"\nwhole = "post.length.d"\n'
        'part = "collar.cut.w"\nleast = "400 mm"\nwhen = ["not collar.cut"]\n'
    )
    shop = shop_of(tmp_path / "posts", OTHERS + never + LOCK, "C-12,cut,,?,\n")
    assert {post for post, _, _ in counted(shop)} == set(POSTS)


def test_a_stack_on_five_conditions_is_refused_in_words(tmp_path: Path) -> None:
    features = ("length", "outside")
    asked = [f"post.{f}" for f in features] + ["collar.cut", "lock.pin", "lock", "collar.outside"]
    with pytest.raises(fitgraph.InputError, match="more than 4 conditions"):
        shop_of(
            tmp_path / "posts",
            OTHERS
            + f"""
[[joints]]
id = "reach"
rule = "stack"
least = "1 mm"
spans = [{{ add = "foot.height.d", when = [{", ".join(f'"{c}"' for c in asked)}] }}]
""",
        )


LOCK_NEEDS_FOOT = """
[[joints]]
id = "lock-needs-foot"
rule = "present"
needs = "foot"
when = ["lock"]
"""

NEST = """
[[joints]]
id = "closing"
rule = "nest"
reserve = "0.05 mm"
when = ["foot"]
[[joints.rings]]
outside = "post.outside.d"
[[joints.rings]]
bore = "collar.bore.d"
outside = "collar.outside.d"
slot = "collar.cut.w"
"""

PAIR = """
[[joints]]
id = "collar-on-post"
rule = "closes-by-slot"
bore = "collar.bore.d"
spigot = "post.outside.d"
slot = "collar.cut.w"
outside = "collar.outside.d"
least = "0 mm"
"""


def high_enough(least: str) -> str:
    """Return a joint that asks a post and what is under it for a height."""
    return f"""
[[joints]]
id = "high-enough"
rule = "stack"
least = "{least}"
spans = [{{ add = "post.length.d" }}, {{ add = "foot.height.d", optional = true }}]
"""


@pytest.mark.parametrize(
    "pair",
    [
        'reserve = "0.05 mm"\nwhen = ["lock"]\n',  # asked elsewhere than the nest
        'reserve = "0 mm"\n',  # asks for less to press with
        'reserve = "0.05 mm"\ncheck = false\ntidy = true\n',  # only keeps needless parts out
    ],
)
def test_a_nest_counts_beside_a_joint_of_the_same_two_that_asks_for_less(
    tmp_path: Path, pair: str
) -> None:
    # A cut of 1 mm closes 0.24 mm by its formula: enough for 0.20 mm, not for 0.05 mm more.
    collar = "C-12,bore,d,12.20 ±0,measured\nC-12,outside,d,24 ±0,measured\nC-12,cut,w,1 ±0,\n"
    shop = shop_of(tmp_path / "posts", PAIR + pair + NEST + LOCK_NEEDS_FOOT, collar)
    why = shop.why("P-50", "C-12", "F-10")
    assert why.verdict == "fails"
    assert "closing/collar" in {c["joint"] for c in why.to_dict()["conflicts"]}


def test_sums_that_clash_only_together_are_all_told(tmp_path: Path) -> None:
    # A post of 50 wants a foot of 19 or more under it, and no foot may be over 15.
    shop = shop_of(
        tmp_path / "posts",
        OTHERS
        + high_enough("69 mm")
        + """
[[joints]]
id = "foot-not-too-high"
rule = "stack"
most = "15 mm"
spans = [{ add = "foot.height.d" }, { take = "collar.cut.w", optional = true }]
"""
        + LOCK_NEEDS_FOOT,
    )
    why = shop.why("P-50")
    told = why.to_dict()
    assert told["verdict"] == "fails"
    (conflict,) = told["minimal_conflicts"]
    assert {e["joint"] for e in conflict if e["kind"] == "joint"} == {
        "high-enough",
        "foot-not-too-high",
    }
    assert {c["joint"]: c["margin_mm"] for c in told["conflicts"]} == pytest.approx(
        {"high-enough": 60 - 69, "foot-not-too-high": 15 - 20}
    )
    (said,) = told["sentences"]
    assert "one of these is not made: high-enough; foot-not-too-high" in said


def test_what_no_part_can_complete_names_the_joint(tmp_path: Path) -> None:
    shop = shop_of(
        tmp_path / "posts",
        OTHERS.replace('"-50 mm"', '"50 mm"')
        + """
[[joints]]
id = "foot-under-lock"
rule = "present"
needs = "foot"
when = ["lock"]
""",
        "C-12,bore,d,12.2 ±0,measured\n",
    )
    text = shop.why("F-10").to_text()
    assert "A complete build cannot be had." in text
    assert "Collar-on-post: bore d of C-12" in text
    assert "cannot be used" not in text


def test_joints_that_take_part_beside_a_sum_are_told(tmp_path: Path) -> None:
    # A post of 50 wants a foot of 15 or more under it; a bore of 12 takes none over 12.
    shop = shop_of(
        tmp_path / "posts",
        OTHERS
        + high_enough("65 mm")
        + """
[[joints]]
id = "foot-through-collar"
rule = "at-least"
whole = "collar.bore.d"
part = "foot.height.d"
"""
        + LOCK_NEEDS_FOOT,
        "C-12,bore,d,12.2 ±0,measured\n",
    )
    told = shop.why("P-50").to_dict()
    (conflict,) = told["minimal_conflicts"]
    assert {e["joint"] for e in conflict if e["kind"] == "joint"} == {
        "foot-through-collar",
        "high-enough",
    }
    (said,) = told["sentences"]
    assert "one of these is not made: foot-through-collar; high-enough" in said


def random_joints(rng: random.Random) -> str:
    """Return a stack and joints between two roles, with limits drawn by lot."""
    text = f"""
[[joints]]
id = "reach"
rule = "stack"
least = "{rng.choice([64, 69, 74, 79])} mm"
spans = [
    {{ add = "post.length.d" }},
    {{ add = "foot.height.d", optional = true }},
    {{ take = "collar.cut.w", optional = true }},
]
[[joints]]
id = "foot-in-collar"
rule = "at-least"
whole = "collar.bore.d"
part = "foot.height.d"
least = "{rng.choice([-12, -6, -3, 1])} mm"
[[joints]]
id = "post-against-foot"
rule = "at-least"
whole = "post.length.d"
part = "foot.height.d"
least = "{rng.choice([0, 42, 58])} mm"
[[joints]]
id = "collar-on-post"
rule = "at-least"
whole = "collar.bore.d"
part = "post.outside.d"
least = "{rng.choice([-4, 0, 1])} mm"
"""
    if rng.random() < 0.5:
        text += '[[joints]]\nid = "lock-needs-foot"\nrule = "present"\nneeds = "foot"\n'
        text += 'when = ["lock"]\n'
    else:
        text += '[[joints]]\nid = "foot-needs-lock"\nrule = "present"\nneeds = "lock.pin"\n'
        text += 'when = ["foot"]\n'
    return text


def test_of_joints_beside_sums_none_can_be_left_out(tmp_path: Path) -> None:
    """Every assignment breaks one of a conflict, and without any one of them some keeps all."""
    rng = random.Random(7)
    beside = 0
    for turn in range(40):
        bore = f"C-12,bore,d,{rng.choice([8, 12, 15, 21])} ±0,measured\n"
        shop = shop_of(tmp_path / f"posts{turn}", random_joints(rng), bore)
        catalogue = shop.catalogue
        options = {
            r: options_for(catalogue.of(r), r, catalogue.vocabulary)
            for r in catalogue.vocabulary.roles
        }
        roles = list(options)
        every = [dict(zip(roles, row, strict=True)) for row in itertools.product(*options.values())]
        named = rng.sample(list(POSTS), 1) + rng.sample([s for s in LOCKS if s], rng.randint(0, 1))
        for conflict in shop.why(*named).found.minimal_conflicts:
            if not any(j.spans for j in conflict.joints):
                continue

            def keeps(chosen: dict[str, Option], elements: tuple[Element, ...]) -> bool:
                for e in elements:
                    part = chosen[e.role].part if e.role else None
                    if e.joint is not None:
                        said = judge(e.joint, chosen)
                        if said.there is not Presence.ABSENT and said.verdict is Verdict.FAILS:
                            return False
                    elif (e.kind == ABSENT and part is not None) or (
                        e.kind == PICK and (part is None or part.sku not in e.skus)
                    ):
                        return False
                return True

            elements = conflict.elements
            assert not any(keeps(chosen, elements) for chosen in every)
            for n in range(len(elements)):
                less = (*elements[:n], *elements[n + 1 :])
                assert any(keeps(chosen, less) for chosen in every), (turn, less)
            beside += any(not j.spans for j in conflict.joints)
    assert beside >= 5


def test_what_is_lacking_or_in_the_way_is_named(tmp_path: Path) -> None:
    """Rules on what is there compare no figures, and not every vocabulary gives a reason."""
    rules = """
[[joints]]
id = "foot-under-lock"
rule = "present"
needs = "foot"
when = ["lock"]
[[joints]]
id = "no-bare-lock"
rule = "present"
needs = "lock.pin"
when = ["lock"]
[[joints]]
id = "no-foot-with-pin"
rule = "absent"
needs = "foot"
when = ["lock.pin"]
because = "it would stand askew"
"""
    shop = shop_of(tmp_path / "posts", OTHERS + rules)

    def said(*skus: str) -> str:
        return " ".join(shop.why(*skus).to_text().split())

    assert "Foot-under-lock: no foot." in said("L-BARE")
    assert "No-bare-lock: no pin on the lock." in said("L-BARE", "F-10")
    with_pin = said("L-PIN", "F-10")
    assert "No-foot-with-pin: no foot may be there. It would stand askew." in with_pin


def test_work_that_changes_no_figure_is_not_offered(tmp_path: Path) -> None:
    """A length that nobody noted is no longer for a cut, and a bore of 12.2 is bored to 12.2."""
    services = """
[[joints]]
id = "foot-under-lock"
rule = "present"
needs = "foot"
when = ["lock"]
[services.shorten-cut]
role = "collar"
price = "2"
shifts = { "cut.w" = "-1 mm" }
[services.bore-again]
role = "collar"
price = "3"
sets.bore = { d = "12.2 ±0 mm" }
[services.bore-wider]
role = "collar"
price = "4"
sets.bore = { d = "14 ±0 mm" }
[services.no-more-cut]
role = "collar"
price = "5"
removes = ["cut"]
"""
    figures = "C-12,bore,d,12.2 ±0,measured\n"
    closed = shop_of(tmp_path / "closed", OTHERS + services, figures)
    slit = shop_of(tmp_path / "slit", OTHERS + services, figures + "C-12,cut,w,3 ±0,measured\n")
    done = {}
    for name, shop in (("closed", closed), ("slit", slit)):
        builds = shop.builds("P-50", services="any", limit=1000, ways=0).to_dict()["builds"]
        done[name] = {w["service"] for b in builds for w in b["services"]}
    assert done == {
        "closed": {"bore-wider"},
        "slit": {"shorten-cut", "bore-wider", "no-more-cut"},
    }
