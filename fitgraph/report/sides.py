"""Two parts, or two builds, side by side."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from typing import Any

from fitgraph.explain import clash_text
from fitgraph.explain.compare import ComparedBuilds, ComparedParts, Mates, Side, Totals
from fitgraph.explain.words_rider import difference_title, grip_text, opened_text, side_text
from fitgraph.mechanics.grip import GripRatio
from fitgraph.model import Catalogue, Option, Vocabulary
from fitgraph.report.blocks import Block, Report, Say, Section, Tone, quiet, say_all
from fitgraph.report.builds import part_text
from fitgraph.report.cautions_told import cautions_on
from fitgraph.report.explanations import HEADLINES, reasons
from fitgraph.report.tables import Column, Table
from fitgraph.report.values import (
    COUNT,
    FLAG,
    LENGTH,
    LIST,
    MASS,
    MASS_TOLD,
    MOMENT,
    MOMENT_TOLD,
    money_of,
    number,
)
from fitgraph.solve.engine import Build
from fitgraph.wording import plural

Compared = ComparedParts | ComparedBuilds


def cautions(found: Compared, catalogue: Catalogue) -> tuple[str, ...]:
    """Return the cautions that travel with a comparison."""
    topics = ["strength"] if any(t.strength_nm is not None for t in found.totals) else []
    topics += [] if found.grip is None else ["torque"]
    return cautions_on(catalogue.vocabulary, topics)


def _totals(totals: Totals, catalogue: Catalogue) -> dict[str, Any]:
    amount = money_of(catalogue.vocabulary).data
    return {
        "price": amount(totals.price),
        "mass_g": number(totals.mass_g),
        "strength_nm": number(totals.strength_nm),
        "builds": totals.builds,
        "possible": totals.possible,
    }


def _side(side: Side) -> dict[str, Any]:
    return {
        "there": side.presence.word,
        "lo_mm": number(side.size.lo) if side.size is not None else None,
        "hi_mm": number(side.size.hi) if side.size is not None else None,
        "basis": side.size.basis.word if side.size is not None else None,
        "word": side.word.value if side.word is not None else None,
        "text": side_text(side),
    }


def _mates(mates: Mates) -> dict[str, Any]:
    return {"fits": list(mates.fits), "unknown": list(mates.unknown), "fails": list(mates.fails)}


def _names(found: ComparedParts) -> tuple[str, str]:
    """Return what two parts are called: by their names alone where these tell them apart."""
    one, other = found.parts
    if one.name and other.name and one.name != other.name:
        return one.name, other.name
    return one.called, other.called


def _parts(found: ComparedParts, catalogue: Catalogue) -> dict[str, Any]:
    return {
        "compared": "parts",
        "role": found.parts[0].role,
        "sides": [
            {"sku": p.sku, "name": p.name, "material": p.material, "stock": p.stock}
            | _totals(t, catalogue)
            for p, t in zip(found.parts, found.totals, strict=True)
        ],
        "figures": [
            {
                "feature": d.feature,
                "dimension": d.dimension,
                "same": d.same,
                "sides": [_side(s) for s in d.sides],
            }
            for d in found.differences
        ],
        "joints": [
            {
                "joint": o.joint.name,
                "title": o.joint.title,
                "role": o.role,
                "sides": [_mates(m) for m in o.mates],
                "only": [list(o.opens(0)), list(o.opens(1))],
                "text": opened_text(catalogue, o, _names(found)),
            }
            for o in found.joints
        ],
    }


def _builds(found: ComparedBuilds, catalogue: Catalogue) -> dict[str, Any]:
    return {
        "compared": "builds",
        "sides": [
            {
                "named": list(named),
                "verdict": answer.verdict.word,
                "conflicts": [clash_text(c, catalogue) for c in answer.conflicts],
            }
            | _totals(totals, catalogue)
            for named, answer, totals in zip(found.named, found.answers, found.totals, strict=True)
        ],
        "roles": {role: list(pair) for role, pair in found.roles.items()},
        "joints": [
            {
                "joint": j.joint.name,
                "title": j.joint.title,
                "same": j.same,
                "sides": [
                    None
                    if c is None
                    else {"verdict": c.verdict.word, "margin_mm": number(c.margin_mm)}
                    for c in j.sides
                ],
            }
            for j in found.joints
        ],
    }


def _ratio(ratio: GripRatio | None) -> dict[str, float | None] | None:
    if ratio is None:
        return None
    told = {"low": ratio.low, "middle": ratio.middle, "high": ratio.high, "more": ratio.more}
    return {name: number(value) for name, value in told.items()}


def _grip(found: Compared, names: tuple[str, str], of: str) -> list[Block]:
    return [] if found.grip is None else [Say(grip_text(found.grip, names, of), deep=1)]


def data(found: Compared, catalogue: Catalogue) -> dict[str, Any]:
    """Return the answer in the shape that docs/commands.md describes."""
    answer = (
        _parts(found, catalogue) if isinstance(found, ComparedParts) else _builds(found, catalogue)
    )
    return answer | {
        "grip_ratio": _ratio(found.grip),
        "currency": catalogue.vocabulary.currency,
        "cautions": list(cautions(found, catalogue)),
    }


# -- tables --------------------------------------------------------------


def _sides_table(found: Compared, catalogue: Catalogue) -> Table:
    named = (
        [(p.sku,) for p in found.parts] if isinstance(found, ComparedParts) else list(found.named)
    )
    return Table.of(
        "sides",
        list(zip(named, found.totals, strict=True)),
        (Column("parts", LIST), lambda pair: pair[0]),
        (Column("price", money_of(catalogue.vocabulary)), lambda pair: pair[1].price),
        (Column("mass_g", MASS), lambda pair: pair[1].mass_g),
        (Column("strength_nm", MOMENT), lambda pair: pair[1].strength_nm),
        (Column("builds", COUNT), lambda pair: pair[1].builds),
        (Column("possible", COUNT), lambda pair: pair[1].possible),
    )


def _of_size(end: str) -> Callable[[Any], float | None]:
    return lambda entry: None if entry[1].size is None else number(getattr(entry[1].size, end))


def _figures_table(found: ComparedParts) -> Table:
    entries = [
        (d, side, part.sku)
        for d in found.differences
        for side, part in zip(d.sides, found.parts, strict=True)
    ]
    return Table.of(
        "figures",
        entries,
        (Column("feature"), lambda e: e[0].feature),
        (Column("dimension"), lambda e: e[0].dimension),
        (Column("sku"), lambda e: e[2]),
        (Column("there"), lambda e: e[1].presence.word),
        (Column("lo_mm", LENGTH), _of_size("lo")),
        (Column("hi_mm", LENGTH), _of_size("hi")),
        (Column("word"), lambda e: None if e[1].word is None else e[1].word.value),
        (Column("same", FLAG), lambda e: e[0].same),
    )


def _joints_table(found: ComparedBuilds) -> Table:
    def verdict(side: int) -> Callable[[Any], str]:
        return lambda j: "not there" if j.sides[side] is None else j.sides[side].verdict.word

    return Table.of(
        "joints",
        found.joints,
        (Column("joint"), lambda j: j.joint.title),
        (Column("first"), verdict(0)),
        (Column("second"), verdict(1)),
        (Column("same", FLAG), lambda j: j.same),
    )


def tables(found: Compared, catalogue: Catalogue) -> tuple[Table, ...]:
    """Return the two sides, and their figures or joints."""
    rest = _figures_table(found) if isinstance(found, ComparedParts) else _joints_table(found)
    return (_sides_table(found, catalogue), rest)


# -- for people ----------------------------------------------------------


def _totals_rows(found: Compared, catalogue: Catalogue) -> list[tuple[str, ...]]:
    money, totals = money_of(catalogue.vocabulary), found.totals
    rows = [
        ("price", *("none" if t.price is None else money.show(t.price) for t in totals)),
        ("mass", *("unknown" if t.mass_g is None else MASS.show(t.mass_g) for t in totals)),
    ]
    if any(t.strength_nm is not None for t in totals):
        borne = ("unknown" if t.strength_nm is None else MOMENT.show(t.strength_nm) for t in totals)
        rows.append(("strength", *borne))
    rows.append(("leads to, certain", *(plural(t.builds, "build") for t in totals)))
    possible = (
        "too many to be counted" if t.possible is None else plural(t.possible, "build")
        for t in totals
    )
    rows.append(("leads to, possible", *possible))
    return rows


def _beside(name: str, heads: Sequence[str], rows: Sequence[tuple[Any, ...]], first: str) -> Table:
    columns = (Column("what", title=first), *(Column(head) for head in heads))
    return Table(name, columns, tuple(rows), whole=True)


def side_by_side(
    builds: Sequence[Build], owned: Collection[str], vocabulary: Vocabulary
) -> tuple[Block, ...]:
    """Return builds as the columns of a table; roles in which they differ are marked.

    Parameters
    ----------
    builds : sequence of Build
        In the order in which they were picked.
    owned : collection of str
        Stock numbers that cost nothing.
    vocabulary : Vocabulary
        Names the roles.
    """

    def told(option: Option | None) -> str:
        mine = option is not None and option.part is not None and option.part.sku in owned
        return part_text(option, vocabulary) + (" (yours)" if mine else "")

    rows = [
        ("price", *(vocabulary.money(b.price) for b in builds)),
        ("mass", *(MASS_TOLD.show(b.mass_g) for b in builds)),
        ("strength", *(MOMENT_TOLD.show(b.strength_nm) for b in builds)),
    ]
    for role in vocabulary.roles.values():
        options = [b.options.get(role.name) for b in builds]
        labels = {"" if o is None else o.label for o in options}
        if labels != {""}:
            differ = " ≠" if len(labels) > 1 else ""
            rows.append((role.title + differ, *map(told, options)))
    heads = [f"pick {n}" for n in range(1, len(builds) + 1)]
    return _beside("picks", heads, rows, "of the whole"), quiet("≠ marks where they differ.")


def _parts_blocks(found: ComparedParts, catalogue: Catalogue) -> list[Block]:
    names = _names(found)
    rows: list[tuple[str, ...]] = [("stock number", *(p.sku for p in found.parts))]
    if any(p.material for p in found.parts):
        rows.append(("material", *(p.material or "unknown" for p in found.parts)))
    rows.append(("in stock", *(str(p.stock) for p in found.parts)))
    rows += _totals_rows(found, catalogue)
    rows += [
        (difference_title(d), *(side_text(s) for s in d.sides))
        for d in found.differences
        if not d.same
    ]
    pieces: list[Block] = [_beside("sides", names, rows, "")]
    if same := sum(d.same for d in found.differences):
        text = f"{plural(same, 'more figure is', 'more figures are')} the same."
        pieces.append(Say(text, Tone.QUIET, deep=1))
    pieces += _grip(found, names, "on what just fills its bore")
    telling = [o for o in found.joints if o.opens(0) or o.opens(1)]
    if telling:
        texts = say_all(opened_text(catalogue, o, names) for o in telling)
        pieces.append(Section("Joints that one opens and the other does not", texts))
    else:
        pieces.append(Section("Both fit the same counterparts.", ()))
    return pieces


def _builds_blocks(found: ComparedBuilds, catalogue: Catalogue) -> list[Block]:
    words = ("first", "second")
    rows: list[tuple[str, ...]] = [("verdict", *(HEADLINES[a.verdict] for a in found.answers))]
    rows += _totals_rows(found, catalogue)
    for role, pair in found.roles.items():
        called = (catalogue.called(sku) if sku else "any" for sku in pair)
        rows.append((catalogue.vocabulary.roles[role].title, *called))
    pieces: list[Block] = [_beside("sides", words, rows, "")]
    pieces += _grip(found, ("the first", "the second"), "what lies in its clamp")
    differing = [
        (j.joint.title, *("not there" if c is None else c.verdict.word for c in j.sides))
        for j in found.joints
        if not j.same
    ]
    if differing:
        joints = _beside("joints", words, differing, "joint")
        pieces.append(Section("Joints in which they differ", (joints,)))
    else:
        alike = "Every joint between the named parts stands alike in both."
        pieces.append(Section(alike, ()))
    for word, answer in zip(words, found.answers, strict=True):
        if answer.conflicts:
            why = (reasons(answer.conflicts, catalogue),)
            pieces.append(Section(f"Why the {word} does not hold", why))
    return pieces


def report(found: Compared, catalogue: Catalogue) -> Report:
    """Return the answer for people."""
    pieces = (
        _parts_blocks(found, catalogue)
        if isinstance(found, ComparedParts)
        else _builds_blocks(found, catalogue)
    )
    return Report("", tuple(pieces), cautions(found, catalogue))
