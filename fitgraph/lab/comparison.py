"""Builds side by side: what they cost, weigh and bear, and where they differ."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from fitgraph.lab.tables import cautions, part_name_html
from fitgraph.model import Option, Vocabulary
from fitgraph.solve.engine import Build
from fitgraph.units import show_mass


def _cell(option: Option | None, owned: frozenset[str], vocabulary: Vocabulary) -> str:
    if option is None or option.part is None:
        return "–"
    done = ", ".join(vocabulary.services[s].title for s in option.services)
    mine = " (yours)" if option.part.sku in owned else ""
    work = f"<br>{escape(done)}" if done else ""
    return f"{part_name_html(option.part)}{mine}{work}"


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

    heads = "".join(f'<th scope="col">Pick {n}</th>' for n in range(1, len(builds) + 1))
    figures = [
        ("To pay", [vocabulary.money(b.price) for b in builds]),
        ("Mass", ["not known" if b.mass_g is None else show_mass(b.mass_g) for b in builds]),
        (
            "Tube bears",
            ["not known" if b.strength_nm is None else f"{b.strength_nm:,.0f} N·m" for b in builds],
        ),
    ]
    rows = [
        f'<tr><th scope="row">{name}</th>'
        + "".join(f"<td>{escape(v)}</td>" for v in values)
        + "</tr>"
        for name, values in figures
    ]
    for role in vocabulary.roles.values():
        options = [b.options.get(role.name) for b in builds]
        labels = {o.label if o is not None else "" for o in options}
        if labels == {""}:
            continue
        differs = len(labels) > 1
        sign = '<span class="fg-sign" title="they differ">≠</span>' if differs else ""
        rows.append(
            f'<tr><th scope="row">{escape(role.title)} {sign}</th>'
            + "".join(f"<td>{_cell(o, owned, vocabulary)}</td>" for o in options)
            + "</tr>"
        )
    return (
        '<div tabindex="0" class="fg-scroll">'
        "<table><caption>≠ marks the roles in which they differ.</caption>"
        f'<thead><tr><th scope="col">Of the whole</th>{heads}</tr></thead>'
        f"<tbody>{''.join(rows)}</tbody></table></div>" + cautions(vocabulary, "strength")
    )
