"""What a new version of a rig file changes that a commissioning rested on."""

from dataclasses import fields

from logger.core.machine.limits import MAX, limits_for
from logger.core.rig import Rig

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
                found.append(_words(one.name))
    held, holds = limits_for(before), limits_for(after)
    for name, limit in sorted(held.items()):
        looser = holds[name].value - limit.value
        if (looser if limit.side == MAX else -looser) > 0.0:
            found.append(f"limit of {name.replace('_', ' ')}")
    return tuple(found)


def _words(name: str) -> str:
    bare = next((name.removesuffix(unit) for unit in UNITS if name.endswith(unit)), name)
    return bare.replace("_", " ")
