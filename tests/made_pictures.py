"""Photographs of our own making: a plate with a hole and a pin in it, with the notes that a camera writes."""

from datetime import datetime
from io import BytesIO
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw

PLACE = {1: "N", 2: (47.0, 22.0, 12.0), 3: "E", 4: (8.0, 32.0, 24.0)}
"""Exif 2.32, 4.6.6: latitude and longitude. A place of no meaning."""


def drawn(width=400, height=300, pin=True):
    """A corner in red tells which way up it is."""
    image = Image.new("RGB", (width, height), "#9a9a90")
    draw = ImageDraw.Draw(image)
    draw.rectangle((0, 0, width // 4, height // 4), fill="#d02020")
    middle = (width // 2, height // 2, width // 2 + height // 4, height // 2 + height // 4)
    draw.ellipse(middle, fill="#303030" if not pin else "#c8c8c0")
    return image


def photo(
    path: Path,
    taken: datetime | None = None,
    turned: int | None = None,
    place: bool = False,
    size=(400, 300),
    image=None,
    offset: str = "",
    **more,
) -> Path:
    """A file as a camera leaves it."""
    image = image or drawn(*size)
    exif = Image.Exif()
    if turned:
        exif[0x0112] = turned
    part = {}
    if taken:
        part[0x9003] = f"{taken:%Y:%m:%d %H:%M:%S}"
    if offset:
        part[0x9011] = offset
    if part:
        exif.get_ifd(0x8769).update(part)
    if place:
        exif.get_ifd(0x8825).update(PLACE)
    image.save(path, exif=exif.tobytes(), **more)
    return path


def noise(width: int, height: int, seed: int = 1) -> Image.Image:
    """The worst that can be packed."""
    values = np.random.default_rng(seed).integers(0, 256, (height, width, 3), dtype=np.uint8)
    return Image.fromarray(values)


def as_bytes(image: Image.Image, kind: str = "JPEG", **more) -> bytes:
    file = BytesIO()
    image.save(file, kind, **more)
    return file.getvalue()
