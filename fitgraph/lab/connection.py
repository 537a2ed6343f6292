"""A page says so when the program behind it is gone, and greys what may be out of date."""

from __future__ import annotations

import anywidget

_SCRIPT = """
// The kernel's own signals, so nothing is asked of the server while all is well.
const GONE = new Set(["restarting", "autorestarting", "dead", "terminating"]);
const WAIT_MS = 800; // a connection that is back by then was never missed

const TOLD = {
  kernel: "The program behind this page has stopped; what is shown may be out of date.",
  server: "The program behind this page does not answer; what is shown may be out of date.",
};
const MEND = {
  kernel: "Load the page again to go on.",
  lab: "Run the cells again to go on.",
  server: "If it does not come back by itself, start it again and load the page again.",
};

function render({ model, el }) {
  const kernel = model.widget_manager?.kernel;
  if (!kernel) return;
  const form = () => el.closest(".fg-form");
  const panel = () => el.closest(".jp-NotebookPanel");
  let banner = null, stopped = false, waiting = 0;

  const reload = () => {
    // The address that holds the entries, where the page has one.
    const kept = form()?.querySelector('a[href^="?session="]')?.getAttribute("href");
    if (!kept) return location.reload();
    const to = new URL(location.href);
    to.searchParams.set("session", new URLSearchParams(kept.slice(1)).get("session"));
    location.assign(to);
  };
  const grey = (on) => {
    const page = form();
    if (!page) return;
    if (on) for (const copy of document.querySelectorAll(".fg-early")) copy.remove();
    page.classList.toggle("fg-stale", on);
    for (const child of page.children) child.inert = on;
  };
  const hide = () => {
    banner?.remove();
    banner = null;
    grey(false);
  };
  const show = (what) => {
    grey(true);
    if (banner?.dataset.what === what) return;
    banner?.remove();
    const inside = panel(), host = inside || document.body;
    host.querySelector(":scope > .fg-banner")?.remove();
    banner = document.createElement("div");
    banner.className = "fg fg-banner";
    banner.dataset.what = what;
    banner.setAttribute("role", "alert");
    const mend = what === "kernel" && inside ? MEND.lab : MEND[what];
    const told = document.createElement("p"), how = document.createElement("span");
    told.textContent = TOLD[what];
    how.textContent = ` ${mend} `;
    told.append(how);
    banner.append(told);
    if (!inside) {
      const again = document.createElement("button");
      again.type = "button";
      again.textContent = "Load the page again";
      again.addEventListener("click", reload);
      banner.append(again);
    } else {
      const bar = inside.querySelector(":scope > .jp-NotebookPanel-toolbar");
      banner.style.top = `${bar ? bar.offsetHeight : 0}px`;
    }
    host.append(banner);
  };
  const look = () => {
    clearTimeout(waiting);
    if (stopped || GONE.has(kernel.status)) {
      stopped = true; // a kernel that was started again knows nothing of this page
      show("kernel");
    } else if (kernel.connectionStatus === "connected") hide();
    else waiting = setTimeout(() => show("server"), WAIT_MS);
  };
  kernel.statusChanged?.connect(look);
  kernel.connectionStatusChanged?.connect(look);
  kernel.disposed?.connect(look);
  if (kernel.connectionStatus === "connected") look();
  return () => {
    clearTimeout(waiting);
    kernel.statusChanged?.disconnect(look);
    kernel.connectionStatusChanged?.disconnect(look);
    kernel.disposed?.disconnect(look);
    banner?.remove();
  };
}
export default { render };
"""

_STYLE = """
.fg-banner{position:fixed;top:0;left:0;right:0;z-index:10000;display:flex;flex-wrap:wrap;
gap:4px 14px;align-items:center;padding:8px 16px;background:var(--fg-paper,#fff);
color:var(--fg-ink,#1b1f24);border-bottom:4px solid var(--fg-fails,#b03f00);
box-shadow:0 2px 8px rgba(0,0,0,.25);font:600 14px/1.4 system-ui,"DejaVu Sans",sans-serif}
.fg-banner p{margin:0}.fg-banner span{font-weight:400}
.fg-banner button{font:inherit;padding:4px 12px;min-height:32px;cursor:pointer;
color:inherit;background:var(--fg-panel,#f3f5f7);border:2px solid var(--fg-fits,#0a5ea8)}
.fg-banner button:focus-visible{outline:2px solid var(--fg-fits,#0a5ea8);outline-offset:1px}
.fg-stale>*{filter:grayscale(1);opacity:.45}
.fg-stale .jupyter-widgets-disconnected::before{display:none!important}
@media print{.fg-banner{position:static}}
"""


class Connection(anywidget.AnyWidget):
    """Shows nothing while the kernel answers; a banner in words once it does not.

    A kernel that was started again knows nothing of the page, so its banner stays until the
    page is loaded again; a lost server's goes where the connection comes back.
    """

    _esm = _SCRIPT
    _css = _STYLE
