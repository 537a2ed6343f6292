"""Options and fixtures that all tests share."""

from __future__ import annotations

import os

import pytest
from hypothesis import settings

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


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Keep each file on one worker, and all tests in a browser on one: they share open pages."""
    for item in items:
        browser = "browser" in item.path.relative_to(item.config.rootpath).parts[:2]
        item.add_marker(pytest.mark.xdist_group("browser" if browser else str(item.path)))


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
