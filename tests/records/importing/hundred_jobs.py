"""An invented sheet of a hundred jobs, kept the way a busy bench keeps it; no job, client or technician in it is real.

``python -m tests.records.importing.hundred_jobs FOLDER`` writes it as CSV to try the import by hand.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import random
import sys
from pathlib import Path

SEED = 20250611
HEADINGS = (
    "Job",
    "Date in",
    "Customer",
    "Who",
    "Board",
    "What happened",
    "Opened by someone before?",
    "Taken?",
    "CPU lower cleaned (times)",
    "SoC max temp C",
    "NAND pads lost",
    "CPU lower pads lost",
    "Donor age (years)",
    "Donor board price",
    "Boot 1",
    "Boot 1 - why not",
    "Boot 2",
    "Hours",
    "Min at test 1",
    "Data back",
    "Date out",
    "Why it failed",
    "Gone for good",
    "Fee",
    "Comments",
)
_WHO = ("Ida", "ida", "IDA ", "Ida", "Bruno", "bruno", "Brunno", "T3")
_DAMAGE = ("drop", "water", "water + drop", "bent", "fell", "surge", "Water", "drop/bent")


def _worked(rng: random.Random, came: dt.date) -> dict[str, object]:
    first = rng.random() < 0.5
    second = not first and rng.random() < 0.5
    back = "yes" if first else ("some photos" if rng.random() < 0.3 else "yes") if second else "no"
    bricked = back == "no" and rng.random() < 0.25
    row: dict[str, object] = {
        "CPU lower cleaned (times)": rng.choice(("2", "2x", "3", "none", "1", "2-3", "")),
        "SoC max temp C": rng.choice(("340", "~340", "355", "360", "")),
        "NAND pads lost": rng.choice(("0", "none", "2", "3-4", "0", "0")),
        "CPU lower pads lost": rng.choice(("0", "0", "1", "6", "a few")),
        "Donor age (years)": rng.choice(("1", "2", "3", "4", "")),
        "Donor board price": rng.choice(("90", "120", "150", "~100")),
        "Boot 1": "data ok" if first else rng.choice(("loop", "dead short", "no power", "draws current")),
        "Boot 1 - why not": "" if first else rng.choice(("pads gone", "cold joint", "", "shifted")),
        "Boot 2": "" if first else "data ok" if back == "yes" else "partial" if second else rng.choice(("loop", "")),
        "Hours": rng.choice(("3", "4.5", "approx 2h", "6", "2,5", "5")),
        "Min at test 1": rng.choice(("90", "120", "100")),
        "Data back": "bricked/pads gone" if bricked else back,
        "Date out": (came + dt.timedelta(days=rng.randrange(4, 25))).isoformat(),
    }
    if back in ("no", "some photos"):
        row |= {"Why it failed": "" if bricked else rng.choice(("pads gone", "bad joint", "?", "nand dead", "", ""))}
        row |= {"Gone for good": "" if bricked else rng.choice(("yes", "no", "no"))}
    return row


def rows() -> list[dict[str, object]]:
    """The jobs, heading to what stands there."""
    rng = random.Random(SEED)
    out = []
    for number in range(1, 101):
        came = dt.date(2024, 1, 5) + dt.timedelta(days=4 * number + rng.randrange(3))
        row: dict[str, object] = {
            "Job": f"J{number}",
            "Date in": came.isoformat(),
            "Customer": f"Customer {number}",
            "Who": rng.choice(_WHO),
            "Board": rng.choice(("A-12", "A-14", "B-2")),
            "What happened": rng.choice(_DAMAGE),
            "Opened by someone before?": rng.choice(("no", "no", "yes", "shop", "")),
            "Fee": rng.choice(("450", "600", "600", "800")),
            "Comments": rng.choice(("", "urgent", "ask before more heat")),
        }
        if number % 9 == 4:
            row["Taken?"] = ("no", "declined - too corroded", "declined - no donor")[number // 9 % 3]
        else:
            row |= {"Taken?": "yes", **(_worked(rng, came) if number < 97 else {})}
        out.append(row)
    return out


def csv_bytes(delimiter: str = ",") -> bytes:
    """The sheet as CSV."""
    out = io.StringIO()
    csv.writer(out, delimiter=delimiter).writerows(
        [HEADINGS, *([row.get(name, "") for name in HEADINGS] for row in rows())]
    )
    return out.getvalue().encode()


# What the owner of this bench answers at the first run, and what is left for the second: heading, key, answer.
ANSWERS = (
    ("", "own_donor", "yes"),
    ("", "work_before_test_1", "yes"),
    ("Who", "values.Ida", "T1"),
    ("Who", "values.bruno", "T2"),
    ("Who", "values.Brunno", "T2"),
    ("What happened", "values.water + drop", "liquid, jobs.second_damage=drop"),
    ("What happened", "values.drop/bent", "drop, jobs.second_damage=bend_or_snap"),
    ("Opened by someone before?", "values.shop", "elsewhere"),
    ("Opened by someone before?", "values.yes", "elsewhere"),
    ("Taken?", "values.declined - no donor", "declined, jobs.decline_reason=no_donor"),
    ("Taken?", "values.declined - too corroded", "declined, jobs.decline_reason=chance_too_low"),
    ("CPU lower cleaned (times)", "values.none", "0"),
    ("CPU lower cleaned (times)", "values.2x", "2"),
    ("CPU lower cleaned (times)", "values.2-3", "3"),
    ("SoC max temp C", "to", "heat_steps.set_temp_c"),
    ("SoC max temp C", "step", "install"),
    ("NAND pads lost", "values.3-4", "4"),
    ("NAND pads lost", "values.none", "0"),
    ("CPU lower pads lost", "values.a few", "3"),
    ("Donor board price", "values.~100", "100"),
    ("Boot 1", "values.dead short", "short"),
    ("Boot 1 - why not", "to", "jobs.failure_cause"),
    ("Hours", "to", "jobs.bench_hours"),
    ("Data back", "values.some photos", "not_recovered"),
    ("Data back", "values.bricked/pads gone", "not_recovered, jobs.failure_cause=pads_lost"),
    ("Why it failed", "values.?", "blank"),
)
LATER = (("SoC max temp C", "values.~340", "340"), ("Hours", "values.approx 2h", "2"))

if __name__ == "__main__":
    path = Path(sys.argv[1]) / "hundred_jobs.csv"
    path.write_bytes(csv_bytes())
    print(path)
