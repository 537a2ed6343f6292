"""What a lesson shows, as a report to keep: verdict, parts, section, all joints."""

from __future__ import annotations

from fitgraph.draw.style import WORDS
from fitgraph.lab.saved_answer import told_by
from fitgraph.model import Verdict
from fitgraph.records import dataclass
from fitgraph.report.blocks import Picture, Report, Say, Section, Tone, say_all
from fitgraph.report.tables import Column, Table
from fitgraph.wording import capital

#: What the answer is about.
LESSON_TITLE = "How these parts fit"


@dataclass(frozen=True, slots=True)
class LessonAnswer:
    """An answer of the lesson in words.

    Parameters
    ----------
    verdict : Verdict
        Of the joint looked at.
    headline, sentence : str
        What is said of it, short and whole.
    parts : tuple of (str, str, str)
        Role, name and stock number of each.
    moved : tuple of str
        Sizes that a slider has moved.
    drawing, narrow : str
        The cross-section, from :func:`fitgraph.draw.nest_svg`, and for a narrow window.
    joints : tuple of (Verdict, str)
        All joints between these parts, the worst first.
    held : str
        How hard they hold; empty where nothing is known of it.
    cautions : tuple of str
        That go with it.
    """

    verdict: Verdict
    headline: str
    sentence: str
    parts: tuple[tuple[str, str, str], ...]
    moved: tuple[str, ...]
    drawing: str
    narrow: str
    joints: tuple[tuple[Verdict, str], ...]
    held: str
    cautions: tuple[str, ...]


def lesson_report(answer: LessonAnswer) -> Report:
    """Return an answer as a report.

    Parameters
    ----------
    answer : LessonAnswer
        The answer.
    """
    heads = (Column("role", title="Role"), Column("name", title="Name"))
    parts = Table("parts", (*heads, Column("number", title="Number")), answer.parts)
    joints = Table(
        "joints",
        (Column("verdict", title="Verdict"), Column("joint", title="Joint")),
        tuple((WORDS[verdict], joint) for verdict, joint in answer.joints),
    )
    held = (Say(answer.held),) if answer.held else ()
    word = WORDS[answer.verdict]
    return Report(
        f"{capital(word)}: {answer.headline}",
        (
            Say(answer.sentence),
            *say_all(answer.moved, Tone.LOUD, deep=0),
            parts,
            Picture(answer.drawing, told_by(answer.drawing)),
            Section("All joints between these parts", (joints, *held)),
        ),
        answer.cautions,
        answer.verdict,
    )
