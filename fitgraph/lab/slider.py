"""A slider that says what it moves: the browser's own, with a label and its value in words.

ipywidgets' slider gives its handle no accessible name, so a screen reader says a number and
nothing else; this is the one control for which the widgets at hand will not do.
"""

from __future__ import annotations

import anywidget
import traitlets

_SCRIPT = """
function render({ model, el }) {
  const id = "fg-slider-" + Math.random().toString(36).slice(2);
  const label = document.createElement("label");
  const input = document.createElement("input");
  const output = document.createElement("output");
  label.htmlFor = input.id = id;
  output.htmlFor = id;
  input.type = "range";
  el.classList.add("fg-slider");
  el.append(label, input, output);
  const words = () => {
    const value = Number(model.get("value"));
    const ends = model.get("at_end");
    if (ends && value >= model.get("max")) return ends;
    return value.toFixed(model.get("digits")) + " " + model.get("unit");
  };
  const show = () => {
    label.textContent = model.get("description");
    input.min = model.get("min");
    input.max = model.get("max");
    input.step = model.get("step");
    input.value = model.get("value");
    input.disabled = model.get("disabled");
    output.textContent = words();
    input.setAttribute("aria-valuetext", words());
  };
  input.addEventListener("input", () => {
    model.set("value", Number(input.value));
    output.textContent = words();
    input.setAttribute("aria-valuetext", words());
    model.save_changes();
  });
  for (const name of ["description", "min", "max", "step", "value", "unit", "disabled"])
    model.on("change:" + name, show);
  show();
}
export default { render };
"""

_STYLE = """
.fg-slider{display:grid;grid-template-columns:8.5em minmax(60px,1fr) 7em;gap:8px;
align-items:center;margin:2px;width:calc(100% - 4px)}
.fg-slider label{text-align:right}
.fg-slider input{width:100%;accent-color:var(--fg-fits);margin:0}
.fg-slider output{font-variant-numeric:tabular-nums}
.fg-slider label,.fg-slider output{color:var(--fg-ink);font-size:var(--jp-widgets-font-size,13px)}
"""


class Slider(anywidget.AnyWidget):
    """A labelled slider.

    Attributes
    ----------
    value, min, max, step : float
        In `unit`.
    description : str
        Its label.
    unit : str
        Stands behind the value.
    digits : int
        Decimals shown.
    at_end : str
        What is shown instead of the value at the right end; empty for the value.
    disabled : bool
        Whether it cannot be moved.
    """

    _esm = _SCRIPT
    _css = _STYLE
    value = traitlets.Float(0.0).tag(sync=True)
    min = traitlets.Float(0.0).tag(sync=True)
    max = traitlets.Float(1.0).tag(sync=True)
    step = traitlets.Float(0.01).tag(sync=True)
    description = traitlets.Unicode().tag(sync=True)
    unit = traitlets.Unicode().tag(sync=True)
    digits = traitlets.Int(2).tag(sync=True)
    at_end = traitlets.Unicode().tag(sync=True)
    disabled = traitlets.Bool(False).tag(sync=True)
