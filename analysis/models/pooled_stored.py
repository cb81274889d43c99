"""A fitted pooled model as a text that anyone can read (JSON), bound to the log it was fitted to.

The text holds no code and reading it runs none. Its readable part is ``effects``; ``grid`` is what chances are made of.
"""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import Any

import numpy as np

from analysis.cohort.ledger import Ledger
from analysis.errors import ModelError
from analysis.models.pooled import PooledFit
from analysis.models.pooled_design import Fitted, PooledCategory, PooledDesign, PooledNumber

FORM = "pooled logistic model, form 1"
AGAIN = "Fit the model again from the log as it is now."
KINDS: dict[str, Any] = {"category": PooledCategory, "number": PooledNumber}


def _told(term: Fitted) -> dict[str, Any]:
    kind = "category" if isinstance(term, PooledCategory) else "number"
    return {"kind": kind} | asdict(term)


def _term(found: dict[str, Any]) -> Fitted:
    values: dict[str, Any] = {
        name: tuple(v) if isinstance(v, list) else v for name, v in found.items() if name != "kind"
    }
    term: Fitted = KINDS[found["kind"]](**values)
    return term


def to_json(fit: PooledFit) -> str:
    """Write a fit as JSON; :func:`from_json` gives back the same chances to the last digit.

    Raises
    ------
    UnconvergedError
        If the fit did not settle.
    """
    design, upper = fit.shown().design, np.triu_indices(fit.location.shape[1])
    ledger = None if fit.ledger is None else asdict(fit.ledger)
    effects = fit.effects().round(4).to_dict("records")
    whole = {
        "form": FORM,
        "code_version": fit.code_version,
        "log_hash": fit.log_hash,
        "n": fit.n,
        "events": fit.events,
        "reason": fit.reason,
        "ledger": ledger,
        "effects": effects,
        "design": {
            "terms": [_told(term) for term in design.terms],
            "family": None if design.family is None else _told(design.family),
            "centre": design.centre,
            "left_out": design.left_out,
        },
        "grid": [
            {
                "sigma": float(fit.sigma[k]),
                "tau": float(fit.tau[k]),
                "weight": float(fit.weight[k]),
                "location": fit.location[k].tolist(),
                "covariance_upper": fit.covariance[k][upper].tolist(),
            }
            for k in range(len(fit.weight))
        ],
    }
    lines = [f" {json.dumps(key)}: {_lines(value)}" for key, value in whole.items()]
    return "{\n" + ",\n".join(lines) + "\n}\n"


def _lines(value: Any) -> str:
    """Lists of tables one entry a line, everything else on one line."""
    if isinstance(value, list):
        return "[\n" + ",\n".join(f"  {json.dumps(entry, ensure_ascii=False)}" for entry in value) + "\n ]"
    return json.dumps(value, ensure_ascii=False)


def from_json(text: str, log_hash: str) -> PooledFit:
    """Read a stored fit.

    Parameters
    ----------
    text : str
        From :func:`to_json`.
    log_hash : str
        Hash of the log as it is now.

    Raises
    ------
    ModelError
        If the text is no stored fit or damaged, or the log is not the one the fit was made from.
    """
    try:
        found = json.loads(text)
        form = found["form"]
    except (json.JSONDecodeError, KeyError, TypeError) as error:
        raise ModelError(
            "This is no stored model.", rule=f"It must be a JSON text of the form '{FORM}'.", todo=AGAIN
        ) from error
    if form != FORM:
        raise ModelError(f"The stored model has the form '{form}'.", rule=f"This version reads '{FORM}'.", todo=AGAIN)
    if found.get("log_hash") != log_hash:
        raise ModelError(
            "The log has changed since the stored model was fitted.",
            rule="A stored model is used with the very log it was fitted to, told by the log's hash.",
            todo=AGAIN,
        )
    try:
        return _fit(found)
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise ModelError("The stored model is damaged: a part is missing or of the wrong kind.", todo=AGAIN) from error


def _fit(found: dict[str, Any]) -> PooledFit:
    design, grid, ledger = found["design"], found["grid"], found["ledger"]
    frozen = PooledDesign(
        terms=tuple(_term(term) for term in design["terms"]),
        family=None if design["family"] is None else _family(design["family"]),
        centre=tuple(design["centre"]),
        left_out=tuple(design["left_out"]),
    )
    width = len(frozen.names)
    upper = np.triu_indices(width)
    covariance = np.empty((len(grid), width, width))
    covariance[:, upper[0], upper[1]] = np.array([point["covariance_upper"] for point in grid], dtype=float)
    covariance[:, upper[1], upper[0]] = covariance[:, upper[0], upper[1]]
    location = np.array([point["location"] for point in grid], dtype=float)
    weight = np.array([point["weight"] for point in grid], dtype=float)
    if location.shape != (len(grid), width) or not np.isfinite(covariance).all() or not np.isclose(weight.sum(), 1):
        raise ValueError("the grid does not fit the design")
    return PooledFit(
        n=int(found["n"]),
        events=int(found["events"]),
        converged=True,
        reason=found["reason"],
        ledger=None if ledger is None else Ledger(**ledger | {"exclusions": tuple(map(tuple, ledger["exclusions"]))}),
        log_hash=found["log_hash"],
        code_version=found["code_version"],
        design=frozen,
        sigma=np.array([point["sigma"] for point in grid], dtype=float),
        tau=np.array([point["tau"] for point in grid], dtype=float),
        weight=weight,
        location=location,
        covariance=covariance,
    )


def _family(found: dict[str, Any]) -> PooledCategory:
    term = _term(found)
    if not isinstance(term, PooledCategory):
        raise TypeError("the family is no category")
    return term
