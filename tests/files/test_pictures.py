"""A photograph comes in small, upright and without its place; whatever else a file may be, it is one line."""

import contextlib
import hashlib
import os
import struct
import zlib
from datetime import datetime
from io import BytesIO

import pytest
from PIL import Image

from tests.made_pictures import as_bytes, drawn, noise, photo
from throwbook.errors import InputError, ThrowbookError
from throwbook.files import pictures
from throwbook.files.pictures import LARGEST_BYTES, LONGEST_SIDE, for_print, read_picture, taken_on

TAKEN = datetime(2026, 3, 14, 9, 20, 31)  # noqa: DTZ001 (a camera writes no offset)


def opened(data):
    return Image.open(BytesIO(data))


@pytest.mark.parametrize("turned", range(1, 9))
def test_every_way_that_a_camera_may_be_held_comes_in_upright(turned, tmp_path):
    """Exif 2.32, 4.6.4 A, Orientation: where the first row and the first column of the stored points belong."""
    upright = drawn(400, 300)
    stored_as = {
        1: lambda image: image,
        2: lambda image: image.transpose(Image.Transpose.FLIP_LEFT_RIGHT),
        3: lambda image: image.rotate(180),
        4: lambda image: image.transpose(Image.Transpose.FLIP_TOP_BOTTOM),
        5: lambda image: image.transpose(Image.Transpose.TRANSPOSE),
        6: lambda image: image.rotate(90, expand=True),
        7: lambda image: image.transpose(Image.Transpose.TRANSVERSE),
        8: lambda image: image.rotate(-90, expand=True),
    }
    path = photo(tmp_path / "a.jpg", turned=turned, image=stored_as[turned](upright))
    kept = opened(read_picture(path).data)
    assert kept.size == (400, 300)
    red, _, blue = kept.getpixel((20, 20))
    assert red > 180 > 60 > blue
    assert not kept.getexif()


@pytest.mark.parametrize(
    ("name", "size"), [("a.jpg", (5000, 3000)), ("a.png", (1700, 900)), ("b.JPG", (90, 60))]
)
def test_the_copy_is_small_and_the_digests_are_of_the_file_and_of_the_copy(name, size, tmp_path):
    path = photo(tmp_path / name, size=size)
    found = read_picture(path)
    assert max(opened(found.data).size) == min(max(size), LONGEST_SIDE)
    assert found.original == hashlib.sha256(path.read_bytes()).hexdigest()
    assert found.digest == hashlib.sha256(found.data).hexdigest()
    assert found.file == name


def test_its_own_date_is_kept_and_its_place_is_not(tmp_path):
    found = read_picture(photo(tmp_path / "a.jpg", TAKEN, place=True))
    assert (found.taken, found.had_place) == ("2026-03-14T09:20:31", True)
    assert b"Exif" not in found.data
    kept = opened(found.data)
    assert not kept.getexif()
    assert not set(kept.info) & {"exif", "icc_profile", "xmp", "comment"}
    assert taken_on(tmp_path / "a.jpg") == found.taken


def test_an_offset_from_utc_is_kept_where_the_camera_wrote_one(tmp_path):
    found = read_picture(photo(tmp_path / "a.png", TAKEN, offset="+01:00"))
    assert (found.taken, found.had_place) == ("2026-03-14T09:20:31+01:00", False)


@pytest.mark.parametrize("kind", ["1", "L", "LA", "P", "RGBA", "CMYK"])
def test_every_usual_kind_of_points_is_read(kind, tmp_path):
    ending = "jpg" if kind == "CMYK" else "png"
    path = tmp_path / f"a.{ending}"
    drawn().convert(kind).save(path)
    assert opened(read_picture(path).data).mode == "RGB"


def test_what_shines_through_comes_in_on_white(tmp_path):
    Image.new("RGBA", (60, 60), (0, 0, 0, 0)).save(tmp_path / "a.png")
    assert min(opened(read_picture(tmp_path / "a.png").data).getpixel((30, 30))) > 250


def _png(chunks):
    said = b"\x89PNG\r\n\x1a\n"
    for name, data in chunks:
        said += struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))
    return said


def _bomb(side):
    """A PNG of a few kilobytes that asks for side x side points."""
    head = struct.pack(">IIBBBBB", side, side, 8, 2, 0, 0, 0)
    return _png([(b"IHDR", head), (b"IDAT", zlib.compress(bytes(100_000))), (b"IEND", b"")])


def _dated_behind_its_pixels():
    """The chunk ``eXIf`` may come after the points (PNG, third edition, 5.6; from memory)."""
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0x9003] = f"{TAKEN:%Y:%m:%d %H:%M:%S}"
    data = as_bytes(drawn(), "PNG")
    notes = _png([(b"eXIf", exif.tobytes().removeprefix(b"Exif\0\0"))])[8:]
    return data[:-12] + notes + data[-12:]


def test_a_list_unpacks_no_points_of_a_png_for_its_date(tmp_path):
    path = tmp_path / "a.png"
    path.write_bytes(_dated_behind_its_pixels())
    assert read_picture(path).taken == TAKEN.isoformat()
    assert taken_on(path) == ""
    assert taken_on(photo(tmp_path / "b.png", TAKEN)) == TAKEN.isoformat()


def _wide_jpeg(side):
    """A JPEG whose frame says side x side points (ITU-T T.81, B.2.2)."""
    data = bytearray(as_bytes(drawn()))
    at = data.index(b"\xff\xc0")
    data[at + 5 : at + 9] = struct.pack(">HH", side, side)
    return bytes(data)


def _many_scans(scans):
    """A JPEG in layers whose last layer comes again and again."""
    data = as_bytes(drawn(), progressive=True)
    last = data.rindex(b"\xff\xda")
    return data[:-2] + data[last:-2] * scans + data[-2:]


WHOLE = as_bytes(drawn())
HOSTILE = {
    "empty.jpg": (b"", "empty"),
    "text.jpg": (b"Greased the left pin.\n" * 20, "neither JPEG nor PNG"),
    "gif.jpg": (as_bytes(drawn(), "GIF"), "neither JPEG nor PNG"),
    "tiff.png": (as_bytes(drawn(), "TIFF"), "neither JPEG nor PNG"),
    "phone.heic": (b"\0\0\0\x24ftypheic\0\0\0\0mif1heic" + bytes(200), "Export it as JPEG"),
    "phone.jpg": (b"\0\0\0\x24ftypmif1\0\0\0\0mif1heic" + bytes(200), "Export it as JPEG"),
    "cut.jpg": (WHOLE[: len(WHOLE) // 2], "damaged or cut off"),
    "head.jpg": (WHOLE[:20], "damaged or cut off"),
    "cut.png": (as_bytes(drawn(), "PNG")[:-300], "damaged or cut off"),
    "bomb.png": (_bomb(30_000), "million points"),
    "bomb2.png": (_bomb(10_000), "million points"),
    "bomb3.png": (_bomb(5_001), "more than 25 million points"),
    "bomb.jpg": (_wide_jpeg(65_000), "million points"),
    "layers.jpg": (_many_scans(5000), "too many layers"),
    "text-bomb.png": (
        _png(
            [
                (b"IHDR", struct.pack(">IIBBBBB", 4, 4, 8, 2, 0, 0, 0)),
                (b"zTXt", b"a\0\0" + zlib.compress(bytes(50_000_000))),
                (b"IDAT", zlib.compress(bytes(52))),
                (b"IEND", b""),
            ]
        ),
        "damaged",
    ),
}


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_file_is_one_line(name, tmp_path):
    content, said = HOSTILE[name]
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(InputError) as told:
        read_picture(path)
    assert said in str(told.value)
    assert str(path) in str(told.value)
    assert "\n" not in str(told.value)
    assert taken_on(path) == ""


def test_a_file_of_a_gigabyte_is_not_read_to_its_end(tmp_path):
    path = tmp_path / "a.jpg"
    with path.open("wb") as file:
        file.write(WHOLE)
        file.truncate(1 << 30)
    with pytest.raises(InputError, match="larger than 25 MB"):
        read_picture(path)
    assert LARGEST_BYTES == 25_000_000


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no FIFO here")
def test_a_pipe_a_device_a_folder_and_a_link_are_refused_at_once(tmp_path):
    os.mkfifo(tmp_path / "pipe.jpg")
    (tmp_path / "folder.jpg").mkdir()
    photo(tmp_path / "real.jpg")
    (tmp_path / "link.jpg").symlink_to(tmp_path / "real.jpg")
    (tmp_path / "nowhere.jpg").symlink_to(tmp_path / "gone.jpg")
    (tmp_path / "endless.jpg").symlink_to("/dev/zero")
    for name, said in {
        "pipe.jpg": "not an ordinary file",
        "folder.jpg": "not an ordinary file",
        "link.jpg": "a link",
        "nowhere.jpg": "a link",
        "endless.jpg": "a link",
        "gone.jpg": "no such file",
    }.items():
        with pytest.raises(InputError, match=said):
            read_picture(tmp_path / name)


def test_a_picture_with_something_behind_its_end_is_read(tmp_path):
    """Some phones put a film behind the picture: what is in it is no layer of the picture."""
    path = tmp_path / "a.jpg"
    path.write_bytes(WHOLE + b"\xff\xda" * 5000)
    assert read_picture(path).data


def test_damaged_notes_cost_only_the_notes(tmp_path):
    path = photo(tmp_path / "a.jpg", TAKEN)
    content = bytearray(path.read_bytes())
    at = content.index(b"Exif\0\0") + 6
    content[at : at + 8] = b"II*\0\xff\xff\xff\x7f"
    path.write_bytes(content)
    assert read_picture(path).taken == ""


@pytest.mark.parametrize("flip", range(40))
def test_a_flipped_byte_anywhere_gives_a_picture_or_one_line(flip, tmp_path):
    for name, content in (
        ("a.jpg", bytearray(photo(tmp_path / "w.jpg", TAKEN, 6, True).read_bytes())),
        ("a.png", bytearray(as_bytes(drawn(), "PNG"))),
    ):
        content[(flip * 7919 + 3) % len(content)] ^= 1 << flip % 8
        (tmp_path / name).write_bytes(content)
        with contextlib.suppress(ThrowbookError):  # one line that says so
            assert opened(read_picture(tmp_path / name).data).mode == "RGB"


@pytest.mark.parametrize("most", [150_000, 40_000])
def test_a_printed_copy_keeps_to_its_room_even_of_noise(most, tmp_path):
    path = photo(tmp_path / "a.jpg", image=noise(1700, 1300), quality=90)
    made, *size = for_print(read_picture(path).data, most)
    assert opened(made).size == tuple(size)
    assert len(made) <= most
    assert min(opened(made).size) >= 200


def test_reading_a_picture_says_nothing_on_the_screen(tmp_path, capfd):
    for name, (content, _) in HOSTILE.items():
        (tmp_path / name).write_bytes(content)
        with pytest.raises(InputError):
            pictures.read_picture(tmp_path / name)
    assert capfd.readouterr() == ("", "")
