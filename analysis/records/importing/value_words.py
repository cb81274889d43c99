"""Ordinary bench words for the dictionary's codes, English here, German beside: common practice, no source.

Words are written as :func:`plain_value` leaves them. A word under a code is sure; a doubtful one is not listed, and
is asked.
"""

from __future__ import annotations

import re

from analysis.records.importing import german_words as german
from analysis.records.importing.words import joined

BLANK = "blank"
BLANK_WORDS = frozenset(
    {"-", "--", "–", "—", "n/a", "na", "n.a", "n.a.", "none noted", "not noted", "not recorded", *german.BLANK_WORDS}
)
UNKNOWN_WORDS = frozenset(
    {"?", "??", "???", "unknown", "not known", "unsure", "tbd", "don't know", "dont know", *german.UNKNOWN_WORDS}
)

_DAMAGE = {
    "drop": ("dropped", "drop damage", "fell", "fall", "impact", "struck", "dropped from height"),
    "liquid": ("water", "water damage", "liquid damage", "wet", "sea water", "coffee", "liquid spill"),
    "bend_or_snap": ("bent", "snapped", "board snapped", "bend", "snap", "board cracked", "broken board", "bent board"),
    "power_fault": ("power", "over voltage", "overvoltage", "wrong charger", "power surge", "power short", "surge"),
    "heat": ("burnt", "burned", "fire", "overheated", "heat damage", "burn"),
    "none_seen": ("no damage", "nothing seen", "no visible damage"),
}
_ALLOYS = {
    "sn63pb37": ("leaded", "63/37", "sn63", "lead"),
    "sac305": ("lead free", "sac", "leadfree"),
    "sn42bi58": ("bismuth", "bi58", "sn42"),
}

VALUES: dict[str, dict[str, tuple[str, ...]]] = {
    "intake_damage": _DAMAGE,
    "second_damage": _DAMAGE,
    "device_class": {
        "phone": ("mobile", "smartphone", "handset", "telephone", "mobile phone", "cell phone"),
        "tablet": ("tab", "tablet computer"),
    },
    "prior_rework": {
        "none": ("no", "never", "n", "first time", "untouched"),
        "elsewhere": ("other shop", "another shop", "by other shop", "owner tried", "by others", "outside"),
        "here": ("by us", "us", "our bench", "ours"),
    },
    "underfill": {
        "none": ("no", "n", "no resin"),
        "partial": ("corners", "edges", "part", "some", "corners only"),
        "full": ("yes full", "all", "complete", "fully"),
    },
    "decision": {
        "accepted": ("yes", "y", "taken", "took", "accept", "ok", "in work"),
        "declined": ("no", "n", "refused", "decline", "not taken", "turned down", "rejected"),
        "withdrawn": ("client withdrew", "withdrew", "taken back", "cancelled by client", "cancelled", "canceled"),
    },
    "decline_reason": {
        "chance_too_low": ("hopeless", "low chance", "chance low", "too damaged"),
        "no_donor": ("no donor found", "no donor available"),
        "price": ("too expensive", "cost", "price too high", "money"),
        "no_time": ("busy", "no capacity", "too busy", "bench full"),
        "outside_experience": ("never done", "no experience"),
        "credential_missing": ("no passcode", "no code", "no password"),
    },
    "outcome": {
        "recovered": ("success", "successful", "data recovered", "data out", "yes", "y", "recovered all"),
        "not_recovered": ("failed", "fail", "no data", "unsuccessful", "no", "n", "failure"),
        "stopped_by_client": ("client stopped", "stopped", "cancelled by client", "client cancelled", "client stop"),
        BLANK: ("open", "in progress", "in work", "on bench", "waiting", "pending", "waiting for donor", "ongoing"),
        "jobs.decision=declined": ("declined", "refused", "not taken", "turned down"),
        "jobs.decision=withdrawn": ("withdrawn", "client withdrew"),
    },
    "boot_result": {
        "data_readable": ("data ok", "all data", "reads data", "data read", "boots data ok"),
        "data_partial": (
            *(
                "partial",
                "some data",
                "part of data",
                "partial data",
                "some photos",
                "photos only",
                "partly",
                "incomplete",
            ),
        ),
        "starts_locked": ("locked", "lock screen", "boots locked", "passcode screen", "booted locked"),
        "restart_loop": ("loop", "boot loop", "bootloop", "restarts", "reboot loop"),
        "service_mode_only": ("service mode", "recovery mode", "download mode", "test mode only", "usb mode only"),
        "current_no_start": ("draws current", "current only", "current but no start", "current no boot"),
        "no_current": ("no power", "zero current", "no draw", "draws nothing"),
        "short": ("shorted", "short circuit", "shorts"),
        "jobs.first_boot_result=not_tested": ("not tested", "no test", "never tested", "untested"),
    },
    "change_made": {
        "first_install": ("first", "install", "first try"),
        "touch_up": ("touched up", "reflow", "reflowed"),
        "reinstall": ("reinstalled", "lifted again", "second install"),
        "reball_again": ("reballed", "new balls", "reball"),
        "pad_repair": ("pads repaired", "pads rebuilt", "jumper", "jumpers", "pad work"),
        "memory_replaced": ("new memory", "new ram", "memory swapped", "ram replaced"),
        "donor_changed": ("new donor", "other donor", "donor swapped"),
    },
    "failure_cause": {
        "pads_lost": ("pads", "lost pads", "pads torn", "torn pads", "pads gone", "pad damage"),
        "chip_cracked": ("cracked", "cracked chip", "die cracked", "cpu cracked", "cracked cpu"),
        "chip_dead_on_arrival": ("doa", "dead on arrival"),
        "storage_unreadable": ("nand unreadable", "storage dead", "nand dead", "bad nand"),
        "short_after_install": ("short after installing",),
        "poor_joint": ("bad joint", "cold joint", "open joint", "poor joints", "bad joints", "joints"),
        "misplaced": ("shifted", "misaligned", "off centre", "turned"),
        "donor_faulty_or_wrong": ("bad donor", "wrong donor", "donor faulty", "donor bad"),
        "original_damage": ("original", "damage at intake", "intake damage"),
        "credential_missing": ("no passcode", "no code", "no password"),
        "not_found": ("nothing found", "no cause found"),
    },
    "cause_evidence": {
        "confirmed": ("seen", "sure", "certain", "measured", "seen under microscope"),
        "probable": ("likely", "probably"),
        "suspected": ("guess", "maybe", "perhaps", "suspect"),
    },
    "fee_basis": {
        "no_result_no_fee": ("no fix no fee", "no data no fee", "no result no fee", "success only", "on success"),
        "flat": ("fixed", "flat rate", "flat fee", "fixed price"),
        "staged": ("deposit", "stages", "part upfront", "deposit + rest", "in parts"),
    },
    "known_good": {
        "full_boot": ("booted", "full", "boots", "fully tested", "booted fully"),
        "current_only": ("current", "current draw", "draw only", "current check"),
        "untested": ("not tested", "as is"),
    },
    "chip_role": {
        "processor": ("cpu", "soc", "main chip"),
        "memory": ("ram", "dram"),
        "storage": ("nand", "ufs", "emmc", "flash"),
    },
    "side": {
        "lower": ("bottom", "underside", "lower side"),
        "upper": ("top", "upper side"),
        "landing": ("donor", "donor pads", "donor side"),
    },
    "chip_source": {
        "client": ("original", "own", "client board", "customer"),
        "donor": ("from donor", "donor board"),
        "new": ("new part", "bought"),
    },
    "pads_lost_at": {
        "found": ("before", "already lost", "found so"),
        "removal": ("lift", "lifting", "remove", "desolder"),
        "cleaning": ("wick", "wicking", "clean"),
        "residue": ("resin", "scraping", "underfill"),
        "reball": ("reballing",),
        "install": ("installation", "placing"),
    },
    "clean_alloy": _ALLOYS | {"low_melt": ("low melt", "removal alloy"), "none": ("wick only", "flux only", "no")},
    "ball_alloy": _ALLOYS,
    "step_type": {
        "preheat": ("warm up", "preheating"),
        "removal": ("lift", "remove", "lifting", "desolder"),
        "residue": ("resin", "scraping", "resin removal"),
        "reball": ("reballing", "balls"),
        "ball_reset": ("levelling", "leveling", "reset"),
        "install": ("installation", "placing"),
        "touch_up": ("reflow", "touch up"),
    },
    "entry_kind": {"typed": ("read", "entered"), "preset": ("default", "unchanged")},
}
VALUES |= {name: joined(VALUES[name], codes) for name, codes in german.VALUES.items()}
VALUES["second_damage"] = VALUES["intake_damage"]
VALUES["first_boot_result"] = {
    code.removeprefix("jobs.first_boot_result="): words for code, words in VALUES["boot_result"].items()
}

PARTLY_WORDS = (
    *("partial", "partly", "part", "some", "some data", "some photos", "photos only", "partially", "incomplete"),
    *("partial recovery", "some files", "some of it", "part of data", "part of it", *german.PARTLY),
)

# Words that may mean more than one thing: always asked, with this as the likeliest.
MAYBE: dict[str, dict[str, str]] = {
    "boot_result": {
        **dict.fromkeys(("ok", "boots", "booted", "full boot", "boot ok", "pass", "yes"), "data_readable"),
        **dict.fromkeys(("no start", "no boot", "fail", "failed", "no"), "current_no_start"),
        **dict.fromkeys(("dead", "nothing"), "no_current"),
    },
    "intake_damage": {"corrosion": "liquid", "none": "none_seen", "crushed": "bend_or_snap", "broken": "bend_or_snap"},
    "failure_cause": {
        **dict.fromkeys(("short", "shorted", "short circuit"), "short_after_install"),
        "donor": "donor_faulty_or_wrong",
        # Dead when it came, or killed on the bench?
        **dict.fromkeys(("dead chip", "chip dead", "cpu dead"), "chip_dead_on_arrival"),
    },
    "known_good": {"yes": "full_boot", "y": "full_boot", "tested": "full_boot", "no": "untested", "n": "untested"},
    "outcome": {
        "lost": "not_recovered",
        "bricked": "not_recovered",
        "dead": "not_recovered",
        "done": "recovered",
        "ok": "recovered",
        **dict.fromkeys(PARTLY_WORDS, "not_recovered"),
    },
    "prior_rework": {
        **dict.fromkeys(("yes", "y", "ja", "shop", "opened", "someone", "owner", "client", "repair shop"), "elsewhere"),
    },
    "decline_reason": dict.fromkeys(("corroded", "too corroded", "corrosion"), "chance_too_low"),
    "underfill": {"yes": "full", "y": "full", "ja": "full"},
}
MAYBE["first_boot_result"], MAYBE["second_damage"] = MAYBE["boot_result"], MAYBE["intake_damage"]

# Columns of the job that a text under this one is apt to speak of as well: "declined - no donor".
PARTNERS: dict[str, tuple[str, ...]] = {
    "intake_damage": ("second_damage",),
    "decision": ("decline_reason",),
    "outcome": ("failure_cause", "cause_evidence"),
    "failure_cause": ("cause_evidence",),
}

# What a person should know before answering.
_PART = "a part of the data counts as not recovered; a boot test with data_partial has it printed apart"
PARTLY = "not_recovered, jobs.first_boot_result=data_partial"  # where the sheets keep no boot tests
_HARM = "if it was dead before work"
HINTS: dict[str, dict[str, str]] = {
    "outcome": {
        **dict.fromkeys(PARTLY_WORDS, _PART),
        "bricked": 'if processor or storage is lost for good add ", jobs.loss_reversible=no"',
    },
    "failure_cause": dict.fromkeys(("dead chip", "chip dead", "cpu dead"), _HARM),
}

DOUBTFUL_CODES = frozenset({"none", "nil", "nan", "null"})  # a donor called "none", or no donor?

YES_WORDS = (*german.YES_WORDS, "yes", "y", "true", "t", "1", "✓", "✔", "yep")
NO_WORDS = (*german.NO_WORDS, "no", "n", "false", "f", "0", "nope")
TICKS = ("x",)  # a tick, unless the column also ticks with something else
MAYBE_YES = ("ok", "okay", "done")
MAYBE_NO = ("✗", "✘", "none")


def likeliest_code(column: str, text: str) -> str:
    """The code that an ordinary word most likely means; empty when the words do not say."""
    plain = plain_value(text)
    sure = (code for code, words in VALUES.get(column, {}).items() if plain in words and "=" not in code)
    return next(sure, MAYBE.get(column, {}).get(plain, ""))


def plain_value(text: str) -> str:
    """Lower case, underscores and hyphens between letters as spaces, runs of spaces as one, no full stop at the end."""
    out = re.sub(r"(?<=\w)[_-](?=\w)", " ", text.casefold())
    out = re.sub(r"\s+", " ", out.replace("_", " ")).strip()
    return out.rstrip(".!") or out
