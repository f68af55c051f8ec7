"""What a service did to a place that had been binding: after less before at that place alone."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from logger.core.seasons.effects import answer, compare
from logger.core.seasons.profile_history import SAME_PLACE, CheckProfile, spots_among
from logger.core.seasons.season import RigHistory, SeasonCheck
from logger.core.seasons.season_lines import stretch_of, stretch_starts
from logger.core.trace import FloatArray

AT = 0.03
"""The place reaches so far either way [share of the stroke] (assumed)."""
BESIDE = (0.08, 0.15)
"""It is held against what lies between these distances from it: drag and weather cancel (assumed)."""


@dataclass(frozen=True)
class SpotEffect:
    """One service at one place, in one direction [A above what lies beside it]."""

    date: date
    action: str
    direction: str
    at_fraction: float
    before: float
    after: float
    change: float
    low: float
    high: float
    n_before: int
    n_after: int
    answer: str


def spot_effects(history: RigHistory, profiles: Mapping[str, Sequence[CheckProfile]]) -> list[SpotEffect]:
    """One for each service that ended a stretch with a growing place in it and was checked afterwards.

    ``profiles``: what ``check_profiles`` gives, by direction. Before is the last check with that place: the place was
    named two checks running, so it isn't one odd check.
    """
    starts = stretch_starts(history.services)
    effects = []
    for number, day in enumerate(starts, 1):
        action = ", ".join(one.action for one in history.services if one.on == day and one.new_stretch)
        for spot in spots_among(profiles, number - 1):
            before = _heights(history, starts, number - 1, spot.direction, spot.at_fraction)
            after = _heights(history, starts, number, spot.direction, spot.at_fraction)
            if not before or not after:
                continue
            first, second = before[-1], after[0]
            if min(len(first), len(second)) < 2:
                continue
            healthy = np.concatenate([one - one.mean() for one in (*before, *after)])
            difference = compare(first, second, float(np.std(healthy)))
            effects.append(
                SpotEffect(
                    day,
                    action,
                    spot.direction,
                    spot.at_fraction,
                    float(first.mean()),
                    float(second.mean()),
                    difference.change,
                    difference.low,
                    difference.high,
                    len(first),
                    len(second),
                    answer(difference, min(len(first), len(second))),
                )
            )
    return effects


@dataclass(frozen=True)
class SpotHeights:
    """How far the current at one place stands above what lies beside it, check by check."""

    direction: str
    at_fraction: float
    days: tuple[date, ...]
    heights_a: tuple[float, ...]
    """Mean of a check's throws [A]."""


def spot_heights(history: RigHistory, places: Iterable[tuple[str, float]]) -> tuple[SpotHeights, ...]:
    """Over all checks, at each place (direction, share of the stroke); places that are one are drawn once."""
    found: list[SpotHeights] = []
    for direction, at in places:
        if any(one.direction == direction and abs(one.at_fraction - at) <= SAME_PLACE for one in found):
            continue
        heights = [(check.on, _height(check, direction, at)) for check in history.checks]
        known = [(on, float(np.mean(one))) for on, one in heights if len(one)]
        if known:
            days, means = zip(*known, strict=True)
            found.append(SpotHeights(direction, at, days, means))
    return tuple(found)


def _heights(
    history: RigHistory, starts: Sequence[date], stretch: int, direction: str, place: float
) -> list[FloatArray]:
    """For each check of a stretch, how far each throw's current at the place stands above what lies beside it [A]."""
    checks = [one for one in history.checks if stretch_of(one, starts) == stretch]
    found = [_height(one, direction, place) for one in checks]
    return [one for one in found if len(one)]


def _height(check: SeasonCheck, direction: str, place: float) -> FloatArray:
    heights = []
    for throw in check.throws:
        if throw.direction != direction or throw.as_found or throw.profile is None:
            continue
        away = np.abs(throw.profile.fraction - place)
        at, beside = away <= AT, (away >= BESIDE[0]) & (away <= BESIDE[1])
        height = np.nanmean(throw.profile.current_a[at]) - np.nanmean(throw.profile.current_a[beside])
        if np.isfinite(height):
            heights.append(float(height))
    return np.array(heights)
