"""``fitgraph lab``: the notebooks in a browser, on this computer only."""

from __future__ import annotations

import importlib.util
import os
import signal
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Annotated

import typer

from fitgraph.cli.output import ANSWER, BadInputError, remark, show_json
from fitgraph.cli.shared_options import either
from fitgraph.files import write_bytes_whole, write_text_whole

#: Where a copy of the notebooks goes if nobody says.
OWN_FOLDER = "fitgraph-notebooks"


#: Names the file that holds the open catalogue's folder; fitgraph/lab/chosen.py reads it.
OPENED = "FITGRAPH_OPENED"

#: The notebook that JupyterLab opens first, where it is there.
START = "00-start.ipynb"

#: Tag of the cells that are for readers of code; the template of pages knows it as well.
IN_CODE = "in-code"

#: A server looks so often whether a kernel still runs, in seconds; a page tells at once.
_LOOKING = ("--KernelRestarter.time_to_dead=1.0",)

#: Kernels of both servers are forked from one process that has read and compiled everything.
_KERNELS = "fitgraph.lab.kernels.WarmKernels"
#: JupyterLab stays on this computer and asks nobody for news or extensions.
_LAB = (
    f"--ServerApp.kernel_manager_class={_KERNELS}",
    "--ip=127.0.0.1",
    "--LabApp.extension_manager=readonly",
    "--LabApp.news_url=None",
    "--LabApp.check_for_updates_class=jupyterlab.NeverCheckForUpdate",
)
#: JupyterLab asks for a token unless told otherwise, pages only when told to.
_PAGES = (
    f"--VoilaConfiguration.multi_kernel_manager_class={_KERNELS}",
    "--Voila.ip=127.0.0.1",
    "--token",
    # Only by a name of this computer: JupyterLab sees to that itself.
    "--Voila.tornado_settings={'allow_remote_access': False}",
    "--template=fitgraph",
    "--VoilaConfiguration.classic_tree=True",
    # A page closes its kernel when it goes; one that could not is ended when nobody is there.
    "--MappingKernelManager.cull_idle_timeout=300",
    "--MappingKernelManager.cull_interval=60",
    # Charts bring their own code (fitgraph/lab/chart_code.py), and no code is shown in colours:
    # a page that reads 5 MB for that is slow to answer.
    "--VoilaConfiguration.extension_denylist=jupyterlab-plotly",
    "--VoilaConfiguration.extension_denylist=jupyterlab_pygments",
    # What is there for readers of code is neither run nor shown on a page.
    f"--VoilaExecutor.skip_cells_with_tag={IN_CODE}",
)


def server_command(
    folder: Path, *, pages: bool, port: int | None, browser: bool, root: bool
) -> list[str]:
    """Return the command that serves a folder to this computer, behind a token.

    Parameters
    ----------
    folder : Path
        With the notebooks.
    pages : bool
        Whether they are served as pages without code.
    port : int or None
        The first free one from the server's own where None.
    browser : bool
        Whether a browser is opened.
    root : bool
        Whether JupyterLab may run as the computer's administrator.
    """
    command = [sys.executable, "-m", "voila" if pages else "jupyterlab"]
    command += _PAGES if pages else _LAB
    command += _LOOKING
    if not pages and (folder / START).exists():
        command.append(f"--LabApp.default_url=/lab/tree/{START}")
    if root and not pages:
        command.append("--allow-root")
    if port is not None:
        command.append(f"--port={port}")
    if not browser:
        command.append("--no-browser")
    return [*command, str(folder)]


def server_environment(*, pages: bool, opened: Path | None = None) -> dict[str, str]:
    """Return what the server finds in its environment besides our own.

    Parameters
    ----------
    pages : bool
        Whether notebooks are served as pages: their template then stands in the package.
    opened : Path, optional
        The file in which the start page keeps which catalogue folder is open.
    """
    told = {} if opened is None else {OPENED: str(opened)}
    if not pages:
        return told
    import fitgraph

    template = str(Path(fitgraph.__file__).parent / "lab" / "pages")
    before = os.environ.get("JUPYTER_PATH")
    path = os.pathsep.join([template, before] if before else [template])
    return {**told, "JUPYTER_PATH": path}


def own_copy(source: Path, target: Path) -> Path:
    """Return a folder of one's own with the notebooks in it; what is there already stays.

    Parameters
    ----------
    source : Path
        The notebooks that come with the package.
    target : Path
        The folder; it is made where it is not there.
    """
    for file in sorted(source.rglob("*")):
        inside = file.relative_to(source)
        if any(part.startswith((".", "__")) for part in inside.parts) or file.is_dir():
            continue
        copy = target / inside
        copy.parent.mkdir(parents=True, exist_ok=True)
        if not copy.exists():
            write_bytes_whole(copy, file.read_bytes())
    target.mkdir(parents=True, exist_ok=True)
    return target


def notebooks(folder: Path | None) -> Path:
    """Return the folder to work in: a checkout's own, or a copy of what was installed."""
    import fitgraph
    from fitgraph.catalogue import shipped_folder

    source = shipped_folder("notebooks")
    installed = source.is_relative_to(Path(fitgraph.__file__).resolve().parent)
    if folder is None and not installed:
        return source
    return own_copy(source, Path.cwd() / OWN_FOLDER if folder is None else folder)


def _serve(command: list[str], environment: dict[str, str]) -> int:
    """Run a server until it ends.

    It hears an interrupt itself and may ask about it; a wish that it end is passed on.
    """
    with subprocess.Popen(command, env={**os.environ, **environment}) as server:
        before = [
            (signal.SIGINT, signal.signal(signal.SIGINT, signal.SIG_IGN)),
            (signal.SIGTERM, signal.signal(signal.SIGTERM, lambda *_: server.terminate())),
        ]
        try:
            return server.wait()
        finally:
            for number, handler in before:
                signal.signal(number, handler)


def lab(
    shop: Annotated[
        Path | None,
        typer.Argument(metavar="[DIR]", help="Folder with the catalogue, as with --catalogue."),
    ] = None,
    pages: Annotated[
        bool, typer.Option("--pages", help="Show the notebooks as pages, without code.")
    ] = False,
    port: Annotated[
        int | None, typer.Option(metavar="N", min=1, max=65535, help="Port to listen on.")
    ] = None,
    no_browser: Annotated[
        bool, typer.Option("--no-browser", help="Print the address, open nothing.")
    ] = False,
    allow_root: Annotated[
        bool, typer.Option("--allow-root", help="Let JupyterLab run as administrator.")
    ] = False,
    folder: Annotated[
        Path | None,
        typer.Option(metavar="DIR", help="Work in this folder; missing notebooks are copied in."),
    ] = None,
    catalogue: Annotated[
        Path | None,
        typer.Option(metavar="DIR", help="Catalogue folder that the pages are about."),
    ] = None,
    json: Annotated[
        bool, typer.Option("--json", help="Print what would be started as JSON; start nothing.")
    ] = False,
) -> None:
    """Open the notebooks in JupyterLab, on this computer only."""
    module = "voila" if pages else "jupyterlab"
    if importlib.util.find_spec(module) is None:
        raise BadInputError(
            f"{module} is not installed; install it with: "
            f"{Path(sys.executable).name} -m pip install 'fitgraph[lab]'"
        )
    catalogue = either(shop, catalogue, "--catalogue")
    if catalogue is not None and not catalogue.is_dir():
        raise BadInputError(f"{catalogue} is no folder; name a catalogue folder")
    where = notebooks(folder)
    command = server_command(where, pages=pages, port=port, browser=not no_browser, root=allow_root)
    if json:
        show_json({"folder": str(where), "pages": pages, "command": command})
        return
    remark(f"Notebooks in {where}; end with Ctrl+C")
    with tempfile.TemporaryDirectory(prefix="fitgraph-") as own:
        opened = Path(own) / "opened"
        write_text_whole(opened, "" if catalogue is None else str(catalogue.absolute()))
        code = _serve(command, server_environment(pages=pages, opened=opened))
    if code not in (0, 130, -signal.SIGINT, -signal.SIGTERM):
        raise BadInputError(f"{module} ended with code {code}; what it printed says why")
    raise typer.Exit(ANSWER)
