"""The seasons of one rig: what changed, since when, when a limit is reached, what to do next."""

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, ClassVar

from textual.binding import BindingType
from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import Static

from throwbook.core.trend.signals import LOW, OUT
from throwbook.core.wording import TREND_STATES
from throwbook_tui.charts import trend_drawing
from throwbook_tui.present import (
    BAD,
    GOOD,
    QUIET,
    STRONG,
    WARN,
    Cell,
    sentence,
    three_digits,
)
from throwbook_tui.screens.page import Page, key
from throwbook_tui.widgets.frame import lines, listed
from throwbook_tui.widgets.plot import Plot

if TYPE_CHECKING:
    from throwbook.core.trend.trend_result import TrendResult
    from throwbook.jobs.trend import RigTrend

NO_TREND = "No checks to compare yet. A trend needs two."
HAPPENED = "Since the last accepted sheet"
URGENCY = (GOOD, QUIET, WARN, WARN, BAD, BAD)


class TrendScreen(Page[None]):
    """One figure and direction at a time; left and right go on."""

    HELP = "trend"
    BINDINGS: ClassVar[list[BindingType]] = [
        key("right,space", "step(1)", "next figure", "->"),
        key("left", "step(-1)", "previous figure", "<-"),
        key("p", "points", "list/chart"),
    ]

    def __init__(self, rig: str) -> None:
        super().__init__()
        self._rig = rig
        self._found: RigTrend | None = None
        self._at = 0
        self._as_points = False

    def body(self) -> Iterator[Widget]:
        """Next action, chart, words."""
        yield Static(id="next", classes="says")
        yield Plot(id="chart", empty="calculating ...")
        with VerticalScroll(id="points-place"):
            yield Static(id="points", classes="says")
        yield Static(id="words", classes="says")

    def on_mount(self) -> None:
        """Reckon it."""
        from throwbook.jobs.trend import rig_trend

        self.head(f"{self._rig} | trend")
        self.query_one("#points-place").display = False
        logbook, rig, today = self.desk.logbook, self._rig, self.desk.today
        self.work("trend", lambda: rig_trend(logbook, rig, today))

    def done_trend(self, found: "RigTrend") -> None:
        """Show it."""
        self._found = found
        self._at = self._named_by_action(found)
        self.repaint()

    @staticmethod
    def _named_by_action(found: "RigTrend") -> int:
        """The figure that the next action is about is what one wants to see first."""
        from throwbook.core.trend.trend_result import figure_name

        named = (
            number for number, one in enumerate(found.trends) if figure_name(one.figure) in found.action.why
        )
        return next(named, 0)

    def action_step(self, by: int) -> None:
        """Another figure."""
        if self._found is not None and self._found.trends:
            self._at = (self._at + by) % len(self._found.trends)
            self.repaint()

    def action_points(self) -> None:
        """The points as a list, with what happened since the last accepted sheet; or drawn."""
        self._as_points = not self._as_points
        self.query_one("#points-place").display = self._as_points
        self.query_one("#chart").display = not self._as_points
        if self._as_points:
            self.query_one("#points-place").focus()

    def repaint(self) -> None:
        """Next action; the figure that is chosen."""
        super().repaint()
        found = self._found
        if found is None:
            return
        action = found.action
        by = f" By {action.by}." if action.by else ""
        cells: list[Cell | str] = [
            Cell(f"Next: {action.what}.{by}", URGENCY[min(action.urgency, 5)]),
            Cell(f"Because {action.reason} Bring: {action.bring}.", QUIET),
        ]
        cells += [Cell(spot.sentence, WARN) for spot in found.spots]
        cells += [Cell(note, WARN) for note in found.history.notes]
        self.query_one("#next", Static).update(lines(self.app, cells))
        happened = event_lines(found.happened)
        if not found.trends:
            self.query_one("#words", Static).update(lines(self.app, [Cell(NO_TREND, STRONG)]))
            self.query_one("#chart", Plot).show(None)
            self.query_one("#points", Static).update(listed(self.app, happened))
            return
        one = found.trends[self._at]
        self.query_one("#chart", Plot).show(trend_drawing(one))
        self.query_one("#words", Static).update(
            lines(self.app, trend_words(one, self._at, len(found.trends), found.history.rig.units))
        )
        self.query_one("#points", Static).update(listed(self.app, [*happened, Cell(""), *point_lines(one)]))


def trend_words(one: "TrendResult", at: int, count: int, units: str) -> list[Cell | str]:
    """What the chart says, in words; ``units``: the rig's."""
    from throwbook.core.quantities.units import at_reference
    from throwbook.core.trend.trend_result import (
        CHANGE,
        change_text,
        figure_name,
        forecast_said,
        signal_text,
    )

    tone = GOOD
    if one.first_signal:  # signalled once, and mended since or not
        tone = BAD if one.points[-1].state == OUT else WARN
    provisional = " Provisional baseline." if one.provisional else ""
    cells: list[Cell | str] = [
        Cell(
            f"{figure_name(one.figure)}, {one.direction} ({at + 1} of {count}), {len(one.points)} checks, corrected to {at_reference(units)} and nominal voltage.{provisional}",
            STRONG,
        ),
        Cell(
            f"{CHANGE[0].upper()}{CHANGE[1:]} ({three_digits(one.chart.centre)} -> {three_digits(one.chart.level)}): {change_text(one)}."
            + (
                f" First out of control, in any chart period: {signal_text(one)}." if one.first_signal else ""
            ),
            tone,
        ),
        Cell(sentence(forecast_said(one))),
    ]
    for effect in one.service_effects:
        cells.append(
            Cell(
                f"{effect.action} on {effect.date}: {three_digits(effect.before)} -> {three_digits(effect.after)} {one.unit if one.unit != '1' else ''}: {effect.said}"
            )
        )
    return cells


def point_lines(one: "TrendResult") -> list[Cell | str]:
    """Every check as a line; its state is a word."""
    cells: list[Cell | str] = [
        Cell(f"{'date':<12}{'sheet':<20}{'measured':>10}{'corrected':>11}  throws  state", STRONG)
    ]
    for point in reversed(one.points):
        tone = BAD if point.state == OUT else ""
        cells.append(
            Cell(
                f"{point.date.isoformat():<12}{point.sheet[:19]:<20}{three_digits(point.value):>10}{three_digits(point.corrected):>11}  {point.n:>6}  {TREND_STATES[point.state].column}",
                tone,
            )
        )
        if point.because and point.level is not None:
            limit = point.below if point.state == LOW else point.above
            held = f"level {three_digits(point.level)}, limit {three_digits(limit or 0.0)}"
            cells.append(Cell(f"{'':<12}{point.because} ({held})", tone))
    return cells


def event_lines(happened: Sequence[str]) -> list[Cell | str]:
    """What happened to the rig since its last accepted sheet, the newest first."""
    return [Cell(HAPPENED, STRONG), *(Cell(f"- {sentence}") for sentence in reversed(happened))]
