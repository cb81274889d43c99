"""What a bench knows, kept on disk between two intakes: plain JSON, bound to the log it was made from.

A folder a log and state of the code, named by the hashes of both: a fitted model a file (see
:mod:`analysis.models.pooled_stored`), and ``bench.json`` with class rates, trust and past jobs. Beside it a note says
which bytes of which files gave that log's hash, so that an unchanged log need not be read to know that it is unchanged.
The whole folder may be deleted.
"""

from __future__ import annotations

import json
import math
import shutil
from dataclasses import asdict
from pathlib import Path
from typing import Any

import pandas as pd

from analysis.errors import ModelError
from analysis.models.class_rates import ClassRates
from analysis.models.pooled_stored import from_json, to_json
from analysis.questions.bench_model import BenchModel, OutcomeModel
from analysis.questions.offer_rows import Outcome
from analysis.questions.trust import Trust
from analysis.records.source import code_at_work
from analysis.records.whole_texts import replace_text

FORM = "what a bench knows, form 3"
BENCH_FILE, DONOR_FILE = "bench.json", "recovered_with_donor.json"
MOST_KEPT = 5


def _model_folder(cache: Path, log_hash: str) -> Path:
    return cache / f"{log_hash[:16]}-{code_at_work()[:16]}"


def _note(cache: Path, digest: str) -> Path:
    return cache / f"files-{digest[:16]}.json"


def remembered_hash(cache: Path, digest: str) -> str:
    """Hash of the log that these bytes gave when they were last read; empty when they never were."""
    try:
        found = json.loads(_note(cache, digest).read_text(encoding="utf-8"))
        return str(found["log_hash"]) if found["files"] == digest else ""
    except (OSError, ValueError, KeyError, TypeError):
        return ""


def _plain(value: Any) -> Any:
    """JSON knows no NaN."""
    if isinstance(value, float) and math.isnan(value):
        return None
    return value


def _column(values: pd.Series) -> list[Any]:
    if pd.api.types.is_datetime64_any_dtype(values):
        return [None if pd.isna(v) else f"{v:%Y-%m-%d}" for v in values]
    return [None if pd.isna(v) else v for v in values.astype(object).tolist()]


def store(bench: BenchModel, cache: Path, digest: str) -> bool:
    """Write what a bench knows; False, and nothing written, while a model is lacking: it is quick to make then."""
    fits = {outcome: model.fit for outcome, model in bench.models.items() if model.fit is not None}
    if len(fits) < len(Outcome):
        return False
    folder = _model_folder(cache, bench.log_hash)
    for outcome, fit in fits.items():
        replace_text(to_json(fit), folder / f"{outcome}.json")
    donor = bench.models[Outcome.RECOVERED].with_donor
    if donor is not None:
        replace_text(to_json(donor), folder / DONOR_FILE)
    outcomes = {
        str(outcome): {
            "n": model.n,
            "events": model.events,
            "rates": asdict(model.rates),
            "trust": {name: _plain(value) for name, value in asdict(model.trust).items()},
        }
        for outcome, model in bench.models.items()
    }
    whole = {
        "form": FORM,
        "code": code_at_work(),
        "log_hash": bench.log_hash,
        "with_donor": donor is not None,
        "outcomes": outcomes,
        "past": {name: _column(bench.past[name]) for name in bench.past.columns},
    }
    replace_text(json.dumps(whole, ensure_ascii=False, allow_nan=False) + "\n", folder / BENCH_FILE)
    replace_text(json.dumps({"files": digest, "log_hash": bench.log_hash}) + "\n", _note(cache, digest))
    _forget_oldest(cache)
    return True


def _forget_oldest(cache: Path) -> None:
    """Keep the latest few: every change of a log makes a new one."""
    kept = sorted(cache.glob(f"*/{BENCH_FILE}"), key=lambda path: path.stat().st_mtime, reverse=True)
    for old in kept[MOST_KEPT:]:
        shutil.rmtree(old.parent, ignore_errors=True)
    for old in sorted(cache.glob("files-*.json"), key=lambda path: path.stat().st_mtime, reverse=True)[4 * MOST_KEPT :]:
        old.unlink(missing_ok=True)


def _past(found: dict[str, list[Any]]) -> pd.DataFrame:
    frame = pd.DataFrame({name: pd.Series(values, dtype=object) for name, values in found.items()})
    frame["received_date"] = pd.to_datetime(frame["received_date"])
    numbers = ("recovered", "first_boot", "chain_hours", "device_age_years")
    return frame.astype(dict.fromkeys(numbers, float))


def recall(cache: Path, log_hash: str) -> BenchModel:
    """Read what a bench knew.

    Raises
    ------
    ModelError
        If nothing usable is stored for this very log and code: it was made from another state of the log or by
        code since changed, is damaged, or was never made.
    """
    folder = _model_folder(cache, log_hash)
    try:
        found = json.loads((folder / BENCH_FILE).read_text(encoding="utf-8"))
        if found["form"] != FORM or found["log_hash"] != log_hash or found["code"] != code_at_work():
            raise ModelError("The stored models were made from another log or by other code.")
        names = (*(f"{outcome}.json" for outcome in Outcome), *((DONOR_FILE,) if found["with_donor"] else ()))
        fits = {name: from_json((folder / name).read_text(encoding="utf-8"), log_hash) for name in names}
        models = {}
        for outcome in Outcome:
            told, fit = found["outcomes"][outcome], fits[f"{outcome}.json"]
            trust: dict[str, Any] = {k: math.nan if v is None else v for k, v in told["trust"].items()}
            donor = fits.get(DONOR_FILE) if outcome is Outcome.RECOVERED else None
            counted = told["rates"]
            chances = {code: (mean, low, high) for code, (mean, low, high) in counted["chances"].items()}
            rates = ClassRates(**counted | {"chances": chances})
            models[outcome] = OutcomeModel(
                outcome, told["n"], told["events"], fit.design, fit, donor, rates, Trust(**trust)
            )
        return BenchModel(models, _past(found["past"]), log_hash)
    except (OSError, ValueError, KeyError, TypeError) as error:
        todo = "Nothing; they are made again. The folder may be deleted at any time."
        raise ModelError("No usable models are stored for this log.", todo=todo) from error
