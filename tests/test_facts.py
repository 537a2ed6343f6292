"""Eleven facts of the trade, each asked as a rider would ask it.

The facts are common practice of the trade, no source. Each row asks in the words of a rider,
calls what answers, and names what the answer has to say: the numbers and the sense. The
answers are computed from the parts (the demo, or the exact parts of test_systems_table);
only the sentences on materials are the demo vocabulary's own.
"""

from __future__ import annotations

import re
import shlex
from collections.abc import Callable
from functools import cache
from pathlib import Path

import pytest
from test_systems_table import write_catalogue
from typer.testing import CliRunner

from fitgraph.cli import main
from fitgraph.explain.advice import advise
from fitgraph.explain.words_rider import advice_text, family_text, tube_text
from fitgraph.model import Catalogue
from tests.shared import the_demo

# Commands on the demo do not each read it.
pytestmark = pytest.mark.usefixtures("demo_read_once")

#: What a row is given to ask with.
Ask = Callable[..., str]


@cache
def _demo() -> Catalogue:
    return the_demo().catalogue


def _advice(style: str | None = None, *, broken: bool = False) -> str:
    """Return the advice with every family's figures."""
    found = advise(_demo(), style, broken=broken)
    families = [family_text(_demo(), f) for f in found.families]
    return "\n".join([advice_text(_demo(), found), *families])


def _tubes() -> str:
    """Return the kinds of tube of each family of materials."""
    return "\n".join(
        f"{f.family} {tube_text(t)}" for f in advise(_demo()).families for t in f.tubes
    )


def _told(*arguments: str) -> str:
    """Return what the command line answers, on one line."""
    result = CliRunner().invoke(main.app, list(arguments))
    assert result.exit_code in (0, 1), result.output
    return " ".join(result.stdout.split())


@pytest.fixture(scope="module")
def exact(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a catalogue with one exact part of each kind: 25.4, 28.6, 31.8 and 34.9 mm."""
    folder = tmp_path_factory.mktemp("exact")
    write_catalogue(folder)
    return folder


#: Fact, question in a rider's words, what to ask, and patterns the answer has to match, in
#: this order for each; a pattern that begins with ! must not be found.
ADVICE: list[tuple[int, str, Callable[[], str], list[str]]] = [
    (
        1,
        "Which bar is light and strong and cheap?",
        lambda: _advice(),
        [
            r"No bar is the lightest, the strongest and the cheapest at once",
            r"Titanium: light and strong\. The middle of \d+ parts: 7\d\d g, 3\d\d N·m, 3\d\d\.",
            r"Steel: strong and affordable\. The middle of \d+ parts: 1,3\d\d g, 30\d N·m, 7\d\.",
            r"Aluminium: light and affordable\. .* 9\d\d g, 2\d\d N·m, 10\d\.",
        ],
    ),
    (
        2,
        "What sizes of bar are there?",
        _tubes,
        [
            r"steel standard: outside 31\.7 to 31\.8 mm, bore 28\.6 to 28\.8 mm",
            r"steel oversized: outside 34\.8 to 34\.9 mm, bore 31\.8 to 32\.0 mm",
        ],
    ),
    (
        3,
        "I am a beginner with little money: which material?",
        lambda: _advice("beginner"),
        [r"^For beginner: steel \(worth", r"Steel is strong and affordable, and heavy"],
    ),
    (
        3,
        "I ride ledges hard: which material?",
        lambda: _advice("street"),
        [r"^For street: steel \(worth", r"for beginners and for hard riding", r"1,3\d\d g"],
    ),
    (
        4,
        "I want it light, for the park, and cannot pay for titanium.",
        lambda: _advice("park"),
        [r"^For park: aluminium \(worth", r"Aluminium is light and affordable, and less strong"],
    ),
    (
        4,
        "Why is the hole in my aluminium bar smaller, when it is as fat outside?",
        _tubes,
        [
            # Inner standard while outer oversized, with twice the wall of steel.
            r"aluminium aluminium mix: outside 34\.8 to 34\.9 mm, bore 28\.6 to 28\.8 mm, "
            r"wall 3\.1 mm \(15 parts\)",
            r"aluminium standard: outside 31\.7 to 31\.8 mm, bore 25\.4 to 25\.[56] mm, "
            r"wall 3\.\d mm \(3 parts\)",
            r"steel standard: .* wall 1\.5 mm",
        ],
    ),
    (
        4,
        "My aluminium bars keep breaking. What now?",
        lambda: _advice("park", broken=True),
        [
            r"weakest in the middle is aluminium: who keeps breaking parts of it should go to "
            r"(titanium or steel|steel or titanium)",
            r"^For park, and as parts have broken before: (titanium|steel)",
            r"aluminium \(0\.\d\d\)\. ",
        ],
    ),
    (
        5,
        "I want it light and strong, and will pay for it.",
        lambda: _advice("unbudgeted"),
        [
            r"^For unbudgeted: titanium \(worth",
            r"Titanium is light and strong, and expensive; most titanium bars are oversized",
            r"oversized: outside 34\.8 to 34\.9 mm.*\(8 parts\); standard: .*\(4 parts\)",
        ],
    ),
]

COLLAR, OVERSIZED = "COLLAR-STANDARD", "COLLAR-OVERSIZED"
STEEL, WIDE = "BAR-STEEL-STANDARD", "BAR-STEEL-OVERSIZED"
ALU, FAT = "BAR-ALUMINIUM-STANDARD", "BAR-ALUMINIUM-OVERSIZED"

#: Fact, question, the parts that fitgraph why is asked about, and patterns as above.
WHY: list[tuple[int, str, list[str], list[str]]] = [
    (
        6,
        "I have IHC and a standard steel bar with a slot: does it go on?",
        ["FORK-IHC", "KIT-IHC", f"{STEEL}-SLOTTED", COLLAR],
        [r"^Fits\.", r"bar over the kit's sleeve fits", r"kit's sleeve over the steerer fits"],
    ),
    (
        6,
        "I have IHC: which clamp for an aluminium bar?",
        ["FORK-IHC", "KIT-IHC", f"{FAT}-SLOTTED", OVERSIZED],
        [r"^Fits\.", r"clamp around the bar fits"],
    ),
    (
        6,
        "I have IHC and an aluminium bar; my old standard clamp?",
        ["FORK-IHC", "KIT-IHC", f"{FAT}-SLOTTED", COLLAR],
        [r"^Does not fit\.", r"31\.90", r"34\.90", r"clamp's bore has to match the bar's outside"],
    ),
    (
        6,
        "I have IHC and an oversized bar. Why does it wobble?",
        ["FORK-IHC", "KIT-IHC", f"{WIDE}-SLOTTED", OVERSIZED],
        [
            r"^Does not fit\.",
            r"28\.60",
            r"31\.90",
            r"add SLEEVE-ONE",
        ],
    ),
    (
        6,
        "Does the other maker's adapter sleeve do?",
        ["FORK-IHC", "KIT-IHC", f"{WIDE}-SLOTTED", OVERSIZED, "SLEEVE-TWO"],
        [r"^Does not fit\.", r"A maker shapes its adapter sleeve for its own forks"],
    ),
    (
        7,
        "I have HIC: what bar and clamp?",
        ["FORK-HIC", "KIT-HIC", f"{WIDE}-SLOTTED", OVERSIZED],
        [r"^Fits\.", r"bar over the kit's sleeve fits"],
    ),
    (
        7,
        "Why not an aluminium bar on HIC?",
        ["FORK-HIC", "KIT-HIC", f"{FAT}-SLOTTED", OVERSIZED],
        [r"^Does not fit\.", r"too tight", r"28\.70", r"31\.80"],
    ),
    (
        8,
        "I have SCS and an unslotted oversized bar: which clamp?",
        ["FORK-SCS", "KIT-SCS", f"{WIDE}-UNSLOTTED", "EXTERNAL-OVERSIZED"],
        [r"^Fits\.", r"clamp around the bar fits"],
    ),
    (
        8,
        "And the external clamp that my friend has, for standard bars?",
        ["FORK-SCS", "KIT-SCS", f"{WIDE}-UNSLOTTED", "EXTERNAL-STANDARD"],
        [r"^Does not fit\.", r"31\.90", r"34\.90", r"bore has to match the bar's outside"],
    ),
    (
        4,
        "What are thin aluminium bars good for? A collar does not take them.",
        ["FORK-IHC", "KIT-IHC", f"{ALU}-SLOTTED", COLLAR],
        [r"^Does not fit\.", r"25\.50", r"28\.60"],
    ),
    (
        4,
        "And an external clamp?",
        ["FORK-SCS", "KIT-SCS", f"{ALU}-UNSLOTTED", "EXTERNAL-STANDARD"],
        [r"^Fits\."],
    ),
    (
        9,
        "What is the slot for?",
        ["FORK-IHC", "KIT-IHC", f"{STEEL}-UNSLOTTED", COLLAR],
        [
            r"^Does not fit\.",
            r"without a slot nothing closes it",
            r"A collar has to squeeze the bar onto the sleeve, and only a slot lets it",
        ],
    ),
    (
        10,
        "I have a slotted bar and want SCS.",
        ["FORK-SCS", "KIT-SCS", "BAR-TITANIUM-OVERSIZED-SLOTTED", "EXTERNAL-OVERSIZED"],
        [
            r"^Does not fit\.",
            r"would close the slot and crush the end",
            r"add INSERT-31\.8",
            r"cut the slotted end off .*height −51 mm",
        ],
    ),
    (
        11,
        "My bar has no slot and I have HIC. Do I need a new bar?",
        ["FORK-HIC", "KIT-HIC", f"{WIDE}-UNSLOTTED", OVERSIZED],
        [r"^Does not fit\.", r"have the workshop cut a slot", r"15\.00 EUR"],
    ),
]


def _has(text: str, patterns: list[str], question: str) -> None:
    assert patterns, question
    for pattern in patterns:
        assert re.search(pattern, text, re.MULTILINE), f"{question}\n{pattern}\n\n{text}"


@pytest.mark.parametrize(
    ("fact", "question", "ask", "patterns"), ADVICE, ids=[f"{row[0]}-{row[1]}" for row in ADVICE]
)
def test_facts_of_materials(
    fact: int, question: str, ask: Callable[[], str], patterns: list[str]
) -> None:
    """Common practice, no source."""
    _has(ask(), patterns, question)


@pytest.mark.parametrize(
    ("fact", "question", "parts", "patterns"), WHY, ids=[f"{row[0]}-{row[1]}" for row in WHY]
)
def test_facts_of_systems(
    fact: int, question: str, parts: list[str], patterns: list[str], exact: Path
) -> None:
    """Common practice, no source."""
    _has(_told("why", *parts, "--catalogue", str(exact)), patterns, question)


def test_every_fact_is_asked() -> None:
    assert {row[0] for row in ADVICE} | {row[0] for row in WHY} == set(range(1, 12))


@pytest.mark.long
def test_the_systems_are_told_in_words() -> None:
    """What each system is, with its numbers, where a rider is told what they have."""
    for saw, words in (
        (["sleeve-outside=28.6"], ["IHC", "slides over a thin sleeve", "25.4 mm"]),
        (["sleeve-outside=31.8"], ["HIC", "28.6 to 31.8 mm"]),
        (["clamp-grips-steerer=yes", "nuts-on-headset=no"], ["SCS", "grips bar and steerer"]),
    ):
        text = _told("identify", *[x for s in saw for x in ("--saw", s)])
        for word in words:
            assert word in text.partition("sure.")[0], (saw, text)


def test_bars_that_exist_answer_the_same_way() -> None:
    """The demo: a thin aluminium bar goes into an external clamp only (fact 4)."""
    internal = _told("why", "BAR-PEL-13", "KIT-SKE-01")
    external = _told("why", "BAR-PEL-13", "CLMP-TAR-04", "FORK-TAR-08", "KIT-OST-04")
    assert internal.startswith("Does not fit.")
    assert external.startswith("Fits.")


GUIDE = (Path(__file__).resolve().parent.parent / "docs" / "questions.md").read_text("utf-8")
ROWS = re.findall(r"^\| .*? \| `fitgraph (.*?)` \| (.*?) \|$", GUIDE, re.MULTILINE)


#: What takes long, of a command that others ask as well.
SLOW = [pytest.mark.long]


@pytest.mark.some(9)
@pytest.mark.parametrize(
    ("command", "says"),
    [
        pytest.param(c, told, id=c, marks=SLOW if c.startswith("measure") else ())
        for c, told in ROWS
    ],
)
def test_the_guide_to_questions_says_what_the_commands_say(command: str, says: str) -> None:
    text = _told(*shlex.split(command))
    quoted = re.findall(r'"([^"]+)"', says) or [says]
    for phrase in quoted:
        assert phrase in text, (command, phrase, text)


def test_the_guide_has_rows() -> None:
    assert len(ROWS) > 15


@pytest.mark.long
def test_the_python_of_the_guide_runs() -> None:
    (block,) = re.findall(r"```python\n(.*?)```", GUIDE, re.DOTALL)
    names: dict[str, object] = {}
    exec(compile(block, "questions.md", "exec"), names)
    assert {"first", "question", "could_be", "both", "best"} <= set(names)
