"""Trends of one rig, or of all rigs of a logbook, worst first."""

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from logger.core.machine.retiring import retired_because
from logger.core.standing.status import IN_SERVICE
from logger.errors import InputError
from logger.jobs.logbooks import logbook_path, opened
from logger.jobs.season_source import profiles_from_logbook, rows_from_logbook

if TYPE_CHECKING:
    from logger.core.seasons.history import TrendResult
    from logger.core.seasons.next_action import NextAction
    from logger.core.seasons.profile_history import Spot
    from logger.core.seasons.season import RigHistory
    from logger.core.seasons.season_rows import RigRows
    from logger.core.seasons.spot_effect import SpotEffect, SpotHeights
    from logger.logbook import Logbook

Progress = Callable[[int, int], None]
RIGS_AT_ONCE = 8
"""Rigs handed to a process at a time: few enough that memory stays small."""


@dataclass(frozen=True, eq=False)
class RigTrend:
    """Everything said about one rig over the years."""

    history: "RigHistory"
    trends: tuple["TrendResult", ...]
    spots: tuple["Spot", ...]
    action: "NextAction"
    spot_effects: tuple["SpotEffect", ...] = ()
    heights: tuple["SpotHeights", ...] = ()
    """Of the places that bind, or did before a service, over all checks."""
    happened: tuple[str, ...] = ()
    """Since the last accepted sheet, a sentence for each event; of one rig only."""


def rig_trend(logbook: str | Path | None, name: str, today: date) -> RigTrend:
    """One rig, profiles included. Raises InputError for a name the logbook doesn't have."""
    from logger.jobs.rig_events import happened_in

    with opened(logbook, read_only=True) as book:
        return replace(trend_in(book, name, today, profiles=True), happened=happened_in(book, name))


def trend_in(book: "Logbook", name: str, today: date, profiles: bool) -> RigTrend:
    """One rig of an open logbook; ``profiles`` also looks for places where binding grows (slower)."""
    from logger.core.seasons.season_rows import history_from
    from logger.jobs.latch import standing

    trials = book.trials(rig=name)
    rows = rows_from_logbook(book, name, trials)
    found = profiles_from_logbook(book, trials) if profiles else {}
    stands = standing(book, name, today)
    history = replace(history_from(rows, found), due_on=stands.next_check.on)
    return trend_of(history, today, stands.status.level)


def trend_of(history: "RigHistory", today: date, status: str = IN_SERVICE) -> RigTrend:
    """Everything said about one history."""
    from logger.core.seasons.history import trends_of
    from logger.core.seasons.next_action import next_action
    from logger.core.seasons.profile_history import check_profiles, spots_among
    from logger.core.seasons.spot_effect import spot_effects, spot_heights
    from logger.core.trace import DIRECTIONS

    trends = trends_of(history) if history.checks else []
    profiles = {one: check_profiles(history, one) for one in DIRECTIONS}
    spots = spots_among(profiles)
    action = next_action(history, trends, today, status, [one.sentence for one in spots])
    effects = spot_effects(history, profiles)
    places = [(one.direction, one.at_fraction) for one in spots]
    places += [(one.direction, one.at_fraction) for one in effects]
    return RigTrend(
        history, tuple(trends), tuple(spots), action, tuple(effects), spot_heights(history, places)
    )


def fleet(
    logbook: str | Path | None,
    today: date,
    workers: int | None = None,
    progress: Progress | None = None,
) -> Iterator[RigTrend]:
    """Every rig of the logbook that isn't retired, in the order of names, spread over the processor's cores.

    They come one by one, each with its newest check only, so that a fleet never has to fit into memory.
    """
    path = logbook_path(None if logbook is None else str(logbook))
    with opened(path, read_only=True) as book:
        names = [name for name in book.rig_names() if not retired_because(book.rig(name).toml)]
    parts = [names[i : i + RIGS_AT_ONCE] for i in range(0, len(names), RIGS_AT_ONCE)]
    done = 0
    if len(parts) <= 1 or workers == 1:
        for part in parts:
            for one in _part(path, part, today):
                done += 1
                if progress is not None:
                    progress(done, len(names))
                yield one
        return
    with ProcessPoolExecutor(workers) as pool:
        for results in pool.map(_part, [path] * len(parts), parts, [today] * len(parts)):
            for one in results:
                done += 1
                if progress is not None:
                    progress(done, len(names))
                yield one


def _part(path: Path, names: Sequence[str], today: date) -> list[RigTrend]:
    with opened(path, read_only=True) as book:
        return [_light(trend_in(book, name, today, profiles=False)) for name in names]


def _light(found: RigTrend) -> RigTrend:
    """Only the newest check is kept, and nothing that can't travel between processes."""
    history = found.history
    rig = replace(history.rig, limits=dict(history.rig.limits))
    return replace(found, history=replace(history, rig=rig, checks=history.checks[-1:]))


def fleet_from_export(
    folder: Path, today: date, engine: str = "local", address: str | None = None
) -> Iterator[RigTrend]:
    """The same from a Parquet export: ``engine`` ``local``, or ``dask`` on the cluster at ``address`` (or a local one)."""
    from logger.jobs.season_source import check_export

    check_export(folder)
    if engine == "dask":
        from logger.jobs.trend_dask import fleet_on_dask

        yield from fleet_on_dask(folder, today, trend_of_rows, address)
        return
    import pandas

    from logger.jobs.season_source import TABLES, rows_from_frames

    frames = {name: pandas.read_parquet(folder / f"{name}.parquet") for name in TABLES}
    for rows in rows_from_frames(frames):
        yield trend_of_rows(rows, today)


def trend_of_rows(rows: "RigRows", today: date) -> RigTrend:
    """One rig from its rows, without profiles and without the latch's orders (an export has no seals to trust)."""
    from logger.core.seasons.season_rows import history_from

    return _light(trend_of(history_from(rows), today))


def worst_first(found: Sequence[RigTrend]) -> list[RigTrend]:
    """By urgency, then by the day it has to be done, then by name."""
    return sorted(
        found,
        key=lambda one: (-one.action.urgency, one.action.by or date.max, one.history.rig.name),
    )


def need_checks(trend: RigTrend) -> None:
    """Raise InputError where there is nothing to draw a trend from."""
    if not trend.history.checks:
        raise InputError(
            "no whole throw is logged yet",
            f"rig {trend.history.rig.name}",
            "Import or enter a check first: throwbook import --rig R --kind seasonal FILE...",
        )


def rig_from_export(folder: Path, name: str, today: date) -> RigTrend:
    """One rig of an export, with all its checks. Raises InputError for a name that isn't there."""
    import pandas

    from logger.core.seasons.season_rows import history_from
    from logger.jobs.season_source import TABLES, check_export, rows_from_frames

    check_export(folder)
    frames = {
        table: pandas.read_parquet(folder / f"{table}.parquet", filters=[("rig", "==", name)])
        for table in TABLES
    }
    for rows in rows_from_frames(frames):
        return trend_of(history_from(rows), today)
    raise InputError(f"no rig is called {name!r}", str(folder), "rigs.parquet holds the names.")
