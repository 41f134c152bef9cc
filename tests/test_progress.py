"""Progress: silence while it is quick, one plain line for a file, a spinner for a person."""

import io
import time

import pytest

from gougeform.present import progress
from gougeform.present.progress import step


class Terminal(io.StringIO):
    def isatty(self):
        return True


@pytest.fixture(autouse=True)
def impatient(monkeypatch):
    monkeypatch.setattr(progress, "PATIENCE_S", 0.05)


def test_quick_steps_say_nothing():
    out = io.StringIO()
    with step("measuring", out):
        pass
    assert out.getvalue() == ""


def test_a_long_step_says_one_plain_line():
    out = io.StringIO()
    with step("measuring", out):
        time.sleep(0.3)
    assert out.getvalue() == "measuring …\n"


def test_a_person_sees_a_spinner_that_is_gone_afterwards(monkeypatch):
    monkeypatch.setenv("TERM", "xterm-256color")
    out = Terminal()
    with step("measuring", out):
        time.sleep(0.5)
    assert "measuring …" in out.getvalue()
    assert out.getvalue().endswith("\x1b[2K")  # the line is cleared again


def test_the_error_of_a_step_comes_through_and_its_line_ends():
    out = io.StringIO()

    def divide():
        with step("dividing", out):
            time.sleep(0.2)
            return 1 / 0

    with pytest.raises(ZeroDivisionError):
        divide()
    assert out.getvalue() == "dividing …\n"


def test_a_closed_stream_does_not_stop_the_work():
    out = io.StringIO()
    out.close()
    with step("measuring", out):
        time.sleep(0.2)
