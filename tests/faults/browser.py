"""The browser mode as a browser meets it: the server in a process of its own, a screen at the other end of a web socket."""

import asyncio
import re
import socket
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from aiohttp import ClientSession, ClientWebSocketResponse, WSMsgType

from tests.command import command, environment
from tests.strange_folder import fill

LIMIT_S = 60.0
CODES = re.compile(rb"\x1b\[[0-9;?<>=]*[a-zA-Z$]")
"""Commands to a terminal, between the words."""


class Browser:
    """One page that shows the terminal UI."""

    def __init__(self, socket_: ClientWebSocketResponse) -> None:
        self._socket = socket_
        self._shown = b""

    async def until(self, text: str) -> None:
        """Wait until ``text`` was painted since the last key."""
        while text.encode() not in CODES.sub(b"", self._shown):
            message = await self._socket.receive(timeout=LIMIT_S)
            assert message.type in (WSMsgType.BINARY, WSMsgType.TEXT), f"closed before {text!r} was shown"
            if message.type is WSMsgType.BINARY:
                self._shown += message.data

    async def press(self, keys: str) -> None:
        """Letters as a keyboard sends them."""
        self._shown = b""
        for letter in keys:
            await self._socket.send_json(["stdin", letter])
            await asyncio.sleep(0)


@contextmanager
def served(
    logbook: Path, *options: object, variables: dict[str, str] | None = None
) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """The server's process and its address."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    url = f"http://127.0.0.1:{port}"
    line = command(logbook, "serve", "--port", port, "--public-url", url, *options)
    # what lies where it is started is none of its own
    strange = fill(logbook.parent / "strange")
    server = subprocess.Popen(
        line, cwd=strange, env=environment(**(variables or {})), stdout=subprocess.PIPE, text=True
    )
    try:
        yield server, url
    finally:
        server.kill()
        server.communicate()


async def listening(client: ClientSession, url: str) -> int:
    """Status of the first page, as soon as somebody answers."""
    for _ in range(int(LIMIT_S / 0.05)):
        try:
            async with client.get(f"{url}/") as got:
                return got.status
        except OSError:
            await asyncio.sleep(0.05)
    raise AssertionError(f"nobody listens at {url}")


def programs_of(server: int) -> list[int]:
    """Processes that a server has started; one for each browser."""
    children = Path(f"/proc/{server}/task/{server}/children").read_text("ascii")
    return [int(word) for word in children.split()]


def is_gone(process: int) -> bool:
    """Whether it has ended, or only its number is left."""
    try:
        return ") Z " in Path(f"/proc/{process}/stat").read_text("ascii")
    except OSError:
        return True
