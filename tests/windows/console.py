"""A console without a window and a program on it, by calls that Windows 10 and newer have (its documentation: "Pseudoconsoles").

What is written to the console is read here as a terminal would get it; what is typed here are its keys.
"""

import ctypes
import msvcrt
import os
import subprocess
from collections.abc import Mapping, Sequence
from ctypes import wintypes
from pathlib import Path
from typing import Any

PSEUDOCONSOLE = 0x00020016  # PROC_THREAD_ATTRIBUTE_PSEUDOCONSOLE, HPCON its own value
EXTENDED_STARTUP, UNICODE_ENVIRONMENT = 0x00080000, 0x00000400
TIMED_OUT = 0x102
LINES = 50


class _Size(ctypes.Structure):
    _fields_ = [("columns", ctypes.c_short), ("lines", ctypes.c_short)]


class _Startup(ctypes.Structure):
    _fields_ = [
        ("size", wintypes.DWORD),
        ("names", wintypes.LPWSTR * 3),
        ("numbers", wintypes.DWORD * 8),
        ("shown", wintypes.WORD),
        ("more", wintypes.WORD),
        ("pointer", ctypes.c_void_p),
        ("ends", wintypes.HANDLE * 3),
        ("attributes", ctypes.c_void_p),
    ]


class _Process(ctypes.Structure):
    _fields_ = [
        ("process", wintypes.HANDLE),
        ("thread", wintypes.HANDLE),
        ("number", wintypes.DWORD),
        ("thread_number", wintypes.DWORD),
    ]


def _system() -> Any:
    system = ctypes.WinDLL("kernel32", use_last_error=True)  # type: ignore[attr-defined,unused-ignore]
    handle, size = wintypes.HANDLE, ctypes.c_size_t
    system.CreatePseudoConsole.argtypes = [_Size, handle, handle, wintypes.DWORD, ctypes.POINTER(handle)]
    system.ClosePseudoConsole.argtypes = [handle]
    system.UpdateProcThreadAttribute.argtypes = [
        *(ctypes.c_void_p, wintypes.DWORD, size, handle, size),
        *(ctypes.c_void_p, ctypes.c_void_p),
    ]
    system.CreateProcessW.argtypes = [
        *(wintypes.LPCWSTR, wintypes.LPWSTR, ctypes.c_void_p, ctypes.c_void_p, wintypes.BOOL),
        *(wintypes.DWORD, ctypes.c_void_p, wintypes.LPCWSTR, ctypes.c_void_p, ctypes.c_void_p),
    ]
    return system


class Console:
    """One program on a console of its own, until the block is left."""

    def __init__(
        self, line: Sequence[str], env: Mapping[str, str], cwd: Path, columns: int = 80, lines: int = LINES
    ) -> None:
        self._system = _system()
        theirs_in, self._typing = os.pipe()
        self._reading, self._theirs_out = os.pipe()
        for end in (theirs_in, self._theirs_out):
            os.set_inheritable(end, True)
        self._console = wintypes.HANDLE()
        failed = self._system.CreatePseudoConsole(
            _Size(columns, lines),
            msvcrt.get_osfhandle(theirs_in),
            msvcrt.get_osfhandle(self._theirs_out),
            0,
            ctypes.byref(self._console),
        )
        if failed:
            raise OSError(failed, "no console can be made")
        self._open = True
        self._started = _Process()
        self._start(subprocess.list2cmdline(line), env, cwd)
        os.close(theirs_in)

    def _start(self, line: str, env: Mapping[str, str], cwd: Path) -> None:
        size = ctypes.c_size_t()
        self._system.InitializeProcThreadAttributeList(None, 1, 0, ctypes.byref(size))
        attributes = ctypes.create_string_buffer(size.value)
        self._system.InitializeProcThreadAttributeList(attributes, 1, 0, ctypes.byref(size))
        self._system.UpdateProcThreadAttribute(
            attributes, 0, PSEUDOCONSOLE, self._console, ctypes.sizeof(wintypes.HANDLE), None, None
        )
        startup = _Startup(size=ctypes.sizeof(_Startup), attributes=ctypes.addressof(attributes))
        names = "".join(f"{name}={value}\0" for name, value in sorted(env.items())) + "\0"
        if not self._system.CreateProcessW(
            None,
            ctypes.create_unicode_buffer(line),
            None,
            None,
            False,
            EXTENDED_STARTUP | UNICODE_ENVIRONMENT,
            ctypes.create_unicode_buffer(names),
            str(cwd),
            ctypes.byref(startup),
            ctypes.byref(self._started),
        ):
            raise ctypes.WinError(ctypes.get_last_error())  # type: ignore[attr-defined,unused-ignore]

    @property
    def number(self) -> int:
        """The process's number."""
        return int(self._started.number)

    def write(self, keys: bytes) -> None:
        """Type; Enter is ``\\r``, Ctrl-C ``\\x03``."""
        os.write(self._typing, keys)

    def read(self) -> bytes:
        """What was written since, waiting for some; empty: no more will come."""
        return os.read(self._reading, 65536)

    def wait(self, longest_s: float) -> int:
        """Its exit code. Raises TimeoutError."""
        if self._system.WaitForSingleObject(self._started.process, int(longest_s * 1000)) == TIMED_OUT:
            raise TimeoutError(f"still running after {longest_s} s")
        code = wintypes.DWORD()
        self._system.GetExitCodeProcess(self._started.process, ctypes.byref(code))
        return int(code.value)

    def hang_up(self) -> None:
        """Close the window: programs on it are told, and what was written last is still read."""
        if self._open:
            self._open = False
            self._system.ClosePseudoConsole(self._console)
            os.close(self._theirs_out)

    def __enter__(self) -> "Console":
        return self

    def __exit__(self, *exc: object) -> None:
        self.hang_up()
        self._system.TerminateProcess(self._started.process, 1)
        for handle in (self._started.process, self._started.thread):
            self._system.CloseHandle(handle)
        for end in (self._typing, self._reading):
            os.close(end)
