"""Every interval of the suitability holds 95 % of what the data sheet and the assumptions may stand for.

The truths are drawn and reckoned here by the plain equations of a brushed motor (see ``rating``), not by the product's.
"""

from dataclasses import replace

import numpy as np
import pytest

from tests.core.sizing.test_fit import RIG, changed
from throwbook.core.sizing.sizing import fit

RIGS = {
    "as it is": RIG,
    "no full-load speed": changed(actuator={"full_load_speed_m_s": None}),
    "stiff": changed(actuator={"full_load_speed_m_s": 0.0142}),
    "close currents": changed(
        actuator={"no_load_current_a": 2.4, "full_load_current_a": 3.6, "rated_force_n": 700.0},
        lock={"needed_force_n": 200.0},
    ),
    "24 V, gauge": changed(
        actuator={"voltage_v": 24.0},
        lock={"lowest_voltage_v": 20.0},
        wiring={"conductor": "14 AWG", "area_m2": 2.081e-6},
    ),
    "strong, weak supply": changed(actuator={"rated_force_n": 1900.0}, lock={"lowest_voltage_v": 7.0}),
    "long cable": changed(wiring={"conductor": "1 mm2", "area_m2": 1e-6, "length_one_way_m": 12.0}),
    "warm": changed(lock={"coldest_c": 15.0}),
}
# Ohm for each metre of one conductor: solid copper of the area (IEC 60028) to the greatest it may have.
CABLES = {
    "2.5 mm2": (17.241e-3 / 2.5, 7.98e-3),
    "1 mm2": (17.241e-3, 19.5e-3),
    "14 AWG": (17.241e-3 / 2.081, 1.026 * 17.241e-3 / 2.081),
}


def truths(rig, count=40_000, seed=7):
    """What each figure may really be, shape (count,)."""
    rng = np.random.default_rng(seed)

    def within(share):
        return 1.0 + rng.uniform(-share, share, count)

    sheet, lock, cable = rig.actuator, rig.lock, rig.wiring
    volts = sheet.voltage_v
    i0, full, free = (
        value * within(0.1)
        for value in (sheet.no_load_current_a, sheet.full_load_current_a, sheet.no_load_speed_m_s)
    )
    push = sheet.rated_force_n * within(0.1)
    if sheet.full_load_speed_m_s is None:
        ratio = rng.uniform(0.6, 0.9, count)
    else:
        ratio = sheet.full_load_speed_m_s * within(0.1) / free
    least, most = CABLES[cable.conductor]
    loop = 2.0 * cable.length_one_way_m * within(0.05) * rng.uniform(least, most, count)
    harder = (
        1.0 + rng.uniform(0.1, 0.5, count) + rng.uniform(0.0, 0.02, count) * max(0.0, 20.0 - lock.coldest_c)
    )
    magnets = 1.0 + (-0.0015 + 0.0007 * np.sqrt(3.0) * rng.uniform(-1.0, 1.0, count)) * 60.0
    motor = (full > i0) & (ratio < 1.0)
    ohm = volts * (1.0 - ratio) / (full - ratio * i0)
    per_a, emf = push / (full - i0), (volts - i0 * ohm) / free
    warm = ohm * (1.0 + 0.00393 * 60.0)

    def throw(push_n, supply_v, winding, magnet):
        amps = i0 + push_n / (per_a * magnet)
        left = np.maximum(supply_v - amps * (winding + loop), 1e-12)
        return amps, sheet.stroke_m * emf * magnet / left

    needed = lock.needed_force_n
    usual, hard = throw(needed, volts, ohm, 1.0), throw(needed * harder, lock.lowest_voltage_v, warm, magnets)
    stalls = (lock.lowest_voltage_v / (warm + loop) - i0) * per_a * magnets
    gives = np.minimum(push, np.maximum(0.0, stalls))
    figures = {
        "push_at_worst_n": gives,
        "needed_push_at_worst_n": needed * harder,
        "force_margin": gives / (needed * harder) - 1.0,
        "run_current_a": usual[0],
        "travel_time_s": usual[1],
        "run_current_at_worst_a": hard[0],
        "travel_time_at_worst_s": hard[1],
        "stall_current_a": volts / (ohm + loop),
        "stall_push_n": (volts / (ohm + loop) - i0) * per_a,
        "cable_ohm": loop,
        "cable_drop_v": sheet.full_load_current_a * loop,
    }
    return {name: values[motor] for name, values in figures.items()}


@pytest.mark.parametrize("name", RIGS)
def test_each_interval_holds_95_percent_and_each_end_leaves_half_of_the_rest(name):
    rig = RIGS[name]
    numbers = fit(rig).numbers
    for figure, values in truths(rig).items():
        below = float(np.mean(values < numbers[figure].low))
        above = float(np.mean(values > numbers[figure].high))
        assert (below, above) == pytest.approx((0.025, 0.025), abs=0.006), figure


def test_a_stall_current_is_known_far_less_above_than_below():
    """An independent draw of the sample rig's data sheet: 95 % of its stall currents lie between 10.6 and 23.6 A."""
    yard = replace(
        RIG,
        actuator=replace(
            RIG.actuator, stroke_m=0.150, rated_force_n=1100.0, no_load_speed_m_s=0.014, no_load_current_a=0.8,
            full_load_current_a=5.0, full_load_speed_m_s=0.010,
        ),
        lock=replace(RIG.lock, needed_travel_m=0.142),
        wiring=replace(RIG.wiring, length_one_way_m=3.5),
    )  # fmt: skip
    stall = fit(yard).numbers["stall_current_a"]
    assert (stall.value, stall.low, stall.high) == pytest.approx((14.5, 10.6, 23.6), rel=0.01)
