"""Photographs: a JPEG or PNG file into a small upright copy without place data, and what the file says of itself.

A file may come from anywhere: it is read once, never past ``LARGEST_BYTES``, and its head is looked at before a pixel is
unpacked. Whatever is wrong with it is one InputError.
"""

import hashlib
import os
import re
import stat
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any

from throwbook.core.quantities.text import storable
from throwbook.errors import InputError, OutsideError

if TYPE_CHECKING:
    from PIL import Image

LARGEST_BYTES = 25_000_000
HEAD_BYTES = 1 << 18
"""Where a JPEG says when it was taken."""
LARGEST_PIXELS = 70_000_000
"""More than the cameras of phones give as a rule; unpacked it fits the memory of a small computer."""
LARGEST_PNG_PIXELS = 25_000_000
"""A PNG can't be unpacked smaller, as a JPEG can, and packs empty points into next to nothing."""
MOST_SCANS = 100
"""Of a JPEG that is sent in layers: each takes a pass over all its pixels, and a camera writes about ten."""
LONGEST_SIDE = 1600
"""Of the stored copy [points]."""
QUALITY = 85
PLAIN_MODES = ("1", "L", "LA", "P", "PA", "RGB", "RGBA", "CMYK", "YCbCr")
JPEG, PNG = b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n"
HEIC_BRANDS = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1", b"avif", b"avis")
"""Of the box ``ftyp`` (ISO/IEC 23008-12, Annex B; AV1 Image File Format)."""
SMALLER = "Export the photograph smaller."
AS_JPEG = "Export it as JPEG in the phone's picture program, or set its camera to save JPEG."
ENDINGS = (".jpg", ".jpeg", ".png")
# Exif 2.32, 4.6.5 and 4.6.8: directories and tags
EXIF_PART, GPS_PART = 0x8769, 0x8825
TAKEN, TAKEN_OFFSET, DIGITIZED, CHANGED = 0x9003, 0x9011, 0x9004, 0x0132
MARKER = re.compile(rb"\xff[^\x00\xff\xd0-\xd7]")
"""In the pixels of a JPEG: what ends them (ITU-T T.81, B.1.1.2 and F.1.2.3)."""
START_OF_SCAN, END_OF_IMAGE = 0xDA, 0xD9
PRINTED = ((1000, 80), (800, 70), (640, 60), (480, 50), (320, 40))
"""Longest side [points] and quality of a printed copy, the largest first."""


@dataclass(frozen=True)
class PhotographFile:
    """A photograph, ready to be stored."""

    file: str
    """Name of the file."""
    original: str
    """SHA-256 of the file as it was."""
    taken: str
    """Its own date, ISO 8601, without an offset where the camera wrote none; empty: it has none."""
    data: bytes
    """The copy: JPEG, upright, at most ``LONGEST_SIDE`` points a side, nothing in it but the picture."""
    had_place: bool
    """Place data stood in the file."""

    @property
    def digest(self) -> str:
        """SHA-256 of the copy."""
        return hashlib.sha256(self.data).hexdigest()


def read_picture(path: Path) -> PhotographFile:
    """The photograph in a file. Raises InputError for what isn't a whole JPEG or PNG, OutsideError where the disk fails."""
    content = _content(path, LARGEST_BYTES + 1)
    if len(content) > LARGEST_BYTES:
        most = f"this file is larger than {LARGEST_BYTES // 1_000_000} MB"
        raise InputError(most, str(path), SMALLER)
    _refuse_kind(content, path)
    with _plain_faults(path):
        image = _opened(content, path)
        taken, had_place, turned = _said_by(image)
        image.draft("RGB", (LONGEST_SIDE, LONGEST_SIDE))
        if image.mode not in PLAIN_MODES:
            raise InputError(f"pictures of this kind ({image.mode}) can't be read", str(path), AS_JPEG)
        return PhotographFile(
            storable(path.name), hashlib.sha256(content).hexdigest(), taken, _copy(image, turned), had_place
        )


def taken_on(path: Path) -> str:
    """Its own date alone, from the head of the file; empty: it has none, or isn't a picture."""
    try:
        content = _content(path, HEAD_BYTES)
        _refuse_kind(content, path)
        with _plain_faults(path):
            image = _opened(content, path)
            # Of a PNG without notes in its head the reader would unpack every point to look behind them.
            return _said_by(image)[0] if content.startswith(JPEG) or "exif" in image.info else ""
    except (InputError, OutsideError):
        return ""


def for_print(data: bytes, most_bytes: int) -> tuple[bytes, int, int] | None:
    """A smaller JPEG of a stored copy, of ``most_bytes`` where that can be done, with its width and height.

    None for what is no such copy: a logbook that was taken in may hold anything under its digest.
    """
    where = Path("a stored photograph")
    try:
        with _plain_faults(where):
            image = _opened(data, where)
            if image.format != "JPEG" or max(image.size) > LONGEST_SIDE:
                return None
            image = image.convert("RGB")
            for side, quality in PRINTED:
                image.thumbnail((side, side))
                made = _jpeg(image, quality)
                if len(made) <= most_bytes:
                    break
            return made, *image.size
    except InputError:
        return None


def _content(path: Path, most: int) -> bytes:
    """The first ``most`` bytes of a plain file; a link isn't followed, and nothing that may never end is opened."""
    try:
        _refuse_mode(os.lstat(path).st_mode, path)
        flags = os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0)
        handle = os.open(path, flags | getattr(os, "O_BINARY", 0))
        with open(handle, "rb") as file:
            _refuse_mode(os.fstat(handle).st_mode, path)
            return file.read(most)
    except FileNotFoundError as error:
        raise InputError("there is no such file", str(path), "Give the file of the photograph.") from error
    except OSError as error:
        raise OutsideError(
            f"reading failed ({error.strerror})", str(path), "Copy it to this computer, and try that copy."
        ) from error


def _refuse_mode(mode: int, path: Path) -> None:
    if stat.S_ISLNK(mode):
        raise InputError("this is a link, not a file", str(path), "Give the photograph itself.")
    if not stat.S_ISREG(mode):
        raise InputError("this is not an ordinary file", str(path), "Give the file of the photograph.")


def _refuse_kind(content: bytes, path: Path) -> None:
    """By its first bytes, whatever its name says."""
    if content.startswith((JPEG, PNG)):
        return
    if content[4:8] == b"ftyp" and content[8:12] in HEIC_BRANDS:
        raise InputError("HEIC pictures can't be read", str(path), AS_JPEG)
    what = "this is neither JPEG nor PNG" if content else "this file is empty"
    raise InputError(what, str(path), AS_JPEG)


@contextmanager
def _plain_faults(path: Path) -> Iterator[None]:
    """Whatever a damaged or a made-up picture does to its reader is one line."""
    try:
        yield
    except InputError:
        raise
    except Exception as error:
        raise InputError(
            "the picture is damaged or cut off", str(path), "Copy it again, or take another."
        ) from error


def _opened(content: bytes, path: Path) -> "Image.Image":
    """The picture with its head read and no pixel unpacked; one of too many pixels, or in too many layers, is refused."""
    from PIL import Image

    most = LARGEST_PNG_PIXELS if content.startswith(PNG) else LARGEST_PIXELS
    Image.MAX_IMAGE_PIXELS = most
    # A reader's remarks on a file would get onto the screen; too many pixels are no remark.
    warnings.filterwarnings("ignore", category=UserWarning, module=r"PIL\.")
    warnings.filterwarnings("error", category=Image.DecompressionBombWarning)
    try:
        image = Image.open(BytesIO(content), formats=("JPEG", "PNG"))
    except (Image.DecompressionBombWarning, Image.DecompressionBombError) as error:
        what = f"it has more than {most // 1_000_000} million points"
        raise InputError(what, str(path), SMALLER) from error
    if content.startswith(JPEG) and _scans(content) > MOST_SCANS:
        raise InputError("it is sent in too many layers", str(path), AS_JPEG)
    return image


def _scans(content: bytes) -> int:
    """How many passes over the pixels a JPEG asks for, up to its end or one more than ``MOST_SCANS``."""
    scans, at = 0, 2
    while scans <= MOST_SCANS and (found := MARKER.search(content, at)):
        marker = content[found.start() + 1]
        if marker == END_OF_IMAGE:
            break
        scans += marker == START_OF_SCAN
        at = found.end() + int.from_bytes(content[found.end() : found.end() + 2], "big")
    return scans


def _said_by(image: "Image.Image") -> tuple[str, bool, int]:
    """Its own date, whether it has place data, how it is turned (Exif 2.32, 4.6.4: 1 to 8). Damaged, it says nothing."""
    try:
        exif = image.getexif()
        part = exif.get_ifd(EXIF_PART)
        taken = next(
            (day for tag in (TAKEN, DIGITIZED) if (day := _date(part.get(tag), part.get(TAKEN_OFFSET)))), ""
        )
        turned = exif.get(0x0112, 1)
        return taken or _date(exif.get(CHANGED), None), bool(exif.get_ifd(GPS_PART)), turned
    except Exception:
        return "", False, 1


def _date(text: Any, offset: Any) -> str:
    """``2026:03:14 09:20:00`` as ISO 8601; empty for what is no date."""
    try:
        day = datetime.strptime(str(text).strip("\0 "), "%Y:%m:%d %H:%M:%S").isoformat()  # noqa: DTZ007
    except ValueError:
        return ""
    try:
        return datetime.fromisoformat(f"{day}{str(offset or '').strip(chr(0) + ' ')}").isoformat()
    except ValueError:
        return day


def _copy(image: "Image.Image", turned: Any) -> bytes:
    """Turned upright, made small, on white, with nothing of the file's own notes."""
    from PIL import Image

    seen_through = image.mode in ("LA", "PA", "RGBA") or "transparency" in image.info
    if image.mode in ("1", "P", "PA"):  # of these no point between two can be made
        image = image.convert("RGBA" if seen_through else "RGB")
    image.thumbnail((LONGEST_SIDE, LONGEST_SIDE), reducing_gap=3.0)
    if seen_through:
        image = Image.alpha_composite(Image.new("RGBA", image.size, "white"), image.convert("RGBA"))
    upright = TURNS.get(turned)
    if upright is not None:
        image = image.transpose(Image.Transpose[upright])
    return _jpeg(image.convert("RGB"), QUALITY)


TURNS = {
    2: "FLIP_LEFT_RIGHT",
    3: "ROTATE_180",
    4: "FLIP_TOP_BOTTOM",
    5: "TRANSPOSE",
    6: "ROTATE_270",
    7: "TRANSVERSE",
    8: "ROTATE_90",
}
"""Orientation of Exif: what puts it upright."""


def _jpeg(image: "Image.Image", quality: int) -> bytes:
    file = BytesIO()
    image.save(file, "JPEG", quality=quality, optimize=True, exif=b"", icc_profile=None)
    return file.getvalue()
