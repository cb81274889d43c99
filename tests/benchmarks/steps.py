"""Every step that is measured: the work, by whom, and what is done; preparing it does not count."""

from __future__ import annotations

import importlib.util
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from tests.benchmarks import peers, r_peers
from tests.benchmarks.data import log_of, rows_of

OURS = "this suite"
Run = Callable[[], object]
Prepare = Callable[[int, Path], Run]
EVERY = 10**9
FAMILIES = 8  # of boards
RESAMPLES = 200


@dataclass(frozen=True)
class Step:
    """One way to do a piece of work.

    Parameters
    ----------
    work : str
        What is done; steps with the same work are set side by side.
    who : str
        This suite, or a peer with its version taken from the machine.
    prepare : callable
        (jobs or rows, folder) to the call that is measured.
    most : int
        Largest size it is run at; beyond it would take minutes or the machine's memory.
    needs : str
        Module, or command, without which the step is skipped.
    cold : bool
        A command in a process of its own, measured from its start.
    """

    work: str
    who: str
    prepare: Prepare
    most: int = EVERY
    needs: str = ""
    cold: bool = False

    @property
    def lacking(self) -> bool:
        """Whether what it needs is not installed."""
        if not self.needs:
            return False
        module, _, package = self.needs.partition(":")
        if module == "Rscript":
            return shutil.which("Rscript") is None or not r_peers.installed(package)
        return importlib.util.find_spec(module) is None


def _command(*arguments: str) -> Prepare:
    """A command of the suite on the log, its pages put into a folder that goes again."""

    def prepare(n: int, folder: Path) -> Run:
        log = log_of(n, folder)

        def run() -> None:
            with tempfile.TemporaryDirectory() as out:
                given = [a.format(log=log, out=out) for a in arguments]
                done = subprocess.run([sys.executable, "-m", "analysis", *given], capture_output=True, check=False)
            if done.returncode > 1:
                raise RuntimeError(done.stderr.decode(errors="replace")[-400:])

        return run

    return prepare


# The command with what it keeps in a folder of the benchmark's own.
_KEPT_APART = (
    "import sys; from pathlib import Path; from analysis import cli, cli_month; cli_month.KEPT = Path(sys.argv[1]);"
    "sys.exit(cli.main(sys.argv[2:]))"
)


def _month(*, warm: bool) -> Prepare:
    """The whole month: cold, with nothing kept, or again on a log that has not changed since."""

    def prepare(n: int, folder: Path) -> Run:
        log, kept = log_of(n, folder), folder / f"kept-{n}"

        def run() -> None:
            if not warm:
                shutil.rmtree(kept, ignore_errors=True)
            with tempfile.TemporaryDirectory() as out:
                given = [str(kept), "month", str(log), "--out", out]
                done = subprocess.run([sys.executable, "-c", _KEPT_APART, *given], capture_output=True, check=False)
            if done.returncode:
                raise RuntimeError(done.stderr.decode(errors="replace")[-400:])

        if warm and not kept.is_dir():  # left there by the cold month, where that is measured too
            run()
        return run

    return prepare


_MODELS_APART = (
    "import sys; from pathlib import Path; from analysis import cli, cli_counter;"
    "cli_counter.MODELS = Path(sys.argv[1]);"
    "sys.exit(cli.main(sys.argv[2:]))"
)
_INTAKE = "--intake-damage liquid --device-age-years 3 --fee-basis no_result_no_fee --fee-amount 650 --donor-cost 120"


def _assess(n: int, folder: Path) -> Run:
    """One intake at the counter, the models stored beforehand."""
    log, models = log_of(n, folder), folder / f"models-{n}"

    def run() -> None:
        given = [str(models), "assess", str(log), *_INTAKE.split()]
        done = subprocess.run([sys.executable, "-c", _MODELS_APART, *given], capture_output=True, check=False)
        if done.returncode:
            raise RuntimeError(done.stderr.decode(errors="replace")[-400:])

    run()
    return run


def _features(n: int, folder: Path) -> Run:
    from analysis.cohort.features import build_cohort
    from analysis.records.log import read_log

    log = read_log(log_of(n, folder)).without_faulty_jobs()
    return lambda: build_cohort(log)


def _logit(n: int, _: Path) -> Run:
    from analysis.models.logit import fit_logit

    rows = rows_of(n)
    return lambda: fit_logit(rows.x, rows.y, rows.names)


def _firth(n: int, _: Path) -> Run:
    from analysis.models.firth import fit_firth

    rows = rows_of(n)
    return lambda: fit_firth(rows.x, rows.y, rows.names)


def _pooled_frame(n: int):
    import pandas as pd

    from analysis.models.terms import Category, Number

    rows = rows_of(n)
    frame = pd.DataFrame(rows.x[:, 1:], columns=list(rows.names[1:]))
    half = len(frame.columns) // 2
    terms = [Category(name, name) for name in frame.columns[:half]] + [Number(n, n, n) for n in frame.columns[half:]]
    for name in frame.columns[:half]:
        frame[name] = frame[name].map({0.0: "no", 1.0: "yes"}).astype(object)
    frame["family"] = pd.Series([f"F{group % FAMILIES}" for group in rows.group], dtype=object)
    return frame, rows.y, [*terms, Category("family", "family")]


def _pooled(n: int, _: Path) -> Run:
    from analysis.models.pooled import fit_pooled

    frame, y, terms = _pooled_frame(n)
    return lambda: fit_pooled(frame, y, terms, "family")


def _pooled_optimism(n: int, _: Path) -> Run:
    from analysis.models.optimism import optimism
    from analysis.models.pooled import pooled_fitter

    frame, y, terms = _pooled_frame(n)
    return lambda: optimism(frame, y, pooled_fitter(terms, "family"), rng_seed=1, draws=RESAMPLES)


def _logit_optimism(n: int, _: Path) -> Run:
    import pandas as pd
    from scipy.special import expit

    from analysis.models.logit import fit_logit
    from analysis.models.optimism import optimism

    rows = rows_of(n)

    def fit(frame, y):
        found = fit_logit(frame.to_numpy(), y, rows.names)
        return lambda other: expit(other.to_numpy() @ found.coefficients)

    frame = pd.DataFrame(rows.x, columns=list(rows.names))
    return lambda: optimism(frame, rows.y, fit, rng_seed=1, draws=RESAMPLES)


def _intercepts(n: int, _: Path) -> Run:
    from analysis.models.logit import fit_logit
    from analysis.models.random_intercepts import fit_random_intercepts

    rows = rows_of(n)

    def run() -> object:
        mix = fit_logit(rows.x, rows.y, rows.names)
        return fit_random_intercepts(rows.y, rows.x @ mix.coefficients, rows.group)

    return run


def _cox(n: int, _: Path) -> Run:
    from analysis.models.cox import fit_cox
    from analysis.models.timed import timed

    rows = rows_of(n)
    return lambda: fit_cox(rows.x[:, 1:], timed(rows.time, rows.event), rows.names[1:])


def _incidence(n: int, _: Path) -> Run:
    from analysis.models.incidence import cumulative_incidence
    from analysis.models.timed import timed

    rows = rows_of(n)
    return lambda: cumulative_incidence(timed(rows.time, rows.event))


CHECK, FEATURES = "check of the whole log, cold", "features, one row a job"
LOGISTIC, FIRTH = "logistic, 12 covariates", "penalised logistic, profile intervals and tests"
POOLED, INTERCEPT = "partial pooling on a grid", "random intercept, 30 groups"
COX, INCIDENCE = "Cox, Efron, 12 covariates", "cumulative incidence with variance"
OPTIMISM = f"optimism by {RESAMPLES} resamples"

STEPS: tuple[Step, ...] = (
    Step(CHECK, OURS, _command("check", "{log}"), cold=True),
    Step(CHECK, "pandas + pandera", peers.pandera_check, 100_000, "pandera", cold=True),
    Step(CHECK, "frictionless", peers.frictionless_check, 10_000, "frictionless", cold=True),
    Step(FEATURES, OURS, _features),
    Step(LOGISTIC, OURS, _logit),
    Step(LOGISTIC, "statsmodels GLM", peers.glm, needs="statsmodels"),
    Step(LOGISTIC, "statsmodels Logit", peers.logit, needs="statsmodels"),
    Step(LOGISTIC, "R glm", r_peers.step("glm"), needs="Rscript:stats"),
    Step(FIRTH, OURS, _firth),
    Step(FIRTH, "firthmodels", peers.firthmodels, needs="firthmodels"),
    Step(FIRTH, "R brglm2, no intervals, no tests", r_peers.step("brglm2"), needs="Rscript:brglm2"),
    Step(POOLED, OURS, _pooled),
    Step(INTERCEPT, OURS, _intercepts),
    Step(INTERCEPT, "statsmodels, variational", peers.mixed, 10_000, "statsmodels"),
    Step(INTERCEPT, "R lme4", r_peers.step("lme4"), 100_000, "Rscript:lme4"),
    Step(COX, OURS, _cox),
    Step(COX, "statsmodels PHReg", peers.phreg, 100_000, "statsmodels"),
    Step(COX, "lifelines", peers.lifelines_cox, 100_000, "lifelines"),
    Step(COX, "scikit-survival", peers.sksurv_cox, 100_000, "sksurv"),
    Step(COX, "R survival", r_peers.step("coxph"), needs="Rscript:survival"),
    Step(INCIDENCE, OURS, _incidence),
    Step(INCIDENCE, "statsmodels", peers.cif, needs="statsmodels"),
    Step(INCIDENCE, "lifelines", peers.lifelines_cif, 100_000, "lifelines"),
    Step(INCIDENCE, "R survival", r_peers.step("survfit"), needs="Rscript:survival"),
    Step(OPTIMISM, OURS, _logit_optimism),
    Step(OPTIMISM, "statsmodels Logit, a loop", peers.logit_optimism, 10_000, "statsmodels"),
    Step(OPTIMISM, "R rms", r_peers.step("rms"), 10_000, "Rscript:rms"),
    Step("the same of partial pooling", OURS, _pooled_optimism, 600),
    Step("one intake at the counter, models stored, cold", OURS, _assess, cold=True),
    Step("page: review, cold", OURS, _command("review", "{log}", "--out", "{out}"), cold=True),
    Step("page: counter, cold", OURS, _command("counter", "{log}", "--out", "{out}"), cold=True),
    Step("pages: techniques, technicians, cold", OURS, _command("compare", "{log}", "--out", "{out}"), cold=True),
    Step("page: log check, cold", OURS, _command("check", "{log}", "--page", "{out}"), cold=True),
    Step("whole month, cold", OURS, _month(warm=False), cold=True),
    Step("whole month, again on the same log", OURS, _month(warm=True), cold=True),
)
