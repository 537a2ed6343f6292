"""Run a job again and again in a process that dies at its n-th call into C.

Every write, flush, rename and removal is such a call, so dying at each of them in turn is
dying at every write. Nothing is flushed and no handler runs: it is what SIGKILL does.

``python -m tests.killed --times 200`` kills the writing of every kind of file so often; the tests
by themselves do it a few times each.
"""

from __future__ import annotations

import argparse
import gc
import os
import random
import subprocess
import sys
from collections.abc import Callable
from itertools import cycle, islice
from pathlib import Path

from tests.turns import turns

#: How often each kind of file is killed.
TIMES = int(os.environ.get("FITGRAPH_KILLS", turns(40, 8)))

#: How many of these have to end in its middle; a run may make a few calls fewer than the last.
ENOUGH = TIMES - max(3, TIMES // 10 - 1)

#: Where the kinds of files are.
TESTS = ("tests/test_files.py", "tests/test_import_whole.py", "tests/test_cache.py")

#: Exit code of a process that was killed, and of one whose job failed.
KILLED, FAILED = 77, 78


def _run(job: Callable[[], object], die_at: int, report: int) -> int:
    """Do a job in a process of its own, which dies at a call; return its exit code."""
    child = os.fork()
    if child:
        return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    gc.disable()  # what is called when rubbish is taken away would count as well
    calls = 0

    def count(frame: object, event: str, argument: object) -> None:
        nonlocal calls
        if event == "c_call":
            calls += 1
            if calls == die_at:
                os._exit(KILLED)

    try:
        sys.setprofile(count)
        job()
        sys.setprofile(None)
        os.write(report, str(calls).encode())
    except BaseException:
        sys.setprofile(None)
        os._exit(FAILED)
    os._exit(0)


def kill_at_every_write(
    prepare: Callable[[Path], None],
    job: Callable[[Path], object],
    check: Callable[[Path], None],
    folder: Path,
    times: int = TIMES,
) -> int:
    """Kill a job at calls spread over its whole course, and check what is left each time.

    Parameters
    ----------
    prepare : callable
        Makes the old state in an empty folder.
    job : callable
        Brings it to the new state.
    check : callable
        Raises unless it finds the old or the new state.
    folder : Path
        An empty folder to work in.
    times : int
        How often the job is killed.

    Returns
    -------
    int
        How many runs were killed before they ended.
    """
    reader, writer = os.pipe()
    first, second = folder / "first", folder / "second"
    for place in (first, second):
        place.mkdir()
        prepare(place)
    job(first)  # the first time fills caches; the second one tells how many calls a run makes
    assert _run(lambda: job(second), 0, writer) == 0, "the job itself fails"
    calls = int(os.read(reader, 64))
    check(first)
    check(second)
    # The last calls are the writes, the flush and the rename; each of them has its turn.
    late = range(max(1, calls - times // 2 + 1), calls + 1)
    early = range(1, late.start)
    sample = random.Random(7).sample(early, min(times - len(late), len(early)))
    killed = 0
    for turn, n in enumerate(islice(cycle([*sorted(sample), *late]), times)):
        place = folder / f"{turn}-at-{n}"
        place.mkdir()
        prepare(place)
        code = _run(lambda place=place: job(place), n, writer)
        assert code != FAILED
        killed += code == KILLED
        check(place)
    os.close(reader)
    os.close(writer)
    return killed


def main() -> None:
    """Run the tests of every kind of file with so many kills each."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--times", type=int, default=200)
    given = asked.parse_args()
    command = [sys.executable, "-m", "pytest", "-v", "-p", "no:cacheprovider", *TESTS]
    told = {**os.environ, "FITGRAPH_KILLS": str(given.times)}
    sys.exit(subprocess.run(command, env=told, check=False).returncode)


if __name__ == "__main__":
    main()
