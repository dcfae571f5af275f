"""No bare skips: what did not run here is listed at the end with its reason, and under EVENSTAND_CI it is a failure."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
MARK = "NOT RUN HERE"


@pytest.fixture(scope="session")
def root() -> Path:
    """The repository."""
    return ROOT


def _reason(report: pytest.TestReport) -> str:
    if isinstance(report.longrepr, tuple):
        return str(report.longrepr[2]).removeprefix("Skipped: ")
    return str(report.longrepr)


@pytest.hookimpl(hookwrapper=True)
def pytest_runtest_makereport(item: pytest.Item, call: pytest.CallInfo[None]):
    """A skip must say NOT RUN HERE and why; where the machine is ours (EVENSTAND_CI) absence is failure."""
    outcome = yield
    report = outcome.get_result()
    if not report.skipped or hasattr(report, "wasxfail"):
        return
    reason = _reason(report)
    if not reason.startswith(MARK):
        report.outcome, report.longrepr = "failed", f"a skip without '{MARK}: why': {reason}"
    elif os.environ.get("EVENSTAND_CI"):
        report.outcome, report.longrepr = "failed", f"absent in CI: {reason}"


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """What was NOT RUN HERE, once a reason."""
    reasons: dict[str, int] = {}
    for report in terminalreporter.stats.get("skipped", []):
        reasons[_reason(report)] = reasons.get(_reason(report), 0) + 1
    terminalreporter.section("not run here")
    if not reasons:
        terminalreporter.write_line("Everything ran.")
    for reason, count in sorted(reasons.items()):
        terminalreporter.write_line(f"{reason} ({count} test{'s' if count > 1 else ''})")
