"""What ``trend`` prints for people."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from logger.cli import output
from logger.core.quantities.number_text import interval_text
from logger.core.quantities.plain import counted
from logger.core.quantities.units import display_unit, to_display
from logger.core.seasons.effects import CONFIDENCE, HELPED, WORSE
from logger.core.seasons.season import FIGURES
from logger.core.seasons.signals import LOW, OUT, SUSPECT
from logger.core.seasons.trend_figures import NO_LIMIT
from logger.core.seasons.wording_trend import (
    ABOUT_CHANGE,
    CHANGE,
    change_text,
    creep_text,
    figure_name,
    forecast_text,
    signal_text,
)

if TYPE_CHECKING:
    from logger.core.seasons.history import TrendResult
    from logger.core.seasons.trend_figures import Point
    from logger.jobs.trend import RigTrend

URGENCY = ("good", "quiet", "warn", "warn", "bad", "bad")
STATES = {OUT: "bad", SUSPECT: "warn", LOW: "warn"}


def print_trend(found: "RigTrend") -> None:
    """One rig: next action, a row for each direction and figure, the checks of running current, services."""
    history, action = found.history, found.action
    # The checks that the tables below show: a sheet on which no throw ran through is none.
    shown = {(point.date, point.sheet) for one in found.trends for point in one.points}
    days = sorted(day for day, _ in shown) or [history.checks[0].on, history.checks[-1].on]
    count = counted(len(shown), "check")
    output.line(f"{history.rig.name}: {count}, {days[0]} to {days[-1]}", style="heading")
    for sentence in found.happened:
        output.line(sentence, style="warn" if found.action.urgency else "quiet")
    if history.provisional:
        output.line("Baseline provisional: no accepted commissioning sheet yet.", style="warn")
    output.line(f"Next: {action.what}", style=URGENCY[action.urgency])
    by = f" By {action.by}." if action.by else ""
    output.line(f"because {action.why} ({action.how_sure}).{by} Bring: {action.bring}.", indent=2)
    output.line()
    output.table(
        ["figure", "direction", "baseline", "now", CHANGE, "first signal", "limit reached"],
        [_row(one) for one in found.trends],
        right=[2, 3],
    )
    output.line(f"All at 20 degC and nominal voltage. {ABOUT_CHANGE}")
    for one in found.trends:
        if one.creep is not None:
            output.line(_sentence(creep_text(one)), style="warn")
    for spot in found.spots:
        output.line(spot.sentence, style="warn")
    for note in history.notes:
        output.line(note, style="warn")
    _print_reasons(found.trends)
    _print_checks(found.trends, history.rig.units)
    _print_services(found)


def _sentence(text: str) -> str:
    return f"{text[0].upper()}{text[1:]}."


def _row(one: "TrendResult") -> list[str | output.Cell]:
    state = one.points[-1].state
    return [
        figure_name(one.figure),
        one.direction,
        f"{_digits(one.chart.centre)} {_unit(one)}",
        output.Cell(f"{_digits(one.chart.level)} {_unit(one)}", STATES.get(state, "")),
        change_text(one),
        output.Cell(signal_text(one), "bad" if one.first_signal else ""),
        forecast_text(one) if one.forecast is not None else "-",
    ]


def _unit(one: "TrendResult") -> str:
    unit = FIGURES[one.figure][1]
    return "of stroke" if unit == "1" else unit


def _print_checks(trends: Sequence["TrendResult"], units: str) -> None:
    for one in trends:
        if one.figure != "run_current":
            continue
        output.line()
        output.line(
            f"Running current, {one.direction} (chart now {_digits(one.chart.lower)} to {_digits(one.chart.upper)} A, "
            f"from {one.chart.baseline_throws} baseline throws). A level outside its limits is a signal",
            style="heading",
        )
        output.table(
            ["date", "sheet", "air", "measured", "corrected", "throws", "level", "limits", "state"],
            [
                [
                    str(point.date),
                    point.sheet,
                    "-"
                    if point.ambient_c is None
                    else f"{to_display(point.ambient_c, 'temperature', units):.0f} {display_unit('temperature', units)}",
                    f"{_digits(point.value)} A",
                    f"{_digits(point.corrected)} A",
                    str(point.n),
                    "-" if point.level is None else f"{_digits(point.level)} A",
                    _limits(point),
                    output.Cell(
                        f"{point.state}: {point.because}" if point.because else point.state,
                        STATES.get(point.state, ""),
                    ),
                ]
                for point in one.points
            ],
            right=[2, 3, 4, 5, 6, 7],
        )
        if one.as_found is not None and one.as_found.first_signal is not None:
            output.line(
                f"First throws after a rest, by themselves: out of control since {one.as_found.first_signal}.",
                style="warn",
            )


def _limits(point: "Point") -> str:
    if point.below is None or point.above is None:
        return "-"
    return f"{_digits(point.below)} to {_digits(point.above)} A"


def _print_reasons(trends: Sequence["TrendResult"]) -> None:
    """Why some figures have no forecast: each reason once."""
    reasons: dict[str, list[str]] = {}
    for one in trends:
        if one.no_forecast and one.no_forecast != NO_LIMIT:
            names = reasons.setdefault(one.no_forecast, [])
            if figure_name(one.figure) not in names:
                names.append(figure_name(one.figure))
    for reason, names in reasons.items():
        output.line(f"{', '.join(names)}: {reason}", style="quiet")


def _print_services(found: "RigTrend") -> None:
    """Running current always, other figures where something changed, and the places that had been binding."""
    rows = [
        [
            str(effect.date),
            effect.action,
            figure_name(one.figure),
            one.direction,
            f"{_digits(effect.before)} -> {_digits(effect.after)} {_unit(one)}",
            interval_text(effect.change, effect.low, effect.high),
            effect.answer,
        ]
        for one in found.trends
        for effect in one.service_effects
        if one.figure == "run_current" or effect.answer in (HELPED, WORSE)
    ]
    rows += [
        [
            str(one.date),
            one.action,
            f"at {100 * one.at_fraction:.0f} % of the stroke",
            one.direction,
            f"{one.before:.2g} -> {one.after:.2g} A above the rest",
            interval_text(one.change, one.low, one.high),
            one.answer,
        ]
        for one in found.spot_effects
    ]
    if rows:
        output.line()
        sure = f"{100 * CONFIDENCE:.0f} % interval"
        output.line(
            f"Services: after less before ({sure}; of two days, what scatters from day to day and the weather are in it), "
            "the check that raised the alarm left out",
            style="heading",
        )
        output.table(
            ["date", "action", "figure", "direction", "before, after", "change", "answer"], sorted(rows)
        )
        output.line(
            "Figures that aren't listed: no difference that so few checks and throws could show.",
            style="quiet",
        )


def _digits(value: float) -> str:
    """Three digits, noughts at the end too: 2.70, 391."""
    return f"{value:#.3g}".rstrip(".")


def print_fleet(rigs: Sequence["RigTrend"]) -> None:
    """One row a rig, the one that presses most first."""
    output.table(
        ["rig", "next", "by", "because", "bring"],
        [
            [
                one.history.rig.name,
                output.Cell(one.action.what, URGENCY[one.action.urgency]),
                str(one.action.by or "-"),
                f"{one.action.why} ({one.action.how_sure})",
                one.action.bring,
            ]
            for one in rigs
        ],
    )
