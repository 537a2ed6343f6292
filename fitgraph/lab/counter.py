"""The counter: what somebody has, what they want, what fits, and what to tell them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from functools import partial
from html import escape
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
from fitgraph.lab import tables
from fitgraph.lab.answering import Answering, Task
from fitgraph.lab.choices import Choices
from fitgraph.lab.debounce import Debounce
from fitgraph.lab.fields import Field, FieldProblem, Fields, field
from fitgraph.lab.form import STILL_BEFORE, FormError, read_budget
from fitgraph.lab.leads import build_link, why_link
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
from fitgraph.report.build_sheet import sheet_of
from fitgraph.report.exchanges import brief_line, line, reasons, told
from fitgraph.solve import NamingError, TooWideError
from fitgraph.solve.request import find_part
from fitgraph.units import UnitError
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
            riding=field(self.riding),
            chosen=field(self, str, "chosen"),
        )
        self.fields.watch(Debounce(self._find), self.search)
        self.fields.watch(Debounce(self.refresh), self.budget, self.material, self.riding)
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
            found = every[:_HITS]
            self.hits.show([self._part_item(p.sku) for p in found])
            self.found.value = (
                self._near_html(len(found), len(every))
                if near
                else self._found_html(len(found), len(every))
            )
            self.product.marked = [self.pointed] if self.pointed else []

    def _point(self, change: Mapping[str, Any]) -> None:
        """Show the parts of the role that was pressed; of the same again, no more."""
        _, role, _ = change["new"]
        if role in self.opened.catalogue.vocabulary.roles:
            self.pointed = "" if role == self.pointed else role
            self._find()

    def _near_html(self, shown: int, every: int) -> str:
        """Return that no part has all the words, and what is shown instead."""
        told = (
            f"No part has all of these words. {shown} of {plural(every, 'part')} with most of them:"
            if every
            else "No part has any of these words. Try a maker, a size such as 28.6, or a role."
        )
        return tables.wrap(tables.status(told))

    def _found_html(self, shown: int, every: int) -> str:
        """Return of which role parts are shown, and how many there are."""
        if not self.pointed:
            return ""
        title = self.opened.catalogue.vocabulary.roles[self.pointed].title
        more = "; search a word or a size to see others" if shown < every else ""
        return tables.wrap(
            f'<p role="status">{escape(title)}: {shown} of {plural(every, "part")}{more}.</p>'
        )

    def _part_item(self, sku: str, note: str = "") -> dict[str, Any]:
        catalogue = self.opened.catalogue
        part = catalogue.parts[sku]
        title = catalogue.vocabulary.roles[part.role].title
        return {
            "name": sku,
            "label": part.name or sku,
            "numbers": sku if part.name else "",
            "note": f"{title}; {note}" if note else title,
        }

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
            self.question.value = tables.wrap(tables.status("Working out what to look at first …"))
            self.answers.show([])
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

    def _offer_to_ask(self, wide: bool) -> None:
        if wide:
            self.question.value = tables.wrap(
                "<p>Or look: in a catalogue as large as this one it takes a while to work out what "
                "tells most.</p>"
            )
            self.answers.show([{"name": _ASK, "label": "Ask me what can be seen"}])

    def _ask(self, found: _Next | None) -> None:
        """Show the next question with its answers, and what it most likely is."""
        catalogue = self.opened.catalogue
        if found is None:
            self.question.value = tables.wrap(
                "<p>This catalogue is too large to work out what to look at first. Search for any "
                "word or size, or press where the part is in the picture.</p>"
            )
            self.answers.show([])
            return
        state, question, likely = found
        if question is None:
            self.question.value = ""
            self.answers.show([])
        else:
            how = f'<p class="fg-note">{escape(question.how)}</p>' if question.how else ""
            self.question.value = tables.wrap(
                f"<p>Or look: <strong>{escape(question.ask)}</strong></p>{how}"
            )
            self.answers.show(self._answer_items(state, question))
        if not state.given:
            self.told.value = ""
            self.likely.show([])
            return
        self.told.value = tables.wrap(tables.status(state_text(state)))
        asked = {q.role for q in state.identifier.questions.values()}
        items = []
        for role, parts in likely.items():
            if role in asked and role not in self.have:
                items += [
                    self._part_item(p.name, percent(p.chance))
                    for p in parts[:_LIKELY]
                    if p.name in catalogue.parts
                ]
        self.likely.show(items)

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

    def _budget(self) -> int | None:
        if not self.budget.value.strip():
            return None
        try:
            return read_budget(self.budget.value, self.opened.catalogue)
        except UnitError as error:
            message = f"Budget: {error}"
            raise FormError(message, {"budget": message}) from None

    # ------------------------------------------------------------ what fits

    def refresh(self) -> None:
        """Read the entries and answer them."""
        self.problems.value = ""
        with self.in_words(self.problems):
            self._show_wishes()
            try:
                budget = self._budget()
            except FormError as error:
                self.budget_problem.tell(error.at["budget"])
                self.problems.value = tables.wrap(tables.alert(STILL_BEFORE))
                return
            self.budget_problem.tell("")
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
        self.verdict.value = tables.wrap(tables.status("Looking …"))
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
        )
        yield Task(lambda: exchange().found, self._show)
        if not at_once:
            yield from self._looks()

    def _nothing_wanted(self) -> None:
        self.whole = None
        told = "Say what they have, and what they want another of."
        if self.have:
            told = "Say what they want another of."
        self.verdict.value = tables.wrap(f'<p role="status">{told}</p>')
        self.guide.value = tables.wrap(self._guide())
        self.answer.layout.display = "none"
        self.offers.show([])
        for place in (self.tell, self.section, self.links, self.others, self.advice):
            place.value = ""

    def _guide(self) -> str:
        """Return what to do, and what will stand here then."""
        names = ", ".join(
            self.opened.catalogue.parts[sku].name or sku for sku in self.have.values()
        )
        have = (
            f"<strong>What they have:</strong> {escape(names)}. Add more, or go on."
            if names
            else "<strong>What they have:</strong> search for a part by any words, press where it "
            "is in the picture, or answer what can be seen. One part is enough to begin."
        )
        return (
            f"<ol><li>{have}</li>"
            "<li><strong>What they want:</strong> press what they want another of; then, if they "
            "say so, lighter, stronger or cheaper, a budget, a material.</li></ol>"
            '<p class="fg-note">Here you then see what fits, the best first, with its price, its '
            "mass and whether it is on the shelf; what to tell them; the cross-section; why the "
            "others do not fit; and a sheet to hand over.</p>"
        )

    def _show(self, found: Exchange) -> None:
        self.whole = found
        self.guide.value, self.answer.layout.display = "", None
        text = exchange_text(found)
        if found.parts:
            first = found.parts[0]
            name = first.part.name or first.part.sku
            text += f" First: {name}, {brief_line(first, found)}{self._doubted(first.part.sku)}."
        unused = f"<br>{_UNUSED}" if self._only_seen else ""
        self.verdict.value = tables.wrap(
            f'<p role="status"><strong>{escape(text)}</strong>{unused}</p>'
        )
        skus = [one.part.sku for one in found.parts]
        if self.chosen not in skus:
            self.chosen = skus[0] if skus else ""
        self._show_offers(found)
        self.others.value = tables.wrap(self._others(found))
        self.advice.value = self._advice()
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
                    "name": one.part.sku,
                    "label": one.part.name or one.part.sku,
                    "numbers": one.part.sku if one.part.name else "",
                    "note": line(one, found) + self._doubted(one.part.sku),
                    "on": one.part.sku == self.chosen,
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
            self.tell.value = tables.wrap("<p>Nothing to offer as they want it.</p>")
            self.section.value = self.links.value = ""
            self.sheet.offer({})
            return
        vocabulary = catalogue.vocabulary
        kept = {part.sku for part in whole.kept}
        text = "".join(
            f"<p><strong>Look first.</strong> {escape(f'{f.column} {f.value!r} {f.message}. ')}"
            f"{escape(f.remedy)}.</p>"
            for f in self.opened.doubts(one.part.sku)
        )
        text += "".join(f"<p>{escape(s)}</p>" for s in told(one, whole))
        title = one.part.name or one.part.sku
        sheet = sheet_of(one.build, frozenset(kept), vocabulary, title)
        shown = {**one.assumed, **one.build.options}
        whole_nest = main_nest(nests(shown, vocabulary), vocabulary)
        rings = () if whole_nest is None else whole_nest.rings
        guessed = [r.role for r in rings if r.role in one.assumed]
        if guessed:  # how hard rings hold is not known while one of them is not
            sheet = replace(sheet, notes=())
            names = listed(vocabulary.roles[r].title for r in guessed)
            text += f"<p>Name the {escape(names)} as well, and how hard it holds is told.</p>"
        drawn = tables.sections_html([] if whole_nest is None else [whole_nest], vocabulary)
        if guessed:
            parts = ", ".join(o.called for r in guessed if (o := one.assumed[r]).part is not None)
            sheet = replace(sheet, drawn=f"Drawn with {parts}, which nobody named.")
            drawn += f'<p class="fg-note">{escape(sheet.drawn)}</p>'
        ways = [why_link(one.build.parts.values(), catalogue, "why it fits")]
        if not kept <= set(one.build.parts.values()):
            ways.append(why_link((*kept, one.part.sku), catalogue, "why not with all they have"))
        if whole.old is not None:
            ways.append(build_link(kept, catalogue, "what else could be built"))
        self.links.value = tables.wrap(f"<p>{' · '.join(w for w in ways if w)}</p>")
        self.sheet.offer(sheet_files(sheet, shown, vocabulary, "sheet", "Sheet to hand over (PDF)"))
        self.section.value = tables.wrap(drawn)
        held = tables.lines_html(sheet.notes) + tables.cautions_html(sheet.cautions)
        self.tell.value = tables.wrap(text + held)

    def _others(self, found: Exchange) -> str:
        """Return how many parts are not offered for which reason, each with a way to why."""
        catalogue = self.opened.catalogue
        kept = [part.sku for part in found.kept]
        listed = reasons(found)
        if found.more:
            text = f"{plural(len(found.more), 'goes', 'go')} as well"
            listed.insert(0, (text, list(found.more)))
        pieces = []
        for text, skus in listed:
            named = "".join(
                f"<li>{tables.part_html(sku, catalogue)} "
                f"{why_link((*kept, sku), catalogue, 'Why?')}</li>"
                for sku in skus
            )
            pieces.append(f"<details><summary>{escape(text)}</summary><ul>{named}</ul></details>")
        return "".join(pieces) or "<p>All of them are offered.</p>"

    def _advice(self) -> str:
        if not self.riding.value:
            return ""
        try:
            said = advise(self.opened.catalogue, self.riding.value)
        except NamingError:
            return ""
        return tables.wrap(f"<p>{escape(advice_text(self.opened.catalogue, said))}</p>")
