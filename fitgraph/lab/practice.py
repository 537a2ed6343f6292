"""Practice for staff: rounds of questions, the answer as a cross-section, progress on disk."""

from __future__ import annotations

import datetime
import random
import secrets
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path

import ipywidgets as widgets

from fitgraph.draw import nests
from fitgraph.draw.product import product_svg
from fitgraph.explain.standing import nearest_combination
from fitgraph.graph.options import plain
from fitgraph.lab.answering import Answering, Task
from fitgraph.lab.look import button, fold, html, note, row, sides, style, verdict_line
from fitgraph.lab.opened import OpenCatalogue
from fitgraph.lab.saves import csv_link
from fitgraph.practice.leitner import TopicCard, answered, pick
from fitgraph.practice.progress import (
    OpenRound,
    Progress,
    ProgressError,
    Round,
    default_folder,
    everybody,
    load,
    save,
)
from fitgraph.practice.rounds import LEVELS, Exercise, question, topic_title, topics
from fitgraph.report import practising
from fitgraph.report.advised import triangle_report
from fitgraph.report.blocks import Block, Picture, Report, Say, fault, items, quiet, status
from fitgraph.report.cross_sections import cross_section, cross_sections, joints_drawn

#: Questions in a round.
ROUND = 5


class Practice(Answering):
    """A name, a level, and rounds of questions.

    Parameters
    ----------
    opened : OpenCatalogue
        A catalogue that :func:`fitgraph.lab.open_catalogue` has opened.
    folder : Path or str, optional
        Where progress is kept; the user's own data folder where none is given.
    today : datetime.date, optional
        Decides what is due.
    """

    invites = "practise"
    public = ("question",)

    def __init__(
        self,
        opened: OpenCatalogue,
        folder: str | Path | None = None,
        today: datetime.date | None = None,
    ) -> None:
        super().__init__()
        self.opened = opened
        self.folder = default_folder() if folder is None else Path(folder)
        self.today = today or datetime.date.today()
        self.progress = Progress("")
        self.question: Exercise | None = None
        self.learner = widgets.Text(
            description="Name",
            placeholder="your name or initials",
            continuous_update=False,
            layout=widgets.Layout(width="20em"),
        )
        self.level = widgets.Dropdown(
            options=[(title, level) for level, title in LEVELS.items()],
            description="Level",
            layout=widgets.Layout(width="24em"),
        )
        self.begin = self._button("Start a round", self._begin)
        self.state_text, self.problems = html(), html()
        self.asked_text = html()
        self.choice = widgets.RadioButtons(
            options=[], description="Your answer", layout=widgets.Layout(width="auto")
        )
        self.answer = self._button("Answer", self._answer)
        self.told, self.drawing = html(), html()
        self.drawing.add_class("fg-wide")
        self.next = self._button("Next question", self._next)
        for main in (self.begin, self.answer, self.next):
            main.add_class("fg-main")
        self.summary_button = self._button("Show the summary", self._summarise)
        self.summary = html()
        self.unjudged, self.verdict = html(), verdict_line()
        self.round_box = widgets.VBox(
            [
                self.verdict,
                sides(
                    [self.asked_text],
                    [
                        self.choice,
                        row([self.answer, self.next]),
                        self.told,
                        self.unjudged,
                        self.drawing,
                    ],
                    halves=True,
                ),
            ]
        )
        self.children = (
            style(self),
            row([self.learner, self.level, self.begin]),
            self.problems,
            self.state_text,
            self.round_box,
            fold(
                "For the trainer",
                [
                    note("All who practise on this computer, and what they find hard."),
                    row([self.summary_button]),
                    self.summary,
                ],
            ),
        )
        self.learner.observe(self._named, names="value")
        self._show_state()
        self._hide_round()

    def _button(self, text: str, pressed: Callable[[], None]) -> widgets.Button:
        def press() -> None:
            with self.in_words(self.problems):
                pressed()

        return button(text, press)

    # ------------------------------------------------------------ who, and how far

    def _named(self, _change: object) -> None:
        self.write(self.problems)
        self._hide_round()
        self.progress = Progress("")
        with self.in_words(self.problems):
            if name := self.learner.value.strip():
                self.progress = load(self.folder, name)
            if self.progress.open is not None:
                self.level.value = self.progress.open.level
        self._show_state()

    def _show_state(self) -> None:
        progress = self.progress
        self.begin.disabled = not progress.learner
        self.begin.description = "Go on with the round" if progress.open else "Start a round"
        if progress.learner:
            self.write(self.state_text, *practising.state(progress, self.today))
            return
        self.write(
            self.state_text,
            Say(f"Write your name to begin a round of {ROUND} questions."),
            quiet(f"{practising.COMES_BACK} How far you are is kept on this computer."),
        )

    def _keep(self, progress: Progress) -> None:
        before, self.progress = self.progress, progress
        self.progress = save(self.folder, progress, before)

    # ------------------------------------------------------------ a round

    def _hide_round(self) -> None:
        self.round_box.layout.display = "none"
        self.question = None

    def _begin(self) -> None:
        self.write(self.problems)
        if self.progress.open is None:
            level = int(self.level.value)
            seed = secrets.randbelow(10**9)
            chosen = pick(
                topics(self.opened, level),
                self.progress.cards,
                self.today,
                ROUND,
                random.Random(seed),
            )
            if not chosen:
                raise ProgressError("This catalogue has nothing to practise at this level.")
            self._keep(replace(self.progress, open=OpenRound(level, seed, tuple(chosen))))
        self._show_state()
        self._ask()

    def _ask(self) -> None:
        """Make the next question that the catalogue gives."""
        begun = self.progress.open
        if begun is not None:
            self.work_out(
                lambda: [
                    Task(lambda: None, self._show_waiting, slow=False),
                    Task(
                        lambda: self._made(begun), lambda found: self._show_question(found, begun)
                    ),
                ],
                self.problems,
            )

    def _show_waiting(self, _nothing: None) -> None:
        self.round_box.layout.display = "flex"
        self.write(self.verdict, status("Making a question …"))
        for place in (self.asked_text, self.told, self.drawing, self.unjudged):
            self.write(place)
        for child in (self.choice, self.answer, self.next):
            child.layout.display = "none"

    def _made(self, begun: OpenRound) -> Exercise | None:
        at = len(begun.answers)
        seed = begun.seed + at
        found = question(self.opened, begun.topics[at], seed)
        if found is not None:
            return found
        # A topic that gives no question is passed over in favour of that of the level's others
        # which is next; each other of this round has its own turn.
        spare = [t for t in topics(self.opened, begun.level) if t not in begun.topics]
        order = pick(spare, self.progress.cards, self.today, len(spare), random.Random(seed))
        made = (question(self.opened, topic, seed) for topic in order)
        return next((one for one in made if one is not None), None)

    def _show_question(self, found: Exercise | None, begun: OpenRound) -> None:
        if found is None:
            self._keep(replace(self.progress, open=None))
            self._hide_round()
            self._show_state()
            told = "This catalogue gives no question at this level. Choose another."
            self.write(self.problems, fault(told))
            return
        self.question = found
        at = len(begun.answers)
        if begun.topics[at] != found.topic:  # so that it is asked once in a round
            topics_now = (*begun.topics[:at], found.topic, *begun.topics[at + 1 :])
            begun = replace(begun, topics=topics_now)
            self._keep(replace(self.progress, open=begun))
        self.write(self.verdict, Say(practising.place(begun, at + 1)))
        self.write(self.asked_text, practising.asked(found, self.opened.catalogue))
        self.write(self.unjudged, *self._before(found))
        self.choice.options = found.choices
        self.choice.value = None
        self.choice.disabled = False
        self.answer.disabled = False
        self.choice.layout.display = self.answer.layout.display = "flex"
        self.next.layout.display = "none"

    def _before(self, item: Exercise) -> tuple[Picture, ...]:
        """Return the parts of a question drawn to scale, with nothing said of whether they fit.

        Parts that share no axis have no section: they are shown where they stand in the product.
        """
        catalogue = self.opened.catalogue
        shown = {catalogue.parts[s].role: plain(catalogue.parts[s]) for s in item.parts}
        found = sorted(nests(shown, catalogue.vocabulary), key=lambda n: -len(n.rings))
        if found:
            return (cross_section(replace(found[0], matings=()), catalogue.vocabulary),)
        named = {catalogue.parts[s].role: s for s in item.parts}
        drawn = product_svg(catalogue, named, pressable=False) if named else ""
        return (Picture(drawn, ""),) if drawn else ()

    def _answer(self) -> None:
        item, begun = self.question, self.progress.open
        if item is None or begun is None:
            return
        if self.choice.value is None:
            self.write(self.told, fault("Choose one of the answers first."))
            return
        right = self.choice.index == item.right
        cards = dict(self.progress.cards)
        cards[item.topic] = answered(cards.get(item.topic, TopicCard()), self.today, right=right)
        answers = (*begun.answers, right)
        begun = replace(begun, answers=answers)
        progress = replace(self.progress, cards=cards, open=begun)
        over = len(answers) == len(begun.topics)
        if over:
            done = Round(begun.level, self.today, sum(answers), len(answers))
            progress = replace(progress, rounds=(*progress.rounds, done), open=None)
        self._keep(progress)
        self.write(self.verdict, practising.judged(item, begun))
        self.write(self.told, items(item.because))
        self.write(self.drawing, *self._section(item))
        self.write(self.unjudged)  # what is told now is drawn with its verdict
        self.choice.disabled = self.answer.disabled = True
        self.next.description = "Another round" if over else "Next question"
        self.next.layout.display = "flex"
        self._show_state()

    def _section(self, item: Exercise) -> tuple[Report | Block, ...]:
        """Return the cross-section through the parts; their graph where none shows two of them."""
        catalogue = self.opened.catalogue
        if not item.drawn:
            return (triangle_report(catalogue),)
        near = nearest_combination(self.opened.explainer, item.drawn)
        roles = {catalogue.parts[sku].role for sku in item.parts}
        telling = [n for n in nests(near, catalogue.vocabulary) if len(roles & n.roles) > 1]
        said = self.opened.explainer.why(item.drawn, with_changes=False)
        telling.sort(key=lambda n: n.verdict)
        # A section whose joints all fit would speak against an answer that another joint gives.
        if telling and telling[0].verdict <= said.verdict:
            return cross_sections(telling[:2], catalogue.vocabulary)
        roles.add(catalogue.parts[item.drawn[-1]].role)
        shown = {r: o for r, o in near.items() if r in roles and o.part is not None}
        joints = (*said.conflicts, *said.joints)
        return (joints_drawn(shown, joints, catalogue.vocabulary),)

    def _next(self) -> None:
        if self.progress.open is None:
            self._begin()
        else:
            self._ask()

    # ------------------------------------------------------------ the trainer

    def _summarise(self) -> None:
        people, wrong = everybody(self.folder)
        unread = (fault("\n".join(wrong)),) if wrong else ()
        if not people:
            self.write(self.summary, Say("Nobody has practised here yet."), *unread)
            return
        table = practising.learners(people, partial(topic_title, self.opened))
        save = csv_link("Save as CSV", "practice.csv", table.without("told"))
        self.write(self.summary, table.without("answers", "right"), save, *unread)
