"""One palette and one type scale for every drawing, table and widget.

A colour never says anything alone: each verdict has its sign and its word, and each part in a
section its own hatching. The hues follow the blue and vermilion axis, which the common kinds
of colour blindness keep apart.

References
----------
.. [1] M. Okabe, K. Ito, "Color Universal Design", 2008 (reference checked): blue against
   vermilion.
.. [2] W3C, "Web Content Accessibility Guidelines 2.2", criteria 1.4.1, 1.4.3 and 1.4.11:
   colour is not the only means; text has a contrast of 4.5 to 1, graphics of 3 to 1.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from fitgraph.model import Verdict

#: What carries text or an edge, in the light and in the dark theme.
LIGHT: Mapping[str, str] = MappingProxyType(
    {
        "paper": "#ffffff",
        "panel": "#f3f5f7",
        "ink": "#1b1f24",
        "muted": "#545d68",
        "line": "#7d8691",
        "fits": "#0a5ea8",
        "fails": "#b03f00",
        "unknown": "#5a6270",
        "part-0": "#cfe5f5",
        "part-1": "#f4e4bf",
        "part-2": "#cfe9de",
        "part-3": "#f1dae7",
        "part-4": "#e0e4e9",
        "part-5": "#e7ebc3",
        "part-6": "#f6dccb",
    }
)
DARK: Mapping[str, str] = MappingProxyType(
    {
        "paper": "#14181d",
        "panel": "#1f252c",
        "ink": "#eceff3",
        "muted": "#adb6c1",
        "line": "#7e8995",
        "fits": "#86bdf2",
        "fails": "#ff9d61",
        "unknown": "#bcc3cc",
        "part-0": "#234459",
        "part-1": "#574820",
        "part-2": "#1f4e41",
        "part-3": "#55344b",
        "part-4": "#39414b",
        "part-5": "#464b20",
        "part-6": "#5b3b29",
    }
)

#: Themes of a notebook paint these themselves; the drawing follows where they are there.
_FROM_THEME: Mapping[str, str] = MappingProxyType(
    {"paper": "--jp-layout-color0", "panel": "--jp-layout-color2", "ink": "--jp-ui-font-color0"}
)

#: How many tints and hatchings there are before they repeat.
PART_TINTS = 7

#: Sizes of type, in px: one step is about a sixth.
TYPE: Mapping[str, int] = MappingProxyType({"small": 12, "body": 14, "lead": 16, "head": 20})

FONT = 'var(--jp-ui-font-family, system-ui, -apple-system, "Segoe UI", "DejaVu Sans", sans-serif)'

#: The sign and the word for each verdict; both always stand together.
SIGNS: Mapping[Verdict, str] = MappingProxyType(
    {Verdict.FITS: "✓", Verdict.UNKNOWN: "?", Verdict.FAILS: "✗"}
)
WORDS: Mapping[Verdict, str] = MappingProxyType(
    {
        Verdict.FITS: "fits",
        Verdict.UNKNOWN: "cannot be told",
        Verdict.FAILS: "does not fit",
    }
)


def verdict_class(verdict: Verdict) -> str:
    """Return the CSS class of a verdict."""
    return f"fg-{verdict.word}"


def verdict_text(verdict: Verdict, margin_mm: float | None = None) -> str:
    """Return a verdict with its sign, and how much is lacking where that is known [mm].

    Examples
    --------
    >>> verdict_text(Verdict.FAILS, -0.25), verdict_text(Verdict.FITS, 0.1)
    ('✗ does not fit, lacking 0.25 mm', '✓ fits')
    """
    text = f"{SIGNS[verdict]} {WORDS[verdict]}"
    if verdict is Verdict.FAILS and margin_mm is not None:
        text += f", lacking {-margin_mm:.2f} mm"
    return text


def _variables(colours: Mapping[str, str]) -> str:
    pieces = []
    for name, value in colours.items():
        theme = _FROM_THEME.get(name)
        pieces.append(f"--fg-{name}:{f'var({theme}, {value})' if theme else value}")
    return ";".join(pieces)


def theme_css() -> str:
    """Return the colours as CSS variables on ``.fg``, light and dark.

    A notebook's own theme decides where there is one; elsewhere the reader's system does.
    """
    light, dark = _variables(LIGHT), _variables(DARK)
    on_paper = ";".join(f"--fg-{name}:{value}" for name, value in LIGHT.items())
    return (
        f".fg{{{light}}}\n"
        f"@media (prefers-color-scheme: dark){{.fg{{{dark}}}}}\n"
        f'[data-jp-theme-light="true"] .fg{{{light}}}\n'
        f'[data-jp-theme-light="false"] .fg{{{dark}}}\n'
        # Paper is light, whatever the screen is.
        f"@media print{{.fg,[data-jp-theme-light] .fg{{{on_paper}}}}}\n"
    )


def drawing_css() -> str:
    """Return the rules for drawings."""
    return (
        f".fg-svg{{font-family:{FONT};font-size:{TYPE['small']}px;background:var(--fg-paper)}}\n"
        ".fg-svg text{fill:var(--fg-ink)}\n"
        ".fg-svg .fg-muted{fill:var(--fg-muted)}\n"
        f".fg-svg .fg-head{{font-size:{TYPE['lead']}px;font-weight:600}}\n"
        ".fg-svg .fg-strong{font-weight:600}\n"
        ".fg-svg .fg-edge{stroke:var(--fg-ink);stroke-width:1.2}\n"
        ".fg-svg .fg-guess{stroke-dasharray:5 4}\n"
        ".fg-svg .fg-hatch{stroke:var(--fg-ink);stroke-opacity:.38;stroke-width:1}\n"
        ".fg-svg .fg-dot{fill:var(--fg-ink)}\n"
        ".fg-svg .fg-lead{stroke:var(--fg-line);stroke-width:1;fill:none}\n"
        ".fg-svg .fg-axis{stroke:var(--fg-line);stroke-width:.8;stroke-dasharray:9 3 2 3}\n"
        ".fg-svg .fg-limit{stroke:var(--fg-muted);stroke-width:1;stroke-dasharray:2 3}\n"
        ".fg-svg .fg-rule{stroke:var(--fg-ink);stroke-width:1.5;fill:none}\n"
        ".fg-svg .fg-frame{fill:none;stroke:var(--fg-line);stroke-width:1}\n"
        ".fg-svg .fg-void{fill:var(--fg-paper)}\n"
        ".fg-svg .fg-clash{stroke:var(--fg-fails);stroke-width:1.6}\n"
        ".fg-svg text.fg-fits{fill:var(--fg-fits)}\n"
        ".fg-svg text.fg-fails{fill:var(--fg-fails)}\n"
        ".fg-svg text.fg-unknown{fill:var(--fg-unknown)}\n"
    )


def page_css() -> str:
    """Return the rules for tables and widgets, after the colours."""
    small, body, lead = (TYPE[n] for n in ("small", "body", "lead"))
    return (
        theme_css()
        + drawing_css()
        + f".fg-html{{font-family:{FONT};font-size:{body}px;line-height:1.45;"
        "color:var(--fg-ink);overflow-wrap:break-word}\n"
        ".fg-html p{margin:.35em 0}\n"
        f".fg-html h3{{font-size:{lead}px;font-weight:600;margin:.9em 0 .3em}}\n"
        ".fg-html .fg-note{color:var(--fg-muted)}\n"
        f".fg-html .fg-small{{font-size:{small}px}}\n"
        f".fg-html .fg-caution{{border-left:3px solid var(--fg-line);padding:.1em 0 .1em .7em;"
        f"color:var(--fg-muted);font-size:{small}px;margin:.6em 0}}\n"
        ".fg-html .fg-alert{border:1px solid var(--fg-fails);border-left-width:5px;"
        "padding:.35em .7em;margin:.3em 0}\n"
        ".fg-html table{border-collapse:collapse;font-size:inherit;margin:.3em 0;width:100%;"
        "table-layout:auto}\n"
        ".fg-html caption{text-align:left;color:var(--fg-muted);padding:.2em 0}\n"
        ".fg-html .fg-narrow{max-width:820px}\n"
        ".fg-html th,.fg-html td{text-align:left;vertical-align:top;padding:.3em .7em .3em 0;"
        "border-bottom:1px solid var(--fg-panel);background:none}\n"
        ".fg-html th{font-weight:600}\n"
        ".fg-html .fg-figure{text-align:right;font-variant-numeric:tabular-nums;"
        "white-space:nowrap}\n"
        ".fg-html .fg-code{white-space:nowrap;font-weight:400}\n"
        ".fg-whole{white-space:nowrap}\n"
        ".fg-html .fg-scroll{overflow-x:auto}\n"
        ".fg-html .fg-fits{color:var(--fg-fits)}\n"
        ".fg-html .fg-fails{color:var(--fg-fails)}\n"
        ".fg-html .fg-unknown{color:var(--fg-unknown)}\n"
        ".fg-html .fg-sign{display:inline-block;width:1.25em;font-weight:700;text-align:left}\n"
        ".fg-html ul,.fg-html ol{margin:.3em 0;padding-left:1.4em}\n"
        ".fg-html li{margin:.25em 0}\n"
        ".fg-html summary{cursor:pointer}\n"
        ".fg-html .fg-svg{display:block;width:100%;max-width:760px;min-width:560px;height:auto}\n"
        # A drafted sheet says its size on paper; here it takes the room there is.
        ".fg-html figure>svg:not(.fg-svg){display:block;width:100%;height:auto;max-width:900px}\n"
        ".fg-html figure{margin:.3em 0}.fg-html figcaption{color:var(--fg-muted)}\n"
        ".fg-html .fg-loud{font-weight:600}.fg-html .fg-plain{font-weight:400}\n"
        ".fg-html .fg-deep-2{padding-left:1.4em}\n"
        ".fg-html table.fg-fit{width:auto}\n"
        ".fg-html table.fg-fit :is(th,td){padding-right:1.4em}\n"
        # A drawing may have another shape where there is little room.
        ".fg-html .fg-drawn{container-type:inline-size}\n"
        ".fg-html .fg-when-narrow{display:none}\n"
        "@container (max-width:559px){.fg-html .fg-when-wide{display:none}"
        ".fg-html .fg-when-narrow{display:block}}\n"
        ".fg-html .fg-when-narrow .fg-svg{min-width:0;max-width:460px}\n"
        ".fg-html .fg-product{min-width:min(100%,520px)}\n"
        "@media (max-width:600px){.fg-html .fg-product text{font-size:15px}}\n"
        # The button shows a cross; its words stay for those who have them read out.
        ".fg-form .fg-clear{font-size:0;padding:0}\n"
        f'.fg-form .fg-clear::before{{content:"✕"/"";font-size:{body}px}}\n'
        ".fg-html summary:focus-visible,.fg-form :focus-visible"
        "{outline:2px solid var(--fg-fits);outline-offset:1px}\n"
    )
