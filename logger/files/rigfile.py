"""The rig file: TOML with quantities as strings, to a core Rig and back.

Every key, with what it means, stands in ``rig_example.EXAMPLE``, which `throwbook rig example` prints; a test holds it
against ``SECTIONS`` below and the limits of ``core/machine/limits.py``.
"""

import difflib
import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from logger.core.machine.limits import LIMITS
from logger.core.machine.rig_check import problems
from logger.core.machine.wiring import FUSE_POINTS, conductor
from logger.core.quantities.plain import printable, quoted
from logger.core.quantities.unit_table import COMMON, KINDS
from logger.core.quantities.units import parse
from logger.core.rig import UNIT_SYSTEMS, Actuator, Board, LimitOverride, LockMechanism, Rig, Wiring
from logger.errors import InputError

_LARGEST_FILE = 1_000_000
_LARGEST_SHARE = 1e9

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
_TOP_KEYS = ("name", "units", "retired", "lock", "actuator", "wiring", "board", "limits")
_WRITTEN_IN = {
    "length": "mm",
    "cable length": "m",
    "speed": "mm/s",
    "force": "N",
    "current": "A",
    "voltage": "V",
}
_WRITTEN_IN |= {"time": "s", "temperature": "degC"}
_LONGEST_TEXT = 200


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
        more = f" ({len(grave) - 1} more: 'throwbook rig fit' lists all)" if len(grave) > 1 else ""
        raise InputError(f"{grave[0].what}{more}", f"{where}: {grave[0].key}", grave[0].do)


def read_rig_file(path: Path) -> RigFile:
    """Read a rig file, faulty rigs included as long as every value can be read (``rig_check`` names the faults)."""
    try:
        size = path.stat().st_size
        if size > _LARGEST_FILE:
            raise InputError(
                f"{size} bytes are too many for a rig file", str(path), "Name the .toml file of the rig."
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
            f"is not TOML: {printable(str(fault))}", where, 'Quantities stand in quotes: stroke = "200 mm".'
        ) from None
    name = _text_of(keys.get("name"), f"{where}: name", 'name = "quarry-loader"')
    units = keys.get("units", "metric")
    if units not in UNIT_SYSTEMS:
        raise InputError(
            f"{quoted(str(units))} is no unit system", f"{where}: units", 'Write "metric" or "us".'
        )
    values = {section: _section(keys, section, where) for section in SECTIONS}
    warnings = _unknown(keys, _TOP_KEYS, where)
    for section, rows in SECTIONS.items():
        warnings += _unknown(keys.get(section, {}), [row[0] for row in rows], f"{where}: [{section}]")
    actuator = Actuator(**values["actuator"])
    rig = Rig(
        name=name,
        units=units,
        actuator=actuator,
        lock=_lock(values["lock"], where),
        wiring=_wiring(values["wiring"], where) if "wiring" in keys else None,
        board=_board(values["board"], where),
        limits=_limits(keys.get("limits", {}), actuator, f"{where}: [limits]"),
        retired=_text_of(keys["retired"], f"{where}: retired", 'retired = "sold"')
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


# ---- one value at a time ----


def _section(keys: Mapping[str, Any], section: str, where: str) -> dict[str, Any]:
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
        return _text_of(value, at, _line(key, kind))
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


def _text_of(value: Any, at: str, example: str) -> str:
    if not isinstance(value, str) or not value.strip():
        raise InputError("is missing or no text", at, f"Write {example}.")
    text = value.strip()
    if len(text) > _LONGEST_TEXT or printable(text) != text:
        raise InputError("is too long or holds unprintable letters", at, f"Write {example}.")
    return text


def _lock(values: dict[str, Any], where: str) -> LockMechanism:
    if "needed_travel_m" not in values:
        if not {"spacing_locked_m", "spacing_unlocked_m"} <= set(values):
            raise InputError(
                "is missing",
                f"{where}: lock.needed_travel",
                'Add needed_travel = "188 mm", or spacing_locked and spacing_unlocked.',
            )
        values["needed_travel_m"] = abs(values["spacing_locked_m"] - values["spacing_unlocked_m"])
    return LockMechanism(**values)


def _wiring(values: dict[str, Any], where: str) -> Wiring:
    fuse_type = values.get("fuse_type")
    if fuse_type is not None and fuse_type not in FUSE_POINTS:
        known = " or ".join(f'"{name}"' for name in FUSE_POINTS)
        raise InputError(f"{quoted(fuse_type)} has no table", f"{where}: wiring.fuse_type", f"Write {known}.")
    return Wiring(area_m2=conductor(values["conductor"], f"{where}: wiring.conductor"), **values)


def _board(values: dict[str, Any], where: str) -> Board:
    board = Board(**values)
    if board.placed_in not in ("supply", "motor"):
        raise InputError(
            f"{quoted(board.placed_in)} is no place",
            f"{where}: board.placed_in",
            'Write "supply" (before the reversing switch) or "motor" (after it).',
        )
    return board


def _limits(table: Any, actuator: Actuator, where: str) -> dict[str, LimitOverride]:
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
        reason = _text_of(entry["reason"], f"{at}.reason", 'reason = "why this rig differs"')
        value, at = entry["value"], f"{at}.value"
        if rule.of and isinstance(value, str) and value.strip().endswith("%"):
            si = parse(value, "share", at) * getattr(actuator, rule.of)
        else:
            si = _value(value, "value", rule.kind, at)
        limits[name] = LimitOverride(si, reason)
    return limits


def _unknown(table: Any, known: Any, where: str) -> list[str]:
    said = []
    for key in table if isinstance(table, dict) else ():
        if key not in known:
            close = difflib.get_close_matches(key, list(known), n=1)
            hint = f"; is {close[0]} meant?" if close else "; it is kept and not used"
            said.append(f"{where}: the key {quoted(key)} isn't known{hint}")
    return said
