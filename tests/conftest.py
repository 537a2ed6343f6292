"""Options and fixtures that all tests share."""

from __future__ import annotations

import dataclasses
import datetime
import functools
import gc
import os
import time
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings
from xdist.scheduler import LoadFileScheduling

#: Where the tests in a browser are.
_BROWSER = "tests/browser/"

#: What is long without a mark of its own, by how its name begins: notebooks whose page is opened
#: in a browser as well, and examples that ask what the tests of the front door ask.
_LONG = (
    "notebooks/00-start.ipynb",
    "notebooks/01-how-fitment-works.ipynb",
    "notebooks/04-gaps-in-stock.ipynb",
    "notebooks/05-next-adapter.ipynb",
    "notebooks/06-staff-practice.ipynb",
    "notebooks/07-the-map-of-fits.ipynb",
    "notebooks/08-the-counter.ipynb",
    "notebooks/09-your-data.ipynb",
    "fitgraph/shop/front.py::fitgraph.shop.front.Shop.",
    "fitgraph/shop/answers.py::",
)

# In CI the same examples are tried each time, so that a run can be repeated; elsewhere new
# ones are looked for. No example is timed: what waits for a busy machine is no fault.
settings.register_profile("repeatable", derandomize=True, deadline=None)
settings.register_profile("searching", deadline=None)
settings.load_profile("repeatable" if os.environ.get("CI") else "searching")

# Tests leave nothing in the cache of whoever runs them.
os.environ["FITGRAPH_CACHE"] = "off"

# What tests start, and they start a hundred programs, finds its modules compiled, as users do.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--no-skips", action="store_true", help="fail if any test was skipped, as CI does"
    )
    parser.addoption(
        "--long", action="store_true", help="run the tests that are marked long as well"
    )
    parser.addoption(
        "--long-for",
        type=float,
        metavar="SECONDS",
        help="run only tests that are marked long, and begin no other after so many seconds; "
        "each day begins at another file",
    )


def pytest_configure(config: pytest.Config) -> None:
    config.addinivalue_line(
        "markers", "long: more of what shorter tests look at as well; runs with --long"
    )
    config.addinivalue_line(
        "markers", "some(n): of its many cases n run, spread evenly; with --long all of them"
    )
    if config.getoption("--long") or config.getoption("--long-for") is not None:
        os.environ["FITGRAPH_LONG_TESTS"] = "1"  # read by turns.py


class _ByFile(LoadFileScheduling):
    """Keeps each file on one worker, and all tests in a browser on one: they share open pages."""

    def _split_scope(self, nodeid: str) -> str:
        return _BROWSER if nodeid.startswith(_BROWSER) else super()._split_scope(nodeid)


def pytest_xdist_make_scheduler(config: pytest.Config, log: object) -> LoadFileScheduling | None:
    """Return how ``--dist loadfile`` is done here."""
    if config.getvalue("dist") != "loadfile":
        return None
    config.option.loadscopereorder = False  # in the order below, not by the number of tests
    return _ByFile(config, log)


def _spread(items: list[pytest.Item]) -> set[str]:
    """Return the tests that are left out of the many cases of one test."""
    of: dict[str, list[pytest.Item]] = defaultdict(list)
    for item in items:
        if item.get_closest_marker("some") and not item.get_closest_marker("long"):
            of[item.nodeid.split("[")[0]].append(item)
    out = set()
    for cases in of.values():
        few = next(cases[0].iter_markers("some")).args[0]
        if few < len(cases):
            step = (len(cases) - 1) / max(few - 1, 1)
            kept = {round(n * step) for n in range(few)}
            out |= {item.nodeid for n, item in enumerate(cases) if n not in kept}
    return out


def _turn(item: pytest.Item) -> int:
    """Return when a test has its turn: what takes longest in one piece comes first."""
    begins = (_BROWSER, "notebooks/", "fitgraph/", "")
    return next(n for n, begin in enumerate(begins) if item.nodeid.startswith(begin))


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave out what is long, and begin with what runs in a browser, then the notebooks."""
    for item in items:
        if item.nodeid.startswith(_LONG):
            item.add_marker("long")
    spread = _spread(items)
    only = config.getoption("--long-for") is not None
    if only or not config.getoption("--long"):
        long = [bool(i.get_closest_marker("long")) or i.nodeid in spread for i in items]
        config.hook.pytest_deselected(
            items=[i for i, is_long in zip(items, long, strict=True) if is_long is not only]
        )
        items[:] = [i for i, is_long in zip(items, long, strict=True) if is_long is only]
    if only:
        files = list(dict.fromkeys(item.nodeid.split("::")[0] for item in items))
        first = datetime.date.today().toordinal()
        turn = {file: (n - first) % len(files) for n, file in enumerate(files)}
        items.sort(key=lambda item: turn[item.nodeid.split("::")[0]])
    else:
        items.sort(key=_turn)


@pytest.hookimpl(tryfirst=True)
def pytest_runtestloop(session: pytest.Session) -> bool | None:
    """Run long tests while there is time; what it did not come to is told, and is no fault."""
    seconds = session.config.getoption("--long-for")
    asked = seconds is not None and session.items and not session.config.option.collectonly
    if not asked or session.testsfailed:
        return None
    end = time.monotonic() + seconds
    after: list[Any] = [*session.items[1:], None]
    for n, (item, following) in enumerate(zip(session.items, after, strict=True)):
        if time.monotonic() > end:
            left = f"\n{n} long tests were run; time is up for {len(session.items) - n} others"
            session.config.get_terminal_writer().line(left)
            break
        session.config.hook.pytest_runtest_protocol(item=item, nextitem=following)
        if session.shouldfail:
            raise session.Failed(session.shouldfail)
        if session.shouldstop:
            raise session.Interrupted(session.shouldstop)
    return True


@pytest.fixture(scope="session", autouse=True)
def _demo_ready() -> None:
    """Open the demo once for all pages, as the process does that their kernels come of."""
    from tests.shared import the_demo

    the_demo()


@functools.cache
def _demo() -> tuple[Any, Any, dict[bool, Any]]:
    """Return the demo as it is read, a shop of it, and where it is kept compiled."""
    from fitgraph.catalogue import demo_folder, load
    from tests.shared import the_demo

    opened = the_demo()
    loaded = dataclasses.replace(load(demo_folder()), catalogue=opened.catalogue)
    return loaded, opened.shop, {True: opened.engine.space, False: opened.explainer.space}


@pytest.fixture(scope="module")
def demo_read_once() -> Iterator[None]:
    """Have all commands of a file ask one shop of the demo, and read and compile it once."""
    import fitgraph.catalogue
    import fitgraph.shop
    import fitgraph.solve.engine
    from fitgraph.model import Catalogue

    real_load, real_compile = fitgraph.catalogue.load, fitgraph.solve.engine.compile_space
    real_open = fitgraph.shop.open_shop
    folder = fitgraph.catalogue.demo_folder()
    demo, shop, spaces = _demo()

    def load(where: str | Path) -> Any:
        return demo if Path(where) == folder else real_load(where)

    def compile_space(catalogue: Catalogue, *, tidy: bool = True) -> Any:
        if catalogue is not demo.catalogue:
            return real_compile(catalogue, tidy=tidy)
        if tidy not in spaces:
            spaces[tidy] = real_compile(catalogue, tidy=tidy)
        return spaces[tidy]

    def open_shop(where: str | Path | None = None) -> Any:
        as_ever = fitgraph.catalogue.load is load  # no test put another reader in its place
        return shop if where is None and as_ever else real_open(where)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(fitgraph.catalogue, "load", load)
        patch.setattr(fitgraph.solve.engine, "compile_space", compile_space)
        patch.setattr(fitgraph.shop, "open_shop", open_shop)
        yield


def pytest_collection_finish() -> None:
    """Spare collectors of garbage what five thousand tests are made of, which stays.

    And let them come seldom: to look through all that tests keep took an eighth of the time.
    """
    gc.collect()
    gc.freeze()
    gc.set_threshold(30_000, 20, 100)


def pytest_sessionfinish(session: pytest.Session, exitstatus: int) -> None:
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if reporter is None or not session.config.getoption("--no-skips"):
        return
    stats = reporter.stats
    passed = [r.nodeid for r in stats.get("passed", [])]
    if stats.get("skipped"):
        reporter.write_line("skipped tests are failures here (--no-skips)", red=True)
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
    if session.config.getoption("--long-for") is not None:
        return
    for what, told in ((".ipynb", "of a notebook"), ("tests/browser", "in a browser")):
        if not any(what in name for name in passed):
            reporter.write_line(f"no test {told} was run", red=True)
            session.exitstatus = pytest.ExitCode.TESTS_FAILED
