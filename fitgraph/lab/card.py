"""The card of a part: a press on a stock number opens its sizes, joints, stock and section."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import anywidget
import traitlets
from markupsafe import Markup

from fitgraph.draw import main_nest, nests
from fitgraph.explain.standing import nearest_combination, standings
from fitgraph.lab.leads import build_link, why_link
from fitgraph.lab.opened import OpenCatalogue
from fitgraph.lab.shown import shown
from fitgraph.model import Part
from fitgraph.report.blocks import Say, Section, fault, quiet
from fitgraph.report.cross_sections import cross_section
from fitgraph.report.part_card import facts_table, joints_table, sizes_table
from fitgraph.solve import Request

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
            self.content = shown(Say("This catalogue has no such part."))
            return
        try:
            self.content = card_html(part, opened)
        except Exception as error:  # nobody at a counter can do anything with a traceback
            told = f"This could not be worked out ({type(error).__name__}: {error})."
            self.content = shown(fault(told))


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
    gloss = f": {role.gloss}" if role.gloss else ""
    links = (
        why_link((part.sku,), catalogue, "name others: why or why not"),
        build_link((part.sku,), catalogue, "what can be built with it"),
    )
    standing = standings(opened.engine, Request(have=(part.sku,)))
    near = nearest_combination(opened.explainer, (part.sku,))
    mine = [n for n in nests(near, vocabulary) if part.role in n.roles]
    first = main_nest(tuple(mine), vocabulary)
    drawn = () if first is None else (cross_section(first, vocabulary),)
    return shown(
        Markup("<h2>{}</h2>").format(part.name or part.sku),
        quiet(f"{role.title} {part.sku}{gloss}"),
        facts_table(part, vocabulary),
        Markup("<p>{}</p>").format(Markup(" · ").join(filter(None, links))),
        Section("Sizes", (sizes_table(part, vocabulary),)),
        Section("Joints, and what goes with it", (joints_table(part, standing, vocabulary),)),
        *((Section("Section, with the nearest parts around it", drawn),) if drawn else ()),
    )
