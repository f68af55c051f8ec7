"""Signs: what a record shows, one function each, listed in one table.

Each takes the evidence and returns a sign or None; the function has the name of the sign. What else a new one needs
stands in DEVELOPERS.md, "To add a sign".
"""

from collections.abc import Callable

from throwbook.core.assessment import INFO, Sign
from throwbook.core.diagnosis.evidence import Evidence
from throwbook.core.diagnosis.signs import (
    ending,
    load,
    supply,
)

SIGNS: tuple[Callable[[Evidence], Sign | None], ...] = (
    ending.no_start,
    ending.stall,
    ending.end_stop,
    ending.stopped_short,
    ending.no_end,
    load.light_run,
    load.over_rated,
    load.drag,
    load.binding_spot,
    load.free_play,
    load.uneven_sides,
    supply.slow_travel,
    supply.low_supply,
    supply.supply_drop,
    ending.interruption,
    supply.clipped,
    supply.gaps,
    supply.cut_record,
    supply.noisy,
)


def signs_of(evidence: Evidence) -> tuple[Sign, ...]:
    """Every sign this trial shows, in the order of the table."""
    return tuple(sign for look in SIGNS if (sign := look(evidence)) is not None)


SUPERSEDES: dict[str, frozenset[str]] = {
    "light-run": frozenset({"binding-spot", "free-play", "drag", "no-end"}),
    "no-end": frozenset({"binding-spot", "free-play", "uneven-sides"}),
    "noisy": frozenset({"binding-spot", "free-play", "uneven-sides", "interruption"}),
    "clipped": frozenset({"binding-spot", "free-play", "uneven-sides", "slow-travel"}),
}
"""A sign above info on the left takes the ground from those on the right: a mechanism that isn't moved has no shape of
its own, in such noise no place can be told, and what was cut off flat is missing from the travel too."""


def superseded(signs: tuple[Sign, ...]) -> tuple[Sign, ...]:
    """The signs without those whose ground another one takes."""
    gone: set[str] = set()
    for sign in signs:
        if sign.level != INFO:
            gone |= SUPERSEDES.get(sign.sign, frozenset())
    return tuple(sign for sign in signs if sign.sign not in gone)
