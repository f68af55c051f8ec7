"""Invented histories at the level of figures, by two models that differ in kind. Neither is the method's own model.

``plain``: one smooth law of temperature, normal scatter, independent checks. ``rough``: another law for each rig
(straight, exponential, nothing above 5 degC, none), heavy-tailed scatter, checks that hang together, throws that are
far out now and then, attachments and operators that each add something, battery voltage that sags in the cold, a
thermometer that hangs in the sun.
"""

import math
from dataclasses import dataclass, field, replace
from datetime import date, timedelta

import numpy as np

from throwbook.core.assessment import Figures, Measured
from throwbook.core.rig import DIRECTIONS, Actuator, LimitOverride, LockMechanism, Rig
from throwbook.core.trend.history import (
    RigHistory,
    SeasonCheck,
    SeasonService,
    SeasonThrow,
)

Rng = np.random.Generator
FIRST_DAY = date(2022, 3, 1)
PLAIN, ROUGH = "plain", "rough"


@dataclass
class World:
    """What is drawn once for a rig."""

    style: str
    current_a: float
    between: float
    scatter: float
    law: str
    swing: float
    law_scale: float
    per_ln_voltage: float
    attachments: np.ndarray = field(default_factory=lambda: np.zeros(1))
    operators: np.ndarray = field(default_factory=lambda: np.zeros(1))
    memory: float = 0.0

    def weather(self, t: np.ndarray) -> np.ndarray:
        """ln change of running current at ``t`` degC; ``swing`` is the rise at -10 degC."""
        if self.law == "straight":
            return -self.swing * (t - 20) / 30
        if self.law == "exponential":
            return self.swing * np.expm1(-(t - 20) / self.law_scale) / np.expm1(30 / self.law_scale)
        if self.law == "frost":
            return self.swing * np.maximum(0, 5 - t) / 15
        return 0 * t


def draw_world(rng: Rng, style: str, swing: float | None = None) -> World:
    """A rig's own nature; ``swing`` fixes how far weather moves it."""
    plain = style == PLAIN
    return World(
        style=style,
        current_a=float(rng.uniform(1.2, 4.0)),
        between=float(rng.uniform(0.004, 0.020)),
        scatter=float(rng.uniform(0.008, 0.025)),
        law=str(
            rng.choice(["straight", "exponential"] if plain else ["straight", "exponential", "frost", "none"])
        ),
        swing=float(rng.uniform(0, 0.10 if plain else 0.14)) if swing is None else swing,
        law_scale=float(rng.uniform(18, 35) if plain else rng.uniform(12, 60)),
        per_ln_voltage=float(rng.uniform(0, 0.25) if plain else rng.uniform(-0.1, 0.3)),
        attachments=np.zeros(1) if plain else rng.normal(0, 0.010, 3),
        operators=np.zeros(1) if plain else rng.normal(0, 0.006, 2),
        memory=0.0 if plain else float(rng.uniform(0, 0.5)),
    )


def temperatures(rng: Rng, n: int) -> np.ndarray:
    """Air at ``n`` quarterly checks [degC], -10 to +35."""
    season = np.cos(2 * np.pi * np.arange(n) / 4 + rng.uniform(0, 2 * np.pi))
    return np.clip(rng.uniform(8, 16) + rng.uniform(6, 14) * season + rng.normal(0, 4, n), -10, 35)


def shared_errors(rng: Rng, world: World, n: int, attached: np.ndarray) -> np.ndarray:
    """What the checks of a rig have besides weather, in both directions alike; ``attached``: which attachment, (n,)."""
    size = 0.7 * world.between
    if world.style == PLAIN:
        return rng.normal(0, size, n)
    fresh = rng.standard_t(4, n) / np.sqrt(2) * size
    out = np.empty(n)
    out[0] = fresh[0]
    for i in range(1, n):
        out[i] = world.memory * out[i - 1] + np.sqrt(1 - world.memory**2) * fresh[i]
    return out + world.attachments[attached] + world.operators[rng.integers(0, len(world.operators), n)]


def throw_errors(rng: Rng, world: World, count: int) -> np.ndarray:
    """Scatter of the throws of one check."""
    if world.style == PLAIN:
        return rng.normal(0, world.scatter, count)
    heavy = rng.standard_t(4, count) / np.sqrt(2) * world.scatter
    return heavy + (rng.random(count) < 0.02) * rng.uniform(0.08, 0.30, count)


@dataclass
class Made:
    """A history and what is true of it."""

    history: RigHistory
    wear: np.ndarray
    """shape (n,) relative rise of the running current at 20 degC at each check"""
    days: list[date]
    world: World


@dataclass(frozen=True)
class Plan:
    """What is done to a rig, check by check."""

    wear: np.ndarray
    """shape (n,) relative rise of the running current at 20 degC"""
    counts: tuple[int, ...]
    """Throws each way at each check."""
    kinds: tuple[str, ...]
    twins: tuple[int, ...] = ()
    """Checks made on the day of the one before: same weather, attachment, operator and supply."""
    services: tuple[int, ...] = ()
    """A service was done just before each of these checks."""


def quarterly(n: int = 17, wear: np.ndarray | None = None) -> Plan:
    """A commissioning sheet with 5 + 5 throws and seasonal checks with 3 + 3."""
    return Plan(
        np.zeros(n) if wear is None else wear,
        (5, *[3] * (n - 1)),
        ("commissioning", *["seasonal"] * (n - 1)),
    )


def make_history(
    rng: Rng, style: str, plan: Plan, swing: float | None = None, limit: float | None = None
) -> Made:
    """One rig's life under ``plan``; ``limit`` sets the rig's limit [share of its own level at 20 degC]."""
    world = draw_world(rng, style, swing)
    n = len(plan.wear)
    air = temperatures(rng, n)
    engine = rng.random(n) < 0.5
    rest = rng.normal(12.4, 0.2, n) - (0.02 * np.maximum(0, 10 - air) if style == ROUGH else 0)
    volts = np.where(engine, rng.normal(13.9, 0.2, n), rest)
    attached = rng.integers(0, len(world.attachments), n)
    shared = shared_errors(rng, world, n, attached)
    felt = air + rng.normal(0, 1.5, n)
    if style == ROUGH:
        air = air + (rng.random(n) < 0.15) * rng.uniform(0, 8, n)
    own = {direction: rng.normal(0, 0.7 * world.between, n) for direction in DIRECTIONS}
    days = [FIRST_DAY + timedelta(days=round(91.3 * i + rng.normal(0, 10 if i else 0))) for i in range(n)]
    for twin in plan.twins:
        for one in (air, volts, attached, shared, felt, *own.values()):
            one[twin] = one[twin - 1]
        days[twin] = days[twin - 1]
    ln_v = np.log(volts / 12.0)
    level = shared + world.weather(felt) + world.per_ln_voltage * ln_v + np.log1p(plan.wear)
    checks = []
    for i in range(n):
        throws = [
            _throw(direction, float(amps), float(volts[i]))
            for direction in DIRECTIONS
            for amps in world.current_a
            * np.exp(level[i] + own[direction][i] + throw_errors(rng, world, plan.counts[i]))
        ]
        told = style == PLAIN or rng.random() < 0.7
        checks.append(
            SeasonCheck(
                days[i],
                f"sheet-{i}",
                plan.kinds[i],
                tuple(throws),
                ambient_c=round(float(air[i]), 1),
                attachment=f"attachment {attached[i]}" if told else "",
            )
        )
    services = tuple(SeasonService(days[i], "greased", True) for i in plan.services)
    rated_a = world.current_a / float(rng.uniform(0.5, 0.75))
    rig = make_rig(rated_a, None if limit is None else world.current_a * (1.0 + limit))
    return Made(RigHistory(rig, tuple(checks), services), plan.wear, days, world)


def with_every_figure(history: RigHistory, rng: Rng) -> RigHistory:
    """The same rig with the other figures measured as well: none of them wears; they follow current and voltage as a motor does.

    Half of the rigs have a take-up that mostly reads 0.00 and now and then, for a whole check, a little more, all far
    inside its own ±; the others one that is well resolved.
    """
    rated = history.rig.actuator
    ohm = rated.voltage_v * 0.3 / rated.full_load_current_a
    coarse = rng.random() < 0.5
    place, source_ohm = float(rng.uniform(0.03, 0.2)), float(rng.uniform(0.03, 0.12))
    of_pins = rng.spawn(1)[0]
    lag, lag_per_k = float(of_pins.uniform(-0.03, 0.03)), float(of_pins.normal(0, 0.0001))
    checks = []
    for check in history.checks:
        day = {name: float(rng.normal(0, sd)) for name, sd in DAY_SD.items()}
        jump = 0.05 * float(rng.random() < 0.15)
        lag_today = lag + float(of_pins.normal(0, 0.0015)) + lag_per_k * ((check.ambient_c or 20.0) - 20.0)
        throws = []
        for one in check.throws:
            run, volts = one.figures.run_current_a, one.figures.mean_voltage_v
            assert run is not None
            assert volts is not None
            own = {name: math.exp(day[name] + float(rng.normal(0, sd))) for name, sd in THROW_SD.items()}
            time_s = 12.0 * 0.8 * rated.voltage_v / (volts.value - ohm * run.value) * own["time"]
            peak_a, source = 1.15 * run.value * own["peak"], source_ohm * own["source"]
            if coarse:
                taken = Measured(round(jump + 0.01 * abs(float(rng.normal())), 2), 0.1)
            else:
                taken = Measured(place + 0.006 * float(rng.normal()) + 0.05 * day["time"], 0.015)
            later = lag_today + 0.001 * float(of_pins.normal())
            figures = replace(
                one.figures,
                switch_lag_fraction=Measured(later, 0.002),
                peak_run_current_a=Measured(peak_a, 0.02 * peak_a),
                travel_time_s=Measured(time_s, 0.05),
                source_resistance_ohm=Measured(source, 0.15 * source),
                take_up_fraction=taken,
                energy_j=Measured(run.value * volts.value * time_s, 0.02 * run.value * volts.value * time_s),
            )
            throws.append(replace(one, figures=figures))
        checks.append(replace(check, throws=tuple(throws)))
    return replace(history, checks=tuple(checks))


DAY_SD = {"time": 0.006, "peak": 0.010, "source": 0.06}
"""Standard deviation of what all throws of a day share besides the running current's own (logarithm)."""
THROW_SD = {"time": 0.006, "peak": 0.020, "source": 0.10}


def wearing(checks: int, every: int) -> RigHistory:
    """A rig that wears by 5 % a year, with a service before every so many of its checks."""
    wear = 0.05 * np.arange(checks) / 4
    plan = replace(quarterly(checks, wear), services=tuple(range(every, checks, every)))
    return make_history(np.random.default_rng(checks), PLAIN, plan).history


def make_rig(rated_a: float, limit_a: float | None = None) -> Rig:
    """A rig whose rated current is ``rated_a`` and whose limit of running current may be set."""
    actuator = Actuator(12.0, 0.2, 1500.0, 0.016, 0.2 * rated_a, rated_a, full_load_speed_m_s=0.011)
    limits = {} if limit_a is None else {"run_current": LimitOverride(limit_a, "set by the benchmark")}
    return Rig("bench-rig", actuator, LockMechanism(0.18), limits=limits)


def _throw(direction: str, amps: float, volts: float) -> SeasonThrow:
    return SeasonThrow(
        direction,
        Figures(run_current_a=Measured(amps, 0.01 * amps), mean_voltage_v=Measured(volts, 0.05)),
    )
