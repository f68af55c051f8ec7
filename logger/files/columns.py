"""Which column of a file is time, current and voltage, and in which unit.

Our own files say it in their column names. Others are read with ``time=NAME`` or ``current=NAME [mA]``.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from logger.core.quantities.plain import quoted
from logger.errors import InputError

# quantity: (column in our own files, its SI unit, unit as typed -> factor to SI)
QUANTITIES: dict[str, tuple[str, str, dict[str, float]]] = {
    "time": ("time_s", "s", {"s": 1.0, "ms": 1e-3, "us": 1e-6, "µs": 1e-6, "min": 60.0, "d": 86400.0}),
    "current": ("current_a", "A", {"A": 1.0, "mA": 1e-3, "uA": 1e-6, "µA": 1e-6, "kA": 1e3}),
    "voltage": ("voltage_v", "V", {"V": 1.0, "mV": 1e-3, "uV": 1e-6, "µV": 1e-6, "kV": 1e3}),
}
OPTIONAL = "voltage"


@dataclass(frozen=True)
class Column:
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
                "--column",
                'Type time=NAME, current=NAME or voltage=NAME, with the unit if it is not SI: current="NAME [mA]"',
            )
        if quantity in asked:
            raise InputError(f"{quantity} is given twice", "--column", "Give each column once")
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
                f"{quoted(unit)} is no unit of {quantity} that can be read here",
                f"--{quantity}-unit",
                f"Use one of {_units(quantity)}",
            )
        found[quantity] = QUANTITIES[quantity][2][unit]
    return found


def locate(
    header: Sequence[str],
    asked: dict[str, str],
    where: str,
    factors: Mapping[str, float] = MappingProxyType({}),
) -> tuple[Column, ...]:
    """The columns to read, in the order time, current, voltage (if there is one).

    ``factors`` (quantity: factor to SI) outweigh the units in the names.
    ``where`` is the file and line of the header, for messages. Raises InputError for a column that isn't there,
    is there twice, or has a unit we don't know.
    """
    found = []
    for quantity, (own_name, _, _) in QUANTITIES.items():
        if quantity in asked:
            name, factor = _name_and_factor(quantity, asked[quantity], header)
        else:
            name, factor = own_name, 1.0
        count = header.count(name)
        if count == 1:
            found.append(Column(quantity, name, header.index(name), factors.get(quantity, factor)))
        elif count > 1:
            raise InputError(f"column {quoted(name)} stands there {count} times", where, "Rename one of them")
        elif quantity != OPTIONAL or quantity in asked:
            raise InputError(
                f"no column {quoted(name)} among {_listed(header)}",
                where,
                f'Say which one it is: --column {quantity}="NAME [{_units(quantity)}]"',
            )
    return tuple(found)


def _name_and_factor(quantity: str, choice: str, header: Sequence[str]) -> tuple[str, float]:
    """Split ``NAME [unit]``; a header that holds the brackets itself counts as the name."""
    _, _, factors = QUANTITIES[quantity]
    name, bracket, rest = choice.rpartition("[")
    if not bracket or not rest.endswith("]"):
        return choice, 1.0
    unit = rest[:-1].strip()
    if unit not in factors:
        raise InputError(
            f"{quoted(unit)} is no unit of {quantity} that can be read here",
            "--column",
            f"Use one of {_units(quantity)}",
        )
    return (choice if choice in header else name.strip()), factors[unit]


def _units(quantity: str) -> str:
    return " | ".join(unit for unit in QUANTITIES[quantity][2] if unit.isascii())


def _listed(header: Sequence[str]) -> str:
    shown = ", ".join(quoted(name, 24) for name in header[:8])
    return shown + (f" and {len(header) - 8} more" if len(header) > 8 else "")
