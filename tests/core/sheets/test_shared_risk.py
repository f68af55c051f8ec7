"""What may be accepted although a meter can't guard it: never over a limit, never by more than a chance in ten, never unasked."""

from dataclasses import replace
from math import erfc, sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.core.sheet_builders import NOON, RIG, seen, sheet, throw, throws
from throwbook.core.assessment import Check, Figures, Measured
from throwbook.core.machine.limits import decide, limits_for
from throwbook.core.quantities.statistics import chance_beyond, false_accept_risk
from throwbook.core.rig import LimitOverride
from throwbook.core.sheets.acceptance import acceptance
from throwbook.core.sheets.hand_readings import Accuracy
from throwbook.core.sheets.shared_risk import MOST, chance_over, reach, reach_said, risk_of


def peak(value: float, u: float, decision: str | None = None) -> Check:
    measured = Measured(value, u)
    decision = decision or decide(measured, 3.6, "max")
    return Check("peak_run_current", measured, 3.6, "max", "A", "100 % of the full-load current", decision)


def with_peak(check: Check, position: int = 1, **changed: object):
    trials = throws()
    verdict = "undecided" if check.decision == "undecided" else "pass"
    checks = (*trials[position - 1].assessment.checks, check)
    trials[position - 1] = throw(position, trials[position - 1].direction, checks=checks, verdict=verdict)
    trials = [replace(one, started=NOON, by_hand=True) for one in trials]
    return acceptance(sheet(**changed), trials, seen(trials), RIG)


def test_at_the_limit_itself_simple_acceptance_is_wrong_every_second_time():
    # ILAC-G8:09/2019 and JCGM 106: without a guard band 50 %, with one of U 2.28 % (below 2.5 %).
    assert chance_beyond(0.0, 1.0) == pytest.approx(0.5)
    assert chance_beyond(2.0, 1.0) == pytest.approx(0.5 * erfc(2.0 / sqrt(2.0)))


def test_the_chance_is_that_of_the_distribution_which_gives_more():
    # A rectangle of half-width sqrt(3) u has a tail of 21.1 % beyond u, the normal one 15.9 %; beyond 1.7 u it has next to none.
    assert chance_beyond(1.0, 1.0) == pytest.approx(0.5 - 0.5 / sqrt(3.0))
    assert chance_beyond(1.7, 1.0) == pytest.approx(false_accept_risk(1.7, 1.0))


@given(room=st.floats(0.0, 5.0), u=st.floats(0.01, 2.0))
def test_the_chance_never_lies_below_either(room: float, u: float):
    half_width = sqrt(3.0) * u
    assert chance_beyond(room, u) >= false_accept_risk(room, u)
    assert chance_beyond(room, u) >= (half_width - room) / (2.0 * half_width) - 1e-12
    assert chance_beyond(room, u) <= 0.5


@given(value=st.floats(0.1, 6.0), u=st.floats(0.001, 2.0), choice=st.booleans(), out=st.booleans())
def test_a_reading_is_accepted_guarded_or_by_a_choice_within_one_in_ten_and_no_other_way(
    value, u, choice, out
):
    check = peak(value, u)
    found = with_peak(check, shared_risk=choice, answers_out_of_use=out)
    there_u = u * max(3.6 / value, 1.0)  # a truth over the limit is read with the ± of there
    within = value <= 3.6 and chance_beyond(3.6 - value, there_u / 2.0) <= MOST
    guarded = check.decision == "pass"
    assert found.ok == (
        (guarded and not (choice and out))
        or (check.decision == "undecided" and choice and within and not out)
    )
    assert ("SHARED RISK" in found.statement) == (found.ok and not guarded)


@pytest.mark.parametrize("name", ["travel_done", "travel_time_low", "travel_time_high"])
def test_only_what_a_meter_reads_can_be_taken_by_shared_risk(name: str):
    check = replace(peak(3.5, 0.2, "undecided"), name=name)
    assert risk_of(throw(1, "lock"), check) is None
    assert not with_peak(check, shared_risk=True).ok


def test_without_a_peak_the_running_current_counts_by_its_own_guarded_limit_even_where_it_was_judged_by_another():
    """The rig's own limit may give up the 80 %, not what stands in for the rating."""
    run = Check("run_current", Measured(3.0, 0.1), 3.6, "max", "A", "this rig: it runs hot", "pass")
    unread = Check("peak_run_current", None, 3.6, "max", "A", "rated", "not judged")
    trials = [
        replace(
            throw(n, way, checks=(run, unread), figures=Figures(run_current_a=Measured(3.0, 0.1))),
            by_hand=True,
        )
        for n, way in ((one.position, one.direction) for one in throws())
    ]
    hot = replace(RIG, limits={"run_current": LimitOverride(3.6, "it runs hot")})
    assert "running current: fail" in acceptance(sheet(), trials, seen(trials), hot).missing[0]
    read = [replace(one, by_hand=False) for one in trials]  # recorded: a peak that is missing was lost
    assert "peak running current: not judged" in acceptance(sheet(), read, seen(read), hot).missing[0]


@pytest.mark.parametrize(
    ("digits", "coarse_a", "finer_a"), [(0.0, 3.3, 3.38), (5.0, 2.9, 3.36), (40.0, None, 3.03)]
)
def test_a_meter_of_finer_steps_is_advised_where_it_accepts_a_whole_step_more(digits, coarse_a, finer_a):
    """Limit 3.6 A, 2 %, read by eye to 5 %: 3.3 A has U = 2 sqrt((0.066^2 + 0.165^2) / 3 + 0.1^2 / 12) = 0.21 A, 3.4 A 0.22 A."""
    clamp = Accuracy(0.02, digits)
    peak = limits_for(RIG)["peak_run_current"]
    assert (reach(peak, clamp, 0.1).guarded, reach(peak, clamp, 0.01).guarded) == (coarse_a, finer_a)
    advised = [one for one in reach_said(RIG, clamp, 0.1) if one.startswith("the same meter")]
    more = finer_a - (0.0 if coarse_a is None else coarse_a) >= 0.1
    assert advised == [f"the same meter with steps of 0.01 A: up to {finer_a:g} A"] * more


def test_a_reading_of_nothing_by_a_meter_that_may_read_nothing_is_taken_by_no_shared_risk():
    """0 A shown by a meter with a ± greater than the rating: what it would be off at the rating can't be told from that."""
    assert risk_of(throw(1, "lock"), peak(0.0, 4.0, "undecided")) is None


def test_a_truth_at_an_upper_limit_would_have_been_read_with_the_greater_uncertainty_of_there():
    """3.2 A known to 0.4 A, limit 3.6 A: at the limit it is 0.45 A, k = 2. 0.4 A are 1.778 of its 0.225 A: 3.77 % (any table)."""
    assert chance_over(Measured(3.2, 0.4), 3.6, "max") == pytest.approx(0.0377, abs=5e-5)
    # Under a lower limit less would have been read, by a meter that is off by less: its own ± counts. 2 sigma: 2.28 %.
    assert chance_over(Measured(11.2, 0.4), 10.8, "min") == pytest.approx(0.02275, abs=5e-5)
