"""The table of mutants fits the source: each place is there exactly once, and broken source still compiles."""

from __future__ import annotations

from collections import Counter

import pytest

from mutants import TREE, Mutant, Stale, read_table


def test_every_mutant_finds_its_place_and_compiles():
    mutants = read_table()
    for mutant in mutants:
        compile(mutant.source(), mutant.file, "exec")
    areas = Counter(mutant.area for mutant in mutants)
    assert set(areas) == {"kinematics", "envelope", "measures", "mesh", "settings", "reach"}
    assert min(areas.values()) >= 6


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
