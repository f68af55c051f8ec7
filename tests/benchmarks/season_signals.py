"""What each method says of the running current of an invented rig at each check, in either direction."""

import numpy as np

from tests.benchmarks.season_histories import Made
from throwbook.core.rig import DIRECTIONS
from throwbook.core.trend.change_test import NO_RISE
from throwbook.core.trend.control_chart import chart_and_points, fit_line
from throwbook.core.trend.history import FIGURES, RUN_CURRENT, RigHistory
from throwbook.core.trend.series import lines_of
from throwbook.core.trend.signals import (
    IN_CONTROL,
    OUT,
    CheckState,
    TestReading,
    check_states,
    rises_together,
)
from throwbook.core.trend.trend_result import drift_of, only

NOTHING = TestReading(NO_RISE, 0.0, 0.0, 1.0)


def signals(made: Made) -> np.ndarray:
    """shape (3, n): which check each method signals at, in either direction."""
    found = np.zeros((3, len(made.wear)), dtype=bool)
    rated = made.history.rig.actuator.full_load_current_a
    lines = [line for one in DIRECTIONS if (line := lines_of(made.history, one, RUN_CURRENT)[0]) is not None]
    both = rises_together(*lines)
    for line in lines:
        found[0] |= [one.state == OUT for one in check_states(line, both)]
        found[1] |= line.raw > rated
        first = line.throws[0]
        found[2] |= (line.raw > np.mean(first) + 3 * np.std(first, ddof=1)) & (np.arange(len(line.raw)) > 0)
    return found


def false_signals(history: RigHistory) -> np.ndarray:
    """Which of ``FIGURES`` ever signals, in either direction; of as-found throws nothing is asked."""
    found = []
    for figure in FIGURES:
        lines = [line for one in DIRECTIONS if (line := lines_of(history, one, figure)[0]) is not None]
        both = rises_together(*lines)
        found.append(any(one.state == OUT for line in lines for one in check_states(line, both)))
    return np.array(found)


def drifts(made: Made) -> np.ndarray:
    """shape (n,): at which checks the level is said to have crept up since the first check, on its day."""
    found = np.zeros(len(made.wear), dtype=bool)
    for count in range(2, len(found) + 1):
        seen = only(made.history, count)
        for direction in DIRECTIONS:
            line = lines_of(seen, direction, RUN_CURRENT)[0]
            if (
                line is not None and line.stage[-1] > line.stage[0]
            ):  # before the first service nothing can creep
                # The chart asks for states, creep doesn't.
                unsaid = [CheckState(IN_CONTROL, NO_RISE, NOTHING)] * len(line.checks)
                fit = fit_line(line)
                charts, points = chart_and_points(line, fit, unsaid)
                found[count - 1] |= drift_of(seen, line, fit, charts[-1], points) is not None
    return found
