"""Options for the units of another program's columns: ``--time-unit``, ``--rate``, ``--current-unit``, ``--voltage-unit``."""

from typing import Any, TypeVar

import click

from logger.errors import InputError

Command = TypeVar("Command", bound=Any)

OPTIONS = (
    click.option("--time-unit", metavar="UNIT", help="The time column is in: s, ms, us, min, d (days)."),
    click.option(
        "--rate",
        type=click.FloatRange(min=0.0, min_open=True),
        help="The time column counts rows: so many a second.",
    ),
    click.option("--current-unit", metavar="UNIT", help="The current column is in: A, mA, uA, kA."),
    click.option("--voltage-unit", metavar="UNIT", help="The voltage column is in: V, mV, uV, kV."),
)


def unit_options(command: Command) -> Command:
    """What a column is in, where it is another unit than its name says."""
    for option in reversed(OPTIONS):
        command = option(command)
    return command


def column_factors(given: dict[str, Any]) -> dict[str, float]:
    """Quantity: factor to SI, from those options. Raises InputError for a unit that isn't one, or two answers for the time."""
    from logger.files.columns import unit_factors

    units = {name: given[f"{name}_unit"] for name in ("time", "current", "voltage")}
    found = unit_factors(units)
    if given["rate"] is not None:
        if "time" in found:
            raise InputError("the time column has a unit already", "--rate", "Give --time-unit or --rate.")
        found["time"] = 1.0 / given["rate"]
    return found
