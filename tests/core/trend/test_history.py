"""A rig's history as the trend command reads it: signals, weather, stages, service effects, next action, JSON."""

import json
import re
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from tests.core.drawn_strokes import ACTUATOR
from throwbook.core.assessment import Figures, Measured
from throwbook.core.machine.motor import motor_line
from throwbook.core.rig import DIRECTIONS, Actuator, LockMechanism, Rig
from throwbook.core.status.latch import DO_NOT_USE
from throwbook.core.trend.advisory import next_action
from throwbook.core.trend.history import (
    TRAVEL_TIME,
    RigHistory,
    SeasonCheck,
    SeasonService,
    SeasonThrow,
)
from throwbook.core.trend.maintenance_effect import answer, compare
from throwbook.core.trend.series import ALLOWANCES, at_nominal_voltage, lines_of
from throwbook.core.trend.signals import BASELINE, OUT, SUSPECT
from throwbook.core.trend.trend_result import only, to_json, trends_of

RIG = Rig(
    "yard-loader",
    Actuator(12.0, 0.2, 1500.0, 0.016, 0.9, 3.6, full_load_speed_m_s=0.011),
    LockMechanism(0.18),
)
START = date(2022, 3, 1)
RNG = np.random.default_rng


def check(
    i, amps, rng, air=20.0, kind="seasonal", throws=3, scatter=0.015, directions=DIRECTIONS, as_found=None
):
    made = [
        SeasonThrow(
            one,
            Figures(
                run_current_a=Measured(float(amps * (1 + rng.normal(0, scatter))), 0.02),
                mean_voltage_v=Measured(12.5, 0.05),
                travel_time_s=Measured(12.0 + float(rng.normal(0, 0.05)), 0.02),
            ),
        )
        for one in directions
        for _ in range(throws)
    ]
    if as_found is not None:
        made.append(SeasonThrow("lock", Figures(run_current_a=Measured(as_found, 0.02)), as_found=True))
    day = START + timedelta(days=91 * i)
    return SeasonCheck(day, f"yard-loader-{i + 1}", kind, tuple(made), ambient_c=air)


def history(levels, seed=1, airs=None, services=(), **more):
    rng = RNG(seed)
    airs = [20.0] * len(levels) if airs is None else airs
    checks = [
        check(i, amps, rng, air, "commissioning" if i == 0 else "seasonal", 5 if i == 0 else 3)
        for i, (amps, air) in enumerate(zip(levels, airs, strict=True))
    ]
    return RigHistory(RIG, tuple(checks), tuple(services), **more)


def run_current(found, direction="lock"):
    return next(one for one in found if (one.figure, one.direction) == ("run_current", direction))


def test_a_rig_that_stays_as_it_is_has_no_signal():
    found = run_current(trends_of(history([2.0] * 12)))
    assert found.first_signal is None
    assert found.points[0].state == BASELINE
    assert found.forecast is None
    assert found.no_forecast.startswith("no forecast yet")


def test_three_winters_are_not_wear_and_are_corrected():
    airs = [18.0, 25.0, 10.0, -6.0] * 4
    levels = [2.0 * (1 - 0.004 * (air - 20)) for air in airs]
    found = run_current(trends_of(history(levels, airs=airs)))
    assert found.first_signal is None
    raw = np.array([point.value for point in found.points])
    corrected = np.array([point.corrected for point in found.points])
    assert np.std(corrected[4:]) < 0.5 * np.std(raw[4:])


def test_growth_in_winters_is_found_and_its_limit_foretold():
    airs = [18.0, 25.0, 10.0, -6.0] * 4
    years = np.arange(16) / 4
    levels = [
        2.0 * (1 - 0.004 * (air - 20)) * (1 + 0.09 * max(0.0, t - 1))
        for air, t in zip(airs, years, strict=True)
    ]
    found = run_current(trends_of(history(levels, airs=airs)))
    assert found.first_signal is not None
    assert START + timedelta(days=365) < found.first_signal < START + timedelta(days=365 * 2.5)
    assert found.slope.per_year > 0
    assert found.slope.p_value < 0.001
    assert found.forecast.limit == pytest.approx(0.8 * 3.6)
    truth = START + timedelta(days=365 * (1 + 0.44 / 0.09))
    assert found.forecast.low < truth < found.forecast.high


def test_what_was_said_at_a_check_stays_said():
    whole = history([2.0] * 6 + [2.0 * (1 + 0.04 * i) for i in range(1, 8)], seed=3)
    states = [point.state for point in run_current(trends_of(whole)).points]
    for count in (4, 8, 11):
        assert [one.state for one in run_current(trends_of(only(whole, count))).points] == states[:count]


def test_one_odd_check_in_one_direction_is_suspect_and_no_signal():
    rng = RNG(5)
    base = history([2.0] * 8, seed=4)
    odd = check(8, 2.5, rng, directions=("lock",))
    odd = replace(odd, throws=odd.throws + check(8, 2.0, rng, directions=("unlock",)).throws)
    found = run_current(trends_of(replace(base, checks=(*base.checks, odd))))
    assert found.points[-1].state == SUSPECT
    assert found.first_signal is None
    again = check(9, 2.5, rng, directions=("lock",))
    again = replace(again, throws=again.throws + check(9, 2.0, rng, directions=("unlock",)).throws)
    found = run_current(trends_of(replace(base, checks=(*base.checks, odd, again))))
    assert found.first_signal == again.on


def test_the_chart_restarts_at_a_service_and_the_effect_is_told():
    levels = [2.0, 2.0, 2.02, 2.1, 2.2, 2.3, 2.4, 2.4, 2.0, 2.01, 2.0]
    service = SeasonService(START + timedelta(days=91 * 8 - 3), "greased", True)
    found = run_current(trends_of(history(levels, services=[service])))
    assert found.points[8].state == BASELINE
    assert [point.state for point in found.points[9:]] == ["in control", "in control"]
    assert found.chart.centre == pytest.approx(2.0, abs=0.06)
    (effect,) = found.service_effects
    assert effect.answer == "helped"
    assert effect.low < effect.change < effect.high < 0


def read_by_hand(throw, u):
    figures = replace(throw.figures, run_current_a=Measured(throw.figures.run_current_a.value, u))
    return replace(throw, by_hand=True, figures=figures)


def test_a_drop_that_the_unknown_air_or_the_meter_explains_is_no_help():
    service = SeasonService(START + timedelta(days=91 * 8 - 3), "greased", True)
    levels = [1.9] * 8 + [1.78]
    (known,) = run_current(trends_of(history(levels, services=[service]))).service_effects
    assert known.answer == "helped"
    airs = [20.0] * 8 + [None]
    (no_air,) = run_current(trends_of(history(levels, services=[service], airs=airs))).service_effects
    assert no_air.low < known.low < known.high < no_air.high
    assert no_air.answer.startswith("too few throws")
    read = history(levels, services=[service])
    coarse = [
        replace(one, throws=tuple(read_by_hand(throw, 0.4) for throw in one.throws)) for one in read.checks
    ]
    (by_hand,) = run_current(trends_of(replace(read, checks=tuple(coarse)))).service_effects
    assert by_hand.answer.startswith("too few throws")


def test_the_check_that_raised_the_alarm_is_left_out_of_before():
    service = SeasonService(START + timedelta(days=91 * 7 - 3), "greased", True)
    found = run_current(trends_of(history([2.0, 2, 2, 2, 2, 2, 2.6, 2.0], seed=2, services=[service])))
    assert found.points[6].state == OUT
    (effect,) = found.service_effects
    assert effect.before == pytest.approx(2.0, abs=0.05)
    assert effect.answer == "too few throws (3; one check before, one after) to show a difference"


@pytest.mark.parametrize(
    ("before", "after", "shows"), [(1, 3, False), (3, 1, False), (2, 2, True), (2, 0, False)]
)
def test_an_effect_takes_two_throws_on_either_side(before, after, shows):
    checks = [check(i, 2.0, RNG(i), throws=before if i == 4 else 3) for i in range(5)]
    checks += [check(5, 2.0, RNG(5), throws=after)] if after else []
    service = SeasonService(START + timedelta(days=91 * 4 + 5), "greased", True)
    found = run_current(trends_of(RigHistory(RIG, tuple(checks), (service,))))
    assert [(one.n_before, one.n_after) for one in found.service_effects] == [(before, after)] * shows


def test_an_inspection_restarts_nothing():
    service = SeasonService(START + timedelta(days=300), "inspected", False)
    found = run_current(trends_of(history([2.0] * 8, services=[service])))
    assert [point.state for point in found.points].count(BASELINE) == 1
    assert found.service_effects == ()


def test_missing_temperature_widens_and_never_guesses():
    known = history([2.0] * 8)
    blank = replace(known, checks=tuple(replace(one, ambient_c=None) for one in known.checks))
    sure, unsure = run_current(trends_of(known)), run_current(trends_of(blank))
    assert [p.corrected for p in unsure.points] == pytest.approx([p.corrected for p in sure.points], rel=0.05)
    assert unsure.chart.sigma > 1.5 * sure.chart.sigma


def test_time_is_corrected_for_voltage_by_the_motor_line():
    base = history([2.0] * 3)
    slow = [
        replace(
            one,
            figures=replace(
                one.figures, mean_voltage_v=Measured(11.0, 0.05), travel_time_s=Measured(13.7, 0.02)
            ),
        )
        for one in base.checks[2].throws
    ]
    checks = (*base.checks[:2], replace(base.checks[2], throws=tuple(slow)))
    found = next(one for one in trends_of(replace(base, checks=checks)) if one.figure == "travel_time")
    line_r = 12 * (1 - 11 / 16) / (3.6 - 11 / 16 * 0.9)
    expected = 13.7 * (11.0 - 2.0 * line_r) / (12.0 - 2.0 * line_r)
    assert found.points[2].corrected == pytest.approx(expected, rel=0.02)
    assert found.points[2].state != OUT


@pytest.mark.parametrize("share_of_wear", [0.0, 0.5, 1.0])
def test_a_figure_twice_as_high_is_corrected_whatever_weather_does_to_the_rise(share_of_wear):
    """Weather of +10 % at the second check, right for the mean level: 2.0 and 3.8 A at 20 degC, or what it makes of the rise."""
    checks = tuple(check(i, amps, RNG(1), scatter=0.0) for i, amps in enumerate([2.0, 4.0]))
    line = lines_of(RigHistory(RIG, checks), "lock", "run_current")[0]
    corrected, off_by = line.at_20_degc(np.array([0.0, 0.1]))
    # 0.2 A at the mean level of 2.9 A, or 6.9 % of the level: between 3.800 and 3.738 A
    assert corrected == pytest.approx([2.0, 3.769], abs=5e-4)
    true_a = 3.8 - share_of_wear * (0.2 * 3.8 / 2.9 - 0.2)
    assert abs(corrected[1] - true_a) <= off_by[1] * (1.0 + 1e-9)


def test_as_found_throws_are_charted_by_themselves():
    rng = RNG(7)
    checks = [check(i, 2.0, rng, as_found=2.3 if i < 6 else 3.2) for i in range(9)]
    found = run_current(trends_of(RigHistory(RIG, tuple(checks))))
    assert found.first_signal is None
    assert all(point.n == 3 for point in found.points)
    assert found.as_found.first_signal is not None
    assert next_action(
        RigHistory(RIG, tuple(checks)), trends_of(RigHistory(RIG, tuple(checks))), checks[-1].on
    ).why.startswith("the as-found throw")


def test_a_heavy_first_throw_that_was_answered_by_work_isnt_asked_for_again():
    rng = RNG(4)
    checks = [check(i, 2.0, rng, as_found=2.3 if i < 6 else 3.2) for i in range(9)]
    worked = SeasonService(checks[-1].on, "greased", True)
    after = replace(check(9, 2.0, rng), on=checks[-1].on + timedelta(days=1))
    found = RigHistory(RIG, (*checks, after), (worked,))
    said = next_action(found, trends_of(found), after.on)
    assert "after a rest" not in said.why


def test_json_holds_what_the_contract_asks_and_is_json():
    service = SeasonService(START + timedelta(days=91 * 4 - 3), "greased", True)
    for one in trends_of(history([2.0, 2.0, 2.1, 2.3, 2.0, 2.0], services=[service])):
        told = json.loads(json.dumps(to_json(one), allow_nan=False))
        assert set(told) >= {
            *("rig", "direction", "figure", "unit", "points", "chart", "first_signal", "slope_per_year"),
            *("slope_low", "slope_high", "p_value", "forecast", "service_effects"),
        }
        assert set(told["points"][0]) >= {"date", "sheet", "value", "corrected", "n", "state"}
        assert set(told["chart"]) >= {"centre", "lower", "upper"}
        assert set(told["service_effects"][0]) >= {
            *("date", "action", "before", "after", "change", "low", "high")
        }


@pytest.mark.parametrize("checks", [1, 2, 3])
def test_few_checks_are_no_trouble(checks):
    for one in trends_of(history([2.0] * checks)):
        assert len(one.points) == checks
        json.dumps(to_json(one), allow_nan=False)


def test_next_action_names_what_why_how_sure_and_by_when():
    grown = history([2.0] * 4 + [2.0 + 0.08 * i for i in range(1, 6)])
    today = grown.checks[-1].on + timedelta(days=3)
    action = next_action(grown, trends_of(grown), today)
    assert action.urgency == 3
    assert "grease" in action.what
    assert "running current has risen" in action.why
    assert action.by <= today + timedelta(days=14)
    assert action.bring
    stopped = next_action(grown, trends_of(grown), today, DO_NOT_USE)
    assert (stopped.urgency, stopped.by) == (5, today)


def test_a_quiet_rig_is_due_a_quarter_later_and_then_overdue():
    quiet = history([2.0] * 5)
    last = quiet.checks[-1].on
    assert next_action(quiet, trends_of(quiet), last).by == last + timedelta(days=91)
    late = next_action(quiet, trends_of(quiet), last + timedelta(days=200))
    assert late.urgency == 1
    assert late.why == f"the check was due on {last + timedelta(days=91)}"
    dated = replace(quiet, due_on=last + timedelta(days=180))
    assert "the check was due on" in next_action(dated, trends_of(dated), last + timedelta(days=200)).why


def test_a_service_without_a_check_after_it_asks_for_one():
    service = SeasonService(START + timedelta(days=91 * 5), "greased", True)
    quiet = history([2.0] * 5, services=[service])
    assert (
        "nothing has been measured since the service" in next_action(quiet, trends_of(quiet), service.on).why
    )


def test_no_action_ever_claims_what_only_eyes_can():
    grown = history([2.0] * 4 + [2.0 + 0.1 * i for i in range(1, 6)])
    for found in (grown, history([2.0] * 5)):
        action = next_action(found, trends_of(found), found.checks[-1].on)
        said = f"{action.what} {action.why} {action.how_sure}".lower()
        assert not any(word in said for word in ("locked", "engaged", "safe"))


def test_the_three_answers():
    rng = RNG(8)
    before = 2.0 + rng.normal(0, 0.02, 5)
    assert answer(compare(before, before - 0.2, 0.02), 5) == "helped"
    assert answer(compare(before, before + 0.2, 0.02), 5) == "worse"
    assert (
        answer(compare(before[:3], before[:3] + 0.001, 0.02), 3) == "too few throws (3) to show a difference"
    )
    assert answer(compare(before, before - 0.2, 0.02, shared_u=0.2), 5).startswith("too few throws")


def test_throws_that_scatter_more_are_noticed_and_one_odd_throw_is_not():
    rng = RNG(9)
    calm = [check(i, 2.0, rng) for i in range(8)]
    jumpy = [check(i, 2.0, rng, scatter=0.09) for i in range(8, 11)]
    found = RigHistory(RIG, (*calm, *jumpy))
    spread = run_current(trends_of(found)).dispersion
    assert spread.grown
    assert spread.now > 3 * spread.before
    still = [check(i, 2.0, rng) for i in range(8, 11)]
    assert not run_current(trends_of(RigHistory(RIG, (*calm, *still)))).dispersion.grown
    odd = replace(
        still[1], throws=(*still[1].throws, check(9, 2.8, rng, throws=1, directions=("lock",)).throws[0])
    )
    assert not run_current(trends_of(RigHistory(RIG, (*calm, still[0], odd, still[2])))).dispersion.grown


def test_directions_are_compared():
    def one_way(lock_amps, i, rng):
        lock = check(i, lock_amps, rng, directions=("lock",))
        return replace(lock, throws=lock.throws + check(i, 2.0, rng, directions=("unlock",)).throws)

    rng = RNG(10)
    checks = [one_way(2.0 + 0.1 * max(0, i - 3), i, rng) for i in range(9)]
    found = RigHistory(RIG, tuple(checks))
    assert "lock throws only" in next_action(found, trends_of(found), checks[-1].on).why
    assert run_current(trends_of(found), "unlock").first_signal is None


def test_a_service_that_restarts_the_chart_does_not_hide_how_far_the_level_has_come():
    day = START + timedelta(days=91 * 4 - 1)
    greased = SeasonService(day, "greased", starts_stage=True)
    found = trends_of(history([2.0] * 4 + [2.6] * 4, services=[greased]))
    one = run_current(found)
    assert one.points[-1].state != OUT  # the new stage by itself is steady
    assert one.drift is not None
    assert one.drift.share == pytest.approx(0.30, abs=0.02)
    assert to_json(one)["since_first"]["on"] == START.isoformat()
    act = next_action(history([2.0] * 4 + [2.6] * 4, services=[greased]), found, day + timedelta(days=400))
    assert act.urgency == 3
    assert "has risen since the first check" in act.why


def test_small_steps_at_every_service_add_up():
    levels = [2.0, 2.0, 2.12, 2.12, 2.24, 2.24, 2.38, 2.38, 2.52, 2.52, 2.52, 2.52]
    days = [START + timedelta(days=91 * i - 1) for i in (2, 4, 6, 8)]
    services = [SeasonService(day, "greased", starts_stage=True) for day in days]
    assert run_current(trends_of(history(levels, services=services))).drift is not None
    assert run_current(trends_of(history([2.0] * 12, services=services))).drift is None


def test_a_replaced_actuator_is_held_against_its_own_first_check():
    services = [SeasonService(START + timedelta(days=91 * 4 - 1), "replaced", starts_stage=True)]
    assert run_current(trends_of(history([2.0] * 4 + [2.6] * 4, services=services))).drift is None


def take_up(readings, u):
    """A steady rig whose take-up reads so at each check, both ways alike, each reading with this ±."""
    base = history([2.0] * len(readings))
    checks = [
        replace(
            one,
            throws=tuple(
                replace(throw, figures=replace(throw.figures, take_up_fraction=Measured(reading, u)))
                for throw in one.throws
            ),
        )
        for one, reading in zip(base.checks, readings, strict=True)
    ]
    return replace(base, checks=tuple(checks))


def test_a_change_that_its_own_uncertainty_swallows_is_no_signal():
    # mostly 0.00 ± 0.10: a step of 0.06 lies inside it, one of 0.15 doesn't
    def signals(step, u):
        rig = take_up([-0.005, 0.0, 0.0, -0.005, 0.0, 0.0, 0.0, step, step, step], u)
        found = [one for one in trends_of(rig) if one.figure == "take_up"]
        action = next_action(rig, trends_of(rig), rig.checks[-1].on)
        return [one.first_signal for one in found], "take-up" in action.why

    assert signals(0.06, 0.10) == ([None, None], False)
    assert signals(0.06, 0.02) == ([START + timedelta(days=91 * 7)] * 2, True)
    assert signals(0.15, 0.10) == ([START + timedelta(days=91 * 7)] * 2, True)


def test_a_take_up_is_up_by_points_of_the_stroke():
    rig = take_up([0.0] * 7 + [0.06] * 3, 0.02)
    why = next_action(rig, trends_of(rig), rig.checks[-1].on).why
    assert re.match(r"take-up point has risen \d \u00b1 \d points of stroke since the chart's start", why)


def test_energy_scatters_as_current_and_time_together():
    current, time, energy = (ALLOWANCES[name] for name in ("run_current", "travel_time", "energy"))
    assert energy.between_checks[0] == pytest.approx(
        np.hypot(current.between_checks[0], time.between_checks[0])
    )
    assert energy.smallest == pytest.approx(np.hypot(current.smallest, time.smallest))
    assert energy.per_10k == (
        current.per_10k[0] + time.per_10k[0],
        np.hypot(current.per_10k[1], time.per_10k[1]),
    )


def test_a_time_is_brought_to_the_nominal_voltage_by_the_motor_line_but_not_next_to_stall():
    """Motor line: time goes with 1/(V - iR). Where that is next to nothing, at either voltage, the time stays as it is."""
    line = motor_line(ACTUATOR)
    far, near = 0.5 * line.v_ref / line.r_ohm, 0.92 * line.v_ref / line.r_ohm
    assert at_nominal_voltage(TRAVEL_TIME, 10.0, 1.2 * line.v_ref, far, line) == pytest.approx(
        10.0 * 0.7 / 0.5
    )
    assert at_nominal_voltage(TRAVEL_TIME, 10.0, 1.2 * line.v_ref, near, line) == 10.0
    assert at_nominal_voltage(TRAVEL_TIME, 10.0, 0.6 * line.v_ref, far, line) == pytest.approx(
        10.0 * 0.1 / 0.5
    )
    assert at_nominal_voltage(TRAVEL_TIME, 10.0, 0.55 * line.v_ref, far, line) == 10.0
