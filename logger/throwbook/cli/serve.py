"""``serve``: the terminal UI in a browser, on this computer alone unless told otherwise."""

import hmac
import secrets
import shlex
import sys
from collections.abc import Sequence
from typing import Any

import click

from throwbook.cli import output
from throwbook.cli.options import logbook_of
from throwbook.errors import InputError

LOOPBACK = ("127.0.0.1", "localhost", "::1")
COOKIE = "throwbook_token"
BACKSLASH = "\\"


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
    an encrypting proxy in front. Ctrl-C stops it.

    \b
    Examples:
      throwbook serve
      throwbook serve --host 0.0.0.0 --public-url http://yard-pc.example:8765
    """
    token = "" if host in LOOPBACK else secrets.token_urlsafe(24)
    server = make_server(logbook_of(ctx), host, port, public_url, token)
    output.line(
        f"Open {server.public_url}/{f'?token={token}' if token else ''} in a browser; Ctrl-C ends it."
    )
    if token:
        output.line("Anybody with this address can write to the logbook.", style="warn")
    output.flush()
    server.serve()


def make_server(logbook: str | None, host: str, port: int, public_url: str | None, token: str) -> Any:
    """The web server; each browser gets a program of its own on the same logbook. Raises InputError without the extra."""
    try:
        from aiohttp import web
        from textual_serve.server import Server
    except ImportError as error:
        do = "Install it: pip install 'throwbook[browser]'"
        raise InputError("the extra for browsers isn't installed", "serve", do) from error

    class Guarded(Server):  # type: ignore[misc,unused-ignore]
        """Answers only pages of its own, and only who has the token where there is one."""

        async def _make_app(self) -> web.Application:
            app = await super()._make_app()
            app.middlewares.append(guard(self.public_url.rstrip("/"), token))
            return app

        async def on_startup(self, app: web.Application) -> None:
            """The command has said all there is to say."""

        def initialize_logging(self) -> None:
            """Nothing of a session is recorded."""

    words = [sys.executable, "-m", "throwbook", *(["--logbook", logbook] if logbook else [])]
    return Guarded(shell_line(words), host=host, port=port, title="Throwbook", public_url=public_url)


def shell_line(words: Sequence[str], *, windows: bool = sys.platform == "win32") -> str:
    r"""The words as one line for the system's own shell, which is what the server starts a program by.

    cmd knows no single quotes, and what isn't in double ones it reads itself, such as the ``&`` in a folder's name.

    >>> shell_line(["python", "it's"], windows=False)
    'python \'it\'"\'"\'s\''
    >>> print(shell_line([r"C:\R&D\python.exe", "D:\\"], windows=True))
    "C:\R&D\python.exe" "D:\\"
    """
    if not windows:
        return shlex.join(words)
    return " ".join(f'"{word}{word[len(word.rstrip(BACKSLASH)) :]}"' for word in words)


def guard(public_url: str, token: str) -> Any:
    """Refuse pages of other sites (they could drive a server on this computer), and whoever lacks the token."""
    from aiohttp import web

    @web.middleware
    async def check(request: web.Request, handler: Any) -> web.StreamResponse:
        if request.headers.get("Origin", public_url) != public_url:
            raise web.HTTPForbidden(text="This request came from another page.")
        if f"{request.scheme}://{request.host}" != public_url and not token:
            raise web.HTTPForbidden(text=f"Open {public_url}")
        given = request.query.get("token") or request.cookies.get(COOKIE, "")
        if token and not hmac.compare_digest(given.encode(), token.encode()):
            raise web.HTTPForbidden(
                text="The token is missing: open the address that 'throwbook serve' printed."
            )
        response: web.StreamResponse = await handler(request)
        if token and not response.prepared:
            response.set_cookie(COOKIE, token, httponly=True, samesite="Strict")
        return response

    return check
