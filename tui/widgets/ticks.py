"""Round figures for the axes of a drawing."""

import math

STEPS = (1.0, 2.0, 5.0, 10.0)


def round_marks(low: float, high: float, most: int) -> list[tuple[float, str]]:
    """At most ``most`` multiples of 1, 2 or 5 times a power of ten between ``low`` and ``high``, with their words."""
    if not high > low or most < 1:
        return []
    power = 10.0 ** math.floor(math.log10((high - low) / most))
    step = next((one * power for one in STEPS if _count(low, high, one * power) <= most), 10.0 * power)
    decimals = max(0, -math.floor(math.log10(step) + 1e-9))
    first = math.ceil(low / step - 1e-9)
    # adding 0.0 makes a zero of "-0"
    values = [(first + number) * step + 0.0 for number in range(_count(low, high, step))]
    return [(value, f"{value:.{decimals}f}") for value in values]


def _count(low: float, high: float, step: float) -> int:
    return math.floor(high / step + 1e-9) - math.ceil(low / step - 1e-9) + 1
