"""What is wider than its place shows that it goes on at the side, and can be moved by keyboard."""

from __future__ import annotations

import anywidget

from fitgraph.lab.scripts import WATCHED

_SCRIPT = """
const WIDE = ".fg-scroll, .fg-cells, .fg-pressable";

function render({ el }) {
  const known = new WeakSet();
  const look = (box) => {
    const most = box.scrollWidth - box.clientWidth, at = box.scrollLeft;
    box.classList.toggle("fg-goes-on", most > 1);
    box.classList.toggle("fg-at-left", most > 1 && at > 1);
    box.classList.toggle("fg-at-right", most > 1 && at < most - 1);
    if (most > 1 && !box.hasAttribute("tabindex")) box.tabIndex = 0;
  };
  const room = new ResizeObserver((seen) => {
    for (const { target } of seen) look(target.closest(WIDE) ?? target);
  });
  const end = watched(el, (form) => {
    for (const box of form.querySelectorAll(WIDE)) {
      look(box);
      if (known.has(box)) continue;
      known.add(box);
      room.observe(box);
      for (const inner of box.children) room.observe(inner);
      box.addEventListener("scroll", () => look(box), { passive: true });
    }
  });
  return () => { end(); room.disconnect(); };
}
export default { render };
"""

_STYLE = """
@media screen{
.fg-form .fg-at-left{mask-image:linear-gradient(to right,#0003 0,#000 36px)}
.fg-form .fg-at-right{mask-image:linear-gradient(to left,#0003 0,#000 36px)}
.fg-form .fg-at-left.fg-at-right{mask-image:
linear-gradient(to right,#0003 0,#000 36px calc(100% - 36px),#0003 100%)}
.fg-form .fg-goes-on::after{content:"There is more at the side: swipe, or press the arrow keys.";
display:block;position:sticky;left:0;width:max-content;max-width:calc(100vw - 40px);
padding:2px 0;font-size:12px;color:var(--fg-muted)}
}
"""


class Sideways(anywidget.AnyWidget):
    """Shows nothing; marks what of a page goes on at the side, and lets it be focused."""

    _esm = WATCHED + _SCRIPT
    _css = _STYLE
