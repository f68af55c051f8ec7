"""The throws of a sheet as rows."""

from typing import TYPE_CHECKING

from logger.core.assessment import FAIL, STALL, Assessment
from logger.core.sheets.questions import conditions_from
from logger.core.sheets.sheet import SEEN, as_found
from logger.core.trace import LOCK
from tui.present import BAD, QUIET, SEEN_SAID, Cell, figure_text, short_figure, verdict_cell

if TYPE_CHECKING:
    from logger.jobs.sheet_view import SheetView

HEADINGS = ("", "way", "time", "running", "peak", "verdict", "L pin", "R pin", "load", "stays")
MARKS = {"*": "as found", "h": "by hand"}
"""What stands behind a throw's number."""


def rows_of(found: "SheetView", wide: bool) -> list[tuple[str, list[Cell | str]]]:
    """One row a throw, with its id; ``wide``: figures with their uncertainty."""
    apart = as_found(conditions_from(found.state.answers), found.trials)
    text = figure_text if wide else short_figure
    rows: list[tuple[str, list[Cell | str]]] = []
    for one in found.trials:
        figures, seen = one.assessment.figures, found.seen[one.id]
        looked = (
            [SEEN_SAID[getattr(seen, part)] for part in SEEN] if one.direction == LOCK else [Cell("")] * 4
        )
        row: list[Cell | str] = [
            f"{one.position}{'*' if one.id in apart else ''}{'h' if one.by_hand else ''}",
            one.direction,
            text("travel_time_s", figures.travel_time_s),
            text("run_current_a", figures.run_current_a),
            text("peak_run_current_a", figures.peak_run_current_a or figures.stall_current_a),
            Cell("left out", QUIET) if one.left_out else _verdict(one.assessment),
            *looked,
        ]
        rows.append((one.id, row))
    return rows


def _verdict(assessment: Assessment) -> Cell:
    """A stall by its own name: its peak is the current at standstill."""
    stalled = assessment.end == STALL and assessment.verdict == FAIL
    return Cell("STALL", BAD) if stalled else verdict_cell(assessment.verdict)


def marks_said(rows: list[tuple[str, list[Cell | str]]]) -> str:
    """What the marks in these rows mean; empty where there is none."""
    numbers = "".join(str(row[0]) for _, row in rows)
    return ", ".join(f"{mark} {word}" for mark, word in MARKS.items() if mark in numbers)
