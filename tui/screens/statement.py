"""An accepted sheet: what it states, no more and no less."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import Static

from logger.core.cautions import BOTH_PINS
from logger.core.standing.status import DO_NOT_USE
from tui.present import BAD, GOOD, QUIET, STRONG, WARN, Cell, status_cell
from tui.screens.page import Page
from tui.widgets.big import Big
from tui.widgets.frame import lines

if TYPE_CHECKING:
    from logger.jobs.signing import Accepted

ROOM = 76
"""Columns that the large word for the whole of it takes."""
STAYS = (
    "only a signed order brings it down. Esc to the rig, then W: the way back shows the step that is next."
)


class StatementScreen(Page[None]):
    """Shown once after the signature; the sheet itself keeps it."""

    HELP = "sign"

    def __init__(self, done: "Accepted") -> None:
        super().__init__()
        self._done = done

    def body(self) -> Iterator[Widget]:
        """Large word, statement."""
        yield Big(id="big")
        with VerticalScroll():
            yield Static(id="first")

    def on_mount(self) -> None:
        """Show it."""
        self.head(f"{self._done.state.name} | accepted and sealed", status_cell(self._done.status, True))
        self.repaint()
        self.query_one(VerticalScroll).focus()

    def repaint(self) -> None:
        """Statement, blanks, baseline."""
        super().repaint()
        done = self._done
        self.query_one(Big).show(Cell("SHEET ACCEPTED" if self.app.size.width >= ROOM else "ACCEPTED", GOOD))
        cells: list[Cell | str] = []
        if done.status.open:
            level = done.status.level
            word = level.upper() if level == DO_NOT_USE else level
            cells += [
                Cell(f"The rig itself stays at '{word}': {STAYS}", BAD if level == DO_NOT_USE else WARN)
            ]
        cells += [Cell(done.acceptance.statement, STRONG)]
        cells += [
            Cell(f"No better than {done.acceptance.verdict}: {text}.", WARN)
            for text in done.acceptance.because
        ]
        if done.acceptance.claims_lost:
            cells.append(Cell(f"It doesn't speak for: {'; '.join(done.acceptance.claims_lost)}.", WARN))
        if done.baselines:
            cells.append(Cell(f"Baseline frozen for: {', '.join(done.baselines)}.", GOOD))
        if done.baseline_kept:
            cells.append(Cell(f"The old baseline stays: {done.baseline_kept}.", QUIET))
        cells += [Cell(""), Cell(BOTH_PINS, WARN)]
        self.query_one("#first", Static).update(lines(self.app, cells))
