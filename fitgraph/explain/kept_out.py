"""What besides sizes keeps a part out of a request: said in sentences."""

from __future__ import annotations

from dataclasses import replace

from fitgraph.explain.standing import PartStanding
from fitgraph.model import Catalogue
from fitgraph.solve import Request, TreeEngine
from fitgraph.units import show_mass


def limit_lines(engine: TreeEngine, request: Request, standing: PartStanding) -> list[str]:
    """Return what in a request, sizes aside, keeps a part out or lets it in.

    Parameters
    ----------
    engine : TreeEngine
        Ranks the builds with the part.
    request : Request
        The question; the part takes the place of what is owned in its role.
    standing : PartStanding
        The part, and how it stands by size.

    Returns
    -------
    list of str
        Sentences; empty where nothing but the sizes counts.
    """
    part, catalogue = standing.part, engine.catalogue
    lines = [f"{part.sku} {standing.kept_out}."] if standing.kept_out else []
    if part.price is None and part.sku not in request.have:
        return lines
    kept = tuple(s for s in request.have if catalogue.parts[s].role != part.role)
    mine = part.sku in request.have
    asked = replace(
        request,
        have=(*kept, part.sku) if mine else kept,
        want=() if mine else (part.sku,),
        in_stock=False,
        material=None if standing.kept_out else request.material,
    )
    if request.budget is not None:
        cheapest = engine.best(replace(asked, budget=None), sort="price", limit=1)
        if cheapest and cheapest[0].price > request.budget:
            lines.append(_over_budget(cheapest[0].price, request.budget, part.sku, catalogue))
    if request.max_mass_g is not None:
        lightest = engine.best(replace(asked, budget=None, max_mass_g=None), sort="mass", limit=1)
        mass = lightest[0].mass_g if lightest else None
        if mass is not None and mass > request.max_mass_g:
            lines.append(
                f"The lightest build with {part.sku} weighs {show_mass(mass)}, "
                f"{show_mass(mass - request.max_mass_g)} over the mass limit."
            )
    return lines


def no_build_lines(engine: TreeEngine, request: Request) -> list[str]:
    """Return which limits leave no build, where what is owned does go together.

    Parameters
    ----------
    engine : TreeEngine
        Ranks builds.
    request : Request
        A question to which no build answers.
    """
    vocabulary = engine.catalogue.vocabulary
    unlimited = replace(request, budget=None, max_mass_g=None)
    cheapest = engine.best(unlimited, sort="price", limit=1)
    if not cheapest:
        return ["With these wishes on stock, material and workshop work nothing is left."]
    price, lines = cheapest[0].price, []
    if request.budget is not None and price > request.budget:
        shown = vocabulary.money(price)
        lines.append(f"Without the limits the cheapest build costs {shown}: over the budget.")
    mass = engine.best(unlimited, sort="mass", limit=1)[0].mass_g
    if request.max_mass_g is not None and mass is not None and mass > request.max_mass_g:
        lines.append(f"Without the limits the lightest build weighs {show_mass(mass)}: too heavy.")
    return lines or ["Each limit alone can be kept, but not all of them together."]


def _over_budget(price: int, budget: int, sku: str, catalogue: Catalogue) -> str:
    money = catalogue.vocabulary.money
    return (
        f"The cheapest build with {sku} within the other limits costs {money(price)}, "
        f"{money(price - budget)} over the budget."
    )
