"""The current while it runs: lowest and highest of each moment, with the lines that matter."""

import numpy as np

from logger.core.stroke.live import BUCKET_S, START_UP_S, LiveFigures
from tui.widgets.figure import Drawing, Level, Series
from tui.widgets.plot import Plot

LEAST_SPAN_S = 4.0


class LiveTrace(Plot):
    """Give it the levels once, then figures as they come."""

    def __init__(self, levels: tuple[Level, ...], expected_s: float) -> None:
        super().__init__(empty="")
        self._levels = levels
        self._span_s = max(1.15 * expected_s, LEAST_SPAN_S)

    def take(self, figures: LiveFigures) -> None:
        """The newest figures; the time axis grows by half when the throw runs out of it."""
        x, low, high = figures.strip_s, figures.strip_low_a, figures.strip_high_a
        while len(x) and x[-1] + BUCKET_S > self._span_s:
            self._span_s *= 1.5
        # The start-up surge is left out of the scale, else the run would be a thin line at the bottom.
        run = high[x >= START_UP_S] if len(x) else high
        highest = float(run.max()) if len(run) else 0.0
        top = max(1.25 * self._levels[0].y, 1.1 * highest)
        series = [Series(np.asarray(x), np.asarray(low), np.asarray(high))] if len(x) else []
        self.show(Drawing(0.0, self._span_s, 0.0, top, series, self._levels))
