"""Load that comes later than in the baseline, at the beginning of the travel: all of it, or one side's."""

from dataclasses import dataclass

import numpy as np

from logger.core.assessment import Measured, Profile
from logger.core.quantities.numerics import median_of
from logger.core.stroke.baseline import PRACTICE_SPREAD, Baseline
from logger.core.stroke.shape import Fit, smooth_over
from logger.core.trace import FloatArray

NOTICEABLE = 0.25
"""Less than a quarter of the load missing isn't one side of two (*assumed*)."""
RAMP_BINS = 3
"""The load comes in over a few bins, not at once."""


@dataclass(frozen=True)
class LateLoad:
    """A beginning that lacks load."""

    missing: float
    """Share of the usual load that is missing there"""
    until: float
    """Share of the stroke at which it is there"""
    usual: float
    """Share of the stroke at which the baseline has it"""
    extent: float
    """How much later, share of the stroke"""
    u: float
    """Standard uncertainty of the place"""


def late_load(
    fit: Fit | None, baseline: Baseline | None, profile: Profile | None, idle_a: float
) -> LateLoad | None:
    """Look at the beginning of the profile, where the baseline already carries load and this trial doesn't yet."""
    if fit is None or baseline is None or profile is None or baseline.profile_n < 2:
        return None
    usual = baseline.figures.get("run_current_a")
    if usual is None:
        return None
    covered = np.flatnonzero(fit.covered)
    expected = profile.current_a - fit.misfit_a
    begin = covered[: max(4, len(covered) // 2)]
    idle = min(idle_a, float(np.min(smooth_over(profile.current_a, 2)[begin], initial=idle_a)))
    load = expected - idle
    usual_load = baseline.median_a - min(idle_a, idle)
    carries = usual_load > 0.6 * median_of(usual_load[covered])
    with np.errstate(invalid="ignore", divide="ignore"):
        missing = smooth_over(-fit.misfit_a, 2) / load
    stretch = _first_stretch([int(k) for k in begin if carries[k]], missing)
    if len(stretch) < 2:
        return None
    lacking_a = float(np.mean(-fit.misfit_a[stretch]))
    width = max(w for w in baseline.scan_sd_a if w <= max(2, len(stretch)))
    scatter = float(np.max(baseline.scan_sd_a[width][stretch]))
    limit = max(PRACTICE_SPREAD * usual.mean, baseline.scan_factor(width, 0.999) * scatter)
    if lacking_a < limit:
        return None
    m = len(profile.current_a)
    depth = float(np.percentile(missing[stretch], 85))
    with np.errstate(invalid="ignore", divide="ignore"):
        until = _there_at(-fit.misfit_a / load, stretch, depth)
    usual_at = stretch[0] / m
    return LateLoad(
        missing=depth,
        until=until,
        usual=usual_at,
        extent=until - usual_at,
        u=float(np.hypot(profile.place_u, 1.0 / m / np.sqrt(12.0))),
    )


def _first_stretch(loaded: list[int], missing: FloatArray) -> list[int]:
    """Bins in a row that lack load, where they begin within ``RAMP_BINS`` of the place where load usually begins."""
    lacking = [bool(missing[k] > NOTICEABLE) for k in loaded]
    begin = next((k for k, lacks in enumerate(lacking[: RAMP_BINS + 1]) if lacks), None)
    if begin is None:
        return []
    end = begin
    while end < len(lacking) and lacking[end]:
        end += 1
    return loaded[begin:end]


def _there_at(missing: FloatArray, stretch: list[int], depth: float) -> float:
    """Share of the stroke at which a load that was late is there, half of it at least.

    A bin in which it comes lacks part of it and counts for that part of its width: the last two of the stretch and the
    one behind are looked at.
    """
    begin = max(stretch[0], stretch[-1] - 1)
    bins = np.arange(begin, min(stretch[-1] + 2, len(missing)))
    shares = np.clip(np.nan_to_num(missing[bins]) / max(depth, 1e-9), 0.0, 1.0)
    return float(begin + np.sum(shares)) / len(missing)


def take_up_of(profile: Profile | None, idle_a: float) -> Measured | None:
    """Share of the stroke at which the current first leaves the no-load level for good.

    None where the run never leaves that level, or where the start-up transient hides the place.
    """
    if profile is None or profile.place_u > 0.05:
        return None
    smooth = smooth_over(profile.current_a, 2)
    known = np.flatnonzero(~np.isnan(smooth))
    if len(known) < 20:
        return None
    typical = median_of(smooth[known])
    if typical < 1.15 * idle_a:
        return None
    loaded = smooth[known] > idle_a + 0.5 * (typical - idle_a)
    first = int(known[int(np.argmax(loaded))])
    m = len(smooth)
    hidden = known[0] / m if first == known[0] else 0.0
    return Measured(
        0.0 if hidden else first / m, 2.0 * float(np.hypot(profile.place_u, max(hidden, 1.0 / m)))
    )
