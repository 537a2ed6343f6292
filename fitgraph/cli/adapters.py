"""``fitgraph adapters``: which parts are worth making, the best few together, their sheets."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager, nullcontext
from importlib.util import find_spec
from math import isfinite
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from fitgraph.cli.options import AsJson, CatalogueFolder
from fitgraph.cli.output import (
    ANSWER,
    NO,
    BadInputError,
    caution_lines,
    cautions_on,
    number,
    remark,
    screen,
    show,
    show_json,
    styled,
)
from fitgraph.cli.reading import read, remark_findings
from fitgraph.units import major, show_mass, show_money

if TYPE_CHECKING:
    from rich.console import RenderableType

    from fitgraph.adapters import Scan, Together, Worth
    from fitgraph.adapters.scan import Progress
    from fitgraph.model import Catalogue, Make

#: More parts than this are not chosen together.
MOST_TOGETHER = 20

#: What is said wherever a part is proposed.
PROPOSAL = (
    "Worked out from the figures of the catalogue: measure the counterparts and try one before "
    "a lot is made. Costs are estimates from the stated model."
)


def makes_of(catalogue: Catalogue, role: str | None) -> list[Make]:
    """Return what could be made, of one role or make if it is named.

    Raises
    ------
    BadInputError
        If the vocabulary says of nothing how it is made, or not of this.
    """
    makes = catalogue.vocabulary.makes
    if not makes:
        raise BadInputError(
            "this vocabulary does not say what could be made; add a [make.NAME] table "
            "(docs/catalogue.md)"
        )
    if role is None:
        return list(makes.values())
    found = [m for m in makes.values() if role.strip().lower() in (m.name.lower(), m.role.lower())]
    if not found:
        raise BadInputError(f"--role {role!r} cannot be made; use one of {', '.join(makes)}")
    return found


@contextmanager
def _progress(title: str) -> Iterator[Progress | None]:
    """Show how far a scan is, on a terminal only."""
    console = screen(error=True)
    if not console.is_terminal:
        yield None
        return
    from rich.progress import Progress as Bar

    with Bar(console=console, transient=True) as bar:
        task = bar.add_task(title, total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)


def listed(scans: Sequence[Scan], limit: int) -> list[tuple[Scan, Worth]]:
    """Return the first of all parts; one whose gain lies within a listed one's is passed over."""
    import numpy as np

    ranked = [(s, w, s.serves[:, n] & ~s.before) for s in scans for n, w in enumerate(s.worths)]
    ranked.sort(key=lambda entry: (-entry[1].gained, entry[1].shared - entry[1].builds))
    found: list[tuple[Scan, Worth]] = []
    told: list[Any] = []
    for scan, worth, gains in ranked:
        if len(found) == limit or not worth.builds:
            continue
        if gains.any() and any(not (gains & ~other).any() for other in told):
            continue
        found.append((scan, worth))
        told.append(gains if gains.any() else np.zeros(len(gains), dtype=bool))
    return found


def gained_rows(scans: Sequence[Scan], worth: Worth) -> list[str]:
    """Return the numbers of the enquiries that one part alone would serve."""
    return [number for scan in scans for number in scan.gained_by(worth)]


def _worth_json(scan: Scan, worth: Worth) -> dict[str, Any]:
    from fitgraph.adapters.best_k import cost

    candidate, vocabulary = worth.candidate, scan.catalogue.vocabulary
    digits = vocabulary.minor_digits
    classes = {f.size: f.klass for f in scan.make.free}
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
        "sku": candidate.part.sku,
        "make": scan.make.name,
        "role": scan.make.role,
        "sizes": sizes,
        "words": {f"{r.feature}.{r.name}": word for r, word in candidate.words.items()},
        "mass_g": number(candidate.part.mass_g),
        "price": major(scan.make.price, digits),
        "cost": major(cost(worth), digits),
        "currency": vocabulary.currency,
        "gained": number(worth.gained),
        "served": number(worth.served),
        "taken": number(worth.taken),
        "builds": worth.builds,
        "shared": worth.shared,
        "released": list(worth.released),
        "released_value": major(worth.released_value, digits),
        "slack_mm": number(min(candidate.slack_mm, 1e6)),
    }


def _assemblies_json(scan: Scan, worth: Worth) -> dict[str, Any]:
    """Return the yield of whole assemblies of one part, which takes a while to draw."""
    from fitgraph.adapters import whole_yield

    whole = whole_yield(scan.catalogue, worth.candidate.part)
    return {
        "sku": worth.candidate.part.sku,
        "certain": number(whole.certain) if whole.certain_builds else None,
        "certain_drawn": whole.certain_builds,
        "possible": number(whole.possible) if whole.telling else None,
        "possible_drawn": whole.possible_builds,
    }


def _together_json(found: Together, digits: int) -> dict[str, Any]:
    return {
        "parts": [w.candidate.part.sku for w in found.worths],
        "gained": number(found.gained),
        "covered": number(found.coverage),
        "bound": number(found.choice.bound),
        "gap": number(found.choice.gap),
        "proven": found.choice.proven,
        "cost": major(round(found.choice.cost), digits),
    }


def as_json(
    scans: Sequence[Scan],
    shown: Sequence[tuple[Scan, Worth]],
    steps: Sequence[Together],
    files: Sequence[Path],
    saved: Path | None,
) -> dict[str, Any]:
    """Return the answer in the shape that docs/commands.md describes."""
    vocabulary = scans[0].catalogue.vocabulary
    return {
        "enquiries": number(scans[0].total),
        "covered": number(scans[0].covered),
        "looked_at": {s.make.name: len(s.worths) for s in scans},
        "parts": [_worth_json(scan, worth) for scan, worth in shown],
        "first_assemblies": _assemblies_json(*shown[0]) if shown else None,
        "together": [_together_json(step, vocabulary.minor_digits) for step in steps],
        "files": [str(file) for file in files],
        "saved": None if saved is None else str(saved),
        "cautions": [PROPOSAL, *_cautions(scans)],
    }


def _cautions(scans: Sequence[Scan]) -> list[str]:
    return cautions_on(scans[0].catalogue.vocabulary, (s.make.caution for s in scans))


def _lines(
    scans: Sequence[Scan],
    shown: Sequence[tuple[Scan, Worth]],
    steps: Sequence[Together],
    files: Sequence[Path],
    saved: Path | None,
    where: str,
) -> list[RenderableType]:
    from rich.table import Table

    from fitgraph.adapters.best_k import cost

    vocabulary = scans[0].catalogue.vocabulary

    def money(minor: float) -> str:
        return show_money(round(minor), vocabulary.currency, vocabulary.minor_digits)

    total, covered = scans[0].total, scans[0].covered
    lines: list[RenderableType] = [
        styled(f"{covered:,g} of {total:,g} enquiries are served by the {where}.", "bold")
    ]
    if not shown:
        return [*lines, styled("Nothing that could be made joins a build.")]
    table = Table.grid(padding=(0, 2, 0, 0))
    table.add_column(no_wrap=True)
    for _ in range(6):
        table.add_column(justify="right", no_wrap=True)
    heads = ("  part", "gains", "serves", "takes", "builds", "frees", "cost")
    table.add_row(*(styled(h, "dim") for h in heads))
    for _, worth in shown:
        table.add_row(
            styled(f"  {worth.candidate.part.sku}"),
            styled(f"{worth.gained:,g}"),
            styled(f"{worth.served:,g}"),
            styled(f"{worth.taken:,g}"),
            styled(f"{worth.builds:,}"),
            styled(money(worth.released_value) if worth.released else "–"),
            styled(money(cost(worth))),
        )
    lines += ["", styled("Worth making, each on its own"), table]
    best = shown[0][1].candidate
    details = [
        f"{r.feature} {best.part.features[r.feature or ''].lengths[r.name].text}"
        for r in best.sizes
    ]
    mass = show_mass(best.part.mass_g or 0.0)
    lines.append(styled(f"  The first: {best.part.name}, {', '.join(details)}, {mass}."))
    lines += [styled(f"  {line}") for line in _of_the_first(*shown[0])]
    if steps:
        lines += ["", styled("The best together")]
        for k, step in enumerate(steps, start=1):
            parts = ", ".join(w.candidate.part.sku for w in step.worths)
            proof = "proven" if step.choice.proven else f"within {step.choice.gap:.1%}"
            lines.append(
                styled(
                    f"  {k}: {step.coverage:,g} of {total:,g} ({step.coverage / total:.1%}, "
                    f"{proof})  {parts}"
                )
            )
    if files:
        lines += ["", styled(f"{len(files)} files in {files[0].parent}")]
    if saved is not None:
        lines += ["", styled(f"A copy of the catalogue that has them: {saved}")]
    return [*lines, *caution_lines([PROPOSAL, *_cautions(scans)])]


def _of_the_first(scan: Scan, worth: Worth) -> Iterator[str]:
    """Yield what to know of the first part: how snug, which gauges, how much goes together."""
    from fitgraph.adapters import whole_yield

    candidate = worth.candidate
    if candidate.tightens:
        yield "Snug: the tightest that its counterparts still slide on and into at the worst sizes."
    elif isfinite(candidate.slack_mm):
        yield f"Its sizes may shift by {candidate.slack_mm:.2f} mm before a counterpart is lost."
    if candidate.standard:
        names = " and ".join(f"{r.feature} {candidate.sizes[r]:g} mm" for r in candidate.standard)
        yield f"The workshop has gauges for it: {names}."
    whole = whole_yield(scan.catalogue, candidate.part)
    yield f"All {worth.builds:,} builds with it assemble at the worst sizes."
    if whole.certain_builds:
        yield (
            f"At random sizes {whole.certain:.1%} of assemblies go together, in "
            f"{whole.certain_builds} of them drawn."
        )
    if whole.telling:
        yield (
            f"Of assemblies in {whole.possible_builds} builds drawn from all that may fit, "
            f"{whole.possible:.1%} do."
        )


def write_sheets(scans: Sequence[Scan], worths: Sequence[Worth], folder: Path) -> list[Path]:
    """Write the sheets of some parts: a page, the drawing, a print and exchange files.

    Each file appears whole or not at all. The solid comes only where a CAD kernel is installed.

    Raises
    ------
    BadInputError
        If ezdxf is not installed.
    """
    if find_spec("ezdxf") is None:
        raise BadInputError("--sheet needs ezdxf: pip install 'fitgraph[sheets]'")
    from fitgraph.adapters import sheet
    from fitgraph.draw.drafting import drawing
    from fitgraph.draw.drafting_dxf import write_dxf
    from fitgraph.draw.drafting_svg import sheet_svg
    from fitgraph.draw.sheet_html import sheet_html
    from fitgraph.draw.sheet_pdf import sheet_pdf
    from fitgraph.draw.sheet_step import can_write_step, write_step
    from fitgraph.files import write_bytes_whole

    def put(base: Path, ending: str, content: bytes) -> Path:
        path = base.with_name(f"{base.name}.{ending}")
        write_bytes_whole(path, content)
        return path

    folder.mkdir(parents=True, exist_ok=True)
    files = []
    for worth in worths:
        made = sheet(scans[0].catalogue, worth, gained_rows(scans, worth))
        base = folder / worth.candidate.part.sku
        drafted = drawing(made)
        files += [
            put(base, "svg", sheet_svg(drafted).encode()),
            put(base, "html", sheet_html(made).encode()),
            put(base, "pdf", sheet_pdf(made)),
        ]
        dxf, step = (base.with_name(f"{base.name}.{ending}") for ending in ("dxf", "step"))
        write_dxf(drafted, dxf)
        files.append(dxf)
        if can_write_step():
            write_step(made, step)
            files.append(step)
    return files


def adapters(
    catalogue: CatalogueFolder = None,
    role: Annotated[
        str | None, typer.Option("--role", metavar="R", help="Only parts of this role.")
    ] = None,
    k: Annotated[
        int, typer.Option("--k", min=1, max=MOST_TOGETHER, help="How many may be made.")
    ] = 3,
    in_stock: Annotated[
        bool, typer.Option("--in-stock", help="Serve enquiries from stock only.")
    ] = False,
    limit: Annotated[int, typer.Option(min=1, max=200, help="How many to list.")] = 8,
    sheet: Annotated[
        Path | None,
        typer.Option("--sheet", metavar="DIR", help="Write the sheets of the best K there."),
    ] = None,
    save: Annotated[
        Path | None,
        typer.Option(
            "--save", metavar="DIR", help="Write a copy of the catalogue that has the best K."
        ),
    ] = None,
    workers: Annotated[
        int, typer.Option(metavar="N", min=1, max=64, help="Processes to share the work.")
    ] = 1,
    json: AsJson = False,
) -> None:
    """Find the parts worth making: what they would serve, and the best few together."""
    from fitgraph.adapters import frontier, save_with, scan
    from fitgraph.catalogue import demo_folder
    from fitgraph.solve import TreeEngine

    loaded = read(catalogue)
    makes = makes_of(loaded.catalogue, role)
    for name, folder in (("--sheet", sheet), ("--save", save)):
        if folder is not None and folder.is_file():
            raise BadInputError(f"{name} {folder} is a file; name a folder")
    if save is not None and save.exists():
        raise BadInputError(f"--save {save} exists; name a new folder")
    engine = TreeEngine(loaded.catalogue)
    scans = []
    with nullcontext() if workers == 1 else ProcessPoolExecutor(workers) as executor:
        for make in makes:
            with _progress(make.title) as progress:
                scans.append(
                    scan(
                        loaded.catalogue,
                        make,
                        in_stock=in_stock,
                        executor=executor,
                        progress=progress,
                        engine=engine,
                    )
                )
    shown = listed(scans, limit)
    steps = list(frontier(scans, k))
    steps = [s for s in steps if s.worths]
    chosen = list(steps[-1].worths) if steps else [w for _, w in shown[:k]]
    files = []
    if sheet is not None:
        files = write_sheets(scans, chosen, sheet)
        from fitgraph.draw.sheet_step import GET_STEP, can_write_step

        if not can_write_step():
            remark(GET_STEP)
    if save is not None:
        folder = demo_folder() if catalogue is None else catalogue
        save_with(folder, save, loaded.catalogue, [w.candidate.part for w in chosen])
    if json:
        show_json(as_json(scans, shown, steps, files, save))
    else:
        where = "stock" if in_stock else "catalogue"
        show(*_lines(scans, shown, steps, files, save, where))
        remark_findings(loaded, catalogue)
    raise typer.Exit(ANSWER if shown else NO)
