"""What a page prints: lists with all their lines, what is folded away opened, nothing empty."""

from __future__ import annotations

import anywidget

#: Lines of a list, and rows of a table, that stand on paper; of more it is said how many.
MOST_PRINTED = 400

_SCRIPT = """
const MOST = %d;

function render({ el }) {
  let undo = [];
  const change = (does, back) => { does(); undo.push(back); };

  // A list shows so many lines as it is high, on paper as well: there its lines stand as text.
  const list = (select) => {
    const lines = document.createElement("ul"), all = [...select.options];
    lines.className = "fg-lines";
    for (const option of all.slice(0, MOST)) {
      const line = document.createElement("li");
      line.textContent = option.textContent;
      if (option.selected) line.className = "fg-strong";
      lines.append(line);
    }
    if (all.length > MOST) {
      const rest = document.createElement("li");
      rest.textContent = `Lines 1 to ${MOST} of ${all.length}; the page has the others.`;
      lines.append(rest);
    }
    change(() => select.after(lines), () => lines.remove());
  };
  // What a row of a table or a drawing besides holds is named by its title, and not opened.
  const before = () => {
    const form = el.closest(".fg-form");
    if (!form || undo.length) return;
    for (const details of form.querySelectorAll("details:not([open])")) {
      if (details.closest("td, th") || details.querySelector(".fg-drawn")) continue;
      change(() => { details.open = true; }, () => { details.open = false; });
    }
    for (const select of form.querySelectorAll(".widget-select select")) list(select);
    for (const fold of form.querySelectorAll(".fg-fold")) {
      const inner = fold.querySelector(":scope > .fg-inner");
      if (!inner.textContent.trim() && !inner.querySelector("svg, canvas"))
        change(() => fold.classList.add("fg-blank"), () => fold.classList.remove("fg-blank"));
      const title = fold.querySelector(":scope > .jupyter-button"), text = title.lastChild;
      if (text?.nodeType !== Node.TEXT_NODE) continue;
      const words = text.data;
      change(() => { text.data = words.replace(/^[\\u25b8\\u25be]\\s*/, ""); },
        () => { text.data = words; });
    }
  };
  const after = () => {
    for (const back of undo.reverse()) back();
    undo = [];
  };
  addEventListener("beforeprint", before);
  addEventListener("afterprint", after);
  return () => {
    removeEventListener("beforeprint", before);
    removeEventListener("afterprint", after);
  };
}
export default { render };
"""

_STYLE = """
.fg-form .fg-lines{margin:0;padding-left:1.2em;font-size:11px;line-height:1.45;flex:1 1 auto;
columns:240px;column-gap:24px}
.fg-form .fg-lines li{break-inside:avoid}
.fg-form .fg-lines .fg-strong{font-weight:600}
@media screen{.fg-form .fg-lines{display:none}}
@media print{.fg-form .widget-select select,.fg-form .fg-blank{display:none!important}
.fg-form .widget-select{height:auto!important;max-height:none!important;width:100%!important}}
"""


class Paper(anywidget.AnyWidget):
    """Shows nothing; makes a page ready for paper, and afterwards as it was."""

    _esm = _SCRIPT % MOST_PRINTED
    _css = _STYLE
