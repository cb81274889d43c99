"""The command ``rework verify``: arguments only. The checks lie in tests/, which nothing of the package imports."""

from __future__ import annotations

import argparse
from collections.abc import Callable

from analysis.cli_shared import PROJECT, out_argument


def _verify(args: argparse.Namespace) -> int:
    import subprocess
    import sys

    command = [sys.executable, "-m", "tests.verification", "--out", str(args.out.resolve())]
    return subprocess.run(command, cwd=PROJECT, check=False).returncode


def add_verify_command(add: Callable[..., argparse.ArgumentParser]) -> None:
    """Add the command that shows what stands behind the numbers.

    Parameters
    ----------
    add : callable
        Makes a command from its name, what runs it, what it does and an example.
    """
    verify = add(
        "verify",
        _verify,
        "Compare every engine with published values and reference software, print the table and make its page, with"
        " what the simulations found; exit status 0 all holds, 1 something fails, 2 cannot run.",
        "rework verify",
    )
    out_argument(verify)
