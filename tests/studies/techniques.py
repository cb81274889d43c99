"""How often the page on techniques finds what is planted, and claims what is not.

``python -m tests.studies.techniques --shops 200`` simulates invented shops like the demo (habits, hard boards to the
best technician, gaps, presets), makes the page's own comparison on each, and compares it with the planted truth:
preheat helps, lead-free balls do nothing but go to hard boards, ball reset does nothing; the install set temperature
has a shallow optimum, install time and both reball settings do nothing; a blade costs pads, the removal temperature
does not. On the jobs of each shop stand besides the kinds of technique_kinds.py, in which time, one person or a small
arm might pass for a technique.

To save time each shop has five completed tables with twenty bootstrap samples each instead of the page's twenty with
twenty-five; the intervals are a little wider by chance, not otherwise different.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # many small products: threads would only wait for one another

import argparse
from dataclasses import replace

import numpy as np
import pandas as pd
from scipy import stats
from scipy.special import expit

from analysis.cohort.features import build_cohort
from analysis.cohort.pad_rows import pad_rows
from analysis.cohort.technique_rows import technique_rows
from analysis.demo.shop import Shop
from analysis.demo.simulator import Simulated, simulate
from analysis.questions.contrasts import DECLARED
from analysis.questions.damage_steps import BLADE, REMOVAL, damage_steps
from analysis.questions.dose import Dose, doses
from analysis.questions.techniques import Effort, Told, techniques
from analysis.questions.verdicts import Verdict
from analysis.records.log import Log
from tests.studies import technique_kinds
from tests.studies.record import Finding, add_write, report, share_error

EFFORT = Effort(copies=5, draws=20, complete_draws=40)
SEED = 9000
NULL, CONFOUNDED, TRUE = "no effect", "no effect, confounded", "true effect"
PLANTED = {
    "hot_short": TRUE,
    "preheat": TRUE,
    "donor_tested": TRUE,
    "heat_cycles": TRUE,
    "ball_alloy": CONFOUNDED,
    "ball_reset": NULL,
}


def planted_difference(shop: Simulated, name: str, arm: pd.Series) -> float:
    """True difference in the chance of first boot, averaged over the jobs compared.

    Who gets the technique depends here on technician alone (preheat) or on nothing (donors), so that every job counts
    nearly alike in the overlap population. ``arm`` is indexed by job.
    """
    if PLANTED[name] != TRUE:
        return 0.0
    jobs = arm.index
    truth, rows = shop.truth, shop.latent.set_index("job_id").loc[jobs]
    if name == "preheat":
        own, with_it, without = truth.install_preheat * rows["install_preheat"], [truth.install_preheat], [0.0]
    elif name == "donor_tested":
        own = rows["known_good"].map(truth.known_good)
        with_it, without = [truth.known_good["full_boot"]], own[rows["known_good"].ne("full_boot")].tolist()
    elif name == "hot_short":
        own = -truth.temperature_loss_at_25 * _off_the_best(shop, jobs) ** 2
        with_it, without = own[arm.eq(1)].tolist(), own[arm.eq(0)].tolist()
    elif name == "heat_cycles":
        own = truth.prior_installs_n * rows["prior_installs_n"]
        with_it, without = own[rows["prior_installs_n"].gt(0)].tolist(), [0.0]
    else:
        raise KeyError(f"say here what the demo plants for {name}, or leave it out of PLANTED")
    base = (rows["log_odds"] - own).to_numpy()
    chances = [float(np.mean(expit(base[:, None] + np.asarray(arm)[None, :]))) for arm in (with_it, without)]
    return float(chances[0] - chances[1])


def _off_the_best(shop: Simulated, jobs: pd.Index) -> pd.Series:
    """How far each job's install was off the best heat, in steps of 25 °C, as the simulator counts it."""
    steps = shop.tables["heat_steps"].drop_duplicates("job_id").set_index("job_id")
    second = steps["station_id"].eq("S2").reindex(jobs).fillna(False).astype(float)
    shown = shop.latent.set_index("job_id").loc[jobs, "install_set_temp_c"]
    return (shown - shop.truth.station_2_offset_c * second - shop.truth.best_install_c) / 25


def _plain_p(told: Told) -> float:
    """P of the plain difference of both arms, nothing adjusted."""
    a, b = told.groups.with_it, told.groups.without
    pooled = (a.x + b.x) / (a.n + b.n)
    return float(2 * stats.norm.sf(abs(a.rate - b.rate) / np.sqrt(pooled * (1 - pooled) * (1 / a.n + 1 / b.n))))


def one_shop(seed: int, jobs: int) -> list[dict[str, object]]:
    """Everything the page says of one simulated shop, one row each."""
    shop = simulate(replace(Shop(), jobs=jobs), SEED + seed)
    log = Log.from_tables(dict(shop.tables))
    cohort = build_cohort(log)
    found = technique_rows(log, cohort)
    out: list[dict[str, object]] = []
    for answer in techniques(found, DECLARED, effort=EFFORT):
        name = answer.contrast.name
        row: dict[str, object] = {"shop": seed, "what": name, "answered": isinstance(answer, Told)}
        if isinstance(answer, Told):
            row |= {"verdict": answer.verdict, "up": answer.difference.estimate > 0, "plain": _plain_p(answer) <= 0.05}
            if name in PLANTED:
                arm = pd.Series(answer.contrast.arm(found.rows), index=found.rows["job_id"].astype(str)).dropna()
                row |= _against(answer, planted_difference(shop, name, arm))
        out.append(row)
    for dose in doses(found):
        told = isinstance(dose, Dose)
        out.append(
            {"shop": seed, "what": dose.setting.name, "answered": told} | ({"verdict": dose.verdict} if told else {})
        )
    damage = damage_steps(pad_rows(log, cohort))
    for ratio in damage.ratios:
        if ratio.label.startswith(BLADE.label) or ratio.label == REMOVAL.label:
            out.append({"shop": seed, "what": f"pads, {ratio.label}", "answered": True, "verdict": ratio.verdict})
    return out + technique_kinds.kinds_of(seed, found)


def _against(told: Told, truth: float) -> dict[str, object]:
    out: dict[str, object] = {"truth": truth}
    for name, pooled in (("", told.difference), ("robust ", told.robust), ("complete ", told.complete)):
        if pooled is not None:
            low, high = pooled.interval()
            out |= {
                f"{name}off": pooled.estimate - truth,
                f"{name}covered": low <= truth <= high,
                f"{name}se": pooled.se,
            }
    return out


def study(shops: int, jobs: int = 650) -> pd.DataFrame:
    """One row for every shop and everything said of it."""
    return pd.DataFrame([row for seed in range(shops) for row in one_shop(seed, jobs)])


def _share(flags: pd.Series) -> str:
    n = len(flags)
    if not n:
        return "–"
    rate = float(flags.mean())
    return f"{100 * rate:5.1f} ± {100 * np.sqrt((rate * n + 0.5) / (n + 1) * (1 - (rate * n + 0.5) / (n + 1)) / n):.1f}"


def told(table: pd.DataFrame) -> str:
    """The tables of the study as text; shares in per cent with their Monte Carlo error."""
    lines = [f"{table['shop'].nunique()} shops. Shares in % ± Monte Carlo error; differences in points.", ""]
    lines.append(f"{'':38}{'answered':>9}{'clear':>13}{'or leaning':>13}{'plain P<.05':>13}")
    for what, own in table[~table["what"].isin(list(technique_kinds.KINDS))].groupby("what", sort=False):
        said = own[own["answered"].astype(bool)]
        clear, leaning = said["verdict"].eq(Verdict.CLEAR), said["verdict"].ne(Verdict.CANNOT_TELL)
        plain = _share(said["plain"].astype(float)) if said["plain"].notna().any() else "–"
        lines.append(f"{what:38}{len(said):>9}{_share(clear):>13}{_share(leaning):>13}{plain:>13}")
    heads = ("truth", "bias", "covered", "robust", "complete", "SD/SE")
    lines += ["", f"{'':14}{'planted':>22}" + "".join(f"{head:>14}" for head in heads)]
    for what, own in table[table["what"].isin(list(PLANTED))].groupby("what", sort=False):
        lines.append(f"{what:14}{PLANTED[str(what)]:>22}" + "".join(f"{cell:>14}" for cell in _row(own)))
    without = [name for name, kind in PLANTED.items() if kind != TRUE]
    none = table[table["what"].isin(without) & table["answered"].astype(bool)]
    anyone = none.assign(claimed=none["verdict"].eq(Verdict.CLEAR)).groupby("shop")["claimed"].max()
    lines += ["", f"shops in which any contrast without effect is called clear: {_share(anyone.astype(float))}"]
    lines += [
        "",
        f"{'no effect at all':38}{'answered':>9}{'held back':>13}{'P<=.05':>13}{'clear of 7':>13}{'bias':>14}",
    ]
    for what in technique_kinds.KINDS:
        said = table[table["what"].eq(what) & table["answered"].astype(bool)]
        shares = "".join(f"{_share(said[name].astype(float)):>13}" for name in ("held", "low_p", "claimed"))
        off = said["off"].astype(float)
        lines.append(
            f"{what:38}{len(said):>9}{shares}{100 * off.mean():8.1f} ± {100 * off.std() / len(off) ** 0.5:.1f}"
        )
    return "\n".join(lines)


def _row(own: pd.DataFrame) -> list[str]:
    """Truth, bias, coverage three times, and spread of the estimates over their mean standard error."""
    own = own[own["answered"].astype(bool)]
    off = own["off"].astype(float)
    covered = [own[f"{name}covered"].dropna().astype(float) for name in ("", "robust ", "complete ")]
    return [
        f"{100 * own['truth'].astype(float).mean():.1f}",
        f"{100 * off.mean():.1f} ± {100 * off.std() / np.sqrt(len(off)):.1f}",
        *(_share(flags) for flags in covered),
        f"{off.std() / own['se'].astype(float).mean():.2f}",
    ]


def findings(table: pd.DataFrame) -> list[Finding]:
    """The planted technique is found, those without effect are seldom claimed, and the differences hold the truth."""
    table = table[table["answered"].astype(bool)]
    out = []
    for what, low, high in (("preheat", 0.3, None), ("ball_alloy", None, 0.05), ("ball_reset", None, 0.05)):
        own = table[table["what"].eq(what)]
        rate = float(own["verdict"].eq(Verdict.CLEAR).mean())
        words = f"share of shops in which {what} ({PLANTED[what]}) is called clear"
        out.append(Finding(words, rate, share_error(rate, len(own)), len(own), low, high))
    confounded = table[table["what"].eq("ball_alloy")]
    plain = float(confounded["plain"].astype(float).mean())
    words = "the same for ball_alloy by plain rates, which mislead"
    out.append(Finding(words, plain, share_error(plain, len(confounded)), len(confounded)))
    for name, kind in PLANTED.items():
        own = table[table["what"].eq(name)]
        off, covered, n = own["off"].astype(float), float(own["covered"].astype(float).mean()), len(own)
        out.append(Finding(f"coverage of the 95 % interval: {name}", covered, share_error(covered, n), n, 0.90, 0.99))
        error = float(off.std() / n**0.5)
        bound, claim = 3 * error + 0.005, "0 within half a point and three Monte Carlo errors"
        out.append(
            Finding(f"difference less the planted: {name} ({kind})", float(off.mean()), error, n, -bound, bound, claim)
        )
    return out + _of_kinds(table)


def _of_kinds(table: pd.DataFrame) -> list[Finding]:
    """Time, people and small arms are called clear no more often than stated."""
    out = []
    for what in technique_kinds.KINDS:
        own = table[table["what"].eq(what)]
        for column, level, words in (
            ("claimed", technique_kinds.LEVEL, "called clear among seven contrasts"),
            ("low_p", technique_kinds.LEVEL, "given P up to .05 by itself"),
        ):
            rate, n = float(own[column].astype(float).mean()), len(own)
            high = level if column == "claimed" else level + 3 * share_error(level, n)
            out.append(Finding(f"{what}, no effect: share {words}", rate, share_error(rate, n), n, None, high))
    return out


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--shops", type=int, default=200)
    parser.add_argument("--jobs", type=int, default=650)
    add_write(parser)
    args = parser.parse_args()

    def run() -> list[Finding]:
        table = study(args.shops, args.jobs)
        print(told(table))
        return findings(table)

    report(__file__, args.write, run)


if __name__ == "__main__":
    main()
