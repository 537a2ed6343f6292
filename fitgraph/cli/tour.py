"""``fitgraph tour``: one enquiry of the demo, answered from end to end."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import typer

from fitgraph.cli import builds as builds_command
from fitgraph.cli import why as why_command
from fitgraph.cli.builds import Found, Sort, find
from fitgraph.cli.options import AsJson
from fitgraph.cli.output import NO, caution_lines, show, show_json, styled, terminal_width
from fitgraph.cli.reading import read
from fitgraph.model import Catalogue, Enquiry, Verdict
from fitgraph.units import major, show_money

if TYPE_CHECKING:
    from rich.console import RenderableType

    from fitgraph.explain import Explainer, Explanation
    from fitgraph.solve import TreeEngine

#: Builds shown; the tour is half a screen.
_BUILDS = 2


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
    found : Found
        Builds around `kept` within the budget.
    explained : Explanation
        Why `tried` does not go with the rest.
    """

    enquiry: Enquiry
    kept: tuple[str, ...]
    tried: str
    found: Found
    explained: Explanation


def _tell(
    enquiry: Enquiry, catalogue: Catalogue, engine: TreeEngine, explainer: Explainer
) -> Story | None:
    """Return the story of an enquiry, if it has one."""
    from fitgraph.solve import Request

    if enquiry.budget is None or len(enquiry.have) < 2:
        return None
    # What is told about builds is strength as well: the compared tube has to be among the parts.
    compared = catalogue.vocabulary.strength
    told = {compared.outside.role} if compared is not None else set()
    whole = explainer.why(enquiry.have, with_changes=False)
    if whole.verdict is not Verdict.FAILS or len(whole.conflicts) != 1:
        return None
    clash = whole.conflicts[0]
    # The last one bought is the one in question.
    for tried in [sku for sku in reversed(enquiry.have) if sku in clash.parts]:
        kept = tuple(sku for sku in enquiry.have if sku != tried)
        if not told <= {catalogue.parts[sku].role for sku in kept}:
            continue
        request = Request(have=kept, budget=enquiry.budget, max_mass_g=enquiry.max_mass_g)
        found = find(engine, request, sort=Sort.PRICE, limit=_BUILDS)
        if len(found.builds) < _BUILDS:
            continue
        explained = explainer.why(enquiry.have)
        if explained.changes:
            return Story(enquiry, kept, tried, found, explained)
    return None


def first_story(catalogue: Catalogue) -> Story | None:
    """Return the first enquiry that shows both what fits and what does not."""
    from fitgraph.explain import Explainer
    from fitgraph.solve import TreeEngine

    engine, explainer = TreeEngine(catalogue), Explainer(catalogue)
    for enquiry in catalogue.enquiries:
        if len({catalogue.parts[sku].role for sku in enquiry.have}) < len(enquiry.have):
            continue
        story = _tell(enquiry, catalogue, engine, explainer)
        if story is not None:
            return story
    return None


def as_json(story: Story, catalogue: Catalogue) -> dict[str, Any]:
    """Return the tour in the shape that docs/commands.md describes."""
    vocabulary = catalogue.vocabulary
    return {
        "enquiry": story.enquiry.number,
        "have": list(story.kept),
        "budget": major(story.enquiry.budget or 0, vocabulary.minor_digits),
        "currency": vocabulary.currency,
        "builds": builds_command.as_json(story.found),
        "tried": story.tried,
        "why": why_command.as_json(story.explained, catalogue),
    }


def _lines(story: Story, catalogue: Catalogue) -> list[RenderableType]:
    from rich.padding import Padding

    vocabulary = catalogue.vocabulary
    budget = show_money(story.enquiry.budget or 0, vocabulary.currency, vocabulary.minor_digits)
    owned = ", ".join(
        f"{vocabulary.roles[catalogue.parts[sku].role].title} {sku}" for sku in story.kept
    )
    tried = f"{vocabulary.roles[catalogue.parts[story.tried].role].title} {story.tried}"
    count = story.found.count
    many = f"{count.number:,}" if count.exact else f"about {count.number:,}"
    cheapest = story.explained.changes[:1]
    verdict = why_command.HEADLINES[story.explained.verdict]
    cautions = [*why_command.cautions_for(cheapest, catalogue), *story.found.cautions]
    return [
        styled(f"A rider has {budget} to spend and owns", "bold"),
        Padding(styled(owned, "dim"), (0, 0, 0, 2)),
        "",
        styled(f"What completes it?  {many} builds within the budget", "bold")
        + styled("  (fitgraph builds --have ...)", "dim"),
        *builds_command.table_of(story.found, frozenset(story.kept), terminal_width()),
        "",
        styled(f"And with the {tried}?  {verdict}", "bold") + styled("  (fitgraph why ...)", "dim"),
        *why_command.reasons(story.explained.conflicts, catalogue),
        why_command.changes_table(cheapest, catalogue, ways=False),
        *caution_lines(dict.fromkeys(cautions)),
    ]


def tour(json: AsJson = False) -> None:
    """Answer one enquiry of the demo from end to end."""
    loaded = read(None)
    story = first_story(loaded.catalogue)
    if story is None:
        show(styled("No enquiry of the demo shows both a build and a clash."))
        raise typer.Exit(NO)
    if json:
        show_json(as_json(story, loaded.catalogue))
        return
    show(*_lines(story, loaded.catalogue))
