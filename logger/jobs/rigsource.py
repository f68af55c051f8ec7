"""A rig by its file, or by its name in the logbook."""

from pathlib import Path

from logger.core.rig import Rig
from logger.errors import InputError


def find_rig(name_or_file: str, logbook: str | None = None) -> Rig:
    """The rig that ``name_or_file`` means: a ``.toml`` file, else a name in ``logbook``.

    Raises InputError where there is no such file, the file is wrong, or the logbook has no such rig.
    """
    from logger.files.rigfile import read_rig

    path = Path(name_or_file)
    if path.suffix.lower() == ".toml" or path.is_file():
        return read_rig(path)
    raise InputError("no such rig file", name_or_file, "Name a rig file: --rig FILE.toml")
