"""An accepted sheet: what it states, no more and no less."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

from textual.widget import Widget

from logger.core.cautions import BOTH_PINS
from logger.core.standing.status import DO_NOT_USE
from tui.present import BAD, GOOD, QUIET, STRONG, WARN, Cell, status_cell
from tui.screens.text_page import TextPage
from tui.widgets.big import Big

if TYPE_CHECKING:
    from logger.jobs.signing import Accepted

ROOM = 76
"""Columns that the large word for the whole of it takes."""
STAYS = (
    "only a signed order brings it down. Esc to the rig, then W: the way back shows the step that is next."
)


class StatementScreen(TextPage):
    """Shown once after the signature; the sheet itself keeps it."""

    HELP = "sign"

    def __init__(self, done: "Accepted") -> None:
        super().__init__()
        self._done = done

    def where(self) -> str:
        """Of which sheet."""
        return f"{self._done.state.name} | accepted and sealed"

    def body(self) -> Iterator[Widget]:
        """Large word, statement."""
        yield Big(id="big")
        yield from super().body()

    def beside(self) -> Cell:
        """The status of the rig."""
        return status_cell(self._done.status, True)

    def repaint(self) -> None:
        """The large word, as long as there is room for."""
        super().repaint()
        word = "SHEET ACCEPTED" if self.app.size.width >= ROOM else "ACCEPTED"
        self.query_one(Big).show(Cell(word, GOOD))

    def text(self) -> list[Cell | str]:
        """Statement, blanks, baseline."""
        done = self._done
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
        return [*cells, Cell(""), Cell(BOTH_PINS, WARN)]
