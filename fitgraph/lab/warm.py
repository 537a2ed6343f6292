"""The process that kernels of pages are forked from: everything is read and compiled in it once.

A server starts it as ``python -m fitgraph.lab.warm NUMBER`` with a socket under that number, and
asks it for a kernel with each page. What kernels share, they hold in memory once, until one of
them writes to it (copy on write, fork(2)).
"""

from __future__ import annotations

import contextlib
import ctypes
import gc
import importlib
import json
import os
import select
import signal
import socket
import sys
import time
from collections.abc import Iterator
from typing import Any

from fitgraph.lab.unused import give_back, one_arena
from fitgraph.stopping import Stop, StoppedError, stopped_by

#: What a kernel and the pages need, what is needed first at the front.
_MODULES = (
    "ipykernel.kernelapp",
    "ipykernel.ipkernel",
    "ipykernel.zmqshell",
    "ipykernel.comm",
    "ipywidgets",
    # What a kernel reads as it begins: a debugger is most of it.
    "ipykernel.debugger",
    "IPython.core.completerlib",
    "IPython.core.debugger",
    "IPython.extensions.storemagic",
    "psutil",
    "sqlite3",
    "tornado.platform.asyncio",
    "tornado.queues",
    "fitgraph.lab.opened",
    "fitgraph.lab.start",
    "fitgraph.lab.counter",
    "fitgraph.lab.why_explorer",
    "fitgraph.lab.explorer",
    "fitgraph.lab.stock_gaps",
    "fitgraph.lab.lesson",
    "fitgraph.lab.map_of_fits",
    "fitgraph.lab.practice",
    "fitgraph.lab.adapter_map",
    "fitgraph.lab.triangle_view",
    "fitgraph.shop.weighed",
)

#: How long work ahead waits when a page is opened [s].
_PAGE_S = 4.0

#: How long a page may wait for a step, and how often it is looked for one from then on [s].
_STEP_S, _LOOK_S = 1.0, 0.2

#: Of prctl(2): the signal that a process gets when the one it came of ends.
_PR_SET_PDEATHSIG = 1

#: Descriptors that no kernel shall hold.
_OURS: list[int] = []

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
    from fitgraph.lab.forehand import quick
    from fitgraph.lab.opened import made_ready, prepare

    prepare()
    yield
    opened = made_ready()
    if opened is not None:
        yield from quick(opened)
    _settle()


@contextlib.contextmanager
def _given_up_for_a_page(here: socket.socket) -> Iterator[None]:
    """Stop what takes long inside once somebody asks for a kernel.

    In a large catalogue of measured parts a step that else takes a moment takes minutes, and no
    page would open for so long.
    """
    stop, end = Stop(), time.monotonic() + _STEP_S

    def look(_number: int, _frame: object) -> None:
        if time.monotonic() >= end and select.select([here], [], [], 0)[0]:
            stop.set()

    signal.signal(signal.SIGALRM, look)
    signal.setitimer(signal.ITIMER_REAL, _STEP_S, _LOOK_S)
    try:
        with stopped_by(stop):
            yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)


def _next(steps: Iterator[None], here: socket.socket) -> bool:
    """Make one step; return whether there are more that the next page can wait for."""
    try:
        with _given_up_for_a_page(here):
            return next(steps, steps) is not steps
    except StoppedError:
        _settle()
        return False


def _settle() -> None:
    """Make what is held ready to be shared."""
    gc.collect()
    gc.freeze()  # so that collecting garbage does not write to what is shared
    give_back()


def _kernel(asked: dict[str, Any], here: socket.socket) -> None:
    """Become a kernel, in the child."""
    here.close()
    for ours in _OURS:
        os.close(ours)
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


class _Ahead:
    """A child that asks what takes seconds, and then answers in our place.

    It holds all that this process holds and what it finds besides. While a page is opened, it
    waits: the page needs the processors.
    """

    def __init__(self, here: socket.socket) -> None:
        self.told, telling = os.pipe()
        self.over, self._resumes = False, 0.0
        warmer = os.getpid()
        self._process = os.fork()
        if self._process:
            os.close(telling)
            return
        try:
            os.close(self.told)
            _dies_with(warmer)
            _OURS.append(telling)
            _finish()
            os.write(telling, b"1")
            serve(here, done=True)
        finally:
            os._exit(0)

    def wait(self) -> None:
        """Let it wait for a while: a page is opened."""
        if not self.over:
            self._resumes = time.monotonic() + _PAGE_S
            os.kill(self._process, signal.SIGSTOP)

    def resume(self) -> float | None:
        """Let it go on once it has waited; return in how many seconds, None where it goes on."""
        if not self._resumes:
            return None
        left = self._resumes - time.monotonic()
        if left > 0:
            return left
        self._resumes = 0.0
        os.kill(self._process, signal.SIGCONT)
        return None

    def hear(self) -> bool:
        """Take what it tells; return whether it is still there."""
        self.over = bool(os.read(self.told, 1))
        return self.over

    def end(self) -> None:
        """End it: what it asks is of no use any more."""
        if not self.over:
            os.kill(self._process, signal.SIGKILL)
        os.close(self.told)


def _dies_with(parent: int) -> None:
    """End with the process that this one came of, whatever ends that."""
    with contextlib.suppress(OSError, AttributeError):
        ctypes.CDLL(None).prctl(_PR_SET_PDEATHSIG, signal.SIGKILL)
    if os.getppid() != parent:
        os._exit(0)


def _finish() -> None:
    """Ask what takes seconds, and what was given up before."""
    with contextlib.suppress(Exception):
        from fitgraph.lab.forehand import quick, slow
        from fitgraph.lab.opened import made_ready

        opened = made_ready()
        if opened is not None:
            for _ in quick(opened):
                pass
            slow(opened)
    _settle()


def serve(here: socket.socket, *, done: bool = False) -> None:
    """Make ready, and answer each question for a kernel with its process, until nobody asks.

    Parameters
    ----------
    here : socket
        Our end.
    done : bool
        Whether everything is ready, what takes seconds too.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)  # nobody has to wait for a kernel that ended
    steps, ready, ahead = _steps(), done, None
    while True:
        if not ready and not select.select([here], [], [], 0)[0]:
            ready = not _next(steps, here)
            continue
        if ready and not done:
            ahead, done = _Ahead(here), True
        if ahead is not None:
            # Once it answers in our place, it is all that we listen to.
            listened: list[Any] = [ahead.told] if ahead.over else [here, ahead.told]
            heard = select.select(listened, [], [], ahead.resume())[0]
            if ahead.told in heard and not ahead.hear():
                ahead.end()
                ahead = None
            if here not in heard:
                continue
        asked = receive(here)
        if asked is None:
            if ahead is not None:
                ahead.end()
            return
        if ready:
            from fitgraph.lab.opened import outdated

            if outdated():
                steps, ready, done = _steps(), False, False
                if ahead is not None:
                    ahead.end()
                    ahead = None
        if ahead is not None:
            ahead.wait()
        send(here, {"process": _fork(asked, here)})


def main() -> None:
    """Serve the socket whose number is the first argument."""
    if sys.path and sys.path[0] in ("", os.getcwd()):
        del sys.path[0]
    one_arena()
    serve(socket.socket(fileno=int(sys.argv[1])))


if __name__ == "__main__":
    main()
