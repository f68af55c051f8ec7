"""What is printed of a figure beside its limit decides as the figure does."""

from decimal import Decimal

from hypothesis import given
from hypothesis import strategies as st

from throwbook.core.assessment import Measured
from throwbook.core.quantities.rounding import judged_text, limit_text, measured_text

SHARES = st.floats(0.5, 1.5)


@given(SHARES, st.floats(0.005, 0.3), SHARES, st.sampled_from(["min", "max"]))
def test_printed_digits_decide_as_the_figure_does(value, u, limit, side):
    apart = min(abs(value - u - limit), abs(value + u - limit))
    printed = Decimal(limit_text(limit, side, "1").removesuffix(" %"))
    said, _, around = judged_text(Measured(value, u), limit, side, "1").removesuffix(" %").partition(" ± ")
    ends = [Decimal(said) + way * Decimal(around) >= printed for way in (-1, 1)]
    if apart > 2e-4:  # the limit itself is printed to 0.1 per mille
        assert ends == [value - u >= limit, value + u >= limit]


def test_no_digit_more_than_the_uncertainty_supports_where_nothing_asks_for_it():
    read = Measured(0.95, 0.0976)
    assert judged_text(read, 0.7928, "min", "1") == measured_text(read, "1") == "95 ± 10 %"
    assert judged_text(Measured(0.892, 0.0976), 0.7928, "min", "1") == "89.2 ± 9.8 %"
