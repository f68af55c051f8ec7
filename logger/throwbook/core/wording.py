"""Every name that a person reads, each once: figures, limits, ends, signs, verdicts, statuses, causes, answers; and the cautions.

A table is keyed by what is stored or stands in the JSON; that key never changes, its name may. A name has a short form
(the head of a column, a field of a form, a line in a chart) and a long one (a sentence). Command line, screens, papers and
the pages of the guide read them here. What is shown first must not wait for numpy.
"""

from typing import NamedTuple


class Name(NamedTuple):
    """What a thing is called."""

    column: str
    sentence: str
    unit: str = ""
    """SI unit of its value; ``1`` for a share, empty where it has none."""
    means: str = ""
    """What it is, where the name alone doesn't say it."""

    @property
    def share_of(self) -> str:
        """Of a share: what it is one of (``of stroke``); empty: it is none."""
        return self.means[1:].strip() if self.means.startswith("%") else ""


class LimitName(NamedTuple):
    """A limit is called by the figure that it judges and by its side."""

    figure: Name
    side: str
    """``max`` or ``min``."""

    @property
    def column(self) -> str:
        """``running, max``"""
        return f"{self.figure.column}, {self.side}"

    @property
    def sentence(self) -> str:
        """``running current, upper limit``; of a share also what it is a share of."""
        share = f" (% {self.figure.share_of})" if self.figure.share_of else ""
        return f"{self.figure.sentence}, {'upper' if self.side == 'max' else 'lower'} limit{share}"


# field of ``assessment.Figures``
FIGURES: dict[str, Name] = {
    "start_s": Name("start", "start of the movement", "s"),
    "end_s": Name("end", "end of the movement", "s"),
    "travel_time_s": Name("time", "travel time", "s", "from current on to current off"),
    "inrush_a": Name("inrush", "inrush current", "A", "the first peak of each start"),
    "run_current_a": Name(
        "running", "running current", "A", "average while the rod moves, without the inrush"
    ),
    "peak_run_current_a": Name("peak", "peak running current", "A", "highest after the inrush"),
    "stall_current_a": Name("stall", "stall current", "A", "what the motor draws when it cannot turn"),
    "mean_voltage_v": Name("under load", "voltage under load", "V", "average while the rod moves"),
    "rest_voltage_v": Name("at rest", "voltage at rest", "V", "before the start"),
    "source_resistance_ohm": Name(
        "resistance", "supply resistance", "ohm", "battery, cable and plugs up to the board"
    ),
    "charge_as": Name("charge", "charge drawn", "A s"),
    "energy_j": Name("energy", "energy used", "J"),
    "travel_fraction": Name("travel", "travel", "1", "% of stroke"),
    "take_up_fraction": Name("take-up", "take-up point", "1", "where the load comes on, % of stroke"),
    "left_switch_at_s": Name(
        "left switch", "LEFT SWITCH changed after", "s", "from the start of the movement"
    ),
    "right_switch_at_s": Name(
        "right switch", "RIGHT SWITCH changed after", "s", "from the start of the movement"
    ),
    "left_switch_at_fraction": Name("left switch at", "LEFT SWITCH changed at", "1", "% of stroke"),
    "right_switch_at_fraction": Name("right switch at", "RIGHT SWITCH changed at", "1", "% of stroke"),
    "switch_lag_fraction": Name(
        "switch lag",
        "switch lag",
        "1",
        "how much later the right switch changes than the left one, % of stroke; below zero: earlier",
    ),
    "run_noise_a": Name("noise", "current noise while running", "A"),
    "back_emf_vs": Name("back-EMF", "back-EMF over the travel", "V s"),
}
EXPECTED_TIME = Name(
    "expected", "expected time", "s", "for this voltage and current, by the baseline or the data sheet"
)
_TIME_SHARE = Name("time", "travel time", "1", "% of expected")

# key of ``limits.LIMITS``
LIMITS: dict[str, LimitName] = {
    "run_current": LimitName(FIGURES["run_current_a"], "max"),
    "peak_run_current": LimitName(FIGURES["peak_run_current_a"], "max"),
    "travel_done": LimitName(Name("travel done", "travel done", "1", "% of stroke"), "min"),
    "travel_time_low": LimitName(_TIME_SHARE, "min"),
    "travel_time_high": LimitName(_TIME_SHARE, "max"),
    "supply_under_load": LimitName(FIGURES["mean_voltage_v"], "min"),
    "spread_run_current": LimitName(
        Name("spread", "spread of the running current", "1", "largest minus smallest, over the mean"), "max"
    ),
    "force_margin": LimitName(
        Name("margin", "force margin", "1", "force left over in the worst case, % of the force needed"), "min"
    ),
}


def limited(limit: str) -> str:
    """The figure that a limit is about, in words."""
    return LIMITS[limit].figure.sentence


_IDLE, _IDLE_TIME = (
    Name("no load", "no-load current", "A"),
    Name("time", "time of the full stroke", "1", "% of expected"),
)
# check of a bench test, without its direction
BENCH_LIMITS: dict[str, LimitName] = {
    "no_load_current": LimitName(_IDLE, "max"),
    "stroke_time_low": LimitName(_IDLE_TIME, "min"),
    "stroke_time_high": LimitName(_IDLE_TIME, "max"),
}

# ``assessment.ENDS``, and what a person may type beside them
ENDS: dict[str, Name] = {
    "cut-off": Name("by itself", "stopped by itself"),
    "stall": Name("stalled", "stalled"),
    "stopped-short": Name("short", "stopped short", means="before the travel was done"),
    "still-running": Name("still running", "still running when the record ended"),
    "no-run": Name("no start", "did not start"),
}
"""*Stopped by itself* says that the current went off, never where the pins are."""

# sign: its name, and what a record that has it shows
SIGNS: dict[str, Name] = {
    "no-start": Name("did not start", "No current in the whole record"),
    "stall": Name("stall", "The motor stalled before the end of travel"),
    "end-stop": Name(
        "ran into end stop", "The motor stalled at the end of travel: the limit switch did not open"
    ),
    "stopped-short": Name("stopped short", "The current went off before the travel was done"),
    "no-end": Name("did not stop", "The motor kept running past the full stroke"),
    "light-run": Name("light run", "Running current close to no load over the whole travel"),
    "slow-travel": Name("slow", "Slower than its voltage and current explain"),
    "low-supply": Name("low supply", "Supply voltage low, even at rest"),
    "supply-drop": Name("voltage drop", "Too much voltage drop up to the board"),
    "drag": Name("drag", "Running current above the baseline over the whole travel"),
    "binding-spot": Name("binding spot", "Current above the baseline at one place"),
    "over-rated": Name("over full load", "Running current above the full-load current"),
    "uneven-sides": Name("uneven sides", "The load comes on in two steps"),
    "free-play": Name("free play", "Take-up point later than in the baseline"),
    "switch-open": Name("switch wrong", "A pin switch does not read as it should after the throw"),
    "switch-lag": Name(
        "late side", "One pin's switch changes later than in the baseline, compared with the other"
    ),
    "switch-fault": Name("switch fault", "A pin switch that chatters, or is closed where no pin can be"),
    "duty-exceeded": Name("rest too short", "Rest shorter than the duty cycle calls for"),
    "clipped": Name("over range", "Current beyond the board's range"),
    "gaps": Name("gaps", "Samples missing from the record"),
    "interruption": Name("interruption", "The current dropped out during the throw and came back"),
    "cut-record": Name("incomplete record", "The record starts or ends while the motor is running"),
    "noisy": Name("noisy", "Current noise higher than brushes and sensor explain"),
}

LOOK_AT_BOTH = "now look at both pins"
SWITCHES_CLOSED = f"switches closed: {LOOK_AT_BOTH}"
"""All that a closed switch ever gives rise to."""

# sign: what to do about it
SIGN_REMEDIES: dict[str, str] = {
    "no-start": "The motor may start when the contact comes back. Attachment on the ground, power isolated, hands out of the pins: find the open circuit (switch, relay, fuse, plug, wire).",
    "stall": "Stop using it. Attachment on the ground, power isolated, key out. Find what blocks it, repair it, log the repair, then commission again in full.",
    "end-stop": "Look at both pins, one at a time. Attachment on the ground, power isolated: set or replace the limit switch, or let something take up the spare stroke.",
    "stopped-short": "After a lock throw: stop using it. Look at both pins, one at a time. Attachment on the ground, power isolated: find and mend what interrupted the throw.",
    "no-end": "Release the switch and stop using it. Attachment on the ground, power isolated, key out. Repair clutch, gear, nut or limit switch, log the repair, then commission again in full.",
    "light-run": "Stop using it. The drive may be disconnected from the mechanism, however good the current looks. Attachment on the ground, power isolated: look at linkage, clevis pins and both lock pins.",
    "slow-travel": "Find where the voltage drops between the board and the motor. Attachment on the ground, power isolated: mend that plug or cable, or the brushes.",
    "low-supply": "Charge or replace the battery.",
    "supply-drop": "Attachment on the ground, power isolated: clean plug and ground (earth), or lay a thicker cable. The suitability check calculates its voltage drop.",
    "drag": "Attachment on the ground, power isolated: clean and grease screw and pins. Then check again.",
    "binding-spot": "Attachment on the ground, power isolated: look at that place. Dress the burr, straighten or replace the pin, clear the mud.",
    "over-rated": "Stop using it. Attachment on the ground, power isolated: find the load. A larger actuator is the last step.",
    "uneven-sides": "Look at both pins, one at a time. Attachment on the ground, power isolated: set both links to the same length.",
    "free-play": "Attachment on the ground, power isolated: replace what is worn.",
    "switch-open": "After a lock throw: stop using it. Look at both pins, one at a time, whatever the switches say. Then find out whether pin or switch is at fault.",
    "switch-lag": "Look at both pins, one at a time. Attachment on the ground, power isolated: clean and grease that side's link and pin. Replace what is worn.",
    "switch-fault": "Look at both pins, one at a time. Attachment on the ground, power isolated: check that switch, its magnet, its plug and its cable. Set it right or replace it.",
    "duty-exceeded": "Let the motor cool. Keep the rests that the sheet calls for.",
    "clipped": "Use a sensor with a wider range.",
    "gaps": "Fasten the plug, close other programs, or lower the sampling rate.",
    "interruption": "Attachment on the ground, power isolated: mend the plug, relay, strand or brushes that opened.",
    "cut-record": "Record again, with rest before and after the throw.",
    "noisy": "Attachment on the ground, power isolated: move the sense wires away from the motor wires, and check plug, ground and brushes.",
}

# ``assessment.VERDICTS``, and the decision on a limit where there is no reading
VERDICTS: dict[str, Name] = {
    "pass": Name("pass", "all limits met, no sign to watch; says nothing about the pins"),
    "watch": Name("watch", "no limit of the rating missed; a sign or an alert limit to follow up"),
    "fail": Name("FAIL", "a limit was missed or a failing sign was found"),
    "undecided": Name("undecided", "too close to the limit for this uncertainty; needs a better reading"),
    "unusable": Name("unusable", "the record cannot be judged"),
    "not judged": Name("no reading", "not judged: no reading"),
}
VERDICT_TONES = {"pass": "good", "watch": "warn", "fail": "bad", "undecided": "warn", "unusable": "warn"}
"""A colour only repeats the word."""


class Cell(NamedTuple):
    """A text of a table or a line, and its tone; the front that shows it has a colour for each tone."""

    text: str
    tone: str = ""


def verdict_cell(verdict: str) -> Cell:
    """A verdict with its tone."""
    return Cell(VERDICTS[verdict].column, VERDICT_TONES[verdict])


NOT_COMMISSIONED = Name("not commissioned", "no accepted commissioning sheet")

# cause of an order: what a person reads
ORDER_CAUSES: dict[str, str] = {
    "pin not seen": "a lock pin was looked at and NOT seen in its hole",
    "stall": "the motor stalled",
    "stopped short": "a lock throw stopped before the travel was done",
    "light run": "running current close to no load over the whole travel: the drive may be disconnected from the mechanism",
    "no end": "the motor kept running past the full stroke: the drive may be slipping",
    "let go": "the pins moved with the power off",
    "load check failed": "the manufacturer's load check failed",
    "damage": "damage was seen",
    "switch open": "a pin switch was open after a lock throw",
    "switch at unlock": "a pin switch did not follow an unlock throw",
    "end stop": "the motor ran into the end stop: the limit switch did not open",
    "unlock stopped short": "an unlock throw stopped before the travel was done",
    "no start": "the actuator did not start: no current",
    "failed limit": "a throw failed a limit",
    "rig changed": "ratings, limits or pin switches have changed since commissioning",
    "acceptance lapsed": "an accepted sheet no longer passes the rules of acceptance",
    "unread recording": "a recording that cannot be judged was set aside",
    "shared record": "one record stands on two rigs: one of them never made that throw",
    "restored backup": "the logbook was put back from a backup: what was written since is not known",
    "reassigned throw": "a signed correction moved an imported throw to another rig, or to none",
    "watch sign": "a throw showed a sign to watch",
    "person: watch": "a person set it to watch",
    "person: restricted": "a person restricted it",
    "person: do not use": "a person took it out of use",
}

# the same in six words at most; the last three hold a rig as an order does
CAUSES_IN_SHORT: dict[str, str] = {
    "pin not seen": "a pin NOT in its hole",
    "stall": "the motor stalled",
    "stopped short": "a lock throw stopped short",
    "light run": "running current close to no load",
    "no end": "motor ran past the full stroke",
    "let go": "pins moved with the power off",
    "load check failed": "the load check failed",
    "damage": "damage was seen",
    "switch open": "switch open after a lock throw",
    "switch at unlock": "a switch did not follow unlock",
    "end stop": "motor ran into the end stop",
    "unlock stopped short": "an unlock throw stopped short",
    "no start": "the actuator did not start",
    "failed limit": "a throw failed a limit",
    "rig changed": "ratings, limits or switches have changed",
    "acceptance lapsed": "an accepted sheet no longer passes",
    "unread recording": "a recording was set aside unjudged",
    "shared record": "one record stands on two rigs",
    "restored backup": "logbook put back from a backup",
    "reassigned throw": "a throw moved to another rig",
    "watch sign": "a throw over its alert limit",
    "person: watch": "a person set it to watch",
    "person: restricted": "a person restricted it",
    "person: do not use": "a person took it out",
    "lost order": "an order is missing here",
    "missing row": "part of the logbook is missing",
    "altered order": "an order was changed afterwards",
}

# what is looked at after a lock throw: field of ``records.Sighting``
SIGHTINGS: dict[str, Name] = {
    "left_pin": Name("left", "left pin"),
    "right_pin": Name("right", "right pin"),
    "load_check": Name("load check", "manufacturer's load check"),
    "retained_power_off": Name("stays put", "pins with the power off"),
}
_PIN = {
    "yes": Name("yes", "in its hole"),
    "no": Name("NO", "NOT in its hole"),
    "not looked": Name("-", "not looked at"),
}
# the same: answer as it is stored
ANSWERS: dict[str, dict[str, Name]] = {
    "left_pin": _PIN,
    "right_pin": _PIN,
    "load_check": {
        "yes": Name("yes", "passed"),
        "no": Name("NO", "FAILED"),
        "not looked": Name("-", "not done"),
    },
    "retained_power_off": {
        "yes": Name("yes", "stayed put"),
        "no": Name("NO", "MOVED"),
        "not looked": Name("-", "not tried"),
    },
}

# what every sheet asks: field of ``sheets.conditions.Conditions``
CONDITIONS: dict[str, Name] = {
    "hours_since_movement": Name("hours idle", "hours since it last moved"),
    "worked_before": Name("worked before", "greased or moved before the test"),
    "ambient_c": Name("air", "air temperature"),
    "supply": Name("supply", "power supply"),
    "engine_running": Name("engine", "engine running"),
    "attachment": Name("attachment", "attachment fitted"),
    "operator": Name("operator", "operator"),
    "instruments": Name("instruments", "instruments (make, model, serial no.)"),
}
NOT_RECORDED = "not recorded"
"""A blank; never a no."""
SWITCH_STATES = {True: "closed", False: "open"}
"""There is no third state, and neither is a sighting."""


def switch_name(side: str) -> str:
    """The switch at a pin (``left``, ``right``): large, so that nobody takes it for the pin.

    >>> switch_name("left")
    'LEFT SWITCH'
    """
    return f"{side.upper()} SWITCH"


def switches_said(left: bool | None, right: bool | None) -> tuple[str, ...]:
    """Each switch that is fitted (None: it isn't), left first.

    >>> switches_said(False, None)
    ('LEFT SWITCH open',)
    """
    sides = (("left", left), ("right", right))
    return tuple(
        f"{switch_name(side)} {SWITCH_STATES[closed]}" for side, closed in sides if closed is not None
    )


def switches_at_end_said(left: bool | None, right: bool | None, *, lock: bool) -> str:
    """How they stood at the end of a recording, and after a lock throw what closed ones ask for; empty: none is fitted.

    >>> switches_at_end_said(True, None, lock=False)
    'LEFT SWITCH closed, RIGHT SWITCH not fitted.'
    >>> switches_at_end_said(True, None, lock=True)
    'LEFT SWITCH closed, RIGHT SWITCH not fitted: now look at both pins. A closed switch is no sighting.'
    """
    said = both_sides_said(left, right)
    if not said or not lock or False in (left, right):
        return f"{said}." if said else ""
    asks = closed_switches_said(left, right)
    return f"{asks[:1].upper()}{asks[1:]}. A closed switch is no sighting."


def both_sides_said(left: bool | None, right: bool | None) -> str:
    """Both switches in one line, also a side that has none; empty: neither has.

    >>> both_sides_said(None, False)
    'LEFT SWITCH not fitted, RIGHT SWITCH open'
    """
    states: dict[bool | None, str] = {
        True: SWITCH_STATES[True],
        False: SWITCH_STATES[False],
        None: "not fitted",
    }
    said = f"{switch_name('left')} {states[left]}, {switch_name('right')} {states[right]}"
    return "" if left is None and right is None else said


def closed_switches_said(left: bool | None, right: bool | None) -> str:
    """What the fitted switches ask for, none of which is open after a lock throw; one alone never speaks for both.

    >>> closed_switches_said(None, True)
    'LEFT SWITCH not fitted, RIGHT SWITCH closed: now look at both pins'
    """
    return SWITCHES_CLOSED if left and right else f"{both_sides_said(left, right)}: {LOOK_AT_BOTH}"


# state of a point of a trend
TREND_STATES: dict[str, Name] = {
    "baseline": Name("start", "first check of its chart period"),
    "in control": Name("in control", "no more than normal variation"),
    "suspect": Name("suspect", "one check stands out, repeat it"),
    "out of control": Name("out of control", "more than normal variation"),
    "low": Name("low", "below the level at the start"),
}

# value of a rig file: ``section.key``
RIG: dict[str, Name] = {
    "lock.needed_travel": Name("travel needed", "travel needed (unlock to lock)"),
    "lock.spacing_locked": Name("spacing after lock", "pin spacing after a lock throw"),
    "lock.spacing_unlocked": Name("spacing after unlock", "pin spacing after an unlock throw"),
    "lock.needed_force": Name("force to move the latch", "force needed to move the latch, clean and warm"),
    "lock.excess_goes": Name("spare stroke taken up by", "what takes up the spare stroke"),
    "lock.bears_force": Name("force parts withstand", "force that rod, pins and mounts withstand"),
    "lock.lowest_voltage": Name("lowest supply voltage", "lowest supply voltage, under load"),
    "lock.coldest": Name("lowest air temperature", "lowest air temperature it has to work in"),
    "actuator.voltage": Name("voltage", "nominal voltage"),
    "actuator.stroke": Name("stroke", "stroke"),
    "actuator.rated_force": Name("rated force", "rated force"),
    "actuator.no_load_speed": Name("no-load speed", "no-load speed"),
    "actuator.full_load_speed": Name("full-load speed", "full-load speed"),
    "actuator.no_load_current": Name("no-load current", "no-load current"),
    "actuator.full_load_current": Name("full-load current", "full-load current"),
    "actuator.duty_cycle": Name("duty cycle", "duty cycle"),
    "actuator.duty_period": Name("duty period", "duty period"),
    "actuator.protection": Name("IP rating", "IP rating"),
    "actuator.extend_locks": Name("lock throw extends the rod", "a lock throw extends the rod"),
    "machine.description": Name("machine", "machine"),
    "machine.serial_number": Name("serial number", "serial number of the machine"),
    "machine.owner": Name("owner", "owner or customer"),
    "machine.place": Name("place", "place of the machine"),
    "wiring.conductor": Name("wire size", "wire size"),
    "wiring.length_one_way": Name("cable length, one way", "cable length, one way"),
    "wiring.fuse": Name("fuse", "fuse"),
    "wiring.fuse_type": Name("fuse type", "fuse type"),
    "board.id": Name("board id", "board (current-sense board)"),
    "board.placed_in": Name("board sits in", "where the board sits"),
}


def without_keys(text: str) -> str:
    """Keys of a rig file (``lock.excess_goes``) as form and papers call them."""
    for key in sorted(RIG, key=len, reverse=True):  # wiring.fuse_type before wiring.fuse
        text = text.replace(key, f"'{RIG[key].column}'")
    return text.replace("[wiring]", "wire size, cable length and fuse")


DETACH_STEPS = "detach the actuator from the latch. Hands out, power on: "
"""What goes before a throw without the latch, attachment on the ground and power isolated; the work follows."""
DETACHED = f"Attachment on the ground, power isolated: {DETACH_STEPS}"

# ---- cautions, shown where the hazard is; the same stand in the guide (README.md) ----

FIRST_RIGS = 10
"""Rigs of a list that are shown unless more are asked for."""
BEFORE_WORK = "Before any work: attachment on the ground, power isolated."
"""Stands above every list that names a next step."""
FALL = (
    "A half-locked attachment drops. Put the attachment on the ground, clear the area and never go under it."
)
HANDS = "Before hands go near the pins: isolate the power and take the key out."
BOTH_PINS = (
    "At every attachment change, look at each pin separately and do the manufacturer's load check. This program only records. "
    "It never drives the actuator, and none of its figures replaces your own look."
)
FIRE = (
    "Batteries, wiring and fuses can start fires. Protect the cable as the local code and the machine "
    "manufacturer's instructions require."
)
ABOUT_TO_MOVE = "Everyone clear of the attachment. Hands off the pins: they are about to move."
QUALIFIED = "Structural repair and electrical work on safety circuits must be done by qualified people, licensed where the law requires it. The same holds for the return to service of hired or workplace machines."
OUT_OF_USE = "Do not use. Keep people away and the attachment on the ground. It stays so until the cause is found, the repair is logged, and the rig is commissioned again in full and signed for."

# where it is shown: the sentences, in this order.
SHOWN_AT: dict[str, tuple[str, ...]] = {
    "record": (FALL, HANDS),
    "assess": (FALL, HANDS, BOTH_PINS),
    "commissioning": (FALL, HANDS, BOTH_PINS),
    "sighting": (HANDS, BOTH_PINS),
    "wiring": (FIRE,),
    "service": (FALL, HANDS, QUALIFIED),
    "clearing": (OUT_OF_USE, QUALIFIED),
    "do not use": (OUT_OF_USE,),
}
