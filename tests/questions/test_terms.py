"""What a term of a model is called on a page is what the dictionary calls its column."""

from __future__ import annotations

import pytest

from analysis.models.terms import Category
from analysis.questions import terms
from analysis.questions.factors import FACTORS
from analysis.records.dictionary import TABLES

TITLES = {column.name: column.title for table in TABLES for column in table.columns}
USED = {term.column: term for term in (*terms.DESCRIPTION, *terms.HOURS, *terms.ATTEMPTS)}
DECLARED = [term for column, term in USED.items() if column in TITLES]
# A number is told by the step of it, and a yes or no by the thing: their own words.
OWN = {
    "reball_tries_n": "each further reball try",
    "prior_installs_n": "each earlier install on the donor",
    "blade_used": "blade",
}


@pytest.mark.parametrize("term", DECLARED, ids=lambda term: term.column)
def test_a_term_is_called_as_its_column_is(term):
    title = TITLES[term.column]
    said = title if isinstance(term, Category) else f"each year of {title}"
    assert term.label == OWN.get(term.column, said)


COMPARED = [each for each in USED.values() if isinstance(each, Category) and each.reference and each.level_labels]


@pytest.mark.parametrize("term", COMPARED, ids=lambda term: term.column)
def test_what_a_category_is_compared_with_is_one_of_its_levels(term):
    assert term.reference in term.level_labels


BOTH = [factor for factor in FACTORS if factor.column in USED]


@pytest.mark.parametrize("factor", BOTH, ids=lambda factor: factor.column)
def test_what_changed_and_the_model_call_a_column_the_same(factor):
    assert factor.name == USED[factor.column].label


@pytest.mark.parametrize("model", ["EXPECTED", "DESCRIPTION", "HOURS", "ATTEMPTS"])
def test_no_term_stands_twice_in_a_model(model):
    wanted = getattr(terms, model)
    assert len(set(wanted)) == len(wanted)
