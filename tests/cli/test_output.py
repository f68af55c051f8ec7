"""What reaches the screen: plain in a pipe, within its width on a terminal, never a command to it."""

import os
import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.keyboard import at_a_terminal, plain
from throwbook.core.quantities.text import printable

PROGRAM = """
from throwbook.cli import output
from throwbook.cli.output import Cell
output.line("Trial \\x1b[2J\\u202elock", style="heading")
output.table(["file", "verdict", "time"],
             [["a[red]b.csv", Cell("fail", "bad"), "14.3 s"], ["longer-name.csv", Cell("pass", "good"), "4.3 s"]],
             right=[2])
output.line("word " * 30, indent=4)
"""


def in_a_pipe(program, **env):
    return (
        subprocess.run(
            [sys.executable, "-c", program],
            capture_output=True,
            check=True,
            env={**os.environ, "PYTHONIOENCODING": "utf-8", **env},
        )
        .stdout.decode()
        .replace(os.linesep, "\n")
    )


def on_a_terminal(program, columns, **env):
    """What ``program`` writes to a terminal of that width."""
    return at_a_terminal([sys.executable, "-c", program], env=env, columns=columns)[1]


def test_a_pipe_gets_plain_aligned_rows_without_wrapping():
    lines = in_a_pipe(PROGRAM).splitlines()
    assert lines[0] == "Trial \ufffd[2J\ufffdlock"
    assert lines[1].split() == ["file", "verdict", "time"]
    assert lines[2].split() == ["a[red]b.csv", "fail", "14.3", "s"]
    assert lines[2].index("fail") == lines[3].index("pass")
    assert len(lines[2]) == len(lines[3])
    assert lines[4].startswith("    word word")
    assert len(lines) == 5
    assert all(line == line.rstrip() for line in lines[1:4])


def test_a_terminal_gets_lines_within_its_width():
    written = on_a_terminal(PROGRAM, 40)
    lines = plain(written).splitlines()
    assert max(map(len, lines)) <= 40
    assert len([line for line in lines if line.startswith("    word")]) > 3


@pytest.mark.skipif(
    sys.platform == "win32", reason="a console of Windows may colour without any command to it"
)
def test_no_color_is_honoured():
    coloured = on_a_terminal(PROGRAM, 60)
    plain = on_a_terminal(PROGRAM, 60, NO_COLOR="1")
    assert "\x1b[1;31m" in coloured
    assert "31m" not in plain
    assert "32m" not in plain


def test_a_narrow_encoding_does_not_stop_the_program():
    program = "from throwbook.cli import output\noutput.line('5 ± 1 µs')"
    assert in_a_pipe(program, PYTHONIOENCODING="ascii") == "5 ? 1 ?s\n"


@given(st.text())
def test_printable_text_holds_no_control_and_keeps_its_length(text):
    shown = printable(text)
    assert len(shown) == len(text)
    assert not any(ord(letter) < 32 or 127 <= ord(letter) < 160 for letter in shown)


@pytest.mark.parametrize("where", ["a\x1b]0;x\x07b.csv", "two\nlines.csv"])
def test_an_error_is_one_printable_line(where):
    program = (
        "from throwbook.cli.diagnostics import complain\nfrom throwbook.errors import InputError\n"
        f"complain(str(InputError('wrong', {where!r}, 'Mend it')))"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, check=True)
    line = done.stderr.decode()
    assert line.count("\n") == 1
    assert "\x1b" not in line
