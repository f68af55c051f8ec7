"""The terminal UI's application: theme, global keys, first screen, and a screen as a picture."""

import asyncio
import getpass
import os
from io import StringIO
from typing import TYPE_CHECKING, ClassVar

from rich.console import Console
from textual import events
from textual.app import App
from textual.binding import Binding, BindingType
from textual.css.stylesheet import Stylesheet
from textual.theme import Theme

from throwbook.core.records import account_name
from throwbook_tui import context
from throwbook_tui.context import Desk
from throwbook_tui.screens.page import Page
from throwbook_tui.terminal import answer_escape_sooner

if TYPE_CHECKING:
    from rich.console import RenderableType


DAY = Theme(
    name="day",
    primary="#0030a0",
    secondary="#004d00",
    warning="#7a3d00",
    error="#a00000",
    success="#004d00",
    accent="#0030a0",
    foreground="#000000",
    background="#ffffff",
    surface="#ffffff",
    panel="#e4e4e4",
    dark=False,
    variables={"block-cursor-foreground": "#ffffff", "block-cursor-background": "#0030a0"},
)

NIGHT = Theme(
    name="night",
    primary="#ffb347",
    secondary="#ffd9a0",
    warning="#ffff55",
    error="#ff6b5e",
    success="#7fe07f",
    accent="#ffb347",
    foreground="#ffd9a0",
    background="#000000",
    surface="#000000",
    panel="#2a1c08",
    dark=True,
    variables={"block-cursor-foreground": "#000000", "block-cursor-background": "#ffb347"},
)


class ThrowbookApp(App[None]):
    """Opens on the list of rigs."""

    TITLE = "Throwbook"
    CSS_PATH = "app.tcss"
    ENABLE_COMMAND_PALETTE = False
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("f8", "day_or_night", "light/dark", key_display="F8"),
        Binding("ctrl+q", "leave", "leave", key_display="Ctrl-Q", priority=True),
    ]

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self.desk = desk
        self.asked_to_end = False
        """This process was told to end; else its terminal or its page went, or a person left."""
        self.animation_level = "none"  # each step of a slide is a screen drawn anew, and slow over SSH
        self._stylesheets: dict[str, Stylesheet] = {}
        self.register_theme(DAY)
        self.register_theme(NIGHT)
        self.theme = "night" if os.environ.get("THROWBOOK_THEME") == "night" else "day"

    def on_mount(self) -> None:
        """First screen: the rigs."""
        from throwbook_tui import terminal

        if not self.is_headless:
            terminal.on_request(self._asked_to_end)
            terminal.with_the_terminal(lambda: self.desk.recordings > 0, self.exit, piped=self.is_web)
        if self.is_web:
            self.desk.show_file = self._send_to_page
        if self.desk.ascii:
            from throwbook_tui.terminal import draw_plainly

            draw_plainly(self)
        self.push_screen(context.screen("rigs"))

    def _send_to_page(self, path: str) -> int:
        """A paper goes to who asked for it, who may sit at another computer; not nought: it can't, as with a folder."""
        try:
            self.deliver_binary(path, open_method="browser" if path.endswith(".pdf") else "download")
        except OSError:
            return 1
        return 0

    def _asked_to_end(self) -> None:
        self.asked_to_end = True
        self.exit()

    async def on_event(self, event: events.Event) -> None:
        """A key waits for the screen that it is meant for: one that is still opening has no fields yet.

        In a browser the keys come only while the page has them: the screen must not lose its field by a click beside it.
        """
        if isinstance(event, events.AppBlur) and self.is_web:
            return
        if isinstance(event, events.Key) and not event.is_forwarded:
            while self.screen_stack and not self.screen.is_mounted:
                await asyncio.sleep(0.001)
        await super().on_event(event)

    def action_day_or_night(self) -> None:
        """Change between the strong theme for the sun and the dim one for the night."""
        self.theme = "night" if self.theme == "day" else "day"
        if isinstance(self.screen, Page):
            self.screen.repaint()

    def refresh_css(self, animate: bool = True) -> None:
        """Take up the styles of the theme that is shown now.

        Each theme keeps its stylesheet: to parse all of it anew was a third of the wait after the key. The screens below
        wait until they are seen again.
        """
        before = self.stylesheet
        self.stylesheet = self._stylesheets.setdefault(
            self.theme, Stylesheet(variables=self.get_css_variables())
        )
        for read_from, (css, is_default, tie_breaker, scope) in before.source.items():
            self.stylesheet.add_source(css, read_from, is_default, tie_breaker, scope)
        self.stylesheet.update(self, animate=animate)
        for screen in self.screen_stack:
            if isinstance(screen, Page):
                screen.stale = screen is not self.screen
        if self.screen_stack:
            self.screen.refresh(layout=True)

    def export_screenshot(self, *, title: str | None = None, simplify: bool = False) -> str:
        """The screen as an SVG picture, without a window drawn around it."""

        drawn = self.screen._compositor.render_update(
            full=True, screen_stack=self._background_screens, simplify=simplify
        )
        return svg_of(drawn, *self.size, title or self.title)

    async def action_press(self, key: str) -> None:
        """A word in the line of keys was clicked."""
        self.simulate_key(key)

    def action_leave(self) -> None:
        """End the program, unless the screen has something to say first."""
        leave = getattr(self.screen, "may_leave", None)
        if leave is None or leave():
            self.exit()


def run(logbook: str | None) -> None:
    """Open the UI on ``logbook`` (None: the default one)."""
    try:
        by = os.environ.get("THROWBOOK_BY") or account_name(getpass.getuser())
    except (KeyError, OSError, ImportError):  # no such user, as in a bare container; Windows without USERNAME
        by = ""
    if "TEXTUAL_DRIVER" not in os.environ:  # a page says by them how large it is
        for fixed in ("COLUMNS", "LINES"):  # exported by a shell: the size of the terminal as it was then
            os.environ.pop(fixed, None)
    answer_escape_sooner()
    ThrowbookApp(Desk(logbook=logbook, by=by, port=os.environ.get("THROWBOOK_PORT", ""))).run()


# The places in braces are those that rich's ``export_svg`` fills in.
FORMAT = """\
<svg viewBox="0 0 {terminal_width} {terminal_height}" xmlns="http://www.w3.org/2000/svg">
<style>
.{unique_id}-matrix {{
font-family: "DejaVu Sans Mono", monospace;
font-size: {char_height}px;
line-height: {line_height}px;
font-variant-east-asian: full-width;
}}
{styles}
</style>
<defs>
<clipPath id="{unique_id}-clip-terminal">
<rect x="0" y="0" width="{terminal_width}" height="{terminal_height}" />
</clipPath>
{lines}
</defs>
<g clip-path="url(#{unique_id}-clip-terminal)">
{backgrounds}
<g class="{unique_id}-matrix">
{matrix}
</g>
</g>
</svg>
"""


def svg_of(screen: "RenderableType | None", width: int, height: int, title: str) -> str:
    """``screen`` as it is drawn on ``width`` by ``height`` letters."""
    console = Console(
        width=width,
        height=height,
        file=StringIO(),
        force_terminal=True,
        color_system="truecolor",
        record=True,
        legacy_windows=False,
        safe_box=False,
    )
    console.print(screen)
    return console.export_svg(title=title, code_format=FORMAT)
