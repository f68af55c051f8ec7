"""Zero and gain of a board's current channel, from readings against a reference meter.

The line ``true = zero + gain * shown`` is fitted by weighted least squares; each point weighs by its own uncertainty
(meter and board together). Formulas: weighted straight-line fit as in any text on linear regression; the unweighted
case is checked against NIST StRD "Norris" in the tests. Uncertainty of a corrected value: JCGM 100, 5.2 (zero and gain
are correlated, so their covariance is carried).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from throwbook.core.trace import FloatArray
from throwbook.errors import InputError

FEWEST_CURRENTS = 2
WORTH_A_LOOK_GAIN = 0.05
"""A gain further from 1 than this is more likely a wrong shunt or a wrong meter range. Common practice, no source."""


LEAST_GAIN, MOST_GAIN = 0.5, 2.0
MOST_GAIN_U = 0.1
"""A line beyond these is no calibration: the current wasn't on, or the wrong wire was measured. Assumed."""
GAIN_U_KEY = "current_gain_u"
"""Head key of a trace: relative standard uncertainty of its currents, from the calibration."""


@dataclass(frozen=True)
class CalibrationPoint:
    """One current held steady while both were read."""

    true_a: float
    """What the reference meter showed [A]."""
    u_true_a: float
    """Its standard uncertainty [A]."""
    shown_a: float
    """Mean of what the board showed, uncorrected [A]."""
    u_shown_a: float
    """Standard uncertainty of that mean [A]."""


@dataclass(frozen=True)
class CurrentCalibration:
    """The fitted line. ``true = zero_a + gain * shown``."""

    zero_a: float
    gain: float
    u_zero_a: float
    """Standard uncertainties and the covariance of both."""
    u_gain: float
    covariance: float
    scatter: float
    """Square root of the weighted residual sum over its degrees of freedom; about 1 when the uncertainties are right. 0
    with two points, which leave nothing over."""
    points: int
    low_a: float
    """Lowest and highest current it rests on."""
    high_a: float

    def corrected(self, shown_a: FloatArray) -> FloatArray:
        """True current [A] for what the board showed, shape (n,) in and out."""
        return self.zero_a + self.gain * shown_a

    def u_at(self, shown_a: float) -> float:
        """Standard uncertainty [A] that the calibration leaves in a corrected current."""
        variance = self.u_zero_a**2 + (shown_a * self.u_gain) ** 2 + 2 * shown_a * self.covariance
        return float(np.sqrt(max(variance, 0.0)))

    def relative_u(self, current_a: float) -> float:
        """That as a share of ``current_a`` [A], which isn't zero."""
        return self.u_at(current_a) / abs(current_a)


@dataclass(frozen=True)
class CalibrationRecord:
    """A calibration with who, when, against what, and until when."""

    board: str
    line: CurrentCalibration
    done_on: date
    due_on: date
    instrument: str
    id: str = ""

    def is_due(self, today: date) -> bool:
        """Whether it should be done anew."""
        return today > self.due_on


def fit_calibration(points: Sequence[CalibrationPoint]) -> CurrentCalibration:
    """Fit the line. Raises InputError with fewer than two different currents or an uncertainty of zero.

    >>> line = fit_calibration([CalibrationPoint(0.0, 0.01, 0.02, 0.001), CalibrationPoint(4.0, 0.01, 4.1, 0.001)])
    >>> round(line.gain, 4), round(line.zero_a, 4)
    (0.9804, -0.0196)
    """
    shown = np.array([point.shown_a for point in points])
    true = np.array([point.true_a for point in points])
    _refuse_unusable(points, shown)
    gain = 1.0
    for _ in range(3):  # the board's own scatter counts through the gain, which is near 1
        u = np.array([np.hypot(point.u_true_a, gain * point.u_shown_a) for point in points])
        weight = 1.0 / u**2
        centre = np.sum(weight * shown) / np.sum(weight)
        spread = np.sum(weight * (shown - centre) ** 2)
        gain = float(np.sum(weight * (shown - centre) * true) / spread)
    zero = float(np.sum(weight * (true - gain * shown)) / np.sum(weight))
    left_over = len(points) - 2
    chi2 = float(np.sum(weight * (true - zero - gain * shown) ** 2))
    scatter = float(np.sqrt(chi2 / left_over)) if left_over else 0.0
    # Points that scatter more than their uncertainties say make the line less sure; never surer.
    widen = max(1.0, scatter)
    u_gain = widen / np.sqrt(spread)
    u_zero = widen * np.sqrt(1.0 / np.sum(weight) + centre**2 / spread)
    if not LEAST_GAIN <= gain <= MOST_GAIN or u_gain > MOST_GAIN_U:
        raise InputError(
            f"these readings do not fit a straight line (gain {gain:.3g} +/- {2 * u_gain:.2g})",
            "calibrate",
            "Did the same steady current flow through both? Read them again, at currents far enough apart",
        )
    return CurrentCalibration(
        zero_a=zero,
        gain=gain,
        u_zero_a=float(u_zero),
        u_gain=float(u_gain),
        covariance=float(-(widen**2) * centre / spread),
        scatter=scatter,
        points=len(points),
        low_a=float(true.min()),
        high_a=float(true.max()),
    )


def doubts(line: CurrentCalibration) -> list[str]:
    """What a person should look at before trusting the line; empty when nothing."""
    said = []
    if abs(line.gain - 1.0) > WORTH_A_LOOK_GAIN:
        said.append(f"the gain is {line.gain:.3f}, far from 1: look at the shunt value and the meter's range")
    if line.points == FEWEST_CURRENTS:
        said.append("any two points make a line: a third current would check it")
    if line.scatter > 2.0:
        said.append(
            f"the points scatter {line.scatter:.1f} times as much as their uncertainties say: "
            "was the current steady, and the meter's accuracy typed correctly?"
        )
    return said


def _refuse_unusable(points: Sequence[CalibrationPoint], shown: FloatArray) -> None:
    if len(points) < FEWEST_CURRENTS or float(np.ptp(shown)) <= 0.0:
        raise InputError(
            "a calibration needs at least two different currents",
            "calibrate",
            "Read meter and board once with no current, and once or more at a steady current (a lamp, a heater)",
        )
    if not all(np.hypot(point.u_true_a, point.u_shown_a) > 0 for point in points):
        raise InputError(
            "a point without any uncertainty", "calibrate", "Give the meter's accuracy, for example 1.5%"
        )
