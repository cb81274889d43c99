"""A stored model gives the same chances, can be read by anyone, and is refused with another log."""

from __future__ import annotations

import json

import numpy as np
import pandas as pd
import pytest

from analysis.cohort.ledger import start_ledger
from analysis.errors import ModelError
from analysis.models.pooled import fit_pooled
from analysis.models.pooled_stored import from_json, to_json
from tests.models.test_pooled import ROWS, TERMS, Y, _intake

FIT = fit_pooled(
    ROWS, Y, TERMS, "family", log_hash="abc", ledger=start_ledger("jobs", 250).then(("declined", len(ROWS) - 230))
)
TEXT = to_json(FIT)


def test_the_stored_model_gives_the_same_chances_and_the_same_text():
    read = from_json(TEXT, "abc")
    asked = pd.concat([ROWS, _intake(family="Z"), _intake(damage=None, age=np.nan)])
    for name in ("mean", "low", "high", "unseen_family"):
        assert (getattr(read.chances(asked), name) == getattr(FIT.chances(asked), name)).all()
    assert to_json(read) == TEXT
    assert (read.n, read.events, read.ledger, read.code_version) == (FIT.n, FIT.events, FIT.ledger, FIT.code_version)


def test_it_can_be_read_without_this_package():
    found = json.loads(TEXT)
    effects = {row["name"]: row["mean"] for row in found["effects"]}
    damage = ["damage: drop", "damage: liquid", "damage: not recorded"]  # the most frequent first, blanks last
    assert list(effects)[:6] == ["(intercept)", *damage, "age, by two SD", "age: not recorded"]
    assert effects["damage: liquid"] < effects["damage: drop"]
    assert (
        found["form"] == "pooled logistic model, form 1"
    )  # models stored at a shop say so: a new form is a new number
    assert found["log_hash"] == "abc"
    assert found["code_version"]


def test_another_log_is_refused():
    with pytest.raises(ModelError, match=r"^The log has changed since the stored model was fitted\.\n") as told:
        from_json(TEXT, "abd")
    assert "Fit the model again" in str(told.value)
    with pytest.raises(ModelError, match="log has changed"):
        from_json(TEXT, "")


@pytest.mark.parametrize("text", ["", "[]", "{}", "3", "null", TEXT[:-40], b"\x80\x04K\x01.".decode("latin-1")])
def test_what_is_no_stored_model_is_refused(text):
    with pytest.raises(ModelError, match="no stored model"):
        from_json(text, "abc")


@pytest.mark.parametrize("part", ["design", "grid", "n", "ledger"])
def test_a_damaged_model_is_refused(part):
    found = json.loads(TEXT)
    del found[part]
    with pytest.raises(ModelError, match="damaged"):
        from_json(json.dumps(found), "abc")


def test_damaged_numbers_and_other_forms_are_refused():
    found = json.loads(TEXT)
    found["grid"][0]["location"] = found["grid"][0]["location"][:-1]
    with pytest.raises(ModelError, match="damaged"):
        from_json(json.dumps(found), "abc")
    found = json.loads(TEXT)
    found["grid"][0]["weight"] = float("nan")
    with pytest.raises(ModelError, match="damaged"):
        from_json(json.dumps(found), "abc")
    with pytest.raises(ModelError, match="form 'another'"):
        from_json(json.dumps(found | {"form": "another"}), "abc")
