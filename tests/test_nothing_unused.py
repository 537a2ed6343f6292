"""Nothing unused: what is defined in the package is used in it, or offered to users by name.

A function that only tests call is dead weight. What somebody outside calls (users, a library, a
kernel) is listed here with who that is.
"""

from __future__ import annotations

import ast
import json
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import fitgraph
from tests.shared import parsed

PACKAGE = Path(fitgraph.__file__).parent
NOTEBOOKS = PACKAGE.parent / "notebooks"
API = (PACKAGE.parent / "docs" / "api.md").read_text(encoding="utf-8")

#: Who calls what nothing in the package does.
CALLED_FROM_OUTSIDE = {
    "_kernels_of_ours": "traitlets, for the default of a trait",
    "_render_traceback_": "IPython, to show an error",
    "_repr_html_": "IPython, to show an answer",
    "__getattr__": "Python, for names that a module loads when asked",
    "find_class": "pickle, for what a cache may hold",
    "_create_environment": "jinja2's maker of environments in the server, overridden",
    "_repr_mimebundle_": "IPython, for what a notebook shows, overridden",
    "bolt_goes_first": "users of the toolbox, who ask a thread that it returned",
    "vocabulary_schema": "python -m tests.schema, for the schema that editors read",
    "footer": "fpdf2, at the end of a page",
    "invoke": "click, to run a command, overridden",
    "kernel_model": "jupyter_server, for what it tells of a kernel, overridden",
    "load_bytecode": "jinja2, for its cache",
    "dump_bytecode": "jinja2, for its cache",
    "ReferenceEngine": "tests, which hold every engine to it; docs/engine.md offers it",
    "persistent_id": "pickle, for what it writes by name, overridden",
    "persistent_load": "pickle, for what was written by name, overridden",
    "reducer_override": "pickle, for how it writes a thing, overridden",
    "share_of_proof": "users of the toolbox, who ask a torque that it returned",
    "WHOLE": "tests, which ask every rule for all four; it fails to load where one lacks",
    "WarmKernels": "Jupyter, by name in the settings of fitgraph lab",
}


def trees() -> Iterator[tuple[Path, ast.Module]]:
    for path in sorted(PACKAGE.rglob("*.py")):
        if "_shipped" not in path.parts:
            yield path, parsed(path)
    for path in sorted(NOTEBOOKS.glob("*.ipynb")):
        for cell in json.loads(path.read_text(encoding="utf-8"))["cells"]:
            if cell["cell_type"] == "code":
                yield path, ast.parse("".join(cell["source"]))


def bodies(node: ast.Module | ast.ClassDef) -> Iterator[tuple[str, ast.stmt]]:
    """Yield what a module or a class defines by name."""
    for each in node.body:
        if isinstance(each, ast.FunctionDef | ast.AsyncFunctionDef):
            yield each.name, each
        elif isinstance(each, ast.ClassDef):
            yield each.name, each
            yield from bodies(each)
        elif isinstance(each, ast.Assign | ast.AnnAssign) and isinstance(node, ast.Module):
            targets = each.targets if isinstance(each, ast.Assign) else [each.target]
            yield from ((t.id, each) for t in targets if isinstance(t, ast.Name))


def used(tree: ast.AST) -> Iterator[str]:
    """Yield every name that is read, imported from another module, or named in a list of offers.

    A name that a module imports and passes on is used only where it is read.
    """
    for node in ast.walk(tree):
        if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Load):
            yield node.id
        elif isinstance(node, ast.Attribute):
            yield node.attr
        elif isinstance(node, ast.alias) and node.asname:
            yield node.name
        elif isinstance(node, ast.Constant) and str(node.value).isidentifier():
            yield str(node.value)  # __all__, getattr, names of things that are loaded when asked


def test_what_is_defined_is_used_or_offered() -> None:
    reads: Counter[str] = Counter()
    defined: dict[str, str] = {}
    for path, tree in trees():
        reads.update(used(tree))
        if path.suffix == ".py":
            for name, node in bodies(tree):
                if not (name.startswith("__") and name.endswith("__") and name != "__getattr__"):
                    defined[name] = f"{path.relative_to(PACKAGE)}:{node.lineno}"
                # What a function says of itself is no use of it.
                if isinstance(node, ast.FunctionDef | ast.ClassDef):
                    reads.subtract(n for n in used(node) if n == name)
    offered = set(API.replace("(", " ").replace("`", " ").replace(".", " ").split())
    unused = {n: at for n, at in defined.items() if reads[n] <= 0 and n not in offered}
    assert {n: at for n, at in unused.items() if n not in CALLED_FROM_OUTSIDE} == {}
    assert set(CALLED_FROM_OUTSIDE) <= set(unused), "no longer needed here"
