"""``trend``: trend, control chart and forecast of one rig, or what to do next on every rig."""

from dataclasses import asdict, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from logger.cli import output
from logger.cli.shared import logbook_of, now
from logger.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Iterable

    from logger.core.seasons.history import TrendResult
    from logger.jobs.trend import RigTrend

STOP_AT = 4
"""From this urgency on the exit code is 1."""


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
    help="Reckon on this machine's cores, or on Dask.",
)
@click.option("--scheduler", metavar="ADDRESS", help="Dask scheduler [default: a cluster on this machine].")
@click.option("--workers", type=click.IntRange(1), help="Processes [default: one a core].")
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
) -> int:
    """Say what has changed on RIG since its baseline, beyond weather, supply and chance, and when a limit is reached.

    Without RIG: every rig, the one that presses most first.

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
        return _fleet(ctx, as_json, folder, engine, scheduler, workers)
    found = _one(ctx, rig, folder)
    if plot is not None:
        from logger.report.trend_plots import draw_trends

        draw_trends(plot, found.history, found.trends, found.spots, found.heights)
    if as_json:
        _json([found])
        return 0
    from logger.cli.trend_text import print_trend

    print_trend(found)
    if plot is not None:
        output.line(f"drawn: {plot}")
    return 1 if found.action.urgency >= STOP_AT else 0


def _one(ctx: click.Context, rig: str, folder: Path | None) -> "RigTrend":
    from logger.jobs.trend import need_checks, rig_from_export, rig_trend

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
) -> int:
    from logger.cli import diagnostics
    from logger.jobs.trend import fleet, fleet_from_export, worst_first

    today = now().date()
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
    if not lines:
        output.line("No rig yet: 'throwbook rig add FILE.toml' adds one.")
        return 0
    ordered = worst_first(lines)
    from logger.cli.trend_text import print_fleet

    print_fleet(ordered)
    return 1 if ordered[0].action.urgency >= STOP_AT else 0


def _json(rigs: "Iterable[RigTrend]") -> None:
    from logger.core.seasons.history import to_json

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
        "why": action.why,
        "how_sure": action.how_sure,
        "by": action.by.isoformat() if action.by else None,
        "bring": action.bring,
    }
