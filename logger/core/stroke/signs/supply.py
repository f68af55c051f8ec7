"""Signs of the supply and of what is lost on the way, and of a movement slower than they account for."""

from logger.core.assessment import CUT_OFF, WATCH, Sign
from logger.core.machine.limits import LIMITS, LONG_BAND, SHORT_BAND, SHORT_STROKE_S
from logger.core.stroke.baseline import PRACTICE_SPREAD
from logger.core.stroke.evidence import Evidence

LOW_SHARE = 0.95
"""A lead-acid battery at rest below 1.9 V a cell, 95 % of nominal, is flat (*practice*)."""
SUPPLY_LIMIT = LIMITS["supply_under_load"].share
"""Supply under load, of the nominal one, where the rig says nothing else."""
LARGER_DROP = 0.03
"""More drop than before counts from 3 % of the nominal voltage at the rated current on (*practice*: the usual
allowance for a cable that matters)."""


def slow_travel(evidence: Evidence) -> Sign | None:
    """Slower than current and voltage account for."""
    if evidence.end != CUT_OFF or evidence.figures.travel_time_s is None:
        return None
    slower = evidence.travel_share - 1.0
    time_s = evidence.figures.travel_time_s.value
    spread = evidence.baseline.figures.get("back_emf_vs") if evidence.baseline else None
    if spread is not None:
        limit = max(PRACTICE_SPREAD, spread.reach() / spread.mean)
        against = "the baseline"
    else:
        limit = SHORT_BAND if time_s < SHORT_STROKE_S else LONG_BAND
        limit += 2.0 * evidence.travel_share_u
        against = "the rating"
    if not evidence.moved.from_voltage:
        limit = max(limit, 1.0 / SUPPLY_LIMIT - 1.0 + PRACTICE_SPREAD)  # the supply may account for that much
    if slower <= limit:
        return None
    blind = (
        "" if evidence.moved.from_voltage else "; without a voltage reading a low supply can't be ruled out"
    )
    return Sign(
        "slow-travel",
        WATCH,
        f"{time_s:.2f} s is {100 * slower:.0f} % slower than current and voltage account for, against {against}{blind}",
        value=slower,
        limit=limit,
        unit="1",
    )


def low_supply(evidence: Evidence) -> Sign | None:
    """The supply itself is low, at rest too."""
    rest, nominal = evidence.figures.rest_voltage_v, evidence.rig.actuator.voltage_v
    if rest is None or rest.value + rest.u >= LOW_SHARE * nominal:
        return None
    return Sign(
        "low-supply",
        WATCH,
        f"{rest.value:.1f} V at rest, {100 * (rest.value / nominal):.0f} % of the nominal {nominal:g} V: the supply itself is low",
        value=rest.value,
        limit=LOW_SHARE * nominal,
        unit="V",
    )


def supply_drop(evidence: Evidence) -> Sign | None:
    """Too much voltage lost per ampere upstream of the board."""
    source = evidence.figures.source_resistance_ohm
    if source is None:
        return None
    nominal, rated = evidence.rig.actuator.voltage_v, evidence.rig.actuator.full_load_current_a
    limit = (1.0 - SUPPLY_LIMIT) * nominal / rated
    against = f"more than a tenth of {nominal:g} V at the rated current"
    spread = evidence.baseline.figures.get("source_resistance_ohm") if evidence.baseline else None
    if spread is not None:
        more = max(spread.reach(0.999), 0.5 * spread.mean, LARGER_DROP * nominal / rated)
        if spread.mean + more < limit:
            limit, against = spread.mean + more, f"the baseline has {spread.mean * 1000:.0f} mV"
    if source.value - source.u <= limit:
        return None
    return Sign(
        "supply-drop",
        WATCH,
        f"{source.value * 1000:.0f} mV lost upstream of the board for each ampere; {against}",
        value=source.value,
        limit=limit,
        unit="ohm",
    )
