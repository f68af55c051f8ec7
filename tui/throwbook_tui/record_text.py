"""What the recording screen says and draws before, while and after a throw runs."""

from math import isfinite
from typing import TYPE_CHECKING

from throwbook.core.analysis.live import AT_STALL, FLOWING, LiveFigures
from throwbook.core.assessment import WORST_FIRST, movement_said
from throwbook.core.machine.expected_throw import travel_m
from throwbook.core.machine.limits import rated_time
from throwbook.core.machine.motor import motor_line, stall_current
from throwbook.core.rig import LOCK, Rig
from throwbook.core.status.status_text import caution
from throwbook.core.wording import ABOUT_TO_MOVE, FIGURES, SHOWN_AT, SWITCH_STATES, switches_at_end_said
from throwbook_tui.present import (
    BAD,
    EDGE,
    GOOD,
    QUIET,
    STRONG,
    WARN,
    Cell,
    cause_lines,
    sentence,
    verdict_cell,
)
from throwbook_tui.widgets.chart import Level

if TYPE_CHECKING:
    from throwbook.core.analysis.baseline import Baseline
    from throwbook.core.assessment import Assessment
    from throwbook.jobs.recording import Recorded
    from throwbook.jobs.store_trial import StoredTrial


BAR = 24


def levels_for(rig: Rig, baseline: "Baseline | None") -> tuple[tuple[Level, ...], float]:
    """The lines of the live trace, and about how long the throw takes [s]."""
    actuator = rig.actuator
    stall_a = float(stall_current(motor_line(actuator), actuator.voltage_v))
    levels = [
        Level(actuator.full_load_current_a, f"full load {actuator.full_load_current_a:.3g} A", WARN),
        Level(stall_a, f"{FIGURES['stall_current_a'].column} {stall_a:.3g} A", EDGE),
    ]
    rated_s = rated_time(rig)
    expected_s = rated_s if isfinite(rated_s) else travel_m(rig) / actuator.no_load_speed_m_s
    if baseline is not None:
        run, time = baseline.figures.get("run_current_a"), baseline.figures.get("travel_time_s")
        if run is not None:
            levels.insert(1, Level(run.mean, f"baseline {run.mean:.3g} A", GOOD))
        if time is not None:
            expected_s = time.mean
    return tuple(levels), expected_s


def state_cell(figures: LiveFigures) -> Cell:
    """Current and time, large."""
    tone = BAD if figures.warning else STRONG
    return Cell(f"{figures.current_a:.1f} A  {figures.running_s:.1f} s", tone)


def warning_line(figures: LiveFigures) -> str:
    """What must not go on; at a standstill the hand on the switch is what ends it."""
    if figures.warning == AT_STALL:
        return "!! RELEASE THE SWITCH: stall current, the motor is stalled or nearly so."
    return f"!! {figures.warning}" if figures.warning else ""


def travel_bar(figures: LiveFigures) -> str:
    """How far by reckoning, peak and voltage, in one line."""
    share = max(0.0, figures.travel_fraction)
    done = min(BAR, int(BAR * share))
    volts = "" if figures.voltage_v is None else f"  {figures.voltage_v:.1f} V"
    word = "running" if figures.phase == FLOWING else "off again"
    return f"{word}  travel about [{'#' * done}{'.' * (BAR - done)}] {100 * share:.0f} %  peak {figures.peak_a:.1f} A{volts}"


HOW = "Enter arms the recording. Then throw with the machine's own switch. Recording starts with the current and stops by itself."
NOT_THROWN = "Y = the switch was thrown and nothing ran. The throw is recorded as 'did not start' and the rig is restricted until that order is cleared. N = nobody threw. Nothing is recorded; you can arm again."
ARMED_SAID = (
    Cell(ABOUT_TO_MOVE, WARN),
    Cell("Ready: throw now. Waiting for current ...", STRONG),
)
EITHER_WAY = "The current alone cannot show it. Y = it was an unlock throw. N = it was a lock throw. Each movement is recorded as a separate throw."
TAKE_AIR = "Is this the air temperature?"
TAKE_AIR_SAID = (
    "Y = take it as the air temperature of this throw. N = leave it as it was typed, or not recorded."
)
LOOK_LARGE = Cell("LOOK AT PINS", WARN)
"""Below the large verdict of a lock throw, as large where there is room: figures speak of current and time alone."""
LOOK = (
    "NOW LOOK AT BOTH PINS, one at a time. No figure here replaces your own look. Enter = record what you saw"
)


HOW_SIMULATED = (
    "Enter arms the recording. The simulated machine then throws by itself. Recording stops by itself."
)
ARMED_SIMULATED = (
    Cell("Ready: the simulated machine throws in a few seconds. Waiting for current ...", STRONG),
)


def ready_cells(port: str, rate_hz: int, baud: int, practice: bool = False) -> list[Cell | str]:
    """Cautions, the board, what Enter does."""
    board = f"{port}, {rate_hz} samples per second at {baud} baud" if port else "none chosen: B finds one"
    cautions = [Cell(text, WARN) for text in SHOWN_AT["record"]]
    return [*cautions, Cell(""), Cell(f"Board: {board}", STRONG), Cell(HOW_SIMULATED if practice else HOW)]


def result_cells(recorded: "Recorded", kept: "StoredTrial") -> list[Cell | str]:
    """Reason, what becomes of the rig, causes with the action that splits them; of several movements the worst first."""
    said = caution(kept.rig_status.status) if kept.rig_status is not None else ""
    judged = sorted(
        (one.assessment for one in recorded.throws), key=lambda one: WORST_FIRST.index(one.verdict)
    )
    cells: list[Cell | str] = [Cell(sentence(_named(one)), STRONG) for one in judged]
    cells += [Cell(said, BAD)] if said else []
    return cells + [cell for one in judged for cell in cause_lines(one)]


def _named(judged: "Assessment") -> str:
    """The reason of a verdict, with the movement it is about where the record holds several."""
    if not movement_said(judged):
        return judged.because
    word, _ = verdict_cell(judged.verdict)
    return f"{judged.direction} throw, {movement_said(judged)}: {word}. {judged.because}"


def unlock_question(number: int, movements: int) -> str:
    """What is asked where the current doesn't tell which way a movement went."""
    return f"Movement {number} of {movements}: was it an unlock throw?"


def switches_line(recorded: "Recorded") -> str:
    """How the pin switches stood at the end, and what that asks for; empty: none is fitted."""
    stood = (None, None) if recorded.trace is None else recorded.trace.switches_at_end
    return switches_at_end_said(*stood, lock=recorded.ends_with_lock)


def switch_cell(closed: bool) -> Cell:
    """One switch while a throw runs, large: no colour makes a closed one look like a pin that was seen."""
    return Cell(SWITCH_STATES[closed].upper(), STRONG)


def look_now(recorded: "Recorded") -> bool:
    """Whether the pins are to be looked at: after a lock throw on the machine; off it there are none."""
    return not recorded.on_bench and any(one.trace.direction == LOCK for one in recorded.throws)


def kept_cells(recorded: "Recorded", kept: "StoredTrial") -> list[Cell | str]:
    """What to do now; what was kept where."""
    where = f"Not in the logbook: {kept.kept_out}" if kept.kept_out else f"Kept on {kept.sheet}"
    count = f"{recorded.samples} samples, {recorded.lost} lost; {recorded.ended}. {where}."
    look = [Cell(LOOK, WARN)] if look_now(recorded) else []
    switches = [Cell(said, STRONG)] if (said := switches_line(recorded)) else []
    air = [Cell(recorded.air_doubt, WARN)] if not recorded.air_question and recorded.air_doubt else []
    return [*switches, *look, *air, Cell(count, QUIET)]


def head_cell(kept: "StoredTrial") -> Cell | str:
    """The status of a rig that is out of use, for the head line; else nothing."""
    if kept.rig_status is None or not caution(kept.rig_status.status):
        return ""
    return Cell(f"XX {kept.rig_status.status.level.upper()}", BAD)
