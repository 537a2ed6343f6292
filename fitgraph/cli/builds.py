"""``fitgraph builds``: how many builds there are, and the first of them."""

from __future__ import annotations

import shlex
from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from fitgraph.cli.options import AsJson, CatalogueFolder, read_budget, read_mass
from fitgraph.cli.output import (
    ANSWER,
    NO,
    caution_lines,
    cautions_on,
    number,
    show,
    show_json,
    styled,
    terminal_width,
)
from fitgraph.cli.reading import read, remark_findings
from fitgraph.units import major, show_mass, show_money

if TYPE_CHECKING:
    from rich.console import RenderableType

    from fitgraph.model import Option, Vocabulary
    from fitgraph.solve import Request, TreeEngine
    from fitgraph.solve.engine import Build
    from fitgraph.solve.limits import Counted

#: More builds than this are a job for the package, not for a list.
MOST_LISTED = 1000


class Sort(StrEnum):
    """What builds are sorted by."""

    PRICE = "price"
    MASS = "mass"
    STRENGTH = "strength"


class Work(StrEnum):
    """To which parts the workshop may do work."""

    NONE = "none"
    OWNED = "owned"
    ANY = "any"


_FIRST = {Sort.PRICE: "cheapest", Sort.MASS: "lightest", Sort.STRENGTH: "strongest"}


@dataclass(frozen=True, slots=True)
class Found:
    """An answer to "what builds are there?".

    Parameters
    ----------
    vocabulary : Vocabulary
        Whose words and currency are used.
    sort : Sort
        The order of the builds.
    count : Counted
        How many there are.
    possible : int or None
        How many hold or may hold; None where it was not counted.
    builds : tuple of Build
        The first of them.
    """

    vocabulary: Vocabulary
    sort: Sort
    count: Counted
    possible: int | None
    builds: tuple[Build, ...]

    @property
    def none(self) -> bool:
        """Whether there is no build at all."""
        return self.count.most == 0

    @property
    def cautions(self) -> list[str]:
        """Return the cautions that travel with these builds."""
        if not self.builds:
            return []
        services = [s for b in self.builds for _, s in b.services]
        strength = ["strength"] if any(b.strength_nm is not None for b in self.builds) else []
        return cautions_on(
            self.vocabulary,
            [*(self.vocabulary.services[s].caution for s in services), *strength],
        )


def find(engine: TreeEngine, request: Request, *, sort: Sort, limit: int) -> Found:
    """Return how many builds there are and the first of them.

    Parameters
    ----------
    engine : TreeEngine
        A compiled catalogue.
    request : Request
        The question.
    sort : Sort
        Cheapest, lightest or strongest first.
    limit : int
        How many are listed; 0 only counts.
    """
    from fitgraph.solve.limits import exactly

    best = engine.best(request, sort=sort.value, limit=max(limit, 1))
    count = engine.count(request) if best else exactly(0)
    limited = request.budget is not None or request.max_mass_g is not None
    possible = None
    if not limited or not best:
        counted = engine.count_possible(request)
        possible = counted.number if counted.exact else None
    return Found(
        engine.catalogue.vocabulary, sort, count, possible, tuple(best[:limit] if limit else ())
    )


def as_json(found: Found) -> dict[str, Any]:
    """Return the answer in the shape that docs/commands.md describes."""
    count, vocabulary = found.count, found.vocabulary
    answer: dict[str, Any] = {"count": count.number, "exact": count.exact}
    if not count.exact:
        answer["count_between"] = [count.least, count.most]
        answer["confidence"] = number(count.confidence)
    answer["possible"] = found.possible
    answer["sort"] = found.sort.value
    answer["builds"] = [
        {
            "parts": build.parts,
            "services": [{"sku": sku, "service": service} for sku, service in build.services],
            "price": major(build.price, vocabulary.minor_digits),
            "currency": vocabulary.currency,
            "mass_g": number(build.mass_g),
            "strength": number(build.strength_nm),
        }
        for build in found.builds
    ]
    answer["cautions"] = found.cautions
    return answer


def _many(count: int) -> str:
    return "1 build" if count == 1 else f"{count:,} builds"


def _headline(found: Found) -> str:
    count = found.count
    if count.exact:
        return f"{_many(count.number)}."
    return (
        f"About {_many(count.number)} (between {count.least:,} and {count.most:,}, "
        f"with {count.confidence:.0%} confidence)."
    )


def _part(option: Option | None, vocabulary: Vocabulary) -> str:
    """Return a part with the work that is done to it."""
    if option is None or option.part is None:
        return "\N{EN DASH}"
    return " + ".join((option.part.sku, *(vocabulary.services[s].title for s in option.services)))


def _columns(found: Found, owned: frozenset[str]) -> tuple[list[tuple[str, str]], list[str]]:
    """Return what all listed builds share, and the roles in which they differ."""
    rows: list[Mapping[str, Option]] = [b.options for b in found.builds]
    shared, differing = [], []
    for role in found.vocabulary.roles.values():
        cells = {_part(row.get(role.name), found.vocabulary) for row in rows}
        if len(cells) > 1:
            differing.append(role.name)
            continue
        option = rows[0].get(role.name)
        if option is None or option.part is None:
            continue
        if option.part.sku not in owned or option.services:
            shared.append((role.title, cells.pop()))
    return shared, differing


def table_of(found: Found, owned: frozenset[str], width: int) -> list[RenderableType]:
    """Return the listed builds as lines of an answer: shared parts once, then one row each.

    Parameters
    ----------
    found : Found
        With at least one build.
    owned : frozenset of str
        Stock numbers that need not be listed.
    width : int
        Columns of the terminal.
    """
    from rich.table import Table

    vocabulary = found.vocabulary
    shared, differing = _columns(found, owned)
    pieces: list[RenderableType] = []
    if shared:
        line = ", ".join(f"{title} {part}" for title, part in shared)
        common = Table.grid(padding=(0, 2))
        common.add_column(no_wrap=True)
        common.add_column(overflow="fold")
        common.add_row(styled("  in all", "dim"), styled(line))
        pieces += [common, ""]
    cells = {
        role: [_part(b.options.get(role), vocabulary) for b in found.builds] for role in differing
    }
    wide = {
        role: max(len(vocabulary.roles[role].title), *map(len, cells[role])) for role in differing
    }
    # Role by role if there is room, else in one column that folds.
    side_by_side = 44 + sum(w + 2 for w in wide.values()) <= width
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    table.add_column("", justify="right", min_width=4)
    for title in ("price", "mass", "strength"):
        table.add_column(title, justify="right", overflow="fold")
    if side_by_side:
        for role in differing:
            table.add_column(styled(vocabulary.roles[role].title), overflow="fold")
    elif differing:
        table.add_column("with", overflow="fold")
    for n, build in enumerate(found.builds):
        parts = [cells[role][n] for role in differing]
        if not side_by_side:
            titles = [vocabulary.roles[role].title for role in differing]
            parts = [", ".join(f"{t} {p}" for t, p in zip(titles, parts, strict=True))]
        table.add_row(
            str(n + 1),
            styled(show_money(build.price, vocabulary.currency, vocabulary.minor_digits)),
            "?" if build.mass_g is None else show_mass(build.mass_g),
            "?" if build.strength_nm is None else f"{build.strength_nm:.0f} N·m",
            *map(styled, parts),
        )
    return [*pieces, table]


def lines_of(found: Found, owned: frozenset[str], width: int) -> list[RenderableType]:
    """Return the answer for people.

    Parameters
    ----------
    found : Found
        With at least one build.
    owned : frozenset of str
        Stock numbers that need not be listed.
    width : int
        Columns of the terminal.
    """
    pieces: list[RenderableType] = [styled(_headline(found), "bold")]
    if not found.builds:
        return pieces
    first = f"The {len(found.builds)} {_FIRST[found.sort]}" if len(found.builds) > 1 else "The one"
    if found.builds and len(found.builds) < found.count.number:
        first = f"The {_FIRST[found.sort]}" if len(found.builds) == 1 else first
    pieces += [
        styled(f"{first}; what you have costs nothing:" if owned else f"{first}:", "dim"),
        "",
        *table_of(found, owned, width),
        *caution_lines(found.cautions),
    ]
    return pieces


def builds(
    catalogue: CatalogueFolder = None,
    have: Annotated[
        list[str] | None,
        typer.Option("--have", metavar="SKU", help="A part you own; it costs nothing. Repeatable."),
    ] = None,
    want: Annotated[
        list[str] | None,
        typer.Option("--want", metavar="SKU", help="A part it must have and you pay. Repeatable."),
    ] = None,
    budget: Annotated[
        str | None, typer.Option(metavar="N", help="Most to pay, such as 250 or 250,50.")
    ] = None,
    max_mass: Annotated[
        str | None,
        typer.Option(
            "--max-mass-g", metavar="N", help="Most it may weigh, such as 4200 or '4.2 kg'."
        ),
    ] = None,
    material: Annotated[
        str | None,
        typer.Option(metavar="NAME", help="A material or a family, such as titanium."),
    ] = None,
    in_stock: Annotated[
        bool, typer.Option("--in-stock", help="Only parts in stock, beside your own.")
    ] = False,
    services: Annotated[
        Work, typer.Option(help="To which parts the workshop may do work.")
    ] = Work.OWNED,
    sort: Annotated[Sort, typer.Option(help="What comes first.")] = Sort.PRICE,
    limit: Annotated[
        int, typer.Option(metavar="K", min=0, max=MOST_LISTED, help="How many to list.")
    ] = 5,
    json: AsJson = False,
) -> None:
    """Count the builds that fit, and list the first."""
    from fitgraph.solve import Request, Services, TreeEngine
    from fitgraph.solve.request import find_part

    loaded = read(catalogue)
    known = loaded.catalogue
    request = Request(
        have=tuple(find_part(known, sku).sku for sku in have or ()),
        want=tuple(find_part(known, sku).sku for sku in want or ()),
        budget=read_budget(budget, known.vocabulary),
        max_mass_g=read_mass(max_mass),
        in_stock=in_stock,
        material=material,
        services=Services(services.value),
    )
    engine = TreeEngine(known)
    found = find(engine, request, sort=sort, limit=limit)
    if json:
        show_json({**as_json(found), "findings": len(loaded.findings)})
        raise typer.Exit(NO if found.none else ANSWER)
    remark_findings(loaded, catalogue)
    if found.none:
        advice = _advice(engine, request, found, catalogue)
        show(styled("No build.", "bold"), *map(styled, advice))
    else:
        show(*lines_of(found, frozenset(request.have), terminal_width()))
    raise typer.Exit(NO if found.none else ANSWER)


def _advice(engine: TreeEngine, request: Request, found: Found, folder: Path | None) -> list[str]:
    """Return what to try where there is no build."""
    lines = []
    unlimited = find(
        engine, replace(request, budget=None, max_mass_g=None), sort=found.sort, limit=1
    )
    if unlimited.builds:
        best, vocabulary = unlimited.builds[0], found.vocabulary
        price = show_money(best.price, vocabulary.currency, vocabulary.minor_digits)
        mass = "an unknown mass" if best.mass_g is None else show_mass(best.mass_g)
        lines.append(
            f"Without the limits: {_many(unlimited.count.number)}, "
            f"the {_FIRST[found.sort]} at {price} and {mass}."
        )
        return lines
    if unlimited.possible:
        limited = request.budget is not None or request.max_mass_g is not None
        limits = ", limits aside" if limited else ""
        many = _many(unlimited.possible)
        lines.append(f"{many} may hold, if unknown dimensions turn out well{limits}.")
    named = [*request.have, *request.want]
    where = [] if folder is None else ["--catalogue", str(folder)]
    if named:
        lines.append(f"To see why: {shlex.join(['fitgraph', 'why', *where, *named])}")
    return lines or ["To see what is missing: " + shlex.join(["fitgraph", "check", *where])]
