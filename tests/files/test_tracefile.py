"""Trace files: what is read, what is refused and with which words, and the way back without loss."""

import subprocess
import sys
from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.files.bad_traces import BAD_CHOICES, BAD_TRACES, GOOD, HEAD
from throwbook.core.trace import Trace
from throwbook.errors import InputError
from throwbook.files.trace_file import (
    KEPT,
    NOT_JUDGED,
    TraceLimits,
    read_trace,
    trace_text,
    unknown_said,
    write_trace,
)


@pytest.fixture
def write(tmp_path):
    def to_file(content):
        path = tmp_path / "trial.csv"
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return path

    return to_file


def test_a_trace_is_read_with_its_head(write):
    trace = read_trace(write(GOOD))
    assert trace.rig == "quarry-loader"
    assert trace.direction == "lock"
    assert trace.started == datetime(2026, 3, 14, 9, 12, 33, tzinfo=timezone(timedelta(hours=1)))
    assert trace.ambient_c == 4.0
    np.testing.assert_array_equal(trace.time_s, [0.0, 0.005, 0.01])
    np.testing.assert_array_equal(trace.current_a, [0.012, 0.013, 2.1])
    np.testing.assert_array_equal(trace.voltage_v, [12.61, 12.6, 12.2])


@pytest.mark.parametrize(
    ("change", "why"),
    [
        (lambda text: "\ufeff" + text, "byte order mark"),
        (lambda text: text.replace("\n", "\r\n"), "CRLF line ends"),
        (lambda text: text.replace("0.0050,0.0130,12.600", '"0.0050","0.0130","12.600"'), "quoted fields"),
        (
            lambda text: text.replace("0.0050,0.0130,12.600", " 0.0050, 1.30e-2,+12.6"),
            "spaces, signs, exponents",
        ),
        (lambda text: text.rstrip("\n"), "no line end at the end"),
        (lambda text: text + "\n\n", "empty lines at the end"),
        (lambda text: text.replace("# rig", "#rig"), "no space after the mark"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_other_ways_of_writing_the_same_table_read_the_same(write, change, why):
    plain, other = read_trace(write(GOOD)), read_trace(write(change(GOOD)))
    for name in ("time_s", "current_a", "voltage_v"):
        np.testing.assert_array_equal(getattr(plain, name), getattr(other, name))


def test_columns_that_are_not_asked_for_may_hold_anything(write):
    table = 'note,current_a,time_s\n"start, cold\nmorning",0.1,0\nrun,2.5,0.1\n'
    trace = read_trace(write(HEAD + table))
    np.testing.assert_array_equal(trace.current_a, [0.1, 2.5])
    assert trace.voltage_v is None


@pytest.mark.parametrize("name", ["I", "I [mA]", "I, bench (raw)"])
def test_other_columns_and_units_are_read_as_told(write, name):
    table = f'"{name}",T,U\n100,0,12600\n2500,10,12100\n'
    spec = name if name.endswith("]") else f"{name} [mA]"
    choices = ["time=T [ms]", f"current={spec}", "voltage=U [mV]"]
    trace = read_trace(write(table), columns=choices, direction="unlock")
    np.testing.assert_allclose(trace.time_s, [0, 0.01], rtol=1e-15)
    np.testing.assert_allclose(trace.current_a, [0.1, 2.5], rtol=1e-15)
    np.testing.assert_allclose(trace.voltage_v, [12.6, 12.1], rtol=1e-15)
    assert trace.direction == "unlock"


def test_a_bare_table_is_read_when_the_direction_is_told(write):
    trace = read_trace(write("time_s,current_a\n0,0.1\n0.1,2.5\n"), direction="unlock")
    assert trace.direction == "unlock"
    np.testing.assert_array_equal(trace.current_a, [0.1, 2.5])


def test_comments_of_another_program_are_passed_over(write):
    text = "# Bench 4, run no. 12\n# all in mA\nT,I\n0,100\n1,200\n"
    trace = read_trace(write(text), columns=["time=T", "current=I [mA]"], direction="lock")
    np.testing.assert_allclose(trace.current_a, [0.1, 0.2], rtol=1e-15)


@pytest.mark.parametrize("case", BAD_TRACES, ids=lambda case: case.name)
def test_a_bad_file_is_refused_with_file_line_and_reason(write, case):
    path = write(case.content)
    with pytest.raises(InputError) as caught:
        read_trace(path, columns=case.columns)
    message = str(caught.value)
    assert "\n" not in message
    assert message.startswith(str(path) if case.line is None else f"{path}, line {case.line}: ")
    assert case.words in message


def test_the_first_of_two_faults_is_named_and_its_line_counted_over_block_borders(write):
    rows = "".join(f"{n / 1000},{n % 7},12.5\n" for n in range(200_000))
    table = "time_s,current_a,voltage_v\n" + rows + "200.0,oops,12\n200.1,nan,12\n"
    with pytest.raises(InputError, match="line 200007: column 'current_a' holds 'oops'"):
        read_trace(write(HEAD + table))


def test_time_that_goes_back_at_a_block_border_is_seen(write):
    rows = "".join(f"{n / 1000},1,12.5\n" for n in range(200_000))
    with pytest.raises(InputError, match=r"line 200007: time falls: 0\.5 s after 199\.999 s"):
        read_trace(write(HEAD + "time_s,current_a,voltage_v\n" + rows + "0.5,1,12\n"))


def test_more_rows_than_allowed_are_refused(write):
    with pytest.raises(InputError, match="more than 2 rows"):
        read_trace(write(GOOD), limits=TraceLimits(rows=2))


def table(stamps) -> str:
    return HEAD + "time_s,current_a\n" + "".join(f"{stamp:.4f},{n % 7}\n" for n, stamp in enumerate(stamps))


@pytest.mark.parametrize("rate_hz", [120.0, 200.0, 333.0, 1200.0])
def test_stamps_of_a_coarse_clock_are_spread_evenly_and_it_is_noted(write, rate_hz: float):
    true_s = np.arange(60_000) / rate_hz  # more than one block of the file
    trace = read_trace(write(table(np.floor(true_s / 0.01 + 1e-9) * 0.01)))
    off_s = trace.time_s - true_s
    assert (np.diff(trace.time_s) > 0).all()
    assert np.abs(off_s - off_s[30_000]).max() <= trace.head["clock_u_s"] + 1e-6
    assert "time stamps repeat the one before: they were spread evenly" in trace.head["clock"]


def test_stamps_in_steps_of_2_3_and_4_milliseconds_are_taken_as_they_are(write):
    stamps = np.cumsum(np.resize([0.002, 0.003, 0.004, 0.003, 0.003], 5000))
    trace = read_trace(write(table(stamps)))
    np.testing.assert_allclose(trace.time_s, stamps, atol=5e-5)
    assert "clock" not in trace.head


def test_a_spread_trace_is_written_and_read_without_being_spread_again(write, tmp_path):
    once = read_trace(write(table(np.floor(np.arange(2000) / 200 / 0.01 + 1e-9) * 0.01)))
    write_trace(once, tmp_path / "again.csv")
    again = read_trace(tmp_path / "again.csv")
    np.testing.assert_array_equal(again.time_s, once.time_s)
    assert (again.head["clock"], again.head["clock_u_s"]) == (once.head["clock"], once.head["clock_u_s"])


def test_one_stamp_that_falls_among_many_that_repeat_is_named(write):
    stamps = np.floor(np.arange(2000) / 200 / 0.01 + 1e-9) * 0.01
    stamps[1200] = stamps[1199] - 0.01
    with pytest.raises(InputError, match=r"line 1207: time falls: 5\.98 s after 5\.99 s"):
        read_trace(write(table(stamps)))


def test_ten_gigabytes_are_refused_without_being_read(tmp_path):
    path = tmp_path / "huge.csv"
    with open(path, "wb") as file:
        file.write(GOOD.encode())
        file.truncate(10 * 2**30)
    with pytest.raises(InputError, match=r"10,240 MiB is more than a trace may hold \(256 MiB\)"):
        read_trace(path)


def test_an_endless_device_is_refused():
    with pytest.raises(InputError, match="a pipe or a device, not a file"):
        read_trace("/dev/zero")


def test_a_folder_and_a_missing_file_are_refused(tmp_path):
    with pytest.raises(InputError, match="this is a folder"):
        read_trace(tmp_path)
    with pytest.raises(InputError, match="there is no such file"):
        read_trace(tmp_path / "none.csv")


@pytest.mark.long  # memory that grows with the rows, only in test-all
def test_a_million_rows_take_little_more_memory_than_their_numbers(tmp_path):
    path = tmp_path / "long.csv"
    with open(path, "w") as file:
        file.write(HEAD + "time_s,current_a,voltage_v\n")
        for begin in range(0, 1_000_000, 50_000):
            file.writelines(
                f"{n / 10_000:.4f},{n % 97 / 31:.4f},12.{n % 100:02}\n" for n in range(begin, begin + 50_000)
            )
    program = """
import sys
from tests.memory import peak_kib
import numpy
from throwbook.files.trace_file import read_trace
before = peak_kib()
trace = read_trace(sys.argv[1])
print(len(trace), peak_kib() - before)
"""
    done = subprocess.run([sys.executable, "-c", program, path], capture_output=True, text=True, check=True)
    rows, extra_kib = map(int, done.stdout.split())
    assert rows == 1_000_000
    # 24 MB are the numbers themselves; the text alone is 22 MB, as Python objects over 200 MB.
    assert extra_kib < 80 * 1024


SWITCHED = "time_s,current_a,left_switch,right_switch,temperature_c\n0,0.1,0,1,18.25\n0.1,2.5,1,1,\n0.2,2.4,1,0,18.5\n"


def test_pin_switches_and_the_temperature_are_read(write):
    trace = read_trace(write(HEAD + SWITCHED))
    assert trace.left_switch.tolist() == [False, True, True]
    assert trace.right_switch.tolist() == [True, True, False]
    np.testing.assert_array_equal(trace.temperature_c, [18.25, np.nan, 18.5])
    assert not trace.unknown_columns


def test_a_switch_that_is_written_more_seldom_than_the_current_stands_until_it_is_written_again(write):
    """A logger of two rates: every third row has the switch. Once nothing comes for longer than that it counts as open."""
    cells = ["1", "", "", "0", "", "", "1", "", "", ""]
    rows = "".join(f"{0.1 * k:.1f},2.0,{cell}\n" for k, cell in enumerate(cells))
    trace = read_trace(write(HEAD + "time_s,current_a,left_switch\n" + rows))
    assert trace.left_switch.tolist() == [True] * 3 + [False] * 3 + [True] * 3 + [False]


@pytest.mark.parametrize(
    ("rows", "left", "temperature"),
    [("0,0.1,,\n0.1,2.5,,\n", None, None), ("0,0.1,1,\n0.1,2.5,,18\n", [True, False], [np.nan, 18.0])],
)
def test_a_column_without_readings_is_none_and_a_row_without_one_counts_as_open(
    write, rows, left, temperature
):
    trace = read_trace(write(HEAD + "time_s,current_a,left_switch,temperature_c\n" + rows))
    assert (trace.left_switch is None) if left is None else (trace.left_switch.tolist() == left)
    assert trace.right_switch is None
    if temperature is None:
        assert trace.temperature_c is None
    else:
        np.testing.assert_array_equal(trace.temperature_c, temperature)


@pytest.mark.parametrize("old", ["2.5,1,1", "2.5,1,1,\n0.2,2.4,1,0,18.5"])
@pytest.mark.parametrize("bad", ["2", "-1", "0.5", "yes", "nan"])
def test_what_is_neither_open_nor_closed_is_refused_with_its_line(write, old, bad):
    text = HEAD + SWITCHED.replace("2.5,1,1", f"2.5,1,{bad}")
    with pytest.raises(InputError) as raised:
        read_trace(write(text if "\n" in old else text.replace("1,\n", "1,18\n")))
    assert "line 8" in str(raised.value)
    assert f"column 'right_switch' holds '{bad}'" in str(raised.value)


@pytest.mark.parametrize("bad", ["-300", "1e4", "warm"])
def test_a_temperature_that_cannot_be_is_refused_with_its_line(write, bad):
    with pytest.raises(InputError, match="line 9") as raised:
        read_trace(write(HEAD + SWITCHED.replace("18.5", bad)))
    assert f"column 'temperature_c' holds '{bad}'" in str(raised.value)


def test_a_file_that_went_through_a_spreadsheet_keeps_its_switches(write):
    rows = [(n / 10, 2.1, n > 3, n > 5, 18.25 if n != 2 else None) for n in range(9)]
    lines = [
        ";".join(
            str("" if cell is None else float(cell) if n in (0, 1, 4) else int(cell))
            for n, cell in enumerate(row)
        )
        for row in rows
    ]
    table = (
        "time_s;current_a;left_switch;right_switch;temperature_c\n"
        + "\n".join(lines).replace(".", ",")
        + "\n"
    )
    trace = read_trace(write(table), direction="lock")
    assert "semicolons" in trace.read_as
    assert "not read" not in trace.read_as
    assert trace.left_switch.tolist() == [row[2] for row in rows]
    assert trace.right_switch.tolist() == [row[3] for row in rows]
    np.testing.assert_array_equal(trace.temperature_c, [np.nan if n == 2 else 18.25 for n in range(9)])


@pytest.mark.parametrize(
    ("cells", "left", "said"),
    [
        (["closed"] * 6, None, "'left_switch': 6 cells not read, the first 'closed' in line 2"),
        (
            ["0", "0", "7", "1", "1", "0"],
            [False] * 3 + [True] * 2 + [False],
            "'left_switch': 1 cell not read, the first '7' in line 4",
        ),
        (
            ["0", "1", "", "open", "open", "open"],
            [False, True] + [False] * 4,
            "'left_switch': 3 cells not read, the first 'open' in line 5",
        ),
    ],
)
def test_a_cell_of_a_switch_that_cannot_be_read_costs_another_loggers_file_that_reading_alone(
    write, cells, left, said
):
    rows = "".join(f"{n / 10};2,1;{cell};18,5\n".replace(".", ",") for n, cell in enumerate(cells))
    trace = read_trace(write("time_s;current_a;left_switch;temperature_c\n" + rows), direction="lock")
    assert (trace.left_switch is None) if left is None else (trace.left_switch.tolist() == left)
    assert trace.temperature_c.tolist() == [18.5] * 6
    assert said in trace.read_as


def test_columns_that_nobody_knows_are_kept_and_told_of(write, tmp_path):
    table = 'time_s,"oil, bar",current_a,note,n\n0,1.5,0.1,cold,7\n0.1,,2.5,-,8\n'
    trace = read_trace(write(HEAD + table))
    assert list(trace.unknown_columns) == ["oil, bar", "n"]  # notes are no numbers
    assert unknown_said(trace, KEPT) == "columns that this program does not know are kept: 'oil, bar', 'n'"
    assert unknown_said(trace, NOT_JUDGED).endswith("are not judged: 'oil, bar', 'n'")
    write_trace(trace, tmp_path / "again.csv")
    again = read_trace(tmp_path / "again.csv")
    np.testing.assert_array_equal(again.unknown_columns["oil, bar"], [1.5, np.nan])
    np.testing.assert_array_equal(again.unknown_columns["n"], [7, 8])


def test_a_plain_block_and_one_read_row_by_row_give_the_same(write):
    plain = "".join(f"{n / 100},{n % 7},{n % 2},{n % 3 % 2},{18 + n / 100}\n" for n in range(3000))
    names = "time_s,current_a,left_switch,right_switch,temperature_c\n"
    fast, slow = (read_trace(write(HEAD + names + rows)) for rows in (plain, plain.replace(",0,", ", 0,")))
    for name, column in fast.columns().items():
        np.testing.assert_array_equal(column, slow.columns()[name])


finite = st.floats(allow_nan=False, allow_infinity=False, min_value=-1e5, max_value=1e5)
toml_values = st.recursive(
    st.booleans() | st.integers(-(2**60), 2**60) | st.floats(allow_nan=False) | st.text(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(), inner, max_size=3),
    max_leaves=6,
)
other_keys = st.dictionaries(st.text(min_size=1).map(lambda key: f"x-{key}"), toml_values, max_size=4)
offsets = st.integers(-14 * 60, 14 * 60).map(lambda minutes: timezone(timedelta(minutes=minutes)))


@st.composite
def traces(draw):
    n = draw(st.integers(1, 12))
    times = sorted(draw(st.sets(finite, min_size=n, max_size=n)))
    rows = st.lists(finite, min_size=n, max_size=n).map(np.array)
    return Trace(
        time_s=np.array(times),
        current_a=draw(rows),
        voltage_v=draw(st.none() | rows),
        direction=draw(st.sampled_from(["lock", "unlock"])),
        rig=draw(st.text()),
        started=draw(st.none() | st.datetimes(timezones=offsets | st.just(UTC))),
        ambient_c=draw(st.none() | st.floats(-60, 80)),
        head=draw(other_keys),
        left_switch=draw(st.none() | st.lists(st.booleans(), min_size=n, max_size=n).map(np.array)),
        right_switch=draw(st.none() | st.lists(st.booleans(), min_size=n, max_size=n).map(np.array)),
        temperature_c=draw(st.none() | degrees(n)),
        unknown_columns=draw(
            st.dictionaries(st.text("xyz,\"' ", min_size=1).map("x{}x".format), rows, max_size=2)
        ),
    )


def degrees(n):
    """Temperatures, some of them missing, but not all."""
    values = st.lists(st.just(np.nan) | st.floats(-60, 80), min_size=n, max_size=n).map(np.array)
    return values.filter(lambda column: not np.isnan(column).all())


@given(traces())
def test_what_is_written_reads_back_the_same_to_the_last_bit(tmp_path_factory, trace):
    path = tmp_path_factory.getbasetemp() / "round.csv"
    write_trace(trace, path)
    again = read_trace(path)
    first, second = trace.columns(), again.columns()
    assert list(first) == list(second)
    for name, column in first.items():
        assert column.tobytes() == second[name].tobytes()
    for name in ("direction", "rig", "started", "ambient_c"):
        assert getattr(trace, name) == getattr(again, name)
    assert {key: again.head[key] for key in trace.head} == dict(trace.head)
    assert "".join(trace_text(again)) == "".join(trace_text(trace))


@pytest.mark.parametrize(("choice", "words"), BAD_CHOICES)
def test_a_column_choice_that_says_nothing_is_refused(write, choice, words):
    with pytest.raises(InputError, match=words):
        read_trace(write(GOOD), columns=[choice])


@st.composite
def damaged(draw):
    """A good file with a few bytes replaced, put in or taken out."""
    content = bytearray(GOOD.encode())
    for _ in range(draw(st.integers(1, 4))):
        at = draw(st.integers(0, len(content) - 1))
        piece = draw(
            st.binary(max_size=3) | st.sampled_from([b",", b"\n", b'"', b"#", b"\r", b"-", b"nan", b"="])
        )
        content[at : at + draw(st.integers(0, 3))] = piece
    return bytes(content)


def sound(trace):
    """What every reader of a trace may rely on."""
    finite_all = all(np.isfinite(column).all() for column in (trace.time_s, trace.current_a))
    return finite_all and (np.diff(trace.time_s) > 0).all() and trace.direction in ("lock", "unlock")


@given(damaged() | st.binary(max_size=200))
def test_whatever_the_bytes_are_the_reader_gives_a_sound_trace_or_one_line(tmp_path_factory, content):
    path = tmp_path_factory.getbasetemp() / "damaged.csv"
    path.write_bytes(content)
    try:
        trace = read_trace(path)
    except InputError as error:
        line = str(error)
        told = line.isprintable() and line.startswith(str(path))
    else:
        told = sound(trace)
    assert told
