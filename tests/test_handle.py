"""Handles in recipes: defaults, tables, library names, and what is refused."""

import pytest

from conftest import tool_table
from gougeform.bar.handle import Handle
from gougeform.errors import InputError
from gougeform.recipe.change import changed
from gougeform.recipe.reading import from_table
from gougeform.recipe.write import to_toml


def test_defaults_table_and_name():
    plain = from_table(tool_table("foot"))
    assert plain.handle == Handle()
    assert "handle" not in to_toml(plain)
    own = from_table(tool_table("foot") | {"handle": {"handle_diameter_mm": 34, "hand_mm": 180}})
    assert (own.handle.handle_diameter_mm, own.handle.hand_mm, own.handle.ferrule_length_mm) == (34, 180, 25)
    named = from_table(tool_table("foot") | {"handle": "long-430"})
    assert named.handle.handle_length_mm == 400
    longer = changed(named, {"handle.handle_length_mm": 450})
    assert longer.handle.handle_length_mm == 450
    import tomllib

    assert from_table(tomllib.loads(to_toml(longer))) == longer


@pytest.mark.parametrize(
    ("handle", "field", "words"),
    [
        ({"hand_mm": 400}, "handle.hand_mm", "at most the length of ferrule and handle, 300 mm"),
        ({"tang_mm": 301}, "handle.tang_mm", "given 301"),
        ({"ferrule_diameter_mm": 0}, "handle.ferrule_diameter_mm", "given 0"),
        ({"lenght": 3}, "handle.lenght", "is not a field of a handle"),
        ("gone", "handle", "not in the library's handles"),
        (3, "handle", "given 3"),
    ],
)
def test_refused(handle, field, words):
    with pytest.raises(InputError) as caught:
        from_table(tool_table("foot") | {"handle": handle})
    assert caught.value.field == field
    assert words in str(caught.value)
