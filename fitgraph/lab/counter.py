"""The counter: what somebody has, what they want, what fits, and what to tell them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from functools import partial
from typing import Any

import ipywidgets as widgets

from fitgraph.draw import main_nest, nests
from fitgraph.draw.looks import look_svg
from fitgraph.draw.product import product_svg
from fitgraph.explain.advice import advise
from fitgraph.explain.exchange import Aim, Exchange
from fitgraph.explain.identify import Likely, State
from fitgraph.explain.part_search import nearest_parts, search_parts
from fitgraph.explain.words_rider import (
    advice_text,
    answer_text,
    exchange_text,
    state_text,
)
from fitgraph.lab.answering import Answering, Task
from fitgraph.lab.choices import Choices
from fitgraph.lab.debounce import Debounce
from fitgraph.lab.fields import Field, FieldProblem, Fields, field
from fitgraph.lab.form import read_budget
from fitgraph.lab.leads import build_link, one_line, why_link
from fitgraph.lab.look import (
    dropdown,
    fold,
    heading,
    html,
    note,
    sides,
    style,
    text_field,
    verdict_line,
)
from fitgraph.lab.opened import OpenCatalogue
from fitgraph.lab.pressable import Pressable
from fitgraph.lab.saved_answer import sheet_files
from fitgraph.lab.saves import Saves
from fitgraph.lab.session import SessionBar, SessionError
from fitgraph.mechanics.materials import MATERIALS
from fitgraph.model.rider import Question
from fitgraph.report.blocks import Block, Items, Report, Say, Section, quiet, say_all, status
from fitgraph.report.build_sheet import sheet_of
from fitgraph.report.cross_sections import cross_sections
from fitgraph.report.exchanges import brief_line, line, reasons, told
from fitgraph.report.faults import doubts
from fitgraph.report.listings import called_table
from fitgraph.report.tables import Column
from fitgraph.solve import NamingError, TooWideError
from fitgraph.solve.request import find_part
from fitgraph.wording import listed, percent, plural

#: Hits of a search, likely parts of a role and parts that fit, shown at once.
_HITS, _LIKELY, _OFFERED = 6, 2, 6

#: Parts less likely than this are not held out to be pointed at.
_LEAST = 0.05

#: An answer that could not be seen, and the wish to be asked at all, as choices.
_UNSEEN, _ASK = "?", "ask"

#: Said where questions were answered and no part was named.
_UNUSED = (
    "What can be seen is not counted in yet: press the part that it most likely is, among those "
    "under the question."
)

#: What is known, the next question, and the likeliest parts of each role.
_Next = tuple[State, Question | None, Mapping[str, Sequence[Likely]]]

_AIMS = (
    (Aim.ANY, "any"),
    (Aim.LIGHTER, "lighter"),
    (Aim.STRONGER, "stronger"),
    (Aim.CHEAPER, "cheaper"),
)


#: On which parts the workshop may do work, the usual first.
_WORK = (("on what they have", "owned"), ("on new parts too", "any"), ("none", "none"))


class Counter(Answering):
    """Questions at the left, the answer at the right, from nothing to a sheet to hand over.

    Parameters
    ----------
    opened : OpenCatalogue
        A catalogue that :func:`fitgraph.lab.open_catalogue` has opened.
    """

    invites = "see the counter"
    public = ("have", "seen", "whole")

    def __init__(self, opened: OpenCatalogue) -> None:
        super().__init__()
        self.opened = opened
        self.have: dict[str, str] = {}
        self.wanted = ""
        self.aim = Aim.ANY
        self.on_shelf = False
        self.seen: State | None = None
        #: Whether somebody wants to be asked what can be seen, where that takes long.
        self.asks = False
        self.whole: Exchange | None = None
        self.chosen = ""
        self.pointed = ""
        self._make_fields()
        self.session = SessionBar(self, "counter", f"Counter {opened.catalogue.name}")
        self.children = self._arranged()
        self._watch()
        self.session.begin()

    # ------------------------------------------------------------ what it is made of

    def _make_fields(self) -> None:
        catalogue = self.opened.catalogue
        vocabulary = catalogue.vocabulary
        self.product = Pressable()
        self.owned = Choices("What they have; press one to take it away")
        self.search = text_field("Search", "number, name, maker, material or size")
        self.hits = Choices("Parts found; press one that they have", tall=True)
        self.found = html()
        self.question = html()
        self.answers = Choices("Answers to the question")
        self.told = html()
        self.likely = Choices("The likeliest parts; press one that it is", tall=True)
        self.roles = Choices("What they want another of")
        self.aims = Choices("What it is to be")
        self.budget = text_field("Budget", f"no limit; e.g. 150 {vocabulary.currency}")
        self.budget_problem = FieldProblem()
        families = sorted(
            {MATERIALS[p.material].family for p in catalogue.parts.values() if p.material}
        )
        self.material = dropdown("Material", [("any", ""), *((f, f) for f in families)])
        self.work = dropdown("Workshop work", _WORK)
        styles = () if vocabulary.advice is None else tuple(vocabulary.advice.styles)
        self.riding = dropdown("They ride", [("not told", ""), *((s, s) for s in styles)])
        self.verdict, self.problems = verdict_line(), html()
        self.offers = Choices("Parts that fit; press one to look at it", tall=True)
        self.tell, self.section, self.links = html(), html(), html()
        self.sheet = Saves("Sheet to hand over")
        self.advice, self.others = html(), html()
        self.guide = html()
        # Until something is asked there is nothing to answer, and no heading over nothing.
        self.answer = widgets.VBox(
            [
                self.offers,
                heading("What to tell them"),
                self.tell,
                self.sheet,
                self.links,
                self.advice,
                fold("The cross-section", [self.section]),
                fold("Why not the others", [self.others]),
            ]
        )

    def _arranged(self) -> tuple[widgets.Widget, ...]:
        asks = self.opened.catalogue.vocabulary.identify is not None
        questions = [self.question, self.answers, self.told, self.likely] if asks else []
        rides = [self.riding] if len(self.riding.options) > 1 else []
        left = [
            heading("What do they have?"),
            self.owned,
            self.search,
            fold("Point at it", [self.product], is_open=True),
            self.found,
            self.hits,
            *questions,
            heading("What do they want?"),
            note("Another:"),
            self.roles,
            note("It is to be:"),
            self.aims,
            self.budget,
            self.budget_problem,
            self.material,
            *([self.work] if self.opened.catalogue.vocabulary.services else []),
            *rides,
        ]
        right = [
            heading("What fits"),
            self.guide,
            self.answer,
        ]
        return (style(self), self.verdict, self.problems, sides(left, right), self.session)

    def _watch(self) -> None:
        self.fields = Fields(
            have=Field(lambda: [*self.have.values()], self._enter_parts),
            seen=Field(self._answered, self._enter_answers),
            wanted=field(self, self._role, "wanted"),
            aim=Field(lambda: self.aim.value, lambda aim: setattr(self, "aim", Aim(aim))),
            on_shelf=field(self, bool, "on_shelf"),
            budget=field(self.budget, str),
            material=field(self.material),
            work=field(self.work),
            riding=field(self.riding),
            chosen=field(self, str, "chosen"),
        )
        self.fields.problems = {"budget": self.budget_problem}
        self.fields.watch(Debounce(self._find), self.search)
        wishes = (self.budget, self.material, self.work, self.riding)
        self.fields.watch(Debounce(self.refresh), *wishes)
        self.product.observe(self._point, names="pressed")
        self.owned.on_press(self._drop)
        self.hits.on_press(self.take)
        self.likely.on_press(self.take)
        self.answers.on_press(self._answer)
        self.roles.on_press(self._want)
        self.aims.on_press(self._aim)
        self.offers.on_press(self._look_at)

    # ------------------------------------------------------------ what is kept

    def _enter_parts(self, skus: Sequence[str]) -> None:
        parts = [find_part(self.opened.catalogue, sku) for sku in skus]
        self.have = {part.role: part.sku for part in parts}

    def _answered(self) -> list[list[str]]:
        given = () if self.seen is None else self.seen.given
        return [[q, _UNSEEN if v is None else answer_text(v)] for q, v in given]

    def _enter_answers(self, answers: Sequence[tuple[str, str]]) -> None:
        seen = State(self._start().identifier) if answers else None
        for question, answer in answers:
            assert seen is not None
            seen = seen.answer(question, answer)
        self.seen = seen

    def _role(self, role: str) -> str:
        if role and role not in self.opened.catalogue.vocabulary.roles:
            raise SessionError(f"This catalogue has no role called {role!r}.")
        return role

    # ------------------------------------------------------------ what they have

    def take(self, sku: str) -> None:
        """Take a part into what they have, in the place of another of its role."""
        part = self.opened.catalogue.parts[sku]
        self.have[part.role] = sku
        self.pointed = ""
        self.search.value = ""
        self._find()
        self.refresh()

    def _drop(self, sku: str) -> None:
        self.have = {r: s for r, s in self.have.items() if s != sku}
        self.refresh()

    def _find(self) -> None:
        with self.in_words(self.problems):
            catalogue, text = self.opened.catalogue, self.search.value
            every = search_parts(catalogue, text, len(catalogue.parts), self.pointed)
            near = not every and bool(text.strip())
            if near:
                every = nearest_parts(catalogue, text, len(catalogue.parts), self.pointed)
            self.hits.show([self._part_item(p.sku) for p in every[:_HITS]])
            text = self._found_text(min(len(every), _HITS), len(every), near=near)
            self.write(self.found, *(status(text),) if text else ())
            self.product.marked = [self.pointed] if self.pointed else []

    def _point(self, change: Mapping[str, Any]) -> None:
        """Show the parts of the role that was pressed; of the same again, no more."""
        _, role, _ = change["new"]
        if role in self.opened.catalogue.vocabulary.roles:
            self.pointed = "" if role == self.pointed else role
            self._find()

    def _found_text(self, shown: int, every: int, *, near: bool) -> str:
        """Return of which role parts are shown and how many there are; instead of what, if so."""
        if near and not every:
            return "No part has any of these words. Try a maker, a size such as 28.6, or a role."
        number = f"{shown} of {plural(every, 'part')}"
        if near:
            return f"No part has all of these words. {number} with most of them:"
        if not self.pointed:
            return ""
        title = self.opened.catalogue.vocabulary.roles[self.pointed].title
        more = "; search a word or a size to see others" if shown < every else ""
        return f"{title}: {number}{more}."

    def _item(self, sku: str, note: str) -> dict[str, Any]:
        part = self.opened.catalogue.parts[sku]
        numbers = sku if part.name else ""
        return {"name": sku, "label": part.name or sku, "numbers": numbers, "note": note}

    def _part_item(self, sku: str, note: str = "") -> dict[str, Any]:
        catalogue = self.opened.catalogue
        title = catalogue.vocabulary.roles[catalogue.parts[sku].role].title
        return self._item(sku, f"{title}; {note}" if note else title)

    def _start(self) -> State:
        if self.seen is None:
            self.seen = self.opened.rider
        return self.seen

    def _answer(self, value: str) -> None:
        if value == _ASK:
            self.asks = True
            self.refresh()
            return
        state = self._start()
        question = state.next_question()
        if question is None:
            return
        with self.in_words(self.problems):
            self.seen = state.answer(question.name, value)
            self.refresh()

    def _looks(self) -> Iterator[Task[Any]]:
        """Ask what can be seen; where that takes long, once somebody wants to be asked."""
        opened = self.opened
        if opened.catalogue.vocabulary.identify is None:
            return
        if self.seen is None and not self.asks and not opened.knows("rider"):
            yield Task(lambda: opened.is_wide, self._offer_to_ask, slow=not opened.knows("is_wide"))
            if opened.is_wide:
                return
        if self.asks and self.seen is None:
            self._put([], status("Working out what to look at first …"))
        known = opened.knows("rider")
        yield Task(self._next, self._ask, slow=not known or opened.is_wide)

    def _next(self) -> _Next | None:
        """Return what there is to ask; None where that would need too much memory."""
        try:
            state = self._start()
        except TooWideError:
            return None
        likely = state.candidates(least=_LEAST).parts if state.given else {}
        return state, state.next_question(), likely

    def _put(self, answers: list[dict[str, Any]], *question: Block) -> None:
        self.write(self.question, *question)
        self.answers.show(answers)

    def _offer_to_ask(self, wide: bool) -> None:
        if wide:
            self._put(
                [{"name": _ASK, "label": "Ask me what can be seen"}],
                Say(
                    "Or look: in a catalogue as large as this one it takes a while to work out "
                    "what tells most."
                ),
            )

    def _ask(self, found: _Next | None) -> None:
        """Show the next question with its answers, and what it most likely is."""
        if found is None:
            self._put(
                [],
                Say(
                    "This catalogue is too large to work out what to look at first. Search for any "
                    "word or size, or press where the part is in the picture."
                ),
            )
            return
        state, question, likely = found
        if question is None:
            self._put([])
        else:
            how = (quiet(question.how),) if question.how else ()
            asked = Say("", lead=f"Or look: {question.ask}")
            self._put(self._answer_items(state, question), asked, *how)
        self.write(self.told, *(status(state_text(state)),) if state.given else ())
        roles = {q.role for q in state.identifier.questions.values()} - self.have.keys()
        self.likely.show(
            [
                self._part_item(p.name, percent(p.chance))
                for role, parts in likely.items()
                if role in roles
                for p in parts[:_LIKELY]
                if p.name in self.opened.catalogue.parts
            ]
        )

    def _answer_items(self, state: State, question: Question) -> list[dict[str, Any]]:
        kinds = self.opened.catalogue.vocabulary.roles[question.role].features
        kind = kinds[question.feature].kind
        values = [*state.identifier.answers(question), None]
        largest = max((v for v in values if isinstance(v, float)), default=0.0)
        return [
            {
                "name": _UNSEEN if v is None else answer_text(v),
                "label": answer_text(v),
                "picture": look_svg(kind, v, largest),
            }
            for v in values
        ]

    # ------------------------------------------------------------ what they want

    def _want(self, role: str) -> None:
        self.wanted = "" if role == self.wanted else role
        self.chosen = ""  # a new wish begins with what is first
        self.refresh()

    def _aim(self, name: str) -> None:
        if name == "shelf":
            self.on_shelf = not self.on_shelf
        else:
            self.aim = Aim(name)
        self.chosen = ""
        self.refresh()

    def _show_wishes(self) -> None:
        roles = self.opened.catalogue.vocabulary.roles
        self.product.svg = product_svg(self.opened.catalogue, self.have)
        self.owned.show([{**self._part_item(sku), "on": True} for sku in self.have.values()])
        offered = [r for r in roles.values() if r.fill.free]
        offered.sort(key=lambda r: (not r.by_material, r.name not in self.have))
        self.roles.show(
            [{"name": r.name, "label": r.title, "on": r.name == self.wanted} for r in offered]
        )
        aims = [{"name": a.value, "label": words, "on": a is self.aim} for a, words in _AIMS]
        self.aims.show([*aims, {"name": "shelf", "label": "from the shelf", "on": self.on_shelf}])

    # ------------------------------------------------------------ what fits

    def refresh(self) -> None:
        """Read the entries and answer them."""
        self.write(self.problems)
        with self.in_words(self.problems):
            self._show_wishes()
            budget = read_budget(self.budget.value, self.opened.catalogue)
            self.fields.tell({})
            self.keep()
            self.work_out(lambda: self._steps(budget), self.problems)

    def _steps(self, budget: int | None) -> Iterator[Task[Any]]:
        if not self.wanted:
            self._nothing_wanted()
            yield from self._looks()
            return
        at_once = self.opened.knows("rider") and not self.opened.is_wide
        if at_once:
            yield from self._looks()
        self.write(self.verdict, status("Looking …"))
        exchange = partial(
            self.opened.shop.exchange,
            self.wanted,
            *self.have.values(),
            aim=self.aim.value,
            budget=None if budget is None else self.opened.catalogue.vocabulary.major(budget),
            material=self.material.value or None,
            in_stock=self.on_shelf,
            limit=_OFFERED,
            ends=True,
            services=self.work.value,
        )
        yield Task(lambda: exchange().found, self._show)
        if not at_once:
            yield from self._looks()

    def _nothing_wanted(self) -> None:
        self.whole = None
        told = "Say what they have, and what they want another of."
        if self.have:
            told = "Say what they want another of."
        self.write(self.verdict, status(told))
        self.write(self.guide, *self._guide())
        self.answer.layout.display = "none"
        self.offers.show([])
        for place in (self.tell, self.section, self.links, self.others, self.advice):
            self.write(place)

    def _guide(self) -> tuple[Block, ...]:
        """Return what to do, and what will stand here then."""
        named = ", ".join(map(self.opened.catalogue.called, self.have.values()))
        have = (
            f"{named}. Add more, or go on."
            if named
            else "search for a part by any words, press where it is in the picture, or answer what "
            "can be seen. One part is enough to begin."
        )
        want = (
            "press what they want another of; then, if they say so, lighter, stronger or cheaper, "
            "a budget, a material."
        )
        steps = Say(have, lead="What they have: "), Say(want, lead="What they want: ")
        return Items(steps, numbered=True), quiet(
            "Here you then see what fits, the best first, with its price, its mass and whether it "
            "is on the shelf; what to tell them; the cross-section; why the others do not fit; and "
            "a sheet to hand over."
        )

    def _show(self, found: Exchange) -> None:
        self.whole = found
        self.write(self.guide)
        self.answer.layout.display = None
        text = exchange_text(found)
        if found.parts:
            first = found.parts[0]
            name = first.part.name or first.part.sku
            text += f" First: {name}, {brief_line(first, found)}{self._doubted(first.part.sku)}."
        self.write(self.verdict, Report(text, (status(_UNUSED),) if self._only_seen else ()))
        skus = [one.part.sku for one in found.parts]
        if self.chosen not in skus:
            self.chosen = skus[0] if skus else ""
        self._show_offers(found)
        self.write(self.others, *self._others(found))
        self.write(self.advice, *self._advice())
        self._look()

    def _doubted(self, sku: str) -> str:
        return "; a figure of it is doubted" if self.opened.doubts(sku) else ""

    @property
    def _only_seen(self) -> bool:
        """Whether questions were answered and yet no part that they ask about is named."""
        if self.seen is None or all(value is None for _, value in self.seen.given):
            return False
        return not self.have.keys() & {q.role for q in self.seen.identifier.questions.values()}

    def _show_offers(self, found: Exchange) -> None:
        self.offers.show(
            [
                {
                    **self._item(sku := one.part.sku, line(one, found) + self._doubted(sku)),
                    "on": sku == self.chosen,
                }
                for one in found.parts
            ]
        )

    def _look_at(self, sku: str) -> None:
        self.chosen = sku
        if self.whole is not None:
            self._show_offers(self.whole)
        self.keep()
        with self.in_words(self.problems):
            self._look()

    def _look(self) -> None:
        """Show what to tell about the chosen part, its section and its sheet."""
        whole, catalogue = self.whole, self.opened.catalogue
        one = next(
            (r for r in (() if whole is None else whole.parts) if r.part.sku == self.chosen), None
        )
        if whole is None or one is None:
            self.write(self.tell, Say("Nothing to offer as they want it."))
            self.write(self.section)
            self.write(self.links)
            self.sheet.offer({})
            return
        vocabulary = catalogue.vocabulary
        kept = {part.sku for part in whole.kept}
        said = [*doubts(self.opened.doubts(one.part.sku)), *say_all(told(one, whole))]
        sheet = sheet_of(one.build, frozenset(kept), vocabulary, one.part.name or one.part.sku)
        shown = {**one.assumed, **one.build.options}
        nest = main_nest(nests(shown, vocabulary), vocabulary)
        drawn = [*cross_sections([] if nest is None else [nest], vocabulary)]
        rings = () if nest is None else nest.rings
        if guessed := [r.role for r in rings if r.role in one.assumed]:
            # How hard rings hold is not known while one of them is not.
            names = listed(vocabulary.roles[r].title for r in guessed)
            said.append(Say(f"Name the {names} as well, and how hard it holds is told."))
            parts = ", ".join(o.called for r in guessed if (o := one.assumed[r]).part is not None)
            sheet = replace(sheet, notes=(), drawn=f"Drawn with {parts}, which nobody named.")
            drawn.append(quiet(sheet.drawn))
        ways = [why_link(one.build.parts.values(), catalogue, "why it fits")]
        if not kept <= set(one.build.parts.values()):
            ways.append(why_link((*kept, one.part.sku), catalogue, "why not with all they have"))
        if whole.old is not None:
            ways.append(build_link(kept, catalogue, "what else could be built"))
        self.write(self.links, one_line(*ways))
        self.sheet.offer(sheet_files(sheet, shown, vocabulary, "sheet", "Sheet to hand over (PDF)"))
        self.write(self.section, *drawn)
        self.write(self.tell, *said, *say_all(sheet.notes), cautions=sheet.cautions)

    def _others(self, found: Exchange) -> Iterator[Block]:
        """Return how many parts are not offered for which reason, each with a way to why."""
        catalogue = self.opened.catalogue
        kept = [part.sku for part in found.kept]
        others = reasons(found)
        if found.more:
            others.insert(0, (f"{plural(len(found.more), 'goes', 'go')} as well", [*found.more]))
        if not others:
            yield Say("All of them are offered.")
        for text, skus in others:
            ways = [why_link((*kept, sku), catalogue, "Why?") for sku in skus]
            table = called_table(skus, catalogue).beside(Column("why"), ways)
            yield Section(text, (table,), folded=True)

    def _advice(self) -> tuple[Say, ...]:
        if not self.riding.value:
            return ()
        try:
            said = advise(self.opened.catalogue, self.riding.value)
        except NamingError:
            return ()
        return (Say(advice_text(self.opened.catalogue, said)),)
