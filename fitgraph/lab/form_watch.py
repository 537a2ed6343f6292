"""What scripts of a page share that look at its form again whenever it changes."""

from __future__ import annotations

#: Stands before a script: ``watched(el, look)`` returns what ends it.
WATCHED = """
// Calls look(form) once the form around an element is there, and in the frame after its changes.
function watched(el, look) {
  let watch = null, over = false, asked = false;
  const soon = (form) => {
    if (asked) return;
    asked = true;
    requestAnimationFrame(() => { asked = false; if (!over) look(form); });
  };
  const begin = () => {
    if (over) return;
    const form = el.closest(".fg-form");
    if (!form) return requestAnimationFrame(begin);
    watch = new MutationObserver(() => soon(form));
    watch.observe(form, { childList: true, subtree: true });
    soon(form);
  };
  begin();
  return () => { over = true; watch?.disconnect(); };
}
"""
