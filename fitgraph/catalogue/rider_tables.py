"""Read what is asked of riders: the ``[identify]`` and ``[advice]`` tables of a vocabulary."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from fitgraph.catalogue.vocabulary_shape import MOST_WEIGHT, WEIGHTS
from fitgraph.mechanics.materials import FAMILIES
from fitgraph.model import Grouping, Reference
from fitgraph.model.rider import Advice, Identify, Question, Style

if TYPE_CHECKING:
    from fitgraph.catalogue.vocabulary_file import _Reader as Reader


def _question(reader: Reader, where: str, entry: Mapping[str, Any]) -> Question | None:
    reader.known_keys(where, entry, "question")
    text = str(entry.get("reads", ""))
    pieces = text.split(".")
    role = reader.roles.get(pieces[0])
    feature = role.features.get(pieces[1]) if role is not None and len(pieces) > 1 else None
    dimension = feature.dimensions.get(pieces[2]) if feature and len(pieces) == 3 else None
    if role is None or feature is None or len(pieces) > 3 or (len(pieces) == 3 and not dimension):
        reader.fault(
            f"{where}.reads",
            text,
            "names no feature and no dimension",
            "Write role.feature, or role.feature.dimension",
        )
        return None
    ask = reader.text(where, entry, "ask")
    if not ask.strip():
        reader.fault(where, "", "lacks 'ask'", "Write the question in a rider's words")
    effort = reader.number(f"{where}.effort", entry.get("effort", 1), 1000)
    if effort == 0:
        reader.fault(f"{where}.effort", effort, "is zero", "A glance is 1")
        effort = 1.0
    tolerance = reader.length(f"{where}.tolerance", entry.get("tolerance", "0.2 mm"), 0.2)
    if tolerance <= 0:
        reader.fault(f"{where}.tolerance", tolerance, "is not above zero", "Write it like 0.2 mm")
    return Question(
        reader.text(where, entry, "id", text),
        ask,
        role.name,
        feature.name,
        dimension.name if dimension else None,
        tolerance,
        effort,
        reader.text(where, entry, "how", dimension.measure if dimension else ""),
    )


def read_identify(
    reader: Reader, document: Mapping[str, Any], groups: Mapping[str, Grouping]
) -> Identify | None:
    """Return the ``[identify]`` table of a vocabulary file, None where it has none."""
    table = reader.table("identify", document.get("identify"))
    if not table:
        return None
    reader.known_keys("identify", table, "identify")
    group = groups.get(str(table.get("group")))
    if group is None:
        reader.fault(
            "identify.group",
            table.get("group"),
            "is no known group",
            f"Name one of {', '.join(groups) or 'the [groups] tables, of which there is none'}",
        )
    kinds = {k.name for k in group.kinds} if group is not None else set()
    means = reader.all_texts("identify.means", table.get("means"))
    for name in means if group is not None else ():
        if name not in kinds:
            reader.fault(
                "identify.means", name, "is no kind of the group", f"Use {', '.join(sorted(kinds))}"
            )
    raw = table.get("questions", [])
    if not isinstance(raw, list):
        reader.fault(
            "identify.questions", raw, "is no list of tables", "Write [[identify.questions]]"
        )
        raw = []
    questions: dict[str, Question] = {}
    for place, entry in enumerate(raw, start=1):
        where = f"identify.questions #{place}"
        question = _question(reader, where, reader.table(where, entry))
        if question is None:
            continue
        if question.name in questions:
            reader.fault(where, question.name, "is the id of two questions", "Rename one")
        questions[question.name] = question
    sure = reader.number("identify.sure", table.get("sure", 0.95), 1)
    if not questions or group is None:
        if not questions:
            reader.fault("identify", "", "asks nothing", "Add [[identify.questions]]")
        return None
    return Identify(group.name, tuple(questions.values()), MappingProxyType(means), float(sure))


def _style(reader: Reader, where: str, name: str, entry: Mapping[str, Any]) -> Style:
    reader.known_keys(where, entry, "style")
    weights = {
        w: float(reader.number(f"{where}.{w}", entry.get(w, 0), MOST_WEIGHT)) for w in WEIGHTS
    }
    if not any(weights.values()):
        reader.fault(where, "", "weighs nothing", f"Give one of {', '.join(WEIGHTS)} a weight")
    return Style(name, **weights, say=reader.text(where, entry, "say"))


def read_advice(
    reader: Reader, document: Mapping[str, Any], groups: Mapping[str, Grouping]
) -> Advice | None:
    """Return the ``[advice]`` table of a vocabulary file, None where it has none."""
    table = reader.table("advice", document.get("advice"))
    if not table:
        return None
    reader.known_keys("advice", table, "advice")
    group = reader.text("advice", table, "group")
    if group and group not in groups:
        reader.fault("advice.group", group, "is no known group", "Name one of the [groups] tables")
    styles = {
        name: _style(
            reader, f"advice.styles.{name}", name, reader.table(f"advice.styles.{name}", entry)
        )
        for name, entry in reader.table("advice.styles", table.get("styles")).items()
    }
    if not styles:
        reader.fault("advice", "", "names no way of riding", "Add [advice.styles.NAME]")
    broken = None
    if table.get("broken") is not None:
        entry = reader.table("advice.broken", table.get("broken"))
        broken = _style(reader, "advice.broken", "broken", entry)
    say = reader.all_texts("advice.say", table.get("say"))
    for family in say:
        if family not in FAMILIES:
            reader.fault(
                "advice.say", family, "is no family of materials", f"Use {', '.join(FAMILIES)}"
            )
    tell: dict[str, Reference] = {}
    for words, text in reader.table("advice.tell", table.get("tell")).items():
        reference = reader.reference(f"advice.tell.{words}", text)
        if reference is not None:
            tell[words] = reference
    return Advice(
        reader.text("advice", table, "rule"),
        MappingProxyType(styles),
        broken,
        MappingProxyType(say),
        MappingProxyType(tell),
        group,
    )
