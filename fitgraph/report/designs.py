"""Parts worth making: what they would serve, the best few together."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

from fitgraph.adapters import Scan, Together, Worth, size_title
from fitgraph.adapters.best_k import cost
from fitgraph.adapters.proposals import PROPOSAL, Proposals
from fitgraph.draw.line_chart import Series, line_chart_svg
from fitgraph.model import Vocabulary
from fitgraph.report.blocks import (
    Block,
    Picture,
    Report,
    Say,
    Section,
    Tone,
    items,
    quiet,
    say_all,
    status,
)
from fitgraph.report.cautions_told import cautions_on
from fitgraph.report.hints import Hints
from fitgraph.report.made_parts import ENQUIRIES, called, room_text, sizes_text
from fitgraph.report.tables import Column, Table
from fitgraph.report.unasked import unasked_data, unasked_lines
from fitgraph.report.values import (
    COUNT,
    FINE_SHARE,
    FLAG,
    LENGTH,
    LIST,
    MASS,
    THOUSANDS,
    money_of,
    number,
)
from fitgraph.wording import capital, plural

#: A part of any size serves as long as nothing bounds it; JSON has no infinity.
_ENDLESS_MM = 1e6

#: Enquiries that cannot be asked of which people are told.
_UNASKED = 10


def cautions(found: Proposals) -> tuple[str, ...]:
    """Return the cautions that travel with proposals."""
    topics = (s.make.caution for s in found.scans)
    return (PROPOSAL, *cautions_on(found.catalogue.vocabulary, topics))


def _beside(worth: Worth, vocabulary: Vocabulary) -> dict[str, Any]:
    """Return what JSON has of a part beside its row of the table."""
    candidate = worth.candidate
    classes = {f.size: f.klass for f in candidate.make.free}
    sizes = {}
    for reference, nominal in candidate.sizes.items():
        made = candidate.part.features[reference.feature or ""].lengths[reference.name]
        sizes[f"{reference.feature}.{reference.name}"] = {
            "nominal_mm": number(nominal),
            "least_mm": number(made.lo),
            "most_mm": number(made.hi),
            "class": classes[reference] or None,
            "gauge": reference in candidate.standard,
        }
    return {
        "sizes": sizes,
        "words": {f"{r.feature}.{r.name}": word for r, word in candidate.words.items()},
        "currency": vocabulary.currency,
        "shared": worth.shared,
    }


def data(found: Proposals, files: Sequence[Path] = (), saved: Path | None = None) -> dict[str, Any]:
    """Return the answer in the shape that docs/commands.md describes."""
    parts, together = tables(found)
    vocabulary = found.catalogue.vocabulary
    rows = zip(parts.entries(), found.listed, strict=True)
    return {
        "enquiries": number(found.scans[0].total),
        "covered": number(found.scans[0].covered),
        "looked_at": {s.make.name: len(s.worths) for s in found.scans},
        "parts": [row | _beside(worth, vocabulary) for row, (_, worth) in rows],
        "together": together.entries(),
        "first_assemblies": _assemblies(found, found.listed[0][1]) if found.listed else None,
        "files": [str(file) for file in files],
        "saved": None if saved is None else str(saved),
        "cautions": list(cautions(found)),
        "left_out": unasked_data(found.scans[0].left_out),
        "refused": [{"make": make.name, "why": why} for make, why in found.refused],
    }


def tables(
    found: Proposals, files: Sequence[Path] = (), saved: Path | None = None
) -> tuple[Table, ...]:
    """Return the parts, and the best few together; files that were written are no rows."""
    vocabulary = found.catalogue.vocabulary
    money, worths = money_of(vocabulary), [worth for _, worth in found.listed]
    parts = Table.of(
        "parts",
        worths,
        (Column("sku"), lambda worth: worth.candidate.part.sku),
        (Column("make"), lambda worth: worth.candidate.make.name),
        (Column("role"), lambda worth: worth.candidate.make.role),
        *_figures(vocabulary),
        (Column("price", money), lambda worth: worth.candidate.make.price),
        (Column("mass_g", MASS), lambda worth: worth.candidate.part.mass_g),
        (Column("slack_mm", LENGTH), lambda worth: min(worth.candidate.slack_mm, _ENDLESS_MM)),
    )
    together = Table.of(
        "together",
        found.together,
        (Column("count", COUNT), lambda t: len(t.worths)),
        (Column("parts", LIST), lambda t: [w.candidate.part.sku for w in t.worths]),
        (Column("gained", THOUSANDS), lambda t: t.gained),
        (Column("covered", THOUSANDS), lambda t: t.coverage),
        (Column("paired", THOUSANDS), lambda t: t.paired),
        (Column("bound", THOUSANDS), lambda t: t.choice.bound),
        (Column("gap", FINE_SHARE), lambda t: t.choice.gap),
        (Column("proven", FLAG), lambda t: t.choice.proven),
        (Column("cost", money), lambda t: t.choice.cost),
    )
    return (parts, together)


def _figures(vocabulary: Vocabulary) -> list[tuple[Column, Callable[[Worth], Any]]]:
    """Return the columns of what parts are worth, each on its own."""
    money = money_of(vocabulary)
    freed = replace(money, shown=lambda value: vocabulary.money(value) if value else "–")
    return [
        (Column("gained", THOUSANDS, "newly served"), lambda worth: worth.gained),
        (Column("served", THOUSANDS, "in all"), lambda worth: worth.served),
        (Column("taken", THOUSANDS, "from its like"), lambda worth: worth.taken),
        (Column("builds", COUNT), lambda worth: worth.builds),
        (Column("released", LIST), lambda worth: worth.released),
        (Column("released_value", freed, "frees stock"), lambda worth: worth.released_value),
        (Column("cost", money), cost),
    ]


def _called(found: Proposals, worth: Worth) -> str:
    """Return what people call a part: its sizes, after what is made where that is not one thing."""
    one, role = worth.candidate, found.catalogue.vocabulary.roles[worth.candidate.make.role]
    return one.by_size if len(found.scans) == 1 else f"{role.title} {one.by_size}"


def _worths_table(named: Sequence[tuple[str, Worth]], vocabulary: Vocabulary) -> Table:
    """Return what parts are worth, each on its own, by what they are called."""
    names = {worth.candidate.part.sku: name for name, worth in named}
    part = Column("part"), lambda worth: names[worth.candidate.part.sku]
    worths = [worth for _, worth in named]
    return Table.of("parts", worths, part, *_figures(vocabulary)).without("released")


def now_text(scan: Scan, *, in_stock: bool) -> str:
    """Return how many enquiries are served without a part that nobody makes yet."""
    if not scan.total:
        return "This catalogue holds no enquiries, so nothing says whom a part would serve"
    by = "from stock" if in_stock else "by what is sold, in stock or to order"
    are = "is" if scan.total == 1 else "are"
    return f"{scan.covered:,g} of {plural(scan.total, *ENQUIRIES)} {are} served now {by}"


def _first(found: Proposals, worth: Worth) -> tuple[Say, ...]:
    best = worth.candidate
    sizes, mass = sizes_text(best, found.catalogue.vocabulary), MASS.show(best.part.mass_g or 0.0)
    texts = [f"The first: {best.part.name}, {sizes}, {mass}."]
    texts.append(f"{capital(room_text(best))}.")
    if best.standard:
        words = found.catalogue.vocabulary
        names = " and ".join(f"{size_title(r, words)} {best.sizes[r]:g} mm" for r in best.standard)
        texts.append(f"The workshop has gauges for it: {names}.")
    whole = found.wholes(worth)
    text = f"All {worth.builds:,} builds with it assemble at the worst sizes"
    if worth.builds == 1:
        text = "The one build with it assembles at the worst sizes"
    if whole.certain_builds:
        text += f"; of {whole.certain_builds} drawn, {whole.certain:.1%} of assemblies go together"
    texts.append(f"{text}.")
    if whole.telling:
        texts.append(
            f"Of assemblies in {plural(whole.possible_builds, 'build')} drawn from all that may "
            f"fit, {whole.possible:.1%} do."
        )
    return say_all(texts)


def _assemblies(found: Proposals, worth: Worth) -> dict[str, Any]:
    """Return the yield of whole assemblies of one part, which takes a while to draw."""
    whole = found.wholes(worth)
    return {
        "sku": worth.candidate.part.sku,
        "certain": number(whole.certain) if whole.certain_builds else None,
        "certain_drawn": whole.certain_builds,
        "possible": number(whole.possible) if whole.telling else None,
        "possible_drawn": whole.possible_builds,
    }


def _served_text(step: Together, total: float) -> str:
    """Return what parts serve together, behind how many that are in all, with the proof."""
    choice = step.choice
    proof = "proven" if choice.proven else f"none can gain more than {choice.bound:,g}"
    paired = f", {step.paired:,g} with two of these in one build" if step.paired else ""
    share = f" ({step.coverage / total:.1%})" if total else ""
    return (
        f" of {plural(total, *ENQUIRIES)} served{share}, {step.gained:,g} new{paired}; gap "
        f"{choice.gap:.1%}, {proof}"
    )


#: What a choice of some parts is proven by.
_PROOF = "Gap: how much more another choice of so many could serve at most; proven: none does."


def _frontier(now: float, steps: Sequence[Together], k: int | None = None) -> Picture:
    """Return how many the best few parts serve, against how few they are, `k` of them marked."""
    served = (now, *(s.coverage for s in steps))
    beyond = "more parts serve nobody new" if k is not None and k >= len(served) else ""
    chart = partial(
        line_chart_svg,
        "Served by the best few parts together",
        "Parts made",
        "Served in all",
        [str(n) for n in range(len(served))],
        [Series("served", served, tuple(f"{n:,g}" for n in served))],
        marked=None if k is None else min(k, len(served) - 1),
        meaning=beyond or ("" if k is None else "as many as were asked for"),
        sign="hexagon",
    )
    return Picture(chart, "", partial(chart, narrow=True))


def best_few(scan: Scan, steps: Sequence[Together], k: int, *, in_stock: bool) -> tuple[Block, ...]:
    """Return the best choice of so many parts, with its proof, and what fewer and more serve.

    Parameters
    ----------
    scan : Scan
        Says how many enquiries there are, and how many are served without.
    steps : sequence of Together
        The best one, the best two and so on.
    k : int
        How many parts may be made.
    in_stock : bool
        Whether enquiries are served from stock only.
    """
    now = now_text(scan, in_stock=in_stock)
    useful = [step for step in steps if step.worths]
    if not scan.total:
        return (Say(f"{now}; builds and stranded stock are counted all the same."),)
    if not useful:
        return (Say(f"{now}, and none of these parts serves another."),)
    step = useful[min(k, len(useful)) - 1]
    count = len(step.worths)
    are = plural(count, "part is", "parts are")
    enough = Say(f"{are} enough: a further one serves nobody new.")
    named = [(f"{n}. {called(w.candidate)}", w) for n, w in enumerate(step.worths, start=1)]
    table = _worths_table(named, scan.catalogue.vocabulary)
    alone = table.without("served", "builds", "released_value")
    return (
        status(f"{_served_text(step, scan.total)}.", lead=f"{step.coverage:,g}"),
        *([enough] if k > count else []),
        quiet(_PROOF),
        replace(alone, title="What each of them serves alone", whole=True),
        _frontier(scan.covered, useful, k),
    )


#: What the figures of a part mean, in the order in which they stand.
_FIGURES = (
    "Newly served: enquiries that nothing serves now; in all: with those that something else "
    "serves too; from its like: those of them that an existing part for its role serves; frees "
    "stock: held parts that have no use now, at selling prices."
)


def _rest(found: Proposals, hints: Hints) -> tuple[Say, ...]:
    """Return what is not listed, and why."""
    listed = {w.candidate.part.sku for _, w in found.listed}
    joining = [w for s in found.scans for w in s.worths if w.builds]
    more = sum(w.candidate.part.sku not in listed for w in joining)
    if not more:
        return ()
    text = (
        f"{plural(more, 'other')} could be made ({hints.option('limit')}); one that would newly "
        "serve only whom a part above does is passed over."
    )
    return (Say(text, Tone.QUIET, deep=1),)


def report(
    found: Proposals,
    files: Sequence[Path],
    saved: Path | None,
    hints: Hints,
) -> Report:
    """Return the answer for people."""
    scan, vocabulary = found.scans[0], found.catalogue.vocabulary
    headline = f"{now_text(scan, in_stock=found.in_stock)}."
    left_out = unasked_lines(scan.left_out, _UNASKED)
    left_out += tuple(Say(f"{capital(m.title)}: not weighed, {why}.") for m, why in found.refused)
    if not found.listed:
        return Report(headline, (Say("Nothing that could be made joins a build."), *left_out))
    first = _first(found, found.listed[0][1])
    figures = Say(_FIGURES, Tone.QUIET, deep=1)
    worths = _worths_table([(_called(found, w), w) for _, w in found.listed], vocabulary)
    shown: list[Block] = [worths, figures, *_rest(found, hints), *first]
    pieces: list[Block] = [Section("Worth making, each on its own", tuple(shown))]
    if found.together:
        told = [
            f"{'; '.join(_called(found, w) for w in step.worths)}: {step.coverage:,g}"
            f"{_served_text(step, scan.total)}"
            for step in found.together
        ]
        proof = Say(_PROOF, Tone.QUIET, deep=1)
        served = (items(told, numbered=True), proof, _frontier(scan.covered, found.together))
        pieces.append(Section("The best together", served))
    if files:
        pieces.append(Section(f"{plural(len(files), 'file')} in {files[0].parent}", ()))
    if saved is not None:
        pieces.append(Section(f"A copy of the catalogue that has them: {saved}", ()))
    return Report(headline, (*pieces, *left_out), cautions(found))
