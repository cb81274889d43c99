"""Ordinary bench words for the dictionary's columns, English here, German beside: common practice, no source.

A phrase is written as :func:`plain_words` leaves it: lower case, single spaces, no punctuation. Add a shop's own
words here; a phrase may stand for one column only (a test holds that).
"""

from __future__ import annotations

import re
from collections.abc import Mapping

from analysis.records.importing import german_words as german


def joined(one: Mapping[str, tuple[str, ...]], other: Mapping[str, tuple[str, ...]]) -> dict[str, tuple[str, ...]]:
    """Two lists of words under the same names as one."""
    return {name: (*one.get(name, ()), *other.get(name, ())) for name in {**one, **other}}


CHIP_WORDS = {
    "processor": ("processor", "cpu", "soc", "main chip", "application processor"),
    "memory": ("memory", "ram", "dram", "lpddr"),
    "storage": ("storage", "nand", "ufs", "emmc", "flash", "rom"),
}
SIDE_WORDS = {
    "lower": ("lower side", "lower face", "lower", "bottom side", "bottom", "underside"),
    "upper": ("upper side", "upper face", "upper", "top side", "top"),
    "landing": ("landing", "donor side", "donor pads side", "donor board side"),
}
STEP_WORDS = {
    "preheat": ("preheat",),
    "removal": ("removal", "remove", "lift off", "lifting", "lift", "pull", "desolder"),
    "residue": ("residue", "resin removal", "glue removal", "underfill removal", "scrape"),
    "ball_reset": ("ball reset", "levelling", "leveling"),
    "reball": ("reballing", "reball"),
    "install": ("installation", "install", "placing", "placement", "set down", "put down", "solder on"),
    "touch_up": ("touch up", "reflow"),
}

# Headings that say by themselves which column is meant.
PHRASES: dict[str, tuple[str, ...]] = {
    "job_id": (
        *("job", "job no", "job nr", "job number", "job code", "job ref", "job reference", "case", "case no"),
        *("case number", "ticket", "ticket no", "ticket number", "work order", "order no", "order number", "ref no"),
    ),
    "received_date": (
        *("received", "date received", "received on", "date in", "in date", "booked in", "came in", "arrived"),
        *("arrival date", "arrival", "intake date", "date of intake", "check in date", "day received"),
    ),
    "device_class": ("device", "device type", "type of device", "kind of device", "phone or tablet", "device kind"),
    "board_family": ("board type", "board family", "family", "board", "board group", "board kind", "platform"),
    "device_age_years": ("device age", "age of device", "phone age", "age of phone", "handset age"),
    "intake_damage": (
        *("damage", "fault", "damage type", "type of damage", "damage at intake", "fault type", "cause of damage"),
        *("kind of damage", "main damage", "damage seen", "fault at intake", "what happened", "what happened to it"),
    ),
    "second_damage": ("other damage", "second damage", "damage 2", "secondary damage", "also damaged by", "fault 2"),
    "prior_rework": (
        *("worked on before", "earlier rework", "prior rework", "previous rework", "earlier work", "prior repair"),
        *("previous repair", "tried before", "prior attempt", "previous attempt", "rework before", "opened before"),
        *("opened by someone before", "opened by someone", "opened by others", "worked on by someone before"),
        *("opened by another shop", "touched before", "touched by someone before", "repaired before"),
        *("someone tried before", "somebody tried before", "tried by someone before"),
    ),
    "previous_job_id": ("earlier job", "previous job", "old job no", "earlier job no", "previous job no", "former job"),
    "underfill": ("underfill", "resin", "glue", "glue under chips", "epoxy", "resin under chips"),
    "decision": ("decision", "taken", "job taken", "accepted", "took job", "accept or decline", "taken on", "took it"),
    "decline_reason": (
        *("reason for declining", "decline reason", "why declined", "reason declined", "why not taken"),
        *("reason refused", "refusal reason"),
    ),
    "guessed_success_pct": (
        *("guess", "guessed chance", "chance", "estimated chance", "odds given", "our guess", "chance of success"),
        *("success guess", "expected success", "chance given"),
    ),
    "technician_id": ("technician", "tech", "done by", "worked by", "bench tech", "who", "operator", "tech id"),
    "donor_id": ("donor", "donor no", "donor number", "donor code", "donor board", "donor used", "donor ref"),
    "bench_hours": ("bench hours", "bench time", "total bench hours", "labour", "time at bench", "time on bench"),
    "first_boot_result": (),
    "outcome": (
        *("outcome", "final result", "final outcome", "job result", "end result", "data recovered", "recovered"),
        *("data back", "got data back", "data saved", "data out", "data returned", "data rescued"),
    ),
    "closed_date": (
        *("closed", "date closed", "closed on", "date out", "out date", "finished", "date finished", "completed"),
        *("date completed", "done on", "day closed", "end date", "returned on", "close date"),
    ),
    "failure_cause": ("cause of failure", "failure cause", "why failed", "reason failed", "why it failed", "cause"),
    "cause_evidence": ("evidence", "how sure", "cause evidence", "evidence for cause", "sure of cause"),
    "loss_reversible": ("reversible", "loss reversible", "can be retried", "could be retried", "still recoverable"),
    "fee_basis": ("fee basis", "fee type", "how charged", "pricing", "payment terms", "fee terms"),
    "fee_amount": ("fee", "price", "quote", "quoted", "fee agreed", "charge", "amount", "agreed fee", "price quoted"),
    "donor_cost": (
        *(
            "donor cost",
            "donor price",
            "donor paid",
            "cost of donor",
            "paid for donor",
            "donor board price",
            "donor board cost",
        ),
        *("price of donor", "price of donor board", "cost of donor board", "paid for donor board"),
    ),
    "donor_age_years": ("donor age", "age of donor", "donor board age"),
    "donor_age_band": ("donor age band", "age band"),
    "donor_model_year": ("donor model year", "model year", "donor year", "year of model"),
    "known_good": (
        "known good",
        "donor tested",
        "tested good",
        "donor test",
        "donor known good",
        "tested before use",
        "donor booted",
        "donor booted before",
    ),
    "prior_installs_n": ("earlier installs", "prior installs", "times used", "used before", "installs before"),
    "lot": ("lot", "donor lot", "batch", "purchase", "donor batch"),
    "bga_experience_band": ("experience", "years of experience", "bga experience"),
    "chip_role": ("chip", "which chip", "chip name"),
    "side": ("side", "which side", "chip side"),
    "before_test_no": ("before test", "before boot test", "before test no"),
    "test_no": ("test no", "test number", "boot test no", "test"),
    "test_date": ("test date", "date of test", "tested on", "boot test date"),
    "bench_hours_so_far": ("hours so far", "bench hours so far", "hours up to test"),
    "change_made": ("change made", "what changed", "changed since last test", "change before test"),
    "boot_result": ("boot result", "test result", "boot test result", "result of test"),
    "step_no": ("step no", "step number"),
    "step_type": ("step", "step type", "kind of step", "heat step"),
    "station_id": ("station", "hot air station", "station no"),
    "entry_kind": ("how entered", "entry kind", "typed or preset"),
}

# Headings that often mean this, but may mean something else: always asked.
LOOSE: dict[str, tuple[str, ...]] = {
    "job_id": ("id", "no", "nr", "number", "ref", "reference", "code"),
    "received_date": ("date", "day"),
    "device_age_years": ("age",),
    "bench_hours": ("hours", "time", "time spent", "duration"),
    "outcome": ("result", "status", "state", "success", "ok", "final"),
    "intake_damage": ("problem", "symptom", "issue", "complaint"),
    "board_family": ("model", "type"),
    "fee_basis": ("terms",),
    "decline_reason": ("why not",),
    "donor_cost": ("cost", "parts cost", "part cost"),
    "technician_id": ("by", "name", "staff", "initials"),
}

# Yes and no stand the other way round under these headings.
INVERTED: dict[str, tuple[str, ...]] = {
    "loss_reversible": ("lost for good", "permanent loss", "gone for good", "irreversible"),
}

# What is left of a heading once "test 1", "cpu", "lower" or "install" is taken out of it.
TEST_PHRASES: dict[str, tuple[str, ...]] = {
    "boot_result": ("result", "boot result", "boot", "outcome", "", "status", "boot outcome"),
    "test_date": ("date", "boot date", "day", "on", "done on"),
    "bench_hours_so_far": (
        *("hours", "hours so far", "bench hours", "bench hours so far", "time so far", "hours at", "hours to"),
        *("hours until", "time at", "time to", "time until", "bench time", "bench time at"),
    ),
    "change_made": ("change", "change made", "what changed", "changed"),
    "donor_id": ("donor", "donor no", "donor code"),
}
CHIP_PHRASES: dict[str, tuple[str, ...]] = {
    "clean_passes_n": (
        *("passes", "clean passes", "cleaning passes", "cleaning", "wick passes", "cleans", "pass count", "cleaned"),
        *("times cleaned", "cleaned times", "cleaning times", "cleaned x", "wicked", "times wicked", "wicks"),
    ),
    "pad_grade_found": ("pad grade found", "grade found", "pads found", "pad grade before", "pad state found"),
    "pad_grade_left": ("pad grade left", "grade left", "pads left", "pad grade after", "pad grade", "pad state left"),
    "pads_lost_n": ("pads lost", "lost pads", "pads gone", "missing pads", "pads torn", "torn pads", "pad loss"),
    "pads_lost_at": ("pads lost at", "pads lost when", "pads lost during", "where pads lost"),
    "blade_used": ("blade used", "blade", "scalpel used", "scalpel", "knife used"),
    "clean_alloy": ("cleaning alloy", "clean alloy", "cleaning solder", "solder for cleaning"),
    "ball_alloy": ("ball alloy", "balls", "ball solder", "reball alloy", "reball solder"),
    "reball_tries_n": (
        "reball tries",
        "reballs",
        "reball attempts",
        "tries to reball",
        "reball count",
        "times reballed",
    ),
    "ball_reset": ("ball reset", "balls reset", "balls levelled", "balls leveled"),
    "chip_source": ("source", "chip source", "from", "origin"),
}
STEP_PHRASES: dict[str, tuple[str, ...]] = {
    "set_temp_c": ("temp", "temperature", "set temp", "set temperature", "air temp", "hot air temp", "hot air", "heat"),
    "airflow_setting": ("air", "airflow", "air flow", "airflow setting", "fan"),
    "step_s": ("time", "duration", "seconds", "secs", "heat time"),
    "preheat_c": ("preheat", "preheat temp", "preheater", "preheater temp", "bottom heat"),
    "measured_peak_c": ("peak", "measured peak", "peak temp", "measured temp", "thermocouple", "peak measured"),
    "above_liquidus_s": ("above liquidus", "time above liquidus"),
    "station_id": ("station", "station no"),
}

# The same, but what is left may mean something else: always asked.
TEST_LOOSE: dict[str, tuple[str, ...]] = {
    "failure_cause": (
        *("why not", "why", "cause", "reason", "why failed", "why it failed", "failure cause", "cause of failure"),
        *("reason failed", "what was wrong", "fault", "problem"),
    ),
}
STEP_LOOSE: dict[str, tuple[str, ...]] = {
    "set_temp_c": ("max temp", "maximum temp", "max temperature", "maximum temperature", "highest temp", "top temp"),
}

# Never taken over, and not copied to the list of what was kept aside either.
PERSONAL: tuple[str, ...] = (
    *("client", "client name", "customer", "customer name", "owner", "contact", "phone no", "phone number", "mobile"),
    *("telephone", "tel", "email", "e mail", "address", "imei", "serial", "serial no", "serial number", "passcode"),
    *("pin", "password", "unlock code", "client phone", "customer phone", "customer email", "client email", "surname"),
)
IGNORED: tuple[str, ...] = (
    "notes",
    "note",
    "comments",
    "comment",
    "remarks",
    "remark",
    "memo",
    "shelf",
    "bin",
    "invoice",
    "invoice no",
)

UNITS: dict[str, tuple[str, ...]] = {
    "min": ("min", "mins", "minute", "minutes"),
    "hours": ("h", "hr", "hrs", "hour", "hours"),
    "s": ("s", "sec", "secs", "second", "seconds"),
    "months": ("mo", "mth", "mths", "month", "months"),
    "years": ("y", "yr", "yrs", "year", "years"),
    "°F": ("f", "°f", "degf", "deg f", "fahrenheit", "ºf", "° f"),
    "°C": ("c", "°c", "degc", "deg c", "celsius", "ºc", "° c"),
    "%": ("%", "pct", "percent", "per cent"),
    "EUR": ("€", "eur", "euro", "euros"),
    "USD": ("$", "usd", "us$", "dollars"),
    "GBP": ("£", "gbp", "pounds"),
}
CURRENCIES = ("EUR", "USD", "GBP")
TOTALS: tuple[str, ...] = ("total", "totals", "sum", "subtotal", "grand total", "average", "mean", "count")

PHRASES, LOOSE = joined(PHRASES, german.PHRASES), joined(LOOSE, german.LOOSE)
INVERTED, UNITS = joined(INVERTED, german.INVERTED), joined(UNITS, german.UNITS)
TEST_PHRASES, CHIP_PHRASES = joined(TEST_PHRASES, german.TEST_PHRASES), joined(CHIP_PHRASES, german.CHIP_PHRASES)
STEP_PHRASES, STEP_WORDS = joined(STEP_PHRASES, german.STEP_PHRASES), joined(STEP_WORDS, german.STEP_WORDS)
SIDE_WORDS = joined(SIDE_WORDS, german.SIDE_WORDS)
PERSONAL, IGNORED, TOTALS = (*PERSONAL, *german.PERSONAL), (*IGNORED, *german.IGNORED), (*TOTALS, *german.TOTALS)


def plain_words(text: str) -> str:
    """Lower case, punctuation and underscores as spaces, runs of spaces as one."""
    return re.sub(r"[\W_]+", " ", text.casefold()).strip()


UNIT_OF = {word: unit for unit, words in UNITS.items() for word in words}

# In a sheet with a row a donor.
DONOR_PHRASES: dict[str, tuple[str, ...]] = {
    "donor_id": ("id", "no", "code", "number", "board no"),
    "donor_age_years": ("age", "age when used"),
    "known_good": ("tested", "test", "checked"),
    "donor_model_year": ("year",),
    "prior_installs_n": ("installs", "used"),
}
