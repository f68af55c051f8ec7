"""The whole assessment on drawn records: each sign where it belongs, none where it doesn't."""

import re
from dataclasses import replace

import numpy as np
import pytest

from tests.core.drawn_strokes import ACTUATOR, RIG, Drawn, usual_baseline
from throwbook.core.analysis.baseline import make_baseline
from throwbook.core.analysis.figures import Gains
from throwbook.core.analysis.movements import movements_of
from throwbook.core.assessment import LEVELS, STALL, VERDICTS, Figures, Measured
from throwbook.core.diagnosis.assess import assess_trace
from throwbook.core.diagnosis.measure import gather, stroke_of
from throwbook.core.diagnosis.signs.ending import end_stop
from throwbook.core.diagnosis.signs.load import load_in_doubt
from throwbook.core.diagnosis.verdict import unusable, verdict_of
from throwbook.core.machine.motor import motor_line
from throwbook.core.rig import Rig
from throwbook.core.trace import Trace
from throwbook.errors import InputError


@pytest.fixture(scope="module")
def baseline():
    return usual_baseline()


def told(assessment):
    return {sign.sign: sign for sign in assessment.signs}


def above_info(assessment):
    return {sign.sign for sign in assessment.signs if sign.level != "info"}


def test_a_healthy_throw_has_no_sign_and_passes(baseline):
    for seed in range(20):
        found = assess_trace(Drawn(seed=1000 + seed).trace(), RIG, baseline)
        assert found.signs == ()
        assert found.verdict == "pass"


def test_the_figures_are_those_that_were_drawn():
    drawn = Drawn(noise_a=0.005, ripple=0.0)
    found = assess_trace(drawn.trace(), RIG).figures
    share = np.linspace(0.0, 1.0, 100_001)[2000:]
    mean = float(np.mean(drawn.level_a * (1.0 + 0.1 * np.sin(5.0 * share))))
    assert found.run_current_a.value == pytest.approx(mean, rel=0.005)
    assert found.travel_time_s.value == pytest.approx(13.2, abs=0.006)
    assert found.rest_voltage_v.value == pytest.approx(12.6, abs=0.01)
    assert found.source_resistance_ohm.value == pytest.approx(0.08, abs=0.003)
    assert found.charge_as.value == pytest.approx(
        mean * 13.2 + (drawn.peak_a - drawn.level_a) * drawn.decay_s, rel=0.01
    )


def test_drag_is_told_from_a_binding_spot(baseline):
    heavy = assess_trace(Drawn(level_a=1.8 * 1.2, run_s=13.85).trace(), RIG, baseline)
    assert above_info(heavy) == {"drag"}
    assert told(heavy)["drag"].value == pytest.approx(0.2, abs=0.03)
    spot = assess_trace(Drawn(bump_a=0.45).trace(), RIG, baseline)
    assert above_info(spot) == {"binding-spot"}


@pytest.mark.parametrize("at", [0.15, 0.4, 0.7, 0.9])
@pytest.mark.parametrize("rate_hz", [25, 100, 400])
def test_a_binding_spot_is_placed_within_two_percent_of_the_stroke(baseline, at, rate_hz):
    found = assess_trace(Drawn(bump_a=0.6, bump_at=at, rate_hz=rate_hz, seed=5).trace(), RIG, baseline)
    spot = told(found)["binding-spot"]
    assert abs(spot.at_fraction - at) < 0.02
    assert abs(spot.at_fraction - at) < 2.0 * spot.at_fraction_u


def test_a_hump_without_a_baseline_is_only_told():
    found = assess_trace(Drawn(bump_a=0.9).trace(), RIG)
    assert told(found)["binding-spot"].level == "info"
    assert found.verdict == "pass"


def test_a_cold_day_is_not_drag(baseline):
    stiff = assess_trace(Drawn(level_a=1.8 * 1.12, ambient_c=-5.0).trace(), RIG, baseline)
    assert "drag" not in told(stiff)


def test_an_unrecorded_temperature_is_named_as_a_rival(baseline):
    found = assess_trace(Drawn(level_a=1.8 * 1.3, ambient_c=None).trace(), RIG, baseline)
    assert "cold" in told(found)["drag"].because


def test_a_stall_in_mid_travel(baseline):
    found = assess_trace(Drawn(stall_from=0.5).trace(), RIG, baseline)
    assert found.end == "stall"
    assert above_info(found) == {"stall"}
    assert told(found)["stall"].at_fraction == pytest.approx(0.5, abs=0.03)
    assert found.verdict == "fail"


def test_a_throw_that_never_moved_has_its_stall_at_nothing(baseline):
    found = assess_trace(Drawn(stall_from=-1.0, run_s=4.0).trace(), RIG, baseline)
    assert told(found)["stall"].at_fraction == 0.0


def test_a_standstill_at_the_end_of_travel_is_the_limit_switch(baseline):
    found = assess_trace(Drawn(stall_from=0.985, run_s=13.4).trace(), RIG, baseline)
    assert above_info(found) == {"end-stop"}


def test_a_current_that_stops_early_stopped_short(baseline):
    found = assess_trace(Drawn(run_s=9.0).trace(), RIG, baseline)
    assert found.end == "cut-off"
    assert above_info(found) == {"stopped-short"}
    assert told(found)["stopped-short"].at_fraction == pytest.approx(9.0 / 13.2, abs=0.03)


def test_a_run_near_no_load_that_is_loaded_for_a_seventh_of_the_way_is_no_light_run():
    """The mean alone is no more than the motor draws with nothing to move."""
    drawn = Drawn(level_a=0.8, ripple=0.0)
    trace = drawn.trace()
    loaded = (trace.time_s > drawn.start_s + 0.86 * drawn.run_s) & (trace.time_s < drawn.end_s)
    assert {one.sign for one in assess_trace(trace, RIG).signs} == {"light-run"}
    heavier = replace(trace, current_a=trace.current_a + 0.7 * loaded)
    assert "light-run" not in {one.sign for one in assess_trace(heavier, RIG).signs}


def test_near_no_load_all_the_way_is_a_light_run(baseline):
    found = assess_trace(Drawn(level_a=0.9, run_s=11.8).trace(), RIG, baseline)
    assert above_info(found) == {"light-run"}
    assert found.verdict == "fail"


def test_a_low_supply_is_told_from_a_drop_upstream(baseline):
    low = assess_trace(Drawn(rest_v=11.0, run_s=15.5).trace(), RIG, baseline)
    assert "low-supply" in told(low)
    assert "supply-drop" not in told(low)
    drop = assess_trace(Drawn(source_ohm=0.5, run_s=14.4).trace(), RIG, baseline)
    assert "supply-drop" in told(drop)
    assert "low-supply" not in told(drop)


def test_slower_than_current_and_voltage_account_for(baseline):
    found = assess_trace(Drawn(run_s=13.2 * 1.2).trace(), RIG, baseline)
    assert above_info(found) == {"slow-travel"}
    assert told(found)["slow-travel"].value == pytest.approx(0.2, abs=0.02)


def test_above_the_rated_maximum():
    found = assess_trace(Drawn(level_a=4.2, run_s=20.0).trace(), RIG)
    assert "over-rated" in told(found)
    assert found.verdict == "fail"


def test_no_current_at_all_is_a_no_start():
    trace = Drawn().trace()
    rest = Trace(trace.time_s[:110], trace.current_a[:110], trace.voltage_v[:110], "lock")
    found = assess_trace(rest, RIG)
    assert (found.end, set(told(found)), found.verdict) == ("no-run", {"no-start"}, "fail")
    assert found.figures.run_current_a is None


def test_a_clipped_record_gives_up_what_it_cannot_say():
    trace = Drawn().trace()
    clipped = replace(trace, current_a=np.minimum(trace.current_a, 1.85))
    found = assess_trace(clipped, RIG)
    assert told(found)["clipped"].level == "watch"
    assert found.figures.inrush_a is None
    assert found.figures.peak_run_current_a is None


def test_missing_rows_are_told(baseline):
    trace = Drawn().trace()
    keep = np.ones(len(trace), bool)
    keep[1000:1100] = False
    holed = Trace(trace.time_s[keep], trace.current_a[keep], trace.voltage_v[keep], "lock")
    assert told(assess_trace(holed, RIG, baseline))["gaps"].level == "watch"


@pytest.mark.parametrize("rows", [1, 2, 5])
def test_a_current_that_comes_on_in_the_last_rows_is_told(baseline, rows):
    """Too few rows to be a movement; a file that stops there hides what came next, and it passed clean."""
    whole = Drawn(seed=1009).trace()
    current_a = whole.current_a.copy()
    current_a[-rows:] = 5.0
    found = assess_trace(replace(whole, current_a=current_a), RIG, baseline)
    assert [(sign.sign, sign.level) for sign in found.signs] == [("cut-record", "watch")]
    assert found.figures.travel_time_s is not None  # the throw before it is whole


def test_a_cut_record_gives_no_travel_time():
    trace = Drawn().trace()
    late = Trace(trace.time_s[400:], trace.current_a[400:], trace.voltage_v[400:], "lock")
    found = assess_trace(late, RIG)
    assert "cut-record" in told(found)
    assert found.figures.travel_time_s is None
    assert found.figures.start_s is None
    assert found.figures.run_current_a is not None
    assert found.figures.charge_as is found.figures.energy_j is None


def test_without_any_rest_the_record_is_unusable():
    trace = Drawn().trace()
    middle = Trace(trace.time_s[400:2000], trace.current_a[400:2000], None, "lock")
    found = assess_trace(middle, RIG)
    assert (found.usable, found.verdict) == (False, "unusable")
    assert found.unusable_because


def test_a_late_take_up_is_free_play_and_a_half_one_is_one_side(baseline):
    trace = Drawn(noise_a=0.005, ripple=0.0).trace()
    share = (trace.time_s - 0.6) / 13.2
    early = (share > 0.02) & (share < 0.10)
    play = trace.current_a.copy()
    play[early] = 0.9 + 0.02
    found = assess_trace(replace(trace, current_a=play), RIG, baseline)
    assert above_info(found) == {"free-play"}
    side = trace.current_a.copy()
    side[early] = 0.5 * (side[early] + 0.9 + 0.02)
    found = assess_trace(replace(trace, current_a=side), RIG, baseline)
    assert told(found)["uneven-sides"].level == "info"
    assert above_info(found) == set()


@pytest.mark.parametrize("with_voltage", [True, False])
@pytest.mark.parametrize("rate_hz", [10, 50, 2000])
def test_nothing_breaks_without_voltage_or_at_odd_rates(baseline, with_voltage, rate_hz):
    found = assess_trace(Drawn(with_voltage=with_voltage, rate_hz=rate_hz).trace(), RIG, baseline)
    assert above_info(found) == set()
    assert found.end == "cut-off"


def test_a_rating_without_full_load_speed_is_said_to_be_assumed():
    bare = Rig("yard-loader", replace(ACTUATOR, full_load_speed_m_s=None), RIG.lock)
    found = assess_trace(Drawn().trace(), bare)
    assert any("assumed" in note for note in found.notes)


def test_the_limit_and_its_source_stand_beside_each_decision(baseline):
    found = assess_trace(Drawn().trace(), RIG, baseline)
    assert {one.name for one in found.checks} >= {"run_current", "peak_run_current", "supply_under_load"}
    assert all(one.limit_from for one in found.checks)


def test_words_come_from_the_contract(baseline):
    for drawn in (Drawn(), Drawn(level_a=2.4), Drawn(stall_from=0.5), Drawn(run_s=5.0)):
        found = assess_trace(drawn.trace(), RIG, baseline)
        assert found.verdict in VERDICTS
        assert all(sign.level in LEVELS for sign in found.signs)


def test_a_baseline_refuses_trials_of_both_directions_and_broken_ones():
    good = assess_trace(Drawn().trace(), RIG)
    with pytest.raises(InputError, match="one direction"):
        make_baseline([good, assess_trace(Drawn(direction="unlock").trace(), RIG)])
    with pytest.raises(InputError, match="stall"):
        make_baseline([good, assess_trace(Drawn(stall_from=0.5).trace(), RIG)])
    with pytest.raises(InputError, match="no throw"):
        make_baseline([])


def test_a_long_stand_at_an_obstacle_does_not_shift_its_place():
    """What it draws while it stands is many times what it draws while it turns: that isn't a break in the current."""
    drawn = [Drawn(seed=k, level_a=0.85) for k in range(5)]
    light = make_baseline([assess_trace(one.trace(), RIG) for one in drawn], "drawn")
    found = assess_trace(Drawn(run_s=20.0, level_a=0.85, stall_from=0.3, stall_a=9.6).trace(), RIG, light)
    assert told(found)["stall"].at_fraction == pytest.approx(0.3 * 20.0 / drawn[0].run_s, abs=0.03)


def test_a_binding_spot_is_told_without_a_voltage_channel_too():
    drawn = [Drawn(seed=k, with_voltage=False) for k in range(5)]
    blind = make_baseline([assess_trace(one.trace(), RIG) for one in drawn], "drawn")
    found = assess_trace(Drawn(bump_a=0.9, bump_at=0.4, with_voltage=False, seed=11).trace(), RIG, blind)
    assert above_info(found) == {"binding-spot"}
    spot = told(found)["binding-spot"]
    assert abs(spot.at_fraction - 0.4) < spot.at_fraction_u


def test_a_drive_that_raises_its_voltage_is_no_bad_supply():
    """Motor side, soft start: voltage and current change together, but not along a resistance."""
    time_s = np.arange(0.0, 14.0, 1 / 200)
    t, noise = time_s - 0.6, np.random.default_rng(5)
    on = (t >= 0) & (t < 12.9)
    current_a = np.where(on, np.where(t < 0.5, 2.6 + 1.2 * t, 1.8), 0.0) + noise.normal(0, 0.01, len(t))
    voltage_v = np.where(on, np.clip(4.0 + 16.0 * t, 0.0, 12.2), 0.0) + noise.normal(0, 0.01, len(t))
    found = assess_trace(Trace(time_s, current_a, voltage_v, "lock"), RIG)
    assert not {"supply-drop", "low-supply"} & set(told(found))


def test_a_stall_has_a_place_where_the_motor_turned_first_and_none_else():
    stalled = assess_trace(Drawn(stall_from=0.4, run_s=7.0).trace(), RIG).signs[0]
    assert (stalled.sign, stalled.at_fraction_u is not None) == ("stall", True)
    assert "stalled before the end of travel" in stalled.because
    assert stalled.at_fraction > 0.1
    never = assess_trace(Drawn(stall_from=-1.0, run_s=3.0).trace(), RIG).signs[0]
    assert (never.sign, never.at_fraction, never.at_fraction_u) == ("stall", 0.0, None)
    assert never.because.startswith("the motor never turned")


@pytest.mark.parametrize(
    ("from_s", "until_s", "says"),
    [(0.0, 9.0, "ends"), (3.0, 99.0, "begins"), (3.0, 9.0, "begins and ends")],
)
def test_a_record_that_lacks_an_end_says_which(from_s, until_s, says):
    trace = Drawn().trace()
    kept = (trace.time_s >= from_s) & (trace.time_s < until_s)
    part = replace(
        trace, time_s=trace.time_s[kept], current_a=trace.current_a[kept], voltage_v=trace.voltage_v[kept]
    )
    sign = next(one for one in assess_trace(part, RIG).signs if one.sign == "cut-record")
    assert f"the record {says} while the motor is running" in sign.because


@pytest.mark.parametrize(("height_a", "told"), [(0.35, False), (1.2, True)])
def test_a_hump_without_a_baseline_is_told_from_a_fifth_of_the_running_current_on(height_a, told):
    drawn = Drawn(level_a=2.8, bump_a=height_a, bump_at=0.63)
    found = assess_trace(drawn.trace(), RIG).signs
    assert [one.level for one in found if one.sign == "binding-spot"] == ["info"] * told


@pytest.mark.parametrize(
    ("value_a", "u_a", "doubtful"),
    [(0.58, 0.88, True), (0.58, 0.10, False), (1.60, 0.88, False)],
    ids=["its ± is greater than the load", "a good reading", "surely loaded"],
)
def test_a_run_whose_uncertainty_is_greater_than_the_load_passes_no_light_run(value_a, u_a, doubtful):
    """No load 0.48 A, usual run 0.79 A: a load of 0.31 A; a light run lies below 0.57 A."""
    found = load_in_doubt(Measured(value_a, u_a), 0.31, 0.57)
    assert (found is not None) is doubtful
    if found is not None:
        assert verdict_of(Figures(run_current_a=Measured(value_a, u_a)), (found,), ())[0] == "undecided"


@pytest.mark.parametrize("short", np.arange(0.030, 0.070, 0.0025))
def test_what_is_printed_of_a_throw_that_stopped_short_is_less_than_what_is_printed_of_its_limit(
    baseline, short
):
    found = assess_trace(Drawn(seed=5).but(run_s=13.2 * (1.0 - short)).trace(), RIG, baseline)
    for sign in found.signs:
        if sign.sign == "stopped-short":
            went, limit = re.findall(r"([0-9.]+) %", sign.because)
            assert float(went) < float(limit)
            assert sign.value < sign.limit


@pytest.fixture(scope="module")
def evidence():
    trace, line = Drawn().trace(), motor_line(ACTUATOR)
    movement = movements_of(trace, RIG, stroke_of(trace, RIG, line, None))[0]
    return gather(movement, RIG, line, None, Gains())


@pytest.mark.parametrize(("value_a", "another"), [(0.47, False), (0.41, True)])
def test_a_running_current_is_anothers_only_where_its_uncertainty_leaves_no_other_answer(
    evidence, value_a, another
):
    """No load 0.9 A: no motor of this rating turns at less than 0.54 A; known to 0.1 A."""
    figures = replace(evidence.figures, run_current_a=Measured(value_a, 0.1))
    assert bool(unusable(replace(evidence, figures=figures))) == another


@pytest.mark.parametrize(("needed_m", "share"), [(0.188, 0.94), (0.2, 1.0), (0.21, 1.0)])
def test_the_travel_needed_is_a_share_of_the_stroke_and_never_more_than_all_of_it(evidence, needed_m, share):
    rig = replace(RIG, lock=replace(RIG.lock, needed_travel_m=needed_m))
    assert replace(evidence, rig=rig).needed_share == pytest.approx(share)


@pytest.mark.parametrize(
    ("share", "alone", "compared"), [(0.92, True, True), (0.88, True, False), (0.82, False, False)]
)
def test_a_stand_is_at_the_end_within_one_standard_uncertainty_of_a_baseline_and_two_of_a_rating(
    evidence, baseline, share, alone, compared
):
    """94 % of the stroke are needed, known to 5 %: from 84 % on by the rating, from 89 % on against a baseline."""
    stood = replace(evidence, end=STALL, travel_share=share, travel_share_u=0.05)
    assert (end_stop(stood) is not None) == alone
    assert (end_stop(replace(stood, baseline=baseline)) is not None) == compared
