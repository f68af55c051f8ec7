"""When a sheet may be accepted: one table of rules. Each gives a sentence for everything that is missing.

No computation here says what the pins do: it only checks that a person wrote down having seen each of them, and that
the figures kept their limits.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from throwbook.core.assessment import (
    CUT_OFF,
    FAIL,
    PASS,
    UNDECIDED,
    WATCH,
    Check,
    Measured,
)
from throwbook.core.diagnosis.verdict import check
from throwbook.core.machine.limits import NOT_JUDGED, guarded_run_current, limits_for, looser_limits
from throwbook.core.quantities.rounding import rounded_down, rounded_up
from throwbook.core.quantities.text import is_name
from throwbook.core.records import BENCH, COMMISSIONING, NO, SEEN, YES, Sighting
from throwbook.core.rig import LOCK, UNLOCK, Rig
from throwbook.core.sheets.shared_risk import risk_of
from throwbook.core.sheets.sheet import KINDS, FilledSheet, SheetTrial, as_found, lock_throws, seen_at
from throwbook.core.wording import SIGNS, limited

NOBODY_SIGNED = "nobody has signed"
NO_RUN_CURRENT = "no running current was read; a sheet cannot be accepted on travel time alone"
GIVE_THE_DAY = "throw again, and give the date and time of the throw"
CLOCKS_APART = timedelta(minutes=5)
"""Two clocks may differ by so much before a date counts as yet to come (assumed)."""


# ---- the rules: each gives a sentence for everything that is missing ----


@dataclass(frozen=True)
class AcceptanceCase:
    """Everything a rule may look at."""

    sheet: FilledSheet
    trials: tuple[SheetTrial, ...]
    """Those that count."""
    left_out: tuple[SheetTrial, ...]
    sightings: tuple[Sighting, ...]
    rig: Rig


def _has_pins(case: AcceptanceCase) -> list[str]:
    if case.sheet.kind == BENCH:
        return [
            "a bench sheet cannot be accepted, because there are no pins to look at; commission the rig on the machine"
        ]
    return []


def _enough_throws(case: AcceptanceCase) -> list[str]:
    asked = max(case.sheet.plan.throws_each_way, KINDS[case.sheet.kind][1])
    said = []
    for direction in (LOCK, UNLOCK):
        done = sum(one.direction == direction for one in case.trials)
        if done < asked:
            said.append(f"{asked} {direction} throws required, {done} on the sheet")
    return said


def _each_throw_once(case: AcceptanceCase) -> list[str]:
    ids = [one.id for one in case.trials]
    return [f"{one.name} is on the sheet twice" for one in case.trials if ids.count(one.id) > 1]


def _each_pin_seen(case: AcceptanceCase) -> list[str]:
    said = []
    for throw in lock_throws(case.trials):
        seen = seen_at(throw.id, case.sightings)
        for side, answer in (("left", seen.left_pin), ("right", seen.right_pin)):
            if answer != YES:
                said.append(f"{throw.name}: {side} pin {_how_not(answer, 'looked at')}")
        if seen.left_pin == seen.right_pin == YES and not seen.how:
            said.append(f"{throw.name}: it is not recorded how the pins were seen")
    return said


def _load_check_done(case: AcceptanceCase) -> list[str]:
    return _asked_of_each(
        case,
        "load_check",
        "the manufacturer's load check was not done",
        "the manufacturer's load check FAILED",
    )


def _retained_with_power_off(case: AcceptanceCase) -> list[str]:
    return _asked_of_each(
        case,
        "retained_power_off",
        "nobody tried whether the pins stay put with the power off",
        "the pins MOVED with the power off",
    )


def _asked_of_each(case: AcceptanceCase, name: str, not_done: str, failed: str) -> list[str]:
    said = []
    for throw in lock_throws(case.trials):
        answer = getattr(seen_at(throw.id, case.sightings), name)
        if answer != YES:
            said.append(f"{throw.name}: {failed if answer == NO else not_done}")
    return said


def _how_not(answer: str, verb: str) -> str:
    return "was looked at and NOT seen in its hole" if answer == NO else f"was not {verb}"


def _every_limit_met(case: AcceptanceCase) -> list[str]:
    """Limits of the rating kept, guarded; an alert bars nothing, nor does what nobody could read."""
    said = []
    for throw in case.trials:
        judged = throw.assessment
        if not judged.usable:
            said.append(
                f"{throw.name}: the record cannot be judged: {judged.unusable_because or 'no reason given'}"
            )
            continue
        said += [
            f"{throw.name}: {SIGNS[sign.sign].column}: {sign.because}"
            for sign in judged.signs
            if sign.level == FAIL or sign.settle
        ]
        barring = [one for one in _held_against(throw, case.rig) if not _may_stand(one, throw, case.sheet)]
        said += [_barred(one, throw, case.sheet) for one in barring]
        fine = judged.verdict in (PASS, WATCH) or (
            judged.verdict == UNDECIDED and _at_shared_risk(throw, case)
        )
        if not fine and not any(throw.name in one for one in said):
            said.append(f"{throw.name}: {judged.verdict}: {judged.because}")
    return said


def _held_against(throw: SheetTrial, rig: Rig) -> list[Check]:
    """A throw's limits as they were judged; without a peak the running current counts by its own guarded limit."""
    judged = throw.assessment
    held = list(judged.checks)
    if any(one.name == "peak_run_current" and nobody_could_read(one, throw) for one in held):
        run = check("run_current", judged.figures.run_current_a, guarded_run_current(rig), throw.by_hand)
        held = [run if one.name == "run_current" and one.decision in (PASS, WATCH) else one for one in held]
    return held


def _may_stand(one: Check, throw: SheetTrial, sheet: FilledSheet) -> bool:
    if one.decision in (PASS, WATCH) or nobody_could_read(one, throw):
        return True
    return sheet.takes_shared_risk and risk_of(throw, one) is not None


def _at_shared_risk(throw: SheetTrial, case: AcceptanceCase) -> bool:
    """Whether all that is undecided about a throw is what shared risk was chosen for."""
    if not case.sheet.takes_shared_risk:
        return False
    undecided = [one for one in throw.assessment.checks if one.decision == UNDECIDED]
    return bool(undecided) and all(risk_of(throw, one) is not None for one in undecided)


def nobody_could_read(one: Check, throw: SheetTrial) -> bool:
    """A limit left unjudged for want of a channel, or of a meter that holds the peak: not proved, and no bar.

    A recorded peak that is missing was lost to range, gaps, clock or noise.
    """
    if one.decision != NOT_JUDGED:
        return False
    return one.name == "supply_under_load" or (one.name == "peak_run_current" and throw.by_hand)


def _barred(one: Check, throw: SheetTrial, sheet: FilledSheet) -> str:
    settle = f"; {one.settle[:1].lower()}{one.settle[1:].rstrip('.')}" if one.settle else ""
    if one.decision == NOT_JUDGED and throw.by_hand and throw.assessment.end == CUT_OFF:
        settle = "; no reading: leave this throw out, throw again and take the reading"
    risk = risk_of(throw, one)
    if risk is not None and not sheet.answers_out_of_use:
        settle += f"; or accept it by shared risk; the chance that it is beyond the limit is at most {rounded_up(100 * risk.chance, 1)} %"
    return f"{throw.name}: {limited(one.name)}: {one.decision}{settle}"


def _shared_risk_allowed(case: AcceptanceCase) -> list[str]:
    if not (case.sheet.shared_risk and case.sheet.answers_out_of_use):
        return []
    return ["shared risk cannot be chosen on a sheet that is to clear a 'do not use': use a better meter"]


def _limits_not_loosened(case: AcceptanceCase) -> list[str]:
    return [
        f"{what}: no reason loosens it beyond that; correct the rig file, then judge the sheet again"
        for what in looser_limits(case.rig).values()
    ]


def _current_was_read(case: AcceptanceCase) -> list[str]:
    return [
        f"{throw.name}: {NO_RUN_CURRENT}"
        for throw in case.trials
        if throw.assessment.usable and throw.assessment.figures.run_current_a is None
    ]


def spreads(case: AcceptanceCase) -> list[str]:
    """Alert: the throws of one direction differ among each other by more than the limit. It bars nothing."""
    limit = limits_for(case.rig)["spread_run_current"].value
    apart = as_found(case.sheet.conditions, case.trials)
    said = []
    for direction in (LOCK, UNLOCK):
        found = _spread([one for one in case.trials if one.direction == direction and one.id not in apart])
        if found is not None and found > limit:
            said.append(
                f"the running current of the {direction} throws spreads {100 * found:.1f} %, over the limit of {rounded_down(100 * limit, 1)} %"
            )
    return said


def _spread(trials: Sequence[SheetTrial]) -> float | None:
    """Largest less smallest running current, over their mean; None with fewer than two readings."""
    currents = [
        one.assessment.figures.run_current_a.value
        for one in trials
        if one.assessment.figures.run_current_a is not None
    ]
    if len(currents) < 2:
        return None
    return (max(currents) - min(currents)) / (sum(currents) / len(currents))


def _nothing_bad_left_out(case: AcceptanceCase) -> list[str]:
    return [
        f"{throw.name}: left out ({throw.left_out}), but it failed: plan a new sheet"
        for throw in case.left_out
        if throw.assessment.verdict == FAIL
        or NO in (getattr(seen_at(throw.id, case.sightings), name) for name in SEEN)
    ]


def _day_is_known(case: AcceptanceCase) -> list[str]:
    """On the way out of ``do not use`` a throw without a day can't prove that it came after the repair."""
    if case.sheet.kind != COMMISSIONING or not case.sheet.answers_out_of_use:
        return []
    return [
        f"{throw.name}: no date and time was recorded, so it cannot show that it was thrown after the repair; {GIVE_THE_DAY}"
        for throw in case.trials
        if throw.started is None
    ]


def _moves_the_mechanism(case: AcceptanceCase) -> list[str]:
    """A running current that isn't above no-load by more than its uncertainty may be the motor alone, its drive off."""
    if case.sheet.kind != COMMISSIONING:
        return []
    idle_a = case.rig.actuator.no_load_current_a
    said = []
    for throw in case.trials:
        run = throw.assessment.figures.run_current_a
        if run is None or run.value - run.u > idle_a or _bench_ran_lower(run, throw.direction, case.sheet):
            continue
        said.append(
            f"{throw.name}: light run: {run.value:.2f} ± {run.u:.2f} A is not above the no-load current of {idle_a:.2f} A by more than its uncertainty. The drive may be disconnected from the mechanism. Look at the linkage, or show with a bench sheet that this actuator draws less with no load"
        )
    return said


def _bench_ran_lower(run: Measured, direction: str, sheet: FilledSheet) -> bool:
    """Whether a bench sheet has the actuator by itself drawing less, the same way, by more than both readings leave open."""

    def lower(throws: Sequence[SheetTrial]) -> bool:
        judged = [one.assessment for one in throws if one.direction == direction]
        read = [one.figures.run_current_a for one in judged if one.usable and one.end == CUT_OFF]
        alone = [one for one in read if one is not None]
        return bool(alone) and all(run.value - one.value > math.hypot(run.u, one.u) for one in alone)

    return any(lower(throws) for throws in sheet.bench)


def _thrown_after_the_repair(case: AcceptanceCase) -> list[str]:
    if not case.sheet.plan.throws_after:
        return []
    after = datetime.fromisoformat(case.sheet.plan.throws_after)
    return [
        f"{throw.name}: dated {throw.started:%Y-%m-%d %H:%M}, before the order that this sheet is to clear ({after:%Y-%m-%d %H:%M})"
        for throw in case.trials
        if throw.started is not None and throw.started < after
    ]


def _thrown_by_a_machine(case: AcceptanceCase) -> list[str]:
    if case.sheet.practice:
        return []
    return [
        f"{throw.name}: made by {throw.simulated_by}; that says nothing about this machine"
        for throw in case.trials
        if throw.simulated_by
    ]


def _thrown_before_signing(case: AcceptanceCase) -> list[str]:
    at = case.sheet.signed_at
    return [
        f"{throw.name}: dated {throw.started:%Y-%m-%d %H:%M}, in the future, so nobody can have looked at its pins; set the clock and throw again"
        for throw in case.trials
        if at is not None and throw.started is not None and throw.started > at + CLOCKS_APART
    ]


def _judged_by_this_rig_file(case: AcceptanceCase) -> list[str]:
    now = case.sheet.rig_version
    return [
        f"{throw.name}: judged by another version of the rig file; judge the sheet again by the one that counts now"
        for throw in case.trials
        if now and throw.rig_version and throw.rig_version != now
    ]


def _signed(case: AcceptanceCase) -> list[str]:
    return [] if is_name(case.sheet.signed) else [NOBODY_SIGNED]


RULES: tuple[Callable[[AcceptanceCase], list[str]], ...] = (
    _has_pins,
    _day_is_known,
    _enough_throws,
    _each_throw_once,
    _each_pin_seen,
    _load_check_done,
    _retained_with_power_off,
    _judged_by_this_rig_file,
    _limits_not_loosened,
    _shared_risk_allowed,
    _every_limit_met,
    _current_was_read,
    _moves_the_mechanism,
    _nothing_bad_left_out,
    _thrown_after_the_repair,
    _thrown_by_a_machine,
    _thrown_before_signing,
    _signed,
)
