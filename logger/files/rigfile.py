"""The rig file: TOML with quantities as strings, to a core Rig and back.

Every key, with what it means, stands in ``rig_example.EXAMPLE``, which `throwbook rig example` prints; a test holds it
against ``SECTIONS`` of ``rig_values.py`` and the limits of ``core/machine/limits.py``.
"""

import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from logger.core.machine.limits import LIMITS, looser_limits
from logger.core.machine.rig_check import LOOSER, problems
from logger.core.quantities.plain import printable, quoted
from logger.core.quantities.unit_table import COMMON
from logger.core.rig import UNIT_SYSTEMS, Actuator, Rig
from logger.errors import InputError
from logger.files.rig_values import (
    SECTIONS,
    board_of,
    limits_of,
    lock_of,
    section_of,
    text_of,
    unknown_keys,
    wiring_of,
)

_LARGEST_FILE = 1_000_000
_TOP_KEYS = ("name", "units", "retired", "lock", "actuator", "wiring", "board", "limits")
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
        more = f" ({len(grave) - 1} more: 'throwbook rig fit' lists all)" if len(grave) > 1 else ""
        raise InputError(f"{grave[0].what}{more}", f"{where}: {grave[0].key}", grave[0].do)


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
    name = text_of(keys.get("name"), f"{where}: name", 'name = "quarry-loader"')
    units = keys.get("units", "metric")
    if units not in UNIT_SYSTEMS:
        raise InputError(
            f"{quoted(str(units))} is no unit system", f"{where}: units", 'Write "metric" or "us".'
        )
    values = {section: section_of(keys, section, where) for section in SECTIONS}
    warnings = unknown_keys(keys, _TOP_KEYS, where)
    for section, rows in SECTIONS.items():
        warnings += unknown_keys(keys.get(section, {}), [row[0] for row in rows], f"{where}: [{section}]")
    actuator = Actuator(**values["actuator"])
    rig = Rig(
        name=name,
        units=units,
        actuator=actuator,
        lock=lock_of(values["lock"], where),
        wiring=wiring_of(values["wiring"], where) if "wiring" in keys else None,
        board=board_of(values["board"], where),
        limits=limits_of(keys.get("limits", {}), actuator, f"{where}: [limits]"),
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
