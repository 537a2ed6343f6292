"""How fitment works: a cross-section to scale that follows parts and sliders."""

from __future__ import annotations

import contextlib
from collections.abc import Mapping, Sequence

from fitgraph.draw import Nest, nests
from fitgraph.draw.nested import INNER, OUTER, SLOT, Mating, walls
from fitgraph.explain.reasons import clashes
from fitgraph.graph.hold import hold
from fitgraph.graph.joints import asked
from fitgraph.graph.options import length_of, plain
from fitgraph.lab.answering import Answering
from fitgraph.lab.debounce import Debounce
from fitgraph.lab.fields import Field, Fields
from fitgraph.lab.look import (
    button,
    dropdown,
    fold,
    grid,
    heading,
    html,
    note,
    row,
    sides,
    style,
    verdict_line,
)
from fitgraph.lab.opened import OpenCatalogue
from fitgraph.lab.picker import PartPickers
from fitgraph.lab.saved_answer import files_of_report
from fitgraph.lab.saves import Saves
from fitgraph.lab.session import SessionBar, SessionError
from fitgraph.lab.shown import shown
from fitgraph.lab.slider import Slider
from fitgraph.model import Dimension, Joint, Option, Reference, Verdict, Vocabulary, with_length
from fitgraph.report import lessons
from fitgraph.report.blocks import Say
from fitgraph.report.cautions_told import cautions_on
from fitgraph.report.cross_sections import cross_section
from fitgraph.report.lessons import Lesson
from fitgraph.solve.plan import TooWideError
from fitgraph.wording import capital

#: How far a slider goes to either side of the part's own size, in mm.
_REACH_MM = 5.0

#: The largest size that a slider can have [mm].
_MOST_MM = 1000.0

#: What the files of an answer are about.
_TITLE = "How these parts fit"

#: Sliders answer sooner than typed text does: a move has no letters to wait for.
_WAIT_S = 0.04


def _pairs(vocabulary: Vocabulary) -> list[Joint]:
    return [j for j in asked(vocabulary.joints, tidy=False) if {OUTER, INNER} <= set(j.arguments)]


def axis_roles(vocabulary: Vocabulary) -> tuple[str, ...]:
    """Return the roles that sit around one axis with the tube whose strength is compared.

    Parameters
    ----------
    vocabulary : Vocabulary
        Its joints say which bore goes around which spigot.
    """
    if vocabulary.strength is None:
        return tuple(vocabulary.roles)
    wall = walls(vocabulary)
    reached: set[Reference] = set()
    ahead = [vocabulary.strength.outside, vocabulary.strength.bore]
    while ahead:
        reference = ahead.pop()
        if reference in reached:
            continue
        reached.add(reference)
        if reference in wall:
            ahead.append(wall[reference])
        for joint in _pairs(vocabulary):
            ends = (joint.arguments[OUTER], joint.arguments[INNER])
            if reference in ends:
                ahead.extend(ends)
    roles = {r.role for r in reached}
    return tuple(r for r in vocabulary.roles if r in roles)


def resized(option: Option, reference: Reference, middle: float) -> Option:
    """Return an option with one dimension moved to another middle, its limits as wide as before.

    Parameters
    ----------
    option : Option
        A part.
    reference : Reference
        Which dimension.
    middle : float
        In mm.
    """
    before = length_of(option, reference)
    if before is None or not before.known or reference.feature is None:
        return option
    half = (before.hi - before.lo) / 2
    new = Dimension(middle - half, middle + half, before.basis, f"{middle:.2f}")
    return with_length(option, reference.feature, reference.name, new)


def _size(value: object) -> float:
    """Return a size [mm] that a session holds; SessionError where no slider has it."""
    size = float(value) if isinstance(value, int | float | str) else -1.0
    if not 0.0 <= size <= _MOST_MM:
        raise SessionError(f"A size of this session is not between 0 and {_MOST_MM:g} mm.")
    return size


def _known(
    opened: OpenCatalogue, examples: Mapping[str, Sequence[str]]
) -> dict[str, Sequence[str]]:
    """Return the examples of which the catalogue has all parts; else its cheapest build."""
    parts = opened.catalogue.parts
    known = {title: skus for title, skus in examples.items() if all(s in parts for s in skus)}
    if known or not examples:
        return known
    with contextlib.suppress(TooWideError):
        around = axis_roles(opened.catalogue.vocabulary)
        for build in opened.ends[:1]:
            return {"the cheapest build": [s for r, s in build.parts.items() if r in around]}
    return {}


class FitLesson(Answering):
    """Examples, parts and sliders; under them what sits inside what, and by how much.

    Parameters
    ----------
    opened : OpenCatalogue
        A catalogue that :func:`fitgraph.lab.open_catalogue` has opened.
    examples : mapping of str to sequence of str
        Sets of parts by title, to begin with; those of another catalogue are left out.
    """

    invites = "see the cross-section and its sliders"
    public = ("options", "verdict")

    def __init__(
        self, opened: OpenCatalogue, examples: Mapping[str, Sequence[str]] | None = None
    ) -> None:
        super().__init__()
        self.opened = opened
        self.examples = _known(opened, examples or {})
        self.moved: dict[Reference, float] = {}
        self.verdict: Verdict | None = None
        catalogue = opened.catalogue
        self.example = dropdown(
            "Example",
            [*((title, title) for title in self.examples), ("my own choice", "")],
            value=next(iter(self.examples), ""),
        )
        vocabulary = catalogue.vocabulary
        self.form = PartPickers(catalogue, axis_roles(vocabulary))
        self.pickers = self.form.pickers
        self.joint = dropdown("Joint", [])
        self.sliders = {
            OUTER: Slider(description="Bore", unit="mm"),
            INNER: Slider(description="Spigot", unit="mm"),
            SLOT: Slider(description="Slot", unit="mm", digits=1, step=0.1),
        }
        self.as_made = button(
            "Sizes as they are",
            self._reset,
            tooltip="Take the sliders back to the sizes of the parts",
        )
        self.problems, self.drawing, self.told, self.all_joints = html(), html(), html(), html()
        self.verdict_line = verdict_line()
        self.saves = Saves("Save this answer")
        self._enter_example()
        self._list_joints(None)
        self.fields = Fields(
            example=Field(lambda: self.example.value, self._take_example),
            parts=Field(lambda: self.form.entries, self.form.enter),
            moved=Field(lambda: {str(r): size for r, size in self.moved.items()}, self._move),
            joint=Field(lambda: self.joint.value, self._list_joints),
        )
        self.fields.problems = self.form.problems
        self.session = SessionBar(self, "lesson", f"FitLesson {catalogue.name}")
        question = [
            heading("Parts around one axis"),
            self.example,
            self.form,
            heading("Move the sizes of one joint"),
            self.joint,
            grid(list(self.sliders.values()), "300px"),
            row([self.as_made]),
        ]
        answer = [
            self.drawing,
            self.told,
            self.saves,
            note(
                "A drawing shows the middle of each size; the answer takes the whole of its limits."
            ),
            fold("All joints between these parts, and how hard they hold", [self.all_joints]),
        ]
        self.children = (
            style(self),
            self.verdict_line,
            self.problems,
            sides(question, answer),
            fold("With care", [html(shown(cautions=cautions_on(vocabulary, vocabulary.cautions)))]),
            self.session,
        )
        self._draw_soon = Debounce(self.refresh, _WAIT_S)
        self.fields.watch(self._example_chosen, self.example)
        self.fields.watch(Debounce(self._parts_changed), *self.form.typed)
        self.fields.watch(self._joint_chosen, self.joint)
        self.fields.watch(self._slid, *self.sliders.values())
        self.session.begin()

    # ------------------------------------------------------------ what is kept

    def _take_example(self, title: str) -> None:
        self.example.value = title if title in {"", *self.examples} else ""

    def _move(self, moved: Mapping[str, object]) -> None:
        joints = _pairs(self.opened.catalogue.vocabulary)
        places = {str(r): r for j in joints for r in j.arguments.values()}
        self.moved = {places[n]: _size(size) for n, size in moved.items() if n in places}

    # ------------------------------------------------------------ events

    def _enter_example(self) -> None:
        self.moved = {}
        with self.fields.quietly():
            self.form.enter({})
            self.form.name(self.examples.get(self.example.value, ()))

    def _example_chosen(self) -> None:
        if self.example.value:
            self._enter_example()
            self._list_joints(None)  # the joint that tells most, not the one looked at before
            self.refresh()

    def _parts_changed(self) -> None:
        with self.fields.quietly():
            self.example.value = ""
        self.moved = {}
        self._list_joints(self.joint.value)
        self.refresh()

    def _joint_chosen(self) -> None:
        self._set_sliders()
        self.refresh()

    def _slid(self) -> None:
        joint = self._chosen_joint()
        if joint is None:
            return
        own = self._own()
        for name, slider in self.sliders.items():
            reference = joint.arguments.get(name)
            if reference is None or slider.disabled:
                continue
            option = own.get(reference.role)
            size = None if option is None else length_of(option, reference)
            if size is not None and size.known and slider.value == round(size.mid, 2):
                self.moved.pop(reference, None)  # it stands where the part's own size is
            else:
                self.moved[reference] = slider.value
        self._draw_soon()

    def _reset(self) -> None:
        self.moved = {}
        self._joint_chosen()

    # ------------------------------------------------------------ answers

    def options(self) -> dict[str, Option]:
        """Return the parts in the fields, with the sizes that the sliders give them.

        Raises
        ------
        FormError
            With one line for every entry that cannot be read.
        """
        chosen = self._own()
        for reference, size in self.moved.items():
            if reference.role in chosen:
                chosen[reference.role] = resized(chosen[reference.role], reference, size)
        return chosen

    def _own(self) -> dict[str, Option]:
        """Return the parts in the fields as they are; FormError where one cannot be read."""
        skus = self.form.skus()
        self.fields.tell({})
        return {role: plain(self.opened.catalogue.parts[sku]) for role, sku in skus.items()}

    def _matings(self) -> dict[str, tuple[Nest, Mating]]:
        """Return every joint that is drawn, with the longest nest that shows it."""
        found: dict[str, tuple[Nest, Mating]] = {}
        drawn = nests(self.options(), self.opened.catalogue.vocabulary)
        for nest in sorted(drawn, key=lambda n: -len(n.rings)):
            for mating in nest.matings:
                found.setdefault(mating.joint.name, (nest, mating))
        return found

    def _list_joints(self, wanted: str | None) -> None:
        with self.in_words(self.problems):
            found = self._matings()
            options = [(m.joint.title, name) for name, (_, m) in found.items()]
            names = [name for _, name in options]
            worst = min(found, key=lambda n: found[n][1].verdict, default=None)
            with self.fields.quietly():
                self.joint.options = options
                self.joint.value = wanted if wanted in names else worst
                self.joint.disabled = not names
            self._set_sliders()

    def _chosen_joint(self) -> Joint | None:
        name = self.joint.value
        return None if name is None else self.opened.catalogue.vocabulary.joint(name)

    def _set_sliders(self) -> None:
        with self.in_words(self.problems):
            joint, chosen = self._chosen_joint(), self.options()
            roles = self.opened.catalogue.vocabulary.roles
            with self.fields.quietly():
                for name, slider in self.sliders.items():
                    reference = joint.arguments.get(name) if joint is not None else None
                    option = chosen.get(reference.role) if reference is not None else None
                    size = length_of(option, reference) if option is not None else None
                    slider.disabled = size is None or not size.known
                    title = f" of the {roles[reference.role].title}" if reference else ""
                    slider.description = f"{capital(name)}{title}"
                    if size is not None and size.known:
                        reach = _REACH_MM
                        slider.min, slider.max = 0.0, _MOST_MM
                        slider.value = round(size.mid, 2)
                        slider.min = round(max(size.mid - reach, 0.0), 1)
                        slider.max = round(size.mid + reach, 1)

    def refresh(self) -> None:
        """Show what the fields and sliders ask for."""
        with self.in_words(self.problems):
            found = self._lesson()
            self.write(self.problems)
            if found is None:
                self._show_none()
                return
            catalogue = self.opened.catalogue
            self.verdict = found.mating.verdict
            self.write(self.verdict_line, lessons.headline(found))
            self.write(self.drawing, cross_section(found.nest, catalogue.vocabulary))
            self.write(self.told, lessons.sentence(found, catalogue))
            cautions = lessons.cautions(found, catalogue)
            self.write(self.all_joints, *lessons.joints(found), cautions=cautions)
            self.saves.offer(files_of_report(_TITLE, lambda: lessons.report(found, catalogue)))
            self.keep()

    def _lesson(self) -> Lesson | None:
        """Return what is asked for; None where no part sits inside another."""
        chosen, found = self.options(), self._matings()
        if not found:
            return None
        nest, mating = found.get(self.joint.value or "") or next(iter(found.values()))
        vocabulary = self.opened.catalogue.vocabulary
        whole = {r: chosen.get(r) or Option(r, None) for r in vocabulary.roles}
        open_ = {r for r, role in vocabulary.roles.items() if role.fill.free and r not in chosen}
        joints = [j for j in asked(vocabulary.joints, tidy=False) if not open_ & set(j.roles)]
        said = {c.joint.name: c for c in clashes(joints, whole, at_most=Verdict.FITS)}
        # What is drawn is listed as it is drawn, though some role of its joint is open.
        told = {name: (c.verdict, c.joint.title) for name, c in said.items()}
        told |= {name: (m.verdict, m.joint.title) for name, (_, m) in found.items()}
        listed = tuple(sorted(told.values(), key=lambda t: t[0]))
        # Of parts that do not fit, how hard they hold would say nothing true.
        held = None if listed[0][0] is Verdict.FAILS else hold(whole, vocabulary)
        return Lesson(
            chosen, dict(self.moved), nest, mating, said.get(mating.joint.name), listed, held
        )

    def _show_none(self) -> None:
        self.verdict = None
        self.write(
            self.verdict_line,
            Say(
                "None of these parts sits inside another. Choose an example, or two parts "
                "that go together."
            ),
        )
        for place in (self.told, self.drawing, self.all_joints):
            self.write(place)
        self.saves.offer({})
