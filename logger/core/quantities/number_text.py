"""A figure and its uncertainty as people write them."""

import math

from logger.core.assessment import Measured

NOT_KNOWN = "-"


def measured_text(measured: Measured | None, unit: str = "", most_decimals: int = 6) -> str:
    """Value ± expanded uncertainty, both to the uncertainty's first digit (two digits where that is a 1).

    Rule of rounding: JCGM 100, 7.2.6. With ``most_decimals`` the rest is cut and the uncertainty rounded up, so that it
    never looks smaller than it is. A figure that isn't known is a dash.

    >>> measured_text(Measured(1.50539, 0.0261), "A"), measured_text(Measured(13.2951, 0.0123), "s")
    ('1.51 ± 0.03 A', '13.295 ± 0.012 s')
    >>> measured_text(Measured(11.6104, 0.008), "s", most_decimals=2)
    '11.61 ± 0.01 s'
    >>> measured_text(None, "A")
    '-'
    """
    if measured is None or not math.isfinite(measured.value):
        return NOT_KNOWN
    space = f" {unit}" if unit else ""
    if not math.isfinite(measured.u) or measured.u <= 0.0:
        return f"{measured.value:.3g}{space}"
    decimals = min(_decimals(measured.u), most_decimals)
    u = (
        measured.u
        if decimals == _decimals(measured.u)
        else math.ceil(measured.u * 10.0**decimals) / 10.0**decimals
    )
    return f"{measured.value:.{decimals}f} ± {u:.{decimals}f}{space}"


def _decimals(u: float) -> int:
    """Decimals that show the first digit of ``u``, or its first two where the first is a 1; none above 1."""
    exponent = math.floor(math.log10(float(f"{u:.1e}")))
    first_digit = int(f"{u:.1e}"[0])
    return max(0, -exponent + (1 if first_digit == 1 else 0))


def percent_text(share: float) -> str:
    """A share of one as whole percent.

    >>> percent_text(0.624)
    '62 %'
    """
    return f"{100.0 * share:.0f} %"
