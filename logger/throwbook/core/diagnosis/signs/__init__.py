"""Signs: what a record shows, one function each, listed in one table.

Each takes the evidence and returns a sign or None; the function has the name of the sign. It is listed at the end of its own
file. What else a new one needs stands in DEVELOPERS.md, "To add a sign".
"""

from collections.abc import Callable

from throwbook.core.assessment import Sign
from throwbook.core.diagnosis.evidence import Evidence
from throwbook.core.diagnosis.signs import ending, load, pins, supply

SIGNS: tuple[Callable[[Evidence], Sign | None], ...] = (
    *ending.OF_THE_END,
    *pins.OF_THE_PINS,
    *load.OF_THE_LOAD,
    *supply.OF_THE_SUPPLY,
    *ending.OF_A_CONTACT,
    *supply.OF_THE_RECORD,
)


def signs_of(evidence: Evidence) -> tuple[Sign, ...]:
    """Every sign this trial shows, in the order of the table."""
    return tuple(sign for look in SIGNS if (sign := look(evidence)) is not None)
