"""What a component shows, as plain HTML: a page shows it until the component itself is there.

A page has its words as soon as its cells are run, but the widgets' own code comes seconds later.
Until then it shows this: the same words, sections and answers, with controls that cannot be
pressed yet. Links and what folds by itself work at once.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import anywidget
import ipywidgets as widgets
from markupsafe import Markup, escape

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


def early_html(component: widgets.Widget) -> Markup:
    """Return a component as it stands, as HTML without any control that could be pressed.

    Parameters
    ----------
    component : Widget
        What a notebook shows.

    Returns
    -------
    Markup
        One element; its class is ``fg-early``.
    """
    sheets: dict[str, None] = {}
    inner = Markup("").join(_shown(child, sheets) for child in component.children)
    # The rules of what takes part say "inside the form", which the copy is not.
    inner = inner.replace(".fg-form", ":is(.fg-form,.fg-early)")
    rules = Markup(_CSS + "".join(sheets))
    return Markup('<div class="fg fg-early" aria-busy="true"><style>{}</style>{}</div>').format(
        rules, inner
    )


def _shown(widget: Any, sheets: dict[str, None]) -> Markup:
    """Return one widget with all that it is made of; style sheets are gathered."""
    display = getattr(getattr(widget, "layout", None), "display", None)
    if display == "none":
        return Markup("")
    if isinstance(widget, anywidget.AnyWidget) and isinstance(getattr(widget, "_css", None), str):
        sheets[widget._css] = None
    for kind, show in _WRITERS:
        if isinstance(widget, kind):
            return show(widget, sheets)
    return Markup("")


def _within(widget: Any, inner: Markup, *classes: str) -> Markup:
    """Return a widget's element, with its classes and its layout, around what is in it."""
    layout = widget.layout
    rules = ";".join(
        f"{name.replace('_', '-')}:{value}"
        for name in sorted(layout.keys)
        if not name.startswith("_") and name not in _NOT_LAYOUT and (value := getattr(layout, name))
    )
    own = (c for c in getattr(widget, "_dom_classes", ()) if c != "fg-form")
    named = " ".join((*classes, *own))
    return Markup('<div class="{}" style="{}">{}</div>').format(named, rules, inner)


def _labelled(widget: Any, control: Markup) -> Markup:
    """Return a field with what it is called before it."""
    label = Markup("<span>{}</span>").format(widget.description)
    return _within(widget, label + control, "fg-field")


def _box(widget: Any, sheets: dict[str, None]) -> Markup:
    kind = (
        "fg-cells-in"
        if isinstance(widget, widgets.GridBox)
        else "fg-down"
        if isinstance(widget, widgets.VBox)
        else "fg-across"
    )
    inner = Markup("").join(_shown(child, sheets) for child in widget.children)
    return _within(widget, inner, "fg-box", kind)


def _words(widget: Any, _sheets: dict[str, None]) -> Markup:
    text = Markup(widget.value.replace("<button", "<button disabled"))
    inner = Markup('<div class="widget-html-content">{}</div>').format(text)
    return _within(widget, inner, "widget-html")


def _button(widget: Any, _sheets: dict[str, None]) -> Markup:
    classes = " ".join(("jupyter-button", *widget._dom_classes))
    return Markup('<button class="{}" disabled>{}</button>').format(classes, widget.description)


def _field(widget: Any, _sheets: dict[str, None]) -> Markup:
    value = getattr(widget, "label", None) or getattr(widget, "value", "")
    control = Markup(
        '<input type="text" aria-label="{}" placeholder="{}" value="{}" disabled>'
    ).format(widget.description, getattr(widget, "placeholder", ""), value or "")
    return _labelled(widget, control)


def _tick(widget: Any, _sheets: dict[str, None]) -> Markup:
    told = Markup('<label><input type="checkbox" disabled{}> {}</label>').format(
        Markup(" checked" * widget.value), widget.description
    )
    return _within(widget, told, "fg-field")


def _options(widget: Any, _sheets: dict[str, None]) -> Markup:
    """Return what a list offers, the first few; which is chosen is said with the answer."""
    texts = [o if isinstance(o, str) else o[0] for o in widget.options][: widget.rows]
    inner = Markup("").join(map(Markup("<option>{}</option>").format, texts))
    control = Markup(
        '<select aria-label="{}" size="{}" disabled style="flex:1 1 8em;min-width:0">{}</select>'
    ).format(widget.description, widget.rows, inner)
    return _labelled(widget, control)


def _slider(widget: Any, _sheets: dict[str, None]) -> Markup:
    words = f"{widget.value:.{widget.digits}f} {widget.unit}"
    if widget.at_end and widget.value >= widget.max:
        words = widget.at_end
    inner = Markup(
        '<label>{0}</label><input type="range" aria-label="{0}" min="{1}" max="{2}" step="{3}" '
        'value="{4}" disabled><output>{5}</output>'
    ).format(widget.description, widget.min, widget.max, widget.step, widget.value, words)
    return _within(widget, inner, "fg-slider")


def _whole(text: str) -> Markup:
    return Markup(unbroken(escape(text)))


def _choice(item: dict[str, Any]) -> Markup:
    on = item.get("on")
    pressed = Markup("" if on is None else ' aria-pressed="{}"').format("true" if on else "false")
    drawn = item.get("picture")  # made by fitgraph.draw, which escapes what it letters
    picture = Markup("<span>{}</span>").format(Markup(drawn)) if drawn else ""
    tag, numbers, note = (
        Markup('<span class="fg-{}">{}</span> ').format(key, _whole(item[key]))
        if item.get(key)
        else ""
        for key in ("tag", "numbers", "note")
    )
    return Markup("<button disabled{}>{}<span>{}<strong>{}</strong> {}{}</span></button>").format(
        pressed, picture, tag, _whole(item["label"]), numbers, note
    )


def _choices(widget: Any, _sheets: dict[str, None]) -> Markup:
    drawn = Markup("").join(map(_choice, widget.items))
    tall = " fg-list" if widget.tall else ""
    return Markup('<div class="fg-choices{}">{}</div>').format(tall, drawn)


def _drawing(widget: Any, _sheets: dict[str, None]) -> Markup:
    # Its buttons are parts of a drawing; until somebody listens they are none.
    still = widget.svg.replace('role="button"', "").replace('tabindex="0"', "")
    return Markup('<div class="fg-pressable">{}</div>').format(Markup(still))


def _cells(widget: Any, _sheets: dict[str, None]) -> Markup:
    def heading(scope: str, group: dict[str, str]) -> Markup:
        note = group.get("note", "")
        small = Markup('<span class="fg-cells-note">{}</span>').format(note) if note else ""
        return Markup('<th scope="{}"><span>{}</span>{}</th>').format(scope, group["label"], small)

    def cell(row: dict[str, str], column: dict[str, str], held: dict[str, Any] | None) -> Markup:
        whole = Markup("" if row["key"] and column["key"] else ' class="fg-cells-all"')
        if held is None:
            return Markup('<td{}><span class="fg-cells-none">–</span></td>').format(whole)
        bar = Markup("").join(
            Markup('<span class="fg-piece fg-piece-{}" style="flex-grow:{}"></span>').format(*piece)
            for piece in enumerate(held["parts"])
            if piece[1] > 0
        )
        return Markup(
            '<td{}><button disabled aria-label="{}"><span class="fg-cells-text">{}</span>'
            '<span class="fg-cells-small">{}</span><span class="fg-bar">{}</span></button></td>'
        ).format(whole, held["label"], held["text"], held["small"], bar)

    if not widget.rows:
        return Markup("")
    head = Markup("").join(heading("col", column) for column in widget.columns)
    body = Markup("").join(
        Markup("<tr>{}{}</tr>").format(
            heading("row", row),
            Markup("").join(cell(row, *pair) for pair in zip(widget.columns, cells, strict=True)),
        )
        for row, cells in zip(widget.rows, widget.cells, strict=True)
    )
    return Markup(
        '<div class="fg-cells"><table><caption>{}</caption><thead><tr>'
        '<td class="fg-cells-corner">{}</td>{}</tr></thead><tbody>{}</tbody></table></div>'
    ).format(widget.caption, widget.corner, head, body)


#: How each kind of widget is written; the first that fits is taken, and what is none is left out.
_WRITERS: tuple[tuple[type | tuple[type, ...], Callable[[Any, dict[str, None]], Markup]], ...] = (
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
