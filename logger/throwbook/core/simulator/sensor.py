"""The sensor and its board: what becomes of the true current and voltage on the way into the record."""

from dataclasses import dataclass

import numpy as np

from throwbook.core.simulator.machine import MachineModel
from throwbook.core.trace import FloatArray

RATES_HZ = (100.0, 125.0, 200.0, 250.0, 400.0)


@dataclass(frozen=True)
class SensorModel:
    """A current-sense board. Amplitudes are as they show in the record, in ampere or volt."""

    rate_hz: float = 200.0
    noise_a: float = 0.01
    """Standard deviation, white."""
    offset_a: float = 0.0
    drift_a_s: float = 0.0
    """How fast the zero wanders while the record runs [A/s]."""
    gain: float = 1.0
    resolution_a: float = 0.001
    full_scale_a: float = 50.0
    polarity: int = 1
    """+1 or -1: which way round the sensor sits."""
    aperture_s: float = 0.0
    """Time one reading averages over; 0: a point sample."""
    pickup_a: float = 0.0
    """Amplitude of mains pick-up (a charger or lamp near by)."""
    pickup_hz: float = 50.0
    spikes_per_s: float = 0.0
    spike_a: float = 0.0
    lost_share: float = 0.0
    """Share of rows that never arrive, one by one."""
    jitter_s: float = 0.0
    """Standard deviation of the time stamps."""
    clock_ppm: float = 0.0
    has_voltage: bool = True
    voltage_noise_v: float = 0.008
    voltage_resolution_v: float = 0.004
    voltage_gain: float = 1.0
    has_switches: bool = False
    """Whether a switch at each pin is wired to the board."""
    debounce_s: float = 0.01
    """How long a contact must rest before the board believes it."""
    has_probe: bool = False
    """Whether a temperature probe is."""
    before_s: float | None = None
    """Rest in the record before switch-on [s]; None: anything from 0.2 to 2."""
    after_s: float | None = None
    """Rest after the end [s]; None: anything from 0.2 to 2."""


def random_sensor(
    rng: np.random.Generator, machine: MachineModel, rate_hz: float | None = None, has_voltage: bool = True
) -> SensorModel:
    """A sensor as it might be found on such a machine: sized for its stall current, with its own errors."""
    rate = float(rng.choice(RATES_HZ)) if rate_hz is None else rate_hz
    stall = machine.nominal_v * 1.2 / machine.total_ohm
    full_scale = float(min(x for x in (5, 10, 20, 30, 50, 100, 200, 400) if x > stall))
    run = machine.healthy_run_current_a("lock")
    noise = float(run * rng.uniform(0.002, 0.02))
    return SensorModel(
        rate_hz=rate,
        noise_a=noise,
        offset_a=float(run * rng.normal(0, 0.02)),
        drift_a_s=float(run * rng.normal(0, 0.0002)),
        gain=float(rng.normal(1, 0.002)),
        resolution_a=float(full_scale / rng.choice((2000, 8000, 32000))),
        full_scale_a=full_scale,
        polarity=int(rng.choice((1, 1, 1, -1))),
        aperture_s=float(rng.choice((0.0, 0.3, 0.9)) / rate),
        pickup_a=float(rng.choice((0.0, 0.5)) * noise),
        pickup_hz=float(rng.choice((50.0, 60.0))),
        spikes_per_s=float(rng.choice((0.0, 0.0, 0.2))),
        spike_a=float(run * rng.uniform(0.3, 1.5)),
        lost_share=float(rng.choice((0.0, 0.0, 0.002))),
        jitter_s=float(rng.choice((0.0, 0.02, 0.08)) / rate),
        clock_ppm=float(rng.normal(0, 40)),
        has_voltage=has_voltage,
        voltage_noise_v=float(machine.nominal_v * rng.uniform(0.0003, 0.002)),
        voltage_resolution_v=0.004,
        voltage_gain=float(rng.normal(1, 0.002)),
    )


def sense_current(
    sensor: SensorModel,
    true_a: FloatArray,
    time_s: FloatArray,
    rng: np.random.Generator,
    pickup_phase: float = 0.0,
) -> FloatArray:
    """True currents [A] at these instants [s] as the sensor gives them, shape (n,)."""
    n = len(true_a)
    seen = (
        sensor.gain * true_a
        + sensor.offset_a
        + sensor.drift_a_s * time_s
        + sensor.noise_a * rng.standard_normal(n)
    )
    if sensor.pickup_a:
        seen = seen + sensor.pickup_a * np.sin(2 * np.pi * sensor.pickup_hz * time_s + pickup_phase)
    if sensor.spikes_per_s:
        hit = rng.random(n) < sensor.spikes_per_s / sensor.rate_hz
        seen = seen + hit * sensor.spike_a * rng.choice((-1.0, 1.0), n) * rng.uniform(0.3, 1.0, n)
    clipped = np.clip(sensor.polarity * seen, -sensor.full_scale_a, sensor.full_scale_a)
    return quantise(clipped, sensor.resolution_a)


def sense_voltage(sensor: SensorModel, true_v: FloatArray, rng: np.random.Generator) -> FloatArray:
    """True voltages [V] as the board gives them, shape (n,)."""
    seen = sensor.voltage_gain * true_v + sensor.voltage_noise_v * rng.standard_normal(len(true_v))
    return quantise(seen, sensor.voltage_resolution_v)


def quantise(values: FloatArray, step: float) -> FloatArray:
    """Values rounded to whole steps; a step of 0 leaves them."""
    return np.asarray(np.round(values / step) * step) if step else values


def aperture_factor(sensor: SensorModel, frequency_hz: FloatArray) -> FloatArray:
    """What averaging over the aperture leaves of a ripple at these frequencies [Hz], shape as given."""
    return np.asarray(np.sinc(frequency_hz * sensor.aperture_s))
