"""The sheet for clients in parts: each a small object that shows itself in a notebook and on the page."""

from __future__ import annotations

import json
from collections.abc import Mapping
from html import escape
from typing import Any

import pandas as pd

from analysis.models.intervals import Proportion
from analysis.questions.evidence import ClassRow, Evidence, lost_rate
from analysis.questions.evidence_facts import Mark, facts
from analysis.questions.evidence_intake import DAMAGE
from analysis.questions.evidence_span import latest_half
from analysis.questions.evidence_time import AT_RISK, DAYS_SHOWN
from analysis.report.evidence_view import SheetView
from analysis.report.evidence_wording import Words
from analysis.report.page import Bullets, Caution, FirstScreen, Grid, PageHead, Prose, Statement

FACTS_CLASS = "sheet-facts"
SHORT = 16  # digits of a fingerprint that are shown; all of them stand in the facts


def _rate(words: Words, p: Proportion) -> dict[str, str]:
    return {
        "x": words.count(p.x),
        "n": words.count(p.n),
        "rate": words.percent(p.rate),
        "range": words.between(p.low, p.high),
    }


def _recovered(e: Evidence, w: Words) -> Statement:
    label = w.say("main.recovered_label")
    if not e.ready:
        says = w.say("main.not_ready", closed=w.count(e.recovered.n), accepted=w.count(e.counts["accepted"]))
        return Statement(label, says, w.say("main.not_ready_detail"))
    rate, without = _rate(w, e.recovered), _rate(w, e.without_stopped)
    detail = w.say(
        "main.recovered_detail",
        range=rate["range"],
        without=without["x"],
        without_n=without["n"],
        without_rate=without["rate"],
        without_range=without["range"],
    )
    return Statement(label, w.say("main.recovered", **rate), detail)


def _first_start(e: Evidence, w: Words) -> Statement:
    if not e.first_boot.n:
        detail = w.say("main.first_few_detail", minimum=w.count(e.minimum))
        return Statement(w.say("main.first_label"), w.say("main.first_few"), detail)
    rate = _rate(w, e.first_boot)
    detail = w.say("main.first_detail", range=rate["range"])
    if e.stopped_untested:
        low, high = (w.percent(share) for share in e.bounds)
        one = e.stopped_untested == 1
        number = {} if one else {"n": w.count(e.stopped_untested)}
        detail += " " + w.say(f"main.first_bounds{'_one' if one else ''}", **number, low=low, high=high)
    return Statement(w.say("main.first_label"), w.say("main.first", **rate), detail)


def _whole(e: Evidence, w: Words) -> list[Statement]:
    if e.whole is None:
        return []
    label, chosen = w.say("main.whole_label"), w.say("main.whole_chosen")
    if not e.whole.ready:
        says = w.say("main.not_ready", closed=w.count(e.whole.recovered.n), accepted=w.count(e.whole.accepted))
        return [Statement(label, says, f"{w.say('main.not_ready_detail')} {chosen}")]
    rate = _rate(w, e.whole.recovered)
    months = {"first": w.month(e.whole.first_month), "last": w.month(e.whole.last_month)}
    detail = w.say("main.whole_detail", range=rate["range"], **months)
    if e.whole.first_boot.n:
        first = {f"first_{name}": text for name, text in _rate(w, e.whole.first_boot).items()}
        detail += " " + w.say("main.whole_first", **first)
    return [Statement(label, w.say("main.whole", **rate), f"{detail} {chosen}")]


def damage_name(w: Words, codes: tuple[str, ...]) -> str:
    """Damage classes in words."""
    return w.say("classes.plus").join(w.say(f"classes.{code}") for code in codes)


def page_head(view: SheetView) -> PageHead:
    """Title and origin, for the notebook; the published sheet has a head of its own."""
    w = view.words
    return PageHead(
        title=w.say("page.title"),
        shop=view.shop,
        period=period_text(view),
        log_hash=view.mark.fingerprint,
        invented=view.invented,
        footer=w.say("page.footer"),
        lang=w.code,
    )


def _like(view: SheetView) -> list[Statement]:
    """A client's own device: the model's range, or the rate of its damage."""
    found, w = view.alike, view.words
    if found is None:
        return []
    label = w.say("main.like_label", facts=", ".join(_facts_told(w, found.facts)))
    if found.chance is not None:
        mean, low, high = found.chance
        says = w.say("main.like_model", rate=w.percent(mean))
        about = {"range": w.between(low, high), "n": w.count(found.n), "until": w.day(view.evidence.until)}
        return [Statement(label, says, w.say("main.like_model_detail", **about))]
    rate = _rate(w, found.row.recovered)
    detail = w.say("main.like_detail", range=rate["range"])
    if len(found.row.codes) > 1:
        detail = w.say("main.like_together", range=rate["range"], damage=damage_name(w, found.row.codes))
    return [Statement(label, w.say("main.like", **rate), detail)]


def _facts_told(w: Words, facts: Mapping[str, str]) -> list[str]:
    """Every fact of a device that the page carries, in words: nothing about it stands in the source alone."""
    out = [damage_name(w, (facts[DAMAGE],))]
    if facts.get("second_damage"):
        out.append(w.say("device.also", damage=damage_name(w, (facts["second_damage"],))))
    if facts.get("device_class"):
        out.append(w.say(f"device.{facts['device_class']}"))
    if facts.get("device_age_years"):
        age = float(facts["device_age_years"])
        out.append(w.say("device.age", n=w.number(age, 0 if age == int(age) else 1)))
    named = (("prior", "prior_rework"), ("underfill", "underfill"))
    return out + [w.say(f"device.{name}_{facts[column]}") for name, column in named if facts.get(column)]


def headline(view: SheetView) -> FirstScreen:
    """Recovery, a client's own device, for chosen months the whole log, and first start."""
    e, w = view.evidence, view.words
    return FirstScreen([_recovered(e, w), *_like(view), *_whole(e, w), _first_start(e, w)])


def success(view: SheetView) -> Prose:
    """What counts as success, in one sentence."""
    return Prose([f"{view.words.say('main.success')} {view.words.say('notes.chains')}"])


_JOBS = ("received", "declined", "withdrawn", "repeats", "repeats_after_recovery", "accepted")
_IF_ANY = ("repeats_after_recovery", "set_aside")
_ENDINGS = ("recovered", "partial", "locked", "not_recovered", "stopped", "open")


def jobs_grid(view: SheetView) -> Grid:
    """Every device received and what became of it."""
    e, w = view.evidence, view.words
    names = [name for name in (*_JOBS, *_ENDINGS, "set_aside") if e.counts[name] or name not in _IF_ANY]
    rows = [[w.say(f"jobs.{name}"), w.count(e.counts[name])] for name in names]
    return Grid(w.say("jobs.caption"), w.listed("jobs.heads"), rows, numbers=(1,))


def _cell(w: Words, p: Proportion) -> str:
    return w.say("classes.cell", **_rate(w, p)) if p.n else "–"


def classes_grid(view: SheetView) -> Grid | Prose:
    """Rates by damage, small classes put together."""
    e, w = view.evidence, view.words
    if not e.classes:
        return Prose([w.say("classes.none")])
    every = ClassRow((), e.recovered, e.first_boot)
    rows = [
        [
            damage_name(w, row.codes) or w.say("classes.all"),
            _cell(w, row.recovered),
            _cell(w, row.first_boot),
        ]
        for row in (*e.classes, every)
    ]
    under = w.say("classes.under")
    if any(len(row.codes) > 1 for row in e.classes):
        under += " " + w.say("classes.under_together", minimum=w.count(e.minimum))
    return Grid(w.say("classes.caption"), w.listed("classes.heads"), rows, numbers=(1, 2), under=under)


def more(view: SheetView) -> Bullets:
    """Time, losses and the fee."""
    e, w = view.evidence, view.words
    fees = [
        w.say("more.fee_item", name=w.together([w.say(f"more.{code}") for code in codes]), n=w.count(n))
        for codes, n in e.fees
    ]
    fee = w.say("more.fee", list="; ".join(fees))
    return Bullets(
        [
            f"{w.say('more.time_label')}: {_time(e, w)}",
            f"{w.say('more.loss_label')}: {_loss(e, w)}",
            f"{w.say('more.fee_label')}: {fee}",
        ]
    )


def _loss(e: Evidence, w: Words) -> str:
    if not e.ready:
        return w.say("more.loss_later")
    apart = {"found": w.count(e.lost_found), "rest": w.count(e.lost - e.lost_found)}
    if not e.lost_unknown:
        return w.say("more.loss", **_rate(w, lost_rate(e)), **apart)
    n = e.recovered.n
    low, high = (w.percent(lost / n) for lost in (e.lost, e.lost + e.lost_unknown))
    known = {"x": w.count(e.lost), "n": w.count(n), "unknown": w.count(e.lost_unknown)}
    text = w.say("more.loss_bounds", low=low, high=high, **known)
    return f"{text} {w.say('more.loss_bounds_apart', **apart)}" if e.lost else text


def _time(e: Evidence, w: Words) -> str:
    t = e.turnaround
    if not t.recovered:
        return w.say("more.time_few", least=w.count(AT_RISK), days=w.count(DAYS_SHOWN[0]))
    parts = [
        w.say("more.time", days=day, rate=w.percent(share), range=w.between(low, high))
        for day, share, low, high in t.recovered
    ]
    if t.half_closed == t.half_closed:
        parts.append(w.say("more.time_closed", days=w.number(t.half_closed)))
    counted = {"n": w.count(t.n), "open": w.count(t.still_open)}
    parts.append(w.say("more.time_n" if t.still_open else "more.time_n_closed", **counted))
    return " ".join(parts)


def notes(view: SheetView) -> Prose:
    """How to read a range, and what the rates are not."""
    return Prose([view.words.say("notes.promise"), view.words.say("notes.range")])


def cautions(view: SheetView) -> Caution:
    """For whoever's only copy it is."""
    return Caution([f"{view.words.say('notes.copy')} {view.words.say('notes.battery')}"])


def recount_words(view: SheetView) -> Prose:
    """Which sealed log the page was made from, or that it is a draft."""
    mark, w = view.mark, view.words
    if not mark.seal:
        return Prose([w.say("page.draft")])
    text = w.say(
        "recount.text",
        seal=w.count(mark.seal),
        day=w.day(pd.Timestamp(mark.sealed_on)),
        fingerprint=mark.fingerprint[:SHORT],
        definitions=mark.definitions,
        code=mark.code,
    )
    if mark.corrected:
        text += " " + w.say("recount.corrected", n=w.count(mark.corrected))
    return Prose([f"{w.say('recount.label')}: {text}"])


class ForMachines:
    """The counts of the sheet as JSON, folded away; a page may hold no script, so they stand in a code element."""

    def __init__(self, found: dict[str, Any], summary: str) -> None:
        self.found, self.summary = found, summary

    def _repr_html_(self) -> str:
        text = json.dumps(self.found, ensure_ascii=True, indent=0)
        return (
            f'<details class="code"><summary>{escape(self.summary)}</summary>'
            f'<pre tabindex="0"><code class="{FACTS_CLASS}">{escape(text)}</code></pre></details>'
        )


def for_machines(view: SheetView) -> ForMachines:
    """What a recount reads."""
    device = view.alike.facts if view.alike is not None else {}
    found = facts(view.evidence, view.mark, view.words.code, device)
    return ForMachines(found, view.words.say("recount.summary"))


def period_text(view: SheetView) -> str:
    """Months of receipt and the day of counting."""
    e, w = view.evidence, view.words
    name = "page.period" if e.span.half else "page.period_chosen"
    if e.span.half and e.span != latest_half(e.until):
        name = "page.period_older"
    return w.say(name, first=w.day(e.span.start), last=w.day(e.span.end), until=w.day(e.until))


def version_text(mark: Mark) -> str:
    """The part of the code's version that names a release."""
    return mark.code.partition("-")[0]
