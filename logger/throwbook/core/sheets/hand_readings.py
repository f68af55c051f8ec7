"""Throws typed in as lines, what the meters they were read from are worth, and readings that can't be meant.

    lock 14.3s 2.1A 2.9A 12.4V both seen, load check done, stayed put
    3) unlock 13,9 s; run 1.8 A; peak 2.4 A; 12.5 V under load    # anything after a # is a note

* The line starts with ``lock`` or ``unlock``; a number such as ``3)`` or ``3.`` before it is skipped.
* Every number carries its unit: ``s``, ``A`` or ``mA``, ``V`` or ``mV``, ``degC`` or ``degF``. A decimal comma is read as a point.
* The first current is the running one, the second the peak after the start; ``run`` and ``peak`` say which is which.
* A dash stands for a reading that wasn't taken, in the order of the paper sheet: time, running, peak, under load.
* A voltage is the one under load; ``at rest`` behind it, or ``rest`` before it, makes it the one at rest.
* Sightings: ``both seen``, ``left seen`` or ``left yes``, ``right not seen`` or ``right no``, ``not looked``; ``load check done`` or ``load check failed``;
  ``stayed put`` or ``let go`` (with the power off).
* How it ended, if not by itself at the end: ``stalled``, ``stopped short``, ``did not start``.

A word that isn't known is refused, not skipped: a sheet typed in wrongly must not pass for one typed in rightly.

Uncertainty: type B, root-sum-square, k = 2 (JCGM 100). An accuracy of +/- a is taken as a rectangle, a/sqrt(3) (4.3.7); a
display that steps by d adds d/sqrt(12) (F.2.2.1). A stroke timed by hand, start and stop by the same person, has no bias and
a standard deviation of 0.10 s (Am. J. Phys. 87(2) 110 (2019): 0.07 s for one event, its bias falls out between the two).

The bounds of a reading that can't be meant are wide on purpose: what lies beyond isn't a bad throw, it is no throw of this
actuator.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, fields, replace
from typing import Any

from throwbook.core.assessment import CUT_OFF, NO_RUN, STALL, Assessment, Measured
from throwbook.core.machine.limits import HIGHEST_SUPPLY
from throwbook.core.machine.motor import motor_line, resistance_at
from throwbook.core.quantities.statistics import (
    combined,
    expanded,
    from_half_width,
    from_step,
    hand_timed,
)
from throwbook.core.quantities.units import COMMON, show
from throwbook.core.records import NO, NOT_LOOKED, YES, Meter, accuracy_text
from throwbook.core.rig import DIRECTIONS, Rig
from throwbook.errors import InputError

STOPPED_SHORT = "stopped-short"
WORDS = (
    "Words to use: both seen, left seen, right not seen, not looked, load check done, stayed put, stalled."
)
EXAMPLE = "lock 14.3s 2.1A 2.9A 12.4V both seen"
BEYOND_BELIEF = 1e5
"""No reading of a stopwatch or meter is as large, in any SI unit."""


@dataclass(frozen=True)
class Reading:
    """A number as it was read: its value and the step of its last digit, both in the SI unit."""

    value: float
    step: float


@dataclass(frozen=True)
class HandThrow:
    """One throw measured by hand."""

    direction: str
    time_s: Reading | None = None
    run_current_a: Reading | None = None
    peak_current_a: Reading | None = None
    voltage_v: Reading | None = None
    """Under load."""
    rest_voltage_v: Reading | None = None
    ambient_c: Reading | None = None
    ended: str = CUT_OFF
    """``cut-off``, ``stall``, ``stopped-short`` or ``no-run``, as the person saw it."""
    left_pin: str = NOT_LOOKED
    right_pin: str = NOT_LOOKED
    load_check: str = NOT_LOOKED
    retained_power_off: str = NOT_LOOKED
    note: str = ""


def in_air(throw: HandThrow, ambient_c: float | None) -> HandThrow:
    """The throw with its sheet's air temperature [degC], unless one was read at the throw itself."""
    if throw.ambient_c is not None or ambient_c is None:
        return throw
    return replace(throw, ambient_c=Reading(ambient_c, 1.0))


UNITS = {
    unit.lower(): COMMON[unit] for unit in ("s", "sec", "A", "mA", "V", "mV", "degC", "°C", "degF", "°F")
}
"""Unit as typed, capitals or not: kind, factor to SI, offset added after the factor."""
# phrase: the fields it sets. Longer phrases are tried first.
PHRASES: dict[str, dict[str, str]] = {
    "both pins seen": {"left_pin": YES, "right_pin": YES},
    "both seen": {"left_pin": YES, "right_pin": YES},
    "left pin seen": {"left_pin": YES},
    "left seen": {"left_pin": YES},
    "right pin seen": {"right_pin": YES},
    "right seen": {"right_pin": YES},
    "left pin not seen": {"left_pin": NO},
    "left not seen": {"left_pin": NO},
    "right pin not seen": {"right_pin": NO},
    "right not seen": {"right_pin": NO},
    "left pin yes": {"left_pin": YES},
    "left yes": {"left_pin": YES},
    "right pin yes": {"right_pin": YES},
    "right yes": {"right_pin": YES},
    "left pin no": {"left_pin": NO},
    "left no": {"left_pin": NO},
    "right pin no": {"right_pin": NO},
    "right no": {"right_pin": NO},
    "left not looked": {"left_pin": NOT_LOOKED},
    "right not looked": {"right_pin": NOT_LOOKED},
    "not looked": {"left_pin": NOT_LOOKED, "right_pin": NOT_LOOKED},
    "load check done": {"load_check": YES},
    "load check failed": {"load_check": NO},
    "stayed put": {"retained_power_off": YES},
    "let go": {"retained_power_off": NO},
    "stalled": {"ended": STALL},
    "stopped short": {"ended": STOPPED_SHORT},
    "did not start": {"ended": NO_RUN},
}
_PHRASES = sorted(PHRASES, key=len, reverse=True)
_NUMBER = re.compile(r"([+-]?\d+(?:\.\d+)?)\s*([°a-z]+)?")
_BARE_NUMBER = re.compile(r"[+-]?[\d.]+(?=\s|$)")

# word before or behind a number: the field that it makes of it.
BEFORE = {"run": "run_current_a", "peak": "peak_current_a", "rest": "rest_voltage_v", "load": "voltage_v"}
COLUMNS = ("time_s", "run_current_a", "peak_current_a", "voltage_v")
"""Readings in the order of the paper sheet."""
DASHES = ("-", "\N{EN DASH}", "\N{EM DASH}")
BEHIND = {"at rest": "rest_voltage_v", "under load": "voltage_v"}
KIND_OF = {
    "time_s": "time",
    "run_current_a": "current",
    "peak_current_a": "current",
    "voltage_v": "voltage",
    "rest_voltage_v": "voltage",
    "ambient_c": "temperature",
}


def read_number(text: str, unit: str) -> tuple[str, Reading] | None:
    """Kind and reading of a number as typed with its unit; None for a unit that isn't known.

    >>> read_number("14.30", "s")
    ('time', Reading(value=14.3, step=0.01))
    """
    if unit not in UNITS:
        return None
    kind, factor, offset = UNITS[unit]
    decimals = len(text.partition(".")[2])
    return kind, Reading(float(text) * factor + offset, factor * 10.0**-decimals)


def parse_lines(text: str, where: str = "pasted lines") -> list[HandThrow]:
    """Read every throw; blank lines and lines that hold only a note are skipped.

    Raises:
        InputError: naming the line, the word that isn't understood and what would be.
    """
    throws = []
    for number, line in enumerate(text.splitlines(), start=1):
        if line.partition("#")[0].strip():
            throws.append(parse_line(line, f"{where}, line {number}"))
    if not throws:
        raise InputError("there is no throw in it", where, f"Type one line a throw, for example: {EXAMPLE}")
    return throws


def parse_line(line: str, where: str = "line") -> HandThrow:
    """Read one throw."""
    head, _, note = line.partition("#")
    rest = re.sub(r"(?<=\d),(?=\d)", ".", head.strip().lower())
    rest = re.sub(r"^\d+\s*[.):]\s+", "", rest)
    rest = re.sub(r"(?<=\d)(\s*m?[va])\s*dc\b", r"\1", rest)
    rest = " ".join(re.sub(r"[,;=:|]", " ", rest).split())
    direction, _, rest = rest.partition(" ")
    if direction not in DIRECTIONS:
        raise InputError(
            f"a throw starts with 'lock' or 'unlock', not {direction!r}", where, f"Example: {EXAMPLE}"
        )
    found = HandThrow(direction, note=note.strip())
    given: dict[str, object] = {}
    while rest:
        for step in (_phrase, _dash, _measured):
            taken = step(rest, given, where)
            if taken is not None:
                rest = taken.strip()
                break
        else:
            word = rest.split()[0]
            raise InputError(f"{word!r} isn't understood", where, f"{WORDS} Example: {EXAMPLE}")
    return replace(found, **given)  # type: ignore[arg-type]


def _phrase(rest: str, given: dict[str, object], where: str) -> str | None:
    for phrase in _PHRASES:
        if rest == phrase or rest.startswith(phrase + " "):
            for name, answer in PHRASES[phrase].items():
                _set(given, name, answer, phrase, where)
            return rest[len(phrase) :]
    return None


def _dash(rest: str, given: dict[str, object], where: str) -> str | None:
    """The next column of the paper sheet stays empty; behind the last one a dash says nothing."""
    if rest.split()[0] not in DASHES:
        return None
    columns = list(COLUMNS)
    said = [columns.index(name) for name in given if name in columns]
    for name in columns[max(said, default=-1) + 1 :][:1]:
        _set(given, name, None, "-", where)
    return rest[1:]


def _measured(rest: str, given: dict[str, object], where: str) -> str | None:
    wanted = None
    first, _, behind = rest.partition(" ")
    if first in BEFORE:
        wanted, rest = BEFORE[first], behind
    match = _NUMBER.match(rest)
    if not match:
        return None
    number, unit = match.groups()
    typed = match.group(0).strip()
    reading = read_number(number, unit or "")
    if reading is None:
        bare = _BARE_NUMBER.match(rest)
        problem = f"{number} has no unit" if bare else f"{typed!r} has a unit that isn't known"
        raise InputError(problem, where, "Write 14.3s, 2.1A, 12.4V or 4degC.")
    kind, value = reading
    left = rest[match.end() :].strip()
    for words, name in BEHIND.items():
        if wanted is None and kind == "voltage" and (left == words or left.startswith(words + " ")):
            wanted, left = name, left[len(words) :].strip()
    name = wanted or _usual_place(kind, given)
    if KIND_OF[name] != kind:
        raise InputError(f"{typed!r} can't be the {first} value", where, f"Example: {EXAMPLE}")
    if not abs(value.value) < BEYOND_BELIEF:
        raise InputError(f"{typed[:40]!r} is far outside any possible reading", where, f"Example: {EXAMPLE}")
    if value.value == 0.0 and kind == "time":
        raise InputError(
            f"{typed!r} is not a time", where, "Leave the time out where the throw did not start."
        )
    if value.value < 0 and kind != "temperature":
        raise InputError(
            f"{typed!r} is below zero", where, "Write the size of the reading, without its sign."
        )
    _set(given, name, value, typed, where)
    return left


def _usual_place(kind: str, given: dict[str, object]) -> str:
    if kind == "current":
        return "peak_current_a" if "run_current_a" in given else "run_current_a"
    return {"time": "time_s", "voltage": "voltage_v", "temperature": "ambient_c"}[kind]


def _set(given: dict[str, object], name: str, value: object, typed: str, where: str) -> None:
    if name in given and given[name] != value:
        raise InputError(f"{typed!r} is given twice", where, "One throw a line, each thing once.")
    given[name] = value


READ_BY_EYE = 0.05
"""A current that moves while it is read stands for the average of the run to within this half-width, as a share
(assumed)."""


@dataclass(frozen=True)
class Accuracy:
    """As a meter's data sheet puts it: plus or minus a share of the reading plus so many steps of the last digit."""

    share: float
    digits: float
    assumed: bool = False

    @property
    def text(self) -> str:
        """As a person writes it."""
        return accuracy_text(self.share, self.digits) + " (assumed)" * self.assumed


CLAMP_METER = Accuracy(0.02, 3.0, assumed=True)
"""A clamp meter on direct current of which nothing is known (common practice, no source)."""
VOLT_METER = Accuracy(0.005, 3.0, assumed=True)
"""A hand-held voltmeter of which nothing is known (common practice, no source)."""


BY_HAND = Accuracy(0.0, 0.0)
"""A stopwatch of which nothing is known: the hand is off by far more than any watch."""


@dataclass(frozen=True)
class Instruments:
    """What was used."""

    clamp: Accuracy = CLAMP_METER
    volt: Accuracy = VOLT_METER
    names: str = ""
    """As written on the sheet."""
    watch: Accuracy = BY_HAND
    step_a: float = 0.0
    """Resolution of the clamp meter [A]; 0: as typed."""
    step_v: float = 0.0
    step_s: float = 0.0
    meters: tuple[str, ...] = ()
    """Ids of the instruments that the sheet names."""
    no_peak_by: str = ""
    """Name of the meter that reads the current and keeps no peak; empty: nothing says so."""

    def time(self, reading: Reading) -> Measured:
        """A hand-timed stroke [s]."""
        return timed(_at_least(reading, self.step_s), self.watch)

    def amps(self, reading: Reading) -> Measured:
        """A current that was read while the motor ran [A]."""
        return metered(_at_least(reading, self.step_a), self.clamp, READ_BY_EYE)

    def volts(self, reading: Reading) -> Measured:
        """A voltage [V]."""
        return metered(_at_least(reading, self.step_v), self.volt)

    @property
    def assumed(self) -> list[str]:
        """Those whose accuracy wasn't given."""
        named = (("clamp meter", self.clamp), ("voltmeter", self.volt))
        return [f"{name} {accuracy.text}" for name, accuracy in named if accuracy.assumed]


def _at_least(reading: Reading, step: float) -> Reading:
    """No finer than the meter shows; a number typed with fewer digits stays as coarse as it was typed."""
    return replace(reading, step=max(step, reading.step))


READS = {"A": "current", "V": "voltage", "s": "time"}


def with_meters(tools: Instruments, meters: Sequence[Meter]) -> Instruments:
    """What was used, where a sheet names its meters: each stands in the place of what was assumed.

    Raises InputError where two of them read the same.
    """
    for one in meters:
        rivals = [other.name for other in meters if other.unit == one.unit]
        if len(rivals) > 1:
            raise InputError(
                f"two meters read the {READS[one.unit]}: {', '.join(rivals)}", "meters", "Name one of them."
            )
        accuracy = Accuracy(one.share, one.digits)
        if one.unit == "A":
            no_peak = "" if one.peak_hold else one.name
            tools = replace(tools, clamp=accuracy, step_a=one.resolution, no_peak_by=no_peak)
        elif one.unit == "V":
            tools = replace(tools, volt=accuracy, step_v=one.resolution)
        else:
            tools = replace(tools, watch=accuracy, step_s=one.resolution)
    return replace(tools, meters=tuple(one.id for one in meters))


def instruments_kept(tools: Instruments) -> dict[str, Any]:
    """As the logbook keeps them with a throw; what says nothing beyond what was assumed is left out."""
    always = ("clamp", "volt", "names")
    unused: dict[str, Any] = asdict(Instruments())
    kept = {name: value for name, value in asdict(tools).items() if name in always or value != unused[name]}
    return {name: list(value) if isinstance(value, tuple) else value for name, value in kept.items()}


def instruments_from(kept: Mapping[str, Any]) -> Instruments:
    """The other way."""
    named = {field.name: kept[field.name] for field in fields(Instruments) if field.name in kept}
    accuracies = {name: Accuracy(**named[name]) for name in ("clamp", "volt", "watch") if name in named}
    return replace(Instruments(), **named | accuracies | {"meters": tuple(named.get("meters", ()))})


_ACCURACY = re.compile(
    r"(\d+(?:[.,]\d+)?)\s*%(?:\s*(?:rdg)?\s*\+\s*(\d+(?:[.,]\d+)?)\s*(?:digits?|dgt|d)?)?", re.IGNORECASE
)


def accuracy_from(text: str, where: str = "") -> Accuracy:
    """Read an accuracy as printed on a meter's data sheet.

    >>> accuracy_from("2% + 3 digits")
    Accuracy(share=0.02, digits=3.0, assumed=False)
    """
    found = _ACCURACY.fullmatch(text.strip().replace("\N{PLUS-MINUS SIGN}", "").strip())
    if found is None:
        raise InputError(
            f"{text!r} is not an accuracy", where, "Write it as on the data sheet: 2% + 3 digits"
        )
    share, digits = (float(number.replace(",", ".")) for number in (found[1], found[2] or "0"))
    return Accuracy(share / 100.0, digits)


def timed(reading: Reading, watch: Accuracy = BY_HAND) -> Measured:
    """A hand-timed stroke [s].

    >>> round(timed(Reading(5.0, 0.01)).u, 2)
    0.2
    """
    half_width = watch.share * reading.value + watch.digits * reading.step
    standard = combined(hand_timed(reading.step), from_half_width(half_width))
    return Measured(reading.value, expanded(standard))


def metered(reading: Reading, accuracy: Accuracy, by_eye: float = 0.0) -> Measured:
    """A reading of a meter in its own unit; ``by_eye`` is the half-width, as a share, of reading it while it moves."""
    half_width = accuracy.share * abs(reading.value) + accuracy.digits * reading.step
    standard = combined(
        from_half_width(half_width),
        from_step(reading.step),
        from_half_width(by_eye * abs(reading.value)),
    )
    return Measured(reading.value, expanded(standard))


TIMES_OFF = 5.0
"""A whole throw that takes so many times as long as its volts and amperes ask for, or as short. Common practice, no source."""
OF_STALL, OF_NO_LOAD = 2.0, 0.2
"""No motor draws more than twice its stall current, nor less than a fifth of its no-load current while it runs."""
OF_NOMINAL = (0.4, 2.0)
"""A motor that runs has a supply between these shares of the nominal voltage."""
COLDEST_C = -40.0
"""Where no air temperature was read: the coldest, at which a winding carries most."""


def implausible_reading(throw: HandThrow, judged: Assessment, rig: Rig) -> str:
    """What can't be meant, in words, or "".

    ``judged`` is the throw as ``assess_by_hand`` judges it.
    """
    for rule in (_amps, _beyond_stall, _exchanged, _volts):
        if told := rule(throw, rig):
            return told
    return _time(throw, judged)  # last: it is judged by amperes and volts


def _time(throw: HandThrow, judged: Assessment) -> str:
    ratio = next((one.measured for one in judged.checks if one.name == "travel_time_high"), None)
    if throw.time_s is None or ratio is None or throw.ended != CUT_OFF:
        return ""
    if 1.0 / TIMES_OFF <= ratio.value <= TIMES_OFF:
        return ""
    took, due = show(throw.time_s.value, "time"), show(throw.time_s.value / ratio.value, "time")
    return f"travel time {took}; expected about {due}"


def _amps(throw: HandThrow, rig: Rig) -> str:
    stall_a = rig.actuator.voltage_v / float(motor_line(rig.actuator).r_ohm)
    least_a = OF_NO_LOAD * rig.actuator.no_load_current_a
    for word, one in (("running", throw.run_current_a), ("peak", throw.peak_current_a)):
        if one is None:
            continue
        amps = show(one.value, "current")
        if one.value > OF_STALL * stall_a:
            return f"{amps} {word} is far above what the motor can draw ({show(stall_a, 'current')} stalled)"
        if throw.ended == CUT_OFF and one.value < least_a:
            idle = show(rig.actuator.no_load_current_a, "current")
            return f"{amps} {word} is far below the no-load current ({idle})"
    return ""


def _beyond_stall(throw: HandThrow, rig: Rig) -> str:
    """A motor that turned all the way never averaged what it draws standing still."""
    if throw.run_current_a is None or throw.ended != CUT_OFF:
        return ""
    line = motor_line(rig.actuator)
    volts = throw.voltage_v or throw.rest_voltage_v
    air_c = throw.ambient_c.value if throw.ambient_c else COLDEST_C
    least_ohm = float(resistance_at(line, air_c)) * max(1.0 - 2.0 * line.u_r, 0.5)
    most_a = (volts.value if volts else HIGHEST_SUPPLY * line.v_ref) / least_ohm
    if throw.run_current_a.value <= most_a:
        return ""
    amps = show(throw.run_current_a.value, "current")
    return f"{amps} running is more than the stall current ({show(most_a, 'current')} at most)"


def _exchanged(throw: HandThrow, rig: Rig) -> str:
    """The highest reading is never below the running one, by more than the last digits of both."""
    run, peak = throw.run_current_a, throw.peak_current_a
    if run is None or peak is None or peak.value >= run.value - run.step - peak.step:
        return ""
    return f"{show(peak.value, 'current')} peak is below {show(run.value, 'current')} running: were they swapped?"


def _volts(throw: HandThrow, rig: Rig) -> str:
    nominal = rig.actuator.voltage_v
    for one in (throw.voltage_v, throw.rest_voltage_v):
        if one is not None and not OF_NOMINAL[0] <= one.value / nominal <= OF_NOMINAL[1]:
            return f"{show(one.value, 'voltage')} is not a supply voltage for an actuator of {show(nominal, 'voltage')}"
    return ""
