"""A screen that is a text to scroll, and nothing to be done there."""

from collections.abc import Iterator
from typing import ClassVar

from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import Static

from tui.present import Cell
from tui.screens.page import Page
from tui.widgets.frame import lines, listed


class TextPage(Page[None]):
    """Subclasses give ``where`` and ``text``; none has an ``on_mount`` of its own, Textual would call both."""

    IS_LIST: ClassVar[bool] = False
    """What a line that begins with a mark has too much stands under its words."""

    def where(self) -> str:
        """The head line."""
        raise NotImplementedError

    def beside(self) -> Cell | str:
        """What stands at the right of the head line."""
        return ""

    def text(self) -> list[Cell | str]:
        """Its lines."""
        raise NotImplementedError

    def body(self) -> Iterator[Widget]:
        """The text alone."""
        with VerticalScroll():
            yield Static(id="first")

    def on_mount(self) -> None:
        """Show it."""
        self.head(self.where(), self.beside())
        self.repaint()
        self.query_one(VerticalScroll).focus()

    def repaint(self) -> None:
        """The lines, in the colours of the theme."""
        super().repaint()
        lay_out = listed if self.IS_LIST else lines
        self.query_one("#first", Static).update(lay_out(self.app, self.text()))
