"""The baseline: what healthy throws of one direction look like, how much they differ, and how one throw differs from it.

The profile is the pointwise median of the trials; the spread is the scatter of single trials about it. Limits drawn
from n trials use the prediction factor for n, never a plain "3 sigma".

The difference of a trial's profile is split by a robust straight fit into

- a level (drag: heavier everywhere),
- a share of the baseline's own shape (friction that has grown scales the humps too),
- a slope over travel (a side load that grows with extension, grease that eases),

and what is left over. A load at one place stays in the left-over because the fit gives little weight to a minority of
bins that don't follow.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from throwbook.core.assessment import Assessment, Profile
from throwbook.core.quantities.statistics import (
    median_of,
    prediction_factor,
    quantile_of,
    robust_sd,
    shared_variance,
    t_quantile,
)
from throwbook.core.trace import FloatArray
from throwbook.core.wording import ENDS
from throwbook.errors import InputError

SCAN_WIDTHS = (2, 3, 4, 6, 8, 12, 16)
"""Bins over which a left-over is averaged when looking for a load at one place."""
WORST_PLACE_U = 0.03
"""A place known no better than this isn't one: the load is then not told from a travel that doesn't add up."""
Z_999 = 3.090
"""One-sided 99.9 % of a normal scatter."""
LOW_TAIL, Z_LOW_TAIL = 0.05, 1.645
"""So much of a normal scatter lies so many standard deviations below its middle."""
END_U = 0.004
"""Standard uncertainty of where the limit switches end the stroke, as a share of it (*assumed*)."""
FEWEST_BINS = 20
"""Below a fifth of the stroke there is no shape to compare."""


@dataclass(frozen=True, eq=False)
class Fit:
    """The split difference."""

    level_a: float
    """Mean of the fitted part over the covered travel [A]"""
    scale: float
    """Share of the baseline's own shape"""
    slope_a: float
    """Change of the fitted part over the full stroke beyond level and scale [A]"""
    misfit_a: FloatArray
    """shape (m,) what is left [A]; NaN where not covered"""
    covered: np.ndarray
    """shape (m,) bool"""


@dataclass(frozen=True)
class Bump:
    """A load at one place."""

    at_fraction: float
    at_u: float
    """Standard uncertainty of the place (share of the stroke)"""
    height_a: float
    limit_a: float
    width: float
    """Share of the stroke over which it stands above half its height"""


def fit_difference(current_a: FloatArray, baseline_a: FloatArray, rounds: int = 12) -> Fit | None:
    """Split ``current_a - baseline_a``; both shape (m,) with NaN where not known. None: too little covered.

    Tukey's biweight by reweighted least squares, with a light pull of scale and slope towards nothing so that a flat
    baseline or a short stretch doesn't set them free.
    """
    covered = ~np.isnan(current_a) & ~np.isnan(baseline_a)
    if int(np.count_nonzero(covered)) < FEWEST_BINS:
        return None
    m = len(current_a)
    place = (np.arange(m) + 0.5) / m
    difference = current_a[covered] - baseline_a[covered]
    shape = baseline_a[covered] - median_of(baseline_a[covered])
    slope = place[covered] - np.mean(place[covered])
    columns = np.stack([np.ones_like(shape), shape, slope], axis=1)
    usual = max(median_of(baseline_a[covered]), 1e-9)
    n = len(difference)
    # The pull: a scale of 0.5 and a slope of half the usual current count as one standard deviation, against a
    # scatter of one hundredth of the usual current.
    pull = np.diag([0.0, (0.01 * usual / 0.5) ** 2, (0.01 * usual / (0.5 * usual)) ** 2])
    pull += 1e-12 * n * np.eye(3)
    answer = np.array([median_of(difference), 0.0, 0.0])
    for _ in range(rounds):
        left = difference - columns @ answer
        spread = max(robust_sd(left), 1e-6 * usual)
        weight = np.clip(1.0 - (left / (4.685 * spread)) ** 2, 0.0, None) ** 2
        weighted = columns * weight[:, None]
        new = np.linalg.solve(weighted.T @ columns + pull, weighted.T @ difference)
        done = np.max(np.abs(columns @ (new - answer))) < 1e-3 * usual
        answer = new
        if done:
            break
    fitted = columns @ answer
    misfit = np.full(m, np.nan)
    misfit[covered] = difference - fitted
    return Fit(float(np.mean(fitted)), float(answer[1]), float(answer[2]), misfit, covered)


def smooth_over(values: FloatArray, width: int) -> FloatArray:
    """Mean over ``width`` bins, NaN left out; NaN where less than half of the width is known."""
    known = ~np.isnan(values)
    return _smoothed(np.where(known, values, 0.0), known, width)


def _smoothed(filled: FloatArray, known: NDArray[np.bool_], width: int) -> FloatArray:
    kernel = np.ones(width)
    total = np.convolve(filled, kernel, mode="same")
    count = np.convolve(known, kernel, mode="same")
    out: FloatArray = np.where((count >= 0.5 * width) & known, total / np.maximum(count, 1.0), np.nan)
    return out


def mean_known(values: FloatArray, axis: int | None = None) -> FloatArray:
    """Mean with NaN left out; 0.0 where nothing is known."""
    known = ~np.isnan(values)
    count = np.maximum(np.sum(known, axis=axis), 1)
    mean: FloatArray = np.asarray(np.sum(np.where(known, values, 0.0), axis=axis) / count)
    return mean


def find_bump(
    fit: Fit,
    baseline_a: FloatArray,
    scan_sd_a: dict[int, FloatArray],
    factors: dict[int, float],
    smallest_a: float,
    place_u: float,
    blind_u: float = 0.0,
    ripple_a: float = 0.0,
    spin_up_bins: float = 0.0,
) -> Bump | None:
    """The clearest load at one place that neither the baseline's scatter nor this trial's own explains, or None.

    Parameters
    ----------
    fit
        The trial's split difference.
    baseline_a
        shape (m,) the baseline's profile [A]: where it is steep, a small shift looks like a load.
    scan_sd_a
        Scatter of one healthy trial at each width [A].
    factors
        By width: how many standard deviations the mean over it must exceed.
    smallest_a
        A load smaller than this isn't called one, however clear [A].
    place_u
        Standard uncertainty of a place (share of the stroke).
    blind_u
        What a missing voltage channel has added to it: that widens the interval of the place, and is no reason to doubt
        the load.
    ripple_a
        Amplitude of the ripple on the readings [A]: where it beats slowly with the sampling no average takes it off.
    spin_up_bins
        Time constant in which the rotor speeds up, in bins. What it takes to do so is taken off a profile; a slow beat looks
        like a speed that swings, and comes out higher by its frequency times this.
    """
    misfit_a = fit.misfit_a
    worst_u = float(np.hypot(WORST_PLACE_U, blind_u))
    shift_a = float(np.hypot(place_u, END_U)) * np.abs(_steepness(baseline_a * (1.0 + fit.scale)))
    known = ~np.isnan(misfit_a)
    filled_a = np.where(known, misfit_a, 0.0)
    widths = list(scan_sd_a)
    smooth = np.array([_smoothed(filled_a, known, width) for width in widths])
    reached = ~np.isnan(smooth)
    own = np.array([[_swing(line[seen])] for line, seen in zip(smooth, reached, strict=True)])
    scatter_a = np.maximum(np.array(list(scan_sd_a.values())), own)
    sd_a = np.hypot(scatter_a, shift_a)
    # Few trials know the scatter badly (hence the factor); how far places may be off doesn't come from them.
    factor = np.array([[factors[width]] for width in widths])
    # Of the beats that a width doesn't average out the quickest takes two widths.
    beat_a = ripple_a * np.hypot(1.0, np.pi * spin_up_bins / np.array([widths]).T)
    by_chance_a = np.sqrt((factor * scatter_a) ** 2 + (Z_999 * shift_a) ** 2 + beat_a**2)
    limit = np.maximum(by_chance_a, smallest_a)
    excess = np.where(reached, smooth / limit, -np.inf)
    best: tuple[float, int, int, float, float] | None = None
    for line, (width, top) in enumerate(zip(widths, excess.argmax(axis=1).tolist(), strict=True)):
        if excess[line, top] <= 1.0:
            continue
        clearness = float(smooth[line, top] / max(sd_a[line, top], 1e-12))
        if best is None or clearness > best[0]:
            best = (clearness, width, top, float(sd_a[line, top]), float(limit[line, top]))
    if best is None:
        return None
    _, width, top, sd, limit_a = best
    bump = _measure(misfit_a, width, top, sd, limit_a, place_u)
    return bump if bump.at_u <= worst_u else None


def _swing(left_over_a: FloatArray) -> float:
    """Standard deviation of what is left over [A], by its middle and by how far it swings below.

    A ripple that beats with the sampling has no place and swings as far below as above, perhaps on a part of the way only;
    a load at one place shows above alone.
    """
    if not len(left_over_a):
        return 0.0
    return max(robust_sd(left_over_a), -quantile_of(left_over_a, LOW_TAIL) / Z_LOW_TAIL)


def _steepness(values: FloatArray) -> FloatArray:
    """Slope over the full stroke, the steeper of both sides; 0 where not known."""
    step = np.abs(np.nan_to_num(np.diff(values))) * len(values)
    return np.maximum(np.concatenate((step, [0.0])), np.concatenate(([0.0], step)))


def _measure(misfit_a: FloatArray, width: int, top: int, sd_a: float, limit_a: float, place_u: float) -> Bump:
    """Height, place and extent of the load around bin ``top``."""
    m = len(misfit_a)
    smooth = np.nan_to_num(smooth_over(misfit_a, max(2, width // 2)), nan=-np.inf)
    near = slice(max(0, top - width), min(m, top + width + 1))
    crest = near.start + int(np.argmax(smooth[near]))
    height = float(smooth[crest])
    low = high = crest
    while low > 0 and smooth[low - 1] > 0.4 * height:
        low -= 1
    while high < m - 1 and smooth[high + 1] > 0.4 * height:
        high += 1
    bins = np.arange(low, high + 1)
    weight = np.clip(np.nan_to_num(misfit_a[bins]), 0.0, None)
    centres = (bins + 0.5) / m
    centroid = float(np.sum(weight * centres) / max(float(np.sum(weight)), 1e-12))
    extent = len(bins) / m
    scatter = 0.5 * extent * sd_a / max(height, 1e-12)
    # One bin wide: half a bin either way is not resolved.
    u = float(np.sqrt(place_u**2 + scatter**2 + (0.5 / m) ** 2 / 3.0 + END_U**2))
    return Bump(centroid, u, height, limit_a, extent)


PRACTICE_SPREAD = 0.10
"""Spread of running current within a set that common practice accepts (*practice*): nothing smaller is called a
change of the machine."""


@dataclass(frozen=True)
class FigureScatter:
    """One figure over the baseline trials."""

    mean: float
    sd: float
    n: int

    def reach(self, probability: float = 0.99) -> float:
        """How far above the mean one more healthy trial may lie (same unit), one-sided."""
        return (
            prediction_factor(self.n, probability) * self.sd
            if self.n >= 2
            else 0.5 * PRACTICE_SPREAD * self.mean
        )


@dataclass(frozen=True, eq=False)
class Baseline:
    """Healthy throws of one direction."""

    direction: str
    n: int
    figures: dict[str, FigureScatter]
    """By name of the figure, plus ``back_emf_vs``; only those that at least two trials gave (or the only trial)."""
    fraction: FloatArray
    """shape (m,) the grid, or empty without a profile"""
    median_a: FloatArray
    """shape (m,) [A]; NaN where fewer than half of the trials reach"""
    scan_sd_a: dict[int, FloatArray]
    """By smoothing width in bins: shape (m,) standard deviation of one trial's misfit [A]"""
    low_a: FloatArray
    """shape (m,) lowest trial [A]"""
    high_a: FloatArray
    """shape (m,) highest trial [A]"""
    ambient_c: float | None
    """Mean ambient of the trials; None unless all recorded it [degC]."""
    from_voltage: bool
    provisional: bool = False
    reason: str = ""
    files: tuple[str, ...] = field(default=())
    scan_degrees: dict[int, float] = field(default_factory=dict)
    """By smoothing width: degrees of freedom behind ``scan_sd_a``; none in a baseline stored before they were kept."""

    @property
    def has_profile(self) -> bool:
        """Whether shapes can be compared."""
        return len(self.fraction) > 0

    @property
    def profile_n(self) -> int:
        """Trials behind the profile's spread."""
        return self.n

    def scan_factor(self, width: int, probability: float) -> float:
        """How many standard deviations one more healthy trial may lie off at a place, one-sided; two trials or more."""
        degrees = self.scan_degrees.get(width, self.n - 1.0)
        return t_quantile(probability, degrees) * float(np.sqrt(1.0 + 1.0 / self.n))


def make_baseline(trials: Sequence[Assessment], reason: str = "", provisional: bool = False) -> Baseline:
    """Build a baseline from healthy, complete trials of one direction.

    Trials that did not run to a cut-off, or not the same stroke as the others, are refused, since they can't tell what
    healthy is.

    Raises
    ------
    InputError
        No trial, trials of both directions, one that isn't usable or not complete, or one of another stroke than the others.
    """
    if not trials:
        raise InputError("no throw to make a baseline from", do="Give at least one baseline trace.")
    for trial in trials:
        if trial.direction != trials[0].direction:
            raise InputError(
                "a baseline needs throws of one direction", trial.file, "Give lock and unlock separately."
            )
        if not trial.usable or trial.end != "cut-off":
            why = trial.unusable_because or f"it ended otherwise: {ENDS[trial.end].sentence}"
            raise InputError(f"not fit for a baseline: {why}", trial.file, "Leave it out.")
    _refuse_other_strokes(trials)
    names = [name for name, _ in trials[0].figures.items()]
    figures = {name: spread for name in names if (spread := _scatter_over(trials, name)) is not None}
    ambients = [trial.ambient_c for trial in trials if trial.ambient_c is not None]
    profiles = [trial.profile for trial in trials if trial.profile is not None]
    fraction, median_a, low_a, high_a = _median_profile(profiles)
    scatter = _scatter(profiles, median_a)
    return Baseline(
        direction=trials[0].direction,
        n=len(trials),
        figures=figures,
        ambient_c=float(np.mean(ambients)) if len(ambients) == len(trials) else None,
        from_voltage=all(trial.figures.mean_voltage_v is not None for trial in trials),
        provisional=provisional,
        reason=reason,
        files=tuple(trial.file for trial in trials),
        fraction=fraction,
        median_a=median_a,
        scan_sd_a={width: sd_a for width, (sd_a, _) in scatter.items()},
        scan_degrees={width: degrees for width, (_, degrees) in scatter.items() if degrees},
        low_a=low_a,
        high_a=high_a,
    )


def refuse_other_direction(baseline: Baseline, direction: str, where: str = "") -> None:
    """Raise InputError for a baseline of the other direction."""
    if baseline.direction != direction:
        raise InputError(
            f"the baseline is of {baseline.direction} throws, but this throw is not ({direction})",
            where,
            "Give the baseline of the throw's own direction.",
        )


def _refuse_other_strokes(trials: Sequence[Assessment]) -> None:
    """Raise InputError for a trial that moved less than half, or more than twice, of what most of them did."""
    moved = [(one, one.figures.back_emf_vs.value) for one in trials if one.figures.back_emf_vs is not None]
    if len(moved) < 2:
        return
    all_vs = np.array([vs for _, vs in moved])
    usual_vs = (
        float(all_vs.max()) if len(moved) == 2 else median_of(all_vs)
    )  # of two the shorter one is suspect
    for trial, vs in moved:
        if not 0.5 < vs / usual_vs < 2.0:
            share = f"it moved {100.0 * vs / usual_vs:.0f} % of what the others did"
            raise InputError(f"not fit for a baseline: {share}", trial.file, "Leave it out.")


def _scatter_over(trials: Sequence[Assessment], name: str) -> FigureScatter | None:
    """Mean and standard deviation of one figure over the trials that gave it."""
    values = [figure.value for trial in trials if (figure := getattr(trial.figures, name)) is not None]
    if not values or (len(values) < 2 <= len(trials)):
        return None
    return FigureScatter(
        float(np.mean(values)), float(np.std(values, ddof=1)) if len(values) > 1 else 0.0, len(values)
    )


def _median_profile(profiles: Sequence[Profile]) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Grid, pointwise median, lowest and highest; NaN where fewer than half of the trials reach."""
    if not profiles:
        empty = np.zeros(0)
        return empty, empty, empty, empty
    stack = np.array([profile.current_a for profile in profiles])
    reached = np.mean(~np.isnan(stack), axis=0) > 0.5
    lines = np.full((3, stack.shape[1]), np.nan)
    seen = stack[:, reached]
    lines[:, reached] = np.nanmedian(seen, axis=0), np.nanmin(seen, axis=0), np.nanmax(seen, axis=0)
    return profiles[0].fraction, lines[0], lines[1], lines[2]


def _scatter(profiles: Sequence[Profile], median_a: FloatArray) -> dict[int, tuple[FloatArray, float]]:
    """Scatter of single trials about the median, at every scan width."""
    if not profiles:
        return {}
    noise = np.array([profile.u_a for profile in profiles])
    misfits = [_misfit(profile.current_a, median_a) for profile in profiles]
    return {width: _scan_sd(misfits, noise, width) for width in SCAN_WIDTHS}


def _misfit(current_a: FloatArray, median_a: FloatArray) -> FloatArray:
    """One trial's difference to the median that level, scale and slope don't explain."""
    fit: Fit | None = fit_difference(current_a, median_a)
    return fit.misfit_a if fit is not None else np.full_like(median_a, np.nan)


def _scan_sd(misfits: Sequence[FloatArray], noise_a: FloatArray, width: int) -> tuple[FloatArray, float]:
    """Scatter at one width, and the degrees of freedom it is worth: never less than what the whole profile shows.

    A few trials know the scatter at one place badly, so it leans on that of all the others, and the more so the less
    the places differ beyond chance (``shared_variance``); it then is as well known as both together. The
    trials' misfits lie closer to their own median than a new trial does: n/(n-1).
    """
    smooth = np.array([smooth_over(misfit, width) for misfit in misfits])
    n = len(misfits)
    own_noise = float(np.sqrt(mean_known(noise_a**2) / width))
    if n < 2:
        return np.full(smooth.shape[1], own_noise), 0.0
    widen = n / (n - 1.0)
    common = float(np.sqrt(mean_known(smooth**2) * widen))
    local = mean_known(smooth**2, axis=0) * widen
    whole = ~np.isnan(smooth).any(axis=0)
    apart = local[whole][::width]  # smoothed places nearer than this are one place
    prior, worth = shared_variance(apart, n - 1)
    pooled = float((n - 1) * max(1, len(apart)))
    worth = min(worth, pooled)
    moderated = np.sqrt((worth * prior + (n - 1) * local) / (worth + n - 1))
    return np.maximum(moderated, max(common, own_noise)), min(worth + n - 1, pooled)
