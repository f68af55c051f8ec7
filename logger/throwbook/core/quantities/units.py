"""Typed quantities in and out: `7 1/8 in`, `188mm`, `2.1A`, `330 lbf`, `-5 degC` to SI floats and back.

Reading goes in two steps. First a guard: a number (or a mixed fraction) and then a unit, nothing else, so that no text
is ever handed on as an expression. Then the unit: the common ones stand in ``COMMON``, everything else is judged by
the pint library, which knows the rest of the world's units. (Pint takes about forty times as long to import as Python
takes to start; ``2.1A`` must not wait for it. A test holds every row of ``COMMON`` against pint. Its on-disk cache is
left off: this package writes no files.)

Inside the program every quantity is a float in the SI unit of its kind, temperatures in degC.
"""

import math
import re
from dataclasses import dataclass
from functools import cache
from typing import Any

from throwbook.core.assessment import Interval
from throwbook.core.quantities.rounding import rounded_down, rounded_up
from throwbook.core.quantities.text import quoted
from throwbook.core.rig import METRIC, US
from throwbook.errors import InputError


@dataclass(frozen=True)
class Kind:
    """A kind of quantity: what it is measured in, and what counts as absurd."""

    a_name: str
    """As in a sentence: "a length"."""
    si: str
    """The unit of its floats."""
    examples: dict[str, str]
    """Unit system: a value as it would be typed."""
    least: float
    most: float
    """Beyond these a value is a slip of the pen, whatever it is of [SI]."""
    shown: dict[str, tuple[str, int]]
    """Unit system: display unit, and decimals where no uncertainty says better."""


def _both(unit: str, decimals: int) -> dict[str, tuple[str, int]]:
    return {METRIC: (unit, decimals), US: (unit, decimals)}


def _examples(metric: str, us: str = "") -> dict[str, str]:
    return {METRIC: metric, US: us or metric}


KINDS: dict[str, Kind] = {
    "length": Kind(
        "a length", "m", _examples("188 mm", "7 3/4 in"), 0.0, 1e3, {METRIC: ("mm", 1), US: ("in", 2)}
    ),
    "cable length": Kind(
        "a length", "m", _examples("6 m", "20 ft"), 0.0, 1e3, {METRIC: ("m", 1), US: ("ft", 1)}
    ),
    "speed": Kind(
        "a speed", "m/s", _examples("11 mm/s", "0.45 in/s"), 0.0, 1e2, {METRIC: ("mm/s", 1), US: ("in/s", 3)}
    ),
    "force": Kind(
        "a force", "N", _examples("1500 N", "340 lbf"), 0.0, 1e7, {METRIC: ("N", 0), US: ("lbf", 0)}
    ),
    "current": Kind("a current", "A", _examples("2.1 A"), -1e4, 1e4, _both("A", 2)),
    "voltage": Kind("a voltage", "V", _examples("12.6 V"), 0.0, 1e3, _both("V", 2)),
    "time": Kind("a time", "s", _examples("14.3 s"), 0.0, 1e9, _both("s", 1)),
    "temperature": Kind(
        "a temperature",
        "degC",
        _examples("-5 degC", "23 degF"),
        -90.0,
        300.0,
        {METRIC: ("degC", 1), US: ("degF", 1)},
    ),
    "resistance": Kind("a resistance", "ohm", _examples("0.12 ohm"), 0.0, 1e6, _both("ohm", 3)),
    "area": Kind("a cross-section", "m2", _examples("2.5 mm2"), 0.0, 1e-2, _both("mm2", 2)),
    "charge": Kind("a charge", "A s", _examples("30 A s"), 0.0, 1e9, _both("A s", 1)),
    "energy": Kind("an energy", "J", _examples("360 J"), 0.0, 1e12, _both("J", 0)),
    "power": Kind("a power", "W", _examples("25 W"), 0.0, 1e9, _both("W", 1)),
    "share": Kind("a share", "1", _examples("25 %"), 0.0, 1e3, _both("%", 1)),
}


# unit as typed: (kind, factor to SI, offset in SI): SI = number * factor + offset.
COMMON: dict[str, tuple[str, float, float]] = {
    "mm": ("length", 1e-3, 0.0),
    "cm": ("length", 1e-2, 0.0),
    "m": ("length", 1.0, 0.0),
    "in": ("length", 0.0254, 0.0),
    '"': ("length", 0.0254, 0.0),
    "inch": ("length", 0.0254, 0.0),
    "ft": ("length", 0.3048, 0.0),
    "mm/s": ("speed", 1e-3, 0.0),
    "m/s": ("speed", 1.0, 0.0),
    "in/s": ("speed", 0.0254, 0.0),
    "N": ("force", 1.0, 0.0),
    "kN": ("force", 1e3, 0.0),
    "lbf": ("force", 4.4482216152605, 0.0),
    "kgf": ("force", 9.80665, 0.0),
    "A": ("current", 1.0, 0.0),
    "mA": ("current", 1e-3, 0.0),
    "V": ("voltage", 1.0, 0.0),
    "mV": ("voltage", 1e-3, 0.0),
    "s": ("time", 1.0, 0.0),
    "sec": ("time", 1.0, 0.0),
    "ms": ("time", 1e-3, 0.0),
    "min": ("time", 60.0, 0.0),
    "h": ("time", 3600.0, 0.0),
    "degC": ("temperature", 1.0, 0.0),
    "°C": ("temperature", 1.0, 0.0),
    "degF": ("temperature", 5.0 / 9.0, -160.0 / 9.0),
    "°F": ("temperature", 5.0 / 9.0, -160.0 / 9.0),
    "ohm": ("resistance", 1.0, 0.0),
    "Ohm": ("resistance", 1.0, 0.0),
    "mohm": ("resistance", 1e-3, 0.0),
    "mm2": ("area", 1e-6, 0.0),
    "A s": ("charge", 1.0, 0.0),
    "J": ("energy", 1.0, 0.0),
    "W": ("power", 1.0, 0.0),
    "%": ("share", 1e-2, 0.0),
}


# What people type and what the unit library reads otherwise.
_SPELLED = {'"': "in", "mm2": "mm^2", "cm2": "cm^2", "m2": "m^2", "in2": "in^2", "Ohm": "ohm", "A s": "A*s"}

_HINTS = {("force", "kg"): "A mass is not a force: write kgf or N"}

# What people write where only one thing can be meant; elsewhere C is a charge, F a capacity and lb a mass.
_SHORT = {
    ("temperature", "c"): "degC",
    ("temperature", "f"): "degF",
    ("temperature", "deg c"): "degC",
    ("temperature", "deg f"): "degF",
    ("force", "lb"): "lbf",
    ("force", "lbs"): "lbf",
}


# What a data sheet prints for a direct voltage or current: `12 V DC`, `24VDC`.
_DIRECT = re.compile(r"(m?[VA]) ?(?:DC|dc|d\.c\.)")

# A decimal comma; three digits behind it could be thousands, and are refused.
_DECIMAL_COMMA = re.compile(r"([+-]?\d*),(\d{1,2}|\d{4,15})(?=\D|$)")

_NUMBER = r"(?:\d{1,15}(?:\.\d{0,15})?|\.\d{1,15})(?:[eE][+-]?\d{1,2})?"

_TYPED = re.compile(
    rf"(?P<sign>[+-]?)\s*(?:(?P<whole>\d{{1,6}})[ -]+)?(?:(?P<top>\d{{1,6}})/(?P<bottom>\d{{1,6}})|(?P<number>{_NUMBER}))"
    r"\s*(?P<unit>[^\d\s+\-.,].*)?"
)

# One to four words with a small power each. A tower of powers (`h^9^9^9`) would keep the library busy for ever.
_WORD = r"[A-Za-zµμΩ°%\"][A-Za-zµμΩ_]{0,19}(?:(?:\^|\*\*)?-?[2-4]|[²³])?"

_UNIT = re.compile(rf"{_WORD}(?: ?[*/ ] ?{_WORD}){{0,3}}")

_LONGEST = 60


@dataclass(frozen=True)
class Typed:
    """A quantity as it was typed."""

    value: float
    """In the SI unit of its kind."""
    step: float
    """What one more in the last typed digit is worth [same unit]: the resolution of whoever read it."""


def parse(text: str, kind: str, where: str = "", system: str = METRIC) -> float:
    """Value of ``text`` in the SI unit of ``kind`` (a key of ``KINDS``; temperatures in degC).

    Raises InputError: no unit, another kind of quantity, a comma that could be either (`1,500 N`), not a number, beyond what ``kind`` can be.

    >>> parse("7 1/8 in", "length")
    0.180975
    >>> parse("-5 degC", "temperature")
    -5.0
    """
    return typed(text, kind, where, system).value


def typed(text: str, kind: str, where: str = "", system: str = METRIC) -> Typed:
    """As ``parse``, with the step of the last digit; ``system``: whose example an error gives.

    >>> typed("14.3s", "time")
    Typed(value=14.3, step=0.1)
    """
    example = _example(kind, system)
    number, step, unit = _split(text, example, where)
    factor, offset = _judge(text, unit, kind, where, example)
    value = number * factor + offset
    rules = KINDS[kind]
    if value < rules.least:
        too_low = f"{quoted(text)} is below zero" if rules.least == 0.0 else f"{quoted(text)} is too low"
        raise InputError(too_low, where, example)
    if not value <= rules.most:
        raise InputError(f"{quoted(text)} is too large for {rules.a_name}", where, example)
    return Typed(value, step * factor)


def _split(text: str, example: str, where: str) -> tuple[float, float, str]:
    """Number, step of its last digit, unit as typed."""
    plain = text.strip().replace("\N{MINUS SIGN}", "-")
    if len(plain) <= _LONGEST and "," in plain:
        plain = _DECIMAL_COMMA.sub(r"\1.\2", plain) if _DECIMAL_COMMA.match(plain) else plain
    found = _TYPED.fullmatch(plain) if len(plain) <= _LONGEST else None
    if found is None or (found["whole"] and found["number"]):
        comma = re.fullmatch(r"([+-]?\d*),(\d+)(.*)", plain[:_LONGEST])
        if comma:
            whole, decimals, unit = comma.groups()
            or_thousands = f" or {whole}{decimals}{unit}" if len(decimals) == 3 else ""
            do = f"Write {whole}.{decimals}{unit}{or_thousands}: a point for decimals, nothing between thousands."
            raise InputError(f"{quoted(text)} has a comma", where, do)
        raise InputError(f"{quoted(text)} is not a number with a unit", where, example)
    if found["top"]:
        bottom = int(found["bottom"])
        if bottom == 0:
            raise InputError(f"{quoted(text)} divides by zero", where, example)
        number = (int(found["whole"] or 0) * bottom + int(found["top"])) / bottom
        step = 1.0 / bottom
    else:
        number = float(found["number"])
        mantissa, _, exponent = found["number"].lower().partition("e")
        step = 10.0 ** (int(exponent or 0) - len(mantissa.partition(".")[2]))
    unit = " ".join((found["unit"] or "").split())
    direct = _DIRECT.fullmatch(unit)
    unit = direct[1] if direct else unit
    return (-number if found["sign"] == "-" else number), step, unit


def _judge(text: str, unit: str, kind: str, where: str, example: str) -> tuple[float, float]:
    """Factor and offset from the typed unit to SI."""
    if not unit:
        if kind == "share":
            return 1.0, 0.0
        raise InputError(f"{quoted(text)} has no unit", where, example)
    row = COMMON.get(_SHORT.get((kind, unit.lower()), unit)) or _whatever_case(unit, kind)
    if row is not None and _same(row[0], kind):
        return row[1], row[2]
    is_a = KINDS[row[0]].a_name if row is not None else None
    if row is None and _UNIT.fullmatch(unit):
        judged = _pint_judges(unit, kind)
        if isinstance(judged, tuple):
            return judged
        is_a = judged
    hint = _HINTS.get((kind, unit))
    do = f"{hint}. {example}" if hint else example
    a_name = KINDS[kind].a_name
    what = f"is {is_a}, not {a_name}" if is_a else f"has no unit of {a_name.partition(' ')[2]}"
    raise InputError(f"{quoted(text)} {what}", where, do)


def _same(kind: str, asked: str) -> bool:
    return KINDS[kind].si == KINDS[asked].si


def _whatever_case(unit: str, kind: str) -> tuple[str, float, float] | None:
    """The row meant by ``2.1a`` or ``188MM``; never where a capital M might mean mega."""
    if unit.startswith("M") and kind != "length":
        return None
    rows = {row for name, row in COMMON.items() if name.lower() == unit.lower() and _same(row[0], kind)}
    return rows.pop() if len(rows) == 1 else None


@cache
def _registry() -> Any:
    import pint  # noqa: PLC0415  (slow to import, seldom needed)

    return pint.UnitRegistry(cache_folder=None)


def _pint_judges(unit: str, kind: str) -> tuple[float, float] | str | None:
    """Factor and offset to SI; or what it is instead ("a current"); or None: no unit at all."""
    ask = _registry()
    try:
        named = ask.parse_units(_SPELLED.get(unit, unit))
        for name in (kind, *KINDS):
            si = KINDS[name].si
            target = ask.parse_units("" if si == "1" else _SPELLED.get(si, si.replace("m2", "m^2")))
            if not ask.Quantity(1.0, named).is_compatible_with(target):
                continue
            if name != kind:
                return KINDS[name].a_name
            at_zero = float(ask.Quantity(0.0, named).to(target).magnitude)
            at_one = float(ask.Quantity(1.0, named).to(target).magnitude)
            return at_one - at_zero, at_zero
    # The library raises many types for text it can't read (tokenizer, assertion, its own tree): all mean "no unit".
    except Exception:
        return None
    return None


def _example(kind: str, system: str) -> str:
    return f"Type it with its unit, for example {KINDS[kind].examples[system]}."


# ---- out ----


def display_unit(kind: str, system: str = METRIC) -> str:
    """Unit in which ``kind`` is shown in ``system`` (``metric`` or ``us``)."""
    return KINDS[kind].shown[system][0]


def to_display(value_si: float, kind: str, system: str = METRIC) -> float:
    """Number of ``value_si`` in the display unit of ``system`` (arrays work too)."""
    _, factor, offset = COMMON[display_unit(kind, system)]
    return (value_si - offset) / factor


def show(
    value_si: float, kind: str, system: str = METRIC, u: float | None = None, with_u: bool = False
) -> str:
    """``value_si`` with its unit, in the digits that its expanded uncertainty ``u`` [SI] supports.

    The last digit shown is the place of the first digit of ``u`` (of the second where the first is 1 or 2). Without
    ``u``: a value as short as people type them as it was typed, any other in a fixed number of decimals per kind, trailing
    zeros dropped. ``with_u`` adds `± u`. Rounded once, in the unit shown.

    >>> show(0.180975, "length"), show(0.180975, "length", "us"), show(0.18, "length", "us")
    ('181 mm', '7.125 in', '7.09 in')
    >>> show(2.0971, "current", u=0.042, with_u=True)
    '2.10 ± 0.04 A'
    """
    unit = display_unit(kind, system)
    factor = COMMON[unit][1]
    number = to_display(value_si, kind, system)
    if not math.isfinite(number):
        return "not known"
    if u is None or not (math.isfinite(u) and u > 0.0):
        usual = KINDS[kind].shown[system][1]
        typed = _as_typed(number, usual + (2 if system == US else 1))  # 1/16 in is 0.0625 in
        return f"{typed or _trimmed(number, usual)} {unit}"
    decimals = _decimals(u / factor)
    shown = _rounded(number, decimals)
    if with_u:
        shown += f" ± {_rounded(u / factor, decimals)}"
    return f"{shown} {unit}"


REFERENCE_C = 20.0
"""Temperature that data sheets are read at and that trends are corrected to [degC]."""


def at_reference(system: str) -> str:
    """That temperature in words: ``20 degC``, ``68 degF``."""
    return show(REFERENCE_C, "temperature", system)


def show_interval(interval: Interval, kind: str, system: str = METRIC) -> str:
    """A figure with its unit and the ends of its interval, a digit finer than its narrower side.

    The ends are rounded outwards, so that nothing lies beyond them unsaid; an upper end that may never be reached is
    `never`. A value as short as people type them stands as it was typed. Unknown ends are left out.

    >>> show_interval(Interval(14.466, 10.61, 23.52), "current")
    '14.5 A (10.6 to 23.6 A)'
    >>> show_interval(Interval(905 * 4.4482216152605, 3700.0, 4430.0), "force", "us")
    '905 lbf (830 to 1000 lbf)'
    """
    unit = display_unit(kind, system)
    number, low, high = (to_display(end, kind, system) for end in interval)
    sides = [side for side in (high - number, number - low) if side > 0.0]
    usual = KINDS[kind].shown[system][1]
    if not (sides and math.isfinite(number)):
        return show(interval.value, kind, system)
    decimals = _decimals(0.5 * min(sides))
    ends = f"{rounded_down(low, decimals)} to {rounded_up(high, decimals)} {unit}"
    if math.isinf(high):
        ends = f"{rounded_down(low, decimals)} {unit} to never"
    return f"{_as_typed(number, usual) or _rounded(number, decimals)} {unit} ({ends})"


def show_limit(value_si: float, kind: str, system: str, side: str) -> str:
    """A limit with its unit, in the usual decimals of its kind and rounded so that it never allows more than it does.

    ``side`` is that of a ``Limit``: ``max`` or ``min``.

    >>> show_limit(2.856, "current", "metric", "max"), show_limit(21.6, "voltage", "metric", "min")
    ('2.85 A', '21.6 V')
    """
    rounded = rounded_down if side == "max" else rounded_up
    number = rounded(to_display(value_si, kind, system), KINDS[kind].shown[system][1])
    return f"{number} {display_unit(kind, system)}"


def show_duration(seconds: float, side: str = "") -> str:
    """A time in words: `40 s`, `12 min`, `3.5 h`, `12 days`.

    ``side`` ``min``: never less than it is (a rest); ``max``: never more (what may run); else the nearest.

    >>> show_duration(150.0), show_duration(150.0, "max"), show_duration(150.0, "min")
    ('2 min', '2 min', '3 min')
    """
    number = {"min": rounded_up, "max": rounded_down}.get(side, _trimmed)
    for size, word, below in ((1.0, "s", 120.0), (60.0, "min", 7200.0), (3600.0, "h", 172800.0)):
        if seconds < below:
            return f"{number(seconds / size, 1 if word == 'h' else 0)} {word}"
    return f"{number(seconds / 86400.0, 0)} days" if math.isfinite(seconds) else "not known"


def show_rest(rest_s: float) -> str:
    """A rest as every sheet, screen and command prints it: whole seconds, never less than is asked for.

    >>> show_rest(143.5)
    '144 s'
    """
    return f"{rounded_up(rest_s, 0)} s"


def _decimals(u: float) -> int:
    exponent = math.floor(math.log10(u))
    first = int(u / 10.0**exponent)
    return -exponent + (1 if first <= 2 else 0)


def _rounded(number: float, decimals: int) -> str:
    if decimals < 0:
        number = round(number, decimals)
    text = f"{number:.{max(decimals, 0)}f}"
    return text.removeprefix("-") if float(text) == 0.0 else text


def _as_typed(number: float, decimals: int) -> str:
    """``number`` whole where so many decimals hold it; empty where it was reckoned or converted."""
    text = _trimmed(number, decimals)
    return text if math.isclose(float(text), number, rel_tol=1e-9, abs_tol=1e-12) else ""


def _trimmed(number: float, decimals: int) -> str:
    text = _rounded(number, decimals)
    return text.rstrip("0").rstrip(".") if "." in text else text
