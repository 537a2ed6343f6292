"""What a component shows, as plain HTML: a page shows it until the component itself is there.

A page has its words as soon as its cells are run, but the widgets' own code comes seconds later.
Until then it shows this: the same words, sections and answers, with controls that cannot be
pressed yet. Links and what folds by itself work at once.
"""

from __future__ import annotations

from collections.abc import Callable
from html import escape
from typing import Any

import anywidget
import ipywidgets as widgets

from fitgraph.lab.cell_grid import CellGrid
from fitgraph.lab.choices import Choices
from fitgraph.lab.pressable import Pressable
from fitgraph.lab.slider import Slider
from fitgraph.report.as_html import unbroken

#: Under which type a notebook's output carries it; our template of pages knows it as well.
MIME = "application/vnd.fitgraph.early+html"

#: The place of a copy, and how its parts stand; the component waits unseen, as wide as it will be.
_CSS = (
    ".fg-early{overflow:visible}"
    ".fg-early .fg-box{display:flex;min-width:0;box-sizing:border-box}"
    ".fg-early .fg-down{flex-direction:column}.fg-early .fg-cells-in{display:grid}"
    ".fg-early .fg-field{display:flex;align-items:center;min-width:0;min-height:28px;margin:2px}"
    ".fg-early .fg-field>span{flex:0 0 8.5em;text-align:right;padding-right:8px}"
    ".fg-early .fg-field>input{flex:1 1 8em;min-width:0;height:28px;padding:0 8px;"
    "box-sizing:border-box}"
    ".fg-early .jupyter-button{margin:2px;width:max-content;max-width:100%}"
    ".fg-early .widget-html{margin:0;min-width:0}.fg-early .fg-pressable{pointer-events:none}"
    "body:has(.fg-early) .fg-form{visibility:hidden;height:0;overflow:hidden!important}"
)

#: Of a layout, what has its own way here.
_NOT_LAYOUT = ("grid_area",)


def early_html(component: widgets.Widget) -> str:
    """Return a component as it stands, as HTML without any control that could be pressed.

    Parameters
    ----------
    component : Widget
        What a notebook shows.

    Returns
    -------
    str
        One element; its class is ``fg-early``.
    """
    sheets: dict[str, None] = {}
    inner = "".join(_shown(child, sheets) for child in component.children)
    # The rules of what takes part say "inside the form", which the copy is not.
    inner = inner.replace(".fg-form", ":is(.fg-form,.fg-early)")
    return (
        f'<div class="fg fg-early" aria-busy="true"><style>{_CSS}{"".join(sheets)}</style>'
        f"{inner}</div>"
    )


def _shown(widget: Any, sheets: dict[str, None]) -> str:
    """Return one widget with all that it is made of; style sheets are gathered."""
    display = getattr(getattr(widget, "layout", None), "display", None)
    if display == "none":
        return ""
    if isinstance(widget, anywidget.AnyWidget) and isinstance(getattr(widget, "_css", None), str):
        sheets[widget._css] = None
    for kind, show in _WRITERS:
        if isinstance(widget, kind):
            return show(widget, sheets)
    return ""


def _open(widget: Any, *classes: str) -> str:
    """Return the start of a widget's element, with its classes and its layout."""
    layout = widget.layout
    rules = ";".join(
        f"{name.replace('_', '-')}:{value}"
        for name in sorted(layout.keys)
        if not name.startswith("_") and name not in _NOT_LAYOUT and (value := getattr(layout, name))
    )
    own = (c for c in getattr(widget, "_dom_classes", ()) if c != "fg-form")
    named = " ".join((*classes, *own))
    return f'<div class="{escape(named)}" style="{escape(rules)}">'


def _box(widget: Any, sheets: dict[str, None]) -> str:
    kind = (
        "fg-cells-in"
        if isinstance(widget, widgets.GridBox)
        else "fg-down"
        if isinstance(widget, widgets.VBox)
        else "fg-across"
    )
    inner = "".join(_shown(child, sheets) for child in widget.children)
    return f"{_open(widget, 'fg-box', kind)}{inner}</div>"


def _words(widget: Any, _sheets: dict[str, None]) -> str:
    text = widget.value.replace("<button", "<button disabled")
    return f'{_open(widget, "widget-html")}<div class="widget-html-content">{text}</div></div>'


def _button(widget: Any, _sheets: dict[str, None]) -> str:
    classes = " ".join(("jupyter-button", *widget._dom_classes))
    return f'<button class="{classes}" disabled>{escape(widget.description)}</button>'


def _field(widget: Any, _sheets: dict[str, None]) -> str:
    value = getattr(widget, "label", None) or getattr(widget, "value", "")
    hint = escape(str(getattr(widget, "placeholder", "")))
    return (
        f"{_open(widget, 'fg-field')}<span>{escape(widget.description)}</span>"
        f'<input type="text" aria-label="{escape(widget.description)}" placeholder="{hint}" '
        f'value="{escape(str(value or ""))}" disabled></div>'
    )


def _tick(widget: Any, _sheets: dict[str, None]) -> str:
    on = " checked" if widget.value else ""
    return (
        f'{_open(widget, "fg-field")}<label><input type="checkbox" disabled{on}> '
        f"{escape(widget.description)}</label></div>"
    )


def _options(widget: Any, _sheets: dict[str, None]) -> str:
    """Return what a list offers, the first few; which is chosen is said with the answer."""
    texts = [o if isinstance(o, str) else o[0] for o in widget.options][: widget.rows]
    inner = "".join(f"<option>{escape(str(text))}</option>" for text in texts)
    return (
        f"{_open(widget, 'fg-field')}<span>{escape(widget.description)}</span>"
        f'<select aria-label="{escape(widget.description)}" size="{widget.rows}" disabled '
        f'style="flex:1 1 8em;min-width:0">{inner}</select></div>'
    )


def _slider(widget: Any, _sheets: dict[str, None]) -> str:
    words = f"{widget.value:.{widget.digits}f} {widget.unit}"
    if widget.at_end and widget.value >= widget.max:
        words = widget.at_end
    return (
        f"{_open(widget, 'fg-slider')}<label>{escape(widget.description)}</label>"
        f'<input type="range" aria-label="{escape(widget.description)}" min="{widget.min}" '
        f'max="{widget.max}" step="{widget.step}" value="{widget.value}" disabled>'
        f"<output>{escape(words)}</output></div>"
    )


def _choices(widget: Any, _sheets: dict[str, None]) -> str:
    drawn = []
    for item in widget.items:
        on = item.get("on")
        pressed = "" if on is None else f' aria-pressed="{"true" if on else "false"}"'
        picture = f"<span>{item['picture']}</span>" if item.get("picture") else ""
        words = {
            key: f'<span class="fg-{key}">{unbroken(escape(item[key]))}</span> '
            for key in ("tag", "numbers", "note")
            if item.get(key)
        }
        drawn.append(
            f"<button disabled{pressed}>{picture}<span>{words.get('tag', '')}"
            f"<strong>{unbroken(escape(item['label']))}</strong> "
            f"{words.get('numbers', '')}{words.get('note', '')}</span></button>"
        )
    tall = " fg-list" if widget.tall else ""
    return f'<div class="fg-choices{tall}">{"".join(drawn)}</div>'


def _drawing(widget: Any, _sheets: dict[str, None]) -> str:
    # Its buttons are parts of a drawing; until somebody listens they are none.
    still = widget.svg.replace('role="button"', "").replace('tabindex="0"', "")
    return f'<div class="fg-pressable">{still}</div>'


def _cells(widget: Any, _sheets: dict[str, None]) -> str:
    def heading(scope: str, group: dict[str, str]) -> str:
        note = f'<span class="fg-cells-note">{escape(group.get("note", ""))}</span>' * bool(
            group.get("note")
        )
        return f'<th scope="{scope}"><span>{escape(group["label"])}</span>{note}</th>'

    def cell(row: dict[str, str], column: dict[str, str], held: dict[str, Any] | None) -> str:
        whole = "" if row["key"] and column["key"] else ' class="fg-cells-all"'
        if held is None:
            return f'<td{whole}><span class="fg-cells-none">–</span></td>'
        bar = "".join(
            f'<span class="fg-piece fg-piece-{n}" style="flex-grow:{share}"></span>'
            for n, share in enumerate(held["parts"])
            if share > 0
        )
        return (
            f'<td{whole}><button disabled aria-label="{escape(held["label"])}">'
            f'<span class="fg-cells-text">{escape(held["text"])}</span>'
            f'<span class="fg-cells-small">{escape(held["small"])}</span>'
            f'<span class="fg-bar">{bar}</span></button></td>'
        )

    if not widget.rows:
        return ""
    head = "".join(heading("col", column) for column in widget.columns)
    body = "".join(
        f"<tr>{heading('row', row)}"
        + "".join(cell(row, c, one) for c, one in zip(widget.columns, cells, strict=True))
        + "</tr>"
        for row, cells in zip(widget.rows, widget.cells, strict=True)
    )
    return (
        f'<div class="fg-cells"><table><caption>{escape(widget.caption)}</caption><thead><tr>'
        f'<td class="fg-cells-corner">{escape(widget.corner)}</td>{head}</tr></thead>'
        f"<tbody>{body}</tbody></table></div>"
    )


#: How each kind of widget is written; the first that fits is taken, and what is none is left out.
_WRITERS: tuple[tuple[type | tuple[type, ...], Callable[[Any, dict[str, None]], str]], ...] = (
    (widgets.HTML, _words),
    (widgets.Box, _box),
    ((widgets.Button, widgets.ToggleButton, widgets.FileUpload), _button),
    (widgets.Checkbox, _tick),
    (widgets.Select, _options),
    ((widgets.Text, widgets.Combobox, widgets.Dropdown), _field),
    (Slider, _slider),
    (Choices, _choices),
    (Pressable, _drawing),
    (CellGrid, _cells),
)
