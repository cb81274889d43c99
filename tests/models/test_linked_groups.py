"""Groups that share columns can be compared; a group that owns a column cannot."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.models.linked_groups import linked_groups

# Rows: group and kind of board.
A_OWNS = [("a", 1), ("a", 1), ("b", 0), ("b", 2), ("c", 0), ("c", 2)]


def sets_of(rows, extra=None):
    group = np.array([g for g, _ in rows], dtype=object)
    kinds = np.array([k for _, k in rows])
    x = (kinds[:, None] == np.arange(1, 3)).astype(float)
    return linked_groups(group, x if extra is None else np.column_stack([x, extra]))


@pytest.mark.parametrize(
    ("rows", "sets"),
    [
        (A_OWNS, (("b", "c"), ("a",))),
        ([*A_OWNS, ("a", 0)], (("a", "b", "c"),)),  # one board in common is a link
        ([*A_OWNS, ("c", 1)], (("a", "b", "c"),)),
        (
            [("a", 1), ("d", 1), ("b", 0), ("c", 0), ("c", 0)],
            (("b", "c"), ("a", "d")),
        ),  # of equal size, more rows first
        ([("a", 0), ("b", 1), ("c", 2)], (("a",), ("b",), ("c",))),
        ([("a", 0), ("a", 1), ("b", 1), ("b", 2), ("c", 2), ("c", 0)], (("a", "b", "c"),)),  # a chain of links
    ],
)
def test_sets_of_groups_that_share_columns(rows, sets):
    assert sets_of(rows) == sets


def test_order_of_rows_units_and_explained_columns_decide_nothing():
    rng = np.random.default_rng(1)
    number = rng.normal(size=len(A_OWNS)) * 1e6
    order = rng.permutation(len(A_OWNS))
    whole = np.column_stack([number, 2 * number, np.zeros(len(A_OWNS))])
    plain = sets_of(A_OWNS * 4, np.tile(number, 4) + rng.normal(size=24))
    assert plain == (("b", "c"), ("a",))
    assert sets_of([A_OWNS[k] for k in order] * 4, np.tile(whole[order], (4, 1))) == sets_of(
        A_OWNS * 4, np.tile(whole, (4, 1))
    )


def test_a_number_links_no_one_who_owns_a_kind_and_one_job_in_many_links():
    rows = [("a", 1)] * 3000 + [("b", 0)] * 3000
    age = np.random.default_rng(2).normal(size=len(rows))
    assert sets_of(rows, age) == (("a",), ("b",))
    assert sets_of([*rows, ("b", 1)], np.append(age, 0.0)) == (("a", "b"),)


def test_the_difference_is_free_exactly_where_groups_are_in_different_sets():
    """Held against the rank of the design: a contrast that adds to the rank of its rows is not estimable."""
    rng = np.random.default_rng(3)
    for _ in range(40):
        rows = [(str(g), int(k)) for g, k in zip(rng.choice(list("abcd"), 9), rng.integers(0, 3, 9), strict=True)]
        names = sorted({g for g, _ in rows})
        member = np.array([[g == name for name in names] for g, _ in rows], float)
        x = np.column_stack([member, [[k == 1, k == 2] for _, k in rows]])
        sets = sets_of(rows)
        for i, one in enumerate(names):
            for j, other in enumerate(names[:i]):
                contrast = np.zeros(x.shape[1])
                contrast[i], contrast[j] = 1, -1
                estimable = np.linalg.matrix_rank(np.vstack([x, contrast])) == np.linalg.matrix_rank(x)
                assert estimable == any(one in each and other in each for each in sets)
