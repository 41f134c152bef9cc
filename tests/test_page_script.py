"""The page's scripts are written one way: lines short enough to read, and as one formatter has them."""

from pathlib import Path

import jsbeautifier
import pytest

import gougeform

PAGE = Path(gougeform.__file__).parent / "workbench" / "page"
LONGEST = 120


def formatted(text):
    """As `js-beautify -s 2 -w 110 -n -b collapse,preserve-inline` writes it."""
    options = jsbeautifier.default_options()
    options.indent_size, options.wrap_line_length, options.end_with_newline = 2, 110, True
    options.brace_style = "collapse,preserve-inline"
    return jsbeautifier.beautify(text, options)


@pytest.mark.parametrize("path", sorted(PAGE.glob("*.js")), ids=lambda path: path.name)
def test_a_script_is_as_the_formatter_has_it(path):
    text = path.read_text(encoding="utf-8")
    assert max(map(len, text.splitlines())) <= LONGEST
    assert formatted(text) == text
