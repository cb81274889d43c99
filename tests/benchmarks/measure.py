"""One step measured in a process of its own: CPU seconds, wall seconds, peak memory.

``python -m tests.benchmarks.measure STEP JOBS FOLDER`` prints them as JSON. CPU seconds are those of the call alone
(for a command: of its whole process), since wall time depends on who else uses the machine.
"""

from __future__ import annotations

import json
import os
import resource
import subprocess
import sys
import time
from dataclasses import asdict, dataclass
from pathlib import Path

from tests.benchmarks.steps import STEPS, Step

ONE_THREAD = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")
LIMIT_S = 5400
WARM_UP = 400  # jobs


@dataclass(frozen=True)
class Measured:
    """What one step cost; without numbers it says why."""

    work: str
    who: str
    jobs: int
    cpu_s: float | None = None
    wall_s: float | None = None
    peak_mib: float | None = None
    word: str = ""


def _spent() -> float:
    """CPU seconds of this process and of those it has ended."""
    return sum(
        getattr(resource.getrusage(who), name)
        for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
        for name in ("ru_utime", "ru_stime")
    )


def _here(step: Step, jobs: int, folder: Path, repeats: int) -> dict[str, float]:
    if not step.cold:
        step.prepare(WARM_UP, folder)()  # what is imported or compiled at the first call is not part of the work
    run = step.prepare(jobs, folder)
    best: tuple[float, float] | None = None
    for _ in range(repeats):
        cpu, wall = _spent(), time.perf_counter()
        said = run()
        told = said if isinstance(said, float) else _spent() - cpu  # R times its own call
        best = (
            min(best or (told, 0.0), (told, time.perf_counter() - wall)) if best else (told, time.perf_counter() - wall)
        )
    assert best is not None
    whose = resource.RUSAGE_CHILDREN if step.cold or step.needs.startswith("Rscript") else resource.RUSAGE_SELF
    return {"cpu_s": best[0], "wall_s": best[1], "peak_mib": resource.getrusage(whose).ru_maxrss / 1024}


def measure(step: Step, jobs: int, folder: Path, repeats: int) -> Measured:
    """Run a step in a fresh process; the least of the repeats counts, for others only ever add to it."""
    known = (step.work, step.who, jobs)
    if jobs > step.most:
        return Measured(*known, word=f"not run beyond {step.most:,}")
    if step.lacking:
        return Measured(*known, word="not installed")
    call = [sys.executable, "-W", "ignore", "-m", "tests.benchmarks.measure"]
    call += [str(STEPS.index(step)), str(jobs), str(folder), str(repeats)]
    # Modules are compiled once, as for every user, whatever the settings of whoever measures.
    env = os.environ | ONE_THREAD | {"PYTHONPYCACHEPREFIX": str(folder / "bytecode"), "PYTHONDONTWRITEBYTECODE": ""}
    try:
        done = subprocess.run(call, capture_output=True, text=True, check=False, env=env, timeout=LIMIT_S)
    except subprocess.TimeoutExpired:
        return Measured(*known, word=f"ended after {LIMIT_S // 60} minutes")
    if done.returncode:
        return Measured(*known, word=f"failed: {done.stderr.strip().splitlines()[-1][:120]}")
    return Measured(*known, **json.loads(done.stdout.splitlines()[-1]))


def as_json(found: list[Measured]) -> list[dict[str, object]]:
    return [asdict(each) for each in found]


if __name__ == "__main__":
    place, size, where, times = sys.argv[1:]
    print(json.dumps(_here(STEPS[int(place)], int(size), Path(where), int(times))))
