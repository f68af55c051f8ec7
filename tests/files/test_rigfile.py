"""Rig files: read with every fault named, written so that they read back."""

import tomllib

import pytest
import tomli_w
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.drawn import drawn
from throwbook.core.machine.electrical import conductor
from throwbook.core.machine.rig_validation import problems
from throwbook.core.rig import (
    Actuator,
    Board,
    LimitOverride,
    LockMechanism,
    Rig,
    Wiring,
)
from throwbook.errors import InputError
from throwbook.files.rig_file import EXAMPLE, parse_rig, read_rig, read_rig_file, rig_toml

TEXT = """
name = "quarry-loader"
units = "us"
[lock]
needed_travel = "188 mm"
needed_force = "160 lbf"
[actuator]
voltage = "12 V"
stroke = "7 7/8 in"
rated_force = "1500 N"
no_load_speed = "16 mm/s"
full_load_speed = "11 mm/s"
no_load_current = "0.9 A"
full_load_current = "3.6 A"
duty_cycle = 0.25
protection = "IP66"
extend_locks = true
[wiring]
conductor = "14 AWG"
length_one_way = "6 m"
fuse = "10 A"
[board]
placed_in = "motor"
id = "A1B2"
[limits]
run_current = { value = "2.8 A", reason = "maker's letter" }
supply_under_load = { value = "85 %", reason = "long cable, known" }
"""


def test_the_contract_example_is_read(tmp_path):
    path = tmp_path / "quarry loader é.toml"
    path.write_text(TEXT, encoding="utf-8")
    rig = read_rig(path)
    assert rig.name == "quarry-loader"
    assert rig.units == "us"
    assert rig.actuator.stroke_m == pytest.approx(7.875 * 0.0254)
    assert rig.actuator.duty_cycle == 0.25
    assert rig.lock.needed_force_n == pytest.approx(160 * 4.4482216152605)
    assert rig.wiring.area_m2 == pytest.approx(2.081e-6, rel=1e-3)
    assert rig.board == Board("motor", "A1B2")
    assert rig.limits["run_current"] == LimitOverride(2.8, "maker's letter")
    assert rig.limits["supply_under_load"].value == pytest.approx(0.85 * 12.0)
    assert read_rig_file(path).warnings == ()


def test_the_travel_may_be_given_by_two_spacings():
    spaced = TEXT.replace(
        'needed_travel = "188 mm"', 'spacing_locked = "600 mm"\nspacing_unlocked = "412 mm"'
    )
    assert parse_rig(spaced, "f").rig.lock.needed_travel_m == pytest.approx(0.188)


@pytest.mark.parametrize(
    ("old", "new", "where", "said"),
    [
        ('"12 V"', "12", "f: actuator.voltage", "'12' is a bare number. Write it with its unit"),
        ('"12 V"', "24", "f: actuator.voltage", 'in quotes: voltage = "24 V"'),
        ('"12 V"', '"12"', "f: actuator.voltage", "has no unit"),
        ('"12 V"', '"12 A"', "f: actuator.voltage", "is a current, not a voltage"),
        ('"188 mm"', '"1,885 mm"', "f: lock.needed_travel", "Write 1.885 mm or 1885 mm"),
        ('stroke = "7 7/8 in"', "", "f: actuator.stroke", "is missing"),
        ('needed_travel = "188 mm"', "", "f: lock.needed_travel", "spacing_locked and spacing_unlocked"),
        ("[lock]", "[clock]", "f", "the section [lock] is missing"),
        ('"14 AWG"', '"thick"', "f: wiring.conductor", "not a number"),
        ('"motor"', '"cab"', "f: board.placed_in", "is no place"),
        ('"us"', '"imperial"', "f: units", "no unit system"),
        ('name = "quarry-loader"', "", "f: name", "missing"),
        ("extend_locks = true", 'extend_locks = "yes"', "f: actuator.extend_locks", "neither true nor false"),
        ("run_current =", "run_curent =", "f: [limits] run_curent", "Limits are run_current"),
        (', reason = "maker\'s letter"', "", "f: [limits] run_current", "needs a value and a reason"),
        ('"2.8 A"', "2.8", "f: [limits] run_current.value", "bare number"),
        ("[lock]", "[lock", "f", "is not TOML"),
        ('id = "A1B2"', 'id = "A\\u001b2"', "f: board.id", "unprintable"),
    ],
)
def test_a_fault_names_file_key_and_what_to_do(old, new, where, said):
    assert old in TEXT
    with pytest.raises(InputError) as refused:
        parse_rig(TEXT.replace(old, new, 1), "f")
    assert refused.value.where == where
    assert said in str(refused.value)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"\xff\xfe\x00", "no text file"),
        (b"", "missing"),
        (b"x" * 2_000_000, "too much"),
        (b"[" * 5000, "TOML"),
    ],
    ids=["no text", "empty", "long", "deep"],
)
def test_a_file_that_is_no_rig_is_refused(tmp_path, content, said):
    path = tmp_path / "rig.toml"
    path.write_bytes(content)
    with pytest.raises(InputError, match=said):
        read_rig(path)


def test_a_missing_file_and_a_folder_are_refused(tmp_path):
    with pytest.raises(InputError, match="no such file"):
        read_rig(tmp_path / "none.toml")
    with pytest.raises(InputError, match="is a folder"):
        read_rig(tmp_path)


def test_contradictions_are_refused_for_work_and_read_for_judging(tmp_path):
    path = tmp_path / "rig.toml"
    path.write_text(TEXT.replace("7 7/8 in", "150 mm").replace('"3.6 A"', '"0.6 A"'), encoding="utf-8")
    with pytest.raises(InputError, match=r"1 more"):
        read_rig(path)
    assert read_rig_file(path).rig.actuator.stroke_m == 0.150


def test_keys_that_are_not_known_are_warned_about_and_kept():
    text = TEXT.replace("[wiring]", 'colour = "grey"\nduty_cyle = 0.1\n[wiring]').replace(
        "duty_cycle = 0.25", ""
    )
    read = parse_rig(text, "f")
    assert read.warnings == (
        "f: [actuator]: the key 'colour' isn't known; it is kept and not used",
        "f: [actuator]: the key 'duty_cyle' isn't known; is duty_cycle meant?",
    )
    assert read.text == text


number = st.floats(0.01, 100.0)


@given(
    st.builds(
        Rig,
        name=st.sampled_from(["yard-loader", 'quarry "old" loader', "Förderer"]),
        actuator=st.builds(
            Actuator,
            number,
            number,
            number,
            number,
            number,
            number,
            st.none() | number,
            st.none() | st.floats(0.01, 1.0),
            st.none() | number,
            st.none() | st.just("IP66"),
            st.booleans(),
        ),
        lock=st.builds(
            LockMechanism,
            number,
            st.none() | number,
            st.none() | number,
            st.none() | number,
            st.none() | st.just("a spring"),
            st.none() | number,
            st.none() | st.floats(-60, 40),
        ),
        units=st.sampled_from(["metric", "us"]),
        wiring=st.none() | st.just(Wiring("2.5 mm2", conductor("2.5 mm2"), 6.0, 10.0, "blade")),
        board=st.sampled_from([Board(), Board("motor", "A1")]),
        limits=st.dictionaries(
            st.sampled_from(["run_current", "spread_run_current", "supply_under_load"]),
            st.builds(LimitOverride, number, st.just("because")),
        ),
    )
)
def test_a_rig_written_reads_back(rig):
    again = parse_rig(rig_toml(rig), "f").rig
    assert again.name == rig.name
    assert again.actuator.no_load_speed_m_s == pytest.approx(rig.actuator.no_load_speed_m_s, rel=1e-9)
    if rig.lock.coldest_c is None:
        assert again.lock.coldest_c is None
    else:
        assert again.lock.coldest_c == pytest.approx(rig.lock.coldest_c, rel=1e-9, abs=1e-9)
    assert again.actuator.stroke_m == pytest.approx(rig.actuator.stroke_m, rel=1e-9)
    assert (again.wiring, again.board, again.units) == (rig.wiring, rig.board, rig.units)
    assert set(again.limits) == set(rig.limits)
    assert rig_toml(again) == rig_toml(rig)


any_toml = st.recursive(
    st.one_of(
        st.booleans(),
        st.integers(),
        st.floats(),
        st.just(10**400),
        st.datetimes(),
        st.text(max_size=8),
        st.sampled_from(["12 V", "200 mm", "IP66", "14 AWG", "25 %", "supply", "us"]),
    ),
    lambda inner: (
        st.lists(inner, max_size=2)
        | st.dictionaries(st.sampled_from(["value", "reason", "x"]), inner, max_size=2)
    ),
    max_leaves=4,
)


@settings(max_examples=drawn(300, 60), deadline=None)
@given(st.data())
def test_any_value_in_any_place_is_read_or_refused_in_one_line(data):
    document = tomllib.loads(TEXT)
    section = data.draw(st.sampled_from(["lock", "actuator", "wiring", "board", "limits", "top"]))
    table = document if section == "top" else document[section]
    table[data.draw(st.sampled_from(sorted(table)))] = data.draw(any_toml)
    text = tomli_w.dumps(document)
    try:
        rig = parse_rig(text, "f").rig
    except InputError as refused:
        line = str(refused)
        assert line.startswith("f")
        assert "\n" not in line
    else:
        assert isinstance(problems(rig), tuple)


def test_a_duty_cycle_written_as_a_number_of_percent_is_answered_with_what_is_meant():
    with pytest.raises(InputError, match=r'Write duty_cycle = "25 %"'):
        parse_rig(EXAMPLE.replace("duty_cycle = 0.25", "duty_cycle = 25"), "f")


def test_a_retired_rig_reads_back_as_retired():
    rig = parse_rig(f'retired = "sold"\n{EXAMPLE}', "f").rig
    assert (rig.retired, parse_rig(rig_toml(rig), "g").rig.retired) == ("sold", "sold")
