"""The rise test and the forecast against plain least squares, and as properties."""

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.drawn import drawn
from throwbook.core.trend import forecast
from throwbook.core.trend.change_test import (
    ShapeEvidence,
    StageSeries,
    best_of,
    evidence,
    learn,
    rises_at_every_check,
    with_shape,
)

DATA = Path(__file__).parents[2] / "check-data"


ONE = 2
"""Which of ``GRID`` is 1."""


def flat(x: np.ndarray, y: np.ndarray) -> StageSeries:
    """Nothing assumed: ordinary least squares on the columns of ``x``."""
    k, p = x.shape
    return StageSeries(np.arange(k) / 4, y, np.zeros(k), x, np.zeros(p), np.full(p, 1e9), (1.0, 0.5))


def table(name: str) -> tuple[np.ndarray, np.ndarray]:
    with open(DATA / name, newline="") as file:
        rows = [tuple(map(float, row)) for row in list(csv.reader(file))[1:]]
    x, y = zip(*rows, strict=True)
    return np.array(x), np.array(y)


def residual_sd(y: np.ndarray, fitted: np.ndarray, parameters: int) -> float:
    return float(np.sqrt(np.sum((y - fitted) ** 2) / (len(y) - parameters)))


def test_reg_1_norris_straight_line():
    # NIST StRD linear, lower difficulty; x scaled, relative tolerance 1e-9
    x, y = table("norris-strd.csv")
    columns = np.stack([np.ones_like(x), x / 1000], axis=1)
    fitted = learn(flat(columns, y), at=ONE)
    assert fitted.mean[0] == pytest.approx(-0.262323073774029, rel=1e-9)
    assert fitted.mean[1] / 1000 == pytest.approx(1.00211681802045, rel=1e-9)
    s = residual_sd(y, columns @ fitted.mean, 2)
    assert s == pytest.approx(0.884796396144373, rel=1e-9)
    # the certified standard deviations: last digits from memory
    assert s * np.sqrt(fitted.covariance[0, 0]) == pytest.approx(0.232818234301152, rel=1e-9)
    assert s * np.sqrt(fitted.covariance[1, 1]) / 1000 == pytest.approx(0.429796848199937e-3, rel=1e-9)
    r2 = 1 - np.sum((y - columns @ fitted.mean) ** 2) / np.sum((y - y.mean()) ** 2)
    assert r2 == pytest.approx(0.999993745883712, rel=1e-9)


def test_reg_2_pontius_quadratic():
    # NIST StRD linear; x scaled first, relative tolerance 1e-7
    x, y = table("pontius-strd.csv")
    scaled = x / 3e6
    columns = np.stack([np.ones_like(x), scaled, scaled**2], axis=1)
    fitted = learn(flat(columns, y), at=ONE)
    assert fitted.mean[0] == pytest.approx(0.673565789473684e-3, rel=1e-7)
    assert fitted.mean[1] / 3e6 == pytest.approx(0.732059160401003e-6, rel=1e-7)
    assert fitted.mean[2] / 9e12 == pytest.approx(-0.316081871345029e-14, rel=1e-7)
    s = residual_sd(y, columns @ fitted.mean, 3)
    assert s == pytest.approx(0.205177424076185e-3, rel=1e-7)
    assert s * np.sqrt(fitted.covariance[0, 0]) == pytest.approx(0.107938612033077e-3, rel=1e-7)


def test_reg_3_and_4_oxygen_purity_with_its_intervals():
    # Applied Statistics and Probability for Engineers, 3rd ed., Table 11-2; printed digits
    x, y = table("oxygen-purity.csv")
    columns = np.stack([np.ones_like(x), x], axis=1)
    fitted = learn(flat(columns, y), at=ONE)
    s = residual_sd(y, columns @ fitted.mean, 2)
    assert fitted.mean == pytest.approx([74.283, 14.947], abs=5e-4)
    assert s == pytest.approx(1.087, abs=5e-4)
    assert s * np.sqrt(np.diag(fitted.covariance)) == pytest.approx([1.593, 1.317], abs=5e-4)
    at = np.array([1.0, 1.0])
    se = s * np.sqrt(at @ fitted.covariance @ at)
    t = 2.100922  # t(0.975, 18), any t table
    assert at @ fitted.mean == pytest.approx(89.231, abs=5e-4)
    assert se == pytest.approx(0.354, abs=5e-4)
    assert at @ fitted.mean - t * se == pytest.approx(88.486, abs=5e-4)
    assert at @ fitted.mean + t * se == pytest.approx(89.975, abs=5e-4)
    wider = np.hypot(se, s)
    assert at @ fitted.mean - t * wider == pytest.approx(86.830, abs=5e-4)
    assert at @ fitted.mean + t * wider == pytest.approx(91.632, abs=5e-4)


def test_chg_1_the_nile_shift_of_1898():
    # Nile flow at Aswan 1871-1970 (public domain); means recomputed, the year is widely published (from memory).
    # Every year is tried as a shift on top of one level, with nothing assumed about either.
    with open(DATA / "nile-flow.csv", newline="") as file:
        flow = np.array([float(row["flow"]) for row in csv.DictReader(file)])
    years = np.arange(len(flow))
    shifts = (years[:, None] >= years[None, 1:]).astype(float)
    series = flat(np.ones((len(flow), 1)), flow)
    found = evidence(series, shifts)
    best = int(np.argmax(found.pull[ONE] ** 2 / found.weight[ONE]))
    assert best + 1 == 28
    fitted = learn(with_shape(series, shifts[:, best], 1e9), at=ONE)
    assert fitted.mean == pytest.approx([1097.75, 849.97 - 1097.75], abs=0.01)
    assert (found.pull / found.weight)[ONE, best] == pytest.approx(849.97 - 1097.75, abs=0.01)


def made(change: np.ndarray, temperature: np.ndarray | None = None) -> StageSeries:
    k = len(change)
    columns = np.ones((k, 1))
    if temperature is not None:
        columns = np.stack([(temperature - 20) / 10, np.ones(k)], axis=1)
    p = columns.shape[1]
    sd = np.array([0.03, 3.0][-p:])
    return StageSeries(
        np.arange(k) / 4, change, np.full(k, 0.01**2), columns, np.zeros(p), sd, (0.015, 0.45), level=p - 1
    )


@settings(deadline=None, max_examples=drawn(30, 10))
@given(st.integers(0, 2**32 - 1), st.integers(3, 20))
def test_running_sums_give_what_starting_anew_gives(seed, checks):
    rng = np.random.default_rng(seed)
    series = made(rng.normal(0, 0.03, checks), rng.uniform(-10, 35, checks))
    newest = rises_at_every_check(series)[-1]
    shift = next(one for one in newest if one.shape == "shift" and one.checks == 1)
    growth = next((one for one in newest if one.shape == "growth" and one.since == 0), None)
    for rise, column in ((shift, (np.arange(checks) == checks - 1) * 1.0), (growth, series.years)):
        if rise is None:
            continue
        found = evidence(series, column[:, None])
        size = (found.pull / found.weight)[:, 0]
        share = np.exp(
            found.log_plain + 0.5 * found.pull[:, 0] * size - 0.5 * np.log(found.weight[:, 0]) - 1e2
        )
        expected = np.sum(share * size) / share.sum() * column[-1]
        assert rise.size == pytest.approx(expected, rel=1e-6, abs=1e-9)


def test_each_check_is_judged_on_itself_and_those_before_only():
    rng = np.random.default_rng(1)
    change = rng.normal(0, 0.02, 16)
    whole = rises_at_every_check(made(change))
    for count in (3, 8, 12):
        assert rises_at_every_check(made(change[:count]))[-1] == whole[count - 2]


def test_a_shift_of_a_fifth_stands_out_at_its_first_check():
    change = np.array([0.0, 0.01, -0.01, 0.0, 0.01, 0.2])
    several, newest = best_of(rises_at_every_check(made(change))[-1])
    assert newest.chance < 1e-5
    assert newest.size == pytest.approx(0.2, abs=0.02)
    assert several.chance > newest.chance


def test_a_first_winter_is_not_wear():
    # 12 % more at -8 degC, the first cold check there is
    temperature = np.array([18.0, 22.0, 12.0, -8.0])
    _, newest = best_of(rises_at_every_check(made(np.array([0, 0.0, 0.01, 0.12]), temperature))[-1])
    _, blind = best_of(rises_at_every_check(made(np.array([0, 0.0, 0.01, 0.12])))[-1])
    assert newest.chance > 10 * blind.chance


def test_forecast_says_how_many_checks_it_lacks():
    found = forecast.crossing(made(np.linspace(0, 0.2, 5)), 0.5)
    assert found.at is None
    assert "6 needed" in found.why_not


def test_forecast_of_a_straight_growth_holds_the_crossing():
    rng = np.random.default_rng(3)
    years = np.arange(12) / 4
    found = forecast.crossing(made(0.1 * years + rng.normal(0, 0.005, 12)), 0.35)
    assert found.low is not None
    assert found.high is not None
    assert found.low < 3.5 < found.high
    assert found.high - found.low < 2.75


def test_no_growth_gives_no_forecast():
    rng = np.random.default_rng(4)
    found = forecast.crossing(made(rng.normal(0, 0.01, 14)), 0.3)
    assert found.at is None
    assert found.why_not


@pytest.mark.parametrize(("p", "at"), [(0.5, 1.0), (0.6, 1.0), (0.8, 2.5), (0.9, 3.0), (0.95, None)])
def test_the_day_of_a_chance_lies_between_those_beside_it(p, at):
    """Reached before the first day: on the first; never reached: none."""
    found = forecast._first(np.array([1.0, 2.0, 3.0]), np.array([0.6, 0.7, 0.9]), p)
    assert found == (at if at is None else pytest.approx(at))


def test_a_scatter_that_explains_hardly_anything_takes_no_share():
    """Many checks tell scatters apart by more than the greatest number there is."""
    found = forecast._shares(
        ShapeEvidence(np.full((2, 2), 3.0), np.full((2, 2), 40.0), np.array([0.0, -2000.0]))
    )
    assert found == pytest.approx(np.array([[0.5, 0.5], [0.0, 0.0]]))
