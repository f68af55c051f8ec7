"""The journal of a running trial: appended and synced while it runs, readable after a crash.

A journal is a file of records, each a head and its payload:

    kind        1 byte   H header, R bytes from the board, E end
    length      4 bytes  of the payload, little endian
    monotonic   8 bytes  float, [s] by this computer's steady clock when the bytes came
    crc32       4 bytes  of everything else in the record
    payload

The first record is the header (JSON). A crash can only tear the last record; whatever follows the last good one is
left out and counted. While a recording is alive it holds a lock on its file, so nobody recovers from under it.
"""

import contextlib
import json
import os
import struct
import sys
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from throwbook.errors import InputError, OutsideError, Remedy

SUFFIX = ".journal"
FORMAT = "throwbook-journal-1"
UNREAD_SUFFIX = ".unread"
MOST_UNREAD_BYTES = 1024 * 1024
MOST_UNREAD_FILES = 5
HEADER, RECEIVED, END = b"H", b"R", b"E"
_HEAD = struct.Struct("<cIdI")
_CHECKED = struct.Struct("<cId")
_LONGEST_PAYLOAD = 64 * 1024 * 1024
_LONGEST_HEAD = 64 * 1024


@dataclass(frozen=True)
class JournalText:
    """What a journal holds."""

    path: Path
    header: Mapping[str, Any]
    begun_s: float
    """Steady clock when it was begun [s]."""
    chunks: tuple[tuple[float, bytes], ...]
    """What the board sent, in order, each piece with the steady clock [s] when it came."""
    end: str | None
    """Why the recording ended; None: it didn't end, it broke off."""
    torn_bytes: int
    """Bytes after the last good record."""

    @property
    def received(self) -> bytes:
        """Everything the board sent, in one piece."""
        return b"".join(data for _, data in self.chunks)


class Journal:
    """One journal being written."""

    def __init__(self, path: Path, header: Mapping[str, Any], monotonic_s: float) -> None:
        """Create it, lock it and put the header on disk. Raises OutsideError."""
        self.path = path
        self.bytes = 0
        try:
            path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
            self._file = os.open(path, os.O_CREAT | os.O_EXCL | os.O_RDWR | getattr(os, "O_BINARY", 0), 0o600)
        except OSError as error:
            raise _disk_trouble(path, error) from error
        _lock(self._file, wait=True)
        self._append(HEADER, json.dumps({"format": FORMAT, **header}).encode(), monotonic_s)
        self.sync()
        _sync_folder(path.parent)

    def append(self, data: bytes, monotonic_s: float) -> None:
        """Write bytes from the board, which came at ``monotonic_s``. Raises OutsideError (full disk)."""
        self._append(RECEIVED, data, monotonic_s)

    def sync(self) -> None:
        """Wait until everything written is on the disk. Raises OutsideError."""
        try:
            (getattr(os, "fdatasync", None) or os.fsync)(self._file)
        except OSError as error:
            raise _disk_trouble(self.path, error) from error

    def end(self, why: str, monotonic_s: float, *, hold: bool = False) -> None:
        """Note why the recording ended and close; a full disk leaves the journal without its end.

        ``hold``: stay locked until ``close`` or ``remove``, so that nobody recovers what is just being kept.
        """
        with contextlib.suppress(OutsideError):
            self._append(END, why.encode(), monotonic_s)
            self.sync()
        if not hold:
            self.close()

    def close(self) -> None:
        """Close and unlock; once is enough, twice does no harm."""
        if self._file >= 0:
            os.close(self._file)
            self._file = -1

    def remove(self) -> None:
        """Its trial is stored elsewhere: delete it."""
        self.close()
        self.path.unlink(missing_ok=True)

    def _append(self, kind: bytes, payload: bytes, monotonic_s: float) -> None:
        checked = _CHECKED.pack(kind, len(payload), monotonic_s)
        record = checked + struct.pack("<I", zlib.crc32(payload, zlib.crc32(checked))) + payload
        view = memoryview(record)
        try:
            while view:
                view = view[os.write(self._file, view) :]
        except OSError as error:
            # A half record would hide what is appended after it.
            with contextlib.suppress(OSError):
                os.ftruncate(self._file, self.bytes)
                os.lseek(self._file, self.bytes, os.SEEK_SET)
            raise _disk_trouble(self.path, error) from error
        self.bytes += len(record)


def read_journal(path: Path) -> JournalText:
    """Everything up to the last good record. Raises InputError when it isn't a journal, OutsideError."""
    try:
        content = path.read_bytes()
    except FileNotFoundError as error:
        raise InputError("there is no such journal", str(path), "Check the name") from error
    except OSError as error:
        raise OutsideError(f"reading failed ({error.strerror})", str(path), "Check the disk") from error
    header: Mapping[str, Any] | None = None
    chunks: list[tuple[float, bytes]] = []
    begun_s, end, at = 0.0, None, 0
    while (found := _record(content, at)) is not None:
        kind, monotonic_s, payload = found
        at += _HEAD.size + len(payload)
        if header is None:
            header, begun_s = _header(kind, payload), monotonic_s
            if header is None:
                break
        elif kind == RECEIVED:
            chunks.append((monotonic_s, payload))
        elif kind == END:
            end = payload.decode("utf-8", "replace")
    if header is None:
        raise InputError("this is no journal of a recording", str(path), "Check which file it is")
    return JournalText(path, header, begun_s, tuple(chunks), end, len(content) - at)


def write_unread(path: Path, received: bytes) -> Path | None:
    """Keep what a board sent, as it came, in a file beside its journal ``path``; None: nothing came.

    The first mebibyte of it, and the newest five such files. Raises OutsideError.
    """
    from throwbook.files.tables import whole_file

    if not received:
        return None
    unread = path.with_suffix(UNREAD_SUFFIX)
    with whole_file(unread, "Check the disk and its free space") as part:
        part.write_bytes(received[:MOST_UNREAD_BYTES])
    with contextlib.suppress(OSError):
        for old in sorted(path.parent.glob(f"*{UNREAD_SUFFIX}"))[:-MOST_UNREAD_FILES]:
            old.unlink()
    return unread


@dataclass(frozen=True)
class JournalHead:
    """What the first record of a journal says, without reading on."""

    header: Mapping[str, Any]
    bytes: int
    """Of the whole file."""


def read_head(path: Path) -> JournalHead | None:
    """The header alone; None when the file is gone, can't be read or begins with something else."""
    try:
        with path.open("rb") as file:
            found = _record(file.read(_LONGEST_HEAD), 0)
            size = os.fstat(file.fileno()).st_size
    except OSError:
        return None
    header = None if found is None else _header(found[0], found[2])
    return None if header is None else JournalHead(header, size)


class Claim:
    """The lock of a journal that is being judged, so that nobody else takes it up meanwhile."""

    def __init__(self, path: Path) -> None:
        """Raises OutsideError when a recording, or another program that judges it, has it."""
        try:
            self._file = os.open(path, os.O_RDWR | getattr(os, "O_BINARY", 0))
        except OSError:
            self._file = -1  # it may only be read, or is gone: whoever reads it says so
            return
        try:
            _lock(self._file)
        except OutsideError:
            self.close()
            raise

    def close(self) -> None:
        """Let go of it; once is enough, twice does no harm."""
        if self._file >= 0:
            os.close(self._file)
            self._file = -1


def unfinished(folder: Path) -> list[Path]:
    """Journals in ``folder`` that no living recording holds, oldest first."""
    if not folder.is_dir():
        return []
    return [path for path in sorted(folder.glob(f"*{SUFFIX}"), key=_written_at) if not is_alive(path)]


def _written_at(path: Path) -> float:
    try:
        return path.stat().st_mtime
    except OSError:  # it was kept, and let go of, just now
        return 0.0


def is_alive(path: Path) -> bool:
    """Whether a recording still writes this journal."""
    try:
        file = os.open(path, os.O_RDWR)
    except OSError:
        return False
    try:
        _lock(file)
    except OutsideError:
        return True
    finally:
        os.close(file)
    return False


def _record(content: bytes, at: int) -> tuple[bytes, float, bytes] | None:
    if len(content) - at < _HEAD.size:
        return None
    kind, length, monotonic_s, check = _HEAD.unpack_from(content, at)
    payload = content[at + _HEAD.size : at + _HEAD.size + length]
    if length > _LONGEST_PAYLOAD or len(payload) < length:
        return None
    checked = content[at : at + _CHECKED.size]
    return (kind, monotonic_s, payload) if zlib.crc32(payload, zlib.crc32(checked)) == check else None


def _header(kind: bytes, payload: bytes) -> Mapping[str, Any] | None:
    if kind != HEADER:
        return None
    try:
        header = json.loads(payload)
    except ValueError:
        return None
    return header if isinstance(header, dict) and header.get("format") == FORMAT else None


def _lock(file: int, *, wait: bool = False) -> None:
    """Take the lock of an open journal; raises OutsideError when a living recording has it.

    ``wait``: somebody may just be looking whether it is alive.
    """
    try:
        if sys.platform == "win32":
            import msvcrt

            os.lseek(file, 1 << 30, os.SEEK_SET)  # a byte that is never written: readers stay free to read
            msvcrt.locking(file, msvcrt.LK_NBLCK, 1)
            os.lseek(file, 0, os.SEEK_SET)
        else:
            import fcntl

            fcntl.flock(file, fcntl.LOCK_EX | (0 if wait else fcntl.LOCK_NB))
    except OSError as error:
        raise OutsideError("a recording still runs", "journal", "Wait until it has ended") from error


def _sync_folder(folder: Path) -> None:
    """Put the new file's name on disk; systems that can't open a folder do it by themselves."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _disk_trouble(path: Path, error: OSError) -> OutsideError:
    import errno

    if error.errno == errno.ENOSPC:
        return OutsideError(
            "the disk is full",
            str(path),
            "What was recorded so far is kept. Make room.",
            Remedy.JUDGE_FIRST,
        )
    return OutsideError(f"the disk refuses ({error.strerror})", str(path), "Check the disk and the folder")
