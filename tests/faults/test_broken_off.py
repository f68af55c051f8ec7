"""A few moments of ``python -m tests.faults.broken_off``, which sweeps all of them."""

from pathlib import Path

import pytest

from tests.faults.broken_off import UNSAID, strike_browser, strike_line, strike_screen


@pytest.mark.parametrize("how", ["kill -9", "terminal gone", UNSAID])  # the others: test_hangup
def test_a_recording_of_the_command_whose_session_ends_is_kept_once(how: str, tmp_path: Path):
    struck = strike_line(how, 1.5, tmp_path)
    assert struck.recovered > 0
    assert struck.phase == ("recording" if how == "kill -9" else "kept")


@pytest.mark.parametrize("how", ["told to end", "terminal gone", UNSAID])
def test_a_recording_of_the_screen_whose_session_ends_is_kept_at_once(how: str, tmp_path: Path):
    struck = strike_screen(how, 1.5, tmp_path)
    assert struck.recovered > 0
    assert struck.phase == "kept"


def test_a_recording_in_a_browser_that_is_closed_is_kept_once(tmp_path: Path):
    struck = strike_browser("browser closed", 1.5, tmp_path)
    assert struck.recovered > 0
