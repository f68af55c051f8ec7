"""The command trend: trend, control chart and forecast of one rig, or what to do next on every rig."""

from collections.abc import Sequence
from dataclasses import asdict, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from throwbook.cli import output
from throwbook.cli.options import first_options, logbook_of, now
from throwbook.core.quantities.rounding import interval_text
from throwbook.core.quantities.text import counted
from throwbook.core.quantities.units import at_reference, display_unit, to_display
from throwbook.core.trend.control_chart import NO_LIMIT
from throwbook.core.trend.history import unit_of
from throwbook.core.trend.maintenance_effect import CONFIDENCE, HELPED, WORSE
from throwbook.core.trend.signals import LOW, OUT, SUSPECT
from throwbook.core.trend.trend_result import (
    ABOUT_CHANGE,
    CHANGE,
    change_text,
    drift_text,
    figure_name,
    forecast_text,
    signal_text,
)
from throwbook.core.wording import FIRST_RIGS, TREND_STATES
from throwbook.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Iterable

    from throwbook.core.trend.control_chart import Point
    from throwbook.core.trend.trend_result import TrendResult
    from throwbook.jobs.trend import RigTrend


STOP_AT = 4
"""From this urgency on the exit code is 1 (of all rigs: ``Need.stops``)."""
NO_ORDERS = "The orders of an export are not read: status not in this list. Look at 'throwbook rig list' before any throw."


@click.command(
    short_help="Trend, control chart and forecast of one rig; without a name, all rigs, worst first."
)
@click.argument("rig", required=False)
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line per direction and figure, SI.")
@click.option("--plot", "plot", type=click.Path(path_type=Path), help="Draw it: .png, .svg or .pdf.")
@click.option(
    "--from-export", "folder", type=click.Path(path_type=Path), help="Read a Parquet export, not the logbook."
)
@click.option(
    "--engine",
    type=click.Choice(["local", "dask"]),
    default="local",
    show_default=True,
    help="Calculate on this computer's cores, or on Dask.",
)
@click.option("--scheduler", metavar="ADDRESS", help="Dask scheduler [default: a cluster on this computer].")
@click.option("--workers", type=click.IntRange(1), help="Processes [default: one per core].")
@first_options
@click.pass_context
def trend(
    ctx: click.Context,
    rig: str | None,
    as_json: bool,
    plot: Path | None,
    folder: Path | None,
    engine: str,
    scheduler: str | None,
    workers: int | None,
    first: int | None,
    every: bool,
) -> int:
    """Show what has changed on RIG since commissioning or its last service, beyond weather, supply voltage and normal variation.

    It forecasts when a limit will be reached. Without RIG: the rigs that need you first, as 'rig list' shows them.

    \b
    Examples:
      throwbook trend quarry-loader --plot quarry-loader.pdf
      throwbook trend
      throwbook trend --from-export EXPORT --engine dask
    """
    if engine == "dask" and folder is None:
        raise InputError("Dask reads a Parquet export", "--engine dask", "Add --from-export FOLDER.")
    if rig is None:
        if plot is not None:
            raise InputError(
                "a drawing shows one rig", "--plot", "Name the rig: throwbook trend RIG --plot FILE."
            )
        first = None if every else first or FIRST_RIGS
        return _fleet(ctx, as_json, folder, engine, scheduler, workers, first)
    found = _one(ctx, rig, folder)
    if plot is not None:
        from throwbook.report.trend_charts import draw_trends

        draw_trends(plot, found.history, found.trends, found.spots, found.heights)
    if as_json:
        _json([found])
        return 0

    if folder is not None:
        output.line(NO_ORDERS, style="warn")
    print_trend(found)
    if plot is not None:
        output.line(f"drawn: {plot}")
    return 1 if found.action.urgency >= STOP_AT else 0


def _one(ctx: click.Context, rig: str, folder: Path | None) -> "RigTrend":
    from throwbook.jobs.trend import need_checks, rig_from_export, rig_trend

    today = now().date()
    found = rig_trend(logbook_of(ctx), rig, today) if folder is None else rig_from_export(folder, rig, today)
    need_checks(found)
    return found


def _fleet(
    ctx: click.Context,
    as_json: bool,
    folder: Path | None,
    engine: str,
    scheduler: str | None,
    workers: int | None,
    first: int | None,
) -> int:
    from throwbook.cli import diagnostics
    from throwbook.jobs.trend import fleet, fleet_from_export

    today = now().date()
    if folder is None and not as_json:
        return _yard(ctx, first)
    with diagnostics.progress("rigs") as progress:
        rigs: Iterable[RigTrend]
        if folder is None:
            rigs = fleet(logbook_of(ctx), today, workers, progress)
        else:
            rigs = fleet_from_export(folder, today, engine, scheduler)
        if as_json:
            _json(rigs)
            return 0
        lines = [replace(one, trends=()) for one in rigs]
    return _print_export(lines, first)


def _yard(ctx: click.Context, first: int | None) -> int:
    """The list of all rigs, as ``rig list`` has it."""
    from throwbook.cli.rig import listed, print_listed

    rigs = [one for one in listed(ctx) if not one.retired]
    if not rigs:
        output.line("No rig yet: 'throwbook rig add FILE.toml' adds one.")
        return 0
    print_listed(rigs[:first])
    _print_rest(rigs, first)
    return 1 if any(one.need.stops for one in rigs) else 0


def _print_export(rigs: "Sequence[RigTrend]", first: int | None) -> int:
    """The same of an export, which has no status."""
    from throwbook.core.wording import BEFORE_WORK
    from throwbook.jobs.trend import needs_of

    ordered = needs_of(rigs, now().date())
    if not ordered:
        output.line("There is no rig in this export.")
        return 0
    output.line(BEFORE_WORK, style="warn")
    output.line(NO_ORDERS, style="warn")
    rows = [[rig, need.cause, need.step, str(need.by or "-")] for rig, need in ordered[:first]]
    output.table(["rig", "why", "next step", "by"], rows)
    _print_rest(ordered, first)
    return 1 if any(need.stops for _, need in ordered) else 0


def _print_rest(rigs: "Sequence[Any]", first: int | None) -> None:
    if first is not None and first < len(rigs):
        output.line(f"{first} of {counted(len(rigs), 'rig')}. --all shows all {len(rigs)}.")


def _json(rigs: "Iterable[RigTrend]") -> None:
    from throwbook.core.trend.trend_result import to_json

    for found in rigs:
        whole = {
            "happened": list(found.happened),
            "next_action": _action(found),
            "notes": list(found.history.notes),
        }
        for one in found.trends:
            output.json_line(to_json(one) | _places(found, one) | whole)


def _places(found: "RigTrend", one: "TrendResult") -> dict[str, Any]:
    """Places that bind more and more, and what services did to them: with the running current of their direction."""
    if one.figure != "run_current":
        return {"growing_spots": [], "spot_effects": []}
    spots = [
        {
            "at_fraction": spot.at_fraction,
            "at_fraction_u": spot.at_fraction_u,
            "size_a": spot.size_a,
            "since": spot.since.isoformat(),
            "because": spot.sentence,
        }
        for spot in found.spots
        if spot.direction == one.direction
    ]
    effects = [
        asdict(effect) | {"date": effect.date.isoformat()}
        for effect in found.spot_effects
        if effect.direction == one.direction
    ]
    return {"growing_spots": spots, "spot_effects": effects}


def _action(found: "RigTrend") -> dict[str, Any]:
    action = found.action
    return {
        "urgency": action.urgency,
        "what": action.what,
        "why": action.why_and_ahead.rstrip("."),
        "how_sure": action.how_sure,
        "by": action.by.isoformat() if action.by else None,
        "bring": action.bring,
    }


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
    output.line(f"because {action.reason}{by} Bring: {action.bring}.", indent=2)
    output.line()
    output.table(
        ["figure", "direction", "start", "now", CHANGE, "first out", "limit reached"],
        [_row(one) for one in found.trends],
        right=[2, 3],
    )
    output.line(f"All corrected to {at_reference(history.rig.units)} and nominal voltage. {ABOUT_CHANGE}")
    for one in found.trends:
        if one.drift is not None:
            output.line(_sentence(drift_text(one)), style="warn")
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
    unit = unit_of(one.figure)
    return "of stroke" if unit == "1" else unit


def _print_checks(trends: Sequence["TrendResult"], units: str) -> None:
    for one in trends:
        if one.figure != "run_current":
            continue
        output.line()
        output.line(
            f"Running current, {one.direction} (normal variation now {_digits(one.chart.lower)} to {_digits(one.chart.upper)} A; "
            f"{counted(one.chart.baseline_throws, 'throw')} at the start). A level above it is out of control",
            style="heading",
        )
        output.table(
            ["date", "sheet", "air", "measured", "corrected", "throws", "level", "normal variation", "state"],
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
                        f"{_state(point)}: {point.because}" if point.because else _state(point),
                        STATES.get(point.state, ""),
                    ),
                ]
                for point in one.points
            ],
            right=[2, 3, 4, 5, 6, 7],
        )
        if one.as_found is not None and one.as_found.first_signal is not None:
            output.line(
                f"As-found throws separately: out of control since {one.as_found.first_signal}.",
                style="warn",
            )


def _state(point: "Point") -> str:
    return TREND_STATES[point.state].column


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
        output.line(f"{reason} ({', '.join(names)})", style="quiet")


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
            effect.said,
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
            f"{one.before:.2g} -> {one.after:.2g} A above the current beside it",
            interval_text(one.change, one.low, one.high),
            one.answer,
        ]
        for one in found.spot_effects
    ]
    if rows:
        output.line()
        sure = f"{100 * CONFIDENCE:.0f} % interval"
        output.line(
            f"Effect of each service: after minus before ({sure}; it includes weather and the scatter from day to day). The check that raised the alarm is left out",
            style="heading",
        )
        output.table(
            ["date", "action", "figure", "direction", "before, after", "change", "answer"], sorted(rows)
        )
        output.line(
            "Figures not listed: too few checks and throws to show a difference.",
            style="quiet",
        )


def _digits(value: float) -> str:
    """Three digits, noughts at the end too: 2.70, 391."""
    return f"{value:#.3g}".rstrip(".")
