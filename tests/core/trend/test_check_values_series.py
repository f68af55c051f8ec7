"""Published values for charts, trends and comparisons; each test carries its id, tolerance and source."""

import csv
import math
from pathlib import Path

import numpy as np
import pytest
from scipy.special import stdtr

from throwbook.core.quantities.statistics import prediction_factor
from throwbook.core.trend import control_chart, forecast, maintenance_effect
from throwbook.core.trend.control_chart import CUSUM_LIMIT, CUSUM_SLACK, EWMA_WEIGHT

DATA = Path(__file__).parents[2] / "check-data"


def table(name: str) -> list[dict[str, str]]:
    with open(DATA / name, newline="") as file:
        return list(csv.DictReader(file))


def column(name: str, key: str) -> np.ndarray:
    return np.array([float(row[key]) for row in table(name)])


# --- EWMA: e-Handbook 6.3.2.4 ---
def test_ewma_1_all_twenty_printed_values():
    values = column("ewma-nist-6-3-2-4.csv", "x")
    printed = column("ewma-nist-6-3-2-4.csv", "ewma_printed")
    # tolerance 0.005 is half the last printed digit; 1e-9 lets a tie of rounding fall either way
    assert np.abs(control_chart.ewma(values, EWMA_WEIGHT, 50.0) - printed).max() <= 0.005 + 1e-9


def test_ewma_2_asymptotic_limits_and_nothing_out_of_control():
    values = column("ewma-nist-6-3-2-4.csv", "x")
    far = control_chart.ewma_limit(1000, EWMA_WEIGHT, 2.0539)[-1]
    assert 50.0 + far == pytest.approx(52.5884, abs=2e-4)
    assert 50.0 - far == pytest.approx(47.4115, abs=2e-4)
    assert math.sqrt(0.3 / 1.7) == pytest.approx(0.420084, abs=1e-6)
    assert np.all(np.abs(control_chart.ewma(values, EWMA_WEIGHT, 50.0) - 50.0) < far)


def test_ewma_3_limits_that_widen_with_time():
    limits = 50.0 + control_chart.ewma_limit(10, EWMA_WEIGHT, 2.0539)
    for t, expected in {1: 51.8485, 2: 52.2564, 3: 52.4314, 5: 52.5516, 10: 52.5874}.items():
        assert limits[t - 1] == pytest.approx(expected, abs=1e-4)


# --- CUSUM ---
def test_cus_1_first_signal_at_fourteen():
    # e-Handbook 6.3.2.3
    values = column("cusum-nist-6-3-2-3.csv", "x")
    high, low = control_chart.cusum(values, 325.0, 0.3175)
    assert list(np.flatnonzero((high > 4.1959) | (low > 4.1959)) + 1) == list(range(14, 21))
    assert high[[12, 13, 19]] == pytest.approx([3.0075, 4.94, 19.035], abs=1e-4)
    assert int(np.argmax(low)) + 1 == 8
    assert low.max() == pytest.approx(0.715, abs=1e-4)


def test_cus_3_how_often_the_limit_is_passed_by_chance():
    # e-Handbook 6.3.2.3.1 (figures from memory): with a slack of 0.5 and a limit of 5, both sides, one false alarm in 465 values, and a shift of one
    # standard deviation found after 10.4. Siegmund's approximation, which the average run lengths of such tables follow.
    def values_until(shift):
        drift, far = shift - CUSUM_SLACK, CUSUM_LIMIT + 1.166
        return (math.exp(-2 * drift * far) + 2 * drift * far - 1) / (2 * drift**2)

    assert values_until(0.0) / 2 == pytest.approx(465, rel=0.02)
    assert values_until(1.0) == pytest.approx(10.4, rel=0.02)


def test_cus_2_all_forty_printed_sums():
    # Applied Statistics and Probability for Engineers, 3rd ed., Ex. 16-6, Table 16-8
    name = "cusum-textbook-table-16-8.csv"
    high, low = control_chart.cusum(column(name, "x"), 99.0, 1.0)
    assert np.abs(high - column(name, "s_high_printed")).max() < 0.05
    assert np.abs(low - column(name, "s_low_printed")).max() < 0.05
    assert max(high.max(), low.max()) < 10.0


# --- Mann-Kendall, Theil-Sen ---
HAND = column("mann-kendall-by-hand.csv", "value")


def test_mk_1_by_hand():
    # college course note "A Mann-Kendall example by hand"
    test = forecast.mann_kendall(HAND)
    assert test.s == 54
    assert test.variance == pytest.approx(332.6667, abs=1e-4)
    assert test.z == pytest.approx(2.9058, abs=5e-5)
    assert 0.5 * test.p == pytest.approx(0.0018, abs=5e-5)  # of a rise alone


def test_mk_2_the_libraries_agree():
    # pymannkendall original_test, scipy theilslopes and kendalltau, recomputed
    test = forecast.mann_kendall(HAND)
    assert test.p == pytest.approx(0.0036627, abs=5e-8)
    line = forecast.theil_sen(np.arange(14.0), HAND)
    assert line.value == pytest.approx(0.566667, abs=1e-6)
    assert (line.low, line.high) == pytest.approx((0.3250, 0.8667), abs=5e-5)


def test_mk_3_the_whole_exact_table():
    # exact permutation count, the table of Gilbert 1987 A18
    for row in table("mann-kendall-exact-tail.csv"):
        tail = forecast.exact_tail(int(row["n"]), int(row["S"]))
        assert tail == pytest.approx(float(row["one_sided_p_S_or_more"]), abs=1e-6), row
    assert forecast.exact_tail(8, 16) == pytest.approx(0.030506, abs=1e-6)


def test_mk_4_exact_up_to_ten_values_and_normal_above():
    # statistics help page quoting Gilbert 1987
    assert forecast.mann_kendall(np.arange(10.0)).p == pytest.approx(2 / math.factorial(10))
    eleven = forecast.mann_kendall(np.arange(11.0))
    assert eleven.p == pytest.approx(math.erfc(eleven.z / math.sqrt(2)))


# --- Welch: the function that every effect of a service passes through, its widening set to nought ---
def welch(first, second):
    """By summary: throws that have exactly this mean and standard deviation."""

    def throws(mean, sd, n):
        shape = np.arange(n) - (n - 1) / 2
        return mean + sd * shape / np.std(shape, ddof=1)

    return maintenance_effect.compare(throws(*first), throws(*second), scatter=0.0, known=0.0)


def two_sided(result):
    return 2.0 * float(stdtr(result.df, -abs(result.change / result.se)))


def test_wel_1_summary_input():
    # textbook exercise on two arsenic methods, with package output (df printed truncated: 3)
    result = welch((10.90, 0.60, 3), (19.70, 1.10, 3))
    assert result.change / result.se == pytest.approx(12.16, abs=0.005)
    assert result.df == pytest.approx(3.093, abs=5e-4)
    assert two_sided(result) == pytest.approx(0.001, abs=5e-4)
    # 0.04 of Student's t with 3.093 degrees of freedom lie beyond 2.570 (scipy): the 92 % that a user reads
    assert (result.low, result.high) == pytest.approx(
        (8.8 - 2.570 * result.se, 8.8 + 2.570 * result.se), abs=2e-3
    )
    half_at_df_3 = 3.182446 * result.se
    assert (result.change - half_at_df_3, result.change + half_at_df_3) == pytest.approx(
        (6.498, 11.102), abs=1e-3
    )


def test_wel_2_a_fall():
    # Applied Statistics..., Ex. 10-6 (inputs read, printed result -2.77 and 13 from memory)
    result = welch((27.5, 15.3, 10), (12.5, 7.63, 10))
    assert result.change / result.se == pytest.approx(-2.774, abs=5e-4)
    assert result.df == pytest.approx(13.216, abs=5e-4)
    assert two_sided(result) == pytest.approx(0.0156, abs=5e-5)


def test_wel_3_the_welch_satterthwaite_degrees_of_freedom():
    # PMC127524, Table 5: t printed; its df is an older variant, ours is Welch-Satterthwaite
    for row in table("welch-summary-cases.csv"):
        first, second = ((float(row[f"mean{i}"]), float(row[f"sd{i}"]), int(row[f"n{i}"])) for i in (1, 2))
        result = welch(first, second)
        assert abs(result.change / result.se) == pytest.approx(float(row["abs_t_recomputed"]), abs=5e-4)
        assert result.df == pytest.approx(float(row["df_welch_satterthwaite_recomputed"]), abs=5e-4)
    turbidity = welch((11.45, 8.19, 25), (56.99, 31.12, 14))
    assert turbidity.change / turbidity.se == pytest.approx(5.372, abs=5e-4)


# --- what the project itself asks of small samples ---
def test_prediction_factor_knows_the_number_of_throws():
    # one-sided 1 %: t(0.99, 4) = 3.747 and t(0.99, 9) = 2.821 (any t table) times sqrt(1 + 1/n)
    assert prediction_factor(5) == pytest.approx(3.747 * math.sqrt(1.2), abs=1e-3)
    assert prediction_factor(10) == pytest.approx(2.821 * math.sqrt(1.1), abs=1e-3)


def test_throws_that_read_all_alike_have_as_many_degrees_as_readings_to_spare():
    alike = maintenance_effect.compare(
        np.array([2.0, 2.0]), np.array([1.5, 1.5, 1.5]), scatter=0.0, known=0.0
    )
    assert (alike.change, alike.se, alike.df) == (-0.5, 0.0, 3.0)
