"""Causes: what would explain the signs of one trial, what else could, and the action that splits them.

One trial rarely proves a cause; the table says so with its rivals. Rows are tried from the top and the first row of a
sign that fits speaks for it. Source of the rows: failure modes of brushed screw actuators on a latch (*practice*).
"""

from collections.abc import Callable
from dataclasses import dataclass

from throwbook.core.assessment import INFO, Diagnosis, Sign
from throwbook.core.diagnosis.circumstances import (
    at_unlock,
    at_watch,
    chattering,
    colder,
    easing,
    from_the_start,
    interrupted,
    lighter,
    limited_below_stall,
    near_end,
    near_start,
    never_moved,
    rising,
    still_running,
    too_few_readings,
    voltage_kept,
    voltage_lost,
)
from throwbook.core.diagnosis.evidence import Evidence
from throwbook.core.wording import DETACH_STEPS, DETACHED

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


_AND_REPEAT = "repeat the throw. If the sign is still there, the cause is in the actuator."
DETACH = DETACHED + _AND_REPEAT

HANDS_OUT = "Attachment on the ground, hands out: "
"""What goes before a throw that somebody repeats."""
ISOLATED = "Attachment on the ground, power isolated: "
"""What goes before hands."""

BOTH_ENDS = f"{ISOLATED}clip the meter to one end of the cable. Hands out, power on: repeat the throw and read it from a distance. Do the same at the other end."

WIGGLE = f"{HANDS_OUT}repeat the throw. Wiggle one plug at a time, only plugs well clear of pins and linkage. Power isolated: check the other plugs and clip a meter to the actuator's plug. Hands out, power on: repeat the throw and read the voltage."

BOTH_EYES = "Look at both pins, one at a time."

WATCH_ROD = f"Release the switch. {BOTH_EYES} {HANDS_OUT}throw once more. Watch the rod from a distance: does it move while the motor runs?"

TELL_APART = f" {ISOLATED[:-2]}, pin where it should be: does that switch still read wrong? Then switch, magnet, plug or cable is at fault, not the pin."


CAUSES: tuple[Cause, ...] = (
    Cause(
        "no-start",
        "an open circuit: limit switch, relay, fuse, plug or wire",
        LIKELY,
        ("the rod was already at this end of its travel", "the board's current sensor is not in the circuit"),
        "Attachment on the ground, everyone clear: try the other direction. Then isolate the power before you touch anything. If it ran, check the first direction's limit switch and relay. If neither ran, check the fuse and the plug.",
    ),
    Cause(
        "stall",
        "the rod was blocked, and the drive or a protective device limited the current",
        POSSIBLE,
        (
            "a clutch that slips while the motor turns",
            "a load just at the current limit, with the rod still moving",
        ),
        f"Power isolated before hands go near. {BOTH_EYES} {HANDS_OUT}throw once more. Watch from a distance whether the rod moves while the current is at its limit. Look up the drive's current limit.",
        limited_below_stall,
    ),
    Cause(
        "stall",
        "the rod is blocked from the start: seized or frozen pin, attachment's weight on the pins",
        LIKELY,
        ("wiring that feeds both directions at once", "a stripped or jammed gear train"),
        "Attachment on the ground, weight off the pins, power isolated: " + DETACH_STEPS + _AND_REPEAT,
        never_moved,
    ),
    Cause(
        "stall",
        "an obstruction in the path of a pin, or a pin that misses its hole",
        LIKELY,
        ("a bent pin or a packed guide", "a jammed screw inside the actuator"),
        "Attachment on the ground, weight off the pins, power isolated, key out: look along the path of both pins and clear it. Hands out, power on: throw the other way. Isolate the power again: "
        + DETACH_STEPS
        + "repeat the throw.",
    ),
    Cause(
        "end-stop",
        "a mechanical stop is reached before the limit switch",
        POSSIBLE,
        ("a limit switch that no longer opens", "pins clamped against the frame, not in their holes"),
        BOTH_EYES
        + f" {DETACHED}run it. If it now stops by itself, the stop is in the latch. If not, the limit switch is at fault.",
    ),
    Cause(
        "stopped-short",
        "the supply was interrupted: fuse, breaker, self-resetting cut-out or a plug",
        POSSIBLE,
        ("a limit switch that has slipped", "the operator released the switch"),
        f"{BOTH_EYES} {BOTH_ENDS}",
        interrupted,
    ),
    Cause(
        "stopped-short",
        "a limit switch that opens too early, or a fuse or cut-out that opened",
        POSSIBLE,
        ("the operator released the switch", "a broken wire that loses contact as the rod moves"),
        BOTH_EYES
        + " Attachment on the ground, power isolated: measure the rod's travel. Hands out, power on: repeat the throw. If it stops at the same place again, suspect the limit switch.",
    ),
    Cause(
        "no-end",
        "clutch, gear or nut slips under load",
        LIKELY,
        ("a limit switch that no longer opens, and no end stop to run into",),
        WATCH_ROD,
    ),
    Cause(
        "light-run",
        "the motor turns without the rod: stripped nut, slipping gear or clutch",
        LIKELY,
        ("a limit switch that no longer opens, and no end stop to run into",),
        WATCH_ROD,
        still_running,
    ),
    Cause(
        "light-run",
        "one side is no longer driven",
        POSSIBLE,
        (
            "the mechanism moves more easily after cleaning or in warm weather",
            "a current sensor that reads low",
        ),
        BOTH_EYES
        + " If it was cleaned or greased, log the service and set a new baseline from a new commissioning sheet.",
        at_watch,
    ),
    Cause(
        "light-run",
        "the drive is not moving the mechanism: linkage off, sheared pin or stripped nut",
        LIKELY,
        (
            "the mechanism was disconnected on purpose (bench test)",
            "the mechanism moves more easily after cleaning",
        ),
        BOTH_EYES
        + " Attachment on the ground, hands out: throw once more. Watch rod and linkage from a distance while they move. Isolate the power before you touch or move anything by hand.",
    ),
    Cause(
        "over-rated",
        "the load is more than the actuator is rated for",
        LIKELY,
        ("the board's gain or zero is wrong", "a rating copied wrongly"),
        DETACH,
    ),
    Cause(
        "drag",
        "a side load or a crooked mount: it grows with the travel",
        POSSIBLE,
        ("dirt or dry pins", "a latch that springs back against the pins near the end of travel"),
        "Compare lock with unlock throws: a side load looks different in the two. " + DETACH,
        rising,
    ),
    Cause(
        "drag",
        "cold or stiff grease: most friction at the start, then less",
        POSSIBLE,
        ("water or ice inside", "wear or dirt"),
        HANDS_OUT
        + "repeat three times, with the rests. Cold grease loosens with each throw. Repeat on a warm day.",
        easing,
    ),
    Cause(
        "drag",
        "more friction over the whole travel: dirt, dry screw or pins",
        POSSIBLE,
        ("cold-stiff grease", "the actuator itself"),
        "Repeat on a warm day or with the mechanism warmed up. " + DETACH,
        colder,
    ),
    Cause(
        "drag",
        "more friction over the whole travel: dirt, dry screw or pins",
        LIKELY,
        (
            "the actuator itself",
            "another attachment or its weight on the pins",
            "a current sensor that reads high",
        ),
        DETACH + " Isolate the power again: clean and grease. Hands out, power on: repeat the throw.",
    ),
    Cause(
        "binding-spot",
        "a pin touches the edge of its hole, or the latch clamps before the end",
        POSSIBLE,
        ("a burr or packed mud near the end", "an attachment that sits crooked"),
        BOTH_EYES
        + " Set this attachment on the ground and change to another one. Hands out: repeat the throw. If the binding spot is gone, the fit of the hole is the cause.",
        near_end,
    ),
    Cause(
        "binding-spot",
        "a high load at the start: the attachment's weight is on the pins",
        POSSIBLE,
        ("rust or ice that holds the pin", "a burr near the start"),
        "Set the attachment on the ground, so that no weight is on the pins. Hands out: repeat the throw.",
        near_start,
    ),
    Cause(
        "binding-spot",
        "a local bind: burr, bent pin or packed mud",
        LIKELY,
        ("a damaged thread of the screw", "another attachment with tighter holes"),
        "Attachment on the ground, hands out: throw the other way. A fault at one place of the travel then shows mirrored (62 % one way, 38 % the other). "
        + DETACH,
    ),
    Cause(
        "free-play",
        "play has grown: worn nut, linkage or pin holes",
        LIKELY,
        ("a mount that has come loose",),
        ISOLATED + "feel for play by hand at the rod, the linkage and each pin.",
    ),
    Cause(
        "uneven-sides",
        "the loads of the two pins come on one after the other",
        POSSIBLE,
        ("uneven wear", "a linkage out of adjustment"),
        f"{BOTH_EYES} {ISOLATED}compare the play of the two sides by hand.",
    ),
    Cause(
        "switch-open",
        "a pin stayed in its hole: its link is off, or it is jammed",
        POSSIBLE,
        ("a switch stuck closed", "a pinched cable, or a plug bridged by water"),
        BOTH_EYES + TELL_APART,
        at_unlock,
    ),
    Cause(
        "switch-open",
        "a loose contact at the switch: wire, plug or magnet",
        POSSIBLE,
        ("a pin that is not all the way in its hole and shakes",),
        BOTH_EYES + TELL_APART,
        chattering,
    ),
    Cause(
        "switch-open",
        "the link of one pin is off: its share of the load is missing",
        POSSIBLE,
        ("a pin beside its hole, on a mechanism cleaned since the baseline", "a switch stuck open"),
        BOTH_EYES + TELL_APART,
        lighter,
    ),
    Cause(
        "switch-open",
        "a pin is not all the way in its hole; the current cannot show it",
        POSSIBLE,
        (
            "a switch stuck open or knocked out of place",
            "a broken wire",
            "a magnet that is lost",
        ),
        BOTH_EYES + TELL_APART,
    ),
    Cause(
        "switch-lag",
        "play has grown on that side: worn link, pin or hole",
        POSSIBLE,
        ("more friction on that side alone, which stretches its link", "a switch knocked out of place"),
        BOTH_EYES
        + " Attachment on the ground, hands out: throw both ways. A late pin is late both ways. A switch out of place is late one way and early the other. Then, power isolated: feel for play by hand on that side.",
    ),
    Cause(
        "switch-fault",
        "a loose contact at the switch: wire, plug or magnet",
        LIKELY,
        ("a pin that shakes in its hole",),
        BOTH_EYES + TELL_APART,
        chattering,
    ),
    Cause(
        "switch-fault",
        "a switch stuck closed, or a pinched cable",
        POSSIBLE,
        ("a pin that stayed in its hole at the unlock throw before",),
        BOTH_EYES + TELL_APART,
        from_the_start,
    ),
    Cause(
        "switch-fault",
        "the switch or its magnet was knocked out of place",
        LIKELY,
        ("a link that was adjusted since the baseline", "the other side later in one direction alone"),
        BOTH_EYES
        + " Attachment on the ground, hands out: throw both ways. A switch out of place is early one way and late the other. A late pin is late both ways. Then, power isolated: compare the place of the two switches.",
    ),
    Cause(
        "slow-travel",
        "voltage drop between the board and the motor: plug, cable or brushes",
        POSSIBLE,
        (
            "a rating or a baseline of another actuator",
            "a slipping gear or clutch",
            "a voltage channel that reads high",
        ),
        ISOLATED
        + "clip the meter to the actuator's own plug and fix a ruler by the rod. Hands out, power on: repeat the throw and read both from a distance.",
    ),
    Cause(
        "low-supply",
        "a weak or flat battery, engine off",
        LIKELY,
        ("a bad connection that drops voltage even at rest", "a voltage channel that reads low"),
        "Measure the voltage at the battery posts. Attachment on the ground, area clear, hands out: repeat the throw with the engine running.",
    ),
    Cause(
        "supply-drop",
        "high supply resistance: corroded plug, bad ground, long or thin cable",
        LIKELY,
        ("a weak battery", "other loads on the same supply"),
        f"{BOTH_ENDS} The fault is in the section with the voltage drop.",
    ),
    Cause(
        "interruption",
        "a contact that opened briefly; this sampling rate is too low to be sure",
        POSSIBLE,
        (
            "readings that dropped out between sensor and file",
            "lost readings, followed by a binding spot",
            "somebody released the switch for a moment",
        ),
        "Record several throws with 100 samples per second or more. They show how long the current was off, and whether "
        "it came back with an inrush.",
        too_few_readings,
    ),
    Cause(
        "interruption",
        "a contact between the board and the motor opened: plug, broken strand or brushes",
        POSSIBLE,
        (
            "a relay or switch, if it sits between the board and the motor",
            "somebody released the switch for a moment",
        ),
        WIGGLE,
        voltage_kept,
    ),
    Cause(
        "interruption",
        "a contact before the board opened: supply plug, relay, switch or fuse holder",
        POSSIBLE,
        (
            "the board's data line dropped out (its readings then freeze, with no noise)",
            "somebody released the switch for a moment",
        ),
        WIGGLE,
        voltage_lost,
    ),
    Cause(
        "interruption",
        "a contact opened for a moment: plug, relay, brushes or a broken strand",
        POSSIBLE,
        (
            "somebody released the switch for a moment",
            "the supply or the board's own line dropped out",
        ),
        WIGGLE,
    ),
    Cause(
        "clipped",
        "the board's range ends below this current",
        LIKELY,
        ("a wrong full-scale setting of the board",),
        "Compare the range of the current sensor with the stall current of the actuator. Then record again.",
    ),
    Cause(
        "gaps",
        "readings were lost between board and computer",
        LIKELY,
        ("a loose plug on the USB side", "a computer that paused to write"),
        "Plug the cable in firmly and record the throw again. If samples are still lost, lower the sampling rate.",
    ),
    Cause(
        "cut-record",
        "the recording was stopped before the motor stopped",
        LIKELY,
        (
            "a drive that never stops by itself: slipping clutch or gear, or a limit switch that does not open",
        ),
        "Record again, and let the recording run for one second after the current has stopped. If the motor does not stop by itself, release the switch and isolate the power. "
        + BOTH_EYES,
        still_running,
    ),
    Cause(
        "cut-record",
        "the recording was started after the motor had started",
        LIKELY,
        ("a large zero error of the current channel",),
        "Record again: start a second before the throw.",
    ),
    Cause(
        "noisy",
        "electrical noise: sense wires beside the motor's, a loose plug or a bad ground",
        POSSIBLE,
        ("worn brushes", "the engine's alternator"),
        HANDS_OUT
        + "repeat with the engine off and the sense wires away from the motor wires. If the noise stays, isolate the power: check the plug, then the brushes.",
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
