"""Names of columns, ours and other loggers': which one is the time, the current or the voltage, and in which unit."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from throwbook.core.quantities.text import quoted
from throwbook.errors import Field, InputError

# quantity: (column in our own files, its SI unit, unit as typed -> factor to SI)
QUANTITIES: dict[str, tuple[str, str, dict[str, float]]] = {
    "time": (
        "time_s",
        "s",
        {"s": 1.0, "ms": 1e-3, "us": 1e-6, "µs": 1e-6, "min": 60.0, "h": 3600.0, "d": 86400.0},
    ),
    "current": ("current_a", "A", {"A": 1.0, "mA": 1e-3, "uA": 1e-6, "µA": 1e-6, "kA": 1e3}),
    "voltage": ("voltage_v", "V", {"V": 1.0, "mV": 1e-3, "uV": 1e-6, "µV": 1e-6, "kV": 1e3}),
}

OPTIONAL = "voltage"

SWITCH, TEMPERATURE, UNKNOWN = "switch", "temperature", "unknown"
SIDE_CHANNELS = {"left_switch": SWITCH, "right_switch": SWITCH, "temperature_c": TEMPERATURE}
"""By its name in our own files: what a column holds whose cells may be empty."""

# Words of a column's name, in the languages whose loggers write decimal commas too, and names of one letter.
_WORDS = {
    "time": "time timestamp datetime elapsed seconds clock date zeit uhrzeit zeitstempel datum temps heure horodatage tiempo "
    "hora fecha tempo tid tijd",
    "current": "current amps amperage strom courant intensité corriente corrente stroom ström",
    "voltage": "voltage volts spannung tension tensión voltaje tensione spanning spänning",
}
_LETTERS = {"t": "time", "I": "current", "i": "current", "U": "voltage", "u": "voltage"}
_UNIT_WORDS = {
    "s": "s sec secs second seconds sek sekunden secondes segundos",
    "ms": "ms msec millisecond milliseconds",
    "us": "us µs μs usec microsecond microseconds",
    "min": "min minutes",
    "h": "h hours",
    "d": "d days",
    "A": "a amp amps ampere amperes",
    "mA": "ma milliamp milliamps milliampere milliamperes",
    "uA": "ua µa μa",
    "kA": "ka",
    "V": "v volt volts",
    "mV": "mv millivolt millivolts",
    "uV": "uv µv μv",
    "kV": "kv",
}
_QUANTITY_OF_WORD = {word: quantity for quantity, words in _WORDS.items() for word in words.split()}
_UNIT_OF_WORD = {word: unit for unit, words in _UNIT_WORDS.items() for word in words.split()}
_QUANTITY_OF_UNIT = {unit: quantity for quantity, (_, _, units) in QUANTITIES.items() for unit in units}
_BRACKETS = re.compile(r"(.*?)\s*(?:\[([^][]*)\]|\(([^()]*)\))")
_BEHIND_A_MARK = re.compile(r"(.*\S)\s*(?:[/,;:]|\bin\b)\s*(\S+)")
_BEHIND_A_NAME = re.compile(r"(.*[^\W_])[\s_]+(\S+)")


@dataclass(frozen=True)
class ColumnName:
    """What the name of a column tells."""

    quantity: str | None
    """None: nothing this program reads, or it names one thing and the unit of another."""
    unit: str | None
    """A key of ``QUANTITIES``; None: none is named."""


def read_name(text: str) -> ColumnName:
    """What a column called ``text`` holds.

    >>> read_name("Strom [mA]"), read_name("time_us")
    (ColumnName(quantity='current', unit='mA'), ColumnName(quantity='time', unit='us'))
    """
    name, unit = _parted(text)
    words = re.findall(r"[^\W\d_]+", name.casefold())
    named = {_QUANTITY_OF_WORD[word] for word in words if word in _QUANTITY_OF_WORD}
    if name in _LETTERS:
        named.add(_LETTERS[name])
    if unit is not None:
        named.add(_QUANTITY_OF_UNIT[unit])
    return ColumnName(named.pop(), unit) if len(named) == 1 else ColumnName(None, unit)


def read_unit(text: str) -> str | None:
    """``(mA)`` or ``milliampere`` as ``mA``; None where it is not a unit of a column."""
    return _UNIT_OF_WORD.get(text.strip().strip("[]()").strip().casefold())


def _parted(text: str) -> tuple[str, str | None]:
    """Name and unit; a unit that isn't marked off counts behind a name that is known."""
    text = text.strip()
    bracket = _BRACKETS.fullmatch(text)
    if bracket is not None:
        return bracket[1], read_unit(bracket[2] or bracket[3] or "")
    if len(text) != 1 or text in "AVs":
        whole = read_unit(text)
        if whole is not None:
            return "", whole
    marked = _BEHIND_A_MARK.fullmatch(text)
    if marked is not None and read_unit(marked[2]):
        return marked[1], read_unit(marked[2])
    behind = _BEHIND_A_NAME.fullmatch(text)
    if behind is not None and read_unit(behind[2]) and read_name(behind[1]).quantity:
        return behind[1], read_unit(behind[2])
    return text, None


@dataclass(frozen=True)
class RowColumn:
    """Where one quantity stands in a row."""

    quantity: str
    name: str
    index: int
    factor: float
    """SI value = cell * factor"""


def parse_choices(choices: Sequence[str]) -> dict[str, str]:
    """``["time=T", "current=I [mA]"]`` as ``{"time": "T", "current": "I [mA]"}``.

    Raises InputError for a choice that isn't ``QUANTITY=NAME``.
    """
    asked: dict[str, str] = {}
    for choice in choices:
        quantity, equals, name = choice.partition("=")
        quantity, name = quantity.strip(), name.strip()
        if not equals or not name or quantity not in QUANTITIES:
            raise InputError(
                f"{quoted(choice)} names no column",
                Field("column"),
                'Type time=NAME, current=NAME or voltage=NAME, with the unit if it is not SI: current="NAME [mA]"',
            )
        if quantity in asked:
            raise InputError(f"{quantity} is given twice", Field("column"), "Give each column once")
        asked[quantity] = name
    return asked


def unit_factors(units: Mapping[str, str | None]) -> dict[str, float]:
    """Quantity: factor to SI, for the units that a person named. Raises InputError for one that isn't known."""
    found = {}
    for quantity, unit in units.items():
        if unit is None:
            continue
        if unit not in QUANTITIES[quantity][2]:
            raise InputError(
                f"{quoted(unit)} is not a unit of {quantity} that can be read here",
                Field(f"{quantity}-unit"),
                f"Use one of {_units(quantity)}",
            )
        found[quantity] = QUANTITIES[quantity][2][unit]
    return found


def locate(
    header: Sequence[str],
    asked: dict[str, str],
    where: str,
    factors: Mapping[str, float] = MappingProxyType({}),
) -> tuple[RowColumn, ...]:
    """The columns to read, in the order time, current, voltage (if there is one).

    ``factors`` (quantity: factor to SI) outweigh the units in the names.
    ``where`` is the file and line of the header, for messages. Raises InputError for a column that isn't there,
    is there twice, or has a unit we don't know.
    """
    found = []
    for quantity, (own_name, _, _) in QUANTITIES.items():
        if quantity in asked or quantity != OPTIONAL or own_name in header:
            found.append(place(quantity, asked.get(quantity, own_name), header, where, factors))
    return tuple(found)


def locate_side_columns(header: Sequence[str], known: Sequence[RowColumn]) -> tuple[RowColumn, ...]:
    """The columns of one of our own files that ``locate`` left: those whose cells may be empty, and those that nobody knows.

    Two of one name are told apart by a number behind it; one of ours that another was asked for in its place is left out.
    """
    taken = {column.index for column in known}
    ours = {own_name for own_name, _, _ in QUANTITIES.values()}
    found: dict[str, RowColumn] = {}
    for index, text in enumerate(header):
        if index in taken or text in ours:
            continue
        base, count = text or f"column {index + 1}", 1
        name = base
        while name in found:
            count += 1
            name = f"{base} ({count})"
        found[name] = RowColumn(SIDE_CHANNELS.get(name, UNKNOWN), name, index, 1.0)
    return tuple(found.values())


def place(
    quantity: str,
    choice: str,
    header: Sequence[str],
    where: str,
    factors: Mapping[str, float] = MappingProxyType({}),
) -> RowColumn:
    """The column called ``choice`` (``NAME`` or ``NAME [unit]``); see ``locate``."""
    name, factor = _name_and_factor(quantity, choice, header)
    count = header.count(name)
    if count > 1:
        raise InputError(f"column {quoted(name)} appears {count} times", where, "Rename one of them")
    if not count:
        raise no_column(quantity, name, header, where)
    return RowColumn(quantity, name, header.index(name), factors.get(quantity, factor))


def no_column(quantity: str, name: str, header: Sequence[str], where: str) -> InputError:
    """The error for a column that isn't there; ``name``: what it was looked for by, empty: by every name known."""
    sought = f"no column {quoted(name)}" if name else f"no column for the {quantity}"
    return InputError(
        f"{sought} among {listed(header)}",
        where,
        f'Say which one it is: --column {quantity}="NAME [{_units(quantity)}]"',
    )


def _name_and_factor(quantity: str, choice: str, header: Sequence[str]) -> tuple[str, float]:
    """Split ``NAME [unit]``; a header that holds the brackets itself counts as the name, and its unit counts."""
    _, _, factors = QUANTITIES[quantity]
    name, bracket, rest = choice.rpartition("[")
    if not bracket or not rest.endswith("]"):
        return choice, factors.get(read_name(choice).unit or "", 1.0)
    unit = rest[:-1].strip()
    if unit not in factors:
        raise InputError(
            f"{quoted(unit)} is not a unit of {quantity} that can be read here",
            Field("column"),
            f"Use one of {_units(quantity)}",
        )
    return (choice if choice in header else name.strip()), factors[unit]


def _units(quantity: str) -> str:
    return " | ".join(unit for unit in QUANTITIES[quantity][2] if unit.isascii())


def listed(header: Sequence[str]) -> str:
    """Names of columns for a person, the first eight of them."""
    shown = ", ".join(quoted(name, 24) for name in header[:8])
    return shown + (f" and {len(header) - 8} more" if len(header) > 8 else "")
