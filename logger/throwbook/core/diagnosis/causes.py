"""Causes: what would explain the signs of one trial, what else could, and the action that splits them.

One trial rarely proves a cause; the table says so with its rivals. Rows are tried from the top and the first row of a
sign that fits speaks for it. Source of the rows: failure modes of brushed screw actuators on a latch (*practice*).
"""

from collections.abc import Callable
from dataclasses import dataclass

from throwbook.core.assessment import INFO, STILL_RUNNING, WATCH, Diagnosis, Sign
from throwbook.core.diagnosis.evidence import Evidence
from throwbook.core.quantities.statistics import median_of

LIKELY = "likely"

POSSIBLE = "possible"


@dataclass(frozen=True)
class Cause:
    """One row: a sign, when the row fits, and what to say."""

    sign: str
    cause: str
    sure: str
    rivals: tuple[str, ...]
    action: str
    fits: Callable[[Evidence, Sign], bool] = lambda evidence, sign: True


def colder(evidence: Evidence, sign: Sign) -> bool:
    """The cold may have made it heavier, or nobody wrote down how warm it was."""
    return not evidence.ambient_known() or evidence.cold_share()[0] > 0.02


def never_moved(evidence: Evidence, sign: Sign) -> bool:
    """It stood from the first moment."""
    return sign.at_fraction == 0.0


def rising(evidence: Evidence, sign: Sign) -> bool:
    """The extra load grows along the travel by more than half of its own level."""
    fit = evidence.fit
    return fit is not None and fit.slope_a > max(0.5 * fit.level_a, 0.0)


def easing(evidence: Evidence, sign: Sign) -> bool:
    """The extra load eases along the travel by more than half of its own level."""
    fit = evidence.fit
    return fit is not None and -fit.slope_a > max(0.5 * fit.level_a, 0.0)


def near_end(evidence: Evidence, sign: Sign) -> bool:
    """The place lies in the last 15 % of the stroke."""
    return sign.at_fraction is not None and sign.at_fraction > 0.85


def near_start(evidence: Evidence, sign: Sign) -> bool:
    """The place lies in the first tenth of the stroke."""
    return sign.at_fraction is not None and sign.at_fraction < 0.1


def at_watch(evidence: Evidence, sign: Sign) -> bool:
    """The sign is only at watch."""
    return sign.level == WATCH


def interrupted(evidence: Evidence, sign: Sign) -> bool:
    """The current broke off and came back within the movement."""
    return evidence.segments.pauses > 0


def still_running(evidence: Evidence, sign: Sign) -> bool:
    """The motor still ran when the record ended."""
    return evidence.end == STILL_RUNNING


def limited_below_stall(evidence: Evidence, sign: Sign) -> bool:
    """The current stood at a level of its own, below what a standing motor draws on this voltage."""
    return evidence.moved.limited


def too_few_readings(evidence: Evidence, sign: Sign) -> bool:
    """No break of the current is certain: the rate is too low to show one."""
    breaks = evidence.segments.breaks
    return bool(breaks) and not any(each.certain for each in breaks)


def voltage_kept(evidence: Evidence, sign: Sign) -> bool:
    """The board still read the running voltage while no current flowed."""
    share = _voltage_in_breaks(evidence)
    return share is not None and share > 0.98


def voltage_lost(evidence: Evidence, sign: Sign) -> bool:
    """The board read less than half of the running voltage while no current flowed."""
    share = _voltage_in_breaks(evidence)
    return share is not None and share < 0.5


def _voltage_in_breaks(evidence: Evidence) -> float | None:
    """Voltage late in the longest break as a share of that before it; None: not read.

    Late, because a motor that coasts is a generator.
    """
    volts, breaks = evidence.trace.voltage_v, evidence.segments.breaks
    if volts is None or not breaks:
        return None
    longest = max(breaks, key=lambda each: each.closed - each.opened)
    before = abs(median_of(volts[max(0, longest.opened - 10) : max(1, longest.opened - 1)]))
    late = volts[(longest.opened + longest.closed) // 2 : longest.closed]
    return abs(median_of(late)) / before if before > 0 else None


DETACH = "Detach the actuator from the latch and repeat: if it is still so, it is the actuator."

WIGGLE = (
    "Repeat the throw and move one plug after the other, only those out of reach of pins and linkage, the others power "
    "off; measure the voltage at the actuator's own plug while it runs."
)

BOTH_EYES = "Look at both pins, each by itself."


CAUSES: tuple[Cause, ...] = (
    Cause(
        "no-start",
        "an open circuit: limit switch, relay, fuse, plug or wire",
        LIKELY,
        ("it already stood at this end of its travel", "the board's current sensor is not in the circuit"),
        "Try the other direction: if that runs, look at this direction's limit switch and relay; if neither runs, at "
        "the fuse and the plug.",
    ),
    Cause(
        "stall",
        "the rod stood against something and a drive or a protection limited the current",
        POSSIBLE,
        (
            "a clutch that slips while the motor turns",
            "a load just as heavy as the limit allows, still moving",
        ),
        BOTH_EYES
        + " Then look whether the rod moves while the current stands at its limit, power off before hands "
        "go near; look up the current limit of the drive.",
        limited_below_stall,
    ),
    Cause(
        "stall",
        "the rod is blocked from the start: seized or frozen pin, attachment's weight on the pins",
        LIKELY,
        ("wiring that feeds both directions at once", "a stripped or jammed gear train"),
        "Take the weight off the pins and power off; then " + DETACH[0].lower() + DETACH[1:],
        never_moved,
    ),
    Cause(
        "stall",
        "an obstruction in the way of a pin, or a pin that misses its hole",
        LIKELY,
        ("a bent pin or a packed guide", "a jammed screw inside the actuator"),
        "Power off, clear and look along the way of both pins; repeat in the other direction, then detached.",
    ),
    Cause(
        "end-stop",
        "a mechanical stop is reached before the limit switch",
        POSSIBLE,
        ("a limit switch that no longer opens", "pins clamped against the frame, not in their holes"),
        BOTH_EYES
        + " Then run it detached: if it cuts off now, the stop is in the latch; if not, it is the limit switch.",
    ),
    Cause(
        "stopped-short",
        "the supply was interrupted: fuse, breaker, self-resetting cut-out or a plug",
        POSSIBLE,
        ("a limit switch that has slipped", "the operator let go of the switch"),
        BOTH_EYES + " Repeat, and watch the voltage at both cable ends.",
        interrupted,
    ),
    Cause(
        "stopped-short",
        "a limit switch that opens too early, or a fuse or cut-out that opened",
        POSSIBLE,
        ("the operator let go of the switch", "a broken wire that opens as the rod moves"),
        BOTH_EYES + " Measure the rod's travel; repeat: the same place again points to the limit switch.",
    ),
    Cause(
        "no-end",
        "something slips under load: clutch, gear or nut",
        LIKELY,
        ("a limit switch that no longer opens, with nothing to stop against",),
        BOTH_EYES + " Then watch the rod itself: does it move while the motor runs?",
    ),
    Cause(
        "light-run",
        "the motor turns without the rod: stripped nut, slipping gear or clutch",
        LIKELY,
        ("a limit switch that no longer opens, with nothing to stop against",),
        BOTH_EYES + " Then watch the rod itself: does it move while the motor runs?",
        still_running,
    ),
    Cause(
        "light-run",
        "one side is not moved any more",
        POSSIBLE,
        ("the mechanism runs lighter after cleaning or in warm weather", "a current sensor that reads low"),
        BOTH_EYES + " If it was cleaned or greased, enter the service and take a new baseline.",
        at_watch,
    ),
    Cause(
        "light-run",
        "the drive isn't moving the mechanism: linkage off, sheared pin or stripped nut",
        LIKELY,
        ("a load that was taken away on purpose (a bench run)", "the mechanism runs lighter after cleaning"),
        BOTH_EYES + " Then watch the rod and the linkage move, by hand power off first.",
    ),
    Cause(
        "over-rated",
        "the load is more than the actuator is rated for",
        LIKELY,
        ("low gain or offset of the current sensor", "a rating copied wrong"),
        DETACH,
    ),
    Cause(
        "drag",
        "a side load or a crooked mount: it grows with the travel",
        POSSIBLE,
        ("dirt or dry pins", "a latch that springs against the pins towards the end"),
        "Compare lock with unlock: a side load differs between them. " + DETACH,
        rising,
    ),
    Cause(
        "drag",
        "cold or stiff grease: worst at the start and easing",
        POSSIBLE,
        ("water or ice inside", "wear or dirt"),
        "Repeat three times: cold grease eases throw by throw. Repeat again on a warm day.",
        easing,
    ),
    Cause(
        "drag",
        "more friction everywhere: dirt, dry screw or pins; or the cold",
        POSSIBLE,
        ("cold-stiff grease", "the actuator itself"),
        "Repeat on a warm day or warmed up, and detached from the latch.",
        colder,
    ),
    Cause(
        "drag",
        "more friction everywhere: dirt, dry screw or pins",
        LIKELY,
        (
            "the actuator itself",
            "another attachment or its weight on the pins",
            "a current sensor that reads high",
        ),
        DETACH + " Then clean, grease and repeat.",
    ),
    Cause(
        "binding-spot",
        "a pin meets the edge of its hole, or the latch clamps before the end",
        POSSIBLE,
        ("a burr or packed mud near the end", "an attachment that sits crooked"),
        BOTH_EYES + " Try another attachment: if it goes, it is the fit of the hole.",
        near_end,
    ),
    Cause(
        "binding-spot",
        "a break-away load at the start: the attachment's weight on the pins",
        POSSIBLE,
        ("rust or ice that holds the pin", "a burr near the start"),
        "Set the attachment on the ground so that the pins are free, and repeat.",
        near_start,
    ),
    Cause(
        "binding-spot",
        "a local bind: burr, bent pin or packed mud",
        LIKELY,
        ("a damaged thread of the screw", "another attachment with tighter holes"),
        "Throw the other way: a bind of the latch shows at the mirrored place. " + DETACH,
    ),
    Cause(
        "free-play",
        "play has grown: worn nut, linkage or pin holes",
        LIKELY,
        ("a mount that has come loose",),
        "Power off and isolated: feel for play by hand at the rod, the linkage and each pin.",
    ),
    Cause(
        "uneven-sides",
        "the two pins take up their load one after the other",
        POSSIBLE,
        ("uneven wear", "a linkage out of adjustment"),
        BOTH_EYES + " Compare the play of the two sides by hand, power isolated.",
    ),
    Cause(
        "slow-travel",
        "loss between the board and the motor: plug, cable or brushes",
        POSSIBLE,
        (
            "a rating or a baseline that isn't this actuator's",
            "a slipping gear or clutch",
            "a voltage channel that reads high",
        ),
        "Measure the voltage at the actuator's own plug while it runs; watch the rod against a ruler.",
    ),
    Cause(
        "low-supply",
        "a weak or flat battery, engine off",
        LIKELY,
        ("a bad connection that loses voltage even at rest current", "a voltage channel that reads low"),
        "Repeat with the engine running; measure at the battery posts.",
    ),
    Cause(
        "supply-drop",
        "resistance upstream of the board: corroded plug, bad ground, long or thin cable",
        LIKELY,
        ("a weak battery", "other loads on the same supply"),
        "Measure the voltage at both ends of the cable while it runs; whichever half loses it holds the fault.",
    ),
    Cause(
        "interruption",
        "too few samples a second to tell: perhaps a contact that opened for a moment",
        POSSIBLE,
        (
            "readings that dropped out between sensor and file",
            "readings that dropped out, and a heavier place just after them",
            "somebody let go of the switch for a moment",
        ),
        "Record several throws with 100 samples a second or more: they show how long the current was off, and whether "
        "it came back with a surge.",
        too_few_readings,
    ),
    Cause(
        "interruption",
        "a contact between the board and the motor opened: plug, broken strand or brushes",
        POSSIBLE,
        (
            "a relay or switch, if it sits between the board and the motor",
            "somebody let go of the switch for a moment",
        ),
        WIGGLE,
        voltage_kept,
    ),
    Cause(
        "interruption",
        "a contact before the board opened: supply plug, relay, switch or fuse holder",
        POSSIBLE,
        (
            "the board's own line dropped out: then its readings stand still, without any noise",
            "somebody let go of the switch for a moment",
        ),
        WIGGLE,
        voltage_lost,
    ),
    Cause(
        "interruption",
        "a contact opened for a moment: plug, relay, brushes or a broken strand",
        POSSIBLE,
        (
            "somebody let go of the switch for a moment",
            "the supply or the board's own line dropped out",
        ),
        WIGGLE,
    ),
    Cause(
        "clipped",
        "the board's range ends below this current",
        LIKELY,
        ("a wrong full-scale setting of the board",),
        "Check the range of the current sensor against the stall current of the actuator; record again.",
    ),
    Cause(
        "gaps",
        "readings were lost between board and computer",
        LIKELY,
        ("a loose plug on the USB side", "a logger that paused to write"),
        "Seat the cable, lower the rate if it goes on, and record the throw again.",
    ),
    Cause(
        "cut-record",
        "the recording was stopped before the motor stopped",
        LIKELY,
        ("a drive that never cuts off: slipping clutch or gear, or a limit switch that doesn't open",),
        "Record again until a second after the current has stopped. If it doesn't stop by itself: power off, "
        + BOTH_EYES[0].lower()
        + BOTH_EYES[1:],
        still_running,
    ),
    Cause(
        "cut-record",
        "the recording was started after the motor had started",
        LIKELY,
        ("a zero of the current channel that is far off",),
        "Record again: start a second before the throw.",
    ),
    Cause(
        "noisy",
        "electrical noise: sense wires beside the motor's, a loose plug or a bad ground",
        POSSIBLE,
        ("worn brushes", "the engine's alternator"),
        "Repeat with the engine off and the sense wires away from the motor's. If it stays: the plug, then the brushes.",
    ),
)


def diagnose(evidence: Evidence, signs: tuple[Sign, ...]) -> tuple[Diagnosis, ...]:
    """The first fitting row for each sign."""
    found: list[Diagnosis] = []
    for sign in signs:
        row = next((row for row in CAUSES if row.sign == sign.sign and row.fits(evidence, sign)), None)
        if row is not None:
            found.append(Diagnosis(row.cause, row.sure, row.rivals, row.action, (sign.sign,)))
    return tuple(found)


SUPERSEDES: dict[str, frozenset[str]] = {
    "light-run": frozenset({"binding-spot", "free-play", "drag", "no-end"}),
    "no-end": frozenset({"binding-spot", "free-play", "uneven-sides"}),
    "noisy": frozenset({"binding-spot", "free-play", "uneven-sides", "interruption"}),
    "clipped": frozenset({"binding-spot", "free-play", "uneven-sides", "slow-travel"}),
}
"""A sign above info on the left takes the ground from those on the right: a mechanism that isn't moved has no shape of
its own, in such noise no place can be told, and what was cut off flat is missing from the travel too."""


def superseded(signs: tuple[Sign, ...]) -> tuple[Sign, ...]:
    """The signs without those whose ground another one takes."""
    gone: set[str] = set()
    for sign in signs:
        if sign.level != INFO:
            gone |= SUPERSEDES.get(sign.sign, frozenset())
    return tuple(sign for sign in signs if sign.sign not in gone)
