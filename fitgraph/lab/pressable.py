"""A drawing whose buttons can be pressed, by a click or by keyboard, and whose lines come and go.

ipywidgets shows a drawing, but nothing tells it what was pressed in it; this does, and moves the
focus by arrow keys to the button that lies that way.
"""

from __future__ import annotations

import anywidget
import traitlets

_SCRIPT = """
const NARROW = 560; // as in fitgraph/lab/look.py [px]

function render({ model, el }) {
  el.classList.add("fg-pressable");
  const buttons = () => [...el.querySelectorAll("[role=button]")];
  const name = (node) => node && (node.dataset.node || node.dataset.part);
  const middle = (node) => {
    const box = node.getBoundingClientRect();
    return [box.x + box.width / 2, box.y + box.height / 2];
  };
  let at = "";
  const focusable = () => {
    const all = buttons();
    const one = all.find((b) => name(b) === at) || all[0];
    for (const b of all) b.tabIndex = b === one ? 0 : -1;
    return one;
  };
  const press = (node) => {
    if (!node) return;
    at = name(node);
    focusable();
    model.set("pressed", [node.dataset.part ? "part" : "node", at, model.get("pressed")[2] + 1]);
    model.save_changes();
  };
  const step = { ArrowRight: [1, 0], ArrowLeft: [-1, 0], ArrowDown: [0, 1], ArrowUp: [0, -1] };
  const move = (from, [dx, dy]) => {
    const [x, y] = middle(from);
    let best = null, least = Infinity;
    for (const b of buttons()) {
      const [u, v] = middle(b);
      const ahead = (u - x) * dx + (v - y) * dy, aside = Math.abs((u - x) * dy + (v - y) * dx);
      if (b === from || ahead < 1) continue;
      const far = ahead + 3 * aside;
      if (far < least) { least = far; best = b; }
    }
    if (best) { at = name(best); focusable(); best.focus(); }
  };
  const slide = () => {
    const most = model.get("tolerance") + 1e-9, hidden = new Set(model.get("hidden"));
    for (const line of el.querySelectorAll("[data-joint]")) {
      const least = line.dataset.least;
      const gone = [...line.classList].some((c) => hidden.has(c));
      line.style.display = gone || (least !== undefined && Number(least) > most) ? "none" : "";
    }
  };
  const mark = () => {
    const found = new Set(model.get("marked"));
    el.classList.toggle("fg-seeking", found.size > 0);
    for (const b of buttons()) {
      b.classList.toggle("fg-found", found.has(name(b)));
      // Of a product's roles one may be chosen; that is told as well.
      if (el.querySelector(".fg-product") && (found.size || b.hasAttribute("aria-pressed")))
        b.setAttribute("aria-pressed", found.has(name(b)));
    }
  };
  const draw = () => {
    const held = el.contains(document.activeElement);
    el.innerHTML = model.get("svg");
    slide();
    mark();
    const one = focusable();
    if (held && one) one.focus();
  };
  el.addEventListener("click", (event) => press(event.target.closest("[role=button]")));
  el.addEventListener("keydown", (event) => {
    const from = event.target.closest("[role=button]");
    if (!from) return;
    const by = step[event.key];
    if (!by && event.key !== "Enter" && event.key !== " ") return;
    event.preventDefault();
    event.stopPropagation();
    if (by) move(from, by); else press(from);
  });
  // What has two drawings is told which of them there is room for.
  const room = new ResizeObserver(() => {
    if (!el.offsetWidth) return;
    const narrow = el.offsetWidth < NARROW;
    if (narrow === model.get("narrow")) return;
    model.set("narrow", narrow);
    model.save_changes();
  });
  room.observe(el);
  model.on("change:svg", draw);
  model.on("change:tolerance", slide);
  model.on("change:hidden", slide);
  model.on("change:marked", mark);
  draw();
  return () => room.disconnect();
}
export default { render };
"""

_STYLE = """
.fg-pressable{overflow-x:auto;width:100%}
.fg-pressable .fg-svg{display:block;width:100%;min-width:min(100%,340px);height:auto}
.fg-pressable .fg-product{min-width:min(100%,520px);max-width:760px}
@media (max-width:600px){.fg-pressable .fg-product text{font-size:15px}}
.fg-pressable [role=button]{cursor:pointer;outline:none}
.fg-pressable [role=button]:focus-visible circle,.fg-pressable [role=button]:focus-visible rect,
.fg-pressable [role=button]:hover circle{stroke:var(--fg-fits);stroke-width:4}
.fg-pressable.fg-seeking [data-node]:not(.fg-found),.fg-pressable.fg-seeking [data-joint]
{opacity:.25}
.fg-pressable.fg-seeking .fg-product [data-node]:not(.fg-found){opacity:1}
.fg-pressable .fg-product .fg-found rect{stroke:var(--fg-fits);stroke-width:2}
.fg-pressable svg:not(.fg-product) .fg-found :is(circle,rect){stroke:var(--fg-fails);stroke-width:4}
"""


class Pressable(anywidget.AnyWidget):
    """A drawing with buttons in it.

    Attributes
    ----------
    svg : str
        Made by :mod:`fitgraph.draw`; buttons have ``role="button"`` and ``data-node`` or
        ``data-part``, lines ``data-joint`` and ``data-least``.
    tolerance : float
        Lines whose ``data-least`` is greater are not shown.
    hidden : list of str
        Classes of lines that are not shown at all.
    marked : list of str
        Buttons that stand out; with any, the others stand back.
    pressed : list
        ``"node"`` or ``"part"``, its name, and a number that goes up by one at each press.
    narrow : bool
        Whether there is only room for a narrow drawing; told by the page.
    """

    _esm = _SCRIPT
    _css = _STYLE
    svg = traitlets.Unicode().tag(sync=True)
    tolerance = traitlets.Float(0.0).tag(sync=True)
    hidden = traitlets.List(traitlets.Unicode()).tag(sync=True)
    marked = traitlets.List(traitlets.Unicode()).tag(sync=True)
    pressed = traitlets.List(["", "", 0]).tag(sync=True)
    narrow = traitlets.Bool(False).tag(sync=True)
