"""A rig by its file, or by its name in the logbook (then with the baselines that the logbook holds)."""

from dataclasses import dataclass, field
from pathlib import Path

from logger.core.rig import Rig
from logger.core.stroke.baseline import Baseline


@dataclass(frozen=True)
class RigSource:
    """A rig and what is known of it."""

    rig: Rig
    baselines: dict[str, Baseline] = field(default_factory=dict)
    """By direction; empty for a rig that comes from a file."""
    kind: str = ""
    """Of the sheet that is filled; empty: any."""


def means_a_file(name_or_file: str) -> bool:
    """Whether a rig is named by its file: it ends in ``.toml``, has a folder before it, or is there."""
    path = Path(name_or_file)
    return path.suffix.lower() == ".toml" or len(path.parts) > 1 or path.is_file()


def find_rig(name_or_file: str, logbook: str | None = None, kind: str = "", sheet: str = "") -> RigSource:
    """The rig that ``name_or_file`` means: a file (``means_a_file``), else a name in ``logbook``.

    ``kind`` of the sheet that is filled says which baselines fit it; with ``sheet``, the name of one in the logbook, it is
    that sheet's own kind. Raises InputError where there is no such file, rig or sheet, or where the rig's values contradict
    each other.
    """
    from logger.files.rigfile import read_rig, refuse_contradictions

    if means_a_file(name_or_file):
        return RigSource(read_rig(Path(name_or_file)), kind=kind)
    from logger.jobs.baselines import baselines_for, baselines_of
    from logger.jobs.logbooks import opened
    from logger.jobs.rig_of import rig_of

    with opened(logbook, read_only=True) as book:
        rig = rig_of(book, name_or_file)
        refuse_contradictions(rig, name_or_file)
        kind = book.sheet(sheet).sheet.kind if sheet else kind
        return RigSource(rig, baselines_of(baselines_for(book, name_or_file, kind)), kind)
