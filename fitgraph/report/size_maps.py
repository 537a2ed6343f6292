"""What a map of fits says beside its drawing: of an interface, a tolerance, a step, all of it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from fitgraph.draw.style import WORDS
from fitgraph.explain.map_search import Match
from fitgraph.explain.tracing import WayStep
from fitgraph.explain.words import size_text
from fitgraph.graph.size_map import SizeMap, drawn_at
from fitgraph.graph.views import joints_of
from fitgraph.model import Catalogue, Condition, Verdict
from fitgraph.report.blocks import Block, Report, Say, Section, Tone
from fitgraph.report.graphs import named
from fitgraph.report.tables import Column, Table
from fitgraph.report.values import COUNT, MARGIN, MASS, Unit, money_of
from fitgraph.units import show_length
from fitgraph.wording import capital, first_of, plural

#: Parts and joints named in a sentence.
_FEW = 3

#: Rows of a table that a page takes in at once; more would keep it busy for seconds.
_MOST_ROWS = 400


def interface_title(found: SizeMap, node: str) -> str:
    """Return an interface as people say it: role, feature and sizes."""
    data = found.view.nodes[node]
    role = found.vocabulary.roles[data["role"]].title
    sizes = data["sizes"].replace("..", " to ") if data["sizes"] != "?" else "of unknown size"
    return f"{role}, {data['feature'].replace('_', ' ')} {sizes}"


_VERDICTS = {v.word: v for v in Verdict}

#: What certainly fits first.
_ORDER = (Verdict.FITS, Verdict.FAILS, Verdict.UNKNOWN)

_VERDICT = Unit(WORDS.__getitem__, lambda v: v.word, figures=False)


def _joints(found: SizeMap, tolerance_mm: float, node: str | None = None) -> Table:
    rows: list[tuple[Any, ...]] = []
    for a, b, data in joints_of(found.view, "fails"):
        if node not in (None, a, b) or not drawn_at(data, tolerance_mm):
            continue
        one, other = (a, b) if node in (None, a) else (b, a)
        here = () if node is not None else (interface_title(found, one),)
        verdict = _VERDICTS[data["verdict"]]
        with_ = interface_title(found, other)
        rows.append((*here, with_, data["title"], verdict, data.get("margin_mm")))
    rows.sort(key=lambda r: (_ORDER.index(r[-2]), abs(r[-1] or 0.0)))  # then the tightest
    first = () if node is not None else (Column("interface"),)
    columns = (
        *first,
        Column("with"),
        Column("joint"),
        Column("verdict", _VERDICT),
        Column("margin_mm", MARGIN, "to spare"),
    )
    return Table("joints", columns, tuple(rows), title="Joints drawn")


def interface(found: SizeMap, node: str, tolerance_mm: float = 0.0) -> Report:
    """Tell an interface: who has it, and what it mates with at a tolerance [mm]."""
    data = found.view.nodes[node]
    title = interface_title(found, node)
    skus = found.parts.get(node, ())
    headline = f"{capital(title)}: {plural(len(skus), 'part')}."
    held = plural(data["stock"], "piece") + " in stock"
    blocks: list[Block] = [Say(f"{held}; {first_of(map(found.catalogue.called, skus), _FEW)}.")]
    if data["owned"]:
        blocks.append(Say(f"Named in {plural(data['owned'], 'enquiry', 'enquiries')}.", Tone.QUIET))
    joints = _joints(found, tolerance_mm, node)
    blocks.append(joints if joints.rows else Say("Nothing goes with it at this tolerance."))
    return Report(headline, tuple(blocks))


def part(found: SizeMap, sku: str) -> Report:
    """Tell a part: what it is, and the interfaces it has on the map."""
    it = found.catalogue.parts[sku]
    price = money_of(found.vocabulary).show(it.price)
    held = f"{it.stock:,} in stock" if it.stock else "to order"
    says = f"{price}, {MASS.show(it.mass_g)}, {held}."
    have = [interface_title(found, n) for n in found.interfaces.get(sku, ()) if n in found.view]
    return Report(f"{it.called}.", (Say(says), Say(f"On the map: {'; '.join(have)}.", Tone.QUIET)))


def tolerance(found: SizeMap, tolerance_mm: float) -> str:
    """Return what a tolerance [mm] makes of the map, as a sentence."""
    counts = dict.fromkeys(("fits", "unknown", "fails"), 0)
    for _, _, data in joints_of(found.view, "fails"):
        counts[data["verdict"]] += drawn_at(data, tolerance_mm)
    fit, open_, fail = (counts[v.word] for v in (Verdict.FITS, Verdict.UNKNOWN, Verdict.FAILS))
    told = plural(fit, "joint that fits", "joints that fit")
    if tolerance_mm < 0:
        told += f" with {show_length(-tolerance_mm)} to spare or more"
    told += f", {open_:,} that cannot be told"
    if tolerance_mm > 0:
        lacking = plural(fail, "that lacks", "that lack")
        told += f", {lacking} no more than {show_length(tolerance_mm)}"
    return f"Drawn: {told}."


def matched(match: Match, text: str, catalogue: Catalogue) -> str:
    """Return what a search found, as a sentence."""
    if not match.interfaces:
        return f"Nothing here is called or measures {text.strip()!r}."
    told = plural(len(match.interfaces), "interface")
    if match.parts:
        first = first_of(map(catalogue.called, match.parts), _FEW)
        told += f" of {plural(len(match.parts), 'part')}: {first}"
    return f"{told}."


def _condition(condition: Condition, catalogue: Catalogue) -> str:
    role = catalogue.vocabulary.roles[condition.role].title
    what = role if condition.feature is None else f"{condition.feature} on the {role}"
    return f"{'a' if condition.wanted else 'no'} {what.replace('_', ' ')}"


def step(told: WayStep, catalogue: Catalogue, number: int, of: int) -> Report:
    """Tell a step of a way: the sizes that meet, what is to spare, what is taken for given."""
    one, other = told.options
    sizes = [
        f"{reference.feature or ''} {reference.name} of {option.called}: {size_text(size)}".strip()
        for option, (reference, size) in zip(told.options, told.ends, strict=False)
        if size is not None
    ]
    headline = f"Step {number} of {of}: {one.called} and {other.called}, {told.hold.joint.title}."
    margin = told.hold.margin_mm
    blocks: list[Block] = [Say(f"{'; '.join(sizes)}.".replace("_", " "))] if sizes else []
    if margin is not None:
        blocks.append(Say(f"{MARGIN.show(margin)} to spare at the worst sizes."))
    for option in told.options:
        for service in option.services:
            title = catalogue.vocabulary.services[service].title
            blocks.append(Say(f"After the workshop has done this to it: {title}."))
    if told.hold.given:
        given = ", ".join(_condition(c, catalogue) for c in told.hold.given)
        blocks.append(Say(f"Given: {given}.", Tone.QUIET))
    return Report(headline, tuple(blocks), verdict=Verdict.FITS)


def whole(found: SizeMap, tolerance_mm: float = 0.0) -> Report:
    """Return the map as tables, for those who cannot see it."""
    rows = tuple(
        (
            found.vocabulary.roles[d["role"]].title,
            d["feature"].replace("_", " "),
            d["sizes"].replace("..", " to "),
            d["parts"],
            d["stock"],
            found.parts.get(n, ()),
        )
        for n, d in found.view.nodes(data=True)
    )
    interfaces = Table(
        "interfaces",
        (
            Column("role"),
            Column("feature"),
            Column("sizes", title="sizes, mm"),
            Column("parts", COUNT),
            Column("stock", COUNT, "pieces"),
            Column("which", named(found.catalogue)),
        ),
        rows,
        title="Interfaces drawn",
    )
    blocks: list[Block] = []
    for table in (interfaces, _joints(found, tolerance_mm)):
        if (number := len(table.rows)) > _MOST_ROWS:
            blocks.append(
                Say(
                    f"{table.title}: {number:,}, of which the first {_MOST_ROWS} are listed. Draw "
                    "around one role, or take a smaller tolerance, for fewer."
                )
            )
            table = replace(table, rows=table.rows[:_MOST_ROWS])
        blocks.append(table)
    return Report("", (Section("", tuple(blocks)),))
