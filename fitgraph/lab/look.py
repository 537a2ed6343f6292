"""The frame all widgets share: one style sheet, headings, grids, and labels wide enough."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import ipywidgets as widgets
from markupsafe import Markup

from fitgraph.draw.style import FONT, TYPE, page_css
from fitgraph.lab.arrival import Arrival
from fitgraph.lab.card import Card
from fitgraph.lab.connection import Connection
from fitgraph.lab.controls import Controls
from fitgraph.lab.paper import Paper
from fitgraph.lab.shown import shown
from fitgraph.lab.sideways import Sideways
from fitgraph.lab.sorting import Sorting
from fitgraph.report.blocks import quiet

#: So that the fields of a form stand under one another.
LABEL = {"description_width": "8.5em"}


#: Windows in which a part's whole name and number have no room beside a label.
_CLOSE = "(max-width:600px),(min-width:1100px) and (max-width:1240px)"


def _widget_css() -> str:
    body, small = TYPE["body"], TYPE["small"]
    return (
        # One family in words, fields, buttons and charts alike.
        f".fg-form{{font-family:{FONT};font-size:{body}px}}\n"
        ".fg-form :is(input,select,textarea,button,.widget-label){font-family:inherit}\n"
        # What is wide scrolls in its own frame and does not widen what it stands in.
        ".fg-form .fg-chart,.fg-form .widget-html-content{min-width:0}\n"
        # A chart paints its own colours into its elements; the theme's go before them.
        ".fg-form .fg-chart>*{flex:1 1 100%;min-width:0}\n"
        ".fg-form .fg-chart .main-svg{background:transparent!important}\n"
        ".fg-form .fg-chart .main-svg text{fill:var(--fg-ink)!important;"
        f"font-family:{FONT}!important;font-size:{small}px!important}}\n"
        # A rim that sets a dot off is of the paper's colour.
        ".fg-form .fg-chart .points path[style*='stroke: rgb(255, 255, 255)']"
        "{stroke:var(--fg-paper)!important}\n"
        ".fg-form .fg-chart .gridlayer path{stroke:var(--fg-panel)!important}\n"
        ".fg-form .fg-chart .hoverlayer text{fill:#1b1f24!important}\n"
        ".fg-form .jupyter-button{height:auto;min-height:32px;line-height:1.3;padding:4px 10px;"
        f"font-size:{body}px;color:var(--fg-ink);background:var(--fg-paper);"
        "border:1px solid var(--fg-line);border-radius:6px;white-space:normal;text-align:left}\n"
        ".fg-form .jupyter-button:hover:enabled{border-color:var(--fg-fits);"
        "background:var(--fg-panel);box-shadow:none}\n"
        ".fg-form .jupyter-button:disabled{color:var(--fg-muted);opacity:1;border-style:dashed}\n"
        # What it stands for is not there yet, so it is no use to press it.
        ".fg-form.fg-waiting :is(button,input,select,textarea,summary,a,[role=button])"
        "{pointer-events:none;cursor:progress}\n"
        # The press that a page is for.
        ".fg-form .fg-main:enabled{border-color:var(--fg-fits);background:var(--fg-fits);"
        "color:var(--fg-paper);font-weight:600}\n"
        ".fg-form .fg-main:hover:enabled{background:var(--fg-ink);border-color:var(--fg-ink)}\n"
        ".fg-form .widget-label,.fg-form .widget-readout,.fg-form .widget-label-basic"
        "{color:var(--fg-ink)}\n"
        ".fg-form input[type=text],.fg-form select,.fg-form textarea"
        "{color:var(--fg-ink);background-color:var(--fg-paper);border:1px solid var(--fg-line);"
        "border-radius:5px}\n"
        # What a field is too narrow for ends in dots, not within a letter.
        ".fg-form input[type=text]{text-overflow:ellipsis}\n"
        # An arrow in the ink of the theme; the widgets' own is black in both.
        ".fg-form .widget-dropdown>select{background-image:"
        "linear-gradient(45deg,transparent 50%,var(--fg-muted) 50%),"
        "linear-gradient(135deg,var(--fg-muted) 50%,transparent 50%);background-size:6px 6px;"
        "background-position:right 13px center,right 7px center;background-repeat:no-repeat;"
        "padding-right:24px}\n"
        "[data-jp-theme-light='false'] .fg-form{color-scheme:dark}\n"
        ".fg-form input::placeholder{color:var(--fg-muted);opacity:1}\n"
        ".fg-form .jupyter-button.fg-clear{font-size:0;padding:0;width:30px;min-height:28px;"
        "text-align:center;border-width:1px;align-self:flex-end;max-height:30px}\n"
        # A line of a list that is too long for a narrow window goes on in the next.
        ".fg-form .widget-select option{white-space:normal;word-break:normal;"
        "overflow-wrap:break-word;padding:3px 4px;border-bottom:1px solid var(--fg-panel)}\n"
        ".fg-form .widget-radio-box label{height:auto;min-height:28px;line-height:1.4;"
        "white-space:normal;padding:3px 0;color:var(--fg-ink)}\n"
        ".fg-form .widget-radio-box{height:auto;min-width:0}\n"
        # An answer of several lines stands beside its button, and its first line level with that.
        ".fg-form .widget-radio-box label{display:flex;align-items:flex-start}"
        ".fg-form .widget-radio-box label>input{order:-1;flex:0 0 auto;margin:1px 8px 0 2px}\n"
        ".fg-form .widget-radio>.widget-label{flex:0 0 auto;width:auto}\n"
        ".fg-form .widget-radio>.widget-label{margin-right:8px}\n"
        f".fg-html h2{{font-size:{TYPE['head']}px;font-weight:600;margin:1.1em 0 .3em;border:0;"
        "padding:0;line-height:1.3}\n"
        ".fg-html a{color:var(--fg-fits);text-decoration:underline}\n"
        ".fg-html a.fg-get{display:inline-block;margin:2px 10px 2px 0;padding:4px 10px;"
        "border:1px solid var(--fg-line);border-radius:6px;background:var(--fg-paper);"
        "color:var(--fg-ink);text-decoration:none}\n"
        ".fg-html a.fg-get:hover{border-color:var(--fg-fits);background:var(--fg-panel)}\n"
        ".fg-html a:focus-visible{outline:2px solid var(--fg-fits);outline-offset:1px}\n"
        ".fg-html .fg-legend{display:flex;flex-wrap:wrap;gap:2px 16px}\n"
        ".fg-html .fg-legend svg{vertical-align:-3px}\n"
        ".fg-wide .fg-html .fg-svg,.fg-html .fg-wide .fg-svg{max-width:900px}\n"
        # The question at the left and the answer at the right, where there is room for both.
        ".fg-form,.jp-OutputArea:has(.fg-form),.jp-OutputArea-child:has(.fg-form),"
        ".jp-OutputArea-output:has(.fg-form){overflow:visible!important;min-width:0}\n"
        ".fg-form .fg-sides{display:grid!important;gap:0 28px;overflow:visible!important;"
        "grid-template-columns:minmax(0,1fr)}\n"
        ".fg-form .fg-sides>*{min-width:0;overflow:visible!important}\n"
        "@media (min-width:1100px){.fg-form .fg-sides{"
        "grid-template-columns:minmax(360px,5fr) minmax(0,7fr)}"
        ".fg-form .fg-sides>*{align-self:start}}\n"
        # A field with a long name and its number behind it needs half of a window of 1,280 px.
        "@media (min-width:1100px) and (max-width:1500px){"
        ".fg-form .fg-sides:has(>:first-child .fg-picker){"
        "grid-template-columns:minmax(0,1fr) minmax(0,1fr)}}\n"
        f".fg-form .fg-picker input[type=text]{{font-size:{small}px}}\n"
        "@media (min-width:1240px){.fg-form .fg-sides.fg-halves{"
        "grid-template-columns:minmax(0,1fr) minmax(0,1fr)}}\n"
        "@media (max-width:1239px){.fg-form .fg-sides.fg-halves{"
        "grid-template-columns:minmax(0,1fr)}}\n"
        # In a narrow window each row of a long table stands under itself, its cells by name.
        "@media (max-width:600px){.fg-html table.fg-rows,.fg-html table.fg-rows tbody,"
        ".fg-html table.fg-rows tr:not([hidden]),.fg-html table.fg-rows :is(caption,th,td)"
        "{display:block;text-align:left}.fg-html table.fg-rows thead{display:none}"
        ".fg-html table.fg-rows tr{padding:.4em 0;border-bottom:1px solid var(--fg-line)}"
        ".fg-html table.fg-rows :is(th,td){border:0;padding:.05em 0;white-space:normal}"
        ".fg-html table.fg-rows td.fg-figure{display:inline-block;margin-right:1.2em}"
        ".fg-html table.fg-rows [data-head]:not(:empty)::before"
        "{content:attr(data-head) ' ';color:var(--fg-muted)}}\n"
        # Headings of narrow columns break between words, so that small tables fit.
        "@media (max-width:600px){.fg-html thead th.fg-figure{white-space:normal}"
        ".fg-html thead th.fg-figure .fg-sign{display:block;width:auto;text-align:right}"
        ".fg-html table:not(.fg-rows) :is(th,td){padding-right:.45em}}\n"
        # Where a part's name and its number need more than is left beside the field's label, the
        # label of a field that is filled stands over it.
        f"@media {_CLOSE}{{.fg-form .widget-text:has(>input[list]:not(:placeholder-shown))"
        "{flex-wrap:wrap;height:auto}"
        ".fg-form .widget-text:has(>input[list]:not(:placeholder-shown))>.widget-label"
        "{flex:1 0 100%;width:auto!important;text-align:left;height:22px;line-height:22px}}\n"
        # A field is never wider than what it stands in, and a box to tick says all that it does.
        ".fg-form :is(.widget-dropdown,.widget-text){max-width:calc(100% - 4px)}\n"
        "@media (max-width:600px){.fg-form .widget-checkbox{margin-left:2px!important}"
        ".fg-form .widget-checkbox .widget-label-basic{white-space:normal;height:auto;"
        "line-height:1.4}}\n"
        # The verdict stays in view while one looks at what it rests on.
        # Its edge says at a glance what its words say; what goes by behind it is covered.
        ".fg-form .fg-verdict{position:sticky;top:0;z-index:20;width:100%;margin:0 0 4px!important;"
        "box-sizing:border-box;padding:5px 14px;background:var(--fg-paper);"
        f"font-size:{TYPE['lead']}px;border:1px solid var(--fg-line);border-left:6px solid "
        "var(--fg-line);border-radius:0 6px 6px 0;box-shadow:0 -6px 0 6px var(--fg-paper)}\n"
        ".fg-form .fg-verdict .fg-html{font-size:inherit}\n"
        f".fg-form .fg-verdict .fg-note{{font-size:{body}px}}\n"
        f".fg-form .fg-count strong{{font-size:{TYPE['head']}px;"
        "font-variant-numeric:tabular-nums}\n"
        ".fg-form .fg-verdict p>:is(.fg-fits,.fg-fails,.fg-unknown){font-weight:600}\n"
        ".fg-form .fg-verdict:has(.fg-fits){border-left-color:var(--fg-fits)}\n"
        ".fg-form .fg-verdict:has(.fg-fails){border-left-color:var(--fg-fails)}\n"
        ".fg-form .fg-verdict:has(.fg-unknown){border-left-style:double}\n"
        ".fg-form .fg-verdict:has(.widget-html-content:empty){display:none}\n"
        # On paper: no buttons that nobody can press, nothing cut, an answer's pieces whole.
        "@media print{.fg-form .fg-verdict{position:static}"
        ".fg-form .fg-sides{display:block!important}"
        # A field in a line of its own shows all that is written in it.
        ".fg-form .widget-gridbox{grid-template-columns:minmax(0,1fr)!important}"
        ".fg-form .fg-fold>.fg-inner{display:block!important;visibility:visible!important;"
        "height:auto!important;overflow:visible!important}"
        ".fg-form .fg-session,.fg-form .jupyter-button:not(.fg-fold>*),.fg-html a.fg-get,"
        ".fg-html a[href^='?'],"
        ".fg-form .widget-text:has(input:placeholder-shown),"
        ".fg-choices:not(.fg-list) button:not([aria-pressed=true]){display:none!important}"
        ".fg-html .fg-scroll,.fg-html .fg-wide{overflow:visible}"
        ".fg-html .fg-svg{min-width:0;max-width:100%}"
        ".fg-html tr,.fg-html .fg-svg,.fg-html .fg-caution,.fg-form .fg-chart{break-inside:avoid}"
        ".fg-html thead{display:table-header-group}"
        ".fg-html h2,.fg-html h3,.fg-html caption,.fg-html thead,.widget-html:has(h2,h3),"
        ".fg-form .fg-fold>.jupyter-button{break-after:avoid}}\n"
        # Out of sight and of reach, but as wide as it will be: a chart in it is drawn once.
        ".fg-form .fg-fold>.fg-shut{visibility:hidden;height:0;overflow:hidden;margin:0}\n"
        ".fg-form .fg-fold>.jupyter-button{border:0;background:none;box-shadow:none;"
        f"font-weight:600;font-size:{TYPE['lead']}px;padding:4px 0;text-align:left;width:auto;"
        "margin-top:10px}\n"
        ".fg-form .fg-fold>.jupyter-button:hover:enabled{background:none;color:var(--fg-fits)}\n"
    )


def html(value: str = "") -> widgets.HTML:
    """Return a place for text made of data."""
    return widgets.HTML(value=value, layout=widgets.Layout(width="auto", margin="0"))


def verdict_line() -> widgets.HTML:
    """Return the line that stays in view while one looks at what it rests on."""
    line = html()
    line.add_class("fg-verdict")
    return line


def style(component: widgets.Widget) -> widgets.VBox:
    """Return the first child of every component: its style sheet, and what works unseen."""
    sheet = html(f"<style>{page_css()}{_widget_css()}</style>")
    unseen = [Controls(), Arrival(component), Connection(), Sorting(), Sideways(), Paper()]
    if hasattr(component, "opened"):
        unseen.append(Card(lambda: component.opened))
    return widgets.VBox([sheet, *unseen])


def heading(text: str, level: int = 2) -> widgets.HTML:
    """Return a heading."""
    return html(shown(Markup("<h{0}>{1}</h{0}>").format(level, text)))


def note(text: str) -> widgets.HTML:
    """Return a quiet line that explains what follows."""
    return html(shown(quiet(text)))


def grid(children: Sequence[widgets.Widget], least: str) -> widgets.GridBox:
    """Return children in as many columns as the window has room for.

    Parameters
    ----------
    children : sequence of Widget
        In reading order.
    least : str
        Least width of a column, in CSS.
    """
    return widgets.GridBox(
        list(children),
        layout=widgets.Layout(
            grid_template_columns=f"repeat(auto-fill, minmax(min({least}, 100%), 1fr))",
            grid_gap="2px 14px",
            width="100%",
        ),
    )


def row(children: Sequence[widgets.Widget]) -> widgets.Box:
    """Return children beside one another that wrap where the window is narrow."""
    return widgets.Box(
        list(children),
        layout=widgets.Layout(
            display="flex", flex_flow="row wrap", grid_gap="6px 14px", align_items="flex-start"
        ),
    )


def sides(
    left: Sequence[widgets.Widget], right: Sequence[widgets.Widget], *, halves: bool = False
) -> widgets.Box:
    """Return a question at the left and its answer at the right; under it where it is narrow.

    Parameters
    ----------
    left, right : sequence of Widget
        What stands in each.
    halves : bool
        Whether they are of one width, as two drawings are.
    """
    both = widgets.Box([widgets.VBox(list(left)), widgets.VBox(list(right))])
    both.add_class("fg-sides")
    if halves:
        both.add_class("fg-halves")
    return both


def fold(title: str, children: Sequence[widgets.Widget], *, is_open: bool = False) -> widgets.VBox:
    """Return a section that opens by a press on its title.

    Parameters
    ----------
    title : str
        What it holds.
    children : sequence of Widget
        What is shown once it is open.
    is_open : bool
        Whether it is from the beginning.
    """
    inner = widgets.VBox(list(children))
    inner.add_class("fg-inner")
    # A button, because the headers of ipywidgets' accordion cannot be reached by keyboard.
    button = widgets.ToggleButton(value=is_open, tooltip=f"Show or hide: {title}")

    def turn(_change: object = None) -> None:
        button.description = f"{'▾' if button.value else '▸'} {title}"
        (inner.remove_class if button.value else inner.add_class)("fg-shut")

    button.observe(turn, names="value")
    turn()
    whole = widgets.VBox([button, inner])
    whole.add_class("fg-fold")
    return whole


def field_layout() -> widgets.Layout:
    """Return the layout of a field in a grid."""
    return widgets.Layout(width="auto")


def dropdown(description: str, options: Sequence[Any], **more: Any) -> widgets.Dropdown:
    """Return a field with a list to choose from."""
    return widgets.Dropdown(
        options=options, description=description, style=LABEL, layout=field_layout(), **more
    )


def text_field(description: str, placeholder: str, **more: Any) -> widgets.Text:
    """Return a field to type into."""
    return widgets.Text(
        description=description,
        placeholder=placeholder,
        style=LABEL,
        layout=field_layout(),
        **more,
    )


def in_row(field: widgets.Widget, flex: str = "1 1 24em") -> widgets.Widget:
    """Return a field laid out so that there is room beside it, and that it is never too wide."""
    field.layout.flex, field.layout.min_width, field.layout.max_width = flex, "0", "100%"
    return field


def checkbox(description: str, margin: str = "2px 2px 2px 9em", **more: Any) -> widgets.Checkbox:
    """Return a box to tick, under the fields of a grid."""
    layout = widgets.Layout(width="auto", margin=margin)
    return widgets.Checkbox(description=description, indent=False, layout=layout, **more)


def button(
    description: str, pressed: Callable[[], object] | None = None, **more: Any
) -> widgets.Button:
    """Return a button, and call a function when it is pressed."""
    made = widgets.Button(description=description, layout=widgets.Layout(width="auto"), **more)
    if pressed is not None:
        made.on_click(lambda _: pressed())
    return made


def framed(figure: widgets.Widget) -> widgets.Box:
    """Return a chart as wide as there is room for."""
    frame = widgets.Box([figure], layout=widgets.Layout(width="100%"))
    frame.add_class("fg-chart")
    return frame
