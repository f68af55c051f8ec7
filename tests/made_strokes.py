"""Strokes drawn by hand for tests of reading, printing and plotting: level, hump and inrush are invented numbers.

They are not meant to be true to a machine; what the analysis makes of real shapes is tested elsewhere.
"""

from datetime import datetime, timedelta, timezone

import numpy as np

from throwbook.core.rig import Actuator, LockMechanism, Rig
from throwbook.core.trace import Trace

RIG = Rig(
    "quarry-loader",
    Actuator(12.0, 0.2, 1500.0, 0.016, 0.9, 3.6, full_load_speed_m_s=0.011, duty_cycle=0.25),
    LockMechanism(0.188),
)
NOON = datetime(2026, 3, 14, 12, 0, tzinfo=timezone(timedelta(hours=1)))
START_S = 1.0
FULL_S = 13.3


def stroke(
    seed=1,
    *,
    bump_a=0.0,
    bump_at=0.55,
    scale=1.0,
    ends_at_s=None,
    stalls_at_s=None,
    direction="lock",
    minutes=0,
    rate_hz=200,
):
    """One throw of about 13 s with rest on both sides."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(int(16 * rate_hz)) / rate_hz
    end_s = ends_at_s or START_S + FULL_S
    running = (time_s > START_S) & (time_s < end_s)
    place = np.clip((time_s - START_S) / FULL_S, 0, 1)
    load_a = 1.5 + 0.05 * rng.normal() + 0.25 * np.exp(-(((place - 0.85) / 0.06) ** 2))
    load_a = scale * load_a + bump_a * np.exp(-(((place - bump_at) / 0.03) ** 2))
    current_a = rng.normal(0, 0.012, len(time_s))
    current_a[running] += load_a[running] + 4.0 * np.exp(-(time_s[running] - START_S) / 0.03)
    if stalls_at_s is not None:
        still = (time_s > stalls_at_s) & (time_s < 15.0)
        current_a[still] = 7.5 + rng.normal(0, 0.02, int(still.sum()))
    voltage_v = 12.6 - 0.1 * current_a + rng.normal(0, 0.005, len(time_s))
    return Trace(
        time_s,
        current_a.round(4),
        voltage_v.round(3),
        direction,
        RIG.name,
        NOON + timedelta(minutes=minutes),
        8.0,
    )
