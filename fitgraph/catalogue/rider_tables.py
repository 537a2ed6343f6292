"""Read what is asked of riders: the ``[identify]`` and ``[advice]`` tables of a vocabulary."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from fitgraph.catalogue.entries import FileTable
from fitgraph.catalogue.vocabulary_shape import MOST_WEIGHT, WEIGHTS
from fitgraph.mechanics.materials import FAMILIES
from fitgraph.model import Grouping, Reference
from fitgraph.model.rider import Advice, Identify, Question, Style


def _question(entry: FileTable) -> Question | None:
    text = str(entry.get("reads", ""))
    pieces = text.split(".")
    role = entry.read.roles.get(pieces[0])
    feature = role.features.get(pieces[1]) if role is not None and len(pieces) > 1 else None
    dimension = feature.dimensions.get(pieces[2]) if feature and len(pieces) == 3 else None
    if role is None or feature is None or len(pieces) > 3 or (len(pieces) == 3 and not dimension):
        remedy = "Write role.feature, or role.feature.dimension"
        entry.fault("reads", text, "names no feature and no dimension", remedy)
        return None
    ask = entry.text("ask")
    if not ask.strip():
        entry.lacks("ask", "Write the question in plain words")
    effort = entry.number("effort", 1000, 1)
    if effort == 0:
        entry.fault("effort", effort, "is zero", "A glance is 1")
        effort = 1.0
    tolerance = entry.length("tolerance", "0.2 mm", 0.2)
    if tolerance <= 0:
        entry.fault("tolerance", tolerance, "is not above zero", "Write it like 0.2 mm")
    return Question(
        entry.text("id", text),
        ask,
        role.name,
        feature.name,
        dimension.name if dimension else None,
        tolerance,
        effort,
        entry.text("how", dimension.measure if dimension else ""),
    )


def read_identify(file: FileTable, groups: Mapping[str, Grouping]) -> Identify | None:
    """Return the ``[identify]`` table of a vocabulary file, None where it has none."""
    table = file.inner("identify", "identify")
    if not table:
        return None
    group = groups.get(str(table.get("group")))
    if group is None:
        names = ", ".join(groups) or "the [groups] tables, of which there is none"
        table.fault("group", table.get("group"), "is no known group", f"Name one of {names}")
    kinds = {k.name for k in group.kinds} if group is not None else set()
    means = table.texts("means")
    for name in means if group is not None else ():
        if name not in kinds:
            remedy = f"Use {', '.join(sorted(kinds))}"
            table.fault("means", name, "is no kind of the group", remedy)
    questions: dict[str, Question] = {}
    for entry in table.rows("questions", "question"):
        question = _question(entry)
        if question is None:
            continue
        if question.name in questions:
            entry.fault("", question.name, "is the id of two questions", "Rename one")
        questions[question.name] = question
    sure = table.number("sure", 1, 0.95)
    if not questions or group is None:
        if not questions:
            table.fault("", "", "asks nothing", "Add [[identify.questions]]")
        return None
    return Identify(group.name, tuple(questions.values()), MappingProxyType(means), float(sure))


def _style(name: str, entry: FileTable) -> Style:
    weights = {weight: float(entry.number(weight, MOST_WEIGHT)) for weight in WEIGHTS}
    if not any(weights.values()):
        remedy = f"Give one of {', '.join(WEIGHTS)} a weight"
        entry.fault("", "", "weighs nothing", remedy)
    return Style(name, **weights, say=entry.text("say"))


def read_advice(file: FileTable, groups: Mapping[str, Grouping]) -> Advice | None:
    """Return the ``[advice]`` table of a vocabulary file, None where it has none."""
    table = file.inner("advice", "advice")
    if not table:
        return None
    group = table.text("group")
    if group and group not in groups:
        table.fault("group", group, "is no known group", "Name one of the [groups] tables")
    styles = {name: _style(name, entry) for name, entry in table.each("styles", "style")}
    if not styles:
        table.fault("", "", "names no way of riding", "Add [advice.styles.NAME]")
    broken = None
    if table.get("broken") is not None:
        broken = _style("broken", table.inner("broken", "style"))
    say = table.texts("say")
    for family in say:
        if family not in FAMILIES:
            table.fault("say", family, "is no family of materials", f"Use {', '.join(FAMILIES)}")
    told = table.inner("tell")
    tell: dict[str, Reference] = {}
    for words, _ in told:
        reference = told.reference(words)
        if reference is not None:
            tell[words] = reference
    return Advice(
        table.text("rule"),
        MappingProxyType(styles),
        broken,
        MappingProxyType(say),
        MappingProxyType(tell),
        group,
    )
