"""Tables of what the commands work out when they are asked: status, trend, effect of services, next action, baseline.

Nothing of it is kept, so it is in no export. Each column says what ``rig list``, ``trend`` and ``status`` say.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import date
from operator import attrgetter
from typing import Any

from throwbook.core.export_schema import DAY, FLAG, OWN_UNIT, TEXT, Column, Row
from throwbook.core.export_schema import KEYS as EXPORT_KEYS
from throwbook.core.export_schema import TABLES as EXPORT_TABLES
from throwbook.core.quantities.statistics import K
from throwbook.core.rig import DIRECTIONS, retired_because
from throwbook.core.trend.history import FIGURES
from throwbook.core.trend.maintenance_effect import CONFIDENCE
from throwbook.core.trend.trend_result import TrendResult
from throwbook.core.wording import TREND_STATES
from throwbook.errors import ThrowbookError
from throwbook.jobs.find import baselines_for
from throwbook.jobs.rig_list import STATUS, rigs_in
from throwbook.jobs.trend import RigTrend, trend_in
from throwbook.jobs.worsening import UNREADABLE, known_trends
from throwbook.logbook import Logbook
from throwbook.logbook.search import notes

A_YEAR = f"{OWN_UNIT}/year"
SURE = f"{100 * CONFIDENCE:.0f} % interval"


def _own(name: str) -> Callable[[Any], Any]:
    """A field of the item, through dots; None where one on the way is None, a day as ISO text."""

    def get(item: Any) -> Any:
        for part in name.split("."):
            if item is None:
                return None
            item = getattr(item, part)
        return item.isoformat() if isinstance(item, date) else item

    return get


def _second(get: Callable[[Any], Any]) -> Callable[[tuple[Any, Any]], Any]:
    return lambda pair: get(pair[1])


def _of_line(get: Callable[[Callable[[Any], Any]], Callable[[Any], Any]]) -> tuple[Column, ...]:
    """The columns that tell the lines of a trend apart; ``get`` reaches the line from the item."""
    return (
        Column("rig", TEXT, "the rig's name", get(attrgetter("rig"))),
        Column("direction", TEXT, "lock or unlock", get(attrgetter("direction")), DIRECTIONS),
        Column("figure", TEXT, "the figure", get(attrgetter("figure")), tuple(FIGURES)),
        Column("unit", TEXT, "its unit", get(attrgetter("unit"))),
    )


def _change_u(one: TrendResult) -> float | None:
    return None if one.change_u == float("inf") else K * one.change_u


TREND = (
    *_of_line(lambda get: get),
    Column("checks", "1", "checks", lambda one: len(one.points), whole=True),
    Column("centre", OWN_UNIT, "level at the start of the chart period", _own("chart.centre")),
    Column("level", OWN_UNIT, "level that the checks show now", _own("chart.level")),
    Column("lower", OWN_UNIT, "a level under this one is low", _own("chart.lower")),
    Column("upper", OWN_UNIT, "a level over this one is out of control", _own("chart.upper")),
    Column("rise", "1", "level over centre, less one (of the stroke: their difference)", _own("change")),
    Column("rise_u", "1", "its expanded uncertainty (k = 2)", _change_u),
    Column("rise_chance_none", "1", "chance that there is no change", _own("change_chance")),
    Column("first_signal", DAY, "first check out of control", _own("first_signal")),
    Column("slope_per_year", A_YEAR, "slope of the newest chart period", _own("slope.per_year")),
    Column("slope_low", A_YEAR, "its 95 % interval, from", _own("slope.low")),
    Column("slope_high", A_YEAR, "its 95 % interval, to", _own("slope.high")),
    Column("p_value", "1", "chance of such a slope without any cause", _own("slope.p_value")),
    Column("forecast_limit", OWN_UNIT, "the limit that is forecast to be reached", _own("forecast.limit")),
    Column("forecast_limit_from", TEXT, "source of that limit", _own("forecast.limit_from")),
    Column("forecast_crosses", DAY, "when it is reached", _own("forecast.crosses")),
    Column("forecast_low", DAY, "its interval, from", _own("forecast.low")),
    Column("forecast_high", DAY, "its interval, to", _own("forecast.high")),
    Column("forecast_confidence", "1", "how sure the interval is", _own("forecast.confidence")),
    Column("no_forecast", TEXT, "why there is no forecast", lambda one: one.no_forecast or None),
    Column("provisional", FLAG, "no accepted commissioning sheet yet", _own("provisional")),
)
CHECKS = (
    *_of_line(lambda get: lambda pair: get(pair[0])),
    Column("date", DAY, "day of the check", _second(_own("date"))),
    Column("sheet", TEXT, "its sheet", _second(_own("sheet"))),
    Column("value", OWN_UNIT, "mean as measured", _second(_own("value"))),
    Column("corrected", OWN_UNIT, "corrected to 20 degC and nominal voltage", _second(_own("corrected"))),
    Column("corrected_u", OWN_UNIT, "its expanded uncertainty (k = 2)", _second(_own("corrected_u"))),
    Column("n", "1", "throws", _second(_own("n")), whole=True),
    Column("state", TEXT, "what the chart says of it", _second(_own("state")), tuple(TREND_STATES)),
    Column("because", TEXT, "why", lambda pair: pair[1].because or None),
    Column("ambient_c", "degC", "air temperature", _second(_own("ambient_c"))),
    Column("weather", OWN_UNIT, "what weather and supply add", _second(_own("weather"))),
    Column("level", OWN_UNIT, "level that the checks up to this one show", _second(_own("level"))),
    Column("above", OWN_UNIT, "a level over this one was out of control", _second(_own("above"))),
    Column("below", OWN_UNIT, "a level under this one was low", _second(_own("below"))),
    Column("stage", "1", "its chart period, from 0", _second(_own("stage")), whole=True),
)
SERVICE_EFFECTS = (
    *_of_line(lambda get: lambda pair: get(pair[0])),
    Column("date", DAY, "day of the service", _second(_own("date"))),
    Column("action", TEXT, "what was done", _second(_own("action"))),
    Column("before", OWN_UNIT, "level before, corrected", _second(_own("before"))),
    Column("after", OWN_UNIT, "level after, corrected", _second(_own("after"))),
    Column("change", OWN_UNIT, "after minus before", _second(_own("change"))),
    Column("low", OWN_UNIT, f"its {SURE}, from", _second(_own("low"))),
    Column("high", OWN_UNIT, f"its {SURE}, to", _second(_own("high"))),
    Column("confidence", "1", "how sure the interval is", _second(_own("confidence"))),
    Column("n_before", "1", "throws before", _second(_own("n_before")), whole=True),
    Column("n_after", "1", "throws after", _second(_own("n_after")), whole=True),
    Column("answer", TEXT, "whether it helped", _second(_own("said"))),
    Column("before_sheet", TEXT, "the sheet before", _second(_own("before_sheet"))),
    Column("after_sheet", TEXT, "the sheet after", _second(_own("after_sheet"))),
)
SPOTS = (
    Column("rig", TEXT, "the rig's name", lambda pair: pair[0]),
    Column("direction", TEXT, "lock or unlock", _second(_own("direction")), DIRECTIONS),
    Column("at_fraction", "1", "the place, a share of the stroke", _second(_own("at_fraction"))),
    Column("at_fraction_u", "1", "its expanded uncertainty (k = 2)", _second(_own("at_fraction_u"))),
    Column("size_a", "A", "at the newest check, above the current beside it", _second(_own("size_a"))),
    Column("since", DAY, "the check at which it was named", _second(_own("since"))),
    Column("per_year_a", "A/year", "how fast it grows", _second(_own("per_year_a"))),
    Column("because", TEXT, "in a sentence", _second(_own("sentence"))),
)
NEXT_ACTIONS = (
    Column("rig", TEXT, "the rig's name", _own("rig")),
    Column("urgency", "1", "from 0, nothing but the next check, to 5, stop", _own("urgency"), whole=True),
    Column("what", TEXT, "what to do", _own("what")),
    Column("why", TEXT, "why", lambda one: one.why_and_ahead.rstrip(".")),
    Column("how_sure", TEXT, "how sure that is", _own("how_sure")),
    Column("by", DAY, "by which day", _own("by")),
    Column("bring", TEXT, "what to bring", _own("bring")),
)
BASELINES = (
    Column("rig", TEXT, "the rig's name", lambda item: item[0]),
    Column("direction", TEXT, "lock or unlock", lambda item: item[1].direction, DIRECTIONS),
    Column(
        "fraction",
        "1",
        "place on the travel, a share of the stroke",
        lambda item: float(item[1].fraction[item[2]]),
    ),
    Column("current_a", "A", "median of the baseline throws", lambda item: float(item[1].median_a[item[2]])),
    Column("low_a", "A", "the lowest of them", lambda item: float(item[1].low_a[item[2]])),
    Column("high_a", "A", "the highest of them", lambda item: float(item[1].high_a[item[2]])),
    Column("n", "1", "baseline throws", lambda item: item[1].n, whole=True),
    Column(
        "provisional", FLAG, "it rests on no accepted commissioning sheet", lambda item: item[1].provisional
    ),
)


NOTES = (
    Column("day", DAY, "the day that it is about", attrgetter("day")),
    Column("rig", TEXT, "the rig's name", attrgetter("rig")),
    Column("kind", TEXT, "what it was written about", attrgetter("kind")),
    Column("where", TEXT, "the sheet, or the start of the entry's id", attrgetter("where")),
    Column("text", TEXT, "what was written", attrgetter("text")),
    Column("by", TEXT, "who wrote it", attrgetter("by")),
    Column("corrected", FLAG, "a later entry counts in its place", attrgetter("corrected")),
)


def _pairs(part: str) -> Callable[[RigTrend], Iterable[tuple[TrendResult, Any]]]:
    return lambda found: ((one, each) for one in found.trends for each in getattr(one, part))


# table: its columns, its items out of the trend of one rig
OF_TREND: Mapping[str, tuple[tuple[Column, ...], Callable[[RigTrend], Iterable[Any]]]] = {
    "trend": (TREND, attrgetter("trends")),
    "checks": (CHECKS, _pairs("points")),
    "service_effects": (SERVICE_EFFECTS, _pairs("service_effects")),
    "growing_spots": (SPOTS, lambda found: ((found.history.rig.name, spot) for spot in found.spots)),
    "next_actions": (NEXT_ACTIONS, lambda found: [found.action]),
}
DERIVED: Mapping[str, tuple[Column, ...]] = {
    "status": STATUS,
    **{table: columns for table, (columns, _) in OF_TREND.items()},
    "baselines": BASELINES,
    "notes": NOTES,
}
TABLES: Mapping[str, tuple[Column, ...]] = {
    **DERIVED,
    **{table: columns for table, (columns, _) in EXPORT_TABLES.items()},
}
"""Every table that can be asked for, those of an export too, with its columns."""
LINE = ("rig", "direction", "figure")
KEYS: Mapping[str, tuple[str, ...]] = {
    **EXPORT_KEYS,
    "status": ("rig",),
    "trend": LINE,
    "checks": (*LINE, "date"),
    "service_effects": (*LINE, "date"),
    "growing_spots": ("rig", "direction"),
    "next_actions": ("rig",),
    "baselines": ("rig", "direction", "fraction"),
    "notes": ("rig", "day"),
}
"""Table: the columns by which its rows are looked up."""


class DerivedTables:
    """What an open logbook says of its rigs as of one day; the trend of a rig is worked out once."""

    def __init__(self, book: Logbook, today: date) -> None:
        self._book, self._today = book, today
        self._trends: dict[str, RigTrend] = {}

    def rows(self, table: str, rigs: Sequence[str]) -> Iterator[Row]:
        """The rows of one of ``DERIVED``, of these rigs; statuses the most pressing first."""
        items = {"status": self._status, "baselines": self._baselines, "notes": self._notes}.get(table)
        found = (
            items(rigs) if items else (item for rig in rigs for item in OF_TREND[table][1](self._trend(rig)))
        )
        for item in found:
            yield {column.name: column.get(item) for column in DERIVED[table]}

    def _trend(self, rig: str) -> RigTrend:
        if rig not in self._trends:
            self._trends[rig] = trend_in(self._book, rig, self._today, profiles=True)
        return self._trends[rig]

    def _status(self, rigs: Sequence[str]) -> list[Any]:
        with self._book.snapshot():
            known = dict(known_trends(self._book).known)
            for rig in rigs:
                if known.get(rig, UNREADABLE) == UNREADABLE and not retired_because(self._book.rig(rig).toml):
                    try:
                        known[rig] = self._trend(rig).worsening
                    except ThrowbookError:  # one rig's damage leaves the list of all others
                        known[rig] = UNREADABLE
            return [one for one in rigs_in(self._book, self._today, known) if one.name in set(rigs)]

    def _baselines(self, rigs: Sequence[str]) -> Iterator[Any]:
        for rig in rigs:
            for held in baselines_for(self._book, rig).values():
                for place in range(len(held.baseline.fraction)):
                    yield rig, held.baseline, place

    def _notes(self, rigs: Sequence[str]) -> Iterator[Any]:
        return (note for rig in rigs for note in notes(self._book, rig))
