"""The terminal is made tiny while a throw is recorded, and large again."""

import re
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

from tests.faults.good_input import NOW
from tests.faults.terminal import KEYS_TO_ARM, terminal
from tests.ports.bench import board_on_a_cable, throw_source
from tests.report.page_words import need
from throwbook.jobs.find import opened
from throwbook.jobs.rigs import add_rig
from throwbook.protocol.simulated_board import IDENTITY

TOP = Path(__file__).parents[2]
FIGURE = re.compile(r"^ [ \u2588]*\u2588[ \u2588]*$", re.MULTILINE)
"""A line of the large figure: blocks and blanks."""
BOARD = replace(IDENTITY, id="bench-1")
"""What a simulated board records isn't kept."""


def large_figure(screen: str) -> bool:
    return len(FIGURE.findall(screen)) == 5


def test_a_terminal_made_tiny_in_mid_throw_costs_no_sample_and_the_screen_comes_back(tmp_path: Path):
    tmux, book = need("tmux", "tmux"), tmp_path / "log.throwbook"
    add_rig(book, TOP / "tests" / "tui" / "yard-loader.toml", "M. K.", NOW)
    line = [sys.executable, "-m", "throwbook", "--logbook", str(book)]
    env = {"THROWBOOK_BY": "M. K.", "PYTHONPATH": str(TOP), "LC_ALL": "C.UTF-8"}
    env |= {"COLUMNS": "80", "LINES": "24"}  # as a shell may export them
    # The throw has no end of its own: however busy this computer is, it still runs when both changes are through.
    with (
        board_on_a_cable(throw_source(rest_s=1.0, run_s=1e6), identity=BOARD) as (port, _),
        terminal(tmux, tmp_path, line, env | {"THROWBOOK_PORT": port.name}) as shown,
    ):
        for text, keys in KEYS_TO_ARM:
            shown.until(text)
            shown.press(*keys)
        shown.until("running", large_figure)
        shown.resize(10, 5)
        small = shown.until(" 1.6 A")  # the figure in plain letters, where blocks have no room
        shown.resize(80, 24)
        large = shown.until("F8 light/dark", large_figure)
        shown.press("Enter")
        kept = shown.until("Kept on yard-loader-1.")
        shown.press("C-q")
        end = shown.until("ENDED")
    assert len(small.rstrip().split("\n")) <= 5
    assert "full load 3.6 A" in large
    assert "running  travel about" in large
    assert "ENDED 0" in end
    assert "Traceback" not in end
    said = re.search(r"(\d+) samples, (\d+) lost; ended by hand", kept)
    assert said is not None, kept
    with opened(book, read_only=True) as held:
        (logged,) = held.trials(rig="yard-loader")
        trace = held.trace(logged.trial.id)
    assert (len(trace), 0) == (int(said[1]), int(said[2]))
    assert np.diff(trace.time_s).max() < 0.0075  # 200 samples/s without a gap
