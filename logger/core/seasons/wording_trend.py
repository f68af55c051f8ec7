"""The words for trends, once, so that command line, screen and report can't disagree."""

from logger.core.quantities.number_text import rounded_down
from logger.core.quantities.uncertainty import K
from logger.core.seasons.history import TrendResult
from logger.core.seasons.season import TAKE_UP
from logger.core.seasons.trend_figures import PLAIN_CHANCE

NAMES = {
    "run_current": "running current",
    "peak_run_current": "peak after inrush",
    "travel_time": "travel time",
    "source_resistance": "source resistance",
    "take_up": "take-up",
    "energy": "energy",
}


def figure_name(figure: str) -> str:
    """A figure as people call it."""
    return NAMES[figure]


CHANGE = "now/baseline - 1"
"""What a change is, for the head of its column."""
ABOUT_CHANGE = (
    "Baseline: level at the start of the stage. Now: level that its checks show. Take-up: now less baseline."
)


def change_text(one: TrendResult) -> str:
    """The change, or that there is none to speak of."""
    if one.rise_chance > PLAIN_CHANCE:
        return "none since the service" if one.creep is not None else "none beyond chance"
    return size_text(one)


def size_text(one: TrendResult) -> str:
    """The change with its expanded uncertainty."""
    unit = "points of stroke" if one.figure == TAKE_UP else "%"
    return f"{100 * one.rise:+.0f} \u00b1 {100 * K * one.rise_u:.0f} {unit}"


def creep_text(one: TrendResult) -> str:
    """How far it has come up over its services, as a sentence; empty: not beyond chance."""
    if one.creep is None:
        return ""
    found = one.creep
    far = f"{found.first:.3g} -> {found.now:.3g} {one.unit.replace('1', '')}".strip()
    share = f", {100 * found.share:+.0f} %" if one.figure != TAKE_UP else ""
    return (
        f"{figure_name(one.figure)} ({one.direction}) has come up since the first check of {found.on}: {far}{share}, "
        "although the chart started anew with a service"
    )


def signal_text(one: TrendResult) -> str:
    """When it first showed."""
    return "-" if one.first_signal is None else one.first_signal.isoformat()


def forecast_text(one: TrendResult) -> str:
    """When the limit is reached, or why that can't be said."""
    if one.forecast is None:
        return one.no_forecast
    found = one.forecast
    return (
        f"about {found.crosses} ({100 * found.confidence:.0f} %: {found.low} to {found.high}), "
        f"{rounded_down(found.limit)} {one.unit}"
    )
