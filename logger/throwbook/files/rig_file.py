"""The rig file: TOML with quantities as strings, to a core Rig and back, and an example with every key explained."""

import difflib
import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from throwbook.core.machine.electrical import FUSE_POINTS, conductor
from throwbook.core.machine.limits import LIMITS, looser_limits
from throwbook.core.machine.rig_validation import LOOSER, problems
from throwbook.core.quantities.text import printable, quoted
from throwbook.core.quantities.units import COMMON, KINDS, display_unit, parse
from throwbook.core.rig import (
    UNIT_SYSTEMS,
    Actuator,
    Board,
    LimitOverride,
    LockMechanism,
    Machine,
    Rig,
    Wiring,
)
from throwbook.errors import InputError, Remedy
from throwbook.files.tables import refuse_no_file

EXAMPLE = """\
# A rig: an actuator, the lock mechanism it throws, and how it is wired. Throwbook reads this file.
# Write quantities in quotes with their unit: "188 mm", "7 3/8 in", "330 lbf", "-10 degC". Any unit will do.
# Lines that begin with "optional" may be left out; 'throwbook rig fit FILE' then lists what cannot be assessed.

name = "quarry-loader"
units = "metric"                  # how values are shown: "metric" or "us"

[lock]                            # what has to be moved
needed_travel = "188 mm"          # travel of the rod from unlock to lock, measured on the machine
spacing_locked = "600 mm"         # optional: distance between the two mounts after a lock throw ...
spacing_unlocked = "412 mm"       # optional: ... and after an unlock throw; given without needed_travel they replace it
needed_force = "420 N"            # optional: force needed to move the latch, clean and warm
excess_goes = "slotted link"      # optional: what takes up the spare stroke
bears_force = "7000 N"            # optional: force that rod, pins and mounts withstand in a stall
lowest_voltage = "11 V"           # optional: lowest supply voltage, machine under load
coldest = "-10 degC"              # optional: lowest air temperature it has to work in

[actuator]                        # from the data sheet or the nameplate
voltage = "12 V"                  # nominal
stroke = "200 mm"
rated_force = "1500 N"            # at full load
no_load_speed = "16 mm/s"
full_load_speed = "11 mm/s"       # optional: without it three quarters of the no-load speed are assumed, and the output says so
no_load_current = "0.9 A"
full_load_current = "3.6 A"       # at rated force; limits are shares of it
duty_cycle = 0.25                 # optional: share of time it may run; "25 %" is the same
duty_period = "10 min"            # optional: cycle that share is calculated over
protection = "IP66"               # optional: the code as printed
extend_locks = true               # optional: false where the rod pulls in to lock

[wiring]                          # optional: the cable from battery to actuator
conductor = "2.5 mm2"             # or "14 AWG"
length_one_way = "6 m"
fuse = "10 A"                     # optional
fuse_type = "blade"               # optional: "blade" or "maxi blade"

[board]                           # optional: the current-sense board
placed_in = "supply"              # "supply": before the reversing switch; "motor": after it
id = "A1B2"                       # optional: as 'throwbook board find' shows it

[machine]                         # optional: printed on every report
description = "wheel loader, 5 t" # optional
serial_number = "QL-0417"         # optional
owner = "Fellside Quarry"         # optional
place = "Fellside"                # optional: where it stands

[limits]                          # optional: this rig's own limits, each with its reason; without them:
# run_current         80 % of full-load current      peak_run_current    the full-load current
# travel_time_low     85 % of the expected time      travel_time_high    115 % (75 and 125 % when under 10 s)
# supply_under_load   90 % of the nominal voltage    spread_run_current  10 % within a set
# travel_done         85 % of the stroke (75 %)      force_margin        30 % over the worst case
run_current = { value = "2.8 A", reason = "manufacturer's letter of 2026-02-01" }
"""


_LARGEST_SHARE = 1e9
_LONGEST_TEXT = 200
TEXT = "text"
YES_NO = "true or false"


# section: rows of (key, field of the core class, kind, must be there).
SECTIONS: dict[str, tuple[tuple[str, str, str, bool], ...]] = {
    "lock": (
        ("needed_travel", "needed_travel_m", "length", False),
        ("spacing_locked", "spacing_locked_m", "length", False),
        ("spacing_unlocked", "spacing_unlocked_m", "length", False),
        ("needed_force", "needed_force_n", "force", False),
        ("excess_goes", "excess_goes", TEXT, False),
        ("bears_force", "bears_force_n", "force", False),
        ("lowest_voltage", "lowest_voltage_v", "voltage", False),
        ("coldest", "coldest_c", "temperature", False),
    ),
    "actuator": (
        ("voltage", "voltage_v", "voltage", True),
        ("stroke", "stroke_m", "length", True),
        ("rated_force", "rated_force_n", "force", True),
        ("no_load_speed", "no_load_speed_m_s", "speed", True),
        ("full_load_speed", "full_load_speed_m_s", "speed", False),
        ("no_load_current", "no_load_current_a", "current", True),
        ("full_load_current", "full_load_current_a", "current", True),
        ("duty_cycle", "duty_cycle", "share", False),
        ("duty_period", "duty_period_s", "time", False),
        ("protection", "protection", TEXT, False),
        ("extend_locks", "extend_locks", YES_NO, False),
    ),
    "wiring": (
        ("conductor", "conductor", TEXT, True),
        ("length_one_way", "length_one_way_m", "cable length", True),
        ("fuse", "fuse_a", "current", False),
        ("fuse_type", "fuse_type", TEXT, False),
    ),
    "board": (
        ("placed_in", "placed_in", TEXT, False),
        ("id", "id", TEXT, False),
    ),
    "machine": (
        ("description", "description", TEXT, False),
        ("serial_number", "serial_number", TEXT, False),
        ("owner", "owner", TEXT, False),
        ("place", "place", TEXT, False),
    ),
}


def section_of(keys: Mapping[str, Any], section: str, where: str, units: str) -> dict[str, Any]:
    """Every key of a section that is there, by the field of the core class it fills; examples in ``units``.

    Raises InputError for a missing one.
    """
    needed = section in ("lock", "actuator")
    table = keys.get(section)
    if table is None and not needed:
        return {}
    if not isinstance(table, dict):
        raise InputError(
            f"the section [{section}] is missing", where, f"Add a line [{section}] and its keys below it."
        )
    found = {}
    for key, field, kind, must in SECTIONS[section]:
        at = f"{where}: {section}.{key}"
        if key not in table:
            if must:
                raise InputError("is missing", at, f"Add {_line(key, kind, units)} from the data sheet.")
            continue
        found[field] = _value(table[key], key, kind, at, units)
    return found


def _value(value: Any, key: str, kind: str, at: str, units: str) -> Any:
    if kind == TEXT:
        return text_of(value, at, _line(key, kind, units))
    if kind == YES_NO:
        if not isinstance(value, bool):
            raise InputError(f"{quoted(str(value))} is neither true nor false", at, f"Write {key} = true.")
        return value
    if kind == "share" and isinstance(value, int | float) and not isinstance(value, bool):
        if key == "duty_cycle" and 1.0 < value <= 100.0:
            raise InputError(f"{value:g} is no share of the time", at, f'Write {key} = "{value:g} %".')
        return float(value) if abs(value) < _LARGEST_SHARE else math.inf
    if not isinstance(value, str):
        if not isinstance(value, int | float) or isinstance(value, bool):
            raise InputError(
                "is not a value with a unit",
                at,
                f"Write it with its unit, in quotes: {_line(key, kind, units)}.",
            )
        unit = display_unit(kind, units)
        meant = f'{key} = "{value} {unit}"' if abs(value) < _LARGEST_SHARE else _line(key, kind, units)
        raise InputError(
            f"{quoted(str(value))} is a bare number", at, f"Write it with its unit, in quotes: {meant}."
        )
    return parse(value, kind, at, units)


def _line(key: str, kind: str, units: str) -> str:
    return f'{key} = "{KINDS[kind].examples[units] if kind in KINDS else "..."}"'


def text_of(value: Any, at: str, example: str) -> str:
    """One line of text that can be printed."""
    if not isinstance(value, str) or not value.strip():
        raise InputError("is missing or no text", at, f"Write {example}.")
    text = value.strip()
    if len(text) > _LONGEST_TEXT or printable(text) != text:
        raise InputError("is too long or holds unprintable letters", at, f"Write {example}.")
    return text


def lock_of(values: dict[str, Any], where: str, units: str) -> LockMechanism:
    """The travel that locking needs is given, or follows from the two spacings."""
    if "needed_travel_m" not in values:
        if not {"spacing_locked_m", "spacing_unlocked_m"} <= set(values):
            raise InputError(
                "is missing",
                f"{where}: lock.needed_travel",
                f"Add {_line('needed_travel', 'length', units)}, or spacing_locked and spacing_unlocked.",
            )
        values["needed_travel_m"] = abs(values["spacing_locked_m"] - values["spacing_unlocked_m"])
    return LockMechanism(**values)


def wiring_of(values: dict[str, Any], where: str) -> Wiring:
    """A conductor and a fuse that there are tables for."""
    fuse_type = values.get("fuse_type")
    if fuse_type is not None and fuse_type not in FUSE_POINTS:
        known = " or ".join(f'"{name}"' for name in FUSE_POINTS)
        raise InputError(f"{quoted(fuse_type)} has no table", f"{where}: wiring.fuse_type", f"Write {known}.")
    return Wiring(area_m2=conductor(values["conductor"], f"{where}: wiring.conductor"), **values)


def board_of(values: dict[str, Any], where: str) -> Board:
    """A board sits at the supply or at the motor."""
    board = Board(**values)
    if board.placed_in not in ("supply", "motor"):
        raise InputError(
            f"{quoted(board.placed_in)} is no place",
            f"{where}: board.placed_in",
            'Write "supply" (before the reversing switch) or "motor" (after it).',
        )
    return board


def limits_of(table: Any, actuator: Actuator, where: str, units: str) -> dict[str, LimitOverride]:
    """The rig's own limits, each with its reason; a percentage counts from the rating."""
    example = 'Write it as run_current = { value = "2.8 A", reason = "why" }.'
    if not isinstance(table, dict):
        raise InputError("is no section", where, example)
    limits = {}
    for name, entry in table.items():
        at = f"{where} {printable(name)}"
        rule = LIMITS.get(name)
        if rule is None:
            raise InputError("no limit has this name", at, f"Limits are {', '.join(LIMITS)}.")
        if not (isinstance(entry, dict) and {"value", "reason"} == set(entry)):
            raise InputError("needs a value and a reason, and nothing else", at, example)
        reason = text_of(entry["reason"], f"{at}.reason", 'reason = "why this rig differs"')
        value, at = entry["value"], f"{at}.value"
        if rule.of and isinstance(value, str) and value.strip().endswith("%"):
            si = parse(value, "share", at) * getattr(actuator, rule.of)
        else:
            si = _value(value, "value", rule.kind, at, units)
        limits[name] = LimitOverride(si, reason)
    return limits


def unknown_keys(table: Any, known: Any, where: str) -> list[str]:
    """One line for each key that isn't known, with the one that may be meant."""
    said = []
    for key in table if isinstance(table, dict) else ():
        if key not in known:
            close = difflib.get_close_matches(key, list(known), n=1)
            hint = f"; is {close[0]} meant?" if close else "; it is kept and not used"
            said.append(f"{where}: the key {quoted(key)} isn't known{hint}")
    return said


_LARGEST_FILE = 1_000_000
_TOP_KEYS = ("name", "units", "retired", "lock", "actuator", "wiring", "board", "machine", "limits")

_WRITTEN_IN = {
    "length": "mm",
    "cable length": "m",
    "speed": "mm/s",
    "force": "N",
    "current": "A",
    "voltage": "V",
    "time": "s",
    "temperature": "degC",
}


@dataclass(frozen=True)
class RigFile:
    """A rig file as read."""

    rig: Rig
    text: str
    """The file itself: comments and keys of others' are kept in it."""
    warnings: tuple[str, ...]
    """One line for each key that isn't known."""


def read_rig(path: Path) -> Rig:
    """The rig of a file, for work: refused where its values contradict each other.

    Raises InputError naming file, key and what to do; where there is more than one fault, how to see all.
    """
    rig = read_rig_file(path).rig
    refuse_contradictions(rig, str(path))
    return rig


def refuse_contradictions(rig: Rig, where: str) -> None:
    """Raise InputError for the first grave problem, saying how many more there are."""
    grave = [problem for problem in problems(rig) if problem.grave]
    if grave:
        more = f" ({len(grave) - 1} more)" if len(grave) > 1 else ""
        raise InputError(
            f"{grave[0].what}{more}",
            f"{where}: {grave[0].key}",
            grave[0].do,
            Remedy.LIST_ALL if more else None,
        )


def refuse_looser_limits(rig: Rig, where: str, before: Rig | None = None) -> None:
    """Raise InputError for the first of the rig's own limits that is looser than any reason can make it.

    Asked where a rig is added or changed; a limit that the version ``before`` has as well is an old one: it stays readable.
    """
    for name, what in looser_limits(rig).items():
        if before is None or before.limits.get(name) != rig.limits[name]:
            raise InputError(what, f"{where}: [limits] {name}", LOOSER)


def read_rig_file(path: Path) -> RigFile:
    """Read a rig file, faulty rigs included as long as every value can be read (``rig_check`` names the faults)."""
    try:
        refuse_no_file(path)
        size = path.stat().st_size
        if size > _LARGEST_FILE:
            raise InputError(
                f"{size} bytes are too much for a rig file", str(path), "Name the .toml file of the rig."
            )
        raw = path.read_bytes()
    except FileNotFoundError:
        raise InputError("there is no such file", str(path), "Look at the name and the folder.") from None
    except IsADirectoryError:
        raise InputError("is a folder", str(path), "Name the .toml file of the rig in it.") from None
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError("is no text file (UTF-8)", str(path), "Name the .toml file of the rig.") from None
    return parse_rig(text, str(path))


def parse_rig(text: str, where: str) -> RigFile:
    """Rig from the text of a rig file; ``where`` names it in messages."""
    try:
        keys = tomllib.loads(text)
    except (
        ValueError,
        RecursionError,
    ) as fault:  # ValueError: TOML's own, and numbers of thousands of digits
        raise InputError(
            f"is not TOML: {printable(str(fault))}", where, 'Write quantities in quotes: stroke = "200 mm".'
        ) from None
    name = text_of(keys.get("name"), f"{where}: name", 'name = "quarry-loader"')
    units = keys.get("units", "metric")
    if units not in UNIT_SYSTEMS:
        raise InputError(
            f"{quoted(str(units))} is no unit system", f"{where}: units", 'Write "metric" or "us".'
        )
    values = {section: section_of(keys, section, where, units) for section in SECTIONS}
    warnings = unknown_keys(keys, _TOP_KEYS, where)
    for section, rows in SECTIONS.items():
        warnings += unknown_keys(keys.get(section, {}), [row[0] for row in rows], f"{where}: [{section}]")
    actuator = Actuator(**values["actuator"])
    rig = Rig(
        name=name,
        units=units,
        actuator=actuator,
        lock=lock_of(values["lock"], where, units),
        wiring=wiring_of(values["wiring"], where) if "wiring" in keys else None,
        board=board_of(values["board"], where),
        machine=Machine(**values["machine"]),
        limits=limits_of(keys.get("limits", {}), actuator, f"{where}: [limits]", units),
        retired=text_of(keys["retired"], f"{where}: retired", 'retired = "sold"')
        if "retired" in keys
        else "",
    )
    return RigFile(rig, text, tuple(warnings))


def rig_toml(rig: Rig) -> str:
    """Text of a rig file that reads back as ``rig``."""
    import tomli_w

    document: dict[str, Any] = {"name": rig.name, "units": rig.units} | (
        {"retired": rig.retired} if rig.retired else {}
    )
    for section, rows in SECTIONS.items():
        part = getattr(rig, section)
        if part is None:
            continue
        document[section] = {
            key: _written(getattr(part, field), kind)
            for key, field, kind, _ in rows
            if getattr(part, field) is not None
        }
    if rig.limits:
        document["limits"] = {
            name: {"value": _written(limit.value, LIMITS[name].kind), "reason": limit.reason}
            for name, limit in rig.limits.items()
        }
    return tomli_w.dumps(document)


def _written(value: Any, kind: str) -> Any:
    unit = _WRITTEN_IN.get(kind)
    if unit is None:
        return value
    _, factor, offset = COMMON[unit]
    return f"{round((value - offset) / factor, 12) + 0.0:.12g} {unit}"  # + 0.0: no "-0"
