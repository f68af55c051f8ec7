"""Instruments that a person reads: kept in the logbook, named by a sheet, used for every throw by hand on it."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path

from throwbook.core.quantities.text import is_name, written
from throwbook.core.quantities.units import parse
from throwbook.core.records import CLAMP, MULTIMETER, STOPWATCH, LoggedTrial, Meter, SheetState, accuracy_text
from throwbook.core.sheets.hand_readings import READS, Instruments, accuracy_from, with_meters
from throwbook.errors import Field, InputError, Remedy
from throwbook.jobs.find import opened
from throwbook.logbook import Logbook

KINDS = {CLAMP: ("A",), STOPWATCH: ("s",), MULTIMETER: ("V", "A")}
"""Kind: what it may read."""
NAMED = "meters"
"""Answer of a sheet: names of the meters that its throws by hand are read from."""
FINEST, COARSEST = 1e-6, 10.0


def meters(logbook: str | Path | None) -> tuple[Meter, ...]:
    """Every instrument as it counts now, by name. Raises InputError where there is no logbook."""
    with opened(logbook, read_only=True) as book:
        return tuple(book.meters())


def last_digit(kind: str, typed: str) -> tuple[str, float]:
    """Unit and step [unit] of a meter's last digit, as typed: ``0.1 A``. Raises InputError."""
    where = Field("resolution")
    unit = next((unit for unit in KINDS[kind] if typed.strip().casefold().endswith(unit.casefold())), "")
    if not unit:
        wanted = " or ".join(f"0.1 {unit}" for unit in KINDS[kind])
        raise InputError(f"{typed!r} is no last digit of a {kind}", where, f"Type it like {wanted}.")
    step = parse(typed, READS[unit], where)
    if not FINEST <= step <= COARSEST:
        raise InputError(f"no {kind} steps by {typed}", where, "Look at its last digit.")
    return unit, step


def meter_from(
    name: str,
    kind: str,
    resolution: str,
    accuracy: str,
    peak_hold: bool,
    checked: date | None,
    by: str,
    now: datetime,
) -> Meter:
    """An instrument as a person types it: ``0.1 A``, ``2.5 % + 5 digits``; ``accuracy`` may be empty for a stopwatch.

    Raises InputError naming the field.
    """
    unit, step = last_digit(kind, resolution)
    worth = accuracy_from(accuracy or "0%", Field("accuracy"))
    if not written(accuracy) and kind != STOPWATCH:
        raise InputError(
            "an accuracy is missing", Field("accuracy"), "Write it as on the data sheet: 2.5% + 5 digits"
        )
    if checked is not None and checked > now.date():
        raise InputError(
            "the check is dated in the future", Field("checked"), "Look at the date and the clock."
        )
    day = "" if checked is None else checked.isoformat()
    return Meter(name.strip(), kind, unit, step, worth.share, worth.digits, peak_hold, now, by, day)


def add_meter(logbook: str | Path | None, meter: Meter, by: str, now: datetime) -> Meter:
    """Write an instrument down, or what is new about one (a check, a repair): what was read before keeps the old.

    Raises InputError for a name without a letter, and for another resolution or accuracy under a known name without a ``reason``.
    """
    if not is_name(meter.name):
        raise InputError(f"{meter.name!r} is no name", "name", "Use the name on its label: clamp 1.")
    with opened(logbook) as book, book.transaction():
        known = next((one for one in book.meters() if one.name == meter.name), None)
        if known is not None and _data_sheet(known) != _data_sheet(meter) and not written(meter.reason):
            raise InputError(
                f"'{meter.name}' is in this logbook with another data sheet",
                str(book.path),
                "Give this one another name.",
                Remedy.SAY_WHY,
            )
        return book.add_meter(replace(meter, by=by, at=now))


def _data_sheet(meter: Meter) -> tuple[object, ...]:
    return meter.kind, meter.unit, meter.resolution, meter.share, meter.digits, meter.peak_hold


def name_in(book: Logbook, state: SheetState, names: Sequence[str], by: str, now: datetime) -> Instruments:
    """Name the meters of an open sheet, in place of those named before; what its throws are read with from now on.

    Throws that stand on it keep what they were read with. Raises InputError for an unknown name, or two meters that read the same.
    """
    used = with_meters(Instruments(), _called(book, names))
    wanted = list(dict.fromkeys(names))
    if wanted != list(state.answers.get(NAMED, ())):
        answers = {**state.answers, NAMED: wanted}
        if not written(str(answers.get("instruments") or "")):
            answers["instruments"] = ", ".join(wanted)
        book.answer(state.sheet.id, answers, by, now)
    return used


def instruments_of(logbook: str | Path | None, sheet: str, assumed: Instruments | None = None) -> Instruments:
    """What a throw by hand on this sheet is read with: the meters it names, and ``assumed`` for the rest.

    ``no_peak_by`` names the meter that keeps no peak: then none is asked for.
    """
    with opened(logbook, read_only=True) as book:
        return instruments_in(book, book.sheet(sheet), assumed)


def instruments_in(book: Logbook, state: SheetState, assumed: Instruments | None = None) -> Instruments:
    """The same in an open logbook."""
    return with_meters(assumed or Instruments(), _called(book, state.answers.get(NAMED, ())))


def meters_on(book: Logbook, state: SheetState, throws: Iterable[LoggedTrial]) -> tuple[Meter, ...]:
    """The instruments that a sheet's throws were read with, as they were written down then, and those it names now."""
    used = {each for one in throws for each in one.meters}
    named = state.answers.get(NAMED, ())
    if not used and not named:
        return ()
    used |= {one.id for one in book.meters() if one.name in named}
    return tuple(one for one in book.meter_rows() if one.id in used)


def _called(book: Logbook, names: Sequence[str]) -> list[Meter]:
    """The meters of these names. Raises InputError for one that isn't known."""
    if not names:
        return []
    known = {one.name: one for one in book.meters()}
    for name in names:
        if name not in known:
            has = f"It has: {', '.join(known)}." if known else "It has none: record it first."
            raise InputError(f"no meter '{name}' in this logbook", str(book.path), has)
    return [known[name] for name in dict.fromkeys(names)]


def described(meter: Meter) -> dict[str, object]:
    """A meter for JSON and lists: name, kind, resolution with its unit, accuracy, peak_hold, checked (None: not recorded)."""
    return {
        "name": meter.name,
        "kind": meter.kind,
        "resolution": meter.resolution,
        "unit": meter.unit,
        "accuracy": accuracy_text(meter.share, meter.digits),
        "peak_hold": meter.peak_hold,
        "checked": meter.checked or None,
        "by": meter.by,
        "at": meter.at.isoformat(),
        "id": meter.id,
    }
