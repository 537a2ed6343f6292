"""What a page missed while it was opening, sent once it is there.

A page asks for the state of all widgets and listens to them from then on, a moment later. What
changes in between, as results do that are worked out meanwhile, reaches nobody.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import anywidget
import ipywidgets as widgets
import traitlets

from fitgraph.lab.chart import ChartCode

_SCRIPT = """
const PATIENCE_MS = 250, TURNS = 40;
const SLOW_MS = 100, ROUNDS = 4;

function render({ model, el }) {
  const manager = model.widget_manager;
  const held = new Map(); // what was shut, and what it stands in
  let form = null, over = false, turns = 0, known = Promise.resolve();
  let slow = false, rounds = 0;
  let field = null, typed = ""; // what had the focus, and what was typed into it since

  const shut = () => {
    if (over) return;
    form ??= el.closest(".fg-form");
    if (form) {
      form.setAttribute("aria-busy", "true");
      for (const child of form.children)
        if (!child.contains(el) && !child.inert) {
          if (child.contains(document.activeElement)) field = document.activeElement;
          held.set(child, (child.inert = true));
        }
    }
    requestAnimationFrame(shut);
  };
  // Who begins to type the moment a field is there loses no letter of it.
  const type = (event) => {
    if (!field?.matches("input[type=text],textarea") || event.key.length !== 1) return;
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    typed += event.key;
    event.preventDefault();
  };
  const done = () => {
    over = true;
    document.removeEventListener("keydown", type, true);
  };
  const free = () => {
    done();
    for (const copy of document.querySelectorAll(".fg-early")) copy.remove(); // see early.py
    form?.removeAttribute("aria-busy");
    if (form?.classList.contains("fg-stale")) return; // the kernel is gone: see Connection
    for (const child of held.keys()) child.inert = false;
    if (!field?.isConnected || ![field, document.body].includes(document.activeElement)) return;
    field.focus({ preventScroll: true });
    if (typed) document.execCommand("insertText", false, typed); // as if it were typed now
  };
  // What opened in between is unknown to the page; it asks once more for whatever is missing.
  const missing = () => model.get("models").filter((id) => !manager.has_model(id));
  // A stock number can be pressed once whoever opens its card listens.
  const deaf = () => form?.querySelector("[data-sku]") && !("fgCard" in form.dataset);
  const look = async () => {
    if ((missing().length || deaf()) && turns++ < TURNS) {
      if (missing().length)
        try { await manager._loadFromKernel?.(); } catch (error) { /* asked again */ }
      if (missing().length || deaf()) return setTimeout(look, PATIENCE_MS);
    }
    if (slow && rounds++ < ROUNDS) { slow = false; return ask(); }
    free();
  };
  const take = async ([id, state]) => {
    if (!manager.has_model(id)) return; // it is asked for as a whole
    // What changed while a model was still being made reached nobody, and is not in this state.
    const begun = performance.now();
    const other = await manager.get_model(id);
    if (performance.now() - begun > SLOW_MS) slow = true;
    other.set_state(await other.constructor._deserialize_state(state, manager));
  };
  const states = (message) => {
    if (message.states) known = Promise.allSettled(Object.entries(message.states).map(take));
  };
  const told = () => { if (model.get("here") >= model.get("times")) known.then(look); };
  model.on("msg:custom", states);
  model.on("change:here", told);
  document.addEventListener("keydown", type, true);
  const ask = () => {
    model.set("times", model.get("times") + 1);
    model.save_changes();
  };
  shut();
  ask();
  return () => {
    done();
    model.off("msg:custom", states);
    model.off("change:here", told);
  };
}
export default { render };
"""

#: Of a component whose controls cannot be pressed yet; its style lets no press through.
WAITING = "fg-waiting"

#: What never changes, and is large.
_FIXED = ("_esm", "_css")


class Arrival(anywidget.AnyWidget):
    """Shows nothing; says that a page shows a component, and sends it the component as it is.

    Until all of that is there, the component's controls are shut: a press would be lost. A field
    that had the focus before has it again then, with what was typed meanwhile.

    Parameters
    ----------
    component : Widget
        Whose child this is.
    """

    _esm = _SCRIPT
    times = traitlets.Int(0).tag(sync=True)
    here = traitlets.Int(0).tag(sync=True)
    models: Any = traitlets.List(traitlets.Unicode()).tag(sync=True)

    def __init__(self, component: widgets.Widget) -> None:
        self._component = component
        super().__init__()
        component.add_class(WAITING)
        self.observe(self._arrived, names="times")

    def _arrived(self, _change: object) -> None:
        whole = list(within(self._component))
        self._component.remove_class(WAITING)
        # In one message: a page that answers a hundred is slow.
        states = {
            widget.model_id: widget.get_state([key for key in widget.keys if key not in _FIXED])
            for widget in whole
            if widget is not self and not isinstance(widget, ChartCode)  # it never changes
        }
        self.send({"states": states})
        self.models = [w.model_id for w in whole if w.comm is not None]
        self.here = self.times


def within(component: widgets.Widget) -> Iterator[widgets.Widget]:
    """Yield a widget and all that it is made of, each once, what stands inside first."""
    seen: set[int] = set()

    def walk(widget: widgets.Widget) -> Iterator[widgets.Widget]:
        if id(widget) in seen:
            return
        seen.add(id(widget))
        for key in widget.keys:
            value = getattr(widget, key)
            for inner in value if isinstance(value, tuple | list) else (value,):
                if isinstance(inner, widgets.Widget):
                    yield from walk(inner)
        yield widget

    return walk(component)
