"""The rig as data: an actuator, the lock mechanism it throws, and how it is wired."""

import json
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

LOCK = "lock"
UNLOCK = "unlock"
DIRECTIONS = (LOCK, UNLOCK)
LEFT, RIGHT = "left", "right"
SIDES = (LEFT, RIGHT)
"""The two pins, each as a person stands behind the carriage and names it."""
METRIC = "metric"
US = "us"
UNIT_SYSTEMS = (METRIC, US)
ASSUMED_SPEED_RATIO = 0.75
"""Full-load over no-load speed where the data sheet doesn't give it. Assumed."""
ASSUMED_RATIO_HALF_WIDTH = 0.15
"""That ratio is taken to lie within 0.75 +/- 0.15, all values alike. Assumed."""
DATA_SHEET_HALF_WIDTH = 0.10
"""A data-sheet speed, current or push holds within +/- 10 % for one actuator out of the box. Common practice, no source."""


@dataclass(frozen=True)
class Actuator:
    """Data-sheet values of an electric linear actuator (brushed motor, screw, limit switches)."""

    voltage_v: float
    stroke_m: float
    rated_force_n: float
    no_load_speed_m_s: float
    no_load_current_a: float
    full_load_current_a: float
    """The rated maximum."""
    full_load_speed_m_s: float | None = None
    """None: not given; ``ASSUMED_SPEED_RATIO`` then draws the speed line, and that is said."""
    duty_cycle: float | None = None
    """Share of time it may run, 0..1."""
    duty_period_s: float | None = None
    """Cycle the duty is reckoned over [s]; None: not given."""
    protection: str | None = None
    """IP code as printed, for example ``IP66``."""
    extend_locks: bool = True


@dataclass(frozen=True)
class LockMechanism:
    """What has to be moved."""

    needed_travel_m: float
    spacing_locked_m: float | None = None
    spacing_unlocked_m: float | None = None
    needed_force_n: float | None = None
    """Push that the whole mechanism needs when clean and warm [N]; None: not known."""
    excess_goes: str | None = None
    """Where stroke beyond the needed travel goes (a spring, a slot, ...); None: not said."""
    lowest_voltage_v: float | None = None
    """Lowest supply expected at the machine under load [V]."""
    coldest_c: float | None = None
    """Coldest working temperature [degC]."""
    bears_force_n: float | None = None
    """Push that rod, pins and mounts are known to bear [N]; None: nobody has looked."""


@dataclass(frozen=True)
class Wiring:
    """Cable and fuse between battery and actuator."""

    conductor: str
    """As typed: ``2.5 mm2`` or ``14 AWG``."""
    area_m2: float
    length_one_way_m: float
    fuse_a: float | None = None
    fuse_type: str | None = None


@dataclass(frozen=True)
class Board:
    """Where the current-sense board sits."""

    placed_in: str = "supply"
    """``supply`` (before the reversing switch) or ``motor`` (after it)."""
    id: str | None = None


@dataclass(frozen=True)
class Machine:
    """Whose machine it is and where; printed on every report, never reckoned with."""

    description: str | None = None
    """Make, model, year as a person calls it."""
    serial_number: str | None = None
    owner: str | None = None
    place: str | None = None


@dataclass(frozen=True)
class LimitOverride:
    """A limit of this rig that replaces the common one, with its reason."""

    value: float
    """In the SI unit of the limit (see ``limits.LIMITS``)."""
    reason: str


@dataclass(frozen=True)
class Rig:
    """Everything the rig file says."""

    name: str
    actuator: Actuator
    lock: LockMechanism
    units: str = METRIC
    wiring: Wiring | None = None
    board: Board = field(default_factory=Board)
    machine: Machine = field(default_factory=Machine)
    limits: Mapping[str, LimitOverride] = field(default_factory=lambda: MappingProxyType({}))
    retired: str = ""
    """Why it is no longer looked after (sold, scrapped); empty: it is."""


_LINE = re.compile(r"^[ \t]*retired[ \t]*=.*\n?", re.MULTILINE)
"""Of a rig file: why the rig is retired."""


def retired_text(toml: str, because: str) -> str:
    """The rig file with the line that retires it on top; an empty reason takes the line away."""
    rest = awake_text(toml)
    # Letters beyond ASCII stay as they are: JSON would write some in two halves, which TOML refuses.
    return f"retired = {json.dumps(because, ensure_ascii=False)}\n{rest}" if because else rest


def retired_because(toml: str) -> str:
    """Why the rig of this file is retired; empty: it isn't. For lists of hundreds, where reading the whole file is slow."""
    found = _LINE.search(toml.partition("\n[")[0])
    if found is None:
        return ""
    return str(tomllib.loads(found[0].strip())["retired"]).strip() or "retired"


def machine_in(toml: str) -> Machine:
    """Whose machine it is and where, without reading the rest of the file; as empty as the file where it doesn't say."""
    _, header, rest = f"\n{toml}".partition("\n[machine]")
    if not header:
        return Machine()
    try:
        said = tomllib.loads(rest.partition("\n[")[0])
    except tomllib.TOMLDecodeError:
        return Machine()
    return Machine(
        **{key: str(said[key]) for key in ("description", "serial_number", "owner", "place") if key in said}
    )


def awake_text(toml: str) -> str:
    """The rig file without such a line; only the part before the first section is looked at."""
    head, bracket, sections = toml.partition("\n[")
    return _LINE.sub("", head) + bracket + sections
