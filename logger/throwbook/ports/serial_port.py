"""Serial ports: which there are, bytes in and out of one, and what stands in for one when a board is simulated.

A port is a device (``/dev/ttyUSB0``, ``COM3``) or a URL that pyserial knows (``socket://host:port``,
``rfc2217://host:port``). Whatever goes wrong becomes one OutsideError that says what to do.
"""

import contextlib
import errno
import os
import re
import select
import socket
import sys
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from throwbook.errors import OutsideError, Remedy
from throwbook.protocol.simulated_board import SimulatedBoard

if TYPE_CHECKING:
    from serial import Serial


_STEP_S = 0.005
_READ_BYTES = 4096
MOST_STEP_S = 0.5
"""Longest stretch of board time that is made at once."""


def _both_ends() -> tuple[int, int, str]:
    """Far end, near end and the near end's name."""
    if sys.platform == "win32":
        raise OutsideError("this system has no pseudo-terminals", "simulated board", "Give it no second name")
    else:  # noqa: RET506 - so that the type checker leaves it out on Windows
        import tty

        far, near = os.openpty()
        tty.setraw(near)
        os.set_blocking(far, False)
        return far, near, os.ttyname(near)


class PseudoPort:
    """The far end of a pseudo-terminal; ``name`` is the near end, which anybody opens like a serial port."""

    def __init__(self, link: Path | None = None) -> None:
        """Open it, with ``link`` as a second name; raises OutsideError where there are no pseudo-terminals."""
        self._far, self._near, self.name = _both_ends()
        self._link = link
        if link is not None:
            with contextlib.suppress(FileNotFoundError):
                link.unlink()
            link.symlink_to(self.name)

    def read(self, wait_s: float) -> bytes:
        """What the near end wrote; waits at most ``wait_s``."""
        ready, _, _ = select.select([self._far], [], [], wait_s)
        return os.read(self._far, _READ_BYTES) if ready else b""

    def write(self, data: bytes, wait_s: float = 0.2) -> None:
        """Send ``data``; what nobody takes within ``wait_s`` is thrown away, as a real line would."""
        view = memoryview(data)
        while view:
            try:
                view = view[os.write(self._far, view) :]
            except BlockingIOError:
                if not select.select([], [self._far], [], wait_s)[1]:
                    return

    def close(self) -> None:
        """Pull the cable: the near end sees its port vanish."""
        for end in (self._far, self._near):
            with contextlib.suppress(OSError):
                os.close(end)
        if self._link is not None:
            with contextlib.suppress(OSError):
                self._link.unlink()


class LoopbackPort:
    """A port of this computer's own network, which one program at a time opens by ``name``; every system has it."""

    def __init__(self, number: int = 0) -> None:
        """Listen on port ``number``, 0 for any free one; raises OutsideError where another program has it."""
        self._client: socket.socket | None = None
        self._listener = socket.socket()
        try:
            self._listener.bind(("127.0.0.1", number))
            self._listener.listen()
        except (OSError, OverflowError) as error:
            self._listener.close()
            raise OutsideError(
                f"port {number} cannot be opened: {error}",
                "simulated board",
                "Give another number, or 0 for any",
            ) from error
        self.name = f"socket://127.0.0.1:{self._listener.getsockname()[1]}"

    def read(self, wait_s: float) -> bytes:
        """What the other end wrote; waits at most ``wait_s``."""
        client = self._client
        ready, _, _ = select.select([self._listener, *filter(None, [client])], [], [], wait_s)
        if self._listener in ready:
            self._take_caller()
            return self.read(wait_s)
        if client is None or client not in ready:
            return b""
        with contextlib.suppress(OSError):
            if heard := client.recv(_READ_BYTES):
                return heard
        self._hang_up()
        return b""

    def write(self, data: bytes, wait_s: float = 0.2) -> None:
        """Send ``data``; what nobody takes within ``wait_s`` is thrown away, as a real line would."""
        if self._client is None and select.select([self._listener], [], [], 0.0)[0]:
            self._take_caller()
        if self._client is None:
            return
        view = memoryview(data)
        try:
            while view and select.select([], [self._client], [], wait_s)[1]:
                view = view[self._client.send(view) :]
        except OSError:
            self._hang_up()

    def close(self) -> None:
        """Pull the cable: the other end sees its port vanish."""
        self._hang_up()
        self._listener.close()

    def _take_caller(self) -> None:
        """The first to call has the port, as with a serial one; the next is turned away."""
        caller, _ = self._listener.accept()
        if self._client is not None:
            caller.close()
            return
        caller.setblocking(False)
        caller.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._client = caller

    def _hang_up(self) -> None:
        if self._client is not None:
            self._client.close()
            self._client = None


def open_far_end(link: Path | None = None, number: int | None = None) -> PseudoPort | LoopbackPort:
    """The end at which a simulated board sits: a pseudo-terminal, or where there is none, or with ``number``, the network's.

    ``link`` is a second name for a pseudo-terminal. Raises OutsideError.
    """
    if number is None and (link is not None or sys.platform != "win32"):
        return PseudoPort(link)
    return LoopbackPort(number or 0)


def serve(
    board: SimulatedBoard,
    port: PseudoPort | LoopbackPort,
    stop: threading.Event,
    *,
    speed: float = 1.0,
    clock: Callable[[], float] = time.monotonic,
) -> None:
    """Be the board until ``stop`` is set, its time going ``speed`` times as fast as ``clock``."""
    port.write(board.power_up())
    begun_s = clock()
    board_s = 0.0
    while not stop.is_set():
        heard = port.read(_STEP_S)
        # After a pause of this computer the board makes up for it in steps that the line can hold.
        board_s = min((clock() - begun_s) * speed, board_s + MOST_STEP_S)
        sending = board.receive(heard, board_s) if heard else b""
        port.write(sending + board.advance(board_s))


NAP_S = 0.02
"""Longest wait of one read."""
_WRITE_LIMIT_S = 2.0
_AT_ONCE_BYTES = 65_536


_TAKEN = ("another program has this port", "Close that program, then try again")
# what the system answers: (what it means, what to do)
_TROUBLES: dict[int, tuple[Any, ...]] = {
    errno.ENOENT: ("there is no such port", "", Remedy.FIND_BOARD),
    errno.ENODEV: ("nothing is plugged in there", "", Remedy.FIND_BOARD),
    errno.ENXIO: ("nothing is plugged in there", "", Remedy.FIND_BOARD),
    errno.EACCES: (
        "you may not open this port",
        "On Linux join the group that owns it (often dialout), then log in again",
    ),
    errno.EPERM: ("you may not open this port", "Ask who looks after this computer"),
    errno.EBUSY: _TAKEN,
    errno.EAGAIN: _TAKEN,
    errno.ENOTTY: ("this is not a serial port", "", Remedy.FIND_BOARD),
    errno.EISDIR: ("this is not a serial port", "", Remedy.FIND_BOARD),
    errno.ECONNREFUSED: ("nothing answers at that address", "Check host, port number and the far end"),
    errno.EIO: ("the port is gone", "Plug the board in again"),
}
# The same by Windows' own numbers (its documentation: "System Error Codes"); an "Access is denied" is said of a taken port.
_WINDOWS_TROUBLES: dict[int, tuple[Any, ...]] = {
    2: _TROUBLES[errno.ENOENT],
    5: _TAKEN,
    6: _TROUBLES[errno.ENOTTY],
    31: (
        "its driver doesn't work",
        "Unplug the board, plug it in again; else install the driver of its USB chip",
    ),
    121: ("nothing answers at this port", "Is it a Bluetooth port? Choose the one of the USB cable"),
    10061: _TROUBLES[errno.ECONNREFUSED],
}


@dataclass(frozen=True)
class PortInfo:
    """What the system knows of a port without opening it; empty where it doesn't know."""

    device: str
    description: str
    maker: str
    serial_number: str
    usb_id: str
    """Vendor and product, for example ``1a86:7523``."""


def list_ports() -> list[PortInfo]:
    """Every serial port of this computer, in order of name."""
    from serial.tools.list_ports import comports

    found = []
    for port in sorted(comports()):
        usb_id = f"{port.vid:04x}:{port.pid:04x}" if port.vid is not None and port.pid is not None else ""
        description = "" if port.description in (None, "n/a") else str(port.description)
        found.append(
            PortInfo(port.device, description, port.manufacturer or "", port.serial_number or "", usb_id)
        )
    return found


class Port:
    """One open port. Reading and writing may be done from two threads."""

    def __init__(self, name: str, baud: int) -> None:
        """Open it; raises OutsideError."""
        import serial

        self.name = name
        self.baud = baud
        self.has_baud = not name.startswith("socket://")
        """False: a network stream, which has no rate of its own."""
        try:
            self._port: Serial = serial.serial_for_url(
                name, do_not_open=True, baudrate=baud, timeout=NAP_S, write_timeout=_WRITE_LIMIT_S
            )
            if "://" not in name:
                self._port.exclusive = True
            self._port.open()
        except (OSError, ValueError) as error:  # SerialException is an OSError
            raise trouble(name, error) from error

    def read(self) -> bytes:
        """What has come; waits at most ``NAP_S`` for the first byte. Raises OutsideError when the port is gone."""
        try:
            if not self.has_baud:  # here in_waiting only says whether there is anything
                return bytes(self._port.read(_AT_ONCE_BYTES))
            return bytes(self._port.read(self._port.in_waiting or 1))
        except (
            OSError,
            TypeError,
        ) as error:  # TypeError: another thread closed the port under pyserial's read
            if _windows_number(str(error)) == _NOTHING_CAME:
                return b""
            raise gone(self.name, error) from error

    def write(self, data: bytes) -> None:
        """Send all of ``data``. Raises OutsideError when the port is gone or takes nothing."""
        import serial

        if not data:
            return
        try:
            self._port.write(data)
        except serial.SerialTimeoutException as error:
            raise OutsideError(
                "the port accepts no data", self.name, "Unplug the board, plug it in again"
            ) from error
        except (OSError, TypeError) as error:
            raise gone(self.name, error) from error

    def close(self) -> None:
        """Close it; a port that is gone closes too."""
        stream = getattr(self._port, "_socket", None)  # pyserial leaves it open when the far end went first
        with contextlib.suppress(OSError):
            self._port.close()
        if stream is not None:
            stream.close()


_NOTHING_CAME = 1460
"""ERROR_TIMEOUT: not every driver ends a wait for bytes without an error."""


def _windows_number(text: str) -> int | None:
    """Windows' number of an error, as pyserial hands on what Windows said."""
    found = re.search(r"\[WinError (\d+)\]|, None, (\d+)\)", text)
    return int(found[1] or found[2]) if found else None


def gone(name: str, error: Exception) -> OutsideError:
    """The line for a port that stopped working in use."""
    del error
    return OutsideError(
        "the port is gone: cable out, or another program took it", name, "Plug the board in again, then go on"
    )


def trouble(name: str, error: Exception) -> OutsideError:
    """The line for a port that didn't open."""
    text = str(error)
    number = getattr(error, "errno", None)
    if number is None and "exclusively lock" in text:
        number = errno.EBUSY
    if number is None and (match := re.search(r"\[Errno (\d+)\]|\((\d+), '", text)):
        number = int(match[1] or match[2])
    windows = _windows_number(text)
    meant = _TROUBLES.get(number or 0) if windows is None else _WINDOWS_TROUBLES.get(windows)
    if meant is not None:
        what, *do = meant
        return OutsideError(what, name, *do)
    return OutsideError(f"the port doesn't open ({error})", name, remedy=Remedy.FIND_BOARD)
