"""The JSON line of a judged trial keeps the contract whatever the figures are."""

import json
import math

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from tests.files.made_assessments import BINDING, HEALTHY
from throwbook.files.tables import assessment_record, dumps, tidy

CONTRACT = [
    "file",
    "direction",
    "usable",
    "unusable_because",
    "start_s",
    "end_s",
    "travel_time_s",
    "inrush_a",
    "run_current_a",
    "peak_run_current_a",
    "stall_current_a",
    "mean_voltage_v",
    "source_resistance_ohm",
    "charge_as",
    "energy_j",
    "travel_fraction",
    "end",
    "signs",
    "verdict",
]
SIGN_KEYS = ["sign", "level", "value", "limit", "unit", "at_fraction", "from_s", "because"]


def refuse_constant(name):
    raise AssertionError(f"{name} is not JSON")


def read_back(record):
    return json.loads(dumps(record), parse_constant=refuse_constant)


def test_every_key_of_the_contract_is_there():
    for assessment in (HEALTHY, BINDING):
        record = read_back(assessment_record(assessment))
        assert set(CONTRACT) <= set(record)
        for sign in record["signs"]:
            assert set(SIGN_KEYS) <= set(sign)


def test_the_keys_stand_in_the_order_of_the_contract():
    names = [name for name in assessment_record(HEALTHY) if name in CONTRACT]
    assert names == CONTRACT


def test_a_figure_carries_its_uncertainty_and_a_missing_one_is_null():
    record = read_back(assessment_record(HEALTHY))
    assert record["run_current_a"] == 1.42
    assert record["run_current_a_u"] == 0.03
    assert record["stall_current_a"] is None
    assert record["stall_current_a_u"] is None


def test_what_is_not_a_finite_number_becomes_null():
    record = read_back(assessment_record(BINDING))
    assert record["stall_current_a"] is None
    assert record["stall_current_a_u"] is None


def test_a_line_is_one_line_of_printable_ascii():
    line = dumps(assessment_record(BINDING))
    assert line.isascii()
    assert line.isprintable()


values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(), inner, max_size=3),
    max_leaves=8,
)


@given(st.dictionaries(st.text(), values, max_size=4))
def test_any_record_gives_valid_json(record):
    read_back(record)


@given(st.floats(-1e300, 1e300))
def test_rounding_keeps_ten_digits(value):
    assert math.isclose(tidy(value), value, rel_tol=1e-9)


def test_arrays_and_numpy_numbers_become_plain_ones():
    assert tidy({"x": np.array([1.5, np.nan]), "n": np.int64(3), "y": np.float32(0.5)}) == {
        "x": [1.5, None],
        "n": 3,
        "y": 0.5,
    }
