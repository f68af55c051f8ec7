"""Drawing with ASCII alone, for terminals that have nothing else."""

from typing import Any, ClassVar

from textual.scrollbar import ScrollBar, ScrollBarRender


class PlainBar(ScrollBarRender):
    """A scroll bar of whole letters."""

    VERTICAL_BARS: ClassVar[list[str]] = [" "] * 8
    HORIZONTAL_BARS: ClassVar[list[str]] = [" "] * 8


def draw_plainly(app: Any) -> None:
    """No line-drawing letters from here on."""
    ScrollBar.renderer = PlainBar
    app.add_class("plain")
