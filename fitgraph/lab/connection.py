"""A page says so when the program behind it is gone, and greys what may be out of date."""

from __future__ import annotations

import anywidget

_SCRIPT = """
// What has ended is told by the kernel's own signals. What hangs tells nothing, so the server is
// asked as well: it answers while a kernel computes, and says whether the kernel's heart beats,
// which has a thread of its own (fitgraph/lab/kernels.py).
const GONE = new Set(["restarting", "autorestarting", "dead", "terminating"]);
const WAIT_MS = 800; // a connection that is back by then was never missed
const EACH_MS = 1000, ANSWER_MS = 1400, TURN_MS = 100;

const TOLD = {
  kernel: "The program behind this page has stopped; what is shown may be out of date.",
  server: "The program behind this page does not answer; what is shown may be out of date.",
};
TOLD.hung = TOLD.server;
const MEND = {
  kernel: "Load the page again to go on.",
  lab: "Run the cells again to go on.",
  server: "If it does not come back by itself, start it again and load the page again.",
  hung: "If it does not go on by itself, load the page again.",
  hungLab: "If it does not go on by itself, restart the kernel and run the cells again.",
};

function render({ model, el }) {
  const kernel = model.widget_manager?.kernel;
  if (!kernel) return;
  const form = () => el.closest(".fg-form");
  const panel = () => el.closest(".jp-NotebookPanel");
  let banner = null, stopped = false, silent = null, waiting = 0, next = 0, over = false;

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
    const mend = MEND[inside ? { kernel: "lab", hung: "hungLab" }[what] ?? what : what];
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
    } else if (silent) show(silent);
    else if (kernel.connectionStatus === "connected") hide();
    else waiting = setTimeout(() => show("server"), WAIT_MS);
  };
  // Which of the two does not answer, null if both do.
  const heard = async () => {
    const { baseUrl, token } = kernel.serverSettings;
    const given_up = new AbortController();
    // A page that was busy itself finds both the time over and the answer there: the answer counts.
    const late = setTimeout(() => setTimeout(() => given_up.abort(), TURN_MS), ANSWER_MS);
    try {
      const answer = await fetch(`${baseUrl}api/kernels/${kernel.id}`, {
        cache: "no-store",
        headers: token ? { Authorization: `token ${token}` } : {},
        signal: given_up.signal,
      });
      if (!answer.ok) return answer.status === 404 ? "kernel" : null;
      return (await answer.json()).beats === false ? "hung" : null;
    } catch (error) {
      return "server";
    } finally {
      clearTimeout(late);
    }
  };
  const ask = async () => {
    clearTimeout(next);
    if (stopped || over) return;
    // A page that nobody sees is slowed down by the browser, and asks once it is seen.
    if (!document.hidden) {
      const found = await heard();
      if (over) return;
      if (found === "kernel") stopped = true;
      if (found !== silent) {
        silent = found;
        look();
      }
    }
    clearTimeout(next);
    next = setTimeout(ask, EACH_MS);
  };
  const seen = () => { if (!document.hidden) ask(); };
  kernel.statusChanged?.connect(look);
  kernel.connectionStatusChanged?.connect(look);
  kernel.disposed?.connect(look);
  if (kernel.connectionStatus === "connected") look();
  document.addEventListener("visibilitychange", seen);
  ask();
  return () => {
    over = true;
    clearTimeout(waiting);
    clearTimeout(next);
    document.removeEventListener("visibilitychange", seen);
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
    page is loaded again; that of a server or a kernel that hangs goes once it answers. A kernel
    that computes is not one that hangs: its heart goes on beating.
    """

    _esm = _SCRIPT
    _css = _STYLE
