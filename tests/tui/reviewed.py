"""Reviewed screens: a text file for each look, that a person reads in a diff. `--snapshot-update` writes them anew for review.

First the rows as they stand on the screen, then what of them has a colour. Pictures are kept only of ``PICTURES``.
"""

import difflib
import re
from itertools import groupby
from pathlib import Path

from rich.color import Color as RichColor
from rich.style import Style
from textual.color import Color

from tests.tui.bench import screen_strips, screen_text
from throwbook_tui.app import ThrowbookApp

FOLDER = Path(__file__).with_name("screens")
PICTURES = Path(__file__).with_name("shown")
ROUNDED = 2
"""By how much a part of a theme's colour may come out otherwise once it is mixed for the screen."""
GREY = 24
"""A colour whose parts differ by no more is a grey."""
DRAWN = range(0x2500, 0x2900)
"""Lines, blocks and dots to draw with."""

RGB = tuple[int, int, int]


class ReviewedScreens:
    """The looks of one walk, each held against its file."""

    def __init__(self, walk: str, update: bool) -> None:
        self.folder = FOLDER / walk
        self.update = update
        self.differing: list[str] = []
        self._looked: set[Path] = set()

    def look(self, app: ThrowbookApp, name: str) -> None:
        """Hold what stands on the screen against what was reviewed, or write it down for review."""
        path = self.folder / f"{name}-{app.size.width}x{app.size.height}.txt"
        self._looked.add(path)
        self._compare(path, f"{screen_text(app)}\n\n{tones(app)}\n")

    def picture(self, app: ThrowbookApp, name: str) -> None:
        """The same for a picture of the README."""
        drawn = re.sub(r"\bterminal-\d+", "terminal", app.export_screenshot())  # a number of each run's own
        self._compare(PICTURES / f"{name}.svg", drawn)

    def end(self) -> None:
        """What was reviewed once and isn't looked at any more goes; a screen that differs fails the test."""
        if self.update:
            for path in set(self.folder.glob("*.txt")) - self._looked:
                path.unlink()
        assert not self.differing, "screens differ from the reviewed ones:\n" + "\n".join(self.differing)

    def _compare(self, path: Path, shown: str) -> None:
        if self.update:
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(shown, "utf-8")
            return
        reviewed = path.read_text("utf-8") if path.exists() else ""
        if shown != reviewed:
            rows = difflib.unified_diff(
                reviewed.splitlines(), shown.splitlines(), path.name, "now", "", "", 0, ""
            )
            self.differing.append("\n".join(rows if path.suffix == ".txt" else [path.name]))


def tones(app: ThrowbookApp) -> str:
    """What stands on the screen in a colour: row, colour, text. Of charts only the colours that they are drawn in."""
    theme = app.current_theme
    named = {
        "error": theme.error,
        "warning": theme.warning,
        "success": theme.success,
        "primary": theme.primary,
    }
    colours = {Color.parse(colour).rgb: name for name, colour in named.items() if colour}
    colours[Color.parse(theme.foreground or "").rgb] = ""
    rows, drawn = [], set()
    for number, strip in enumerate(screen_strips(app), start=1):
        for tone, segments in groupby(strip, lambda segment: _tone(segment.style, colours)):
            letters = "".join(segment.text for segment in segments)
            text = " ".join("".join(" " if ord(each) in DRAWN else each for each in letters).split())
            if tone and text:
                rows.append(f"{number:>3} {tone}: {text}")
            elif tone and letters.strip():
                drawn.add(tone)
    return "\n".join([*rows, *([f"drawn in {', '.join(sorted(drawn))}"] if drawn else [])])


def _tone(style: Style | None, colours: dict[RGB, str]) -> str:
    """Name of the colour of the letters or, if that is coloured, of their ground; empty for plain and grey."""
    if style is None or style.reverse:  # only scroll bars are reversed
        return ""
    ground = _colour_name(style.bgcolor, colours)
    return f"on {ground}" if ground else _colour_name(style.color, colours)


def _colour_name(colour: RichColor | None, colours: dict[RGB, str]) -> str:
    if colour is None or colour.triplet is None:
        return ""
    shown = tuple(colour.triplet)
    for known, name in colours.items():
        if all(abs(a - b) <= ROUNDED for a, b in zip(known, shown, strict=True)):
            return name
    return colour.triplet.hex if max(shown) - min(shown) > GREY else ""
