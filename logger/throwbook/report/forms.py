"""Papers for the field: the blank test sheet, the cab card, the list of rigs for the wall. Pure: data in, a document out."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import NamedTuple

from throwbook.core.analysis.baseline import Baseline
from throwbook.core.machine.limits import limits_for
from throwbook.core.quantities.rounding import rounded_down
from throwbook.core.quantities.text import counted, for_shell, printable
from throwbook.core.quantities.units import display_unit, show, show_limit, show_rest
from throwbook.core.records import BENCH
from throwbook.core.rig import DIRECTIONS, LOCK, Rig
from throwbook.core.sheets.conditions import CAUTION as PRACTICE
from throwbook.core.sheets.conditions import QUESTIONS
from throwbook.core.sheets.sheet import Plan
from throwbook.core.sizing.sizing import Gap, coverage
from throwbook.core.status.latch import DO_NOT_USE, Status
from throwbook.core.status.maintenance import NO_CHECK, SEASON, NextCheck
from throwbook.core.status.status_text import DONE, NEVER, NOTHING, headline, pending, reasons, step_in_words
from throwbook.core.trend.expected_throw import Expected, OwnWeather, expected_throw
from throwbook.core.wording import BOTH_PINS, FALL, HANDS, OUT_OF_USE
from throwbook.report.document import (
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
    numbered,
)
from throwbook.report.machine_and_method import limits

CARD_TEMPERATURES_C = (-10.0, 5.0, 20.0)
BOX = "\u2610"
HOW_SEEN = (
    "Left, right: each pin looked at separately; y in its hole, n NOT in its hole, blank not looked at. Load check, the "
    "manufacturer's: y passed, n FAILED. Stays put, pins with the power off: y stayed put, n MOVED."
)
NOTHING_EXPECTED = (
    "The expected time and current are not known yet. They come from the baseline once the rig is commissioned. Before "
    "that, measure the force to move the latch. Attachment on the ground, power isolated: take the actuator off and pull with a spring scale where its "
    "rod attaches. Enter the force as 'force to move the latch' (E on the rig's screen; needed_force under [lock] in the rig "
    "file). Then print this again."
)
STOP = (
    "a pin is not seen in its hole, left or right",
    "it stalls, hums without moving, stops short, or does not stop by itself",
    "it draws less current or runs faster than ever before: the drive may be disconnected from the mechanism",
    "the pins move with the power off",
    "the manufacturer's load check fails",
    "anything is bent, cracked, loose or missing",
)
"""When nobody should go on working with it. Source: the guide (method.md, Status); the causes of the status 'do not use'."""
EVERY_TIME = "At every change: look at the left pin, then at the right pin, one at a time. Then do the manufacturer's load check."
CARD_EVENTS = 4
OLDER_CARD = (
    "The status is that of the day of print. This card no longer counts if the rig has since stalled or stopped short, or a pin was "
    "seen NOT in its hole. Then do not use the rig."
)
OVER = "Slower than 'at most', or more current than in the table, twice in a row: have it checked before the next job."


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
    happened: tuple[str, ...] = ()
    """Since the last accepted sheet, a sentence for each event."""
    gaps: tuple[Gap, ...] = ()
    """What its status doesn't cover."""
    steps: tuple[str, ...] = ()
    """Of the way down, in words."""
    not_proved: tuple[str, ...] = ()
    """What nobody could read when the rig was commissioned, and what was then taken by shared risk."""
    switches: tuple[str, ...] = ()
    """The sides that have a pin switch."""


# ---- the blank sheet ----


def blank_sheet(source: FormSource, kind: str, plan: Plan) -> Document:
    """A sheet to fill in by hand: cautions first, then in the order in which ``enter`` takes it."""
    rig = source.rig
    blocks: list[Block] = [
        Cautions("Caution", (FALL, HANDS, BOTH_PINS)),
        Facts(
            (("Date and time", ""), ("Place", ""), *((_asked(one.asked), "") for one in QUESTIONS)),
            "Fill in before the first throw. What is left blank is not covered by the sheet.",
            pencil=True,
        ),
        _light(rig) if kind == BENCH and not source.baselines else expected_table(source),
        limits(rig),
        PageBreak(),
        Text(
            f"{plan.throws_each_way} throws each way, rest at least {show_rest(plan.rest_s)} between them ({plan.rest_from}). "
            "Power isolated and key out before hands go near the pins.",
            STRONG,
        ),
        Heading("To check", 3),
        Bullets(plan.look_at, BOX),
        _throw_table(kind, plan),
        Text(
            f"{'' if kind == BENCH else HOW_SEEN} If a throw stalled or stopped short, write that in the note.".strip(),
            QUIET,
        ),
        Heading("To type it in later", 3),
        Text(
            f"throwbook enter --rig {for_shell(rig.name)} --kind {kind} --paste, then one line for each throw, in this order:",
            QUIET,
        ),
        Text(
            "lock 14.3s 2.1A 2.9A 12.4V"
            + ("" if kind == BENCH else " both seen, load check done, stayed put"),
            QUIET,
        ),
        Signatures((("Operator; pins seen by", ""), ("Checked by", ""))),
    ]
    return _form(f"Test sheet: {kind}", f"rig {rig.name}", f"blank-{rig.name}", source, blocks)


def _light(rig: Rig) -> Text:
    """What an actuator with nothing to move should take, by its data sheet."""
    actuator = rig.actuator
    whole_s = show(actuator.stroke_m / actuator.no_load_speed_m_s, "time", rig.units)
    return Text(
        "Off the machine, nothing to move: by the data sheet the full stroke takes about "
        f"{whole_s} and {show(actuator.no_load_current_a, 'current', rig.units)}, at {show(actuator.voltage_v, 'voltage', rig.units)}.",
        STRONG,
    )


def _asked(question: str) -> str:
    return question.rstrip("?")


def _throw_table(kind: str, plan: Plan) -> Table:
    pins = kind != BENCH
    headings = ["No.", "Way", "Time [s]", "Running [A]", "Peak [A]", "Under load [V]"]
    headings += ["Left", "Right", "Load check", "Stays put"] if pins else []
    rows = []
    for number in range(2 * plan.throws_each_way):
        way = DIRECTIONS[number % 2]
        sightings = [""] * 4 if way == LOCK else ["-"] * 4
        rows.append((str(number + 1), way, *[""] * 4, *(sightings if pins else []), ""))
    return Table((*headings, "Note"), tuple(rows), "Throws, in the order in which they are made", pencil=True)


# ---- the cab card ----


def cab_card(source: FormSource) -> Document:
    """What the person in the cab needs: what is normal, when to stop, what to look at every time."""
    rig, status = source.rig, source.status
    if status.level == DO_NOT_USE:
        return _banned_card(source)
    due = source.next_check.brief
    standing = headline(status, source.commissioned, NO_CHECK)
    counts_until = card_counts_until(source)
    blocks: list[Block] = [
        Text(f"Counts until {counts_until}. Then throw it away and print a new one.", STRONG),
        Cautions("Every time", (EVERY_TIME, FALL, HANDS)),
        expected_table(source, big=True),
        Text(_card_limits(rig)),
        Heading("Stop using it when"),
        Bullets(_stop(source.switches)),
        Text(OVER),
        Facts(
            (
                ("Status on the day of print", standing),
                *_not_covered(source),
                *_not_proved(source),
                ("Next check", due),
                ("Printed", str(source.issued)),
            ),
            "Status",
        ),
        *_since(source),
        Text(OLDER_CARD),
    ]
    open_orders = reasons(status)
    if open_orders:
        blocks.append(Bullets(tuple(open_orders)))
    return _form("Cab card", f"rig {rig.name}: lock pins", f"card-{rig.name}", source, blocks)


def _stop(switches: Sequence[str]) -> tuple[str, ...]:
    """When to stop; an open switch stands on the line of the pins: the smallest card has no room for a line more."""
    return (f"{STOP[0]}, or its switch is open after a lock throw", *STOP[1:]) if switches else STOP


def card_counts_until(source: FormSource) -> date:
    """The last day on which a cab card counts: that of the next check, a season after the print at the latest.

    A card that was printed can't be called back, so it must end by itself.
    """
    latest = source.issued + SEASON
    due = source.next_check.on
    return latest if due is None else max(source.issued, min(due, latest))


def _since(source: FormSource) -> list[Block]:
    """The newest events since the last accepted sheet; a card has room for few."""
    if not source.happened or source.happened[0] in (NOTHING, NEVER):
        return []
    newest = source.happened[-CARD_EVENTS:]
    older = len(source.happened) - len(newest)
    more = (f"and {counted(older, 'earlier event')}: see the report",) if older else ()
    return [Heading("Since the last accepted sheet"), Bullets((*newest, *more))]


def _banned_card(source: FormSource) -> Document:
    """The card of a rig that is out of use: that it is, why, what ends it, and nothing to work by."""
    rig, status = source.rig, source.status
    blocks: list[Block] = [
        Cautions("DO NOT USE", (OUT_OF_USE, FALL, HANDS)),
        Heading("Why"),
        Bullets(tuple(dict.fromkeys((*(one.sentence for one in status.open), *pending(status))))),
        Heading("Before it is used again"),
        *_steps(source),
        *_since(source),
        Facts(
            (
                (
                    "Status on the day of print",
                    headline(status, source.commissioned, source.next_check.sentence),
                ),
                *_not_covered(source),
                ("Printed", str(source.issued)),
            ),
            "Status",
        ),
        Text("Take any older card of this rig out of the cab.", STRONG),
    ]
    return _form("DO NOT USE", f"rig {rig.name}: lock pins", f"card-{rig.name}", source, blocks)


def _steps(source: FormSource) -> list[Block]:
    """What is done of the way back, and a box to tick for each step that isn't; in a cab nobody types a command."""
    done = tuple(printable(one) for one in source.steps if one.startswith(DONE))
    left = tuple(printable(step_in_words(one)) for one in source.steps if not one.startswith(DONE))
    return [Bullets(said, *box) for said, box in ((done, ()), (left, (BOX,))) if said]


def _not_covered(source: FormSource) -> list[tuple[str, str]]:
    return [("Not covered", coverage(source.gaps))] if source.gaps else []


def _not_proved(source: FormSource) -> list[tuple[str, str]]:
    return [("Not proved", ", ".join(source.not_proved))] if source.not_proved else []


def _card_limits(rig: Rig) -> str:
    limits = limits_for(rig)
    run, peak, supply = (
        show_limit(limits[name].value, kind, rig.units, limits[name].side)
        for name, kind in (
            ("run_current", "current"),
            ("peak_run_current", "current"),
            ("supply_under_load", "voltage"),
        )
    )
    return f"Limits: running at most {run}, peak (after the inrush) at most {peak}; voltage under load at least {supply}."


# ---- both ----


def expected_table(source: FormSource, big: bool = False) -> Table | Text:
    """Expected time and current at three temperatures, both directions, with the longest time that passes.

    Where nothing can be expected yet: what to do about it.
    """
    rows = []
    volts: set[float] = set()
    because: dict[str, list[str]] = {}
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
                volts.add(round(found.voltage_v, 1))
                ways = because.setdefault(found.because, [])
                ways += [direction] if direction not in ways else []
        rows.append(tuple(row))
    if not because:
        return Text(NOTHING_EXPECTED, STRONG)
    headings = [f"Air [{display_unit('temperature', source.rig.units)}]"]
    for direction in DIRECTIONS:
        headings += [f"{direction} [s]", "at most [s]", f"{direction} [A]"]
    supply = " to ".join(f"{one:.1f}" for one in sorted({min(volts), max(volts)}))
    rests_on = [
        text if len(because) == 1 else f"{' and '.join(ways)}: {text}" for text, ways in because.items()
    ]
    caption = f"Expected at {supply} V ({'; '.join(rests_on)})"
    return Table(tuple(headings), tuple(rows), caption, big=big)


def _expected_cells(rig: Rig, found: Expected | None) -> list[str]:
    if found is None:
        return ["-"] * 3
    time_s = found.time_s.value
    most = time_s * limits_for(rig, time_s)["travel_time_high"].value
    return [
        f"{found.time_from_s:.1f} to {found.time_to_s:.1f}",
        f"{float(rounded_down(most, 1)):.1f}",
        f"{found.current_from_a:.1f} to {found.current_to_a:.1f}",
    ]


def _form(title: str, subtitle: str, stem: str, source: FormSource, blocks: list[Block]) -> Document:
    draft = Document(title, subtitle, "", tuple(blocks), "End of {number}", "{number}")
    return numbered(draft, stem, source.issued, f"{source.software}\n{source.issued}\n", source.practice)


ROOM = "\N{NO-BREAK SPACE}" * 20
"""Keeps a column wide enough for a pen."""


class WallRow(NamedTuple):
    """One rig on the wall."""

    rig: str
    status: str
    """As ``status_text.short`` says it."""
    why: str
    step: str
    next_check: str
    """Its day."""


def _aloud(status: str) -> str:
    return status.upper() if status == DO_NOT_USE else status


def wall_list(rows: Sequence[WallRow], what: str, issued: date, practice: bool = False) -> Document:
    """The rigs in the order given, most pressing first; those out of use stand in a caution of their own.

    ``what``: which rigs these are. ``practice``: they stand in a practice logbook.
    """
    out = [row.rig for row in rows if row.status == DO_NOT_USE]
    blocks: list[Block] = [Cautions("Every time", (FALL, HANDS, BOTH_PINS))]
    if out:
        blocks = [Cautions("Do not use", (", ".join(out), OUT_OF_USE)), *blocks]
    if practice:
        blocks = [Cautions("Practice", (PRACTICE,)), *blocks]
    table = tuple((row.rig, _aloud(row.status), row.why, row.step, row.next_check, ROOM) for row in rows)
    headings = ("Rig", "Status", "Why", "Next step", "Next check", "Done on, by")
    what = f"{counted(len(rows), 'rig')}: {what}" if rows else f"No rig: {what}."
    blocks.append(Table(headings, table, what, pencil=True, big=True) if rows else Text(what))
    blocks.append(
        Text(
            "A status can be tightened at any time: before work, look in the logbook, not at this list. Then log what was done: "
            "work with throwbook service add, throws with throwbook enter.",
        )
    )
    subtitle = f"as the logbook stood on {issued}"
    draft = Document("Rigs of the yard", subtitle, "", tuple(blocks), "End of {number}", "{number}")
    return numbered(draft, "yard", issued, practice=practice)
