"""Is anyone marked when technicians do not differ, is the truly best found, and do the shrunken intervals hold?

``python -m tests.studies.technicians --shops 200`` simulates jobs, technicians and blanks of two kinds of workshop:
five technicians with about forty first boots each, boards dealt by lot; and one of the demo's size, where one
technician gets the hardest boards, with the demo's blanks and without any (a fact left blank is a board put among the
average ones). Outcomes are then drawn from intake facts and technicians alone, so that what is planted is known on the
scale of the model: nobody differs; technicians drawn from the page's own prior; the same with the best of them getting
the hardest boards. Nobody differs, too, where the boards with liquid damage, harder than others, all go to one
technician who gets no others; all but three in a hundred of them; or all to two. Last, the demo's workshop with
everything in it (donors, pads, habits, a bad lot), whose T2 is planted as the best. The page itself prints the same
error rates for the shop's own log.
"""

from __future__ import annotations

import argparse
from dataclasses import replace

import numpy as np
import pandas as pd
from scipy.special import expit

from analysis.cohort.features import Cohort, build_cohort
from analysis.demo.shop import Shop
from analysis.demo.simulator import simulate
from analysis.demo.truth import Truth
from analysis.demo.writing import DEMO_SHOP
from analysis.models.pooled import TAU_SCALE
from analysis.questions.technicians import Technicians, compare_technicians
from analysis.questions.technicians_twin import CLEAR_RATE, LEANING_RATE
from analysis.questions.twin import Share
from analysis.questions.verdicts import Verdict
from analysis.records.log import Log
from tests.studies import record
from tests.studies.record import Finding, share_error

MINIMUM, SMALLEST = 20, 10.0
CODES = tuple(f"T{k + 1}" for k in range(5))
HARD = 1  # place of the technician who gets the hardest boards
# Intake facts alone decide: everything else of the planted truth is nil, the level as in the demo.
PLAIN = replace(
    Truth.sized(5, 12),
    intercept=2.0,
    donor_age_years=0.0,
    known_good={"full_boot": 0.0, "current_only": 0.0, "untested": 0.0},
    prior_installs_n=0.0,
    clean_passes_per_side=0.0,
    pad_grade_found_worst=0.0,
    pads_lost_band={"none": 0.0, "1 to 3": 0.0, "4 or more": 0.0},
    temperature_loss_at_25=0.0,
    install_preheat=0.0,
    reball_tries_n=0.0,
    technician=dict.fromkeys(CODES, 0.0),
)
# Who gets the boards with liquid damage, and what share of them; the rest are dealt to the others by lot.
OWNED = {
    "nobody differs, one has all liquid boards": (("T5",), 1.0),
    "nobody differs, one has nearly all liquid boards": (("T5",), 0.97),
    "nobody differs, two have all liquid boards": (("T4", "T5"), 1.0),
}
QUIET = ("nobody differs", *OWNED)
WITHOUT_BLANKS = ("forty each", "demo's size, no blanks")  # blanks leave part of the mix in the comparison
KINDS = {
    "forty each": Shop(jobs=255, technician_effects=False, bad_lot=False, chains=False),
    "demo's size": Shop(jobs=650, technician_effects=True, bad_lot=False, chains=False),
    "demo's size, no blanks": Shop(jobs=650, technician_effects=True, bad_lot=False, chains=False, gaps=False),
}


def _shop(kind: str, rng_seed: int) -> tuple[Cohort, np.ndarray, np.ndarray]:
    """Cohort, log odds of each first boot by intake facts, and the place of its technician (-1: not recorded)."""
    simulated = simulate(KINDS[kind], rng_seed, PLAIN)
    cohort = build_cohort(Log.from_tables(simulated.tables))
    known = simulated.latent.set_index("job_id").reindex(cohort.first_boots["job_id"].astype(str))
    worked = known["technician_id"].to_numpy(object)
    return cohort, known["log_odds"].to_numpy(float), np.array([CODES.index(code) for code in worked])


def _owned(cohort: Cohort, case: str, rng: np.random.Generator) -> Cohort:
    """The boards dealt so that those with liquid damage go to one or two technicians, and no others do."""
    liquid = cohort.first_boots["intake_damage"].eq("liquid").to_numpy(bool)
    owners, share = OWNED[case]
    others = [code for code in CODES if code not in owners]
    mine = liquid & (rng.random(len(liquid)) < share)
    who = np.where(mine, rng.choice(list(owners), len(mine)), rng.choice(others, len(mine)))
    rows = cohort.first_boots.assign(technician_id=pd.array(who, dtype="string"))
    return replace(cohort, first_boots=rows)


def _compared(cohort: Cohort, log_odds: np.ndarray, rng: np.random.Generator) -> Technicians:
    y = (rng.random(len(log_odds)) < expit(log_odds)).astype(float)
    found = compare_technicians(replace(cohort, first_boots=cohort.first_boots.assign(first_boot=y)), MINIMUM, SMALLEST)
    assert isinstance(found, Technicians)
    return found


def _row(found: Technicians, planted: np.ndarray, **about: object) -> dict[str, object]:
    """What a shop's page says, against the planted intercepts of the technicians compared."""
    truth = planted[[CODES.index(code) for code in found.fit.names]]
    truth = truth - truth.mean()
    ends = {level: found.fit.distance(level)[1:] for level in (0.8, 0.95)}
    mean, best = found.fit.distance()[0], int(truth.argmax())
    inside = {
        f"inside {100 * level:.0f} %": float(((lo <= truth) & (truth <= hi)).mean()) for level, (lo, hi) in ends.items()
    }
    words = [person.verdict for person in found.people]
    marked = [(p, t) for p, t in zip(found.people, truth, strict=True) if p.verdict is Verdict.CLEAR]
    return (
        about
        | inside
        | {
            "people": len(truth),
            "jobs": found.ledger.rows_used,
            "anyone clear": Verdict.CLEAR in words,
            "anyone leaning or clear": any(word is not Verdict.CANNOT_TELL for word in words),
            "wrong side": any((p.above > 0.5) != (t > 0) for p, t in marked),
            "best above": bool(found.people[best].above > 0.5),
            "best first": int(mean.argmax()) == best,
            "best first, raw": int(np.argmax([p.raw.rate for p in found.people])) == best,
            "best clear": words[best] is Verdict.CLEAR,
            "rank covered": found.people[best].ranks[0] == 1,
            "booted": found.bench.rate,
        }
    )


def one_shop(rng_seed: int) -> list[dict[str, object]]:
    """Every question on one shop of each kind, and on the demo's workshop."""
    out = []
    for kind in KINDS:
        cohort, base, worked = _shop(kind, rng_seed)
        rng = np.random.default_rng((rng_seed, 5))
        drawn = rng.normal(0, abs(rng.normal(0, TAU_SCALE)), 5)
        best_hard = np.sort(drawn)[[0, 4, 1, 2, 3]]
        cases = {"nobody differs": np.zeros(5), "drawn from the prior": drawn}
        if kind != "forty each":
            cases["best gets the hardest"] = best_hard
        for case, planted in cases.items():
            found = _compared(cohort, base + planted[worked], rng)
            out.append(_row(found, planted, kind=kind, case=case))
        if kind == "demo's size, no blanks":
            for case in OWNED:
                out.append(_row(_compared(_owned(cohort, case, rng), base, rng), np.zeros(5), kind=kind, case=case))
    simulated = simulate(DEMO_SHOP, rng_seed)
    found = compare_technicians(build_cohort(Log.from_tables(simulated.tables)), MINIMUM, SMALLEST)
    assert isinstance(found, Technicians)
    planted = np.array([simulated.truth.technician[code] for code in CODES])
    out.append(_row(found, planted, kind="the demo's workshop", case="as planted"))
    return out


def study(shops: int, first_seed: int = 60_000) -> pd.DataFrame:
    """One row a shop and case."""
    return pd.DataFrame([row for k in range(shops) for row in one_shop(first_seed + k)])


def share(values: pd.Series) -> str:
    """A mean over shops with its Monte Carlo error."""
    if values.dtype == bool:
        found = Share(int(values.sum()), len(values))
        return f"{found.rate:.3f} ± {found.error:.3f}"
    return f"{values.mean():.3f} ± {values.std(ddof=1) / np.sqrt(len(values)):.3f}"


INSIDE = ("inside 95 %", "inside 80 %")
PLACED = ("best above", "best first", "best first, raw", "best clear", "rank covered", "wrong side")
TOLD = {
    **dict.fromkeys(QUIET, ("people", "anyone clear", "anyone leaning or clear")),
    "drawn from the prior": (*PLACED, *INSIDE),
    "best gets the hardest": (*PLACED, *INSIDE),
    "as planted": (*PLACED, *INSIDE),
}


def report(frame: pd.DataFrame) -> str:
    """The table, in words."""
    lines = [f"Stated: anyone clear at most {CLEAR_RATE:.2f}, leaning or clear at most {LEANING_RATE:.2f}"]
    for (kind, case), rows in frame.groupby(["kind", "case"], sort=False):
        about = (
            f"{rows['jobs'].mean():.0f} jobs, {rows['people'].mean():.1f} people, {rows['booted'].mean():.2f} booted"
        )
        lines.append(f"{kind}, {case} ({len(rows)} shops; {about})")
        lines += [f"  {name:26} {share(rows[name])}" for name in TOLD[str(case)]]
    return "\n".join(lines)


def _mean(values: pd.Series) -> tuple[float, float, int]:
    mean, n = float(values.astype(float).mean()), len(values)
    error = share_error(mean, n) if values.dtype == bool else float(values.std(ddof=1) / np.sqrt(n))
    return mean, error, n


def findings(frame: pd.DataFrame) -> list[Finding]:
    """People who do not differ are seldom marked, the best stands above, the intervals hold where nothing is blank."""
    out = []
    for (kind, case), rows in frame.groupby(["kind", "case"], sort=False):
        for name, stated in (("anyone clear", CLEAR_RATE), ("anyone leaning or clear", LEANING_RATE)):
            if case in QUIET:
                most = stated + 3 * share_error(stated, len(rows))
                claim = f"at most {stated:g}, plus three Monte Carlo errors"
                out.append(
                    Finding(f"{kind}, {case}: share of shops with {name}", *_mean(rows[name]), None, most, claim)
                )
        if case in QUIET:
            continue
        chance = 0.5 + 3 * share_error(0.5, len(rows)) if case == "drawn from the prior" else None
        claim = "better than a coin by three Monte Carlo errors" if chance else ""
        above = Finding(f"{kind}, {case}: the truly best stands above", *_mean(rows["best above"]), chance, None, claim)
        bounds = (0.93, 0.97) if case == "drawn from the prior" and kind in WITHOUT_BLANKS else (None, None)
        inside = Finding(f"{kind}, {case}: coverage of the 95 % intervals", *_mean(rows["inside 95 %"]), *bounds)
        first = Finding(f"{kind}, {case}: the truly best is ranked first", *_mean(rows["best first"]))
        out += [above, inside, first]
    return out


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--shops", type=int, default=200)
    parser.add_argument("--first-seed", type=int, default=60_000)
    record.add_write(parser)
    args = parser.parse_args()

    def run() -> list[Finding]:
        frame = study(args.shops, args.first_seed)
        print(report(frame))
        return findings(frame)

    record.report(__file__, args.write, run)


if __name__ == "__main__":
    main()
