"""What a page prints: lists with all their lines, what is folded away opened, nothing empty."""

from __future__ import annotations

import anywidget

#: Lines of a list, and rows of a table, that stand on paper; of more it is said how many.
MOST_PRINTED = 400

#: A longer list goes to the end of what is printed: what it stands beside comes first.
MOST_IN_PLACE, FIRST_IN_PLACE = 30, 8

_SCRIPT = """
const MOST = %d, IN_PLACE = %d, FIRST = %d;

function render({ el }) {
  let undo = [];
  const change = (does, back) => { does(); undo.push(back); };

  // A list shows so many lines as it is high, on paper as well: there its lines stand as text.
  const list = (select, form) => {
    const all = [...select.options], chosen = all.filter((option) => option.selected);
    const write = (options, rest) => {
      const lines = document.createElement("ul");
      lines.className = "fg-lines";
      for (const option of options) {
        const line = document.createElement("li");
        line.textContent = option.textContent;
        if (option.selected) line.className = "fg-strong";
        lines.append(line);
      }
      if (rest) lines.append(Object.assign(document.createElement("li"), { textContent: rest }));
      return lines;
    };
    const cut = all.length > MOST;
    const whole = write(all.slice(0, MOST),
      cut ? `Lines 1 to ${MOST} of ${all.length}; the page has the others.` : "");
    if (all.length <= IN_PLACE) return change(() => select.after(whole), () => whole.remove());
    const first = all.slice(0, FIRST), label = select.getAttribute("aria-label") ||
      select.closest(".widget-select")?.querySelector(".widget-label")?.textContent || "The list";
    const few = write([...chosen.filter((option) => !first.includes(option)), ...first],
      `${all.length} lines in all: they stand at the end.`);
    const end = document.createElement("section"), title = document.createElement("h3");
    end.className = "fg-lines-end";
    title.textContent = label;
    end.append(title, whole);
    change(() => { select.after(few); form.append(end); }, () => { few.remove(); end.remove(); });
  };
  // What a row of a table or a drawing besides holds is named by its title, and not opened.
  const before = () => {
    const form = el.closest(".fg-form");
    if (!form || undo.length) return;
    for (const details of form.querySelectorAll("details:not([open])")) {
      if (details.closest("td, th") || details.querySelector(".fg-drawn")) continue;
      change(() => { details.open = true; }, () => { details.open = false; });
    }
    for (const select of form.querySelectorAll(".widget-select select")) list(select, form);
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
.fg-form .fg-lines-end h3{font-size:14px;margin:1em 0 .3em;break-after:avoid}
@media screen{.fg-form :is(.fg-lines,.fg-lines-end){display:none}}
@media print{.fg-form .widget-select select,.fg-form .fg-blank{display:none!important}
.fg-form .widget-select{height:auto!important;max-height:none!important;width:100%!important}}
"""


class Paper(anywidget.AnyWidget):
    """Shows nothing; makes a page ready for paper, and afterwards as it was."""

    _esm = _SCRIPT % (MOST_PRINTED, MOST_IN_PLACE, FIRST_IN_PLACE)
    _css = _STYLE
