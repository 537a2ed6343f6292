"""Options and fixtures that all tests share."""

from __future__ import annotations

import os

import pytest
from hypothesis import settings
from xdist.scheduler import LoadFileScheduling

#: Where the tests in a browser are.
_BROWSER = "tests/browser/"

# In CI the same examples are tried each time, so that a run can be repeated; elsewhere new
# ones are looked for.
settings.register_profile("repeatable", derandomize=True)
if os.environ.get("CI"):
    settings.load_profile("repeatable")

# Tests leave nothing in the cache of whoever runs them.
os.environ["FITGRAPH_CACHE"] = "off"


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--no-skips", action="store_true", help="fail if any test was skipped, as CI does"
    )
    parser.addoption(
        "--long", action="store_true", help="run the tests that are marked long as well"
    )


def pytest_configure(config: pytest.Config) -> None:
    config.addinivalue_line(
        "markers", "long: more of what shorter tests look at as well; runs with --long"
    )


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


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave out what is long, and begin with what runs in a browser, then the notebooks."""
    if not config.getoption("--long"):
        left = [item for item in items if item.get_closest_marker("long")]
        items[:] = [item for item in items if not item.get_closest_marker("long")]
        config.hook.pytest_deselected(items=left)
    items.sort(key=lambda item: (not item.nodeid.startswith(_BROWSER), ".ipynb" not in item.nodeid))


def pytest_sessionfinish(session: pytest.Session, exitstatus: int) -> None:
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if reporter is None or not session.config.getoption("--no-skips"):
        return
    stats = reporter.stats
    passed = [r.nodeid for r in stats.get("passed", [])]
    if stats.get("skipped"):
        reporter.write_line("skipped tests are failures here (--no-skips)", red=True)
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
    for what, told in ((".ipynb", "of a notebook"), ("tests/browser", "in a browser")):
        if not any(what in name for name in passed):
            reporter.write_line(f"no test {told} was run", red=True)
            session.exitstatus = pytest.ExitCode.TESTS_FAILED
