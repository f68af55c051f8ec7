"""The browser mode: pages of other sites are refused, and so is whoever lacks the token."""

import asyncio
import os
import re
import signal
import socket
import subprocess
import sys
from pathlib import Path

import pytest
from aiohttp import ClientSession, WSServerHandshakeError, web

from tests.faults.browser import Browser, is_gone, listening, page_at, programs_of, served
from tests.faults.until import until
from tests.report.page_words import need
from tests.report.test_html_page import CHROMIUM
from throwbook.cli.serve import address, guard

TOKEN = "a-long-token"


async def answered(token: str, path: str = "/", **headers: str) -> tuple[int, str]:
    """Status and cookie of one request to a guarded server on a free port."""

    async def page(request: web.Request) -> web.Response:
        return web.Response(text="the screen")

    app = web.Application()
    app.router.add_get("/", page)
    runner = web.AppRunner(app)
    try:
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            site_port = free.getsockname()[1]
        app.middlewares.append(guard(f"http://127.0.0.1:{site_port}", token))
        await runner.setup()
        await web.TCPSite(runner, "127.0.0.1", site_port).start()
        given = {
            name: value.replace("OWN", f"http://127.0.0.1:{site_port}") for name, value in headers.items()
        }
        async with (
            ClientSession() as session,
            session.get(f"http://127.0.0.1:{site_port}{path}", headers=given) as got,
        ):
            return got.status, got.headers.get("Set-Cookie", "")
    finally:
        await runner.cleanup()


@pytest.mark.parametrize(
    ("token", "path", "headers", "status"),
    [
        ("", "/", {}, 200),
        ("", "/", {"Origin": "OWN"}, 200),
        ("", "/", {"Origin": "http://another.example"}, 403),
        ("", "/", {"Host": "localhost:8765"}, 200),
        ("", "/", {"Host": "another.example"}, 403),
        ("", "/", {"Host": "another.example", "Origin": "http://another.example"}, 403),
        (TOKEN, "/", {}, 403),
        (TOKEN, "/?token=wrong", {}, 403),
        (TOKEN, f"/?token={TOKEN}", {}, 200),
        (TOKEN, "/", {"Cookie": f"throwbook_token={TOKEN}"}, 200),
        (TOKEN, f"/?token={TOKEN}", {"Origin": "http://another.example"}, 403),
    ],
)
def test_who_gets_an_answer(token, path, headers, status):
    assert asyncio.run(answered(token, path, **headers))[0] == status


def test_the_token_is_kept_in_a_cookie_that_no_script_can_read():
    cookie = asyncio.run(answered(TOKEN, f"/?token={TOKEN}"))[1]
    assert TOKEN in cookie
    assert "HttpOnly" in cookie
    assert "SameSite=Strict" in cookie


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="looks for its processes in /proc")
# a program left behind by a server that is killed, only in test-all
@pytest.mark.parametrize("end", ["browser closed", pytest.param("server killed", marks=pytest.mark.long)])
def test_a_real_server_lets_nobody_in_without_its_token_and_leaves_no_program_behind(
    end: str, tmp_path: Path
):
    async def visit(server: int, url: str, token: str) -> list[int]:
        async with ClientSession() as stranger:
            assert await listening(stranger, url) == 403
            for path in ("/ws?width=80&height=24", "/static/js/textual.js", "/download/x"):
                async with stranger.get(f"{url}{path}") as got:
                    assert got.status == 403, path
            with pytest.raises(WSServerHandshakeError):
                await stranger.ws_connect(f"{url}/ws")
        assert programs_of(server) == []
        async with ClientSession() as guest, guest.ws_connect(f"{url}/ws?token={token}") as opened:
            await Browser(opened).until("practise on")  # as on its first start
            programs = programs_of(server)
            if end == "server killed":
                os.kill(server, signal.SIGKILL)
            return programs

    with served(tmp_path / "log.throwbook", "--host", "0.0.0.0") as (server, url):
        said = re.search(r"token=(\S+)", server.stdout.readline())
        (program,) = asyncio.run(visit(server.pid, url, said[1]))
        assert until(lambda: is_gone(program)), "the program of a browser that is gone lives on"


def test_the_address_that_is_printed_is_one_that_a_browser_can_open():
    assert address("yard-pc", 8765) == "http://yard-pc:8765"
    assert address("::1", 8765) == "http://[::1]:8765"
    assert "0.0.0.0" not in address("0.0.0.0", 8765)
    assert "[::]" not in address("::", 8765)


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="looks for its processes in /proc")
def test_a_page_takes_the_keys_fills_its_window_and_fetches_nothing_from_elsewhere(tmp_path: Path):
    """In a folder of somebody else's modules; Ctrl-C ends all of it, and the page says so."""

    async def visit(server: subprocess.Popen[str], url: str) -> tuple[list[int], set[str]]:
        chromium = [need("chromium"), *CHROMIUM, "--window-size=1400,800"]
        async with ClientSession() as client:
            await listening(client, url)
        async with page_at(chromium, tmp_path / "profile", url) as page:
            await page.until("document.body.classList.contains('-first-byte')", b"THROWBOOK")
            assert (
                await page.of("document.querySelector('.xterm-screen').getBoundingClientRect().width") > 1380
            )
            columns = await page.of("Number(new URL(line.url).searchParams.get('width'))")
            assert columns > 100
            assert len(re.search(rb" THROWBOOK \|[^\x1b]*", page.painted)[0]) == columns
            await page.press("F1", 112)
            await page.until(text=b"THROWBOOK | help")
            programs = programs_of(server.pid)
            server.send_signal(signal.SIGINT)
            await page.until("document.getElementById('why').innerText.includes('The server was stopped')")
            return programs, page.addresses

    with served(tmp_path / "log.throwbook") as (server, url):
        programs, addresses = asyncio.run(visit(server, url))
        said, _ = server.communicate(timeout=60)
    assert server.returncode == 0
    assert len(said.splitlines()) == 1, said
    assert all(map(is_gone, programs))
    assert {one.split("/")[2] for one in addresses if not one.startswith("data:")} == {url.split("/")[2]}
