"""Where rows for trends come from: a logbook, or a folder that ``export`` wrote as Parquet."""

import os
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from logger.core.records.export_tables import SERVICES, SHEETS, TRIALS, Column
from logger.core.records.records import LoggedTrial
from logger.core.records.revisions import heads
from logger.core.seasons.season_rows import SERVICE_COLUMNS, SHEET_COLUMNS, TRIAL_COLUMNS, RigRows
from logger.errors import InputError
from logger.logbook import Logbook

if TYPE_CHECKING:
    import pandas

    from logger.core.assessment import Profile

RIG_COLUMNS = ("rig", "at", "toml")


def rows_from_logbook(book: Logbook, name: str, trials: Sequence[LoggedTrial]) -> RigRows:
    """Everything the logbook holds of one rig, as export rows; ``trials`` are all of its trials."""
    from logger.jobs.rig_of import rig_of

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
                "Write the export first: throwbook export --format parquet FOLDER.",
            )


def rows_from_frames(frames: Mapping[str, "pandas.DataFrame"]) -> list[RigRows]:
    """Rows of every rig in ``frames`` (one for each of ``TABLES``), by name; a rig's newest file counts."""
    from logger.files.rigfile import parse_rig

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
