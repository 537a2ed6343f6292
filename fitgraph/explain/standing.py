"""How every part stands to a request: it remains, it may, it does not, and what keeps it out."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from fitgraph.explain.why import Explainer
from fitgraph.model import Catalogue, Option, Part, Verdict
from fitgraph.records import dataclass
from fitgraph.solve import Request, Services, TreeEngine
from fitgraph.solve.nearest import nearest
from fitgraph.solve.only_named import remaining_of_named
from fitgraph.solve.query import ask
from fitgraph.solve.request import find_part, is_of_material


@dataclass(frozen=True, slots=True)
class PartStanding:
    """How one part stands to a request.

    Parameters
    ----------
    part : Part
        The part.
    verdict : Verdict
        By size: whether a build with it is certain, only possible, or
        impossible, if it were taken for its role.
    kept_out : str
        What else in the request keeps it out, in words; empty for nothing.
    services : tuple of str
        The service without which it would not stand so well; empty if none
        is needed.
    builds : int
        How many builds have it, limits on price and mass aside, if it were
        taken for its role.
    """

    part: Part
    verdict: Verdict
    kept_out: str = ""
    services: tuple[str, ...] = ()
    builds: int = 0

    @property
    def remains(self) -> bool:
        """Whether a build with it is certain and nothing keeps it out."""
        return self.verdict is Verdict.FITS and not self.kept_out


def _kept_out(part: Part, owned: frozenset[str], material: str | None, request: Request) -> str:
    mine = part.sku in owned  # neither bought nor taken from the shelf, but of a material
    if part.price is None and not mine:
        return "has no price, so it cannot be sold"
    if request.in_stock and part.stock <= 0 and not mine:
        return "is not in stock"
    if material is not None and not is_of_material(part, material):
        return f"is not {material}"
    return ""


def _may_serve(option: Option, owned: frozenset[str], services: Services) -> bool:
    if not option.services or services is Services.ANY:
        return True
    return services is Services.OWNED and option.part is not None and option.part.sku in owned


def standings(engine: TreeEngine, request: Request) -> dict[str, tuple[PartStanding, ...]]:
    """Return how every part of every role stands to a request, budget and mass aside.

    Parameters
    ----------
    engine : TreeEngine
        Over the compiled catalogue.
    request : Request
        The question.

    Raises
    ------
    NamingError
        If the request names something the catalogue does not have.
    """
    catalogue = engine.catalogue
    owned = frozenset(find_part(catalogue, sku).sku for sku in request.have)
    result = {}
    for role, remaining in remaining_of_named(engine, request).items():
        material = request.material if catalogue.vocabulary.roles[role].by_material else None
        best: dict[str, tuple[Verdict, Option]] = {}
        builds: dict[str, int] = {}
        for option, code, number in zip(
            engine.space.options[role], remaining.verdicts, remaining.builds, strict=True
        ):
            if option.part is None or not _may_serve(option, owned, request.services):
                continue
            builds[option.part.sku] = builds.get(option.part.sku, 0) + int(number)
            before = best.get(option.part.sku)
            if before is None or int(code) > before[0]:
                best[option.part.sku] = (Verdict(int(code)), option)
        result[role] = tuple(
            PartStanding(
                part,
                verdict,
                _kept_out(part, owned, material, request),
                option.services,
                builds[part.sku],
            )
            for part in catalogue.of(role)
            for verdict, option in (best[part.sku],)
        )
    return result


def together(have: tuple[str, ...], part: Part, catalogue: Catalogue) -> tuple[str, ...]:
    """Return what is owned with a part put in for its role."""
    kept = [sku for sku in have if find_part(catalogue, sku).role != part.role]
    return (*kept, part.sku)


def nearest_combination(
    explainer: Explainer, skus: tuple[str, ...], done: Mapping[str, tuple[str, ...]] | None = None
) -> Mapping[str, Option]:
    """Return the combination around some parts in which the fewest joints clash.

    Parameters
    ----------
    explainer : Explainer
        Over the compiled catalogue; adapters and extras that are not named
        are left out, as in its explanations.
    skus : tuple of str
        Stock numbers, at most one a role.
    done : mapping of str to tuple of str, optional
        Services done to named parts, by stock number.
    """
    done = done or {}
    space = explainer.space
    roles = explainer.catalogue.vocabulary.roles
    query = ask(space, Request(have=skus, services=Services.OWNED))
    named = {find_part(explainer.catalogue, sku).role for sku in skus}
    lets: dict[str, npt.NDArray[np.bool_]] = {}
    for role, mask in query.lets.items():
        options = space.options[role]
        if role not in named and not roles[role].fill.free:
            mask = mask & np.array([o.empty for o in options], dtype=bool)
        wanted = [done.get(o.part.sku, ()) if o.part else () for o in options]
        same = [o.services == w for o, w in zip(options, wanted, strict=True)]
        lets[role] = mask & np.array(same, dtype=bool)
    places = nearest(space, lets)
    return {} if places is None else {r: space.options[r][n] for r, n in places.items()}
