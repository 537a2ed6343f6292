"""The card of a part: a press on a stock number opens its sizes, joints, stock and section."""

from __future__ import annotations

from collections.abc import Callable
from html import escape
from typing import Any

import anywidget
import traitlets

from fitgraph.draw import main_nest, nests
from fitgraph.explain.standing import nearest_combination, standings
from fitgraph.explain.words import size_text
from fitgraph.lab import tables
from fitgraph.lab.leads import build_link, why_link
from fitgraph.lab.opened import OpenCatalogue
from fitgraph.lab.tables import TOLD_FIGURE, plain_table
from fitgraph.mechanics.materials import MATERIALS
from fitgraph.model import Part, Presence, Verdict
from fitgraph.report.tables import Column, Table
from fitgraph.report.values import COUNT, MASS_TOLD
from fitgraph.solve import Request
from fitgraph.wording import plural

_SCRIPT = """
function render({ model, el }) {
  const dialog = document.createElement("dialog"), shut = document.createElement("button");
  const inner = document.createElement("div");
  dialog.className = "fg fg-card";
  dialog.setAttribute("aria-label", "Card of a part");
  shut.type = "button";
  shut.textContent = "Close";
  dialog.append(shut, inner);
  el.append(dialog);
  let form = null, over = false, opener = null;

  const close = () => dialog.open && dialog.close();
  shut.addEventListener("click", close);
  dialog.addEventListener("click", (event) => { if (event.target === dialog) close(); });
  dialog.addEventListener("keydown", (event) => event.stopPropagation());
  dialog.addEventListener("close", () => opener?.isConnected && opener.focus());
  model.on("change:content", () => { inner.innerHTML = model.get("content"); });
  const press = (event) => {
    const button = event.target.closest?.("[data-sku]");
    if (!button) return;
    event.preventDefault();
    if (!dialog.contains(button)) opener = button;
    inner.textContent = "…";
    model.set("asked", [button.dataset.sku, model.get("asked")[1] + 1]);
    model.save_changes();
    if (!dialog.open) dialog.showModal();
    shut.focus();
  };
  const keys = (event) => {
    const on = event.target.closest?.("[data-sku]");
    if (on && (event.key === "Enter" || event.key === " ")) event.stopPropagation();
  };
  const begin = () => {
    if (over) return;
    form = el.closest(".fg-form");
    if (!form) return requestAnimationFrame(begin);
    form.addEventListener("click", press);
    form.addEventListener("keydown", keys);
    form.dataset.fgCard = ""; // see Arrival
  };
  begin();
  return () => {
    over = true;
    form?.removeEventListener("click", press);
    form?.removeEventListener("keydown", keys);
  };
}
export default { render };
"""

_STYLE = """
.fg-card{width:min(760px,94vw);max-height:90vh;overflow:auto;padding:14px 18px;
color:var(--fg-ink);background:var(--fg-paper);border:1px solid var(--fg-line)}
.fg-card::backdrop{background:rgba(0,0,0,.35)}
.fg-card dt{white-space:nowrap}
.fg-card>button{float:right;font:inherit;min-height:32px;padding:2px 12px;cursor:pointer;
color:inherit;background:var(--fg-panel);border:1px solid var(--fg-line)}
.fg-html .fg-sku{all:unset;cursor:pointer;color:inherit;text-decoration:underline dotted;
text-underline-offset:3px;white-space:nowrap}
.fg-html .fg-sku.fg-long{white-space:normal;overflow-wrap:anywhere}
.fg-html .fg-held{white-space:nowrap}
.fg-html .fg-sku:hover{text-decoration:underline}
.fg-html .fg-sku:focus-visible{outline:2px solid var(--fg-fits);outline-offset:1px}
@media print{.fg-card{display:none}.fg-html .fg-sku{text-decoration:none}}
"""


#: What is said of a feature that is not there for certain.
_PRESENCE = {Presence.ABSENT: "none", Presence.UNKNOWN: "nobody has looked whether it is there"}


class Card(anywidget.AnyWidget):
    """Shows nothing until a stock number is pressed; then that part.

    Parameters
    ----------
    opened : callable
        Returns the catalogue in which the part is looked for.
    """

    _esm = _SCRIPT
    _css = _STYLE
    asked: Any = traitlets.List(["", 0]).tag(sync=True)
    content: Any = traitlets.Unicode().tag(sync=True)

    def __init__(self, opened: Callable[[], OpenCatalogue]) -> None:
        self._opened = opened
        super().__init__()
        self.observe(self._show, names="asked")

    def _show(self, change: dict[str, Any]) -> None:
        self.content = ""  # a part that is asked for again is sent again
        opened = self._opened()
        part = opened.catalogue.parts.get(change["new"][0])
        if part is None:
            self.content = tables.wrap("<p>This catalogue has no such part.</p>")
            return
        try:
            told = card_html(part, opened)
        except Exception as error:  # nobody at a counter can do anything with a traceback
            told = tables.alert(f"This could not be worked out ({type(error).__name__}: {error}).")
            told = tables.wrap(told)
        self.content = told


def card_html(part: Part, opened: OpenCatalogue) -> str:
    """Return the card of a part: what it is, its sizes, what goes with it, and its section.

    Parameters
    ----------
    part : Part
        Of the catalogue.
    opened : OpenCatalogue
        The catalogue.
    """
    catalogue = opened.catalogue
    vocabulary = catalogue.vocabulary
    role = vocabulary.roles[part.role]
    known = MATERIALS.get(part.material or "")
    facts = [
        ("Price", "not sold" if part.price is None else vocabulary.money(part.price)),
        ("In stock", plural(part.stock, "piece")),
        ("Mass", MASS_TOLD.show(part.mass_g)),
        ("Maker", part.maker or "not told"),
    ]
    if part.material:
        facts.append(("Material", part.material if known is None else known.title))
    if part.note:
        facts.append(("Note", part.note))
    listed = "".join(f"<dt>{escape(n)}</dt><dd>{escape(v)}</dd>" for n, v in facts)
    ways = [
        why_link((part.sku,), catalogue, "name others: why or why not"),
        build_link((part.sku,), catalogue, "what can be built with it"),
    ]
    near = nearest_combination(opened.explainer, (part.sku,))
    mine = [n for n in nests(near, vocabulary) if part.role in n.roles]
    first = main_nest(tuple(mine), vocabulary)
    drawn = (
        f"<h3>Section, with the nearest parts around it</h3>"
        f"{tables.sections_html([first], vocabulary)}"
        if first is not None
        else ""
    )
    gloss = f": {escape(role.gloss)}" if role.gloss else ""
    return tables.wrap(
        f"<h2>{escape(part.name or part.sku)}</h2>"
        f'<p class="fg-note">{escape(role.title)} {escape(part.sku)}{gloss}</p><dl>{listed}</dl>'
        f"<p>{' · '.join(w for w in ways if w)}</p>"
        f"{_sizes(part)}{_joints(part, opened)}{drawn}"
    )


def _sizes(part: Part) -> str:
    rows = []
    for name, feature in part.features.items():
        title = name.replace("_", " ")
        told = [_PRESENCE[feature.presence]] if feature.presence in _PRESENCE else []
        told += [
            f"{length.replace('_', ' ')} {size_text(size)} ({size.basis.word})"
            if size.known
            else f"{length.replace('_', ' ')} not known"
            for length, size in feature.lengths.items()
        ]
        told += [
            f"{key.replace('_', ' ')} {word.value or 'not known'}"
            for key, word in feature.words.items()
        ]
        told = told or ["there"]
        rows.append((title, "; ".join(told)))
    columns = (Column("feature", title="Feature"), Column("figures", title="Figures"))
    return f"<h3>Sizes</h3>{plain_table(Table('sizes', columns, tuple(rows)))}"


def _joints(part: Part, opened: OpenCatalogue) -> str:
    """Return the joints that a part takes part in, and how many parts of each role go with it."""
    vocabulary = opened.catalogue.vocabulary
    mine = [j for j in vocabulary.joints if part.role in j.roles]
    found = standings(opened.engine, Request(have=(part.sku,)))
    others = {r for j in mine for r in j.roles if r != part.role}
    rows = []
    for role in vocabulary.roles.values():
        if role.name not in others or role.name not in found:
            continue
        joints = ", ".join(dict.fromkeys(j.title for j in mine if role.name in j.roles))
        fits = sum(s.verdict is Verdict.FITS for s in found[role.name])
        held = sum(s.verdict is Verdict.FITS and s.part.stock > 0 for s in found[role.name])
        rows.append((role.title, joints, f"{fits} of {len(found[role.name])}", held))
    columns = (
        *(Column("role", title="Role"), Column("joints", title="Joints")),
        *(Column("fit", TOLD_FIGURE, "Fit"), Column("held", COUNT, "On the shelf")),
    )
    told = plain_table(Table("joints", columns, tuple(rows)))
    return f"<h3>Joints, and what goes with it</h3>{told}"
