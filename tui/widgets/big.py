"""Words and figures five lines high, to be read at arm's length. The letters are drawn for this project."""

from rich.text import Text
from textual.widgets import Static

from tui.present import Cell
from tui.widgets.frame import TONES

# letter: five rows; # is ink.
GLYPHS: dict[str, tuple[str, str, str, str, str]] = {
    "0": ("####", "#  #", "#  #", "#  #", "####"),
    "1": (" ## ", "  # ", "  # ", "  # ", " ###"),
    "2": ("####", "   #", "####", "#   ", "####"),
    "3": ("####", "   #", " ###", "   #", "####"),
    "4": ("#  #", "#  #", "####", "   #", "   #"),
    "5": ("####", "#   ", "####", "   #", "####"),
    "6": ("####", "#   ", "####", "#  #", "####"),
    "7": ("####", "   #", "  # ", " #  ", " #  "),
    "8": ("####", "#  #", "####", "#  #", "####"),
    "9": ("####", "#  #", "####", "   #", "####"),
    ".": ("    ", "    ", "    ", "    ", " ## "),
    "-": ("   ", "   ", "###", "   ", "   "),
    "%": ("#  #", "  # ", " #  ", "#   ", "#  #"),
    " ": ("  ", "  ", "  ", "  ", "  "),
    "?": ("####", "   #", "  ##", "    ", "  # "),
    "A": (" ## ", "#  #", "####", "#  #", "#  #"),
    "B": ("### ", "#  #", "### ", "#  #", "### "),
    "C": ("####", "#   ", "#   ", "#   ", "####"),
    "D": ("### ", "#  #", "#  #", "#  #", "### "),
    "E": ("####", "#   ", "### ", "#   ", "####"),
    "F": ("####", "#   ", "### ", "#   ", "#   "),
    "G": ("####", "#   ", "# ##", "#  #", "####"),
    "H": ("#  #", "#  #", "####", "#  #", "#  #"),
    "I": ("###", " # ", " # ", " # ", "###"),
    "J": ("  ##", "   #", "   #", "#  #", "####"),
    "K": ("#  #", "# # ", "##  ", "# # ", "#  #"),
    "L": ("#   ", "#   ", "#   ", "#   ", "####"),
    "M": ("#   #", "## ##", "# # #", "#   #", "#   #"),
    "N": ("#   #", "##  #", "# # #", "#  ##", "#   #"),
    "O": ("####", "#  #", "#  #", "#  #", "####"),
    "P": ("####", "#  #", "####", "#   ", "#   "),
    "Q": ("####", "#  #", "#  #", "# ##", "####"),
    "R": ("### ", "#  #", "### ", "# # ", "#  #"),
    "S": ("####", "#   ", "####", "   #", "####"),
    "T": ("#####", "  #  ", "  #  ", "  #  ", "  #  "),
    "U": ("#  #", "#  #", "#  #", "#  #", "####"),
    "V": ("#   #", "#   #", " # # ", " # # ", "  #  "),
    "W": ("#   #", "#   #", "# # #", "## ##", "#   #"),
    "X": ("#   #", " # # ", "  #  ", " # # ", "#   #"),
    "Y": ("#   #", " # # ", "  #  ", "  #  ", "  #  "),
    "Z": ("####", "   #", " ## ", "#   ", "####"),
    "s": ("    ", "####", "##  ", "  ##", "####"),
}
HEIGHT = 5


def big_rows(text: str, ink: str) -> list[str]:
    """Five lines; a letter that isn't drawn leaves a gap."""
    glyphs = [GLYPHS.get(letter, GLYPHS[" "]) for letter in text]
    return [" ".join(glyph[row] for glyph in glyphs).replace("#", ink) for row in range(HEIGHT)]


class Big(Static):
    """One large word or figure, a line of plain words below it."""

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id, classes="big")
        self._shown: tuple[Cell, str] = (Cell(""), "")
        self._height = -1

    def show(self, cell: Cell, below: str = "") -> None:
        """``cell`` large; where it is too wide for the screen, as it is."""
        self._shown = (cell, below)
        self.repaint()

    def repaint(self) -> None:
        """With the colours and the width there are."""
        cell, below = self._shown
        ink = "#" if self.app.desk.ascii else "\N{FULL BLOCK}"  # type: ignore[attr-defined]
        rows = big_rows(cell.text, ink)
        if len(rows[0]) > self.app.size.width - 4:
            rows = [cell.text]
        tones = TONES.get(self.app.theme, TONES["day"])
        # A tone with a coloured ground would make a slab of it: only its strong colour is wanted.
        style = tones[cell.tone].replace("bold #ffffff on ", "bold ").replace("bold #000000 on ", "bold ")
        text = Text("\n".join(rows), style=style, no_wrap=True)
        if below:
            text.append(f"\n{below}", style=tones["strong"])
        # To lay the whole screen out anew ten times a second would keep the keys waiting.
        height, self._height = self._height, text.plain.count("\n")
        self.update(text, layout=self._height != height)

    def on_resize(self) -> None:
        """The width changed, and with it how many lines there are.

        Only after the layout that brought the new width: what is asked for while that one is still due is lost in it.
        """
        self.call_after_refresh(self._lay_out)

    def _lay_out(self) -> None:
        self._height = -1
        self.repaint()
