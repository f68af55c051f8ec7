"""Photographs of pins: read, held against their throw, kept; and the newest ones of a folder."""

import heapq
import os
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from throwbook.core.quantities.text import file_name
from throwbook.core.records import NOT_LOOKED, LoggedTrial, Photograph, PinAnswers
from throwbook.core.sheets.photographs import after_throw, answer_for, apart_said, far, shown
from throwbook.errors import InputError, OutsideError, Remedy
from throwbook.files.pictures import ENDINGS, PhotographFile, read_picture, taken_on
from throwbook.logbook import Logbook

CONFIRMED = "taken {apart}; confirmed"


class OtherTimeError(InputError):
    """A photograph of another time than its throw: only a person knows whether it is the right one."""

    def __init__(self, what: str, where: str) -> None:
        super().__init__(what, where, remedy=Remedy.RIGHT_PHOTOGRAPH)


def read_all(files: Mapping[str, Path]) -> dict[str, PhotographFile]:
    """Pin (``left``, ``right``): its photograph. Raises InputError or OutsideError for the first that can't be read."""
    return {pin: read_picture(path) for pin, path in files.items()}


def refuse_photographs(
    position: int,
    thrown: datetime | None,
    seen: PinAnswers,
    pictures: Mapping[str, PhotographFile],
    time_known: bool,
) -> None:
    """Raise InputError for a pin that nobody has answered for, OtherTimeError for a photograph of another time."""
    for pin, picture in pictures.items():
        if answer_for(pin, seen) == NOT_LOOKED:
            raise InputError(
                f"nobody has answered for the {pin} pin of throw {position}",
                picture.file,
                "A photograph is no sighting. Look at the pin, and answer for it too.",
            )
        apart = after_throw(picture.taken, thrown)
        if apart is not None and far(apart) and not time_known:
            what = f"taken {shown(picture.taken)} by its own clock, {apart_said(apart, f'throw {position}')}"
            raise OtherTimeError(what, picture.file)


def keep_photographs(
    book: Logbook, logged: LoggedTrial, pictures: Mapping[str, PhotographFile], by: str, now: datetime
) -> None:
    """Write them down at their throw, in the transaction that is open."""
    for pin, picture in pictures.items():
        apart = after_throw(picture.taken, logged.when)
        reason = CONFIRMED.format(apart=apart_said(apart)) if apart is not None and far(apart) else ""
        row = Photograph(
            *(logged.id, pin, picture.digest, picture.original, picture.file, picture.taken, now, by, reason)
        )
        book.add_photograph(row, picture.data)


@dataclass(frozen=True)
class ListedPicture:
    """A picture in a folder."""

    path: Path
    taken: str
    """Its own date, ISO 8601; empty: it has none."""
    changed: datetime
    """When the file was written, by this computer's clock."""
    bytes: int

    @property
    def when(self) -> str:
        """Its own date to the minute; without one that of the file, said to be that."""
        return shown(self.taken) if self.taken else f"{self.changed:%Y-%m-%d %H:%M} (file)"


def _plain_file(entry: "os.DirEntry[str]") -> os.stat_result | None:
    """What the disk says of it; None for a folder, a link, and what is gone since the folder was listed."""
    try:
        return entry.stat(follow_symlinks=False) if entry.is_file(follow_symlinks=False) else None
    except FileNotFoundError:
        return None


def newest(folder: Path, most: int) -> tuple[list[ListedPicture], int]:
    """The newest pictures of a folder, the newest first, and how many pictures are in it; what it holds below isn't opened.

    Links are passed over. Raises InputError where there is no such folder, OutsideError where it can't be read.
    """
    try:
        with os.scandir(folder) as entries:
            listed = [
                (at, entry.path)
                for entry in entries
                if entry.name.lower().endswith(ENDINGS) and (at := _plain_file(entry)) is not None
            ]
    except (FileNotFoundError, NotADirectoryError) as error:
        raise InputError(
            "there is no such folder", str(folder), "Is the stick plugged in?", Remedy.OTHER_FOLDER
        ) from error
    except OSError as error:
        raise OutsideError(
            f"the folder can't be read ({error.strerror})", str(folder), remedy=Remedy.OTHER_FOLDER
        ) from error
    chosen = heapq.nlargest(most, listed, key=lambda one: (one[0].st_mtime, one[1]))
    found = [
        ListedPicture(
            Path(path),
            taken_on(Path(path)),
            datetime.fromtimestamp(at.st_mtime).astimezone(),
            at.st_size,
        )
        for at, path in chosen
    ]
    return found, len(listed)


def name_of(sheet: str, position: int, photograph: Photograph) -> str:
    """Name of its file in an export."""
    return f"{file_name(sheet)}-throw{position}-{photograph.pin}-{photograph.id[:8]}.jpg"
