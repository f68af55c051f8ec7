"""One trial in depth: record, profile against the baseline, figures, limits, signs, causes."""

from collections.abc import Iterator
from typing import TYPE_CHECKING, ClassVar

from textual.binding import BindingType
from textual.containers import Container, VerticalScroll
from textual.widget import Widget
from textual.widgets import Static

from throwbook.core.assessment import INFO, movement_said
from throwbook.core.quantities.text import counted
from throwbook_tui.charts import profile_drawing, trace_drawing
from throwbook_tui.present import (
    QUIET,
    STRONG,
    WARN,
    Cell,
    cause_lines,
    check_row,
    day,
    figure_rows,
    sentence,
    sign_rows,
    verdict_cell,
)
from throwbook_tui.screens.page import Page, key
from throwbook_tui.widgets.frame import lines, listed
from throwbook_tui.widgets.plot import Plot

if TYPE_CHECKING:
    from throwbook.jobs.judgements import TrialView

WIDE = 110


class TrialScreen(Page[None]):
    """Words at the left, drawings at the right; on a small screen G changes between them."""

    HELP = "trial"
    BINDINGS: ClassVar[list[BindingType]] = [
        key("g", "turn", "text/charts"),
        key("up", "scroll(-3)", "", show=False),
        key("down", "scroll(3)", "", show=False),
    ]

    def __init__(self, trial: str) -> None:
        super().__init__()
        self._trial = trial
        self._found: TrialView | None = None
        self._drawn = False

    def body(self) -> Iterator[Widget]:
        """Two halves."""
        with Container(classes="halves"):
            with VerticalScroll(id="words-place", can_focus=True):
                yield Static(id="words", classes="says")
            with Container(id="drawings"):
                yield Static(id="trace-word", classes="says")
                yield Plot(id="trace", empty="measured by hand: there is no record to draw")
                yield Static(id="profile-word", classes="says")
                yield Plot(id="profile", empty="no chart over travel: the record does not give one")

    def on_mount(self) -> None:
        """Load."""
        from throwbook.jobs.judgements import trial_view

        self.head("trial")
        logbook, trial = self.desk.logbook, self._trial
        self.work("load", lambda: trial_view(logbook, trial))

    def done_load(self, found: "TrialView") -> None:
        """Show it."""
        self._found = found
        self.lay_out()
        self.repaint()

    def on_resize(self) -> None:
        """Both halves where there is room."""
        self.lay_out()

    def lay_out(self) -> None:
        """Which halves are seen."""
        wide = self.app.size.width >= WIDE
        self.set_class(wide, "wide")
        self.query_one("#words-place").display = wide or not self._drawn
        self.query_one("#drawings").display = wide or self._drawn

    def action_turn(self) -> None:
        """Words or drawings."""
        self._drawn = not self._drawn
        self.lay_out()

    def action_scroll(self, by: int) -> None:
        """The words."""
        self.query_one("#words-place", VerticalScroll).scroll_relative(y=by, animate=False)

    def repaint(self) -> None:
        """Everything."""
        super().repaint()
        found = self._found
        if found is None:
            return
        logged, judged = found.logged, found.logged.judgement
        when = f"{logged.when:%Y-%m-%d %H:%M}" if logged.when else "-"
        if judged is None:
            self.head(f"{logged.trial.rig} | {logged.direction} throw of {when}")
            return
        word, tone = verdict_cell(judged.assessment.verdict)
        self.head(f"{logged.trial.rig} | {logged.direction} throw of {when}", Cell(word, tone))
        self.query_one("#words", Static).update(listed(self.app, self._words(found)))
        self.query_one("#trace-word", Static).update(lines(self.app, [Cell("Current over time", STRONG)]))
        base = found.baseline
        held = (
            f"against {'the provisional baseline' if base.provisional else 'the baseline'} of {base.n} throws (dotted: its range)"
            if base
            else "no baseline yet"
        )
        self.query_one("#profile-word", Static).update(
            lines(self.app, [Cell(f"Current over travel, {held}", STRONG)])
        )
        self.query_one("#trace", Plot).show(trace_drawing(found))
        self.query_one("#profile", Plot).show(profile_drawing(found))

    def _words(self, found: "TrialView") -> list[Cell | str]:
        judged = found.logged.judgement
        assert judged is not None
        assessment = judged.assessment
        word, tone = verdict_cell(assessment.verdict)
        cells: list[Cell | str] = [Cell(f"{sentence(word)} {sentence(assessment.because)}", tone)]
        if movement_said(assessment):
            cells.append(Cell(f"This is {movement_said(assessment)} in its record.", QUIET))
        if assessment.provisional:
            cells.append(Cell("Provisional: the baseline rests on no accepted commissioning sheet.", WARN))
        cells += cause_lines(assessment)
        if found.later and any(one.level != INFO for one in assessment.signs):
            cells.append(Cell(seen_again(found)))
        cells += [Cell(""), Cell("Figures (F1 explains the ±)", STRONG)]
        cells += [Cell(f"  {name:<28} {text}") for name, text in figure_rows(assessment)]
        cells += [Cell(""), Cell("Limits", STRONG)]
        for name, measured, limit, decision in map(check_row, assessment.checks):
            cells.append(Cell(f"  {decision.text:<10} {name}: {measured} ({limit})", decision.tone))
        cells += [
            Cell(f"  {check_row(one)[0]}: {one.settle}", QUIET) for one in assessment.checks if one.settle
        ]
        signs = sign_rows(assessment)
        if signs:
            cells += [Cell(""), Cell("Signs", STRONG)]
            for sign, because in signs:
                cells += [Cell(f"  {sign.text}", sign.tone), Cell(f"    {sentence(because)}")]
        cells += [Cell(""), *(Cell(sentence(note), QUIET) for note in assessment.notes)]
        if found.judgements > 1:
            cells.append(
                Cell(f"Judged {found.judgements} times; this is the newest, of {day(judged.at)}.", QUIET)
            )
        return cells


def seen_again(found: "TrialView") -> str:
    """Whether the throws after this one show its signs too: one heavy throw in the cold, then three normal ones."""
    after = f"{counted(found.later, f'{found.logged.direction} throw')} after it on this sheet"
    if not found.later_alike:
        return f"Not seen again in the {after}."
    return f"Seen again in {found.later_alike} of the {after}."
