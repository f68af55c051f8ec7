"""Files of other loggers: read to the same samples, with a line that says how; what is unclear is asked, what is bad is one error."""

import os
from datetime import UTC, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.files.other_loggers import BEGAN, OTHER_LOGGERS, THROW, clock, comma, expected, table
from tests.files.test_tracefile import sound
from throwbook.core.quantities.text import printable
from throwbook.errors import InputError, Unclear
from throwbook.files.trace_file import read_trace


@pytest.fixture
def write(tmp_path):
    def to_file(content):
        path = tmp_path / "other.csv"
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return path

    return to_file


def options(case):
    return {key.replace("_", "-"): value for key, value in case.options.items()}


@pytest.mark.parametrize("case", OTHER_LOGGERS, ids=lambda case: case.name)
def test_another_loggers_file_gives_the_samples_of_the_throw(write, case):
    trace = read_trace(write(case.content), direction="lock", answers=options(case))
    due = expected(case)
    np.testing.assert_allclose(trace.time_s - trace.time_s[0], due["time_s"], atol=2.0 * case.step_s)
    np.testing.assert_allclose(trace.current_a, due["current_a"], atol=6e-4)
    if case.has_voltage:
        np.testing.assert_allclose(trace.voltage_v, due["voltage_v"], atol=6e-4)
    else:
        assert trace.voltage_v is None
    for words in case.said:
        assert words in trace.read_as
    assert trace.read_as.isprintable()
    if case.began is None:
        assert trace.started is None
    else:
        assert abs(trace.started.replace(tzinfo=UTC) - case.began) < timedelta(milliseconds=1)


def dated(hours, day="2026-03-29"):
    """A clock that is put on or back by so much after 5 s."""
    return table(
        "Date;Time;Current [A]\n",
        lambda row: (
            f"{day};{clock(BEGAN + timedelta(hours=hours if row[0] > 5.0 else 0), row[0])};{row[1]:.3f}"
        ),
    )


SEMICOLONS = "Time [s];Current [A]\n0,1;1,5\n0,2;1,6\n"
CASES = {
    "nothing but line ends": ("\r\r", 1, "the file is empty"),
    "only a header": ("Zeit [s];Strom [A]\n", 1, "no rows under the header"),
    "only a header, UTF-16": ("Zeit [s];Strom [A]\n".encode("utf-16"), 1, "no rows under the header"),
    "bytes that are no text": (bytes(range(1, 256)) * 40, 2, "byte 0x81 is not text"),
    "UTF-16 broken off": (SEMICOLONS.encode("utf-16")[:-1], 1, "except for byte"),
    "a page without a table": ("Dear all,\nit ran well; see below.\n", 1, "no table in the first 2 lines"),
    "one column": ("time\n1\n2\n", 1, "no table"),
    "numbers without names": ("0;1;2\n1;2;3\n", 1, "numbers where the column names should be ('0;1;2')"),
    "no current": ("Zeit [s];Druck [bar]\n0,1;1\n0,2;3\n", 1, "no column for the current"),
    "the voltage of a current sensor": ("Time (s),Current sensor (V)\n0,1\n1,2\n", 1, "no column for the current"),
    "two currents": (
        "Zeit [s];Strom 1 [A];Strom 2 [A]\n0;1;1\n1;1;1\n",
        1,
        "more than one column may be the current: 'Strom 1 [A]', 'Strom 2 [A]'. Say which one: --column current=",
    ),
    "199 currents": (
        ";".join(["Zeit [s]", *(f"I{n} [A]" for n in range(199))]) + "\n" + ";".join(["0,5"] * 200) + "\n",
        1,
        "more than one column may be the current",
    ),
    "a name twice": ("Zeit [s];Strom [A];Strom [A]\n0;1;1\n1;1;1\n", 1, "'Strom [A]' appears 2 times"),
    "points in one column, commas in the other": (
        table("Time;Current (A)\n", lambda row: f"{row[0]:.4f};{comma(row[1], 3)}"),
        2,
        "'-0,004' under 'Current (A)': decimal points and decimal commas are mixed in one table",
    ),
    "a decimal comma among points": (SEMICOLONS.replace(",", ".") + "0,3;1.7\n", 4, "decimal points and decimal commas"),
    "decimal commas between commas": (
        "Zeit [s],Strom [A]\n0,005,0,013\n0,010,0,013\n",
        2,
        "4 numbers under 2 names: decimal commas cannot be told from the commas between columns",
    ),
    "clocks put on": (dated(1), 503, "jumps on by an hour, to 10:12:38.010. If the clocks were put on here, cut"),
    "clocks put back": (dated(-1), 503, "jumps back by an hour"),
    "time going back": (dated(-1 / 6), 503, "time falls: 09:02:38.010 after 09:12:38.000"),
    "seconds going back": (SEMICOLONS + "0,15;1\n", 4, "time falls: 0,15 after 0,2"),
    "a clock without seconds": ("Zeit;Strom\n09:12;1\n09:13;2\n", 2, "'09:12', not a time like the others"),
    "minute 61": ("Zeit;Strom\n09:12:01;1\n09:61:02;2\n", 3, "'09:61:02', not a time like the others"),
    "30 February": ("Zeit;Strom\n2026-02-30 09:12:01;1\n2026-02-30 09:12:02;2\n", 2, "'2026-02-30' is not a date"),
    "a date in one row only": ("Zeit;Strom\n2026-02-03 09:12:01;1\n09:12:02;2\n", 3, "not a time like the others"),
    "a line under the table": (SEMICOLONS + "Ende\n", 4, "1 field where the header has 2"),
    "over range in words": (SEMICOLONS + "0,3;OL\n", 4, "column 'Current [A]' holds 'OL', not a number"),
    "an empty cell": (SEMICOLONS + "0,3;\n", 4, "column 'Current [A]' is empty"),
    "not a finite number": (SEMICOLONS + "0,3;NaN\n", 4, "not a finite number"),
    "absurd": (SEMICOLONS + "0,3;1e30\n", 4, "far outside any possible reading"),
    "open quote": ('Time (s);Current (A)\n0;"1\n1;2\n', 2, "quotes in this row don't close"),
    "terminal commands": (SEMICOLONS + "0,3;\x1b[2J\n", 4, "not a number"),
}  # fmt: skip


@pytest.mark.parametrize("case", CASES)
def test_a_bad_table_is_one_error_that_names_the_line_and_what_to_do(write, case):
    content, line, words = CASES[case]
    path = write(content)
    with pytest.raises(InputError) as caught:
        read_trace(path, direction="lock")
    told = str(caught.value)
    assert told.isprintable()
    assert told.startswith(f"{path}, line {line}: ")
    assert words in told
    assert caught.value.do
    assert not isinstance(caught.value, Unclear)


COMMAS = table("Time (ms)\tCurrent (mA)\n", lambda row: f"{1000 + 1e3 * row[0]:,.0f}\t{1e3 * row[1]:.0f}")
SLASHES = table("Date;Time;Current [A]\n", lambda row: f"03/04/2026;{clock(BEGAN, row[0])};{row[1]:.3f}")
UNCLEAR = {
    "commas of thousands or decimals": (COMMAS, "decimal", ("comma", "point"), lambda trace: trace.time_s[0]),
    "day or month": (SLASHES, "date-order", ("day", "month"), lambda trace: trace.started.month),
}


@pytest.mark.parametrize("case", UNCLEAR)
def test_what_can_be_read_in_two_ways_is_asked_and_read_as_answered(write, case):
    content, field, answers, value = UNCLEAR[case]
    path = write(content)
    with pytest.raises(Unclear) as caught:
        read_trace(path, direction="lock")
    assert caught.value.answers == answers
    assert f"--{field} {answers[0]} or --{field} {answers[1]}" in str(caught.value)
    values = {value(read_trace(path, direction="lock", answers={field: each})) for each in answers}
    assert len(values) == 2


def test_an_answer_that_the_table_shows_to_be_wrong_is_refused(write):
    path = write(SEMICOLONS)
    with pytest.raises(InputError, match="decimal points and decimal commas are mixed in one table"):
        read_trace(path, direction="lock", answers={"decimal": "point"})


@pytest.mark.parametrize("day", ["14/03/2026", "03/14/2026", "04/04/2026", "2026/03/14", "14.03.26"])
def test_a_date_that_tells_its_own_order_is_read(write, day):
    trace = read_trace(write(dated(0, day)), direction="lock")
    due = (4, 4) if day.startswith("04") else (14, 3)
    assert (trace.started.day, trace.started.month, trace.started.year) == (*due, 2026)


def test_columns_are_named_by_a_person_in_another_loggers_file_too(write):
    text = "Zeit [s];Strom 1 [mA];Strom 2 [mA]\n0,1;1;1000\n0,2;1;2000\n"
    trace = read_trace(write(text), direction="lock", columns=["current=Strom 2 [mA]"])
    np.testing.assert_allclose(trace.current_a, [1.0, 2.0])
    told = read_trace(
        write(text), direction="lock", columns=["current=Strom 2 [mA]"], factors={"current": 1.0}
    )
    np.testing.assert_allclose(told.current_a, [1000.0, 2000.0])


def test_our_head_counts_above_another_loggers_table(write):
    head = '# format = "throwbook-trace-1"\n# direction = "unlock"\n# started = 2026-03-14T09:12:33+01:00\n'
    trace = read_trace(write(head + SEMICOLONS))
    assert trace.direction == "unlock"
    assert trace.started.isoformat() == "2026-03-14T09:12:33+01:00"


def test_a_file_of_our_own_is_said_to_be_nobody_elses():
    assert THROW.read_as == ""
    assert "read_as" not in THROW.head


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_a_pipe_under_a_files_name_is_refused_at_once(tmp_path):
    os.mkfifo(tmp_path / "lock-1.csv")
    with pytest.raises(InputError, match="this is a pipe or a device, not a file"):
        read_trace(tmp_path / "lock-1.csv")


@given(
    st.binary(max_size=300), st.integers(0, len(OTHER_LOGGERS) - 1), st.integers(0, 2000), st.integers(0, 8)
)
def test_whatever_is_done_to_the_bytes_it_is_a_sound_trace_or_one_line(
    tmp_path_factory, piece, which, at, gone
):
    content = OTHER_LOGGERS[which].content[:4000]
    path = tmp_path_factory.getbasetemp() / "other.csv"
    path.write_bytes(content[:at] + piece + content[at + gone :])
    try:
        trace = read_trace(path, direction="lock")
    except InputError as error:
        line = str(error)
        told = printable(line) == line and line.startswith(str(path))
    else:
        told = sound(trace)
    assert told


TABLE = "Time (ms);Current (A)\n" + "".join(
    f"{20 * i};{2.1 if 20 < i < 300 else 0.0}\n".replace(".", ",") for i in range(400)
)


@pytest.mark.parametrize(
    ("above", "began", "said"),
    [
        ("Logger;X\nRecorded;12.11.2026 09:14\n", "2026-11-12 09:14:00", "by line 2"),
        ("Date;12.11.2026\nStart time;09:14:05\n", "2026-11-12 09:14:05", "by line 1"),
        ("Recorded: 2026-11-12T09:14:05\n", "2026-11-12 09:14:05", "by line 1"),
        ("Date;13/11/2026\n", "2026-11-13 00:00:00", "no time of day"),
        ("Calibration date;12.11.2026\n", None, "no day found in it"),
        ("Start date;12.11.2026\nStop date;13.11.2026\n", "2026-11-12 00:00:00", "by line 1"),
        ("Date;12.11.2026\nTest date;13.11.2026\n", None, "days above the table differ"),
        ("Data;12.11.2026\n", "2026-11-12 00:00:00", "by line 1"),
        ("Data: 12.11.2026\n", "2026-11-12 00:00:00", "by line 1"),
        ("Data sheet;12.11.2026\n", None, "no day found in it"),
        ("Data logger rev;12.11.2026\n", None, "no day found in it"),
        ("Sheet date;12.11.2026\n", None, "no day found in it"),
        ("Next test;12.11.2026\nLast test;13.11.2025\n", None, "no day found in it"),
        ("", None, "no day found in it"),
    ],
)
def test_the_day_above_a_table_is_the_records(write, above, began, said):
    trace = read_trace(write((above + TABLE).encode()), direction="lock")
    assert said in trace.read_as
    assert began == (trace.started and f"{trace.started:%Y-%m-%d %H:%M:%S}")


def test_a_day_above_a_table_that_can_be_read_in_two_ways_is_asked(write):
    path = write(("Date;03/04/2026\n" + TABLE).encode())
    with pytest.raises(Unclear, match="day or the month"):
        read_trace(path, direction="lock")
