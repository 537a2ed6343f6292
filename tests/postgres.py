"""A PostgreSQL server of our own for a test: its own folder, a port of its own, loopback only."""

from __future__ import annotations

import contextlib
import os
import pwd
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path


def _programs() -> Path | None:
    """Return where the server's programs are, the newest of Debian's first."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda p: int(p.parts[-3]))
    if found:
        return found[-1].parent
    here = shutil.which("initdb")
    return Path(os.path.realpath(here)).parent if here else None


@contextlib.contextmanager
def server() -> Iterator[str]:
    """Start a server and yield the address of its database.

    Raises
    ------
    FileNotFoundError
        If PostgreSQL is not installed.
    """
    programs = _programs()
    if programs is None:
        raise FileNotFoundError("PostgreSQL is not installed: apt-get install postgresql")
    user: dict[str, object] = {}
    folder = Path(tempfile.mkdtemp(prefix="fitgraph-pg-", dir="/tmp"))
    if os.geteuid() == 0:
        # The server refuses to run as root.
        name = next(
            n for n in ("postgres", "nobody") if any(p.pw_name == n for p in pwd.getpwall())
        )
        entry = pwd.getpwnam(name)
        user = {"user": entry.pw_uid, "group": entry.pw_gid, "extra_groups": []}
        os.chown(folder, entry.pw_uid, entry.pw_gid)
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        port = taken.getsockname()[1]
    data = folder / "data"
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "cwd": folder, **user}
    options = (
        f"-p {port} -c listen_addresses=127.0.0.1 -c unix_socket_directories={folder} -c fsync=off"
    )
    try:
        subprocess.run(
            [
                programs / "initdb",
                "-D",
                data,
                "-U",
                "shop",
                "-A",
                "trust",
                "-E",
                "UTF8",
                "--locale=C",
            ],
            check=True,
            timeout=120,
            **quiet,  # type: ignore[call-overload]
        )
        control = [programs / "pg_ctl", "-D", data, "-w", "-t", "60"]
        subprocess.run(
            [*control, "-o", options, "-l", folder / "log", "start"],
            check=True,
            timeout=90,
            **quiet,
        )  # type: ignore[call-overload]
        try:
            yield f"postgresql://shop@127.0.0.1:{port}/postgres"
        finally:
            subprocess.run([*control, "-m", "immediate", "stop"], check=True, timeout=90, **quiet)  # type: ignore[call-overload]
    finally:
        shutil.rmtree(folder, ignore_errors=True)
