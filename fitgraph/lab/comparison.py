"""Builds side by side: what they cost, weigh and bear, and where they differ."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from markupsafe import Markup

from fitgraph.lab.tables import cautions, part_name_html, plain_table
from fitgraph.model import Option, Vocabulary
from fitgraph.report.tables import Column, Table
from fitgraph.report.values import MASS_TOLD, MOMENT_TOLD, Unit, money_of
from fitgraph.solve.engine import Build

#: Stands behind the name of a role.
_DIFFERS = Markup('<span class="fg-sign" title="they differ">≠</span>')


def _cell(option: Option | None, owned: frozenset[str], vocabulary: Vocabulary) -> Markup:
    if option is None or option.part is None:
        return Markup("–")
    done = ", ".join(vocabulary.services[s].title for s in option.services)
    mine = " (yours)" if option.part.sku in owned else ""
    work = Markup("<br>{}").format(done) if done else ""
    return Markup("{}{}{}").format(Markup(part_name_html(option.part)), mine, work)


def comparison_html(builds: Sequence[Build], owned: frozenset[str], vocabulary: Vocabulary) -> str:
    """Return builds as the columns of a table; roles in which they differ are marked.

    Parameters
    ----------
    builds : sequence of Build
        In the order in which they were picked.
    owned : frozenset of str
        Stock numbers that cost nothing.
    vocabulary : Vocabulary
        Names the roles.
    """
    if not builds:
        return "<p>Pick builds in the chart or in the list; they then stand here side by side.</p>"

    def figures(unit: Unit, take: Callable[[Build], Any]) -> tuple[str, ...]:
        return tuple(unit.show(take(b)) for b in builds)

    rows: list[tuple[Any, ...]] = [
        ("To pay", *figures(money_of(vocabulary), lambda b: b.price)),
        ("Mass", *figures(MASS_TOLD, lambda b: b.mass_g)),
        ("Tube bears", *figures(MOMENT_TOLD, lambda b: b.strength_nm)),
    ]
    for role in vocabulary.roles.values():
        options = [b.options.get(role.name) for b in builds]
        labels = {o.label if o is not None else "" for o in options}
        if labels == {""}:
            continue
        title = Markup("{} {}").format(role.title, _DIFFERS if len(labels) > 1 else "")
        rows.append((title, *(_cell(o, owned, vocabulary) for o in options)))
    picks = (Column(f"pick_{n}", title=f"Pick {n}") for n in range(1, len(builds) + 1))
    table = Table("picks", (Column("whole", title="Of the whole"), *picks), tuple(rows))
    told = plain_table(table, "≠ marks the roles in which they differ.")
    return told + cautions(vocabulary, "strength")
