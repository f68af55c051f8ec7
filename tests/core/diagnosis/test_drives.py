"""Records of drives that set the motor's voltage themselves, drawn by hand: straight ramps, plateaus, steps."""

import numpy as np
import pytest

from throwbook.core.analysis.baseline import make_baseline
from throwbook.core.assessment import CUT_OFF, FAIL, STALL, WATCH
from throwbook.core.diagnosis.assess import assess_trace
from throwbook.core.rig import Actuator, Board, LockMechanism, Rig
from throwbook.core.trace import FloatArray, Trace

RATE_HZ = 200.0
RAMP_S = 0.4
RUN_S = 3.0
RUN_A = 1.2
LIMIT_A = 4.0
ACTUATOR = Actuator(24.0, 0.1, 800.0, 0.04, 0.5, 2.5, full_load_speed_m_s=0.03)


def rig(placed_in: str = "supply") -> Rig:
    return Rig("drive-rig", ACTUATOR, LockMechanism(0.095), board=Board(placed_in=placed_in))


def trace(
    current_a: FloatArray, voltage_v: FloatArray | None = None, noise_a: float = 0.005, step_a: float = 0.002
) -> Trace:
    """A second of rest on both sides of ``current_a``; ``voltage_v`` with its rest is given whole."""
    rest = np.zeros(int(RATE_HZ))
    whole = np.concatenate((rest, current_a, rest))
    whole = whole + np.random.default_rng(5).normal(0.0, noise_a, len(whole))
    return Trace(
        time_s=np.arange(len(whole)) / RATE_HZ,
        current_a=np.round(whole / step_a) * step_a,
        voltage_v=voltage_v,
        direction="lock",
        rig="drive-rig",
    )


def rows(seconds: float) -> int:
    return int(seconds * RATE_HZ)


def ramp_up() -> FloatArray:
    return np.linspace(0.6, 2.1, rows(RAMP_S))


def run(seconds: float = RUN_S) -> FloatArray:
    place = np.linspace(0.0, 1.0, rows(seconds))
    return RUN_A * (1.0 + 0.1 * np.sin(5.0 * place))


def wind_up(seconds: float, begins_a: float) -> FloatArray:
    """A controller's current on its way to the limit, and there."""
    after = np.arange(rows(seconds)) / RATE_HZ
    return LIMIT_A + (begins_a - LIMIT_A) * np.exp(-after / 0.05)


def brushes(count: int) -> FloatArray:
    return 0.1 * np.sin(2.1 * np.arange(count))


def test_what_speeding_up_takes_is_no_part_of_the_run():
    told = assess_trace(trace(np.concatenate((ramp_up(), run()))), rig())
    assert told.end == CUT_OFF
    assert told.inrush_end_s == pytest.approx(1.0 + RAMP_S, abs=2.0 / RATE_HZ)
    assert told.figures.run_current_a.value == pytest.approx(run().mean(), rel=0.003)


@pytest.mark.parametrize("share", [0.5, 0.6, 0.7])
def test_a_ramp_whose_fall_holds_a_row_takes_the_same_off_the_travel(share):
    """The same short throw twice: a board that reads once in mid-fall sees the same ramp."""
    rough_up = np.concatenate((ramp_up()[:-2], [2.16, 2.06]))
    between_a = RUN_A + share * (2.1 - RUN_A)
    told = [
        assess_trace(trace(np.concatenate((rough_up, between, run(0.9)))), rig())
        for between in ([], [between_a])
    ]
    plain_vs, other_vs = (each.figures.back_emf_vs.value for each in told)
    assert other_vs == pytest.approx(plain_vs, rel=0.02)


def test_a_held_start_counts_to_its_end_too():
    told = assess_trace(trace(np.concatenate((np.full(rows(RAMP_S), 2.0), run()))), rig())
    assert told.inrush_end_s == pytest.approx(1.0 + RAMP_S, abs=2.0 / RATE_HZ)


def test_a_load_that_eases_slowly_is_no_ramp():
    hump = RUN_A + np.concatenate((np.zeros(rows(0.5)), np.hanning(rows(0.6))))
    told = assess_trace(trace(np.concatenate((hump, run()))), rig())
    assert told.inrush_end_s < 1.5


def test_a_current_held_at_a_limit_is_a_stall_and_says_what_it_cannot_tell():
    whole = np.concatenate((ramp_up(), run(1.5) + brushes(rows(1.5)), wind_up(1.0, RUN_A)))
    told = assess_trace(trace(whole), rig())
    assert told.end == STALL
    stall = next(sign for sign in told.signs if sign.sign == "stall")
    assert stall.level == FAIL
    assert "This record alone cannot show" in stall.because
    assert told.figures.stall_current_a.value == pytest.approx(LIMIT_A, rel=0.01)
    found = next(one for one in told.diagnoses if one.signs == ("stall",))
    assert found.sure == "possible"
    assert "limited the current" in found.cause


def test_a_current_wound_up_from_nothing_never_moved():
    told = assess_trace(trace(wind_up(2.0, 0.0)), rig())
    assert told.end == STALL
    assert next(sign.at_fraction for sign in told.signs if sign.sign == "stall") == 0.0


def test_a_motor_that_turns_on_at_the_same_level_is_no_stall():
    over = np.full(rows(1.5), LIMIT_A)
    whole = np.concatenate((ramp_up(), run(1.5) + brushes(rows(1.5)), over + brushes(len(over))))
    told = assess_trace(trace(whole), rig())
    assert told.end == CUT_OFF


def test_a_voltage_that_a_drive_raises_is_not_judged_as_the_supply():
    moving = np.concatenate((np.full(rows(RAMP_S), 2.0), run()))
    raised = np.concatenate((np.linspace(2.0, 20.0, rows(RAMP_S)), np.full(rows(RUN_S), 20.0)))
    rest = np.zeros(int(RATE_HZ))
    told = assess_trace(trace(moving, np.concatenate((rest, raised, rest))), rig("motor"))
    assert told.figures.rest_voltage_v is None
    assert told.figures.source_resistance_ohm is None
    assert not any(sign.sign in ("low-supply", "supply-drop") for sign in told.signs)
    supply = next(one for one in told.checks if one.name == "supply_under_load")
    assert supply.measured is None
    assert any("a drive sets the motor's voltage" in note for note in told.notes)


def test_a_coarse_record_cut_off_flat_is_clipped_and_not_a_light_run():
    start = 3.0 * np.exp(-np.arange(rows(0.5)) / rows(0.05))
    healthy = np.concatenate((start, np.zeros(rows(3.0)))) + np.concatenate(
        (np.full(rows(1.0), 0.8), np.full(rows(2.5), 1.6))
    )
    base = make_baseline([assess_trace(trace(healthy, step_a=0.08), rig()) for _ in range(3)])
    told = assess_trace(trace(np.minimum(healthy, 1.3), noise_a=0.0, step_a=0.08), rig(), base)
    loud = {sign.sign for sign in told.signs if sign.level in (WATCH, FAIL)}
    assert "clipped" in loud
    assert "light-run" not in loud


def test_a_coarse_record_of_a_steady_run_is_not_clipped():
    start = 3.0 * np.exp(-np.arange(rows(0.5)) / rows(0.05))
    steady = np.concatenate((start, np.zeros(rows(3.0)))) + 1.6
    told = assess_trace(trace(steady, noise_a=0.0, step_a=0.08), rig())
    assert not any(sign.sign == "clipped" for sign in told.signs)


OVER_RATING = Rig(
    "r", Actuator(12, 0.2, 1500, 0.016, 0.9, 3.6, full_load_speed_m_s=0.011), LockMechanism(0.188)
)


@pytest.mark.parametrize("rest_s", [0.0, 0.5])
def test_a_current_over_the_rating_from_the_first_row_of_the_movement_on_is_judged_without_a_crash(rest_s):
    time_s = np.arange(300) * 0.01
    current_a = np.where((time_s < rest_s) | (time_s > 2.8), 0.0, 5.0)
    assessment = assess_trace(Trace(time_s, current_a, np.full(300, 12.0), "lock"), OVER_RATING)
    assert assessment.end == STALL


def test_a_throw_cut_off_in_its_ramp_has_no_running_current():
    """The ramp takes most of it, so that what it ran at evenly doesn't show."""
    told = assess_trace(trace(np.concatenate((ramp_up(), run(0.2)))), rig())
    assert told.end == CUT_OFF
    assert (told.figures.run_current_a, told.figures.peak_run_current_a) == (None, None)
    assert told.verdict == FAIL
