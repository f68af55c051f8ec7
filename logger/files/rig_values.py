"""The values of a rig file, one at a time: from what TOML gives to what the core takes, or a refusal that shows how to write it."""

import difflib
import math
from collections.abc import Mapping
from typing import Any

from logger.core.machine.limits import LIMITS
from logger.core.machine.wiring import FUSE_POINTS, conductor
from logger.core.quantities.plain import printable, quoted
from logger.core.quantities.unit_table import KINDS
from logger.core.quantities.units import parse
from logger.core.rig import Actuator, Board, LimitOverride, LockMechanism, Wiring
from logger.errors import InputError

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
}


def section_of(keys: Mapping[str, Any], section: str, where: str) -> dict[str, Any]:
    """Every key of a section that is there, by the field of the core class it fills. Raises InputError for a missing one."""
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
                raise InputError("is missing", at, f"Add {_line(key, kind)} from the data sheet.")
            continue
        found[field] = _value(table[key], key, kind, at)
    return found


def _value(value: Any, key: str, kind: str, at: str) -> Any:
    if kind == TEXT:
        return text_of(value, at, _line(key, kind))
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
            raise InputError("is no quantity", at, f"Write it with its unit, in quotes: {_line(key, kind)}.")
        unit = KINDS[kind].example.partition(" ")[2]
        meant = f'{key} = "{value} {unit}"' if abs(value) < _LARGEST_SHARE else _line(key, kind)
        raise InputError(
            f"{quoted(str(value))} is a bare number", at, f"Write it with its unit, in quotes: {meant}."
        )
    return parse(value, kind, at)


def _line(key: str, kind: str) -> str:
    return f'{key} = "{KINDS[kind].example if kind in KINDS else "..."}"'


def text_of(value: Any, at: str, example: str) -> str:
    """One line of text that can be printed."""
    if not isinstance(value, str) or not value.strip():
        raise InputError("is missing or no text", at, f"Write {example}.")
    text = value.strip()
    if len(text) > _LONGEST_TEXT or printable(text) != text:
        raise InputError("is too long or holds unprintable letters", at, f"Write {example}.")
    return text


def lock_of(values: dict[str, Any], where: str) -> LockMechanism:
    """The travel that locking needs is given, or follows from the two spacings."""
    if "needed_travel_m" not in values:
        if not {"spacing_locked_m", "spacing_unlocked_m"} <= set(values):
            raise InputError(
                "is missing",
                f"{where}: lock.needed_travel",
                'Add needed_travel = "188 mm", or spacing_locked and spacing_unlocked.',
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


def limits_of(table: Any, actuator: Actuator, where: str) -> dict[str, LimitOverride]:
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
            si = _value(value, "value", rule.kind, at)
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
