"""Commands run as a user runs them, with what every answer must keep: an exit status, no traceback, no hang."""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


@dataclass(frozen=True)
class Answer:
    """What a command answered."""

    status: int
    out: str
    err: str


def rework(*arguments: object, seconds: float = 60, **environment: str) -> Answer:
    """Run ``rework`` in a process of its own; a traceback or a hang fails the test."""
    done = subprocess.run(
        [
            sys.executable,
            "-m",
            "analysis",
            *(os.fspath(a) if isinstance(a, os.PathLike) else str(a) for a in arguments),
        ],
        cwd=ROOT,
        env=os.environ | environment,
        capture_output=True,
        timeout=seconds,
        check=False,
    )
    answer = Answer(done.returncode, done.stdout.decode(errors="replace"), done.stderr.decode(errors="replace"))
    assert "Traceback" not in answer.out + answer.err, answer
    assert answer.status in (0, 1, 2), answer
    return answer
