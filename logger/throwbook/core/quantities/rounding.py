"""A figure and its uncertainty as people write them."""

import math
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal

from throwbook.core.assessment import Measured

NOT_KNOWN = "-"


def measured_text(
    measured: Measured | None, unit: str = "", most_decimals: int = 6, more_decimals: int = 0
) -> str:
    """Value ± expanded uncertainty, both to the uncertainty's first digit (two digits where that is a 1).

    Rule of rounding: JCGM 100, 7.2.6. With ``most_decimals`` the rest is cut and the uncertainty rounded up, so that it
    never looks smaller than it is. ``more_decimals``: shown behind those. A figure that isn't known is a dash, a share (unit ``1``) is shown in percent.

    >>> measured_text(Measured(1.50539, 0.0261), "A"), measured_text(Measured(13.2951, 0.0123), "s")
    ('1.51 ± 0.03 A', '13.295 ± 0.012 s')
    >>> measured_text(Measured(11.6104, 0.008), "s", most_decimals=2)
    '11.61 ± 0.01 s'
    >>> measured_text(None, "A"), measured_text(Measured(1.042, 0.021), "1")
    ('-', '104 ± 2 %')
    """
    if measured is None or not math.isfinite(measured.value):
        return NOT_KNOWN
    if unit == "1":
        measured, unit = Measured(100.0 * measured.value, 100.0 * measured.u), "%"
    space = f" {unit}" if unit else ""
    if not math.isfinite(measured.u) or measured.u <= 0.0:
        return f"{measured.value:.3g}{space}"
    decimals = min(_decimals(measured.u), most_decimals)
    u = (
        measured.u
        if decimals == _decimals(measured.u)
        else math.ceil(measured.u * 10.0**decimals) / 10.0**decimals
    )
    decimals += more_decimals
    return f"{measured.value:.{decimals}f} ± {u:.{decimals}f}{space}"


MOST_MORE = 3
"""Decimals that are added at most, so that printed digits decide as the figure itself does."""


def judged_text(measured: Measured | None, limit: float, side: str, unit: str = "") -> str:
    """As ``measured_text``, with as many more decimals as make the printed digits decide as the figure does.

    Beside the limit as ``limit_text`` prints it: what passes by its whole uncertainty must be seen to, and so must what
    doesn't.

    >>> judged_text(Measured(0.8914, 0.0976), 0.7928, "min", "1"), judged_text(Measured(0.95, 0.0976), 0.7928, "min", "1")
    ('89.1 ± 9.8 %', '95 ± 10 %')
    """
    said = measured_text(measured, unit)
    if measured is None or not math.isfinite(measured.value) or not 0.0 < measured.u < math.inf:
        return said
    scale = 100.0 if unit == "1" else 1.0
    printed = Decimal(limit_text(limit, side, unit).partition(" ")[0])
    exact = [scale * (measured.value + way * measured.u) >= scale * limit for way in (-1, 1)]
    for more in range(MOST_MORE + 1):
        said = measured_text(measured, unit, more_decimals=more)
        value, _, u = said.removesuffix(f" {'%' if unit == '1' else unit}".rstrip()).partition(" ± ")
        if [Decimal(value) + way * Decimal(u) >= printed for way in (-1, 1)] == exact:
            break
    return said


def _decimals(u: float) -> int:
    """Decimals that show the first digit of ``u``, or its first two where the first is a 1; none above 1."""
    exponent = math.floor(math.log10(float(f"{u:.1e}")))
    first_digit = int(f"{u:.1e}"[0])
    return max(0, -exponent + (1 if first_digit == 1 else 0))


def rounded_down(value: float, decimals: int | None = None) -> str:
    """Digits that are never more than ``value``: for what must not be exceeded, and for what is proved to be reached.

    Without ``decimals``: four significant digits. Trailing noughts are dropped.

    >>> rounded_down(2.8567), rounded_down(100 * 0.05 ** (1 / 5), 1), rounded_down(100 * 1.15, 0)
    ('2.856', '54.9', '115')
    """
    return _rounded(value, decimals, ROUND_FLOOR)


def rounded_up(value: float, decimals: int | None = None) -> str:
    """Digits that are never less than ``value``: for what must at least be reached, such as a rest or a supply.

    >>> rounded_up(10.8), rounded_up(35.2, 0)
    ('10.8', '36')
    """
    return _rounded(value, decimals, ROUND_CEILING)


def limit_text(limit: float, side: str, unit: str = "") -> str:
    """A limit with its unit; rounded, where it must be, to the side on which nothing passes that shouldn't.

    ``side`` is that of a ``Check``: ``max`` or ``min``.

    >>> limit_text(2.8567, "max", "A"), limit_text(1.15, "max", "1"), limit_text(10.8, "min", "V")
    ('2.856 A', '115 %', '10.8 V')
    """
    if unit == "1":
        limit, unit = 100.0 * limit, "%"
    return f"{(rounded_down if side == 'max' else rounded_up)(limit)} {unit}".rstrip()


def _rounded(value: float, decimals: int | None, way: str) -> str:
    if not math.isfinite(value) or value == 0.0:
        return f"{value:g}"
    places = 3 - math.floor(math.log10(abs(value))) if decimals is None else decimals
    # 100 * 1.15 is 114.99999999999999: what binary fractions leave over is no part of the bound.
    exact = Decimal(f"{value:.12g}").quantize(Decimal(1).scaleb(-places), way)
    text = f"{exact:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def interval_text(value: float, low: float, high: float) -> str:
    """A change with its interval, all in the same decimals: three digits of the end that is further from nothing.

    >>> interval_text(-0.0738, -0.1502, -0.0013), interval_text(-4.5e-6, -0.0075, 0.0075)
    ('-0.074 (-0.150 to -0.001)', '0.00000 (-0.00750 to +0.00750)')
    """
    furthest = max(abs(low), abs(high))
    decimals = max(0, 2 - math.floor(math.log10(furthest))) if furthest > 0.0 else 2

    def text(number: float) -> str:
        said = f"{number:+.{decimals}f}"
        return said if float(said) else said[1:]

    return f"{text(value)} ({text(low)} to {text(high)})"


def percent_text(share: float) -> str:
    """A share of one as whole percent.

    >>> percent_text(0.624)
    '62 %'
    """
    return f"{100.0 * share:.0f} %"
