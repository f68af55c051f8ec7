"""A rig by file or name, faults and all, and the judgement whether its actuator suits its mechanism."""

from pathlib import Path

from logger.core.fitting.fit import Fit, fit
from logger.files.rigfile import RigFile, parse_rig, read_rig_file


def is_rig_file(name_or_file: str) -> bool:
    """Whether a file is meant (it ends in ``.toml``, or is there) and not a name in the logbook."""
    path = Path(name_or_file)
    return path.suffix.lower() == ".toml" or path.is_file()


def load_rig(name_or_file: str, logbook: str | None = None) -> RigFile:
    """The rig that is meant, even if its values contradict each other.

    Raises InputError where there is no such file or name, or a value can't be read.
    """
    if is_rig_file(name_or_file):
        return read_rig_file(Path(name_or_file))
    from logger.jobs.logbooks import opened

    with opened(logbook, read_only=True) as book:
        return parse_rig(book.rig(name_or_file).toml, name_or_file)


def judge_rig(name_or_file: str, logbook: str | None = None) -> tuple[Fit, tuple[str, ...]]:
    """The judgement, and a warning for each key of the file that isn't known."""
    read = load_rig(name_or_file, logbook)
    return fit(read.rig), read.warnings
