"""Places that bind more and more over the years, and what a service did there.

Each check's profile is the pointwise median of its clean throws. What a check has more than the first check of its
stage is split in two: an even part (a lift, and a share of the profile itself, as weather and dry pins give) and
what is left over, the *local* part. A place counts when its local part stands out of the noise of both checks and does
so at neighbouring checks; one check alone may be mud.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from throwbook.core.analysis.baseline import fit_difference
from throwbook.core.quantities.statistics import moving_mean, robust_sd, t_quantile
from throwbook.core.trace import FloatArray
from throwbook.core.trend.history import RigHistory, SeasonCheck
from throwbook.core.trend.maintenance_effect import answer, compare
from throwbook.core.trend.series import DAYS_A_YEAR, stage_of, stage_starts

GRID = (np.arange(200) + 0.5) / 200
ENDS = 0.06
"""Start-up and the last of the stroke are left out [share of the stroke] (assumed)."""
WIDTH = 7
"""Points of the grid averaged over: 3.5 % of the stroke (assumed)."""
CHANCE = 0.001
"""Chance that noise alone stands out so far at one check anywhere along the stroke."""
PLACES = 25
"""Independent places along the stroke, for that chance (assumed)."""
SMALLEST = 0.05
"""No smaller bump is called one [share of the running current] (assumed)."""
SAME_PLACE = 0.04
"""Places closer than this are one place [share of the stroke] (assumed)."""
ALONE = 2.0
"""A bump that the way back doesn't show at the mirrored place must stand out this many times as far (assumed)."""
MIRRORED = 0.4
"""On the way back it need only stand out by this much of what counts by itself (assumed)."""


@dataclass(frozen=True, eq=False)
class CheckProfile:
    """One check of one direction on ``GRID``."""

    on: date
    sheet: str
    stage: int
    throws: int
    current_a: FloatArray
    """shape (200,) pointwise median [A], NaN where the throws don't reach"""
    noise_a: float
    """Standard deviation of the smoothed median at one place [A]"""


@dataclass(frozen=True)
class CheckBump:
    """The most prominent local part of one check."""

    on: date
    at_fraction: float
    size_a: float
    stands_out: float
    """Size over the least that counts; 1 and more counts."""


@dataclass(frozen=True)
class Spot:
    """A place at which binding has grown."""

    direction: str
    at_fraction: float
    at_fraction_u: float
    """Expanded uncertainty (k = 2) of the place."""
    size_a: float
    """At the newest check [A]."""
    since: date
    """The check at which it was named: the second that shows it."""
    per_year_a: float | None
    sentence: str


def check_profiles(history: RigHistory, direction: str) -> list[CheckProfile]:
    """Every check with at least one profile in this direction, as-found throws left out."""
    starts = stage_starts(history.services)
    found = []
    for check in history.checks:
        profile = _profile(check, direction, stage_of(check, starts))
        if profile is not None:
            found.append(profile)
    return found


def _profile(check: SeasonCheck, direction: str, stage: int) -> CheckProfile | None:
    lines = [
        np.interp(GRID, one.profile.fraction, one.profile.current_a, left=np.nan, right=np.nan)
        for one in check.throws
        if one.direction == direction and not one.as_found and one.profile is not None
    ]
    if not lines:
        return None
    stack = np.stack(lines)
    middle = np.median(stack, axis=0)
    inner = _inner(middle)
    if len(lines) > 1:
        apart = np.concatenate([_smooth((one - middle)[inner]) for one in stack])
        noise = robust_sd(apart) * (len(lines) / (len(lines) - 1)) ** 0.5 / len(lines) ** 0.5
    else:
        noise = robust_sd(np.diff(_smooth(middle[inner]), n=2))
    return CheckProfile(check.on, check.sheet, stage, len(lines), middle, noise)


def _inner(profile: FloatArray) -> np.ndarray:
    return (GRID >= ENDS) & (GRID <= 1.0 - ENDS) & np.isfinite(profile)


def _smooth(values: FloatArray) -> FloatArray:
    return moving_mean(values, WIDTH)


def bump(check: CheckProfile, base: CheckProfile) -> CheckBump | None:
    """Where ``check`` has most more than ``base``, the even part taken off; None where they can't be compared."""
    inner = _inner(check.current_a) & _inner(base.current_a)
    fitted = fit_difference(np.where(inner, check.current_a, np.nan), np.where(inner, base.current_a, np.nan))
    if fitted is None:
        return None
    x, usual = GRID[inner], float(np.median(base.current_a[inner]))
    local = _smooth(fitted.misfit_a[inner])
    top = int(np.argmax(local))
    degrees = max(check.throws + base.throws - 2, 1) * 8
    # The rest of the stroke says how well two checks of this rig agree in shape at all.
    away = np.abs(x - x[top]) > SAME_PLACE
    noise = max(float(np.hypot(check.noise_a, base.noise_a)), robust_sd(local[away]))
    least = max(t_quantile(1.0 - CHANCE / PLACES, degrees) * noise, SMALLEST * usual, 1e-9)
    low = high = top
    half = 0.5 * local[top]
    while low > 0 and local[low - 1] > half:
        low -= 1
    while high < len(local) - 1 and local[high + 1] > half:
        high += 1
    part = slice(low, high + 1)
    weight = np.maximum(local[part] - half, 0.0) + 1e-12
    place = float(np.sum(x[part] * weight) / np.sum(weight))
    return CheckBump(check.on, place, float(local[top]), float(local[top]) / least)


def spots_among(profiles: Mapping[str, Sequence[CheckProfile]], stage: int | None = None) -> list[Spot]:
    """The place that binds more and more in one stage, if there is one, from the profiles of each direction.

    ``stage`` counts from 0; None: the newest that has profiles.
    """
    directions = list(profiles)
    bumps = {one: _bumps(profiles[one], stage) for one in directions}
    found = []
    for direction in directions:
        back = {
            sheet: one for other in directions if other != direction for sheet, one in bumps[other].items()
        }
        spot = _spot(direction, [_judged(one, back.get(sheet)) for sheet, one in bumps[direction].items()])
        if spot is not None:
            found.append(spot)
    return found


def _bumps(profiles: Sequence[CheckProfile], stage: int | None) -> dict[str, CheckBump]:
    """The most prominent bump of each check of one stage against its first, by sheet."""
    if stage is None and profiles:
        stage = profiles[-1].stage
    inside = [one for one in profiles if one.stage == stage]
    found = ((check.sheet, bump(check, inside[0])) for check in inside[1:])
    return {sheet: one for sheet, one in found if one is not None}


def _judged(one: CheckBump, back: CheckBump | None) -> CheckBump:
    """A bump in the mechanism is met on both ways: one that isn't counts less."""
    mirrored = (
        back is not None
        and back.stands_out >= MIRRORED
        and abs(1.0 - back.at_fraction - one.at_fraction) <= SAME_PLACE
    )
    return one if mirrored else replace(one, stands_out=one.stands_out / ALONE)


def _spot(direction: str, bumps: Sequence[CheckBump]) -> Spot | None:
    # The newest run of checks that show one place.
    run: list[CheckBump] = []
    for one in reversed(bumps):
        if one.stands_out < 1.0 or (run and abs(one.at_fraction - run[0].at_fraction) > SAME_PLACE):
            break
        run.append(one)
    run.reverse()
    if len(run) < 2:
        return None
    sizes = np.array([one.size_a for one in run])
    places = np.array([one.at_fraction for one in run])
    place = float(np.sum(places * sizes) / np.sum(sizes))
    spread = float(np.std(places, ddof=1)) / len(run) ** 0.5
    place_u = 2.0 * float(np.hypot(spread, 0.005))
    years = np.array([(one.on - run[0].on).days / DAYS_A_YEAR for one in run])
    rate = float(np.polyfit(years, sizes, 1)[0]) if len(run) >= 3 and years[-1] > 0 else None
    grows = "" if rate is None else f", {rate:+.2g} A a year"
    sentence = (
        f"binding spot at {100 * place:.0f} % \u00b1 {100 * place_u:.0f} % of the {direction} stroke, "
        f"{sizes[-1]:.2g} A above the current beside it{grows}"
    )
    return Spot(direction, place, place_u, float(sizes[-1]), run[1].on, rate, sentence)


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
    """One for each service that ended a stage with a growing place in it and was checked afterwards.

    ``profiles``: what ``check_profiles`` gives, by direction. Before is the last check with that place: the place was
    named two checks running, so it isn't one odd check.
    """
    starts = stage_starts(history.services)
    effects = []
    for number, day in enumerate(starts, 1):
        action = ", ".join(one.action for one in history.services if one.on == day and one.starts_stage)
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
    history: RigHistory, starts: Sequence[date], stage: int, direction: str, place: float
) -> list[FloatArray]:
    """For each check of a stage, how far each throw's current at the place stands above what lies beside it [A]."""
    checks = [one for one in history.checks if stage_of(one, starts) == stage]
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
