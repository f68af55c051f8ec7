"""The baseline: what healthy throws of this rig in one direction look like, and how much they differ.

The profile is the pointwise median of the trials; the spread is the scatter of single trials about it. Limits drawn
from n trials use the prediction factor for n, never a plain "3 sigma".
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from logger.core.assessment import Assessment, Profile
from logger.core.quantities.numerics import prediction_factor, shared_variance, t_quantile
from logger.core.stroke.shape import SCAN_WIDTHS, Fit, fit_difference, mean_known, smooth_over
from logger.core.trace import FloatArray
from logger.errors import InputError

PRACTICE_SPREAD = 0.10
"""Spread of running current within a set that common practice accepts (*practice*): nothing smaller is called a
change of the machine."""


@dataclass(frozen=True)
class Spread:
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
    figures: dict[str, Spread]
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

    Trials that did not run to a cut-off are refused, since they can't tell what healthy is.

    Raises
    ------
    InputError
        No trial, trials of both directions, or one that isn't usable or not complete.
    """
    if not trials:
        raise InputError("no trial to make a baseline from", do="Give at least one healthy trace.")
    for trial in trials:
        if trial.direction != trials[0].direction:
            raise InputError(
                "a baseline needs trials of one direction", trial.file, "Give lock and unlock apart."
            )
        if not trial.usable or trial.end != "cut-off":
            why = trial.unusable_because or f"it ended as '{trial.end}'"
            raise InputError(f"not fit for a baseline: {why}", trial.file, "Leave it out.")
    names = [name for name, _ in trials[0].figures.items()]
    figures = {name: spread for name in names if (spread := _spread(trials, name)) is not None}
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


def _spread(trials: Sequence[Assessment], name: str) -> Spread | None:
    """Mean and standard deviation of one figure over the trials that gave it."""
    values = [figure.value for trial in trials if (figure := getattr(trial.figures, name)) is not None]
    if not values or (len(values) < 2 <= len(trials)):
        return None
    return Spread(
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
