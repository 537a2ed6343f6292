"""Tables of a page sort by their headers and filter by words, whoever made them.

It is done in the page with the rows that stand there, so nothing is asked of the kernel. What was
chosen stays when an answer draws the table anew.
"""

from __future__ import annotations

import anywidget

from fitgraph.lab.paper import MOST_PRINTED
from fitgraph.lab.scripts import WATCHED

_SCRIPT = """
const LEAST_TO_SORT = 3, LEAST_TO_FILTER = 9, MOST_PRINTED = %d;
const NUMBER = /[+\\-\\u2212]?\\d[\\d,\\u202f]*(?:\\.\\d+)?/;

// Not what is rendered of it: to be asked for that, a browser lays the whole page out each time.
const text = (cell) => (cell ? cell.textContent : "").trim();
const empty = (words) => words === "" || words === "\\u2013" || words === "\\u2014";
const figure = (words) => {
  const found = words.match(NUMBER);
  return found ? Number(found[0].replace(/[,\\u202f]/g, "").replace("\\u2212", "-")) : NaN;
};

// A notebook around the page takes such keys for itself.
const quiet = (event) => {
  if (event.key === "Enter" || event.key === " ") event.stopPropagation();
};

function prepare(table, kept) {
  table.dataset.fgSorts = "";
  const head = table.tHead?.rows.length === 1 ? table.tHead.rows[0] : null;
  const body = table.tBodies.length === 1 ? table.tBodies[0] : null;
  if (!head || !body || body.rows.length < LEAST_TO_SORT) return;
  if ([...table.querySelectorAll("th,td")].some((c) => c.colSpan > 1 || c.rowSpan > 1)) return;
  const rows = [...body.rows], titles = [...head.cells].map(text);
  const key = `${text(table.caption)}|${titles.join("|")}`;
  if (!kept.has(key)) kept.set(key, { column: -1, down: false, words: "", whole: false });
  const state = kept.get(key);
  const frame = table.closest(".fg-scroll") || table;
  const most = Number(table.dataset.most || Infinity);
  const rest = document.createElement("button"), count = document.createElement("span");
  count.setAttribute("role", "status");
  const unprinted = document.createElement("p");
  unprinted.className = "fg-note fg-on-paper";

  // Words find rows wherever they stand; without any, what is beyond the first few is folded.
  const show = () => {
    const wanted = state.words.toLocaleLowerCase().split(/\\s+/).filter(Boolean);
    let shown = 0;
    [...body.rows].forEach((row, at) => {
      const has = wanted.every((w) => row.textContent.toLocaleLowerCase().includes(w));
      row.hidden = !has;
      row.classList.toggle("fg-beyond", !wanted.length && !state.whole && at >= most);
      row.classList.toggle("fg-unprinted", has && shown >= MOST_PRINTED);
      shown += has;
    });
    count.textContent = wanted.length ? ` ${shown} of ${rows.length}` : "";
    rest.textContent = state.whole ? "Show fewer" : `${rows.length - most} more`;
    rest.setAttribute("aria-expanded", String(state.whole));
    rest.hidden = wanted.length > 0 || rows.length <= most;
    unprinted.hidden = shown <= MOST_PRINTED;
    unprinted.textContent = `Rows 1 to ${MOST_PRINTED} of ${shown}; the page has the others.`;
  };

  const order = () => {
    const n = state.column;
    let sorted = rows;
    if (n >= 0) {
      const told = rows.map((row) => text(row.cells[n])).filter((w) => !empty(w));
      const numeric = told.length && told.every((w) => !Number.isNaN(figure(w)) &&
        !/^[a-z]/i.test(w));
      const by = numeric ? (a, b) => figure(a) - figure(b)
        : (a, b) => a.localeCompare(b, undefined, { numeric: true, sensitivity: "base" });
      sorted = rows.map((row, at) => [text(row.cells[n]), at, row]).sort(([a, i], [b, j]) => {
        if (empty(a) || empty(b)) return empty(a) - empty(b) || i - j; // last, either way
        return (state.down ? by(b, a) : by(a, b)) || i - j;
      }).map(([, , row]) => row);
    }
    body.append(...sorted);
    [...head.cells].forEach((cell, at) => {
      if (!cell.querySelector(".fg-sort")) return;
      cell.setAttribute("aria-sort",
        at !== n ? "none" : state.down ? "descending" : "ascending");
    });
    show();
  };
  [...head.cells].forEach((cell, at) => {
    if (!titles[at]) return;
    const button = document.createElement("button");
    button.type = "button";
    button.className = "fg-sort";
    button.append(...cell.childNodes);
    cell.append(button);
    button.addEventListener("click", () => {
      if (state.column !== at) { state.column = at; state.down = false; }
      else if (!state.down) state.down = true;
      else state.column = -1; // as it was
      order();
    });
    button.addEventListener("keydown", quiet);
  });
  if (rows.length >= LEAST_TO_FILTER) {
    const label = document.createElement("label"), field = document.createElement("input");
    label.className = "fg-filter";
    field.type = "search";
    field.value = state.words;
    field.placeholder = "words to look for";
    label.append("Rows with ", field, count);
    field.addEventListener("input", () => { state.words = field.value; show(); });
    field.addEventListener("keydown", (event) => event.stopPropagation());
    frame.before(label);
  }
  if (rows.length > most) {
    rest.type = "button";
    rest.className = "fg-rest";
    rest.addEventListener("click", () => { state.whole = !state.whole; show(); });
    rest.addEventListener("keydown", quiet);
    frame.after(rest);
  }
  frame.after(unprinted);
  order();
}

function render({ el }) {
  const kept = new Map();
  return watched(el, (form) => {
    for (const table of form.querySelectorAll(".fg-html table:not([data-fg-sorts])"))
      prepare(table, kept);
  });
}
export default { render };
"""

_STYLE = """
.fg-html .fg-sort{all:unset;cursor:pointer;font:inherit;color:inherit}
.fg-html .fg-sort:hover{text-decoration:underline}
.fg-html .fg-sort:focus-visible{outline:2px solid var(--fg-fits);outline-offset:2px}
.fg-html th[aria-sort=ascending] .fg-sort::after{content:" \\25B4"}
.fg-html th[aria-sort=descending] .fg-sort::after{content:" \\25BE"}
.fg-html .fg-rest{font:inherit;min-height:32px;padding:2px 10px;cursor:pointer;
margin:2px 0 6px;color:var(--fg-ink);background:var(--fg-paper);border:1px solid var(--fg-line);
border-radius:6px}
.fg-html .fg-rest:focus-visible{outline:2px solid var(--fg-fits);outline-offset:1px}
.fg-html .fg-filter{display:block;margin:6px 0 2px;color:var(--fg-muted)}
.fg-html .fg-filter input{font:inherit;min-height:28px;padding:2px 8px;margin-left:4px;
width:min(18em,60%);color:var(--fg-ink);background:var(--fg-paper);border:1px solid var(--fg-line);
border-radius:5px}
.fg-html .fg-filter input:focus-visible{outline:2px solid var(--fg-fits);outline-offset:1px}
@media screen{.fg-html .fg-beyond,.fg-html .fg-on-paper{display:none!important}}
@media print{.fg-html .fg-rest,.fg-html .fg-filter:has(input:placeholder-shown),
.fg-html .fg-unprinted{display:none!important}}
"""


class Sorting(anywidget.AnyWidget):
    """Shows nothing; makes the headers of a page's tables sort, and long tables filter."""

    _esm = WATCHED + _SCRIPT % MOST_PRINTED
    _css = _STYLE
