"""Trends of rigs from a logbook or from a folder that ``export`` wrote as Parquet.

A history larger than one machine is computed on Dask by the very function of the local run: the trials are read by row
group, each rig's rows are gathered on one worker. Optional: ``pip install throwbook[fleet]``.
"""

import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from throwbook.core.export_schema import SERVICES, SHEETS, TRIALS, Column
from throwbook.core.records import LoggedTrial, heads
from throwbook.core.rig import retired_because
from throwbook.core.status.latch import IN_SERVICE
from throwbook.core.trend.history import (
    SERVICE_COLUMNS,
    SHEET_COLUMNS,
    TRIAL_COLUMNS,
    RigRows,
    history_from,
)
from throwbook.errors import Field, InputError, OutsideError, Remedy
from throwbook.jobs.find import logbook_path, opened, rig_meant, rig_of
from throwbook.jobs.spread import spread
from throwbook.logbook import Logbook

if TYPE_CHECKING:
    import pandas

    from throwbook.core.assessment import Profile
    from throwbook.core.status.urgency import Need, Worsening
    from throwbook.core.trend.advisory import NextAction
    from throwbook.core.trend.history import RigHistory
    from throwbook.core.trend.profile_trend import Spot, SpotEffect, SpotHeights
    from throwbook.core.trend.trend_result import TrendResult


RIG_COLUMNS = ("rig", "at", "toml")


def rows_from_logbook(book: Logbook, name: str, trials: Sequence[LoggedTrial]) -> RigRows:
    """Everything the logbook holds of one rig, as export rows; ``trials`` are all of its trials."""
    states = {one.sheet.id: one for one in book.sheets(name)}
    services = book.services(name, every_revision=True)
    standing = {one.id for one in heads(services)}
    return RigRows(
        rig_of(book, name),
        [_row(SHEETS, SHEET_COLUMNS, one) for one in states.values()],
        [
            _row(TRIALS, TRIAL_COLUMNS, (one, states.get(one.placement.sheet) if one.placement else None))
            for one in trials
        ],
        [_row(SERVICES, SERVICE_COLUMNS, (one, one.id in standing)) for one in services],
    )


def profiles_from_logbook(book: Logbook, trials: Sequence[LoggedTrial]) -> dict[str, "Profile"]:
    """Current over travel of each trial that has it, by trial id."""
    found = {}
    for one in trials:
        profile = book.profile(one.judgement) if one.judgement else None
        if profile is not None:
            found[one.id] = profile
    return found


def _row(columns: Sequence[Column], wanted: Sequence[str], item: Any) -> dict[str, Any]:
    getters = {column.name: column.get for column in columns}
    return {name: getters[name](item) for name in wanted}


TABLES = {"rigs": RIG_COLUMNS, "sheets": SHEET_COLUMNS, "trials": TRIAL_COLUMNS, "services": SERVICE_COLUMNS}


def check_export(folder: Path) -> None:
    """Raise InputError unless ``folder`` holds the Parquet files that trends need."""
    for table in TABLES:
        if not (folder / f"{table}.parquet").is_file():
            raise InputError(
                f"no {table}.parquet here",
                os.fspath(folder),
                remedy=Remedy.EXPORT_FIRST,
            )


def rows_from_frames(frames: Mapping[str, "pandas.DataFrame"]) -> list[RigRows]:
    """Rows of every rig in ``frames`` (one for each of ``TABLES``), by name; a rig's newest file counts."""
    from throwbook.files.rig_file import parse_rig

    by_rig: dict[str, dict[str, list[dict[str, Any]]]] = {}
    for table, wanted in TABLES.items():
        frame = frames[table]
        plain = frame[[name for name in wanted if name in frame]].astype(object)
        plain = plain.where(plain.notna(), None)
        for row in plain.to_dict("records"):
            whole = dict.fromkeys(wanted) | {str(key): value for key, value in row.items()}
            by_rig.setdefault(str(whole["rig"]), {}).setdefault(table, []).append(whole)
    found = []
    for name in sorted(by_rig):
        tables = by_rig[name]
        if "rigs" in tables:
            newest = max(tables["rigs"], key=lambda row: str(row["at"]))
            found.append(
                RigRows(
                    parse_rig(str(newest["toml"]), f"rig {name}").rig,
                    tables.get("sheets", []),
                    tables.get("trials", []),
                    tables.get("services", []),
                )
            )
    return found


Progress = Callable[[int, int], None]


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
    worsening: "Worsening | None" = None
    """What a list of all rigs says of it; None: nothing gets worse."""
    due_on: date | None = None
    """Its next check."""


def rig_trend(logbook: str | Path | None, name: str, today: date) -> RigTrend:
    """One rig, profiles included. Raises InputError for a name the logbook doesn't have."""
    from throwbook.jobs.steps_to_clear import happened_in

    with opened(logbook, read_only=True) as book:
        name = rig_meant(book, name)
        return replace(trend_in(book, name, today, profiles=True), happened=happened_in(book, name))


def trend_in(book: "Logbook", name: str, today: date, profiles: bool) -> RigTrend:
    """One rig of an open logbook; ``profiles`` also looks for places where binding grows (slower)."""
    from throwbook.jobs.latch import rig_status

    trials = book.trials(rig=name)
    rows = rows_from_logbook(book, name, trials)
    found = profiles_from_logbook(book, trials) if profiles else {}
    stands = rig_status(book, name, today)
    history = replace(history_from(rows, found), due_on=stands.next_check.on)
    return trend_of(history, today, stands.status.level)


def effects_measured_by(book: "Logbook", rig: str, sheet: str, today: date) -> str:
    """What the service before this after-service sheet changed, in a line with its interval: whether it helped."""
    from throwbook.core.quantities.units import at_reference
    from throwbook.core.trend.history import RUN_CURRENT
    from throwbook.core.trend.trend_result import effect_text

    found = trend_in(book, rig, today, profiles=False)
    said = [
        effect_text(one, effect)
        for one in found.trends
        if one.figure == RUN_CURRENT
        for effect in one.service_effects
        if effect.after_sheet == sheet
    ]
    if not said:
        return "Whether the service helped can't be shown: no check before it can be compared with this one."
    corrected = f"corrected to {at_reference(found.history.rig.units)} and nominal voltage"
    return f"Did the service help ({corrected})? {'; '.join(said)}."


def trend_of(history: "RigHistory", today: date, status: str = IN_SERVICE) -> RigTrend:
    """Everything said about one history."""
    from throwbook.core.rig import DIRECTIONS
    from throwbook.core.trend.advisory import due_on, next_action, worsening_of
    from throwbook.core.trend.profile_trend import check_profiles, spot_effects, spot_heights, spots_among
    from throwbook.core.trend.trend_result import trends_of

    trends = trends_of(history) if history.checks else []
    profiles = {one: check_profiles(history, one) for one in DIRECTIONS}
    spots = spots_among(profiles)
    sentences = [one.sentence for one in spots]
    action = next_action(history, trends, today, status, sentences)
    effects = spot_effects(history, profiles)
    places = [(one.direction, one.at_fraction) for one in spots]
    places += [(one.direction, one.at_fraction) for one in effects]
    return RigTrend(
        history,
        tuple(trends),
        tuple(spots),
        action,
        tuple(effects),
        spot_heights(history, places),
        worsening=worsening_of(history, trends, sentences),
        due_on=due_on(history),
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
    done = 0
    for results in spread(partial(_part, path, today), names, workers):
        for one in results:
            done += 1
            if progress is not None:
                progress(done, len(names))
            yield one


def _part(path: Path, today: date, names: Sequence[str]) -> list[RigTrend]:
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

    check_export(folder)
    if engine == "dask":
        yield from fleet_on_dask(folder, today, trend_of_rows, address)
        return
    import pandas

    frames = {name: pandas.read_parquet(folder / f"{name}.parquet") for name in TABLES}
    for rows in rows_from_frames(frames):
        yield trend_of_rows(rows, today)


def trend_of_rows(rows: "RigRows", today: date) -> RigTrend:
    """One rig from its rows, without profiles and without the latch's orders (an export has no seals to trust)."""
    return _light(trend_of(history_from(rows), today))


def needs_of(found: Sequence[RigTrend], today: date) -> list[tuple[str, "Need"]]:
    """Name and need of each rig, most pressing first, of trends alone: the orders, and so each status, are not known."""
    from throwbook.core.status.maintenance import NextCheck
    from throwbook.core.status.urgency import RigFacts, need_of, order_key

    needs = []
    for one in found:
        commissioned, due = not one.history.provisional, one.due_on
        check = NextCheck(due, overdue=due < today) if due is not None else NextCheck()
        facts = RigFacts(None, commissioned, check, one.worsening, today)
        needs.append((one.history.rig.name, need_of(facts)))
    return sorted(needs, key=lambda pair: order_key(pair[1], pair[0]))


def need_checks(trend: RigTrend) -> None:
    """Raise InputError where there is nothing to draw a trend from."""
    if not trend.history.checks:
        raise InputError(
            "no complete throw is logged yet",
            f"rig {trend.history.rig.name}",
            remedy=Remedy.ADD_CHECK,
        )


def rig_from_export(folder: Path, name: str, today: date) -> RigTrend:
    """One rig of an export, with all its checks. Raises InputError for a name that isn't there."""
    import pandas

    check_export(folder)
    frames = {
        table: pandas.read_parquet(folder / f"{table}.parquet", filters=[("rig", "==", name)])
        for table in TABLES
    }
    for rows in rows_from_frames(frames):
        return trend_of(history_from(rows), today)
    raise InputError(f"no rig is called {name!r}", str(folder), "rigs.parquet holds the names.")


Result = TypeVar("Result")
RIGS_A_TASK = 25


def fleet_on_dask(
    folder: Path, today: date, of_rows: "Callable[[RigRows, date], Result]", address: str | None = None
) -> Iterator[Result]:
    """Every rig of the export, in the order of names, each by ``of_rows``. ``address``: scheduler; None: a cluster here.

    Raises InputError where Dask isn't installed, OutsideError where the scheduler can't be reached.
    """
    try:
        import distributed
    except ImportError as error:
        raise InputError("Dask isn't installed", Field("engine"), "pip install 'throwbook[fleet]'") from error
    import pandas

    names = sorted(pandas.read_parquet(folder / "rigs.parquet", columns=["rig"])["rig"].unique())
    parts = [names[i : i + RIGS_A_TASK] for i in range(0, len(names), RIGS_A_TASK)]
    where: Any
    open_client: Any = distributed.Client
    if address is None:
        local: Any = distributed.LocalCluster
        where = local(n_workers=2, threads_per_worker=1, dashboard_address=None)
    else:
        where = address
    try:
        client: Any = open_client(where, timeout=20)
    except OSError as error:
        raise OutsideError("no answer from the scheduler", str(address), "Is it running?") from error
    try:
        futures = client.map(
            _part_of_files, [str(folder)] * len(parts), parts, [today] * len(parts), [of_rows] * len(parts)
        )
        for future in futures:
            yield from future.result()
    finally:
        client.close()
        if address is None:
            where.close()


def _part_of_files(
    folder: str, names: list[str], today: date, of_rows: "Callable[[RigRows, date], Result]"
) -> list[Result]:
    """The rigs ``names``: only their row groups are read."""
    import pandas

    frames = {
        table: pandas.read_parquet(Path(folder) / f"{table}.parquet", filters=[("rig", "in", names)])
        for table in TABLES
    }
    return [of_rows(rows, today) for rows in rows_from_frames(frames)]
