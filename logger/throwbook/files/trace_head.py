"""The head of a trace file: TOML behind ``#``, read and checked line by line, written in one order."""

import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from throwbook.core.quantities.text import quoted
from throwbook.core.quantities.units import KINDS
from throwbook.core.rig import DIRECTIONS
from throwbook.core.trace import Trace
from throwbook.errors import InputError

FORMAT = "throwbook-trace-1"

# Written first and in this order; every other key follows.
KNOWN_KEYS = ("format", "rig", "direction", "started", "ambient")


_AMBIENT = re.compile(
    r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(degC|°C|C|degF|°F|F|K)\s*", re.ASCII
)

_TO_CELSIUS = {
    "C": lambda value: value,
    "F": lambda value: (value - 32.0) / 1.8,
    "K": lambda value: value - 273.15,
}

_TOML_PLACE = re.compile(r"\(at line (\d+), column (\d+)\)|\(at end of document\)")


@dataclass(frozen=True)
class Head:
    """What the head says, checked."""

    direction: str
    rig: str
    started: datetime | None
    ambient_c: float | None
    keys: dict[str, Any]
    """Every key, as read."""


def read_head(lines: Sequence[str], path: str, *, foreign: bool, direction: str | None) -> Head:
    """Read and check the head.

    ``lines`` are the file's first lines, each beginning with ``#``. ``foreign``: the columns were named by the
    person, so the file may come from elsewhere: then its ``#`` lines are mere comments unless they name a format.
    ``direction`` is what the person says where the head doesn't; with it a bare table will do. Raises InputError naming the line.
    """
    stripped = [line[1:].removeprefix(" ") for line in lines]
    foreign = foreign or (not lines and direction is not None)
    if foreign and _line_of("format", stripped) is None:
        keys: dict[str, Any] = {}
    else:
        keys = _parse(stripped, path)
        _check_format(keys, stripped, path)
    where = _Where(path, stripped)
    return Head(
        direction=_direction(keys, where, direction),
        rig=_text(keys, "rig", where),
        started=_started(keys, where),
        ambient_c=_ambient(keys, where),
        keys=keys,
    )


def head_lines(trace: Trace) -> list[str]:
    """The head of ``trace`` as file lines without line ends; keys that we don't know are kept."""
    import tomli_w

    said: dict[str, Any] = {"format": FORMAT, "rig": trace.rig or None, "direction": trace.direction}
    said["started"] = trace.started
    said["ambient"] = None if trace.ambient_c is None else _ambient_text(trace)
    others: Mapping[str, Any] = {key: value for key, value in trace.head.items() if key not in KNOWN_KEYS}
    known = [
        f"{key} = {value.isoformat()}"
        if isinstance(value, datetime)
        else tomli_w.dumps({key: value}).rstrip()
        for key, value in said.items()
        if value is not None
    ]
    rest = tomli_w.dumps(others).rstrip().split("\n") if others else []
    return [f"# {line}".rstrip() for line in [*known, *rest]]


def to_celsius(text: str) -> float | None:
    """``"4.0 degC"`` as degrees Celsius; None where it isn't a temperature with its unit, or one as no person types it.

    >>> to_celsius("41 degF")
    5.0
    """
    match = _AMBIENT.fullmatch(text)
    if match is None:
        return None
    celsius: float = _TO_CELSIUS[match[2][-1]](float(match[1]))
    kind = KINDS["temperature"]
    return celsius if kind.least <= celsius <= kind.most else None


def _ambient_text(trace: Trace) -> str:
    """As the file had it, if that is still what the trace says."""
    written = trace.head.get("ambient")
    if isinstance(written, str) and to_celsius(written) == trace.ambient_c:
        return written
    return f"{trace.ambient_c!r} degC"


@dataclass(frozen=True)
class _Where:
    path: str
    lines: Sequence[str]

    def __call__(self, key: str) -> str:
        number = _line_of(key, self.lines)
        return f"{self.path}, line {number}" if number else f"{self.path}, line 1"


def _line_of(key: str, lines: Sequence[str]) -> int | None:
    pattern = re.compile(rf"""\s*["']?{re.escape(key)}["']?\s*=""")
    return next((number for number, line in enumerate(lines, 1) if pattern.match(line)), None)


def _parse(lines: Sequence[str], path: str) -> dict[str, Any]:
    try:
        return tomllib.loads("\n".join(lines) + "\n")
    except (
        ValueError,
        RecursionError,
    ) as error:  # TOML's own; numbers of thousands of digits; endless brackets
        match = _TOML_PLACE.search(str(error))
        number = int(match[1]) if match and match[1] else len(lines)
        reason = _TOML_PLACE.sub("", str(error)).strip()
        raise InputError(
            f"the head is not TOML here ({quoted(reason, 80)})",
            f"{path}, line {number}",
            'A head line reads like: # direction = "lock"',
        ) from error


def _check_format(keys: Mapping[str, Any], lines: Sequence[str], path: str) -> None:
    where = _Where(path, lines)("format")
    if "format" not in keys:
        raise InputError(
            "the head names no format",
            where,
            f'Start the file with: # format = "{FORMAT}"; a table without a head is read with --direction',
        )
    if keys["format"] != FORMAT:
        raise InputError(
            f"format {quoted(str(keys['format']))} is not one this version reads",
            where,
            f'It reads "{FORMAT}"; a newer version may be needed',
        )


def _text(keys: Mapping[str, Any], key: str, where: _Where) -> str:
    value = keys.get(key, "")
    if not isinstance(value, str):
        raise InputError(f"{key} is not text", where(key), f'Write it in quotes: # {key} = "{value}"')
    return value


def _direction(keys: Mapping[str, Any], where: _Where, asked: str | None) -> str:
    said = _text(keys, "direction", where)
    if "direction" in keys and said not in DIRECTIONS:
        raise InputError(
            f"direction {quoted(said)} is neither lock nor unlock",
            where("direction"),
            'Write: # direction = "lock" or "unlock"',
        )
    if said and asked and said != asked:
        raise InputError(
            f"the file says {said}, --direction says {asked}",
            where("direction"),
            "Leave out --direction, or correct the file",
        )
    if not said and not asked:
        raise InputError(
            "the file does not give the direction of the throw",
            where("direction"),
            'Give --direction lock or unlock, or write # direction = "lock" in its head',
        )
    return said or str(asked)


def _started(keys: Mapping[str, Any], where: _Where) -> datetime | None:
    value = keys.get("started")
    if value is None:
        return None
    if not isinstance(value, datetime) or value.tzinfo is None:
        raise InputError(
            f"started {quoted(str(value))} is not a date and time with its offset",
            where("started"),
            "Write it like: # started = 2026-03-14T09:12:33+01:00",
        )
    return value


def _ambient(keys: Mapping[str, Any], where: _Where) -> float | None:
    if "ambient" not in keys:
        return None
    celsius = to_celsius(str(keys["ambient"]))
    if celsius is None:
        raise InputError(
            f"ambient {quoted(str(keys['ambient']))} is not a temperature with its unit",
            where("ambient"),
            'Write it like: # ambient = "4.0 degC"',
        )
    return celsius
