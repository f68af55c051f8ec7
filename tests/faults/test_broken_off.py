"""A few moments of ``python -m tests.faults.broken_off``, which sweeps all of them."""

import sys
from pathlib import Path

import pytest

from tests.faults.broken_off import UNSAID, strike_browser, strike_line, strike_screen

pytestmark = [
    pytest.mark.skipif(
        sys.platform == "win32", reason="its terminals are pseudo-terminals; tests/windows closes a console"
    ),
    pytest.mark.long,
]
TERMINAL_GONE = pytest.param("terminal gone", marks=pytest.mark.long)
"""It is a hang-up: what that breaks test_hangup finds in the command."""


# UNSAID is a hang-up too, and the screen below has it each time.
@pytest.mark.parametrize("how", ["kill -9", TERMINAL_GONE, pytest.param(UNSAID, marks=pytest.mark.long)])
def test_a_recording_of_the_command_whose_session_ends_is_kept_once(how: str, tmp_path: Path):
    struck = strike_line(how, 1.5, tmp_path)
    assert struck.recovered > 0
    assert struck.phase == ("recording" if how == "kill -9" else "kept")


@pytest.mark.parametrize("how", ["told to end", TERMINAL_GONE, UNSAID])
def test_a_recording_of_the_screen_whose_session_ends_is_kept_at_once(how: str, tmp_path: Path):
    struck = strike_screen(how, 1.5, tmp_path)
    assert struck.recovered > 0
    assert struck.phase == "kept"


def test_a_recording_in_a_browser_that_is_closed_is_kept_once(tmp_path: Path):
    struck = strike_browser("browser closed", 1.5, tmp_path)
    assert struck.recovered > 0
