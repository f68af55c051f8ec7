"""Files that appear whole or not at all."""

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from logger.errors import OutsideError


@contextmanager
def whole_file(path: Path, do: str = "Check the folder and the free space") -> Iterator[Path]:
    """Give a new empty file to write to; it takes the name ``path`` when the block ends without an error.

    What already has the passing name, a link to elsewhere even, is removed and never written through. Raises OutsideError
    when the disk refuses; ``do`` says what to do then.
    """
    part = path.with_name(f"{path.name}.part")
    try:
        part.unlink(missing_ok=True)
        os.close(os.open(part, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o666))
        yield part
        os.replace(part, path)
    except OSError as error:
        raise OutsideError(f"writing failed ({error.strerror})", str(path), do) from error
    finally:
        with suppress(OSError):
            part.unlink(missing_ok=True)
