"""Whether a sheet may be accepted: the one function that every path goes through.

The rules stand in ``acceptance_rules.py``, what an accepted sheet states in ``statement.py``.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from logger.core.assessment import PASS, UNDECIDED, WATCH, WORST_FIRST
from logger.core.records.records import Sighting
from logger.core.rig import Rig
from logger.core.sheets.acceptance_rules import RULES, Case, spreads
from logger.core.sheets.doubts import doubts
from logger.core.sheets.questions import cap
from logger.core.sheets.shared_risk import risks, worst_of_each
from logger.core.sheets.sheet import FilledSheet, SheetTrial
from logger.core.sheets.statement import not_proved, statement_of


@dataclass(frozen=True)
class Acceptance:
    """Whether a sheet may be accepted, what is missing, and what it would state."""

    ok: bool
    missing: tuple[str, ...]
    """One plain sentence each."""
    statement: str
    """Empty while something is missing."""
    verdict: str
    """Worst verdict of its throws, lowered by blanks."""
    because: tuple[str, ...] = ()
    """Why the verdict was lowered."""
    claims_lost: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()
    """What doesn't fit together and doesn't bar it."""
    not_proved: tuple[str, ...] = ()
    """Limits that nobody could read anything against: an acceptance says nothing of them."""
    shared_risk: tuple[str, ...] = ()
    """Readings that only shared risk accepts, the worst of each limit with its chance; chosen or not."""
    alerts: tuple[str, ...] = ()
    """What the throws show only together, and is over an alert limit."""


def acceptance(
    sheet: FilledSheet, trials: Sequence[SheetTrial], sightings: Sequence[Sighting], rig: Rig
) -> Acceptance:
    """Judge a sheet. Whoever stores "accepted" asks this first, with what is stored and not with what is claimed."""
    ordered = sorted(trials, key=lambda one: one.position)
    counting = tuple(one for one in ordered if not one.left_out)
    left_out = tuple(one for one in ordered if one.left_out)
    case = Case(sheet, counting, left_out, tuple(sightings), rig)
    missing = tuple(dict.fromkeys(sentence for rule in RULES for sentence in rule(case)))
    alerts = tuple(spreads(case))
    worst = _worst_verdict(counting)
    lowered = cap(WATCH if alerts and worst == PASS else worst, sheet.conditions)
    doubted = doubts(case)
    statement = "" if missing else statement_of(case, doubted, alerts)
    return Acceptance(
        ok=not missing,
        missing=missing,
        statement=statement,
        verdict=lowered.verdict,
        because=lowered.because,
        claims_lost=lowered.claims_lost,
        doubts=doubted,
        not_proved=not_proved(counting),
        shared_risk=tuple(f"{one.throw}: {one.says}" for one in worst_of_each(risks(counting))),
        alerts=alerts,
    )


def _worst_verdict(trials: Sequence[SheetTrial]) -> str:
    return min((one.assessment.verdict for one in trials), key=WORST_FIRST.index, default=UNDECIDED)
