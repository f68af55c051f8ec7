"""Papers for the field: the blank test sheet and the cab card. Pure: data in, a document out."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from hashlib import sha256

from logger.core.cautions import BOTH_PINS, FALL, HANDS, OUT_OF_USE
from logger.core.machine.limits import limits_for
from logger.core.quantities.units import display_unit, show
from logger.core.records.records import BENCH
from logger.core.rig import Rig
from logger.core.seasons.expected import Expected, OwnWeather, expected_throw
from logger.core.sheets.questions import QUESTIONS
from logger.core.sheets.sheet import Plan
from logger.core.standing.service import NextCheck
from logger.core.standing.status import DO_NOT_USE, Status
from logger.core.standing.status_words import headline, reasons
from logger.core.stroke.baseline import Baseline
from logger.core.trace import DIRECTIONS, LOCK
from logger.report.document import (
    QUIET,
    STRONG,
    Block,
    Bullets,
    Cautions,
    Document,
    Facts,
    Heading,
    PageBreak,
    Signatures,
    Table,
    Text,
    words,
)
from logger.report.machine import limits

CARD_TEMPERATURES_C = (-10.0, 5.0, 20.0)
BOX = "\u2610"
NOT_KNOWN = "not known"
STOP = (
    "a pin is not seen in its hole, left or right",
    "it stalls, hums without moving, or ends before its travel is done",
    "it runs lighter or faster than it ever did: the drive may be off the pins",
    "the pins move with the power off",
    "the maker's load check is not passed",
    "anything is bent, cracked, loose or missing",
)
"""When nobody should go on working with it. Source: method.md 5; the causes of the status 'do not use'."""
EVERY_TIME = "At every change: look at the left pin, look at the right pin, each by itself; then the maker's load check."
OVER = "Slower or heavier than 'at most', twice in a row: have it checked before the next job."


@dataclass(frozen=True, eq=False)
class FormSource:
    """What the forms are made from."""

    rig: Rig
    baselines: Mapping[str, Baseline]
    """By direction."""
    status: Status
    commissioned: bool
    next_check: NextCheck
    issued: date
    software: str
    voltage_v: float | None = None
    """What the times are for [V]; None: as in the baseline, or nominal."""
    weather: Mapping[str, OwnWeather] = field(default_factory=dict)
    """By direction, where the rig's checks have shown how it answers to weather."""
    practice: bool = False
    """From a practice logbook."""


# ---- the blank sheet ----


def blank_sheet(source: FormSource, kind: str, plan: Plan) -> Document:
    """A sheet to fill in by hand: cautions first, then in the order in which ``enter`` takes it."""
    rig = source.rig
    blocks: list[Block] = [
        Cautions("First", (FALL, HANDS, BOTH_PINS)),
        Facts(
            (("Date and time", ""), ("Place", ""), *((_asked(one.asked), "") for one in QUESTIONS)),
            "Before the first throw. A blank stays a blank; it lowers what the sheet may claim.",
            pencil=True,
        ),
        expected_table(source),
        limits(rig),
        PageBreak(),
        Text(
            f"{plan.throws_each_way} throws each way, rest at least {plan.rest_s:.0f} s between them ({plan.rest_from}). "
            "Power isolated and key out before hands go near the pins.",
            STRONG,
        ),
        _throw_table(kind, plan),
        Text(
            "Left, right: the pin was seen in its hole, y or n, each pin by itself. Load check: the maker's, y or n. "
            "Stayed put: pins with the power off, y or n. A throw that stalled or stopped short: write it in the note.",
            QUIET,
        ),
        Heading("Looked at", 3),
        Bullets(plan.look_at, BOX),
        Heading("Typing it in later", 3),
        Text(
            f"throwbook enter --rig {rig.name} --kind {kind} --paste, then one line a throw, in this order:",
            QUIET,
        ),
        Text("lock 14.3s 2.1A 2.9A 12.4V both seen, load check done, stayed put", QUIET),
        Signatures((("Thrown and seen by", ""), ("Checked by", ""))),
    ]
    return _numbered(f"Test sheet: {kind}", f"rig {rig.name}", f"blank-{rig.name}", source, blocks)


def _asked(question: str) -> str:
    return question.rstrip("?")


def _throw_table(kind: str, plan: Plan) -> Table:
    pins = kind != BENCH
    headings = ["No.", "Way", "Time [s]", "Running [A]", "Peak [A]", "Under load [V]"]
    headings += ["Left", "Right", "Load check", "Stayed put"] if pins else []
    rows = []
    for number in range(2 * plan.throws_each_way):
        way = DIRECTIONS[number % 2]
        sightings = [""] * 4 if way == LOCK else ["-"] * 4
        rows.append((str(number + 1), way, *[""] * 4, *(sightings if pins else []), ""))
    return Table((*headings, "Note"), tuple(rows), "Throws, in the order they are thrown", pencil=True)


# ---- the cab card ----


def cab_card(source: FormSource) -> Document:
    """What the person in the cab needs: what is normal, when to stop, what to look at every time."""
    rig, status = source.rig, source.status
    due = source.next_check.sentence
    standing = headline(status, source.commissioned, "no next check set")
    blocks: list[Block] = [
        Cautions(
            "Every time", (*((OUT_OF_USE,) if status.level == DO_NOT_USE else ()), EVERY_TIME, FALL, HANDS)
        ),
        expected_table(source, big=True),
        Text(_card_limits(rig)),
        Heading("Stop using it when"),
        Bullets(STOP),
        Text(OVER),
        Facts(
            (("Status on the day of print", standing), ("Next check", due), ("Printed", str(source.issued))),
            "Where it stands",
        ),
    ]
    held = reasons(status)
    if held:
        blocks.append(Bullets(tuple(held)))
    return _numbered("Cab card", f"rig {rig.name}: lock pins", f"card-{rig.name}", source, blocks)


def _card_limits(rig: Rig) -> str:
    held = limits_for(rig)
    run = show(held["run_current"].value, "current", rig.units)
    peak = show(held["peak_run_current"].value, "current", rig.units)
    supply = show(held["supply_under_load"].value, "voltage", rig.units)
    return f"At most {run} while it runs, {peak} at any moment after the start; at least {supply} under load."


# ---- both ----


def expected_table(source: FormSource, big: bool = False) -> Table:
    """Expected time and current at three temperatures, both directions, with the longest time that passes."""
    rows = []
    volts, because = set(), set()
    for temperature_c in CARD_TEMPERATURES_C:
        row = [show(temperature_c, "temperature", source.rig.units).partition(" ")[0]]
        for direction in DIRECTIONS:
            found = expected_throw(
                source.rig,
                source.baselines.get(direction),
                source.voltage_v,
                temperature_c,
                source.weather.get(direction),
            )
            row += _expected_cells(source.rig, found)
            if found is not None:
                volts.add(f"{found.voltage_v:.1f} V")
                because.add(found.because)
        rows.append(tuple(row))
    headings = [f"Air [{display_unit('temperature', source.rig.units)}]"]
    for direction in DIRECTIONS:
        headings += [f"{direction} [s]", "at most [s]", f"{direction} [A]"]
    caption = f"Expected at {' and '.join(sorted(volts)) or 'any voltage'} ({'; '.join(sorted(because)) or 'no baseline yet'})"
    return Table(tuple(headings), tuple(rows), caption, big=big)


def _expected_cells(rig: Rig, found: Expected | None) -> list[str]:
    if found is None:
        return [NOT_KNOWN, "-", NOT_KNOWN]
    time, run = found.time_s, found.run_current_a
    most = time.value * limits_for(rig, time.value)["travel_time_high"].value
    return [
        f"{time.value - time.u:.1f} to {time.value + time.u:.1f}",
        f"{most:.1f}",
        f"{run.value - run.u:.1f} to {run.value + run.u:.1f}",
    ]


def _numbered(title: str, subtitle: str, stem: str, source: FormSource, blocks: list[Block]) -> Document:
    title = f"Practice, no machine: {title}" if source.practice else title
    draft = Document(title, subtitle, "", tuple(blocks), "", "")
    digest = sha256(f"{source.software}\n{source.issued}\n{words(draft)}".encode()).hexdigest()
    number = f"{stem}-{source.issued:%Y%m%d}-{digest[:8]}"
    return Document(title, subtitle, number, tuple(blocks), f"End of {number}", number)
