"""docs/api.md, made from the docstrings of the public face, or looked at by a test.

Run from a checkout::

    python -m tests.api_page
"""

from __future__ import annotations

import inspect
import re
import textwrap
from collections.abc import Iterator
from functools import cached_property
from pathlib import Path
from types import FunctionType
from typing import Any

import fitgraph
from fitgraph import shop

PAGE = Path(__file__).resolve().parents[1] / "docs" / "api.md"

_HEAD = """# The package

`import fitgraph` loads next to nothing; `fitgraph.open()` opens a catalogue folder, the demo
where none is named, and what comes back answers every question. Every answer shows itself in a
terminal and in a notebook, and is data: `to_dict()` (what `--json` prints), `records()`,
`to_csv()`, and `to_frame()` with pandas, polars or pyarrow, whichever is installed. Numbers are in
mm, g, N m and major currency units.

## An analyst's ten lines

Load, parts, coverage as a pivot, builds, orders, a join with a table of one's own, a plot:

```python
import fitgraph, pandas as pd
shop = fitgraph.open()
print(shop.parts.to_frame().groupby("role")["price"].describe())
print(shop.coverage().pivot("system", "material").to_frame())
builds = shop.builds(have=["FORK-VEN-04"], budget=350, limit=50).to_frame()
print(builds[["price", "mass_g", "strength_nm"]].corr())
orders = shop.restock(spend=500).to_frame()
own = pd.read_csv("margins.csv")  # a table with the columns sku and margin
joined = orders.merge(own, on="sku", how="left").assign(gain=lambda t: t["cost"] * t["margin"])
figure = joined.plot.bar(x="sku", y=["cost", "gain"], backend="plotly")
```

## How this page is made

Of docstrings, by `python -m tests.api_page`.
"""

_SECTIONS = ("Parameters", "Returns", "Raises", "Yields", "Examples", "References")
#: What every answer has alike is told once, with :class:`Answer`.
_SHARED = {"report", "to_dict"}


def plain_signature(name: str, thing: Any) -> str:
    """Return how a function is called, types left out: they stand in the text."""
    pieces, bare = [], False
    for parameter in list(inspect.signature(thing).parameters.values()):
        if parameter.name == "self":
            continue
        text = parameter.name
        if parameter.kind is parameter.VAR_POSITIONAL:
            text, bare = f"*{text}", True
        elif parameter.kind is parameter.VAR_KEYWORD:
            text = f"**{text}"
        elif parameter.kind is parameter.KEYWORD_ONLY and not bare:
            pieces.append("*")
            bare = True
        if parameter.default is not parameter.empty:
            text += f"={parameter.default!r}"
        pieces.append(text)
    return f"{name}({', '.join(pieces)})"


def _sections(doc: str) -> Iterator[tuple[str, str]]:
    """Yield the parts of a docstring in numpy style: its text first, then each section."""
    heads = "|".join(_SECTIONS)
    pieces = re.split(rf"^({heads})\n-+\n", doc, flags=re.M)
    yield "", pieces[0].strip()
    yield from zip(pieces[1::2], (p.strip("\n") for p in pieces[2::2]), strict=True)


def _entries(text: str) -> Iterator[tuple[str, str]]:
    """Yield the entries of a section of parameters: a heading and its text, each."""
    for entry in re.split(r"^(?=\S)", text, flags=re.M):
        if entry.strip():
            head, _, rest = entry.partition("\n")
            yield head.strip(), " ".join(textwrap.dedent(rest).split())


def _roles(text: str) -> str:
    """Return reST roles and literals as Markdown."""
    text = re.sub(r":\w+:`~?([^`]+)`", r"`\1`", text)
    return text.replace("``", "`")


def described(doc: str) -> str:
    """Return a docstring as Markdown."""
    pieces = []
    for name, text in _sections(inspect.cleandoc(doc)):
        if not name:
            pieces.append(_roles(text))
        elif name == "Examples":
            pieces.append(f"```pycon\n{text.strip()}\n```")
        else:
            lines = [f"{name}:", ""]
            for head, rest in _entries(text):
                told = f"`{head}`" + (f": {_roles(rest)}" if rest else "")
                lines.append(f"- {told}")
            pieces.append("\n".join(lines))
    return "\n\n".join(pieces)


def members(kind: type) -> Iterator[tuple[str, str, Any]]:
    """Yield name, heading and thing of every public member that a class itself defines."""
    for name, member in vars(kind).items():
        if name.startswith("_") or (kind is not shop.Answer and name in _SHARED):
            continue
        if isinstance(member, FunctionType):
            if member.__doc__:
                yield name, plain_signature(name, member), member
        elif isinstance(member, property | cached_property) and member.__doc__:
            yield name, name, member


def public_names() -> dict[str, Any]:
    """Return what the page tells, in its order."""
    answers = [getattr(shop, n) for n in shop.__all__ if n.endswith("Answer") and n != "Answer"]
    told = [fitgraph.open, fitgraph.InputError, shop.check_folder, shop.Shop, shop.Answer, *answers]
    return {thing.__name__: thing for thing in told}


def page() -> str:
    """Return the whole page."""
    pieces = [_HEAD.strip()]
    for name, thing in public_names().items():
        if isinstance(thing, type):
            pieces += [f"## {name}", described(thing.__doc__ or "")]
            for _, heading, member in members(thing):
                pieces += [f"### `{name}.{heading}`", described(member.__doc__)]
        else:
            where = "fitgraph" if thing is fitgraph.open else "fitgraph.shop"
            pieces += [f"## `{where}.{plain_signature(name, thing)}`", described(thing.__doc__)]
    return "\n\n".join(pieces) + "\n"


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
