"""A board's readings one by one, without end: idle, a throw, idle again. For rehearsal boards."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from logger.core.simulator.sensor import SensorModel, sense_current, sense_voltage
from logger.core.simulator.waveform import Waveform
from logger.core.trace import FloatArray

BLOCK = 64
"""Readings worked out at a time; the caller sees them singly."""


class Reading(NamedTuple):
    """One sample as the board's converter gives it."""

    time_s: float
    """Since the stream began."""
    current_counts: int
    voltage_counts: int | None


def stream(
    throws: Sequence[tuple[float, Waveform]],
    sensor: SensorModel,
    rng: np.random.Generator,
    amp_lsb_a: float,
    volt_lsb_v: float,
) -> Iterator[Reading]:
    """Readings at ``sensor.rate_hz``, endless. ``throws``: (switch-on in stream time [s], its waveform), in order.

    Each reading is worked out from its own instant alone, so a consumer may skip some (lost rows) as it likes.
    Counts are whole steps of ``amp_lsb_a`` [A] and ``volt_lsb_v`` [V]. Sensor faults (noise, offset, full scale)
    are those of each waveform's plan where a throw has begun, of ``sensor`` before.
    """
    fine = replace(sensor, resolution_a=0.0, voltage_resolution_v=0.0)
    first = 0
    while True:
        times = (first + np.arange(BLOCK)) / sensor.rate_hz
        current, voltage = _block(throws, fine, times, rng)
        amps = np.round(current / amp_lsb_a).astype(int).tolist()
        volts = np.round(voltage / volt_lsb_v).astype(int).tolist()
        for k in range(BLOCK):
            yield Reading(float(times[k]), amps[k], volts[k] if sensor.has_voltage else None)
        first += BLOCK


def _block(
    throws: Sequence[tuple[float, Waveform]], sensor: SensorModel, times: FloatArray, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """Sensed current [A] and voltage [V] at these instants, each from the throw that began last; shape (n,)."""
    starts = [start for start, _ in throws]
    which = np.clip(np.searchsorted(starts, times, side="right") - 1, 0, None)
    current, voltage = np.empty_like(times), np.empty_like(times)
    for index in np.unique(which):
        start, waveform = throws[index]
        mine = which == index
        plan = waveform.plan.sensor if times[mine][-1] >= start else sensor
        own = replace(plan, resolution_a=0.0, voltage_resolution_v=0.0)
        true_a, true_v = waveform.at(times[mine] - start, own, rng)
        current[mine] = sense_current(own, true_a, times[mine], rng)
        voltage[mine] = sense_voltage(own, true_v, rng)
    return current, voltage
