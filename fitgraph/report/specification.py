"""The specification sheet of a part that could be made: its drawing, sizes, facts and mates."""

from __future__ import annotations

from collections.abc import Sequence

from fitgraph.adapters.mates import Mate
from fitgraph.adapters.sheet import SpecSheet
from fitgraph.draw.drafting import drawing, size_text
from fitgraph.draw.drafting_svg import sheet_svg
from fitgraph.explain.words import hold_text
from fitgraph.mechanics.materials import MATERIALS
from fitgraph.model import Verdict
from fitgraph.report.as_html import page
from fitgraph.report.blocks import Block, Picture, Report, Say, Section, Tone
from fitgraph.report.made_parts import facts_table, making_rows, worth_rows
from fitgraph.report.tables import Column, Table
from fitgraph.wording import plural

#: Mating parts listed in print; the page has them all.
_PRINTED = 60


def title(sheet: SpecSheet) -> str:
    """Return what a sheet is called."""
    return f"{sheet.part.name}, {sheet.part.sku}"


def sheet_blocks(sheet: SpecSheet) -> tuple[Block, ...]:
    """Return the drawing of a sheet, the sizes, the facts and all mating parts."""
    return (Picture(lambda: sheet_svg(drawing(sheet)), ""), *_words(sheet))


def _words(sheet: SpecSheet, most: int | None = None) -> tuple[Block, ...]:
    mates = mates_table(sheet)
    left = 0 if most is None else len(mates.rows) - most
    rest = (Say(f"and {left:,} more, in the page.", Tone.QUIET),) if left > 0 else ()
    return (
        Section("Dimensions in mm", (sizes_table(sheet),)),
        Section("The part", (facts_table(facts(sheet)),)),
        Section("Mating parts", (mates.first(most), *rest)),
    )


def report(sheet: SpecSheet) -> Report:
    """Return a specification sheet as it is handed over: what the part is worth, then the sheet."""
    return Report("", (_worth(sheet), *sheet_blocks(sheet)), sheet.cautions)


def sheet_html(sheet: SpecSheet) -> str:
    """Return a specification sheet as a page that needs nothing else."""
    return str(page(report(sheet), title(sheet)))


def sheet_pdf(sheet: SpecSheet) -> bytes:
    """Return a specification sheet as a PDF: the drawing to scale, then what has to be known."""
    made = drawing(sheet)
    told = Report("", (_worth(sheet), *_words(sheet, _PRINTED)), sheet.cautions)
    from fitgraph.draw.drafting_pdf import draw_sheet
    from fitgraph.report.as_pdf import pdf

    return pdf(told, title(sheet), lambda paper, letters: draw_sheet(paper, made, letters))


def _worth(sheet: SpecSheet) -> Section:
    rows = worth_rows(sheet.worth, sheet.catalogue, len(sheet.gained))
    return Section("What it is worth", (facts_table(rows),))


def facts(sheet: SpecSheet) -> list[tuple[str, str]]:
    """Return what is to be said of a part in pairs of a name and a text."""
    found = [
        ("Stock number", sheet.part.sku),
        ("Material", _material(sheet)),
        ("Made by", sheet.make.process),
        *making_rows(sheet.worth.candidate, sheet.catalogue.vocabulary),
    ]
    if sheet.shape.bore is not None:
        found.append(
            (
                "Wall thickness",
                f"{sheet.shape.least_wall:.2f} mm at the worst sizes; "
                f"{sheet.make.least_wall:g} mm is the least for this process",
            )
        )
    found.append(("Surface", _surface(sheet)))
    if sheet.closure is not None:
        found.append(("Slot", _closure(sheet)))
    if sheet.holds:
        found.append(("Clamp, weakest of the cheapest builds", hold_text(sheet.holds[0])))
    found.append(("Expected yield", _yields(sheet)))
    return found


def _material(sheet: SpecSheet) -> str:
    material = MATERIALS[sheet.make.material]
    if not material.designation:
        return material.title
    return f"{material.title}: {material.designation}, {material.standards}"


def _surface(sheet: SpecSheet) -> str:
    """Return what the drawing says of faces, ends and axes."""
    work, hollow = sheet.make.work, sheet.shape.bore is not None
    smooth = [f"outside Ra {work.roughness_outside:g}", f"elsewhere Ra {work.roughness_rest:g} µm"]
    if hollow:
        smooth.insert(0, f"bore Ra {work.roughness_bore:g}")
    texts = [", ".join(smooth)]
    if hollow and work.coaxiality:
        texts.append(f"outside coaxial to the bore within Ø{work.coaxiality:g} mm")
    ends = [("outside", work.chamfer_outside)]
    if hollow:
        ends.insert(0, ("bore", work.chamfer_bore))
    if any(size for _, size in ends):
        lead_ins = " and ".join(f"{name} {size:g} mm" for name, size in ends if size)
        texts.append(f"lead-ins at both ends, {lead_ins} at 45 degrees")
    if work.finish:
        texts.append(work.finish)
    return "; ".join(texts)


def _closure(sheet: SpecSheet) -> str:
    closure = sheet.closure
    assert closure is not None
    text = (
        f"closes {closure.slot_gives:.2f} mm of diameter; the widest counterpart takes "
        f"{closure.needed:.2f} mm"
    )
    if closure.springs_back is None:
        return text
    if closure.elastic:
        return f"{text}; it springs back up to {closure.springs_back:.2f} mm"
    return f"{text}; beyond {closure.springs_back:.2f} mm it stays bent"


def _yields(sheet: SpecSheet) -> str:
    y = sheet.yields
    counterparts = plural(y.certain, "counterpart fits", "counterparts fit")
    text = f"{counterparts} for certain"
    if y.possible:
        text += f", {y.possible} more in some pairs"
    text += (
        f"; {y.pairs:.1%} of all these pairs go together, {y.twice:.1%} if the process holds the "
        "sizes only half as well"
    )
    whole = sheet.wholes
    if whole.certain_builds:
        text += f"; of whole assemblies {whole.certain:.1%} in builds that certainly fit"
    if whole.telling:
        joined = " and" if whole.certain_builds else "; of whole assemblies"
        text += f"{joined} {whole.possible:.1%} in all that may fit"
    return text


def _share(mate: Mate) -> str:
    if mate.verdict is Verdict.FITS:
        return "certain"
    return f"{mate.share:.0%} of pairs" if mate.share else "if it has a slot"


def sizes_table(sheet: SpecSheet) -> Table:
    """Return the dimensions with their limits and classes."""
    rows = tuple(
        (
            size.title,
            size_text(size, diameter=False),
            f"{size.dimension.lo:.3f}",
            f"{size.dimension.hi:.3f}",
            "chosen" if size.free else "fixed",
        )
        for size in sheet.sizes
    )
    if isinstance(sheet.make.length, float):
        length = f"{sheet.make.length:g}"
        general = f"ISO 2768-1-{sheet.make.work.tolerances}"
        rows += (("length", length, "", "", general),)
    heads = ("dimension", "size", "least", "most")
    return Table("sizes", (*map(Column, heads), Column("chosen", title="")), rows)


def mates_table(sheet: SpecSheet) -> Table:
    """Return the mating parts, certain ones first."""
    services = sheet.catalogue.vocabulary.services

    def worked(mate: Mate) -> str:
        part, work = mate.option.part, mate.option.services
        called = "" if part is None else part.called
        return " + ".join((called, *(services[s].title for s in work)))

    ordered: Sequence[Mate] = sorted(
        sheet.mates,
        key=lambda m: (m.joint.name, m.verdict is not Verdict.FITS, -m.share, m.option.label),
    )
    return Table.of(
        "mates",
        ordered,
        (Column("joint"), lambda mate: mate.joint.title),
        (Column("part"), worked),
        (
            Column("difference", title="difference, mm"),
            lambda mate: f"{mate.clearance[0]:.2f} to {mate.clearance[1]:.2f}",
        ),
        (Column("kind"), lambda mate: f"{mate.fit} fit" if mate.fit else ""),
        (Column("fits"), _share),
    )
