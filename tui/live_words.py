"""What is said and drawn while a throw runs. Nothing of Textual."""

from math import isfinite
from typing import TYPE_CHECKING

from logger.core.machine.expected_throw import travel_m
from logger.core.machine.limits import rated_time
from logger.core.machine.rating import motor_line, stall_current
from logger.core.rig import Rig
from logger.core.stroke.live import AT_STALL, FLOWING, LiveFigures
from tui.present import BAD, EDGE, GOOD, STRONG, WARN, Cell
from tui.widgets.figure import Level

if TYPE_CHECKING:
    from logger.core.stroke.baseline import Baseline

BAR = 24


def levels_for(rig: Rig, baseline: "Baseline | None") -> tuple[tuple[Level, ...], float]:
    """The lines of the live trace, and about how long the throw takes [s]."""
    actuator = rig.actuator
    stall_a = float(stall_current(motor_line(actuator), actuator.voltage_v))
    levels = [
        Level(actuator.full_load_current_a, f"rated {actuator.full_load_current_a:.3g} A", WARN),
        Level(stall_a, f"standstill {stall_a:.3g} A", EDGE),
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
        return "!! Let go of the switch: current at stall level, the motor stands or nearly."
    return f"!! {figures.warning}" if figures.warning else ""


def travel_bar(figures: LiveFigures) -> str:
    """How far by reckoning, peak and voltage, in one line."""
    share = max(0.0, figures.travel_fraction)
    done = min(BAR, int(BAR * share))
    volts = "" if figures.voltage_v is None else f"  {figures.voltage_v:.1f} V"
    word = "running" if figures.phase == FLOWING else "off again"
    return f"{word}  travel about [{'#' * done}{'.' * (BAR - done)}] {100 * share:.0f} %  peak {figures.peak_a:.1f} A{volts}"
