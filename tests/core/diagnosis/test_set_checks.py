"""Signs of several throws together. Trials are made by hand: times and currents as a stopwatch would give them."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from throwbook.core.assessment import Assessment, Figures, Measured
from throwbook.core.diagnosis.repeatability import judge_set
from throwbook.core.rig import Actuator, LockMechanism, Rig

ACTUATOR = Actuator(12.0, 0.2, 1500.0, 0.016, 0.9, 3.6, full_load_speed_m_s=0.011, duty_cycle=0.25)
RIG = Rig("quarry-loader", ACTUATOR, LockMechanism(0.188))
EIGHT = datetime(2026, 3, 14, 8, 0, tzinfo=UTC)


def throw(at_s, length_s=14.0, run_a=1.5, direction="lock", **changes):
    made = Assessment(
        file=f"{at_s}.csv",
        direction=direction,
        usable=True,
        unusable_because="",
        figures=Figures(
            start_s=Measured(1.0, 0.01),
            end_s=Measured(1.0 + length_s, 0.01),
            run_current_a=Measured(run_a, 0.03),
        ),
        end="cut-off",
        signs=(),
        checks=(),
        diagnoses=(),
        verdict="pass",
        started=EIGHT + timedelta(seconds=at_s),
    )
    return replace(made, **changes)


def duty_of(trials, rig=RIG):
    return [
        next((one.level for one in trial.signs if one.sign == "duty-exceeded"), None)
        for trial in judge_set(trials, rig)
    ]


def test_rests_as_long_as_the_rating_asks_for_give_no_sign():
    # 14 s at 25 % calls for 42 s of rest: one throw every 56 s.
    assert duty_of([throw(56.0 * k + 1) for k in range(30)]) == [None] * 30


def test_one_short_rest_is_told_but_harms_nothing():
    trials = [throw(0), throw(24)]
    assert duty_of(trials) == [None, "info"]
    assert judge_set(trials, RIG)[1].verdict == "pass"
    assert "calls for 42 s" in judge_set(trials, RIG)[1].signs[0].because


def test_short_rests_in_a_row_are_a_watch():
    trials = [throw(24.0 * k) for k in range(4)]
    assert duty_of(trials) == [None, "info", "watch", "watch"]
    last = judge_set(trials, RIG)[-1]
    assert last.verdict == "watch"
    assert "after 10 s of rest" in last.because
    assert "the third short rest in a row" in last.because


def test_a_long_rest_ends_the_row():
    assert duty_of([throw(0), throw(24), throw(80), throw(104)]) == [None, "info", None, "info"]


def test_the_cycle_of_the_data_sheet_counts_where_it_is_given():
    # 25 % of 4 min are 60 s: after five throws of 14 s there have been 70 s.
    rig = replace(RIG, actuator=replace(ACTUATOR, duty_period_s=240.0))
    trials = [throw(16.0 * k) for k in range(6)]
    assert duty_of(trials, rig) == [None] * 5 + ["watch"]
    assert (
        "It had run 70 s within 4 min before this throw; rated for 60 s" in judge_set(trials, rig)[-1].because
    )


def test_a_steady_rhythm_of_the_rated_share_is_never_too_much():
    rig = replace(RIG, actuator=replace(ACTUATOR, duty_period_s=600.0))
    assert duty_of([throw(56.0 * k) for k in range(40)], rig) == [None] * 40


def test_trials_are_put_in_the_order_of_time_but_come_back_in_their_own():
    trials = [throw(24), throw(0)]
    assert duty_of(trials) == ["info", None]
    assert [trial.file for trial in judge_set(trials, RIG)] == ["24.csv", "0.csv"]


@pytest.mark.parametrize(
    "trials",
    [
        [throw(0), throw(5)],
        [throw(0, started=None), throw(20, started=None)],
        [throw(0), throw(0)],
    ],
    ids=["overlapping records", "no dates", "the same date twice"],
)
def test_where_the_clock_says_nothing_sensible_duty_is_not_judged(trials):
    assert duty_of(trials) == [None, None]


def test_without_a_rated_duty_nothing_is_said():
    rig = replace(RIG, actuator=replace(ACTUATOR, duty_cycle=None))
    assert duty_of([throw(16.0 * k) for k in range(20)], rig) == [None] * 20


def test_a_fail_stays_a_fail():
    trials = [throw(24.0 * k, verdict="fail", because="It stalled.") for k in range(12)]
    last = judge_set(trials, RIG)[-1]
    assert (last.verdict, last.because) == ("fail", "It stalled.")


def test_the_spread_is_judged_per_direction_against_ten_percent():
    # largest less smallest over the mean: (1.56 - 1.44) / 1.5 = 8 %, (2.2 - 1.8) / 2 = 20 %.
    locks = [throw(100 * k, run_a=a) for k, a in enumerate((1.5, 1.44, 1.56))]
    unlocks = [throw(1000 + 100 * k, run_a=a, direction="unlock") for k, a in enumerate((2.0, 1.8, 2.2))]
    judged = judge_set(locks + unlocks, RIG)
    spreads = [trial.checks[0] for trial in judged]
    assert [one.decision for one in spreads] == ["pass"] * 3 + ["watch"] * 3
    assert spreads[0].measured.value == pytest.approx(0.08)
    assert spreads[3].measured.value == pytest.approx(0.20)
    assert all(trial.verdict == "pass" for trial in judged)


def test_two_throws_have_no_spread():
    assert not judge_set([throw(0), throw(100, run_a=9.0)], RIG)[0].checks


@given(st.lists(st.tuples(st.floats(1, 1000), st.floats(0.1, 100)), max_size=12))
def test_rests_of_the_rated_length_never_give_a_sign(pairs):
    at_s, trials = 0.0, []
    for extra_s, length_s in pairs:
        trials.append(throw(at_s, length_s))
        at_s += length_s / 0.25 + extra_s
    assert duty_of(trials) == [None] * len(trials)


def test_throws_typed_with_one_time_for_all_of_them_are_followed_by_others():
    trials = [throw(0.0), throw(0.0), throw(0.0), throw(20.0), throw(40.0)]
    assert [bool(signs) for signs in duty_of(trials)] == [False, False, False, True, True]
