"""The terminal UI's application: theme, global keys, first screen."""

from typing import ClassVar

from textual.app import App, ComposeResult
from textual.widgets import Footer, Header, Static


class ThrowbookApp(App[None]):
    """Opens on the list of rigs."""

    TITLE = "Throwbook"
    BINDINGS: ClassVar = [("q", "quit", "Quit")]

    def compose(self) -> ComposeResult:
        """Lay out the first screen."""
        yield Header()
        yield Static("The screens come with a later issue; the command line does the job: throwbook --help")
        yield Footer()


def run(logbook: str | None) -> None:
    """Open the UI on ``logbook`` (None: the default one)."""
    ThrowbookApp().run()
