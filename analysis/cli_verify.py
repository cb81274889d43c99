"""The commands ``rework verify`` and ``methods``: arguments only. The checks lie in tests/, which no module imports."""

from __future__ import annotations

import argparse
from collections.abc import Callable

from analysis.cli_shared import PROJECT, log_or_demo, out_argument, page_arguments


def _verify(args: argparse.Namespace) -> int:
    import subprocess
    import sys

    command = [sys.executable, "-m", "tests.verification", "--out", str(args.out.resolve())]
    return subprocess.run(command, cwd=PROJECT, check=False).returncode


def _methods(args: argparse.Namespace) -> int:
    from analysis.report.methods.page import publish_methods

    print(f"Page written to {publish_methods(log_or_demo(args), args.out, say=print)}")
    return 0


def add_verify_command(add: Callable[..., argparse.ArgumentParser]) -> None:
    """Add the commands that show how the numbers are made and what stands behind them.

    Parameters
    ----------
    add : callable
        Makes a command from its name, what runs it, what it does and an example.
    """
    verify = add(
        "verify",
        _verify,
        "Check the numbers against R and published values.",
        "rework verify",
        more="Computes every check anew, prints the table and makes a page of it, with what simulations of shops with a"
        " known truth found and when they were run. Exit status 0 all holds, 1 something fails, 2 cannot run.",
    )
    out_argument(verify)
    methods = add(
        "methods",
        _methods,
        "Make the page of formulas, assumptions, sources, and the glossary.",
        "rework methods my_log",
        more="Each model with formula, assumptions, sources and checks; TRIPOD and STROBE checklists filled in from the"
        " log. After 'rework verify' it links the table of checks.",
    )
    page_arguments(methods)
