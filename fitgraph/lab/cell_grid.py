"""A table whose cells can be chosen, by a click or by keyboard.

A grid of ipywidgets' buttons would do the choosing, but has neither row nor column headings, so
a screen reader would say numbers without their places; this is the table that has both.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import anywidget
import traitlets

_SCRIPT = """
function render({ model, el }) {
  el.classList.add("fg-cells");
  const make = (name, text, klass) => {
    const node = document.createElement(name);
    if (text) node.textContent = text;
    if (klass) node.className = klass;
    return node;
  };
  let at = [0, 0];
  let buttons = [];
  const chosen = (r, c) => {
    const [row, column] = model.get("chosen");
    return model.get("rows")[r].key === row && model.get("columns")[c].key === column;
  };
  const focusable = () => {
    for (const { node, r, c } of buttons) node.tabIndex = r === at[0] && c === at[1] ? 0 : -1;
  };
  const mark = () => {
    for (const { node, r, c } of buttons) node.setAttribute("aria-pressed", chosen(r, c));
  };
  const move = (event, r, c) => {
    const step = { ArrowRight: [0, 1], ArrowLeft: [0, -1], ArrowDown: [1, 0], ArrowUp: [-1, 0] };
    const by = step[event.key];
    if (!by) return;
    event.preventDefault();
    const rows = model.get("rows").length, columns = model.get("columns").length;
    let [y, x] = [r + by[0], c + by[1]];
    while (y >= 0 && x >= 0 && y < rows && x < columns) {
      const found = buttons.find((b) => b.r === y && b.c === x);
      if (found) { at = [y, x]; focusable(); found.node.focus(); return; }
      y += by[0]; x += by[1];
    }
  };
  const heading = (scope, group) => {
    const th = make("th");
    th.scope = scope;
    th.append(make("span", group.label));
    if (group.note) th.append(make("span", group.note, "fg-cells-note"));
    return th;
  };
  const draw = () => {
    el.replaceChildren();
    buttons = [];
    const rows = model.get("rows"), columns = model.get("columns"), cells = model.get("cells");
    if (!rows.length) return;
    const table = make("table");
    table.append(make("caption", model.get("caption")));
    const head = make("thead"), line = make("tr");
    const corner = make("td", model.get("corner"), "fg-cells-corner");
    line.append(corner, ...columns.map((c) => heading("col", c)));
    head.append(line);
    const body = make("tbody");
    rows.forEach((row, r) => {
      const tr = make("tr");
      tr.append(heading("row", row));
      columns.forEach((column, c) => {
        const td = make("td"), cell = (cells[r] || [])[c];
        if (row.key === "" || column.key === "") td.className = "fg-cells-all";
        if (!cell) { td.append(make("span", "–", "fg-cells-none")); tr.append(td); return; }
        const node = make("button");
        node.type = "button";
        node.setAttribute("aria-label", cell.label);
        node.append(make("span", cell.text, "fg-cells-text"));
        node.append(make("span", cell.small, "fg-cells-small"));
        const bar = make("span", "", "fg-bar");
        cell.parts.forEach((share, n) => {
          const piece = make("span", "", "fg-piece fg-piece-" + n);
          piece.style.flexGrow = share;
          if (share > 0) bar.append(piece);
        });
        node.append(bar);
        node.addEventListener("click", () => {
          at = [r, c];
          focusable();
          model.set("chosen", [row.key, column.key]);
          model.save_changes();
        });
        node.addEventListener("keydown", (event) => move(event, r, c));
        buttons.push({ node, r, c });
        td.append(node);
        tr.append(td);
      });
      body.append(tr);
    });
    table.append(head, body);
    el.append(table);
    const first = buttons.find((b) => chosen(b.r, b.c)) || buttons[0];
    if (first) at = [first.r, first.c];
    mark();
    focusable();
  };
  model.on("change:table", draw);
  model.on("change:chosen", mark);
  draw();
}
export default { render };
"""

_STYLE = """
.fg-cells{overflow-x:auto;width:100%;padding:3px}
.fg-cells table{border-collapse:collapse;width:100%;font-size:14px;color:var(--fg-ink)}
.fg-cells caption{text-align:left;color:var(--fg-muted);padding:.2em 0}
.fg-cells th,.fg-cells .fg-cells-corner{text-align:left;vertical-align:bottom;
padding:.3em .6em .3em 0;font-weight:600;line-height:1.3;color:var(--fg-ink)}
.fg-cells tbody th{vertical-align:middle;min-width:6em;max-width:240px}
.fg-cells .fg-cells-corner{color:var(--fg-muted);font-weight:400;font-size:12px}
.fg-cells .fg-cells-note{display:block;font-weight:400;font-size:12px;color:var(--fg-muted)}
.fg-cells td{padding:2px;min-width:88px}
.fg-cells td.fg-cells-all{background:var(--fg-panel)}
.fg-cells button{display:block;width:100%;min-height:52px;padding:5px 8px;text-align:left;
font:inherit;color:var(--fg-ink);background:var(--fg-paper);border:1px solid var(--fg-line);
border-radius:5px;cursor:pointer;line-height:1.25}
.fg-cells button[aria-pressed=true]{outline:3px solid var(--fg-ink);outline-offset:-3px}
.fg-cells button:focus-visible{outline:3px solid var(--fg-fits);outline-offset:1px}
.fg-cells .fg-cells-text{display:block;font-weight:600;font-variant-numeric:tabular-nums;
white-space:nowrap}
.fg-cells .fg-cells-small{display:block;font-size:12px;color:var(--fg-muted)}
@media (max-width:600px){.fg-cells .fg-cells-note{display:none}
.fg-cells table{font-size:12px;table-layout:fixed}
.fg-cells .fg-cells-corner{width:60px}
.fg-cells thead th{width:58px;font-size:11px}
.fg-cells th{padding-right:.1em;overflow-wrap:anywhere}
.fg-cells tbody th{min-width:0}
.fg-cells td{min-width:0;padding:1px}
.fg-cells button{padding:4px}
.fg-cells .fg-cells-text{white-space:normal}
.fg-unserved td>p:first-child{display:inline}}
.fg-cells .fg-cells-none{color:var(--fg-muted);padding:0 8px}
.fg-unserved th:nth-child(3){width:30%}
.fg-unserved th:nth-child(4){width:52%}
.fg-unserved td p{margin:0!important}
.fg-bar{display:flex;height:8px;margin-top:4px;border:1px solid var(--fg-line);
background:var(--fg-paper);overflow:hidden}
.fg-swatch{display:inline-block;width:34px;height:10px;border:1px solid var(--fg-line)}
.fg-piece{display:block;flex-basis:0;min-width:2px}
.fg-piece+.fg-piece{border-left:1px solid var(--fg-line)}
.fg-piece-0{background:var(--fg-fits)}
.fg-piece-1{background:repeating-linear-gradient(45deg,var(--fg-fits) 0 2px,
var(--fg-paper) 2px 5px)}
.fg-piece-2{background:radial-gradient(circle,var(--fg-unknown) 1px,transparent 1.4px) 0 0/5px 4px}
.fg-piece-3{background:var(--fg-paper)}
"""


class CellGrid(anywidget.AnyWidget):
    """A table with headings and a bar in each cell; one cell is chosen.

    Attributes
    ----------
    corner, caption : str
        Stand in the corner and above.
    rows, columns : list of dict
        Headings: ``key``, ``label`` and ``note``; the empty key is that of all together.
    cells : list of list of dict or None
        ``text``, ``small``, ``label`` (read out) and ``parts``, four parts of a whole, for each
        row and column; None for an empty cell.
    chosen : list of str
        Keys of the chosen cell's row and column.
    table : int
        Goes up by one when a table is complete: only then is it drawn.
    """

    _esm = _SCRIPT
    _css = _STYLE
    corner = traitlets.Unicode().tag(sync=True)
    caption = traitlets.Unicode().tag(sync=True)
    rows: traitlets.List[Any] = traitlets.List().tag(sync=True)
    columns: traitlets.List[Any] = traitlets.List().tag(sync=True)
    cells: traitlets.List[Any] = traitlets.List().tag(sync=True)
    chosen = traitlets.List(["", ""]).tag(sync=True)
    table = traitlets.Int(0).tag(sync=True)

    def show(
        self,
        corner: str = "",
        caption: str = "",
        rows: Sequence[dict[str, str]] = (),
        columns: Sequence[dict[str, str]] = (),
        cells: Sequence[list[dict[str, object] | None]] = (),
    ) -> None:
        """Show another table, or none; all of it goes out in one message."""
        with self.hold_sync():
            self.corner, self.caption = corner, caption
            self.rows, self.columns, self.cells = list(rows), list(columns), list(cells)
            self.table += 1
