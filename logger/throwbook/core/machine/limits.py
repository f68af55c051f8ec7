"""Every acceptance limit in one table, with its source and the rig's own overrides; how far an assumption widens it.

Two kinds. A limit of the *rating* (rated maximum current, lowest voltage, travel done) is judged with a guard band and decides
whether a sheet may be accepted. An *alert* (80 % of the rating, expected time, spread) is compared as read: over one is worth
watching, and bars nothing. A limit that a rig overrides carries the rig's reason as its source.

What nobody measured and no data sheet gives is taken at both of its ends. It may widen what is expected; it never fails a
throw and never makes it undecided.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import product
from typing import NamedTuple

from throwbook.core.assessment import FAIL, PASS, UNDECIDED, Interval, Measured
from throwbook.core.machine.expected_throw import RATED_C, given_values, travel_m
from throwbook.core.machine.motor import MotorLine, motor_line, resistance_at
from throwbook.core.quantities.rounding import limit_text
from throwbook.core.rig import Rig
from throwbook.core.wording import LIMITS as LIMIT_NAMES
from throwbook.errors import InputError

NOT_JUDGED = "not judged"
MAX = "max"
MIN = "min"
RATING = "rating"
ALERT = "alert"
SUITABILITY = "suitability"
PRACTICE = "common practice, no source"
STROKE_TESTS = "tolerance of in-service tests of motor-driven valves: 15 % over 10 s, 25 % when shorter"
SHORT_STROKE_S = 10.0
"""Below this expected time the time limits are the wider ones [s]."""
LONG_BAND = 0.15
SHORT_BAND = 0.25


@dataclass(frozen=True)
class LimitRule:
    """What a limit is before a rig is known."""

    kind: str
    """Kind of quantity: ``current``, ``voltage`` or ``share``."""
    unit: str
    """SI unit of its value; ``1`` is a share."""
    side: str
    """``max``: the figure must stay at or below it; ``min``: at or above."""
    share: float
    """Default, as a share of ``of``."""
    of: str
    """Field of the actuator that ``share`` refers to; empty: the limit is itself a share."""
    source: str
    loosest: float
    """How far a rig may loosen it, as a share of ``of``: a limit of the rating not at all, an alert up to where a throw
    fails in any case."""
    judged_as: str = ALERT
    """``rating``: with a guard band, and it decides acceptance; ``alert``: as read, and it only raises a watch;
    ``suitability``: judged before the actuator is bought."""


LIMITS: dict[str, LimitRule] = {
    "run_current": LimitRule(
        "current",
        "A",
        MAX,
        0.80,
        "full_load_current_a",
        PRACTICE,
        1.00,
    ),
    "peak_run_current": LimitRule(
        "current",
        "A",
        MAX,
        1.00,
        "full_load_current_a",
        PRACTICE,
        1.00,
        RATING,
    ),
    "travel_done": LimitRule(
        "share",
        "1",
        MIN,
        1.0 - LONG_BAND,
        "",
        STROKE_TESTS,
        1.0 - LONG_BAND,
        RATING,
    ),
    # The two time limits are shares of the time that the measured voltage and current ask for.
    "travel_time_low": LimitRule(
        "share",
        "1",
        MIN,
        1.0 - LONG_BAND,
        "",
        STROKE_TESTS,
        1.0 - 2.0 * LONG_BAND,
    ),
    "travel_time_high": LimitRule(
        "share",
        "1",
        MAX,
        1.0 + LONG_BAND,
        "",
        STROKE_TESTS,
        1.0 + 2.0 * LONG_BAND,
    ),
    "supply_under_load": LimitRule("voltage", "V", MIN, 0.90, "voltage_v", PRACTICE, 0.90, RATING),
    "spread_run_current": LimitRule(
        "share",
        "1",
        MAX,
        0.10,
        "",
        PRACTICE,
        0.50,  # assumed: throws that differ by half are no set
    ),
    "force_margin": LimitRule(
        "share",
        "1",
        MIN,
        0.30,
        "",
        PRACTICE,
        0.0,
        SUITABILITY,
    ),
}
_SHORT_STROKE = {
    "travel_done": 1.0 - SHORT_BAND,
    "travel_time_low": 1.0 - SHORT_BAND,
    "travel_time_high": 1.0 + SHORT_BAND,
}
_SHORT_LOOSEST = {
    "travel_done": 1.0 - SHORT_BAND,
    "travel_time_low": 1.0 - 2.0 * SHORT_BAND,
    "travel_time_high": 1.0 + 2.0 * SHORT_BAND,
}


@dataclass(frozen=True)
class Limit:
    """A limit of one rig."""

    value: float
    """In ``unit``."""
    side: str
    unit: str
    limit_from: str
    """Where it comes from, as a verdict prints it."""
    judged_as: str = RATING
    fails_at: float | None = None
    """Where a figure over an alert fails all the same, guarded; None: nowhere."""


def decide(measured: Measured | Interval | None, limit: float, side: str) -> str:
    """``pass``, ``fail``, ``undecided``, or ``not judged`` where the figure is missing.

    Of an interval that isn't as wide above as below the end that lies towards the limit counts.

    >>> decide(Measured(0.0017, 0.0010), 0.003, "max"), decide(Measured(0.0025, 0.0010), 0.003, "max")
    ('pass', 'undecided')
    >>> decide(Interval(14.5, 10.6, 23.6), 20.0, "max"), decide(Interval(14.5, 10.6, 23.6), 10.0, "max")
    ('undecided', 'fail')
    """
    if measured is None:
        return NOT_JUDGED
    room, worse, better = (
        (limit - measured.value, measured.up, measured.down)
        if side == MAX
        else (measured.value - limit, measured.down, measured.up)
    )
    if room >= worse:
        return PASS
    return FAIL if room < -better else UNDECIDED


def limits_for(rig: Rig, expected_time_s: float | None = None) -> dict[str, Limit]:
    """All limits of ``rig``, its overrides applied.

    ``expected_time_s`` [s] decides which time limits hold; None: what the rating expects of a whole throw.
    """
    if expected_time_s is None:
        expected_time_s = rated_time(rig)
    short = expected_time_s < SHORT_STROKE_S
    limits = {}
    for name, rule in LIMITS.items():
        share = _share(name, rig, short)
        value, source = share * _reference(rule, rig), _source(name, share, rig)
        override = rig.limits.get(name)
        if override is not None:
            value, source = override.value, f"this rig: {override.reason}"
        fails_at = _loosest(name, rig, short) if name in _FAIL_BEYOND else None
        limits[name] = Limit(value, rule.side, rule.unit, source, rule.judged_as, fails_at)
    return limits


_FAIL_BEYOND = ("travel_time_low", "travel_time_high")
"""Alerts that a throw can be so far beyond that it fails: by twice their tolerance."""


def guarded_run_current(rig: Rig) -> Limit:
    """What the running current must keep where nobody could read the highest: 80 % of the rated maximum, with a guard band.

    The rig's own limit counts only where it is the tighter one.
    """
    rule, own = LIMITS["run_current"], rig.limits.get("run_current")
    most = rule.share * _reference(rule, rig)
    if own is not None and own.value < most:
        return Limit(own.value, rule.side, rule.unit, f"this rig: {own.reason}")
    return Limit(most, rule.side, rule.unit, f"no peak was read; {_source('run_current', rule.share, rig)}")


def looser_limits(rig: Rig) -> dict[str, str]:
    """The rig's own limits that are looser than any reason can make them, each with a sentence of why.

    An older logbook may hold such a limit: it is read, told, and bars an acceptance. A new one is refused.
    """
    short = rated_time(rig) < SHORT_STROKE_S if rig.limits else False
    found = {}
    for name, override in rig.limits.items():
        rule = LIMITS.get(name)
        if rule is None:
            continue
        loosest = _loosest(name, rig, short)
        beyond = override.value - loosest if rule.side == MAX else loosest - override.value
        if beyond > 1e-9 * abs(loosest):
            word = "above" if rule.side == MAX else "below"
            reach = f"{limit_text(loosest, rule.side, rule.unit)}, {_OF_LOOSEST.get(rule.of, 'where a throw fails in any case')}"
            own = limit_text(override.value, rule.side, rule.unit)
            found[name] = f"{LIMIT_NAMES[name].sentence}: {own} is {word} {reach}"
    return found


def rated_time(rig: Rig) -> float:
    """Time [s] of a whole throw at nominal voltage and the needed force (half the rated one if not known).

    A rating that draws no motor line: at the no-load speed.
    """
    force = rig.lock.needed_force_n
    if force is None:
        force = 0.5 * rig.actuator.rated_force_n
    try:
        line = motor_line(rig.actuator)
    except InputError:
        speed = rig.actuator.no_load_speed_m_s
        return travel_m(rig) / speed if speed > 0.0 else float("inf")
    _, time_s = given_values(rig, line).throw(rig, force, rig.actuator.voltage_v, RATED_C)
    return float(time_s)


def _share(name: str, rig: Rig, short: bool) -> float:
    """The default, as a share; no more travel is asked for than the mechanism needs."""
    share = _SHORT_STROKE[name] if short and name in _SHORT_STROKE else LIMITS[name].share
    return min(share, _needed_share(rig)) if name == "travel_done" else share


def _needed_share(rig: Rig) -> float:
    """Travel the mechanism needs, of the stroke; 1 where the rig's values don't say."""
    return rig.lock.needed_travel_m / rig.actuator.stroke_m if rig.actuator.stroke_m > 0.0 else 1.0


def _loosest(name: str, rig: Rig, short: bool) -> float:
    """How far the rig's own limit may go, in the limit's unit."""
    rule = LIMITS[name]
    if name == "travel_done":
        return _share(name, rig, short)
    return (_SHORT_LOOSEST[name] if short and name in _SHORT_LOOSEST else rule.loosest) * _reference(
        rule, rig
    )


def _reference(rule: LimitRule, rig: Rig) -> float:
    return float(getattr(rig.actuator, rule.of)) if rule.of else 1.0


_OF_LOOSEST = {"full_load_current_a": "the full-load current", "voltage_v": "90 % of the nominal voltage"}
_OF_WHAT = {"full_load_current_a": "of the full-load current", "voltage_v": "of the nominal voltage"}


def _source(name: str, share: float, rig: Rig) -> str:
    rule = LIMITS[name]
    if name == "travel_done" and share >= _needed_share(rig):
        return "the travel needed"
    return f"{100 * share:.0f} % {_OF_WHAT[rule.of]}; {rule.source}" if rule.of else rule.source


LOWEST_SUPPLY, HIGHEST_SUPPLY = 0.90, 1.25
"""Of the nominal voltage, where none was read: a battery that still may be used, and a 12 V system of which the engine runs
(up to 15 V; common practice, no source)."""
LEAST_TURNING = 0.1
"""Next to stall the line says nothing: at least so much of the voltage turns the motor."""


class Opening(NamedTuple):
    """The shortest and the longest expected time, over the one reckoned with."""

    low: float = 1.0
    high: float = 1.0

    @property
    def furthest(self) -> float:
        """How far a time over the expected one may be off, as a share of it."""
        return max(1.0 / self.low - 1.0, 1.0 - 1.0 / self.high)


def opening(
    line: MotorLine,
    volts: Sequence[float],
    amps: Sequence[float],
    ambient_c: float | None,
    others: Sequence[MotorLine] = (),
) -> Opening:
    """From every voltage [V] and current [A] that may have been, the first of each being the one reckoned with.

    ``others``: lines that the data sheet allows as well, beside ``line``. Without a voltage nothing turns, and an
    assumption leaves nothing open.
    """
    if min(volts) <= 0.0:
        return Opening(1.0, 1.0)
    paces = [_pace(one, volt, amp, ambient_c) for one, volt, amp in product((line, *others), volts, amps)]
    return Opening(min(paces) / paces[0], max(paces) / paces[0])


def _pace(line: MotorLine, volts: float, amps: float, ambient_c: float | None) -> float:
    """Seconds a metre."""
    r_ohm = float(resistance_at(line, 20.0 if ambient_c is None else ambient_c))
    return line.k_e_v_s_per_m / max(volts - amps * r_ohm, LEAST_TURNING * volts)


def widened(limit: Limit, left_open: Opening) -> Limit:
    """A limit on time over expected time, as far out as the expectation reaches."""
    factor = left_open.high if limit.side == MAX else left_open.low
    if abs(factor - 1.0) < 1e-9:
        return limit
    return replace(
        limit,
        value=limit.value * factor,
        fails_at=None if limit.fails_at is None else limit.fails_at * factor,
        limit_from=f"{limit.limit_from}; wider because of assumed values",
    )
