"""Whether the values of a rig agree and its name is distinct; what a changed or retired rig file means.

A grave problem is a contradiction: no verdict can rest on such a rig. The others are odd and may be right.
"""

import math
import re
import unicodedata
from collections.abc import Callable, Iterable
from dataclasses import dataclass, fields

from throwbook.core.machine.electrical import BLADE_SIZES_A, CONTINUOUS_SHARE, fuse_row, read_code
from throwbook.core.machine.expected_throw import travel_m
from throwbook.core.machine.limits import LIMITS, MAX, limits_for, looser_limits
from throwbook.core.machine.motor import drive_efficiency, motor_line, propagated
from throwbook.core.quantities.rounding import rounded_down, rounded_up
from throwbook.core.quantities.units import KINDS, show, show_duration
from throwbook.core.rig import Rig
from throwbook.core.wording import LIMITS as LIMIT_NAMES
from throwbook.core.wording import RIG
from throwbook.errors import InputError

# Part of a rig: names that don't count. Wiring, board and units change no limit.
RESTED_ON = {
    "actuator": ("protection",),
    "lock": ("excess_goes", "bears_force_n", "lowest_voltage_v", "coldest_c"),
}
UNITS = ("_m_s", "_v", "_m", "_n", "_a", "_s")


def changed_since(before: Rig, after: Rig) -> tuple[str, ...]:
    """Names of ratings and measures that are others now, and of limits that are looser; empty: none.

    A value that wasn't known before is no change: it was assumed, and every sheet said so.
    """
    found = []
    for part, apart in RESTED_ON.items():
        old, new = getattr(before, part), getattr(after, part)
        for one in fields(old):
            was = getattr(old, one.name)
            if one.name not in apart and was is not None and was != getattr(new, one.name):
                found.append(RIG[f"{part}.{_key(one.name)}"].sentence)
    held, holds = limits_for(before), limits_for(after)
    for name, limit in sorted(held.items()):
        looser = holds[name].value - limit.value
        if (looser if limit.side == MAX else -looser) > 0.0:
            found.append(f"{LIMIT_NAMES[name].figure.sentence} limit")
    return tuple(found)


def _key(name: str) -> str:
    return next((name.removesuffix(unit) for unit in UNITS if name.endswith(unit)), name)


ALIKE_SCRIPTS = frozenset({"LATIN", "CYRILLIC", "GREEK"})
"""Scripts that share letters of one shape."""
CLAIMS = re.compile(r"\b(locked|engaged|safe|in service|do not use)\b", re.IGNORECASE)


def complaint(name: str, known: Iterable[str]) -> str:
    """What is wrong with the name of a new rig beside the ``known`` ones; empty: nothing.

    >>> complaint("Yard Loader", ["yard-loader"])
    "is too like 'yard-loader', which the logbook has"
    >>> complaint("yard-loader-2", ["yard-loader"])
    ''
    """
    if CLAIMS.search(name):
        return "reads like a status of the rig"
    scripts = {unicodedata.name(letter, "").split(" ")[0] for letter in name if letter.isalpha()}
    if len(scripts & ALIKE_SCRIPTS) > 1:
        return "mixes letters of two alphabets that look alike"
    twins = [other for other in known if other != name and _bare(other) == _bare(name)]
    return f"is too like '{twins[0]}', which the logbook has" if twins else ""


def _bare(name: str) -> str:
    """Letters and digits alone, capitals and small letters as one."""
    return "".join(sign for sign in unicodedata.normalize("NFKC", name).casefold() if sign.isalnum())


@dataclass(frozen=True)
class RigProblem:
    """One thing that doesn't fit."""

    key: str
    """As in the rig file: ``actuator.stroke``."""
    what: str
    do: str
    grave: bool


# Figures that must be above zero: (section, field, key, kind, smallest and largest that is not absurd [SI]).
# The bounds are wide: anything from a cabin latch to a crane. Common practice, no source.
NUMBERS: tuple[tuple[str, str, str, str, float, float], ...] = (
    ("lock", "needed_travel_m", "lock.needed_travel", "length", 0.002, 2.0),
    ("lock", "needed_force_n", "lock.needed_force", "force", 1.0, 1e6),
    ("lock", "bears_force_n", "lock.bears_force", "force", 1.0, 1e6),
    ("lock", "lowest_voltage_v", "lock.lowest_voltage", "voltage", 1.0, 120.0),
    ("actuator", "voltage_v", "actuator.voltage", "voltage", 3.0, 120.0),
    ("actuator", "stroke_m", "actuator.stroke", "length", 0.002, 2.0),
    ("actuator", "rated_force_n", "actuator.rated_force", "force", 5.0, 1e6),
    ("actuator", "no_load_speed_m_s", "actuator.no_load_speed", "speed", 1e-4, 1.0),
    ("actuator", "full_load_speed_m_s", "actuator.full_load_speed", "speed", 1e-4, 1.0),
    ("actuator", "no_load_current_a", "actuator.no_load_current", "current", 0.005, 200.0),
    ("actuator", "full_load_current_a", "actuator.full_load_current", "current", 0.01, 500.0),
    ("actuator", "duty_cycle", "actuator.duty_cycle", "share", 0.005, 1.0),
    ("actuator", "duty_period_s", "actuator.duty_period", "time", 1.0, 86400.0),
    ("wiring", "area_m2", "wiring.conductor", "area", 0.1e-6, 200e-6),
    ("wiring", "length_one_way_m", "wiring.length_one_way", "cable length", 0.05, 100.0),
    ("wiring", "fuse_a", "wiring.fuse", "current", 0.1, 500.0),
)


def bad_numbers(rig: Rig) -> list[RigProblem]:
    """A grave problem for each figure that can't be right, whatever the others say."""
    found = []
    for section, name, key, kind, least, most in NUMBERS:
        part = getattr(rig, section)
        value = None if part is None else getattr(part, name)
        if value is None:
            continue
        do = "Copy it from the data sheet again." if section == "actuator" else "Measure it again."
        if not math.isfinite(value):
            found.append(RigProblem(key, "is not a number", do, True))
        elif value <= 0.0:
            found.append(RigProblem(key, f"is {show(value, kind)}; it must be above zero", do, True))
        elif not least <= value <= most:
            word = "small" if value < least else "large"
            shown = show(value, kind) if kind == "share" else f"{value:.3g} {KINDS[kind].si}"
            found.append(RigProblem(key, f"is {shown}, far too {word}", do, True))
    coldest = rig.lock.coldest_c
    if coldest is not None and not -60.0 <= coldest <= 50.0:
        found.append(
            RigProblem("lock.coldest", "is not a working temperature", "Type for example -10 degC.", True)
        )
    return found


LOOSER = (
    "A limit may be tightened, with a reason; no reason loosens it beyond that. Correct it or leave it out."
)
USUAL_VOLTAGES = (6.0, 12.0, 24.0, 36.0, 48.0)
"""Nominal voltages of vehicle batteries; common practice, no source."""


def problems(rig: Rig) -> tuple[RigProblem, ...]:
    """Every inconsistency of ``rig``, grave ones first. Never raises, whatever the values."""
    numbers = bad_numbers(rig)
    found = list(numbers)
    bad = {problem.key for problem in numbers if problem.grave}
    for rule, needs in RULES:
        if not bad.intersection(needs):
            found += rule(rig)
    return tuple(sorted(found, key=lambda problem: not problem.grave))


def _spacings(rig: Rig) -> list[RigProblem]:
    lock = rig.lock
    if lock.spacing_locked_m is None or lock.spacing_unlocked_m is None:
        if lock.spacing_locked_m is not None or lock.spacing_unlocked_m is not None:
            return [
                RigProblem(
                    "lock.spacing_locked",
                    "only one of the two spacings is given, so it checks nothing",
                    "Give spacing_locked and spacing_unlocked.",
                    False,
                )
            ]
        return []
    if not (math.isfinite(lock.spacing_locked_m) and math.isfinite(lock.spacing_unlocked_m)):
        return [RigProblem("lock.spacing_locked", "a spacing is not a number", "Measure both again.", True)]
    apart = abs(lock.spacing_locked_m - lock.spacing_unlocked_m)
    found = []
    # Measured by tape: 1 mm or 1 %, whichever is more. Common practice, no source.
    if abs(apart - lock.needed_travel_m) > max(0.001, 0.01 * lock.needed_travel_m):
        found.append(
            RigProblem(
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
            RigProblem(
                "actuator.extend_locks",
                f"the spacing is {moves} after a lock throw, but extend_locks is {str(rig.actuator.extend_locks).lower()}",
                "Look which way the rod moves in a lock throw.",
                True,
            )
        )
    return found


def _stroke(rig: Rig) -> list[RigProblem]:
    short = rig.lock.needed_travel_m - rig.actuator.stroke_m
    if short <= 0.0:
        return []
    return [
        RigProblem(
            "actuator.stroke",
            f"is {_length(rig, rig.actuator.stroke_m)}, {_length(rig, short)} short of the travel needed",
            "This actuator cannot throw these pins. Choose one with a longer stroke, or check needed_travel.",
            True,
        )
    ]


def _currents(rig: Rig) -> list[RigProblem]:
    unit = rig.actuator
    if unit.full_load_current_a > unit.no_load_current_a:
        return []
    return [
        RigProblem(
            "actuator.full_load_current",
            f"is {unit.full_load_current_a:g} A, not above the no-load current of {unit.no_load_current_a:g} A",
            "Check whether the two were swapped.",
            True,
        )
    ]


def _speeds(rig: Rig) -> list[RigProblem]:
    unit = rig.actuator
    if unit.full_load_speed_m_s is None or unit.full_load_speed_m_s < unit.no_load_speed_m_s:
        return []
    return [
        RigProblem(
            "actuator.full_load_speed",
            "is not below the no-load speed",
            "Check whether the two were swapped; leave full_load_speed out if it isn't known.",
            True,
        )
    ]


def _efficiency(rig: Rig) -> list[RigProblem]:
    try:
        line = motor_line(rig.actuator)
    except InputError:
        return []  # named by the rules above
    over = drive_efficiency(line) - 1.0
    if over <= 0.0:
        return []
    sure = over > 2.0 * propagated(line, drive_efficiency)
    return [
        RigProblem(
            "actuator",
            f"the data sheet claims {100 * (1.0 + over):.0f} % of the electric power as force times speed",
            "That is more power out than in: check voltage, force, speeds and currents against the data sheet.",
            sure,
        )
    ]


def _force(rig: Rig) -> list[RigProblem]:
    needed = rig.lock.needed_force_n
    if needed is None or needed <= rig.actuator.rated_force_n:
        return []
    what = f"is {show(needed, 'force', rig.units)}, more than the actuator's rated force"
    return [
        RigProblem(
            "lock.needed_force",
            what,
            "Choose a stronger actuator, or make the mechanism move more freely.",
            False,
        )
    ]


def _voltage(rig: Rig) -> list[RigProblem]:
    found = []
    volts = rig.actuator.voltage_v
    if volts not in USUAL_VOLTAGES:
        usual = ", ".join(f"{one:g}" for one in USUAL_VOLTAGES)
        found.append(
            RigProblem(
                "actuator.voltage", f"is {volts:g} V; usual are {usual} V", "Give the nominal voltage.", False
            )
        )
    lowest = rig.lock.lowest_voltage_v
    if lowest is not None and lowest > 1.3 * volts:
        what = f"is {lowest:g} V, far above the actuator's {volts:g} V"
        found.append(
            RigProblem("lock.lowest_voltage", what, "Check that actuator and machine belong together.", True)
        )
    if lowest is not None and lowest < 0.5 * volts:
        what = f"is {lowest:g} V, under half of the actuator's {volts:g} V"
        found.append(
            RigProblem("lock.lowest_voltage", what, "Check that actuator and machine belong together.", False)
        )
    return found


def _duty(rig: Rig) -> list[RigProblem]:
    unit = rig.actuator
    if unit.duty_period_s is None or unit.duty_cycle is None:
        return []
    longest = unit.duty_cycle * unit.duty_period_s
    throw = travel_m(rig) / unit.no_load_speed_m_s
    if throw <= longest:
        return []
    what = f"allows {show_duration(longest, 'max')} of running, and one throw takes over {show_duration(throw, 'max')}"
    return [
        RigProblem("actuator.duty_period", what, "Check duty_cycle and duty_period on the data sheet.", False)
    ]


def _protection(rig: Rig) -> list[RigProblem]:
    code = rig.actuator.protection
    if code is None or read_code(code) is not None:
        return []
    what = f"'{code}' is not a readable IP code"
    return [
        RigProblem("actuator.protection", what, 'Write it as on the data sheet, for example "IP66".', False)
    ]


def _fuse(rig: Rig) -> list[RigProblem]:
    if rig.wiring is None or rig.wiring.fuse_a is None:
        return []
    found = []
    fuse, full = rig.wiring.fuse_a, rig.actuator.full_load_current_a
    if fuse * CONTINUOUS_SHARE < full:
        grave_word = "below" if fuse < full else "too close to"
        found.append(
            RigProblem(
                "wiring.fuse",
                f"of {fuse:g} A is {grave_word} the full-load current of {full:g} A; it carries "
                f"{rounded_down(CONTINUOUS_SHARE * fuse)} A for long",
                f"Take at least {_blade_size(full / CONTINUOUS_SHARE)} A, if the cable is rated for it.",
                fuse < full,
            )
        )
    row = fuse_row(rig.wiring.area_m2)
    if row is not None and fuse > row.fuse_a:
        found.append(
            RigProblem(
                "wiring.fuse",
                f"of {fuse:g} A does not protect {rig.wiring.conductor}: at most {row.fuse_a:g} A ({row.text})",
                "Choose a smaller fuse or a thicker cable.",
                False,
            )
        )
    return found


def _blade_size(least_a: float) -> str:
    """The smallest blade fuse that is sold and not below ``least_a`` [A]; the figure itself beyond them."""
    size = next((size for size in BLADE_SIZES_A if size >= least_a), None)
    return rounded_up(least_a, 1) if size is None else f"{size:g}"


def _limits(rig: Rig) -> list[RigProblem]:
    found = []
    for name, limit in rig.limits.items():
        key = f"limits.{name}"
        if name not in LIMITS:
            found.append(RigProblem(key, "no limit has this name", f"Limits are {', '.join(LIMITS)}.", True))
        elif not (math.isfinite(limit.value) and limit.value > 0.0):
            found.append(RigProblem(key, "must be a number above zero", "Correct it or leave it out.", True))
    found += [
        RigProblem(f"limits.{name}", what, LOOSER, False)
        for name, what in looser_limits(rig).items()
        if not any(one.key == f"limits.{name}" for one in found)
    ]
    low, high = rig.limits.get("travel_time_low"), rig.limits.get("travel_time_high")
    if low is not None and high is not None and low.value >= high.value:
        found.append(
            RigProblem("limits.travel_time_low", "is not below travel_time_high", "Swap them.", True)
        )
    return found


def _name(rig: Rig) -> list[RigProblem]:
    if rig.name.strip():
        return []
    return [RigProblem("name", "is empty", 'Give the rig a name, for example "quarry-loader".', True)]


def _length(rig: Rig, value_m: float) -> str:
    return show(value_m, "length", rig.units)


_TRAVEL = "lock.needed_travel"
_MOTOR = tuple(row[2] for row in NUMBERS if row[0] == "actuator")


# rule, keys that must be sound numbers before it can be asked.
RULES: tuple[tuple[Callable[[Rig], list[RigProblem]], tuple[str, ...]], ...] = (
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
