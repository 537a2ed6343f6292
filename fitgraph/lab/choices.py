"""Buttons to choose by, with pictures: one widget however many there are.

Its buttons are no widgets of their own, so a press on one that has just come is never lost: what
takes the press is there before anything is shown.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import anywidget
import traitlets

from fitgraph.lab.scripts import STAYS_WHOLE

_SCRIPT = r"""
function write(element, text) {
  element.append(...text.split(WORDS).map((piece) => {
    if (!staysWhole(piece)) return piece;
    const whole = document.createElement("span");
    whole.className = "fg-whole";
    whole.textContent = piece;
    return whole;
  }));
}
function render({ model, el }) {
  el.classList.add("fg-choices");
  const draw = () => {
    const held = el.contains(document.activeElement) ? document.activeElement.dataset.name : null;
    const items = model.get("items"), off = model.get("disabled");
    el.setAttribute("role", "group");
    el.setAttribute("aria-label", model.get("label"));
    el.classList.toggle("fg-list", model.get("tall"));
    el.replaceChildren(...items.map((item) => {
      const button = document.createElement("button");
      button.type = "button";
      button.dataset.name = item.name;
      button.disabled = off;
      if (item.picture) {
        const picture = document.createElement("span");
        picture.innerHTML = item.picture; // made by fitgraph.draw, which escapes what it letters
        button.append(picture);
      }
      const words = document.createElement("span"), label = document.createElement("strong");
      write(label, item.label);
      if (item.tag) {
        const tag = document.createElement("span");
        tag.className = "fg-tag";
        tag.textContent = item.tag;
        words.append(tag, " ");
      }
      words.append(label);
      if (item.numbers) {
        const numbers = document.createElement("span");
        numbers.className = "fg-numbers";
        write(numbers, item.numbers);
        words.append(" ", numbers);
      }
      if (item.note) {
        const note = document.createElement("span");
        note.className = "fg-note";
        write(note, item.note);
        words.append(note);
      }
      button.append(words);
      if (item.on !== undefined && item.on !== null)
        button.setAttribute("aria-pressed", item.on ? "true" : "false");
      button.addEventListener("click", () => {
        model.set("pressed", [item.name, model.get("pressed")[1] + 1]);
        model.save_changes();
      });
      return button;
    }));
    if (held !== null) {
      // Where none is left, one goes on at the field before them.
      const fields = el.closest(".fg-form")?.querySelectorAll("input[type=text]") || [];
      const follows = (field) =>
        field.compareDocumentPosition(el) & Node.DOCUMENT_POSITION_FOLLOWING;
      const again = [...el.children].find((b) => b.dataset.name === held) || el.firstElementChild
        || [...fields].filter(follows).pop();
      again?.focus({ preventScroll: true });
    }
  };
  model.on("change:items", draw);
  model.on("change:disabled", draw);
  draw();
}
export default { render };
"""

_STYLE = """
.fg-choices{display:flex;flex-wrap:wrap;gap:6px;width:100%;margin:2px 0}
.fg-choices.fg-list{display:grid;grid-template-columns:1fr}
.fg-choices button{display:flex;align-items:center;gap:8px;min-height:36px;padding:4px 12px;
cursor:pointer;text-align:left;font-family:inherit;font-size:14px;line-height:1.4;color:var(--fg-ink);
background:var(--fg-paper);border:1px solid var(--fg-line);border-radius:6px;max-width:100%}
.fg-choices.fg-list button{padding:7px 12px}
.fg-choices button:hover:enabled{border-color:var(--fg-fits);background:var(--fg-panel)}
.fg-choices .fg-tag{display:inline-block;padding:0 7px;margin-right:3px;border-radius:4px;
font-size:12px;line-height:1.5;color:var(--fg-fits);border:1px solid currentcolor}
.fg-choices button>span{min-width:0;overflow-wrap:anywhere}
.fg-choices strong{font-weight:600}
.fg-choices .fg-numbers{font-size:12px;color:var(--fg-muted);font-weight:400}
.fg-choices .fg-note{display:block;margin-top:2px;color:var(--fg-muted);font-weight:400}
.fg-choices button[aria-pressed=true]{border:2px solid var(--fg-fits);padding:3px 11px;
background:var(--fg-paper)}
.fg-choices.fg-list button[aria-pressed=true]{padding:6px 11px}
.fg-choices button[aria-pressed=true] strong::before{content:"✓ ";color:var(--fg-fits)}
.fg-choices button:disabled{color:var(--fg-muted);border-style:dashed;cursor:default}
.fg-choices button:focus-visible{outline:2px solid var(--fg-fits);outline-offset:1px}
.fg-choices .fg-look{display:block;width:56px;height:56px}
"""


class Choices(anywidget.AnyWidget):
    """Buttons to choose by.

    Parameters
    ----------
    label : str
        What they are, for those who have the page read out.
    tall : bool
        Whether they stand under one another.

    Attributes
    ----------
    items : list of dict
        ``name``, ``label``, and where wanted ``tag`` (what it stands out by), ``numbers`` (of
        stock, small behind the label), ``note``, ``picture`` (made by :mod:`fitgraph.draw`) and
        ``on`` (whether it is chosen).
    disabled : bool
        Whether none can be pressed for now.
    pressed : list
        The last one's name, and a number that goes up by one at each press.
    """

    _esm = STAYS_WHOLE + _SCRIPT
    _css = _STYLE
    items: Any = traitlets.List(traitlets.Dict()).tag(sync=True)
    label: Any = traitlets.Unicode().tag(sync=True)
    tall: Any = traitlets.Bool(False).tag(sync=True)
    disabled: Any = traitlets.Bool(False).tag(sync=True)
    pressed: Any = traitlets.List(["", 0]).tag(sync=True)

    def __init__(self, label: str, *, tall: bool = False) -> None:
        super().__init__(label=label, tall=tall)

    def show(self, items: Sequence[dict[str, Any]]) -> None:
        """Show these, each of which can be pressed."""
        with self.hold_sync():
            self.disabled = False
            self.items = list(items)

    def press(self, name: str) -> None:
        """Press one, as a page does."""
        self.pressed = [name, self.pressed[1] + 1]

    def on_press(self, function: Any) -> None:
        """Call a function with the name of what is pressed, if it is among what is shown."""

        def told(change: dict[str, Any]) -> None:
            name = change["new"][0]
            if not self.disabled and any(item["name"] == name for item in self.items):
                function(name)

        self.observe(told, names="pressed")
