"""The process that kernels of pages are forked from: everything is read and compiled in it once.

A server starts it as ``python -m fitgraph.lab.warm NUMBER`` with a socket under that number, and
asks it for a kernel with each page. What kernels share, they hold in memory once, until one of
them writes to it (copy on write, fork(2)).
"""

from __future__ import annotations

import contextlib
import gc
import importlib
import json
import os
import select
import signal
import socket
import sys
from collections.abc import Iterator
from typing import Any

#: What a kernel and the pages need, what is needed first at the front.
_MODULES = (
    "ipykernel.kernelapp",
    "ipykernel.ipkernel",
    "ipykernel.zmqshell",
    "ipykernel.comm",
    "ipywidgets",
    "fitgraph.lab.opened",
    "fitgraph.lab.start",
    "fitgraph.lab.counter",
    "fitgraph.lab.why_explorer",
    "fitgraph.lab.explorer",
    "fitgraph.lab.gaps",
    "fitgraph.lab.lesson",
    "fitgraph.lab.map_of_fits",
    "fitgraph.lab.practice",
    "fitgraph.lab.adapter_map",
    "fitgraph.lab.triangle_view",
    "fitgraph.shop.weighed",
)

#: Length of a message is told in so many bytes before it.
_HEAD = 4


def send(to: socket.socket, told: object) -> None:
    """Send a message."""
    data = json.dumps(told).encode()
    to.sendall(len(data).to_bytes(_HEAD, "big") + data)


def receive(of: socket.socket) -> Any:
    """Return the next message, None once the other end is closed."""

    def read(length: int) -> bytes:
        data = b""
        while len(data) < length:
            piece = of.recv(length - len(data))
            if not piece:
                return b""
            data += piece
        return data

    head = read(_HEAD)
    data = read(int.from_bytes(head, "big")) if head else b""
    return json.loads(data) if data else None


def _steps() -> Iterator[None]:
    """Import and compile a step at a time, so that nobody waits for what they do not need."""
    for name in _MODULES:
        # Whatever is wrong with a module is told where it is used.
        with contextlib.suppress(Exception):
            importlib.import_module(name)
        yield
    from fitgraph.lab.opened import prepare

    yield from prepare()
    gc.collect()
    gc.freeze()  # so that collecting garbage does not write to what is shared


def _kernel(asked: dict[str, Any], here: socket.socket) -> None:
    """Become a kernel, in the child."""
    here.close()
    os.setsid()
    for name in (signal.SIGINT, signal.SIGTERM, signal.SIGCHLD):
        signal.signal(name, signal.SIG_DFL)
    signal.signal(signal.SIGINT, signal.default_int_handler)
    warmer = os.getppid()
    os.environ.clear()
    os.environ.update(asked["env"])
    os.environ["JPY_PARENT_PID"] = str(warmer)
    if asked.get("cwd"):
        os.chdir(asked["cwd"])
    # A kernel ends when what it came of is gone; the class has read the environment already.
    parent = f"--IPKernelApp.parent_handle={warmer}"
    sys.argv = ["ipykernel_launcher", *asked["arguments"], parent]
    numpy = sys.modules.get("numpy")
    if numpy is not None:
        numpy.random.seed()  # two kernels shall not draw the same numbers
    from ipykernel.kernelapp import IPKernelApp

    kernel = IPKernelApp.instance()
    kernel.initialize()
    widgets = sys.modules.get("ipywidgets")
    if widgets is not None:
        # It was imported without a kernel: nobody would answer a page that asks for all models
        # at once, and it would ask for them one by one.
        widgets.register_comm_target()
    kernel.start()


def _fork(asked: dict[str, Any], here: socket.socket) -> int:
    child = os.fork()
    if child:
        return child
    code = 1
    try:
        _kernel(asked, here)
        code = 0
    except SystemExit as ended:
        code = ended.code if isinstance(ended.code, int) else 1
    except BaseException:
        sys.excepthook(*sys.exc_info())
    finally:
        for stream in (sys.stdout, sys.stderr):
            with contextlib.suppress(Exception):
                stream.flush()
        os._exit(code)


def serve(here: socket.socket) -> None:
    """Make ready, and answer each question for a kernel with its process, until nobody asks."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)  # nobody has to wait for a kernel that ended
    steps = _steps()
    ready = False
    while True:
        if not ready and not select.select([here], [], [], 0)[0]:
            ready = next(steps, steps) is steps
            continue
        asked = receive(here)
        if asked is None:
            return
        if ready:
            from fitgraph.lab.opened import outdated

            if outdated():
                steps, ready = _steps(), False
        send(here, {"process": _fork(asked, here)})


def main() -> None:
    """Serve the socket whose number is the first argument."""
    if sys.path and sys.path[0] in ("", os.getcwd()):
        del sys.path[0]
    serve(socket.socket(fileno=int(sys.argv[1])))


if __name__ == "__main__":
    main()
