"""The counter page: first screen, worked example, how far to trust it, the year replayed."""

from __future__ import annotations

import math

from analysis.models.offer_value import Basis
from analysis.models.rolling import CLASS, GUESS, PLAIN
from analysis.questions.assess import Advice
from analysis.questions.bench_model import MODEL
from analysis.questions.counter import THRESHOLDS, Counter, calibration_bins
from analysis.questions.offer_rows import Outcome
from analysis.questions.replay import LEVEL as REPLAY_LEVEL
from analysis.questions.replay import Replay, Sum
from analysis.records.problems import plural
from analysis.records.settings import FILE
from analysis.report import counter_figures
from analysis.report.assess_words import (
    OUTCOMES,
    alike_words,
    chance_words,
    donor_words,
    fact_words,
    find_out_words,
    hour_cost_lines,
    hour_cost_words,
    recorded_words,
    trust_words,
    why_words,
    worth_words,
)
from analysis.report.page import (
    Bullets,
    FirstScreen,
    Grid,
    PageHead,
    Picture,
    Prose,
    Statement,
    jobs_left_out,
    jobs_up_to,
    ledger_grid,
    mend_first,
)
from analysis.report.wording import interval, listed, number, percent, span


def page_head(counter: Counter) -> PageHead:
    """Title, shop and period."""
    return PageHead.of(counter.log, "Accept or decline", jobs_up_to(counter.log, " in the log"))


def _trusted(counter: Counter) -> Statement:
    model = counter.bench.models.get(Outcome.RECOVERED)
    if model is None:
        return Statement("Is the model to be trusted?", "There is no closed job yet, so that no chance can be told.")
    says = f"{'So far, yes.' if model.trust.model else 'Not yet.'} {trust_words(model.trust)}"
    if math.isnan(model.trust.gain):
        return Statement("Is the model to be trusted?", says)
    plain, guess = counter.gains[PLAIN], counter.gains[GUESS]
    detail = [
        f"Against the plain rate of all jobs the model {'told more' if plain.convincing else 'did not clearly tell more'}"
    ]
    if guess.converged:
        told = "told more" if guess.convincing else "did not clearly tell more"
        detail.append(f"against the technicians' own guesses ({guess.n} jobs) it {told}")
    if counter.judged:
        area = counter.judged[0].scores.auc
        if not math.isnan(area.value):
            detail.append(
                f"of a recovered and a lost job it gave the recovered one the higher chance in {percent(area.value)}"
                f" ({interval(area.low, area.high)}) of pairs, where a coin gives 50\u00a0%"
            )
        if area.low <= 0.5:
            yet = "Yet the" if model.trust.model else "The"
            says += f" {yet} facts of an intake have so far hardly told which boards would be recovered."
    return Statement("Is the model to be trusted?", says, f"{'; '.join(detail)}.")


def _range(total: Sum, unit: str, digits: int = 0) -> str:
    shown = f"{number(total.total, digits)} {unit}"
    if math.isnan(total.low):
        return shown
    return f"{shown} ({span(total.low, total.high, digits)})"


def _turned(total: Sum) -> Sum:
    """The same with gain and loss exchanged."""
    return Sum(-total.total, -total.high, -total.low)


def _gained(total: Sum, currency: str) -> str:
    """Saved, or cost: never a minus in front of what was saved."""
    return f"saved {_range(total, currency)}" if total.total >= 0 else f"cost {_range(_turned(total), currency)}"


def _idle(total: Sum, currency: str) -> str:
    return f"without, the hours being paid anyway, it would have {_gained(total, currency)}."


def _fees(replay: Replay, currency: str) -> str:
    """Whether it was the fee: an owner who sees a declined board recovered asks for that first."""
    declined = replay.rows["advice"].eq(Advice.DECLINE)
    own, others = (float(replay.rows.loc[rows, "fee"].astype(float).mean()) for rows in (declined, ~declined))
    if math.isnan(own) or math.isnan(others):
        return ""
    low = replay.fee_too_low
    even = f" (of {low} it did not cover even a success)" if low else ""
    text = f" The fee of the declined was {number(own)} {currency} on average{even}, that of the others {number(others)} {currency}"
    return f"{text}: where it is the fee, it can be talked about." if own < others else f"{text}."


def assumed_share(counter: Counter, jobs: int) -> list[str]:
    """A sentence for beside the money where a share of staged fees was assumed that nobody gave."""
    if not (jobs and counter.share_assumed):
        return []
    share = percent(counter.replay.start_share)
    whose = "the staged fee" if jobs == 1 else f"{jobs} staged fees among these jobs"
    return [
        f"Of {whose} {share} is assumed to be due at the start (nobody gave it; set staged_start_share_pct in {FILE})."
    ]


def _brought(counter: Counter) -> Statement:
    replay, currency = counter.replay, counter.log.settings.currency
    label = "Had it been followed last year"
    if not len(replay.rows):
        return Statement(label, "No accepted job of the last twelve months is closed, so that nothing can be replayed.")
    if not replay.declined:
        says = f"Not one of {plural(len(replay.rows), 'accepted job')} would have been declined."
        says = " ".join([says, *hour_cost_lines(counter.log.settings)])
        detail = " ".join(["What is to be discussed counts as accepted.", *assumed_share(counter, replay.staged_n)])
        return Statement(label, says, detail)
    forgone = "recovery" if replay.recoveries.total == 1 else "recoveries"
    says = (
        f"{replay.declined} of {plural(len(replay.rows), 'accepted job')} would have been declined:"
        f" {_range(replay.recoveries, forgone)} forgone, {_range(replay.hours, 'bench hours')} saved. With other work"
        f" for these hours it would have {_gained(replay.money, currency)}; {_idle(replay.money_idle, currency)}"
    )
    says = " ".join([says, *hour_cost_lines(counter.log.settings)])
    known = [f"hours of {replay.hours_n}"] if replay.hours_n < replay.declined else []
    known += [f"money of {replay.money_n}"] if replay.money_n < replay.declined else []
    only = f" Of the {replay.declined} only the {listed(known)} are recorded and in the sums." if known else ""
    detail = (
        f"In brackets 80 % intervals from resampling months. What is to be discussed"
        f" counts as accepted.{_fees(replay, currency)}{only}"
    )
    detail = " ".join([detail, *assumed_share(counter, replay.staged_n)])
    return Statement(label, says, detail)


def _few(counter: Counter) -> Statement:
    rows = counter.rows[Outcome.RECOVERED].rows
    if not len(rows):
        return Statement("How few jobs", "No accepted job is closed yet.")
    won = int(rows["recovered"].sum())
    small = [f"{row.damage} {row.n}" for row in counter.card if row.n < 30]
    says = f"All of this rests on {plural(len(rows), 'closed job')}, {won} of them recovered."
    detail = (
        f"Damage classes with under 30 jobs: {listed(small)}."
        if small
        else "Every damage class seen has 30 jobs or more."
    )
    return Statement("How few jobs", says, detail)


def _left_out(counter: Counter) -> Statement:
    return jobs_left_out(counter.rows[Outcome.RECOVERED].ledger, "no outcome to learn from")


def first_screen(counter: Counter) -> FirstScreen:
    """Whether the model is trusted, what it would have brought, how few jobs there are."""
    return FirstScreen(
        [*mend_first(counter.log), _trusted(counter), _brought(counter), _few(counter), _left_out(counter)]
    )


def counter_ledger(counter: Counter) -> Grid:
    """From all jobs of the log to those with a known recovery."""
    return ledger_grid(counter.rows[Outcome.RECOVERED].ledger, f"recovery, log {counter.log.hash[:12]}")


def example_words(counter: Counter) -> Prose:
    """The worked example, in words."""
    found, currency = counter.example, counter.log.settings.currency
    if found is None:
        return Prose(["The log has no accepted job, so that there is no example to work."])
    start = (
        "A made-up intake with the commonest facts of this log"
        if counter.example_is_typical
        else "The intake of the parameters cell"
    )
    settings, rests = counter.log.settings, []
    if found.value is not None:
        staged = int(found.intake.basis == Basis.STAGED)
        rests = [*hour_cost_lines(settings), *assumed_share(counter, staged)]
    chances = [f"{OUTCOMES[outcome]}: {chance_words(chance)}." for outcome, chance in found.chances.items()]
    return Prose(
        [
            f"{start}: {recorded_words(found)}.",
            f"Recommendation: {found.advice}. {' '.join([*why_words(found, currency), *rests])}",
            *chances,
            *worth_words(found, currency),
            find_out_words(found, currency),
        ]
    )


def example_facts(counter: Counter) -> Prose | Bullets:
    """What moved the chance of the example, and donors as options."""
    found = counter.example
    if found is None or not (found.facts or found.donors):
        return Prose(
            ["Its chance is a rate of its damage class: no other fact moved it."] if found is not None else [""]
        )
    moved = [f"{text} against the shop's usual mix" for text in fact_words(found)]
    return Bullets(
        [
            *moved,
            *(
                f"{text} – an option by a second model, to be compared with other donors only"
                for text in donor_words(found)
            ),
        ]
    )


def example_alike(counter: Counter) -> Grid | Prose:
    """Past jobs that resemble the example."""
    found = counter.example
    if found is None or not found.alike.n:
        return Prose([alike_words(found)] if found is not None else [""])
    from analysis.questions.assess import fact_title

    booted = {1.0: "booted", 0.0: "did not boot"}
    rows = [
        [
            job.job_id,
            job.ending,
            booted.get(job.first_boot, "not known"),
            number(job.hours, 1),
            fact_title(job.differs) if job.differs else "nothing recorded",
        ]
        for job in found.alike.jobs[:10]
    ]
    more = f" The {len(rows)} likest are shown." if found.alike.n > len(rows) else ""
    heads = ["job", "became", "first boot", "hours", "differs in"]
    return Grid("Past jobs that resemble it", heads, rows, numbers=(3,), under=alike_words(found) + more)


def calibration_picture(counter: Counter) -> Picture | Prose:
    """Told against what came, over past months."""
    rolled = counter.rolled[Outcome.RECOVERED]
    bins = calibration_bins(rolled)
    if len(bins) < 2:
        return Prose(["Too few months have been predicted for a picture of how predictions met outcomes."])
    told = float(rolled.rows[MODEL].mean())
    came = float(rolled.rows["outcome"].mean())
    inside = sum(each.came.low <= each.told <= each.came.high for each in bins)
    heading = (
        f"Recovery: {percent(told)} told on average, {percent(came)} came; {inside} of {len(bins)} groups within chance"
    )
    alt = "Chances the model told in past months against the share that was recovered. " + "; ".join(
        f"told {percent(each.told)}, came {each.came.x} of {each.came.n}" for each in bins
    )
    caption = (
        "Past jobs in groups of equal size by the chance told before their month. Dot: share recovered; bar: 80 % interval;"
        " on the dashed line what was told is what came"
    )
    return Picture(counter_figures.calibration(bins, heading), f"{alt}.", caption, rolled.n)


def measures_grid(counter: Counter) -> Grid | Prose:
    """All measures of the model and its rivals."""
    if not counter.judged:
        return Prose(["The model and its rivals cannot be compared yet: no past month had enough jobs before it."])
    rows = []
    for each in counter.judged:
        s = each.scores
        rows.append(
            [
                each.name,
                str(s.n),
                number(s.brier, 3),
                number(s.log_score, 3),
                f"{number(s.auc.value, 2)} ({span(s.auc.low, s.auc.high, 2)})",
                number(s.intercept.value, 2),
                f"{number(s.slope.value, 2)} ({span(s.slope.low, s.slope.high, 2)})",
            ]
        )
    heads = ["chances by", "jobs", "Brier", "log score", "AUC (95 %)", "intercept", "slope (95 %)"]
    under = (
        "Each month predicted from what was known before it. Smaller Brier and larger log score are better; AUC 0.5 tells"
        " nothing apart; intercept 0 and slope 1 are calibrated, a slope under 1 means chances too extreme."
    )
    return Grid("Predictions of past months, recovery", heads, rows, numbers=tuple(range(1, 7)), under=under)


def gains_words(counter: Counter) -> Bullets | Prose:
    """Log score gained over each rival, and how much the fit flatters itself."""
    shown = [gain for gain in counter.gains.values() if gain.converged]
    items = [
        f"Log score gained a job over the {gain.rival}: {number(gain.gain, 3)} (80 % interval {number(gain.low, 3)} to"
        f" {number(gain.high, 3)}, whole months resampled; {gain.n} jobs, {gain.months} months)."
        + (" This interval decides whether the model is used." if gain.rival == CLASS else "")
        for gain in shown
    ]
    found = counter.optimism
    if found is not None and found.converged:
        corrected = dict(zip(found.measures, found.corrected, strict=True))
        apparent = dict(zip(found.measures, found.apparent, strict=True))
        items.append(
            f"On the jobs it was fitted to the model looks better than it is: AUC {number(apparent['auc'], 2)}, less its"
            f" optimism {number(corrected['auc'], 2)}; slope {number(apparent['slope'], 2)}, less its optimism"
            f" {number(corrected['slope'], 2)} ({found.n} jobs, {found.draws} bootstrap samples)."
        )
    return Bullets(items) if items else Prose([""])


def benefit_grid(counter: Counter) -> Grid | Prose:
    """Net benefit at several break-even chances."""
    if not counter.benefit:
        return Prose([""])
    first = counter.benefit[0][1]
    rows = [
        [
            percent(t),
            number(first.accept_all[at], 3),
            *(number(each.by_chance[at], 3) for _, each in counter.benefit),
            *(str(int(each.accepted[at])) for _, each in counter.benefit),
        ]
        for at, t in enumerate(THRESHOLDS)
    ]
    heads = ["break-even", "accept all", *(f"by {name}" for name, _ in counter.benefit)]
    heads += [f"accepted by {name}" for name, _ in counter.benefit]
    under = (
        f"Net benefit in recoveries a job; declining all is worth 0 ({first.n} jobs). A way to choose is worth following at"
        " a break-even chance only where it beats both accepting all and declining all."
    )
    return Grid("What following the chances is worth", heads, rows, numbers=tuple(range(1, len(heads))), under=under)


def replay_grid(counter: Counter) -> Grid | Prose:
    """The year replayed, by recommendation."""
    replay, currency = counter.replay, counter.log.settings.currency
    if not len(replay.rows):
        return Prose(["No accepted job of the last twelve months is closed, so that nothing can be replayed."])
    rows = []
    for advice in Advice:
        own = replay.rows[replay.rows["advice"].eq(advice)]
        if len(own):
            margin = own["margin"].astype(float).dropna()
            rows.append(
                [
                    str(advice),
                    str(len(own)),
                    str(int(own["recovered"].sum())),
                    number(float(own["hours"].astype(float).sum())),
                    f"{int(own['hours'].notna().sum())} of {len(own)}",
                    number(float(margin.sum())) if len(margin) else "–",
                    f"{len(margin)} of {len(own)}",
                ]
            )
    assumed = " (assumed; nobody gave it)" if counter.share_assumed and replay.staged_n else ""
    by_model = int(replay.rows["source"].eq(MODEL).sum())
    under = (
        f"Every month was decided from what was known before it; the model was trusted for {by_model} of"
        f" {plural(len(replay.rows), 'job')}, the class rate for the others. Margins as they came, {currency}, bench hours at"
        f" {hour_cost_words(counter.log.settings)}; of a staged fee {percent(replay.start_share)} is taken"
        f" as due at the start{assumed}, since the log does not hold it; a board that came back counts once, with its first fee and donor and all its hours."
        " Donors were not chosen by the rule."
    )
    heads = ["would have said", "jobs", "recovered", "bench hours", "hours known for", f"margin, {currency}"]
    heads += ["margin known for"]
    return Grid("Accepted jobs of the last twelve months", heads, rows, numbers=tuple(range(1, 7)), under=under)


def replay_words(counter: Counter) -> Prose:
    """What the replay can and cannot say."""
    level, still_open = percent(REPLAY_LEVEL), counter.replay.still_open
    waits = (
        [
            f"{plural(still_open, 'accepted job')} of these months {'is' if still_open == 1 else 'are'} still open and not in"
            " it; jobs that end soon are so counted more than those that drag on."
        ]
        if still_open
        else []
    )
    return Prose(
        [
            *waits,
            "Only accepted jobs can be replayed: what a declined one would have brought nobody knows. A declined client may"
            " have had no other chance; the replay counts money and hours, not that.",
            f"Intervals: {level}, from resampling whole months of the year. They say how the total varies with the jobs that"
            " came in, not whether next year will be like this one.",
        ]
    )
