"""Whether the values of a rig agree with each other and with the world: every fault named, in one list.

A grave problem is a contradiction: no verdict can rest on such a rig. The others are odd and may be right.
"""

import math
from collections.abc import Callable

from logger.core.machine.expected_throw import travel_m
from logger.core.machine.limits import LIMITS, looser_limits
from logger.core.machine.protection import read_code
from logger.core.machine.rating import drive_efficiency, motor_line, propagated
from logger.core.machine.rig_numbers import NUMBERS, Problem, bad_numbers
from logger.core.machine.wiring import BLADE_SIZES_A, CONTINUOUS_SHARE, fuse_row
from logger.core.quantities.number_text import rounded_down, rounded_up
from logger.core.quantities.units import show, show_duration
from logger.core.rig import Rig
from logger.errors import InputError

LOOSER = (
    "A limit may be tightened, with a reason; no reason loosens it beyond that. Correct it or leave it out."
)
USUAL_VOLTAGES = (6.0, 12.0, 24.0, 36.0, 48.0)
"""Nominal voltages of vehicle batteries; common practice, no source."""


def problems(rig: Rig) -> tuple[Problem, ...]:
    """Every inconsistency of ``rig``, grave ones first. Never raises, whatever the values."""
    numbers = bad_numbers(rig)
    found = list(numbers)
    bad = {problem.key for problem in numbers if problem.grave}
    for rule, needs in RULES:
        if not bad.intersection(needs):
            found += rule(rig)
    return tuple(sorted(found, key=lambda problem: not problem.grave))


def _spacings(rig: Rig) -> list[Problem]:
    lock = rig.lock
    if lock.spacing_locked_m is None or lock.spacing_unlocked_m is None:
        if lock.spacing_locked_m is not None or lock.spacing_unlocked_m is not None:
            return [
                Problem(
                    "lock.spacing_locked",
                    "only one of the two spacings is given, so it checks nothing",
                    "Give spacing_locked and spacing_unlocked.",
                    False,
                )
            ]
        return []
    if not (math.isfinite(lock.spacing_locked_m) and math.isfinite(lock.spacing_unlocked_m)):
        return [Problem("lock.spacing_locked", "a spacing is not a number", "Measure both again.", True)]
    apart = abs(lock.spacing_locked_m - lock.spacing_unlocked_m)
    found = []
    # Measured by tape: 1 mm or 1 %, whichever is more. Common practice, no source.
    if abs(apart - lock.needed_travel_m) > max(0.001, 0.01 * lock.needed_travel_m):
        found.append(
            Problem(
                "lock.needed_travel",
                f"is {_length(rig, lock.needed_travel_m)}, but the spacings are {_length(rig, apart)} apart",
                "Measure spacing_locked and spacing_unlocked again and correct the one that is wrong.",
                True,
            )
        )
    grows = lock.spacing_locked_m > lock.spacing_unlocked_m
    if apart > 0.0 and grows != rig.actuator.extend_locks:
        moves = "longer" if grows else "shorter"
        found.append(
            Problem(
                "actuator.extend_locks",
                f"the spacing is {moves} after a lock throw, but extend_locks is {str(rig.actuator.extend_locks).lower()}",
                "Look which way the rod moves when it locks.",
                True,
            )
        )
    return found


def _stroke(rig: Rig) -> list[Problem]:
    short = rig.lock.needed_travel_m - rig.actuator.stroke_m
    if short <= 0.0:
        return []
    return [
        Problem(
            "actuator.stroke",
            f"is {_length(rig, rig.actuator.stroke_m)}, {_length(rig, short)} short of the needed travel",
            "This actuator can't throw these pins: take one with a longer stroke, or check needed_travel.",
            True,
        )
    ]


def _currents(rig: Rig) -> list[Problem]:
    unit = rig.actuator
    if unit.full_load_current_a > unit.no_load_current_a:
        return []
    return [
        Problem(
            "actuator.full_load_current",
            f"is {unit.full_load_current_a:g} A, not above the no-load current of {unit.no_load_current_a:g} A",
            "Look whether the two were swapped.",
            True,
        )
    ]


def _speeds(rig: Rig) -> list[Problem]:
    unit = rig.actuator
    if unit.full_load_speed_m_s is None or unit.full_load_speed_m_s < unit.no_load_speed_m_s:
        return []
    return [
        Problem(
            "actuator.full_load_speed",
            "is not below the no-load speed",
            "Look whether the two were swapped; leave full_load_speed out if it isn't known.",
            True,
        )
    ]


def _efficiency(rig: Rig) -> list[Problem]:
    try:
        line = motor_line(rig.actuator)
    except InputError:
        return []  # named by the rules above
    over = drive_efficiency(line) - 1.0
    if over <= 0.0:
        return []
    sure = over > 2.0 * propagated(line, drive_efficiency)
    return [
        Problem(
            "actuator",
            f"the data sheet promises {100 * (1.0 + over):.0f} % of the electric power as push times speed",
            "More comes out than goes in: check voltage, force, speeds and currents against the data sheet.",
            sure,
        )
    ]


def _force(rig: Rig) -> list[Problem]:
    needed = rig.lock.needed_force_n
    if needed is None or needed <= rig.actuator.rated_force_n:
        return []
    what = f"is {show(needed, 'force', rig.units)}, more than the actuator's rated force"
    return [Problem("lock.needed_force", what, "Take a stronger actuator, or ease the mechanism.", False)]


def _voltage(rig: Rig) -> list[Problem]:
    found = []
    volts = rig.actuator.voltage_v
    if volts not in USUAL_VOLTAGES:
        usual = ", ".join(f"{one:g}" for one in USUAL_VOLTAGES)
        found.append(
            Problem(
                "actuator.voltage", f"is {volts:g} V; usual are {usual} V", "Give the nominal voltage.", False
            )
        )
    lowest = rig.lock.lowest_voltage_v
    if lowest is not None and lowest > 1.3 * volts:
        what = f"is {lowest:g} V, far above the actuator's {volts:g} V"
        found.append(
            Problem("lock.lowest_voltage", what, "Check that actuator and machine belong together.", True)
        )
    if lowest is not None and lowest < 0.5 * volts:
        what = f"is {lowest:g} V, under half of the actuator's {volts:g} V"
        found.append(
            Problem("lock.lowest_voltage", what, "Check that actuator and machine belong together.", False)
        )
    return found


def _duty(rig: Rig) -> list[Problem]:
    unit = rig.actuator
    if unit.duty_period_s is None or unit.duty_cycle is None:
        return []
    longest = unit.duty_cycle * unit.duty_period_s
    throw = travel_m(rig) / unit.no_load_speed_m_s
    if throw <= longest:
        return []
    what = f"allows {show_duration(longest, 'max')} of running, and one throw takes over {show_duration(throw, 'max')}"
    return [
        Problem("actuator.duty_period", what, "Check duty_cycle and duty_period on the data sheet.", False)
    ]


def _protection(rig: Rig) -> list[Problem]:
    code = rig.actuator.protection
    if code is None or read_code(code) is not None:
        return []
    what = f"'{code}' is no protection code that can be read"
    return [Problem("actuator.protection", what, 'Write it as on the data sheet, for example "IP66".', False)]


def _fuse(rig: Rig) -> list[Problem]:
    if rig.wiring is None or rig.wiring.fuse_a is None:
        return []
    found = []
    fuse, full = rig.wiring.fuse_a, rig.actuator.full_load_current_a
    if fuse * CONTINUOUS_SHARE < full:
        grave_word = "below" if fuse < full else "too close to"
        found.append(
            Problem(
                "wiring.fuse",
                f"of {fuse:g} A is {grave_word} the full-load current of {full:g} A; it carries "
                f"{rounded_down(CONTINUOUS_SHARE * fuse)} A for long",
                f"Take at least {_blade_size(full / CONTINUOUS_SHARE)} A, if the cable bears it.",
                fuse < full,
            )
        )
    row = fuse_row(rig.wiring.area_m2)
    if row is not None and fuse > row.fuse_a:
        found.append(
            Problem(
                "wiring.fuse",
                f"of {fuse:g} A doesn't protect {rig.wiring.conductor}: at most {row.fuse_a:g} A ({row.text})",
                "Take a smaller fuse or a thicker cable.",
                False,
            )
        )
    return found


def _blade_size(least_a: float) -> str:
    """The smallest blade fuse that is sold and not below ``least_a`` [A]; the figure itself beyond them."""
    size = next((size for size in BLADE_SIZES_A if size >= least_a), None)
    return rounded_up(least_a, 1) if size is None else f"{size:g}"


def _limits(rig: Rig) -> list[Problem]:
    found = []
    for name, limit in rig.limits.items():
        key = f"limits.{name}"
        if name not in LIMITS:
            found.append(Problem(key, "no limit has this name", f"Limits are {', '.join(LIMITS)}.", True))
        elif not (math.isfinite(limit.value) and limit.value > 0.0):
            found.append(Problem(key, "must be a number above zero", "Correct it or leave it out.", True))
    found += [
        Problem(f"limits.{name}", what, LOOSER, False)
        for name, what in looser_limits(rig).items()
        if not any(one.key == f"limits.{name}" for one in found)
    ]
    low, high = rig.limits.get("travel_time_low"), rig.limits.get("travel_time_high")
    if low is not None and high is not None and low.value >= high.value:
        found.append(Problem("limits.travel_time_low", "is not below travel_time_high", "Swap them.", True))
    return found


def _name(rig: Rig) -> list[Problem]:
    if rig.name.strip():
        return []
    return [Problem("name", "is empty", 'Give the rig a name, for example "quarry-loader".', True)]


def _length(rig: Rig, value_m: float) -> str:
    return show(value_m, "length", rig.units)


_TRAVEL = "lock.needed_travel"
_MOTOR = tuple(row[2] for row in NUMBERS if row[0] == "actuator")

# rule, keys that must be sound numbers before it can be asked.
RULES: tuple[tuple[Callable[[Rig], list[Problem]], tuple[str, ...]], ...] = (
    (_name, ()),
    (_spacings, (_TRAVEL,)),
    (_stroke, (_TRAVEL, "actuator.stroke")),
    (_currents, ("actuator.no_load_current", "actuator.full_load_current")),
    (_speeds, ("actuator.no_load_speed", "actuator.full_load_speed")),
    (_efficiency, _MOTOR),
    (_force, ("lock.needed_force", "actuator.rated_force")),
    (_voltage, ("actuator.voltage", "lock.lowest_voltage")),
    (_duty, (_TRAVEL, *_MOTOR)),
    (_protection, ()),
    (_fuse, ("wiring.fuse", "wiring.conductor", "actuator.full_load_current")),
    (_limits, (_TRAVEL, *_MOTOR)),
)
