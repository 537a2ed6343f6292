"""One enquiry, answered from end to end."""

from __future__ import annotations

from typing import Any

from fitgraph.explain.story import Story
from fitgraph.explain.words import the_part
from fitgraph.report import builds, explanations
from fitgraph.report.blocks import Block, Report, Say, Section, Tone
from fitgraph.report.tables import Table
from fitgraph.report.values import money_of
from fitgraph.wording import an, capital, plural


def data(story: Story) -> dict[str, Any]:
    """Return the story in the shape that docs/commands.md describes."""
    catalogue = story.found.catalogue
    vocabulary = catalogue.vocabulary
    return {
        "enquiry": story.enquiry.number,
        "have": list(story.kept),
        "budget": money_of(vocabulary).data(story.enquiry.budget or 0),
        "currency": vocabulary.currency,
        "builds": builds.data(story.found),
        "tried": story.tried,
        "why": explanations.data(story.explained, catalogue),
    }


def tables(story: Story) -> tuple[Table, ...]:
    """Return the builds, and what would change that one part does not go with them."""
    named = explanations.tables(story.explained, story.found.catalogue)
    return (*builds.tables(story.found), *named)


def report(story: Story) -> Report:
    """Return the story for people."""
    catalogue = story.found.catalogue
    roles = catalogue.vocabulary.roles

    def titled(sku: str, the: str = "") -> str:
        part = catalogue.parts[sku]
        return the_part(roles[part.role].title, part.name or sku, the)

    budget = money_of(catalogue.vocabulary).show(story.enquiry.budget or 0)
    count = story.found.count
    many = ("" if count.exact else "about ") + plural(count.number, "build")
    cheapest = story.explained.changes[:1]
    verdict = explanations.HEADLINES[story.explained.verdict]
    changes = explanations.changes_shown(cheapest, catalogue, ways=False)
    reasons = explanations.reasons(story.explained.conflicts, catalogue)
    pieces: tuple[Block, ...] = (
        Say(", ".join(map(titled, story.kept)), Tone.QUIET, deep=1),
        Section(
            f"What completes it?  {many} within the budget",
            builds.blocks(story.found.builds, story.kept, catalogue.vocabulary),
            loud=True,
            aside="fitgraph builds --have ...",
        ),
        Section(
            f"And with {titled(story.tried, 'the ')}?  {verdict}",
            (reasons, changes),
            loud=True,
            aside="fitgraph why ...",
        ),
    )
    told = (
        *explanations.change_cautions(cheapest, catalogue),
        *builds.cautions(story.found),
    )
    headline = f"{capital(an(catalogue.vocabulary.customer))} has {budget} to spend and owns"
    return Report(headline, pieces, tuple(dict.fromkeys(told)))
