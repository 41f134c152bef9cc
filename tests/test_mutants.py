"""The table of mutants names tests that exist, and a place that has moved is said by `tests/mutants.py`, not guessed.

Whether each place is still there is not asked here: an honest renaming must break no test.
"""

from __future__ import annotations

import pytest

from mutants import TREE, Mutant, Stale, read_table


def test_every_mutant_names_tests_that_are_there():
    for mutant in read_table():
        assert mutant.tests
        for file in (*mutant.tests, *mutant.wide):
            assert (TREE / "tests" / file.partition("::")[0]).exists(), f"{mutant.name}: {file}"


@pytest.mark.parametrize(
    ("old", "words"), [("no such text", "0 times"), ("import", "times"), ("SURFACES = (", "nothing")]
)
def test_a_stale_place_is_said(old, words):
    new = old if words == "nothing" else "something else"
    with pytest.raises(Stale, match=words):
        Mutant("mesh: stale", "machine/solid.py", old, new, "", (), ()).source()
