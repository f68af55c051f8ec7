"""Help: what this screen is for, its keys, and its figures in the words of the trade."""

from tui.help_text import PAGES
from tui.present import PLAIN, QUIET, STRONG, Cell
from tui.screens.text_page import TextPage

EVERYWHERE = "Everywhere: Esc back, F1 help, F8 day or night, Ctrl-Q leave. Every word in the bottom line can be clicked."


class HelpScreen(TextPage):
    """One page of the help."""

    HELP = "help"

    def __init__(self, page: str) -> None:
        super().__init__()
        self._page = page

    def where(self) -> str:
        """Which page."""
        return f"help | {self._page}"

    def text(self) -> list[Cell | str]:
        """A line that ends with a colon is a heading."""
        page = [Cell(line, STRONG if line.endswith(":") else PLAIN) for line in PAGES[self._page]]
        return [*page, Cell(""), Cell(EVERYWHERE, QUIET)]
