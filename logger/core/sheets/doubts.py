"""What doesn't fit together on a sheet and doesn't bar its acceptance: told before it is signed, and in what it states."""

from collections.abc import Callable
from dataclasses import replace

from logger.core.assessment import WATCH, Assessment, Measured
from logger.core.quantities.plain import counted
from logger.core.quantities.units import show_duration
from logger.core.sheets.acceptance_rules import Case
from logger.core.sheets.sheet import SheetTrial
from logger.core.stroke.set_checks import duty_signs


def doubts(case: Case) -> tuple[str, ...]:
    """One sentence, without its full stop, for each."""
    return tuple(sentence for rule in DOUBTS for sentence in rule(case))


def _moved_lately(case: Case) -> list[str]:
    """The hours since the last movement, against the throws that the logbook itself holds."""
    hours, before = case.sheet.conditions.hours_since_movement, case.sheet.moved_before
    started = [one.started for one in case.trials if one.started is not None]
    if hours is None or before is None or not started:
        return []
    idle_s = (min(started) - before).total_seconds()
    if not 0.0 <= idle_s < 0.5 * 3600.0 * hours:  # a clock an hour off says nothing
        return []
    return [
        f"{hours:g} h since it last moved is written down, but the logbook holds a throw {show_duration(idle_s)} before the first one"
    ]


def _typed_again(case: Case) -> list[str]:
    """Throws are never read the same in every digit as a whole sheet of before."""
    other = case.sheet.same_readings_on
    return [f"all its readings stand on sheet {other} too, digit for digit"] if other else []


def _rests_too_short(case: Case) -> list[str]:
    """Run against rest over the whole sheet, however its throws came in."""
    throws = [_timed(one) for one in (*case.trials, *case.left_out)]
    short = [one for one in duty_signs(throws, case.rig.actuator).values() if one.level == WATCH]
    if not short:
        return []
    duty = case.rig.actuator.duty_cycle or 0.0
    return [
        f"the rests before {counted(len(short), 'throw')} were shorter than the duty cycle of {100 * duty:g} % asks for: the motor "
        "was warming"
    ]


def _timed(throw: SheetTrial) -> Assessment:
    """A throw by hand ran for its travel time from when it was thrown."""
    judged = throw.assessment
    if judged.figures.start_s is not None or judged.figures.travel_time_s is None:
        return replace(judged, started=throw.started)
    figures = replace(judged.figures, start_s=Measured(0.0, 0.0), end_s=judged.figures.travel_time_s)
    return replace(judged, started=throw.started, figures=figures)


DOUBTS: tuple[Callable[[Case], list[str]], ...] = (_moved_lately, _typed_again, _rests_too_short)
