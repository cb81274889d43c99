"""The techniques' page and the list of a plan: which notebook, which name, where."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from analysis.report.parameters import Value
from analysis.report.render import page_of_log


def publish_techniques(
    folder: Path,
    out: Path,
    say: Callable[[str], None],
    plan: Path | None = None,
    jobs: int = 0,
    seed: int | None = None,
) -> Path:
    """Publish ``techniques.html``.

    Parameters
    ----------
    folder : Path
        The log.
    out : Path
        Folder of the page.
    say : callable
        Receives progress.
    plan : Path, optional
        A plan with its jobs filled in, to analyse.
    jobs : int
        Jobs of the next plan (0: what fits a year).
    seed : int, optional
        Seed of its lots; the page, which shows none of them, uses a fixed one where none is given.

    Raises
    ------
    ReworkError
        If the log or the plan cannot be used, the log holds no first boot, or the page cannot be made; an earlier page
        stays.
    """
    from analysis.questions.comparable import comparable_log
    from analysis.questions.contrasts import contrasts_for
    from analysis.questions.trial_plan import RNG_SEED

    log = comparable_log(folder, say)
    contrasts_for(log.settings.extra_contrasts)
    if plan is not None:
        from analysis.questions.trial_outcome import trial_outcome

        trial_outcome(plan, log)
    given: dict[str, Value] = {
        "plan_file": "" if plan is None else str(Path(plan).resolve()),
        "plan_jobs": jobs,
        "plan_seed": RNG_SEED if seed is None else seed,
    }
    say("Comparing techniques …")
    return page_of_log("techniques", folder, out / "techniques.html", say, **given)


def write_plan(folder: Path, target: Path, say: Callable[[str], None], jobs: int = 0, seed: int | None = None) -> None:
    """Write the list of the next plan as a CSV to print, its lots from a fresh random seed unless one is given.

    Raises
    ------
    ReworkError
        If there is nothing to be drawn by lot, or the target is a file of the log or exists already: a list may hold
        the jobs of a running plan.
    """
    from analysis.errors import ReworkError
    from analysis.questions.technique_answers import plan_of
    from analysis.questions.trial_plan import fresh_seed, plan_csv
    from analysis.records.log import FILES
    from analysis.records.whole_texts import export_text

    if target.exists():
        todo = "Name another file; a list that is in use must not be lost."
        raise ReworkError(f"{target} exists already.", rule="A plan is never written over a file.", todo=todo)
    trial = plan_of(Path(folder), jobs, fresh_seed() if seed is None else seed)
    if trial.plan is None:
        raise ReworkError(f"No plan can be made: {trial.why}.", todo="'rework compare' shows what is lacking.")
    export_text(plan_csv(trial.plan), target, Path(folder), FILES)
    say(f"List written to {target}: {trial.plan.code}.")
    say("Print it and fold the last column, the lots, to the back. Consent in writing comes before a lot is uncovered.")
