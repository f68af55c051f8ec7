"""``serve``: the terminal UI in a browser, on this computer alone unless told otherwise."""

import asyncio
import contextlib
import hmac
import os
import secrets
import signal
import socket
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import click

from throwbook.cli import output
from throwbook.cli.options import logbook_of
from throwbook.errors import InputError, OutsideError

LOOPBACK = ("127.0.0.1", "localhost", "::1")
EVERY_ADDRESS = {"0.0.0.0": "192.0.2.1", "::": "2001:db8::1"}
"""To listen on every address, and where no computer is (RFC 5737, RFC 3849): the way there shows the own address."""
COOKIE = "throwbook_token"
ALIVE_S, CLOSE_S, END_S = 15.0, 1.0, 30.0
"""A page is asked so often whether it is there, and has so long to say farewell; a program has so long to keep a throw."""
ONLY_FROM_HERE = (
    "default-src 'self' 'unsafe-inline' data:; connect-src 'self' ws: wss:; frame-ancestors 'none'"
)


@click.command(short_help="The screens in a browser.")
@click.option("--host", default="localhost", show_default=True, help="Address to listen on.")
@click.option(
    "--port", type=click.IntRange(1, 65535), default=8765, show_default=True, help="Port to listen on."
)
@click.option("--public-url", metavar="URL", help="Address that browsers use, if it is another one.")
@click.pass_context
def serve(ctx: click.Context, host: str, port: int, public_url: str | None) -> None:
    """Show the screens in a browser. Only this computer can connect, unless you open it wider. It then requires a token.

    Needs the extra 'browser'. A token keeps strangers out, but it does not stop eavesdroppers. Across a network put
    an encrypting proxy in front. Ctrl-C stops it. A closed tab ends a recording: what came until then is kept.

    \b
    Examples:
      throwbook serve
      throwbook serve --host 0.0.0.0
      throwbook serve --host 0.0.0.0 --public-url https://yard-pc.example
    """
    token = "" if host in LOOPBACK else secrets.token_urlsafe(24)
    server = make_server(logbook_of(ctx), host, port, public_url or address(host, port), token)

    def opened() -> None:
        output.line(
            f"Open {server.public_url}/{f'?token={token}' if token else ''} in a browser; Ctrl-C ends it."
        )
        if token:
            output.line("Anybody with this address can write to the logbook.", style="warn")
        output.flush()

    with contextlib.suppress(KeyboardInterrupt):  # where no handler can be set, as on Windows
        asyncio.run(server.until_asked_to_end(opened))


def address(host: str, port: int) -> str:
    """What a browser on another computer opens; for every address that of the network this computer is on."""
    if host in EVERY_ADDRESS:
        family = socket.AF_INET6 if ":" in host else socket.AF_INET
        with socket.socket(family, socket.SOCK_DGRAM) as way:  # nothing is sent
            try:
                way.connect((EVERY_ADDRESS[host], 9))
                host = way.getsockname()[0]
            except OSError:  # on no network
                host = socket.gethostname()
    return f"http://{f'[{host}]' if ':' in host else host}:{port}"


def make_server(logbook: str | None, host: str, port: int, public_url: str, token: str) -> Any:
    """The web server; each browser gets a program of its own on the same logbook. Raises InputError without the extra."""
    try:
        from aiohttp import WSCloseCode, web
        from textual_serve.app_service import AppService
        from textual_serve.server import Server, to_int
    except ImportError as error:
        do = "Install it: pip install 'throwbook[browser]'"
        raise InputError("the extra for browsers isn't installed", "serve", do) from error

    words = [sys.executable, "-m", "throwbook", *(["--logbook", logbook] if logbook else [])]

    class Program(AppService):  # type: ignore[misc,unused-ignore]
        """The terminal UI of one page."""

        server_stops = False
        _stopping: asyncio.Task[None] | None = None

        async def _open_app_process(self, width: int = 80, height: int = 24) -> asyncio.subprocess.Process:
            # In a session of its own, since Ctrl-C is meant for the server, which then ends it in good order.
            pipe = asyncio.subprocess.PIPE
            group = getattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 0)
            self._process = process = await asyncio.create_subprocess_exec(
                *words,
                stdin=pipe,
                stdout=pipe,
                stderr=pipe,
                env=self._build_environment(width, height),
                start_new_session=True,
                creationflags=group,
            )
            self._stdin = process.stdin
            return process

        async def ended(self, page: web.WebSocketResponse) -> None:
            """Close the page as soon as the program has ended, whatever ended it."""
            if self._task is not None:
                await self._task
            await page.close(code=WSCloseCode.INTERNAL_ERROR)  # nothing to close after an end in good order

        async def stop(self) -> None:
            """End the program, and wait until it has kept what it records; asked for by its page and by the server."""
            self._stopping = self._stopping or asyncio.create_task(self._stop())
            await asyncio.shield(self._stopping)

        async def _stop(self) -> None:
            process, shown = self._process, self._task
            assert process is not None
            assert process.stdout is not None
            assert shown is not None
            if process.returncode is None:
                with contextlib.suppress(ProcessLookupError):
                    if self.server_stops and sys.platform != "win32":
                        process.terminate()
                    else:
                        await self.send_meta({"type": "quit"})
            await self._download_manager.cancel_app_downloads(self.app_service_id)
            try:
                async with asyncio.timeout(END_S):
                    await asyncio.wait([shown])
                    while await process.stdout.read(65536):
                        pass  # it must not wait for a reader
                    await process.wait()
            except TimeoutError:
                process.kill()
                await process.wait()

    class Guarded(Server):  # type: ignore[misc,unused-ignore]
        """Answers only pages of its own, and only who has the token where there is one."""

        def __init__(self, **given: Any) -> None:
            super().__init__("", **given, templates_path=Path(__file__).with_name("page"))
            self._programs: dict[web.WebSocketResponse, Program] = {}

        async def _make_app(self) -> web.Application:
            app = await super()._make_app()
            app.middlewares.append(guard(self.public_url.rstrip("/"), token))
            return app

        async def until_asked_to_end(self, opened: Callable[[], None]) -> None:
            """Serve until a signal; ``opened`` is called once browsers can come. Raises OutsideError: the port is taken."""
            asked, loop = asyncio.Event(), asyncio.get_running_loop()
            for name in ("SIGINT", "SIGTERM", "SIGHUP") if sys.platform != "win32" else ():
                loop.add_signal_handler(getattr(signal, name), asked.set)
            runner = web.AppRunner(await self._make_app(), shutdown_timeout=CLOSE_S)
            await runner.setup()
            try:
                try:
                    await web.TCPSite(runner, self.host, self.port).start()
                except OSError as error:
                    do = "Choose another one: --port. Or end what uses it."
                    why = os.strerror(error.errno).lower() if error.errno else error.strerror
                    where = f"{self.host}, port {self.port}"
                    raise OutsideError(f"cannot listen here ({why})", where, do) from error
                opened()
                await asked.wait()
            finally:
                await runner.cleanup()

        async def on_startup(self, app: web.Application) -> None:
            """The command says what there is to say."""

        async def on_shutdown(self, app: web.Application) -> None:
            """Tell every page, and wait until its program has ended."""
            open_now = dict(self._programs)
            for program in open_now.values():
                program.server_stops = True
            farewells = [page.close(code=WSCloseCode.GOING_AWAY) for page in open_now]
            await asyncio.gather(*farewells, *(program.stop() for program in open_now.values()))

        async def handle_websocket(self, request: web.Request) -> web.WebSocketResponse:
            """One page: its program begins and ends with it."""
            page = web.WebSocketResponse(heartbeat=ALIVE_S, timeout=CLOSE_S)
            await page.prepare(request)
            program = Program(
                "",
                write_bytes=page.send_bytes,
                write_str=page.send_str,
                close=page.close,  # type: ignore[arg-type,unused-ignore]
                download_manager=self.download_manager,
            )
            size = (
                to_int(request.query.get(side, ""), least) for side, least in (("width", 80), ("height", 24))
            )
            await program.start(*size)
            self._programs[page] = program
            ended = asyncio.create_task(program.ended(page))
            try:
                await self._process_messages(page, program)
            finally:
                await program.stop()
                await ended
                del self._programs[page]
            return page

    return Guarded(host=host, port=port, title="Throwbook", public_url=public_url)


def guard(public_url: str, token: str) -> Any:
    """Refuse pages of other sites (they could drive a server on this computer), and whoever lacks the token."""
    from aiohttp import web

    @web.middleware
    async def check(request: web.Request, handler: Any) -> web.StreamResponse:
        own = f"{request.scheme}://{request.host}"
        if request.headers.get("Origin", own) not in (own, public_url):
            raise web.HTTPForbidden(text="This request came from another page.")
        if not (token or own == public_url or urlsplit(own).hostname in LOOPBACK):
            raise web.HTTPForbidden(text=f"Open {public_url}")
        given = request.query.get("token") or request.cookies.get(COOKIE, "")
        if token and not hmac.compare_digest(given.encode(), token.encode()):
            raise web.HTTPForbidden(
                text="The token is missing or old: open the address that 'throwbook serve' printed."
            )
        response: web.StreamResponse = await handler(request)
        if not response.prepared:
            response.headers["Content-Security-Policy"] = ONLY_FROM_HERE
            if token:
                response.set_cookie(COOKIE, token, httponly=True, samesite="Strict")
        return response

    return check
