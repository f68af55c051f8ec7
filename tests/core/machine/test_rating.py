"""The motor line against published worked cases, then against itself."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from throwbook.core.machine import motor
from throwbook.core.quantities.statistics import drawn
from throwbook.core.rig import Actuator
from throwbook.errors import InputError

SHEET = Actuator(12.0, 0.2, 1500.0, 0.016, 0.9, 3.6, full_load_speed_m_s=0.011)


@st.composite
def actuators(draw):
    """Any data sheet that draws a line."""
    no_load = draw(st.floats(0.05, 5.0))
    free = draw(st.floats(0.002, 0.2))
    full_speed = draw(st.one_of(st.none(), st.floats(0.2, 0.95).map(lambda r: r * free)))
    return Actuator(
        voltage_v=draw(st.sampled_from([12.0, 24.0, 36.0, 48.0])),
        stroke_m=draw(st.floats(0.02, 1.0)),
        rated_force_n=draw(st.floats(50.0, 20000.0)),
        no_load_speed_m_s=free,
        no_load_current_a=no_load,
        full_load_current_a=no_load * draw(st.floats(1.2, 10.0)),
        full_load_speed_m_s=full_speed,
    )


@given(actuators())
def test_the_line_passes_through_the_data_sheet(actuator):
    line = motor.motor_line(actuator)
    full = actuator.full_load_current_a
    assert motor.speed_at(line, line.i0_a, actuator.voltage_v) == pytest.approx(actuator.no_load_speed_m_s)
    assert motor.current_at_force(line, actuator.rated_force_n) == pytest.approx(full)
    ratio = motor.speed_at(line, full, actuator.voltage_v) / actuator.no_load_speed_m_s
    given_ratio = (
        actuator.full_load_speed_m_s or 0.75 * actuator.no_load_speed_m_s
    ) / actuator.no_load_speed_m_s
    assert ratio == pytest.approx(given_ratio)
    assert line.full_load_speed_assumed is (actuator.full_load_speed_m_s is None)


@given(actuators())
def test_not_knowing_the_full_load_speed_widens_the_uncertainty(actuator):
    unknown = motor.motor_line(replace(actuator, full_load_speed_m_s=None))
    known = motor.motor_line(replace(actuator, full_load_speed_m_s=0.75 * actuator.no_load_speed_m_s))
    assert unknown.u_r > known.u_r
    assert all(0.0 < u < 2.0 for u in (unknown.u_i0, unknown.u_k_f, unknown.u_r, unknown.u_k_e))


def test_drawn_lines_stand_for_every_value_within_its_half_width():
    """Each data-sheet value +/- 10 % (common practice, no source); a ratio that isn't given 0.75 +/- 0.15 (assumed)."""

    def ends(values):
        return values.min(), values.max()

    lines, kept = motor.drawn_lines(SHEET, drawn(motor.SHEET_VALUES))
    assert kept.all()
    assert ends(lines.i0_a) == pytest.approx((0.81, 0.99), rel=1e-3)
    assert ends(motor.speed_at(lines, lines.i0_a, 12.0)) == pytest.approx((0.0144, 0.0176), rel=1e-3)
    push_alone = np.zeros((motor.SHEET_VALUES, 3))
    push_alone[4] = (-1.0, 0.0, 1.0)
    pushes, _ = motor.drawn_lines(SHEET, push_alone)
    assert pushes.k_f_n_per_a == pytest.approx(np.array([0.9, 1.0, 1.1]) * 1500.0 / 2.7)
    but_push = np.vstack([drawn(4), np.zeros(drawn(4).shape[1])])
    known, _ = motor.drawn_lines(SHEET, but_push)
    full_a = known.i0_a + 1500.0 / known.k_f_n_per_a
    assert ends(full_a) == pytest.approx((3.24, 3.96), rel=1e-3)
    assert ends(motor.speed_at(known, full_a, 12.0)) == pytest.approx((0.0099, 0.0121), rel=1e-3)
    unknown, _ = motor.drawn_lines(replace(SHEET, full_load_speed_m_s=None), but_push)
    full_a = unknown.i0_a + 1500.0 / unknown.k_f_n_per_a
    ratio = motor.speed_at(unknown, full_a, 12.0) / motor.speed_at(unknown, unknown.i0_a, 12.0)
    assert ends(ratio) == pytest.approx((0.60, 0.90), abs=1e-3)


def test_values_that_no_motor_has_are_left_out():
    near = replace(SHEET, full_load_current_a=1.0, full_load_speed_m_s=0.0155)
    lines, kept = motor.drawn_lines(near, drawn(motor.SHEET_VALUES))
    assert 0.2 < kept.mean() < 0.6
    assert (lines.r_ohm > 0.0).all()
    assert (lines.k_f_n_per_a > 0.0).all()


def test_stall_current_falls_with_source_resistance_and_heat():
    line = motor.motor_line(SHEET)
    assert motor.stall_current(line, 12.0) == pytest.approx(12.0 / line.r_ohm)
    assert motor.stall_current(line, 12.0, source_ohm=0.3) == pytest.approx(12.0 / (line.r_ohm + 0.3))
    # IEC 60028: +0.393 % per kelvin.
    assert motor.stall_current(line, 12.0, temperature_c=120.0) == pytest.approx(12.0 / (1.393 * line.r_ohm))


def test_arrays_go_in_and_out():
    line = motor.motor_line(SHEET)
    forces = np.array([0.0, 750.0, 1500.0])
    assert motor.current_at_force(line, forces) == pytest.approx([0.9, 2.25, 3.6])
    assert motor.force_at_current(line, motor.current_at_force(line, forces)) == pytest.approx(forces)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"full_load_current_a": 0.5}, "swapped"),
        ({"full_load_speed_m_s": 0.02}, "swapped"),
        ({"voltage_v": 0.0}, "voltage"),
        ({"rated_force_n": float("nan")}, "rated_force"),
        ({"no_load_current_a": -1.0}, "no_load_current"),
    ],
)
def test_a_data_sheet_that_draws_no_line_is_refused(change, said):
    with pytest.raises(InputError, match=said):
        motor.motor_line(replace(SHEET, **change))


# ---- published worked cases (a rotating motor: force stands for torque, rod speed for shaft speed) ----


def rotating(volts, free_rad_s, stall_torque, stall_current, i0=1e-9):
    """A motor given by its two end points, as a data sheet with half the stall torque as rated load."""
    full = 0.5 * (stall_current - i0) + i0
    return motor.motor_line(
        Actuator(volts, 1.0, 0.5 * stall_torque, free_rad_s, i0, full, full_load_speed_m_s=0.5 * free_rad_s)
    )


@pytest.mark.parametrize(
    ("rpm", "stall_torque", "half_rpm", "half_torque", "watt"),
    [
        (600, 0.325, 300, 0.163, 5.105),
        (3750, 0.0722, 1875, 0.0361, 7.088),
        (92, 1.6, 46, 0.80, 3.854),
    ],
)
def test_mot_1_most_power_at_half_stall_torque(rpm, stall_torque, half_rpm, half_torque, watt):
    """MOT-1. Source: three measured student motors, lancet.mit.edu/motor; powers recomputed. 0.1 %."""
    turn = 2.0 * np.pi / 60.0
    line = rotating(12.0, rpm * turn, stall_torque, 5.0)
    torque = np.linspace(0.0, stall_torque, 2001)
    speed = motor.speed_at(line, motor.current_at_force(line, torque), 12.0)
    best = np.argmax(torque * speed)
    assert (torque * speed)[best] == pytest.approx(watt, rel=1e-3)
    assert speed[best] / turn == pytest.approx(half_rpm, rel=1e-3)
    assert torque[best] == pytest.approx(half_torque, rel=5e-3)  # printed to three digits


def test_mot_2_course_exercise():
    """MOT-2. Source: course exercise (inputs read, results recomputed). The sheet's Ke isn't its Kt: kept apart."""
    volts, ohm, torque_per_a = 10.0, 1.5, 0.12
    turn = 2.0 * np.pi / 60.0
    k_e = 12.0 / (1000.0 * turn)
    assert k_e == pytest.approx(0.11459, abs=5e-6)
    line = motor.MotorLine(0.0, torque_per_a, ohm, k_e, volts, False, 0, 0, 0, 0)
    assert motor.drive_efficiency(line) == pytest.approx(
        1.047, abs=5e-4
    )  # over 1: the exercise contradicts itself
    assert motor.speed_at(line, 0.0, volts) / turn == pytest.approx(833.3, abs=0.05)
    assert motor.stall_current(line, volts) == pytest.approx(6.667, abs=5e-4)
    assert motor.stall_force(line, volts) == pytest.approx(0.800, abs=5e-4)
    assert motor.current_at_force(line, 0.6) == pytest.approx(5.0)
    assert motor.speed_at(line, 5.0, volts) / turn == pytest.approx(208.3, abs=0.05)
    torque = np.linspace(0.0, 0.8, 4001)
    speed = motor.speed_at(line, motor.current_at_force(line, torque), volts)
    assert np.max(torque * speed) == pytest.approx(17.45, abs=0.005)


def test_mot_3_course_exercise():
    """MOT-3. Source: course exercise (inputs read, results recomputed): 12 V, 3800 rpm, 30 mN m stall, at 2500 rpm."""
    turn = 2.0 * np.pi / 60.0
    line = rotating(12.0, 3800 * turn, 0.030, 1.0)
    torque = np.linspace(0.0, 0.030, 3001)
    speed = motor.speed_at(line, motor.current_at_force(line, torque), 12.0)
    at = float(np.interp(-2500 * turn, -speed, torque))
    assert at == pytest.approx(0.010263, abs=5e-7)
    assert at * 2500 * turn == pytest.approx(2.687, abs=5e-4)


@pytest.mark.parametrize("ratio", [0.95, 0.99])
def test_a_full_load_speed_near_that_without_load_is_moved_no_further_than_half_way_to_it(ratio):
    """`R = V (1 - r)/(i_fl - r i0)`: with r lower by half of what it lacks to one, since no motor runs quicker loaded."""
    sheet = replace(SHEET, full_load_speed_m_s=ratio * SHEET.no_load_speed_m_s)
    moved = ratio - 0.5 * (1.0 - ratio)
    ohm = sheet.voltage_v * (1.0 - moved) / (sheet.full_load_current_a - moved * sheet.no_load_current_a)
    assert motor.motor_line(sheet).variants[3].r_ohm == pytest.approx(ohm)


def test_each_data_sheet_value_is_moved_by_its_standard_uncertainty():
    """A rectangle of 10 % either way (common practice, no source): a standard uncertainty of 10 % over root 3 (JCGM 100, 4.3.7)."""
    u, line = 0.1 / np.sqrt(3.0), motor.motor_line(SHEET)
    no_load, full_load, free, _ = line.variants
    assert no_load.i0_a == pytest.approx((1.0 - u) * SHEET.no_load_current_a)
    push = SHEET.rated_force_n / ((1.0 - u) * SHEET.full_load_current_a - SHEET.no_load_current_a)
    assert full_load.k_f_n_per_a == pytest.approx(push)
    assert free.k_e_v_s_per_m == pytest.approx(line.k_e_v_s_per_m / (1.0 - u))
