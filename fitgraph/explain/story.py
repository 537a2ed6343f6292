"""One enquiry that shows both what fits and what does not."""

from __future__ import annotations

from fitgraph.explain.requested import Listed, list_builds
from fitgraph.explain.why import Explainer, Explanation
from fitgraph.model import Catalogue, Enquiry, Verdict
from fitgraph.records import dataclass
from fitgraph.solve import Request, TreeEngine

#: Builds listed; the story is half a screen.
_BUILDS = 1


@dataclass(frozen=True, slots=True)
class Story:
    """An enquiry that shows both: what fits, and what does not.

    Parameters
    ----------
    enquiry : Enquiry
        With a budget.
    kept : tuple of str
        What the rider owns and keeps.
    tried : str
        What the rider would like to use as well, and cannot.
    found : Listed
        Builds around `kept` within the budget.
    explained : Explanation
        Why `tried` does not go with the rest.
    """

    enquiry: Enquiry
    kept: tuple[str, ...]
    tried: str
    found: Listed
    explained: Explanation


def _tell(
    enquiry: Enquiry, catalogue: Catalogue, engine: TreeEngine, explainer: Explainer
) -> Story | None:
    """Return the story of an enquiry, if it has one."""
    if enquiry.budget is None or len(enquiry.have) < 2:
        return None
    # What is told about builds is strength as well: the compared tube has to be among the parts.
    compared = catalogue.vocabulary.strength
    told = {compared.outside.role} if compared is not None else set()
    without: dict[str, Request] = {}
    for tried in reversed(enquiry.have):
        kept = tuple(sku for sku in enquiry.have if sku != tried)
        request = Request(have=kept, budget=enquiry.budget, max_mass_g=enquiry.max_mass_g)
        if (
            told <= {catalogue.parts[sku].role for sku in kept}
            and engine.count(Request(kept)).number
        ):
            without[tried] = request
    if not without:
        return None  # before it is asked why not: that takes longer
    whole = explainer.why(enquiry.have, with_changes=False)
    if whole.verdict is not Verdict.FAILS or len(whole.conflicts) != 1:
        return None
    clash = whole.conflicts[0]
    # The last one bought is the one in question.
    for tried, request in without.items():
        if tried not in clash.parts:
            continue
        found = list_builds(engine, request, sort="price", limit=_BUILDS)
        if len(found.builds) < _BUILDS:
            continue
        explained = explainer.why(enquiry.have)
        if explained.changes:
            return Story(enquiry, request.have, tried, found, explained)
    return None


def first_story(catalogue: Catalogue, engine: TreeEngine, explainer: Explainer) -> Story | None:
    """Return the first enquiry that shows both what fits and what does not, if there is one."""
    if not engine.count(Request()).number:
        return None
    for enquiry in catalogue.enquiries:
        if len({catalogue.parts[sku].role for sku in enquiry.have}) < len(enquiry.have):
            continue
        story = _tell(enquiry, catalogue, engine, explainer)
        if story is not None:
            return story
    return None
