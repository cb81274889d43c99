"""``python -m tests.health.mutation``: the share of small faults that tests notice, by a random sample.

A simple random sample of all mutants is drawn; each is put into a clone of the committed state and tried on the tests
that run the changed statement, then on the other tests of their files. Every test must first pass without a change.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from tests.health.clone import KEPT, commit_of, committed, environment, tree_of
from tests.health.covering import Covering, unsound
from tests.health.measured import files_of_tests, measure
from tests.health.mutants import Mutant, changed_lines, files_in, mutants_of, mutated
from tests.health.outcomes import NOTICED, RESULTS, Outcome, as_rows, declared, from_rows, keep, summary, told

FOLDERS = ("analysis/models", "analysis/questions")
FIRST_LOTS_S = (3.0, 12.0)
LIBRARIES = ("numpy", "pandas", "scipy.stats", "scipy.optimize", "statsmodels.api", "seaborn", "pandera")
NOTHING_FAILED = 0


class Trial:
    """The process in the clone that runs tests on one mutant after the other."""

    def __init__(self, root: Path, folder: Path, libraries: Sequence[str] = LIBRARIES) -> None:
        self.root, self.folder = root, folder
        script = str(Path(__file__).with_name("trying.py"))
        words = [sys.executable, "-P", script, *libraries]  # -P: nothing of this folder shadows a library
        self._process = subprocess.Popen(
            words, cwd=root, env=environment(root), stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )

    def run(self, tests: Sequence[str], limit_s: float, file: str = "", text: str = "") -> dict[str, Any]:
        """Run tests with the text of one file changed (or none); see ``tests.health.trying.run``."""
        told_in = str(self.folder / "trial.json")
        task = {"file": file, "text": text, "tests": list(tests), "limit_s": limit_s, "told": told_in}
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(json.dumps(task) + "\n")
        self._process.stdin.flush()
        answer = self._process.stdout.readline()
        if not answer:
            raise SystemExit("The process that runs the tests has ended.")
        found = json.loads(answer)
        if found["code"] is None and not found["late"]:
            printed = (self.folder / "trial.txt").read_text(errors="replace")
            raise SystemExit(f"NOT VALID: tests ended without telling how: {' '.join(tests)[:500]}\n{printed[-3000:]}")
        return found

    def close(self) -> None:
        """End it."""
        self._process.communicate()


def lots(tests: Sequence[str], covering: Covering, budget_s: float) -> Iterator[list[str]]:
    """Tests in the order given, a few seconds' worth first, at most the budget in all (one test at least)."""
    ends = [*FIRST_LOTS_S, budget_s]
    spent, now = 0.0, []
    for test in tests:
        cost = covering.time_of(test)
        if spent and spent + cost > budget_s:
            break
        if now and spent + cost > ends[0]:
            yield now
            now, ends = [], ends[1:] or [budget_s]
        now.append(test)
        spent += cost
    if now:
        yield now


def try_one(trial: Trial, mutant: Mutant, covering: Covering, budget_s: float) -> Outcome:
    """Try one mutant on its tests until one fails."""
    text, before = mutated(trial.root, mutant), (trial.root / mutant.file).read_text(encoding="utf-8")
    gone, come = changed_lines(before, text)
    tests = covering.tests(mutant.file, mutant.line)
    kind, by, tried = "survived" if tests else "not covered", "", 0
    for lot in lots(tests, covering, budget_s):
        limit = 60 + 10 * sum(covering.time_of(test) for test in lot)
        answer = trial.run(lot, limit, mutant.file, text)
        tried += len(lot)
        if answer["code"] != NOTHING_FAILED:
            kind = "timed out" if answer["late"] else "killed"
            by = answer["by"] or lot[0]
            break
    return Outcome(mutant, gone, come, kind, by, tried, len(tests))


def killers_fail_unchanged(trial: Trial, outcomes: Sequence[Outcome]) -> list[str]:
    """Of the tests that noticed a mutant, those that fail without one too: their kills count for nothing."""
    killers = sorted({each.by.partition("[")[0] for each in outcomes if each.kind in NOTICED})
    if not killers or trial.run(killers, 3600)["code"] == NOTHING_FAILED:
        return []
    return [test for test in killers if trial.run([test], 600)["code"] != NOTHING_FAILED]


def _mutants_kept(root: Path, file: str, kept: Path) -> list[Mutant]:
    """All mutants of a file, found once for each text of it."""
    folder = kept / "mutants"
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{file.replace('/', '.')}-{hashlib.sha256((root / file).read_bytes()).hexdigest()[:16]}.json"
    if not path.exists():
        path.write_text(json.dumps([asdict(each) for each in mutants_of(root, file)]))
    return [Mutant(**each) for each in json.loads(path.read_text())]


def _sample(root: Path, size: int, seed: int, kept: Path) -> tuple[dict[str, int], list[Mutant]]:
    """How many mutants each folder has, and a simple random sample of all of them."""
    import numpy as np

    population = {
        folder: [one for file in files_in(root, [folder]) for one in _mutants_kept(root, file, kept)]
        for folder in FOLDERS
    }
    every = [mutant for mutants in population.values() for mutant in mutants]
    chosen = np.random.default_rng(seed).choice(len(every), size=min(size, len(every)), replace=False)
    return {folder: len(mutants) for folder, mutants in population.items()}, [every[at] for at in chosen]


def _same_change(root: Path, old: Outcome) -> Mutant | None:
    """The mutant of today's file that makes the change of an earlier one."""
    before = (root / old.mutant.file).read_text(encoding="utf-8")
    near = sorted(mutants_of(root, old.mutant.file), key=lambda one: abs(one.number - old.mutant.number))
    same = (one for one in near if one.operator == old.mutant.operator)
    return next((one for one in same if changed_lines(before, mutated(root, one)) == (old.before, old.after)), None)


def _covering(root: Path, folder: Path, files: Sequence[str]) -> Covering:
    covering, runs = Covering(root), []
    for run in measure(root, files_of_tests(root, files), folder):
        runs.append(run)
        covering.add(run)
        print(f"without a change: {run.file} {run.seconds:.0f} s{'' if run.sound else ' FAILED'}", file=sys.stderr)
    if unsound(runs):
        raise SystemExit("NOT VALID: tests fail without any change: " + ", ".join(unsound(runs)))
    return covering


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.health.mutation", description=__doc__)
    parser.add_argument("--sample", type=int, default=300, help="mutants to draw (300)")
    parser.add_argument("--random-seed", type=int, default=7, help="seed of the draw (7)")
    parser.add_argument("--budget", type=float, default=60, help="seconds of tests tried on a mutant at most (60)")
    parser.add_argument("--tests", nargs="+", default=[], metavar="PATH", help="only these test folders and files")
    parser.add_argument("--minutes", type=float, default=600, help="stop after so long: those tried are a sample too")
    parser.add_argument("--again", action="store_true", help="only those that the kept run of this seed left unnoticed")
    parser.add_argument("--commit", default="HEAD", help="commit of this checkout to try (HEAD)")
    parser.add_argument("--kept", type=Path, default=KEPT, help="folder of the clone and of what was measured")
    parser.add_argument("--write", action="store_true", help="keep the result in tests/health/results/")
    return parser.parse_args()


def _try_all(drawn: Sequence[Mutant], covering: Covering, args: argparse.Namespace) -> list[Outcome]:
    """Try mutants in the order drawn until all are tried or the time is over, then their killers without a change."""
    outcomes: list[Outcome] = []
    _compile(covering)
    trial, end = Trial(covering.root, args.kept), time.monotonic() + 60 * args.minutes
    for mutant in drawn:
        if time.monotonic() > end:
            break
        outcomes.append(try_one(trial, mutant, covering, args.budget))
        last = outcomes[-1]
        print(f"{len(outcomes):>4} {last.kind:<11} {mutant.file}:{mutant.line} {last.by}", file=sys.stderr, flush=True)
    false = killers_fail_unchanged(trial, outcomes)
    trial.close()
    if false:
        raise SystemExit("NOT VALID: these tests fail without any change: " + ", ".join(false))
    return outcomes


def main() -> None:
    """Draw, try, tell."""
    args = _arguments()
    start, name, equivalents = time.monotonic(), f"mutation-{args.random_seed}", declared()
    root = committed(args.kept, args.commit)
    covering = _covering(root, args.kept, args.tests)
    content: dict[str, Any] = {}
    if args.again:
        content = json.loads((RESULTS / f"{name}.json").read_text(encoding="utf-8"))
        before = from_rows(content["outcomes"])
        now, gone, waiting = try_again(root, before, covering, args)
        as_drawn, _, _ = told(before, equivalents).partition("\n\n")
        print(
            f"As drawn:\n{as_drawn}\n\nNow ({gone} no longer in the code, {waiting} not tried again for want of time):"
        )
        more = {"no_longer_in_the_code": gone, "not_tried_again": waiting}
        content["again"] = _run(args, start, now, equivalents) | more
    else:
        population, drawn = _sample(root, args.sample, args.random_seed, args.kept)
        now = _try_all(drawn, covering, args)
        print(f"{len(now)} of {sum(population.values())} mutants drawn: {population}")
        content = {"random_seed": args.random_seed, "population": population} | _run(args, start, now, equivalents)
    print(told(now, equivalents))
    if args.write:
        keep(name, content)


def _compile(covering: Covering) -> None:
    """Keep compiled forms of package and tests, as pytest makes them, so that each copy need not make them anew."""
    words = [sys.executable, "-m", "pytest", "-n", "0", "--collect-only", "-q", "-p", "no:cacheprovider"]
    own = environment(covering.root)
    done = subprocess.run([*words, *covering.seconds], cwd=covering.root, env=own, capture_output=True, check=False)
    if done.returncode:
        raise SystemExit("NOT VALID: tests cannot be collected without any change.")
    subprocess.run([sys.executable, "-m", "compileall", "-q", "analysis"], cwd=covering.root, env=own, check=True)


def _run(args: argparse.Namespace, start: float, now: list[Outcome], equivalents: dict[Any, str]) -> dict[str, Any]:
    """What is kept of one run."""
    return {
        "commit": commit_of(args.kept / "clone"),
        "code_tree": tree_of(args.kept / "clone"),
        "tests": args.tests or ["all"],
        "budget_s": args.budget,
        "seconds": round(time.monotonic() - start),
        "summary": summary(now, equivalents),
        "outcomes": as_rows(now),
    }


def try_again(
    root: Path, before: Sequence[Outcome], covering: Covering, args: argparse.Namespace
) -> tuple[list[Outcome], int, int]:
    """Try what nothing noticed before; what was noticed stays so, and what there is no time for stays unnoticed.

    Returns
    -------
    outcomes : list of Outcome
    gone, waiting : int
        Mutants whose code is no longer there, which are left out; mutants not tried again.
    """
    left = [(old, _same_change(root, old)) for old in before if old.kind not in NOTICED]
    there = [(old, mutant) for old, mutant in left if mutant]
    tried = _try_all([mutant for _, mutant in there], covering, args)
    waiting = [old for old, _ in there[len(tried) :]]
    noticed = [old for old in before if old.kind in NOTICED]
    return [*noticed, *tried, *waiting], len(left) - len(there), len(waiting)


if __name__ == "__main__":
    main()
