"""Practice for staff: rounds of questions, the answer as a cross-section, progress on disk."""

from __future__ import annotations

import datetime
import random
import secrets
from collections.abc import Callable
from dataclasses import replace
from html import escape
from pathlib import Path

import ipywidgets as widgets
from markupsafe import Markup

from fitgraph.draw import conflict_svg, nests
from fitgraph.draw.product import product_svg
from fitgraph.explain.standing import nearest_combination
from fitgraph.explain.words import size_text
from fitgraph.graph.options import plain
from fitgraph.lab import tables
from fitgraph.lab.answering import Answering, Task
from fitgraph.lab.look import fold, html, note, row, sides, style, verdict_line
from fitgraph.lab.opened import OpenCatalogue
from fitgraph.lab.saves import csv_link
from fitgraph.lab.tables import TOLD_FIGURE, plain_table
from fitgraph.model import Presence
from fitgraph.practice.leitner import DAYS, TopicCard, answered, pick
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
from fitgraph.report.as_html import blocks_html
from fitgraph.report.families import triangle_report
from fitgraph.report.tables import Column, Table
from fitgraph.report.values import COUNT, DATE, Unit
from fitgraph.wording import plural

#: Questions in a round.
ROUND = 5

#: Of people who have not finished a round, and who find nothing hard.
_DAY = replace(DATE, blank="not yet")
_HARD = Unit(lambda hard: "; ".join(hard) or "–", "; ".join, figures=False)


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
        self.begin = self._button("Start a round", self._begin, main=True)
        self.state_text, self.problems = html(), html()
        self.asked_text = html()
        self.choice = widgets.RadioButtons(
            options=[], description="Your answer", layout=widgets.Layout(width="auto")
        )
        self.answer = self._button("Answer", self._answer, main=True)
        self.told, self.drawing = html(), html()
        self.next = self._button("Next question", self._next, main=True)
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

    def _button(
        self, text: str, pressed: Callable[[], None], *, main: bool = False
    ) -> widgets.Button:
        button = widgets.Button(
            description=text, layout=widgets.Layout(width="max-content", max_width="100%")
        )
        if main:
            button.add_class("fg-main")

        def press(_button: widgets.Button) -> None:
            with self.in_words(self.problems):
                try:
                    pressed()
                except ProgressError as error:
                    self.problems.value = tables.wrap(tables.alert(str(error)))

        button.on_click(press)
        return button

    # ------------------------------------------------------------ who, and how far

    def _named(self, _change: object) -> None:
        with self.in_words(self.problems):
            self.problems.value = ""
            self._hide_round()
            try:
                name = self.learner.value.strip()
                self.progress = load(self.folder, name) if name else Progress("")
            except ProgressError as error:
                self.progress = Progress("")
                self.problems.value = tables.wrap(tables.alert(str(error)))
            if self.progress.open is not None:
                self.level.value = self.progress.open.level
            self._show_state()

    def _show_state(self) -> None:
        progress = self.progress
        self.begin.disabled = not progress.learner
        begun = progress.open
        self.begin.description = "Start a round" if begun is None else "Go on with the round"
        if not progress.learner:
            self.state_text.value = tables.wrap(
                f'<p>Write your name to begin a round of {ROUND} questions.</p><p class="fg-note">'
                "What you know comes back later, what you do not, soon. How far you are is kept "
                "on this computer.</p>"
            )
            return
        finished = f"{plural(len(progress.rounds), 'round')} finished"
        boxes = [sum(c.box == n + 1 for c in progress.cards.values()) for n in range(len(DAYS))]
        due = sum(c.due <= self.today for c in progress.cards.values())
        last = ""
        if progress.rounds:
            r = progress.rounds[-1]
            last = f" The last: {r.right} of {r.asked} right, on {r.day.isoformat()}."
        waiting = (
            ""
            if begun is None
            else (f" A round of level {begun.level} waits at question {len(begun.answers) + 1}.")
        )
        days = ", ".join(f"{count} in box {n}" for n, count in enumerate(boxes, start=1) if count)
        self.state_text.value = tables.wrap(
            f'<p role="status"><strong>{escape(progress.learner)}</strong>: {finished}.{last}'
            f"{waiting}</p>"
            + (
                f'<p class="fg-note">Topics: {days}; {due} due today. What you know comes back '
                "later, what you do not, soon.</p>"
                if days
                else ""
            )
        )

    def _keep(self, progress: Progress) -> None:
        before, self.progress = self.progress, progress
        self.progress = save(self.folder, progress, before)

    # ------------------------------------------------------------ a round

    def _hide_round(self) -> None:
        self.round_box.layout.display = "none"
        self.question = None

    def _begin(self) -> None:
        self.problems.value = ""
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
        self.verdict.value = tables.wrap(tables.status("Making a question …"))
        self.asked_text.value = ""
        self.told.value = self.drawing.value = self.unjudged.value = ""
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
            self.problems.value = tables.wrap(
                tables.alert("This catalogue gives no question at this level. Choose another.")
            )
            return
        self.question = found
        at = len(begun.answers)
        if begun.topics[at] != found.topic:  # so that it is asked once in a round
            topics_now = (*begun.topics[:at], found.topic, *begun.topics[at + 1 :])
            begun = replace(begun, topics=topics_now)
            self._keep(replace(self.progress, open=begun))
        parts = self.opened.catalogue.parts
        roles = self.opened.catalogue.vocabulary.roles
        named = Markup('{}<br><span class="fg-note fg-plain">{} {}</span>')
        table = Table.of(
            "parts",
            found.parts,
            (
                Column("part", title="Part"),
                lambda s: named.format(parts[s].name or s, roles[parts[s].role].title, s),
            ),
            (Column("sizes", title="Sizes"), lambda s: Markup(self._sizes(s))),
        )
        self.verdict.value = tables.wrap(
            f"<p>Question {len(begun.answers) + 1} of {len(begun.topics)}</p>"
        )
        self.asked_text.value = tables.wrap(
            f"<h2>{escape(found.text)}</h2>" + (plain_table(table) if found.parts else "")
        )
        self.unjudged.value = tables.wrap(self._before(found))
        self.choice.options = found.choices
        self.choice.value = None
        self.choice.disabled = False
        self.answer.disabled = False
        self.choice.layout.display = self.answer.layout.display = "flex"
        self.next.layout.display = "none"

    def _sizes(self, sku: str) -> str:
        """Return the sizes and words of a part with what they are, each in a line of its own."""
        part = self.opened.catalogue.parts[sku]
        kinds = self.opened.catalogue.vocabulary.roles[part.role].features
        lines = []
        for name, feature in part.features.items():
            title = kinds[name].title
            if feature.presence is Presence.ABSENT:
                if kinds[name].dimensions:
                    lines.append(f"{title}: none")
                continue
            perhaps = "perhaps " if feature.presence is Presence.UNKNOWN else ""
            for length, size in feature.lengths.items():
                called = (
                    title if len(feature.lengths) == 1 else f"{title}, {length.replace('_', ' ')}"
                )
                # A figure stays with its limits and its unit.
                figure = size_text(size).replace(" ", "\u00a0") if size.known else "not known"
                lines.append(f"{perhaps}{called}: {figure}")
            for key, word in feature.words.items():
                called = title if key in (name, title) else f"{title}, {key.replace('_', ' ')}"
                lines.append(f"{perhaps}{called}: {word.value or 'not known'}")
        return "<br>".join(escape(line) for line in lines)

    def _before(self, item: Exercise) -> str:
        """Return the parts of a question drawn to scale, with nothing said of whether they fit.

        Parts that share no axis have no section: they are shown where they stand in the product.
        """
        catalogue = self.opened.catalogue
        shown = {catalogue.parts[s].role: plain(catalogue.parts[s]) for s in item.parts}
        found = sorted(nests(shown, catalogue.vocabulary), key=lambda n: -len(n.rings))
        if not found:
            named = {catalogue.parts[s].role: s for s in item.parts}
            drawn = product_svg(catalogue, named, pressable=False) if named else ""
            return f'<div tabindex="0" class="fg-scroll">{drawn}</div>' if drawn else ""
        bare = replace(found[0], matings=())
        return tables.section_html(bare, catalogue.vocabulary)

    def _answer(self) -> None:
        item, begun = self.question, self.progress.open
        if item is None or begun is None:
            return
        if self.choice.value is None:
            self.told.value = tables.wrap(tables.alert("Choose one of the answers first."))
            return
        right = self.choice.index == item.right
        cards = dict(self.progress.cards)
        cards[item.topic] = answered(cards.get(item.topic, TopicCard()), self.today, right=right)
        answers = (*begun.answers, right)
        progress = replace(self.progress, cards=cards, open=replace(begun, answers=answers))
        over = len(answers) == len(begun.topics)
        if over:
            done = Round(begun.level, self.today, sum(answers), len(answers))
            progress = replace(progress, rounds=(*progress.rounds, done), open=None)
        self._keep(progress)
        word = "✓ Right." if right else f"✗ Not so. Right is: {item.choices[item.right]}"
        klass = "fg-fits" if right else "fg-fails"
        reasons = "".join(f"<li>{escape(text)}</li>" for text in item.because)
        end = (
            f"<p><strong>The round is over: {sum(answers)} of {len(answers)} right.</strong></p>"
            if over
            else ""
        )
        self.verdict.value = tables.wrap(
            f'<p role="status">Question {len(answers)} of {len(begun.topics)}: '
            f'<strong class="{klass}">{escape(word)}</strong></p>{end}'
        )
        self.told.value = tables.wrap(f"<ul>{reasons}</ul>" if reasons else "")
        self.drawing.value = tables.wrap(self._section(item))
        self.unjudged.value = ""  # what is told now is drawn with its verdict
        self.choice.disabled = self.answer.disabled = True
        self.next.description = "Another round" if over else "Next question"
        self.next.layout.display = "flex"
        self._show_state()

    def _section(self, item: Exercise) -> str:
        """Return the cross-section through the parts; their graph where none shows two of them."""
        catalogue = self.opened.catalogue
        if not item.drawn:
            return str(blocks_html(triangle_report(catalogue).blocks))
        near = nearest_combination(self.opened.explainer, item.drawn)
        roles = {catalogue.parts[sku].role for sku in item.parts}
        telling = [n for n in nests(near, catalogue.vocabulary) if len(roles & n.roles) > 1]
        said = self.opened.explainer.why(item.drawn, with_changes=False)
        telling.sort(key=lambda n: n.verdict)
        # A section whose joints all fit would speak against an answer that another joint gives.
        if telling and telling[0].verdict <= said.verdict:
            return tables.sections_html(telling[:2], catalogue.vocabulary)
        roles.add(catalogue.parts[item.drawn[-1]].role)
        shown = {r: o for r, o in near.items() if r in roles and o.part is not None}
        joints = (*said.conflicts, *said.joints)
        both = (
            conflict_svg(shown, joints, catalogue.vocabulary, narrow=narrow)
            for narrow in (False, True)
        )
        return f'<div class="fg-wide">{tables.drawn_html(*both)}</div>'

    def _next(self) -> None:
        if self.progress.open is None:
            self._begin()
        else:
            self._ask()

    # ------------------------------------------------------------ the trainer

    def _summarise(self) -> None:
        people, wrong = everybody(self.folder)
        if not people:
            self.summary.value = tables.wrap(
                "<p>Nobody has practised here yet.</p>"
                + (tables.alert("\n".join(wrong)) if wrong else "")
            )
            return
        rows = []
        for person in people:
            cards = person.cards.items()
            hard = [
                topic_title(self.opened, topic)
                for topic, c in sorted(cards, key=lambda item: item[1].right - item[1].wrong)
                if c.wrong > c.right
            ][:3]
            answers = sum(c.right + c.wrong for _, c in cards)
            right = sum(c.right for _, c in cards)
            last = max((r.day for r in person.rounds), default=None)
            share = f"{right / answers:.0%}" if answers else "–"
            told = f"{right} of {answers} ({share})"
            rows.append((person.learner, len(person.rounds), answers, right, told, last, hard))
        table = Table(
            "practice",
            (
                *(Column("learner", title="Who"), Column("rounds", COUNT, "Rounds")),
                *(Column("answers", COUNT), Column("right", COUNT)),
                *(Column("told", TOLD_FIGURE, "Right"), Column("last_day", _DAY, "Last round")),
                Column("hard_topics", _HARD, "More often wrong than right"),
            ),
            tuple(rows),
        )
        self.summary.value = tables.wrap(
            plain_table(table.without("answers", "right"))
            + str(csv_link("Save as CSV", "practice.csv", table.without("told")))
            + (tables.alert("\n".join(wrong)) if wrong else "")
        )
