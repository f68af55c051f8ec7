"""Trends of a fleet whose history is larger than one machine: the same computation on Dask, over a Parquet export.

Dask reads the trials by row group, gathers each rig's rows on one worker and hands them to the very function that the
local run uses. Optional: ``pip install throwbook[fleet]``.
"""

from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from logger.errors import InputError, OutsideError
from logger.jobs.season_source import TABLES, rows_from_frames

if TYPE_CHECKING:
    from logger.core.seasons.season_rows import RigRows

Found = TypeVar("Found")
RIGS_A_TASK = 25


def fleet_on_dask(
    folder: Path, today: date, of_rows: "Callable[[RigRows, date], Found]", address: str | None = None
) -> Iterator[Found]:
    """Every rig of the export, in the order of names, each by ``of_rows``. ``address``: scheduler; None: a cluster here.

    Raises InputError where Dask isn't installed, OutsideError where the scheduler can't be reached.
    """
    try:
        import distributed
    except ImportError as error:
        raise InputError("Dask isn't installed", "--engine dask", "pip install 'throwbook[fleet]'") from error
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
            _part, [str(folder)] * len(parts), parts, [today] * len(parts), [of_rows] * len(parts)
        )
        for future in futures:
            yield from future.result()
    finally:
        client.close()
        if address is None:
            where.close()


def _part(
    folder: str, names: list[str], today: date, of_rows: "Callable[[RigRows, date], Found]"
) -> list[Found]:
    """The rigs ``names``: only their row groups are read."""
    import pandas

    frames = {
        table: pandas.read_parquet(Path(folder) / f"{table}.parquet", filters=[("rig", "in", names)])
        for table in TABLES
    }
    return [of_rows(rows, today) for rows in rows_from_frames(frames)]
