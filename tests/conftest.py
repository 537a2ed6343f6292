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


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--no-skips", action="store_true", help="fail if any test was skipped, as CI does"
    )


def pytest_sessionfinish(session: pytest.Session, exitstatus: int) -> None:
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if reporter is None or not session.config.getoption("--no-skips"):
        return
    stats = reporter.stats
    notebooks = [r for r in stats.get("passed", []) if ".ipynb" in r.nodeid]
    if stats.get("skipped"):
        reporter.write_line("skipped tests are failures here (--no-skips)", red=True)
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
    if not notebooks:
        reporter.write_line("no notebook was run (--nbval is missing)", red=True)
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
