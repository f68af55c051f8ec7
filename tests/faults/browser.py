"""The browser mode as a browser meets it: the server in a process of its own, a screen at the other end of a web socket."""

import asyncio
import re
import socket
import subprocess
from base64 import b64decode
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager, contextmanager
from pathlib import Path
from typing import Any

from aiohttp import ClientSession, ClientWebSocketResponse, WSMsgType

from tests.command import command, environment
from tests.faults.until import until
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


class Page:
    """A page in a real browser, driven by its DevTools protocol; nothing in it is clicked."""

    def __init__(self, socket_: ClientWebSocketResponse) -> None:
        self._socket = socket_
        self._asked = 0
        self.addresses: set[str] = set()
        """Of all that it fetched."""
        self.painted = b""
        """What the program sent to be shown."""

    async def __call__(self, method: str, **given: object) -> dict[str, Any]:
        """What the browser answers to one command."""
        self._asked += 1
        await self._socket.send_json({"id": self._asked, "method": method, "params": given})
        while True:
            said = await self._socket.receive_json(timeout=LIMIT_S)
            about = said.get("params", {})
            if said.get("method") == "Network.requestWillBeSent":
                self.addresses.add(about["request"]["url"])
            elif said.get("method") == "Network.webSocketCreated":
                self.addresses.add(about["url"])
            elif said.get("method") == "Network.webSocketFrameReceived" and about["response"]["opcode"] == 2:
                self.painted += b64decode(about["response"]["payloadData"])
            elif said.get("id") == self._asked:
                return said["result"]

    async def of(self, script: str) -> Any:
        """What a line of script comes to in it."""
        return (await self("Runtime.evaluate", expression=script, returnByValue=True))["result"].get("value")

    async def until(self, script: str = "", text: bytes = b"") -> None:
        """Wait until a line of script comes to something, and ``text`` was painted."""
        for _ in range(int(LIMIT_S / 0.05)):
            if await self.of(script or "true") and text in CODES.sub(b"", self.painted):
                return
            await asyncio.sleep(0.05)
        raise AssertionError(f"not so: {script} {text!r}; it says {await self.of('document.body.innerText')}")

    async def press(self, key: str, code: int) -> None:
        """One key that has a name."""
        for kind in ("keyDown", "keyUp"):
            await self("Input.dispatchKeyEvent", type=kind, key=key, code=key, windowsVirtualKeyCode=code)


@asynccontextmanager
async def page_at(chromium: list[str], profile: Path, url: str) -> AsyncIterator[Page]:
    """A browser without a window, with one page open."""
    process = subprocess.Popen(
        [*chromium, "--remote-debugging-port=0", f"--user-data-dir={profile}", "about:blank"],
        stderr=subprocess.DEVNULL,
    )
    try:
        ports = profile / "DevToolsActivePort"
        assert until(lambda: ports.exists() and "\n" in ports.read_text("ascii"))
        at = f"http://127.0.0.1:{ports.read_text('ascii').split()[0]}/json/new"
        async with ClientSession() as client:
            async with client.put(at) as got:
                socket_url = (await got.json())["webSocketDebuggerUrl"]
            async with client.ws_connect(socket_url, max_msg_size=0) as opened:
                page = Page(opened)
                await page("Network.enable")
                await page("Page.navigate", url=url)
                yield page
    finally:
        process.kill()
        process.wait()


@contextmanager
def served(
    logbook: Path, *options: object, variables: dict[str, str] | None = None
) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """The server's process and its address."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    url = f"http://127.0.0.1:{port}"
    line = command(logbook, "serve", "--port", port, *options)
    # what lies where it is started is none of its own
    strange = fill(logbook.parent / "some body's")
    pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.STDOUT}
    server = subprocess.Popen(line, cwd=strange, env=environment(**(variables or {})), **pipes, text=True)
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
