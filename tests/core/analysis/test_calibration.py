"""The calibration line: published fit first, then what a bench would give."""

import csv
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from throwbook.core.analysis.calibration import (
    CalibrationPoint,
    CalibrationRecord,
    doubts,
    fit_calibration,
)
from throwbook.errors import InputError

NORRIS = Path(__file__).parents[2] / "check-data" / "norris-strd.csv"


def norris(u: float) -> list[CalibrationPoint]:
    rows = [row for row in csv.reader(NORRIS.read_text().splitlines()) if row and not row[0].startswith("#")]
    return [CalibrationPoint(float(y), u, float(x), 0.0) for x, y in rows[1:]]


def test_reg_1_the_published_fit_of_norris_comes_out():
    # NIST StRD, linear regression, "Norris" (lower difficulty): y on x, 36 points.
    line = fit_calibration(norris(u=0.5))
    assert line.points == 36
    assert line.zero_a == pytest.approx(-0.262323073774029, rel=1e-9)
    assert line.gain == pytest.approx(1.00211681802045, rel=1e-9)
    # With equal uncertainties smaller than the scatter the published standard deviations come out too.
    assert line.u_zero_a == pytest.approx(0.232818234301152, rel=1e-9)
    assert line.u_gain == pytest.approx(0.429796848199937e-3, rel=1e-9)
    assert line.scatter * 0.5 == pytest.approx(0.884796396144373, rel=1e-9)


def test_stated_uncertainties_are_never_made_smaller_by_points_that_agree_too_well():
    assert fit_calibration(norris(u=5.0)).u_gain == pytest.approx(
        fit_calibration(norris(u=0.5)).u_gain * 5.0 / 0.884796396144373, rel=1e-9
    )


def test_a_known_zero_and_gain_are_found_within_their_uncertainty():
    rng = np.random.default_rng(3)
    misses = 0
    for _ in range(400):
        true = np.array([0.0, 0.9, 2.0, 3.6])
        u_true = 0.01 + 0.01 * true
        shown = (true - 0.05) / 1.02
        read = true + rng.normal(0, u_true)
        line = fit_calibration(
            [CalibrationPoint(t, u, s, 0.001) for t, u, s in zip(read, u_true, shown, strict=True)]
        )
        at_two = line.corrected(np.array([(2.0 - 0.05) / 1.02]))[0]
        misses += abs(at_two - 2.0) > 2 * line.u_at((2.0 - 0.05) / 1.02)
    assert misses <= 400 * 0.08  # k = 2 covers 95 %


@given(
    st.floats(-0.5, 0.5),
    st.floats(0.9, 1.1),
    st.lists(st.floats(0, 10), min_size=2, max_size=8).filter(lambda values: np.ptp(values) > 1.0),
)
def test_points_on_a_line_give_that_line(zero: float, gain: float, shown: list[float]):
    line = fit_calibration([CalibrationPoint(zero + gain * s, 0.02, s, 0.001) for s in shown])
    assert line.gain == pytest.approx(gain, abs=1e-6)
    np.testing.assert_allclose(line.corrected(np.array(shown)), zero + gain * np.array(shown), atol=1e-6)


def test_the_uncertainty_grows_away_from_the_points():
    line = fit_calibration([CalibrationPoint(t, 0.02, t, 0.001) for t in (1.0, 2.0, 3.0)])
    assert line.u_at(2.0) < line.u_at(3.0) < line.u_at(10.0)


@given(
    st.floats(0.0, 10.0),
    st.lists(st.floats(0.0, 10.0), min_size=2, max_size=6).filter(lambda x: np.ptp(x) > 1.0),
)
def test_the_uncertainty_along_the_line_is_that_of_a_straight_line_fit(at_a, shown):
    """u(x)^2 = s^2 (1/n + (x - mean)^2 / Sxx): the textbook's, for points that are known alike (from memory)."""
    x = np.array(shown)
    line = fit_calibration([CalibrationPoint(value, 0.02, value, 0.0) for value in shown])
    expected = 0.02 * np.sqrt(1.0 / len(x) + (at_a - x.mean()) ** 2 / np.sum((x - x.mean()) ** 2))
    assert line.u_at(at_a) == pytest.approx(expected, rel=1e-6)


def test_a_point_without_any_uncertainty_is_refused():
    sure = CalibrationPoint(2.0, 0.0, 2.0, 0.0)
    with pytest.raises(InputError, match="without any uncertainty"):
        fit_calibration([CalibrationPoint(0.0, 0.01, 0.0, 0.001), sure])


@pytest.mark.parametrize("currents", [[], [2.0], [2.0, 2.0]])
def test_fewer_than_two_different_currents_are_refused(currents: list[float]):
    with pytest.raises(InputError, match="two different currents"):
        fit_calibration([CalibrationPoint(t, 0.02, t, 0.001) for t in currents])


def test_what_is_doubtful_is_said():
    bad = fit_calibration([CalibrationPoint(0, 0.01, 0, 0), CalibrationPoint(4, 0.01, 3, 0)])
    assert any("shunt" in line for line in doubts(bad))
    assert any("third current" in line for line in doubts(bad))
    scattered = fit_calibration(
        [CalibrationPoint(t, 0.001, s, 0.0) for t, s in ((0, 0), (1, 1.05), (2, 1.95), (3, 3))]
    )
    assert any("scatter" in line for line in doubts(scattered))


def test_a_calibration_is_due_after_its_day():
    line = fit_calibration([CalibrationPoint(t, 0.02, t, 0.001) for t in (0.0, 3.0)])
    record = CalibrationRecord("bench-1", line, date(2026, 3, 1), date(2027, 3, 1), "clamp meter")
    assert not record.is_due(date(2027, 3, 1))
    assert record.is_due(date(2027, 3, 2))


@pytest.mark.parametrize("shown", [0.0005, -2.0, 20.0])
def test_readings_that_make_no_line_are_refused(shown: float):
    """The motor wasn't on, the clamp was the wrong way round, the wrong wire."""
    with pytest.raises(InputError, match="do not fit a straight line"):
        fit_calibration([CalibrationPoint(0, 0.01, 0, 0.001), CalibrationPoint(2.0, 0.02, shown, 0.001)])
