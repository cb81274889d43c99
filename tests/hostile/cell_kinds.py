"""Kinds of corruption that strike one cell. Each takes a source of randomness and returns a corrupted file.

Left out because no reader could know: one plausible value in place of another (240 °C for 230 °C, 3 February for
2 March written as ISO dates, another code of the same list, another family), and an optional cell blanked.
"""

from __future__ import annotations

import datetime as dt
import random
import string

from analysis.records.dictionary import Column, Kind, Required
from tests.hostile.demo_log import TODAY, Case, demo, loose

LOOKALIKES = dict(zip("aceiopxyhknt", "асеіорхуһкոт", strict=True))
FULL_WIDTH = {ord(digit): ord(digit) + 0xFEE0 for digit in string.digits}
CONTROL = [chr(n) for n in [*range(32), 0x7F, *range(0x80, 0xA0)]]
DIRECTION = ["\u200e", "\u200f", "\u202a", "\u202b", "\u202d", "\u202e", "\u2066", "\u2067", "\u2069", "\u061c"]
ZERO_WIDTH = ["\u200b", "\u200c", "\u200d", "\u2060", "\ufeff", "\u00ad", "\u034f"]
HARD_SPACES = ["\u00a0", "\u202f", "\u2007", "\u3000", "\u2003"]
NOT_RECORDED = [
    "NA",
    "N/A",
    "n/a",
    "None",
    "none",
    "null",
    "NULL",
    "nan",
    "NaN",
    "-",
    "--",
    "?",
    ".",
    "unknown",
    "n.a.",
]


def _number(column: Column) -> bool:
    return column.kind in (Kind.NUMBER, Kind.INTEGER)


def _code(column: Column) -> bool:
    return column.kind in (Kind.CHOICE, Kind.YES_NO)


def _pointer(column: Column) -> bool:
    return bool(column.references)


def _any(column: Column) -> bool:
    return True


def _mistyped(rng: random.Random, text: str) -> str:
    at = rng.randrange(len(text))
    other = rng.choice(string.ascii_lowercase + "_")
    return rng.choice(
        [
            text[:at] + other + text[at + 1 :],
            text[:at] + other + text[at:],
            text[:at] + text[at + 1 :],
            text[: max(at - 1, 0)] + text[max(at - 1, 0) : at + 1][::-1] + text[at + 1 :],
        ]
    )


def typo_in_code(rng: random.Random) -> Case:
    """A letter wrong, added, lost or swapped, so that no other code of the list results."""
    table, row, column, text = demo().pick(rng, _code)
    typed = _mistyped(rng, text)
    while (loose(typed) in column.codes and loose(typed) != text) or not typed:
        typed = _mistyped(rng, text)
    return demo().with_cell(table, row, column.name, typed)


def typo_in_key(rng: random.Random) -> Case:
    """A job, donor or technician that does not exist."""
    table, row, column, text = demo().pick(rng, _pointer)
    typed = rng.choice([_mistyped(rng, text), text + "9", text.lower(), "X-1"])
    while typed in demo().keys_of(column.references) or not typed:
        typed = _mistyped(rng, text)
    return demo().with_cell(table, row, column.name, typed)


def homoglyph(rng: random.Random) -> Case:
    """A Cyrillic or Armenian letter that looks like a Latin one."""
    table, row, column, text = demo().pick(rng, lambda column: column.kind is Kind.CHOICE)
    spots = [at for at, letter in enumerate(text) if letter in LOOKALIKES]
    if not spots:
        return homoglyph(rng)
    at = rng.choice(spots)
    return demo().with_cell(table, row, column.name, text[:at] + LOOKALIKES[text[at]] + text[at + 1 :])


def _inserted(rng: random.Random, strange: list[str], *, inside: bool) -> Case:
    table, row, column, text = demo().pick(rng, _any)
    if inside and len(text) < 2:
        return _inserted(rng, strange, inside=inside)
    at = rng.randrange(1, len(text)) if inside else rng.randrange(len(text) + 1)
    return demo().with_cell(table, row, column.name, text[:at] + rng.choice(strange) + text[at:])


def control_character(rng: random.Random) -> Case:
    """A control character within a cell, NUL, tab and line breaks included."""
    return _inserted(rng, CONTROL, inside=True)


def direction_mark(rng: random.Random) -> Case:
    """A mark that turns the direction of writing, anywhere in a cell."""
    return _inserted(rng, DIRECTION, inside=False)


def zero_width(rng: random.Random) -> Case:
    """A character that cannot be seen."""
    return _inserted(rng, ZERO_WIDTH, inside=False)


def hard_space(rng: random.Random) -> Case:
    """A no-break or wide space, harmless at the ends of a cell."""
    return _inserted(rng, HARD_SPACES, inside=False)


def quote_inside(rng: random.Random) -> Case:
    """A quotation mark, well written for a CSV file, inside a value."""
    return _inserted(rng, ['"', "'", "”"], inside=True)


def full_width_digits(rng: random.Random) -> Case:
    """Digits as East Asian keyboards give them."""
    table, row, column, text = demo().pick(rng, lambda column: _number(column) or column.kind is Kind.DATE)
    return demo().with_cell(table, row, column.name, text.translate(FULL_WIDTH))


def blanked_required(rng: random.Random) -> Case:
    """A cell that must always be filled."""
    table, row, column, _ = demo().pick(rng, lambda column: column.required is Required.ALWAYS)
    return demo().with_cell(table, row, column.name, rng.choice(["", " ", "\t"]))


def half_closed(rng: random.Random) -> Case:
    """Outcome or closing date of a closed job blanked, or whether the loss is for good."""
    log = demo()
    emptied, told = rng.choice(
        [("outcome", "outcome"), ("closed_date", "closed_date"), ("loss_reversible", "loss_reversible")]
    )
    lost = log.column("jobs", "outcome")
    rows = [at for at in log.filled["jobs", emptied] if emptied != "loss_reversible" or lost[at] == "not_recovered"]
    row = rng.choice(rows)
    case = log.with_cell("jobs", row, emptied, "")
    return Case(case.table, case.data, (("jobs.csv", row + 2, told),), rows_kept=True)


def out_of_range(rng: random.Random) -> Case:
    """A number over its limit, or under a limit above zero."""
    table, row, column, _ = demo().pick(rng, lambda column: _number(column) and column.high is not None)
    assert column.high is not None
    high = int(column.high)
    typed = [str(high + 1), str((high + 1) * 10), f"{high + 1}.0", "9" * 15, "9" * 40]
    low = [str(int(column.low) - 1)] if column.low and column.low >= 1 else []
    return demo().with_cell(table, row, column.name, rng.choice(typed + low))


def negative(rng: random.Random) -> Case:
    """A number with a minus, hyphen or true minus sign, where none may be."""
    table, row, column, text = demo().pick(rng, lambda column: _number(column) and column.low is not None)
    return demo().with_cell(table, row, column.name, rng.choice("-−") + (text if float(text) else "1"))


def not_digits(rng: random.Random) -> Case:
    """A number with its unit, as a power of ten, as infinity, as a formula, or with a thousands sign."""
    table, row, column, text = demo().pick(rng, _number)
    typed = [f"{text} h", f"{text}°C", "1e1", "inf", "nan", f"={text}", f"~{text}", f"{text}?", "1'000", "0x10", "½"]
    return demo().with_cell(table, row, column.name, rng.choice(typed))


def fraction_in_count(rng: random.Random) -> Case:
    """Half a pass."""
    table, row, column, text = demo().pick(rng, lambda column: column.kind is Kind.INTEGER)
    return demo().with_cell(table, row, column.name, f"{text}.5")


def decimal_comma_quoted(rng: random.Random) -> Case:
    """A decimal comma in a file of commas, kept together by quotation marks."""
    table, row, column, text = demo().pick(rng, lambda column: column.kind is Kind.NUMBER)
    return demo().with_cell(table, row, column.name, text.replace(".", ",") if "." in text else f"{text},5")


def _date_cell(rng: random.Random) -> tuple[str, int, str, dt.date]:
    table, row, column, text = demo().pick(rng, lambda column: column.kind is Kind.DATE)
    return table, row, column.name, dt.date.fromisoformat(text)


def other_date_order(rng: random.Random) -> Case:
    """A date in another order: harmless where it can mean one day only."""
    table, row, name, day = _date_cell(rng)
    forms = ["%d.%m.%Y", "%d/%m/%Y", "%m/%d/%Y", "%d-%m-%Y", "%d.%m.%y", "%m/%d/%y", "%d %b %Y", "%Y/%m/%d", "%y-%m-%d"]
    return demo().with_cell(table, row, name, day.strftime(rng.choice(forms)))


def impossible_date(rng: random.Random) -> Case:
    """A day that no calendar has."""
    table, row, name, day = _date_cell(rng)
    typed = [
        f"{day.year}-02-30",
        "2023-02-29",
        f"{day.year}-13-01",
        f"{day.year}-00-10",
        f"{day:%Y-%m}-00",
        "31.04.2024",
    ]
    return demo().with_cell(table, row, name, rng.choice(typed))


def future_date(rng: random.Random) -> Case:
    """A day that has not come."""
    table, row, name, day = _date_cell(rng)
    later = [TODAY + dt.timedelta(days=rng.randrange(1, 4000)), day.replace(year=day.year + 100, day=1)]
    return demo().with_cell(table, row, name, rng.choice(later).isoformat())


def not_recorded_typed(rng: random.Random) -> Case:
    """A word for "not recorded" where a blank belongs, unless it is a code of the column."""
    table, row, column, _ = demo().pick(rng, _any)
    words = [word for word in NOT_RECORDED if loose(word) not in column.codes]
    return demo().with_cell(table, row, column.name, rng.choice(words))


def mixed_encodings(rng: random.Random) -> Case:
    """A letter in Windows encoding within a cell of a file whose other text is UTF-8."""
    table, row, column, text = demo().pick(rng, _any)
    case = demo().with_cell(table, row, column.name, f"{text}\x1a")
    return Case(table, case.data.replace(b"\x1a", rng.choice([b"\xe4", b"\xfc", b"\x96", b"\x81"])), case.places, True)


CELL_KINDS = {
    "typo in a code": typo_in_code,
    "unknown job, donor or technician": typo_in_key,
    "homoglyph in a code": homoglyph,
    "control character": control_character,
    "right-to-left and other direction marks": direction_mark,
    "zero-width character": zero_width,
    "no-break and wide spaces": hard_space,
    "quote inside a cell": quote_inside,
    "full-width digits": full_width_digits,
    "blanked required cell": blanked_required,
    "half of what belongs together blanked": half_closed,
    "number out of range": out_of_range,
    "negative number": negative,
    "number not in plain digits": not_digits,
    "fraction in a count": fraction_in_count,
    "decimal comma, quoted": decimal_comma_quoted,
    "date in another order": other_date_order,
    "impossible date": impossible_date,
    "future date": future_date,
    "NA, None, - and the like typed": not_recorded_typed,
    "mixed encodings": mixed_encodings,
}
