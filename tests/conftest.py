"""Says aloud, at the end of a run, when the browser tests were skipped."""

from __future__ import annotations


def pytest_terminal_summary(terminalreporter):
    skipped = [report for report in terminalreporter.stats.get("skipped", []) if "NO CHROMIUM" in str(report.longrepr)]
    if skipped:
        terminalreporter.write_sep("!", f"{len(skipped)} browser tests SKIPPED: no Chromium on this machine")
