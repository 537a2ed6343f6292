"""Kernels of the servers of pages: forked from one process that holds what all of them need.

The servers are told by name to use :class:`WarmKernels`. Where a process cannot be forked, or the
one that is forked from is gone, kernels start as they always do.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import select
import signal
import socket
import subprocess
import sys
import time
import uuid
from pathlib import Path
from typing import Any, cast

import zmq
from jupyter_client.provisioning.local_provisioner import LocalProvisioner
from jupyter_server.services.kernels.kernelmanager import (
    AsyncMappingKernelManager,
    ServerKernelManager,
)
from traitlets import default

from fitgraph.lab.warm import receive, send

#: How a kernel of this Python is started; nothing else can be forked.
_LAUNCHER = ["-m", "ipykernel_launcher"]

#: An answer of a kernel's heart that takes longer is missed [s].
_SILENT_S = 0.8


class Forked:
    """A process that is not our child, by a descriptor that stays its own whatever its number.

    Parameters
    ----------
    pid : int
        Its number; it must be running.
    """

    stdin = stdout = stderr = None

    def __init__(self, pid: int) -> None:
        self.pid = pid
        self.returncode: int | None = None
        self._file = os.pidfd_open(pid)

    def poll(self) -> int | None:
        """Return None while it runs; with which code it ended is not known to us."""
        if self.returncode is None and select.select([self._file], [], [], 0)[0]:
            self.returncode = 0
            os.close(self._file)
        return self.returncode

    def wait(self) -> int:
        """Return once it has ended."""
        if self.returncode is None:
            select.select([self._file], [], [])
            self.poll()
        return 0

    def send_signal(self, number: int) -> None:
        """Send it a signal, if it still runs."""
        if self.poll() is None:
            signal.pidfd_send_signal(self._file, number)

    def kill(self) -> None:
        """End it at once."""
        self.send_signal(signal.SIGKILL)

    def terminate(self) -> None:
        """Ask it to end."""
        self.send_signal(signal.SIGTERM)


class Source:
    """The process that kernels are forked from; it ends when this end of its socket is closed."""

    def __init__(self) -> None:
        self._lock = asyncio.Lock()
        self._here: socket.socket | None = None
        if sys.platform != "linux" or not hasattr(os, "pidfd_open"):
            return
        here, there = socket.socketpair()
        with there:
            self._process = subprocess.Popen(
                # As kernels are started: a debugger that is read warns of frozen modules.
                [
                    *(sys.executable, "-Xfrozen_modules=off"),
                    *("-m", "fitgraph.lab.warm", str(there.fileno())),
                ],
                pass_fds=[there.fileno()],
                stdin=subprocess.DEVNULL,
                start_new_session=True,
            )
        self._here = here

    @property
    def there(self) -> bool:
        """Whether kernels can be forked."""
        return self._here is not None and self._process.poll() is None

    async def fork(self, arguments: list[str], env: dict[str, str], cwd: str | None) -> Forked:
        """Return a new kernel.

        Raises
        ------
        OSError
            If the process is gone.
        """
        asked = {"arguments": arguments, "env": env, "cwd": cwd}

        def ask() -> Any:
            assert self._here is not None
            send(self._here, asked)
            return receive(self._here)

        async with self._lock:
            told = await asyncio.to_thread(ask)
        if told is None:
            raise ConnectionResetError("no process to fork from")
        return Forked(int(told["process"]))


class WarmProvisioner(LocalProvisioner):
    """Starts a kernel by forking, where that is possible."""

    async def launch_kernel(self, cmd: list[str], **kwargs: Any) -> Any:
        """Start a kernel as a command says."""
        source: Source | None = getattr(self.parent, "source", None)
        ours = Path(cmd[0]).name.startswith("python") and cmd[1:3] == _LAUNCHER
        if source is None or not source.there or not ours:
            return await super().launch_kernel(cmd, **kwargs)
        env = {str(k): str(v) for k, v in (kwargs.get("env") or os.environ).items()}
        cwd = kwargs.get("cwd")
        try:
            forked = await source.fork(cmd[3:], env, None if cwd is None else str(cwd))
        except OSError:
            return await super().launch_kernel(cmd, **kwargs)
        # It is the leader of a group of its own.
        self.process = cast(Any, forked)
        self.pid = self.pgid = forked.pid
        self.cwd = cwd or Path.cwd()
        return self.connection_info


class Heart:
    """Whether a kernel's heart beats: it has a thread of its own, so it does while one computes.

    Nothing waits here. Each time somebody asks, the answer to the question before is taken, and
    the next one is asked.

    Parameters
    ----------
    kernel : ServerKernelManager
        Which; it must have been started.
    """

    def __init__(self, kernel: ServerKernelManager) -> None:
        self._stream = kernel.connect_hb()
        self._socket: zmq.Socket[bytes] = self._stream.socket
        # A question that was lost, as one to a kernel that was started again, is asked once more.
        self._socket.setsockopt(zmq.REQ_RELAXED, 1)
        self._socket.setsockopt(zmq.REQ_CORRELATE, 1)
        self._asked: float | None = None
        self._silent = False

    def beats(self) -> bool:
        """Return whether it was heard when it was last asked."""
        now = time.monotonic()
        if self._asked is not None and self._socket.poll(0):
            self._socket.recv()
            self._asked, self._silent = None, False
        if self._asked is not None and now - self._asked > _SILENT_S:
            self._asked, self._silent = None, True
        if self._asked is None:
            with contextlib.suppress(zmq.Again):
                self._socket.send(b"", zmq.NOBLOCK)
                self._asked = now
        return not self._silent

    def close(self) -> None:
        """Ask no more."""
        self._stream.close(linger=0)


class WarmKernel(ServerKernelManager):
    """A kernel that is forked."""

    _heart: Heart | None = None

    @property
    def source(self) -> Source | None:
        """What it is forked from."""
        return getattr(self.parent, "source", None)

    async def _async_pre_start_kernel(self, **more: Any) -> Any:
        if self.provisioner is None:
            self.kernel_id = self.kernel_id or more.pop("kernel_id", None) or str(uuid.uuid4())
            self.provisioner = WarmProvisioner(
                kernel_id=self.kernel_id, kernel_spec=self.kernel_spec, parent=self
            )
        return await super()._async_pre_start_kernel(**more)

    @property
    def beats(self) -> bool:
        """Whether it lives and does not hang; one that computes does not."""
        if self._heart is None:
            self._heart = Heart(self)
        return self._heart.beats()

    async def _async_cleanup_resources(self, restart: bool = False) -> None:
        if self._heart is not None:
            self._heart.close()
            self._heart = None
        await super()._async_cleanup_resources(restart)


class WarmKernels(AsyncMappingKernelManager):
    """All kernels of a server."""

    def __init__(self, **more: Any) -> None:
        super().__init__(**more)
        #: Started at once, so that it is ready when the first page is opened.
        self.source = Source()
        if "voila" in sys.modules:  # JupyterLab has no pages
            from fitgraph.lab.templates import keep_templates

            keep_templates("fitgraph")

    def kernel_model(self, kernel_id: str) -> dict[str, Any]:
        """Return what is told of a kernel, and whether its heart beats."""
        told = cast(dict[str, Any], super().kernel_model(kernel_id))
        kernel = self._kernels[kernel_id]
        if isinstance(kernel, WarmKernel) and kernel.has_kernel:
            told["beats"] = kernel.beats
        return told

    @default("kernel_manager_class")
    def _kernels_of_ours(self) -> str:
        return f"{__name__}.WarmKernel"
