"""Whether a sheet may be accepted, what is doubtful about it, and what it then states: the one way for every path."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

from throwbook.core.assessment import PASS, WATCH, Assessment, Measured, worst_verdict
from throwbook.core.diagnosis.repeatability import duty_signs, no_own_time, overlaps
from throwbook.core.machine.electrical import ASSUMED_DUTY
from throwbook.core.machine.limits import limits_for
from throwbook.core.quantities.rounding import limit_text, measured_text, rounded_down
from throwbook.core.quantities.text import counted
from throwbook.core.quantities.units import show_duration
from throwbook.core.records import PinAnswers, Sighting
from throwbook.core.rig import LOCK, UNLOCK, Rig
from throwbook.core.sheets.acceptance_rules import RULES, AcceptanceCase, nobody_could_read, spreads
from throwbook.core.sheets.conditions import cap, with_air
from throwbook.core.sheets.shared_risk import risks, worst_of_each
from throwbook.core.sheets.sheet import FilledSheet, SheetTrial, lock_throws, seen_at, withdrawn
from throwbook.core.sizing.sizing import coverage_line, not_covered
from throwbook.core.wording import SIGNS, limited


def doubts(case: AcceptanceCase) -> tuple[str, ...]:
    """One sentence, without its full stop, for each."""
    return tuple(sentence for rule in DOUBTS for sentence in rule(case))


def _moved_lately(case: AcceptanceCase) -> list[str]:
    """The hours since the last movement, against the throws that the logbook itself holds."""
    hours, before = case.sheet.conditions.hours_since_movement, case.sheet.moved_before
    started = [one.started for one in case.trials if one.started is not None]
    if hours is None or before is None or not started:
        return []
    idle_s = (min(started) - before).total_seconds()
    if not 0.0 <= idle_s < 0.5 * 3600.0 * hours:  # a clock an hour off says nothing
        return []
    return [
        f"{hours:g} h since it last moved is recorded, but the logbook holds a throw {show_duration(idle_s)} before the first one"
    ]


def _typed_again(case: AcceptanceCase) -> list[str]:
    """Throws are never read the same in every digit as a whole sheet of before."""
    other = case.sheet.same_readings_on
    return [f"all its readings are also on sheet {other}, digit for digit"] if other else []


def _rests_too_short(case: AcceptanceCase) -> list[str]:
    """Run against rest over the whole sheet, however its throws came in; a time that can't be gives no rest."""
    throws = _all_timed(case)
    known = case.rig.actuator.duty_cycle
    actuator = replace(case.rig.actuator, duty_cycle=known or ASSUMED_DUTY)
    short = duty_signs(throws, actuator).values()
    if all(one.level != WATCH for one in short):
        return []
    duty = f"{100 * (known or ASSUMED_DUTY):g} %{'' if known else ' (assumed)'}"
    return [
        f"the rests before {counted(len(short), 'throw')} were shorter than the duty cycle of {duty} calls for: the motor "
        "was warming"
    ]


def _overlapping(case: AcceptanceCase) -> list[str]:
    """One actuator can't begin a throw before the last one has ended."""
    runs = overlaps(_all_timed(case))
    if not runs:
        return []
    return [
        f"{counted(runs, 'throw')} began before the previous throw had ended, by their times. Correct the times: no rest can be worked out from these"
    ]


def _no_own_time(case: AcceptanceCase) -> list[str]:
    """Throws that share the time of an earlier one: their order alone is known."""
    throws = no_own_time(_all_timed(case))
    if not throws:
        return []
    have = "has no time of its own" if throws == 1 else "have no time of their own"
    return [f"{counted(throws, 'throw')} {have}: nobody knows whether the rests were kept"]


def _times_to_excuse(case: AcceptanceCase) -> tuple[str, ...]:
    """Doubtful times that whoever signs gives a reason for. Throws that came in together, as from paper, never had a clock."""
    moments = {(one.started, one.entered) for one in case.trials if one.started is not None}
    one_by_one = len({started for started, _ in moments}) < len(moments)
    return (*_overlapping(case), *(_no_own_time(case) if one_by_one else ()))


def _all_timed(case: AcceptanceCase) -> list[Assessment]:
    return [_timed(one) for one in (*case.trials, *case.left_out)]


def _timed(throw: SheetTrial) -> Assessment:
    """A throw by hand ran for its travel time from when it was thrown."""
    judged = throw.assessment
    if judged.figures.start_s is not None or judged.figures.travel_time_s is None:
        return replace(judged, started=throw.started)
    figures = replace(judged.figures, start_s=Measured(0.0, 0.0), end_s=judged.figures.travel_time_s)
    return replace(judged, started=throw.started, figures=figures)


DOUBTS: tuple[Callable[[AcceptanceCase], list[str]], ...] = (
    _moved_lately,
    _typed_again,
    _rests_too_short,
    _overlapping,
    _no_own_time,
)
MISS_AT_95 = 0.05
"""What is left over at 95 % confidence."""


def statement_of(case: AcceptanceCase, doubted: Sequence[str] = (), alerts: Sequence[str] = ()) -> str:
    """Sentences for the paper, of a sheet that lacks nothing; ``doubted``: what doesn't fit together on it.

    ``alerts``: what its throws show only together.
    """
    locks = lock_throws(case.trials)
    unlocks = len(case.trials) - len(locks)
    seen = [seen_at(one.id, case.sightings) for one in locks]
    how = "; ".join(sorted({one for each in seen for one in each.how.split("; ")}))
    by = who_saw(seen, case.sheet.signed)
    taken = worst_of_each(risks(case.trials))
    band = "by at least its uncertainty" if not taken else "as read"
    lines = [
        f"{len(locks)} lock and {unlocks} unlock throws. On each of them every measured figure is inside its limit of the rating {band}.",
        *(
            f"SHARED RISK, chosen by {case.sheet.signed}: {one.says} ({one.throw}, the closest to its limit)."
            for one in taken
        ),
        f"Recorded by {by.rstrip('.')}. After each lock throw a person looked at the left pin and at the right pin separately. Each was "
        f"seen in its hole ({how}). The manufacturer's load check passed. The pins stayed put with the power off.",
    ]
    lines += _bounds(len(locks), unlocks)
    if watched := _to_watch(case.trials, alerts):
        lines.append(f"Signs to watch: {'; '.join(watched)}.")
    if unproved := not_proved(case.trials):
        lines.append(f"Not proved, because nobody could read it: {', '.join(unproved)}.")
    by_hand = sum(one.by_hand for one in case.trials)
    if by_hand:
        lines.append(f"Measured by hand: {counted(by_hand, 'throw')}.")
    own = [
        f"{limited(name)} {limit_text(one.value, one.side, one.unit)} ({one.limit_from})"
        for name, one in limits_for(case.rig).items()
        if name in case.rig.limits
    ]
    if own:
        lines.append(f"Limits set for this rig only: {'; '.join(own)}.")
    if gaps := not_covered(case.rig):
        lines.append(coverage_line(gaps))
    lines += [f"Left out: {one.name}{_read(one)} ({one.left_out})." for one in case.left_out]
    lines += [f"Corrected: {one}." for one in withdrawn((*case.trials, *case.left_out), case.sightings)]
    lines += [f"Doubtful: {one}." for one in doubted]
    lines.append(f"Signed by {case.sheet.signed.rstrip('.')}.")
    return " ".join(lines)


def not_proved(trials: Iterable[SheetTrial]) -> tuple[str, ...]:
    """Limits that nobody could hold a reading of some throw against, in words."""
    held = ((one, throw) for throw in trials for one in throw.assessment.checks)
    names = {one.name for one, throw in held if nobody_could_read(one, throw)}
    return tuple(sorted(limited(name) for name in names))


def _to_watch(trials: Iterable[SheetTrial], alerts: Sequence[str]) -> list[str]:
    """Signs at watch, alert limits that a throw is over, and what only several throws show."""
    judged = [one.assessment for one in trials]
    signs = {SIGNS[sign.sign].column for one in judged for sign in one.signs if sign.level == WATCH}
    over = {
        f"{limited(one.name)} over its alert limit"
        for each in judged
        for one in each.checks
        if one.decision == WATCH and one.name != "spread_run_current"
    }
    return [*sorted(signs), *sorted(over), *alerts]


def who_saw(seen: Iterable[PinAnswers], signed: str) -> str:
    """The persons who wrote down what they saw at these throws; where only an account did, whoever signed for it."""
    return ", ".join(sorted({one.by for one in seen if one.by})) or signed.rstrip(".")


def _read(throw: SheetTrial) -> str:
    """Verdict, time and running current of a throw that doesn't count: a heavy one isn't out of sight with it."""
    figures = throw.assessment.figures
    known = ((figures.travel_time_s, "s"), (figures.run_current_a, "A"))
    read = [measured_text(one, unit) for one, unit in known if one is not None]
    return f": {', '.join((throw.assessment.verdict, *read))}"


def _bounds(locks: int, unlocks: int) -> list[str]:
    """What so many clean throws each way prove, and no more."""
    if locks == unlocks:
        proved = [_bound(f"{locks} lock and {unlocks} unlock", locks, " each way")]
    else:
        proved = [_bound(f"{n} {way}", n) for way, n in ((LOCK, locks), (UNLOCK, unlocks)) if n]
    return [*proved, "They prove nothing about the next throw: look at both pins every time."]


def _bound(throws: str, clean_throws: int, each: str = "") -> str:
    least = rounded_down(100 * least_success(clean_throws), 1)
    return f"{throws} throws without a failure prove, with 95 % confidence, only that at least {least} % succeed{each} (0.05^(1/{clean_throws}), rounded down)."


def least_success(clean_throws: int) -> float:
    """Lower 95 % bound of the share of throws that succeed, after ``clean_throws`` without a failure.

    Exact (binomial, no failure): ``0.05 ** (1 / n)``; 5: 0.549, 10: 0.741, 59: 0.950. None thrown: 0.

    >>> round(least_success(59), 3)
    0.95
    """
    return MISS_AT_95 ** (1.0 / clean_throws) if clean_throws > 0 else 0.0


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

    @property
    def of_figures(self) -> str:
        """The worst verdict of its throws alone: a blank lowers what the sheet may say, never what was measured."""
        return PASS if self.because else self.verdict

    claims_lost: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()
    """What doesn't fit together and doesn't bar it."""
    impossible: tuple[str, ...] = ()
    """Those of the doubts about times that whoever signs gives a reason for."""
    not_proved: tuple[str, ...] = ()
    """Limits that nobody could read anything against: an acceptance says nothing of them."""
    shared_risk: tuple[str, ...] = ()
    """Readings that only shared risk accepts, the worst of each limit with its chance; chosen or not."""
    alerts: tuple[str, ...] = ()
    """What the throws show only together, and is over an alert limit."""


def same_together(missing: Sequence[str], trials: Sequence[SheetTrial]) -> tuple[str, ...]:
    """What is missing, as a person reads it: the same lack of several throws is one sentence."""
    throws: dict[str, list[SheetTrial]] = {}
    for text in missing:
        one = next((trial for trial in trials if text.startswith(f"{trial.name}: ")), None)
        lack = text if one is None else text.removeprefix(f"{one.name}: ")
        throws.setdefault(lack, []).extend([] if one is None else [one])
    return tuple(f"{_throws_said(of)}: {lack}" if of else lack for lack, of in throws.items())


def _throws_said(throws: Sequence[SheetTrial]) -> str:
    """``throw 3 (lock)``; ``throws 1 to 10``; ``throws 1, 3 and 5``."""
    if len(throws) == 1:
        return throws[0].name
    at = sorted(one.position for one in throws)
    if len(at) > 2 and at[-1] - at[0] == len(at) - 1:
        return f"throws {at[0]} to {at[-1]}"
    return f"throws {', '.join(map(str, at[:-1]))} and {at[-1]}"


def acceptance(
    sheet: FilledSheet, trials: Sequence[SheetTrial], sightings: Sequence[Sighting], rig: Rig
) -> Acceptance:
    """Judge a sheet. Whoever stores "accepted" asks this first, with what is stored and not with what is claimed."""
    ordered = sorted(trials, key=lambda one: one.position)
    counting = tuple(one for one in ordered if not one.left_out)
    left_out = tuple(one for one in ordered if one.left_out)
    case = AcceptanceCase(sheet, counting, left_out, tuple(sightings), rig)
    missing = tuple(dict.fromkeys(sentence for rule in RULES for sentence in rule(case)))
    alerts = tuple(spreads(case))
    worst = worst_verdict(one.assessment.verdict for one in counting)
    conditions = with_air(sheet.conditions, (one.air_c for one in trials))
    lowered = cap(WATCH if alerts and worst == PASS else worst, conditions)
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
        impossible=_times_to_excuse(case),
        not_proved=not_proved(counting),
        shared_risk=tuple(f"{one.throw}: {one.says}" for one in worst_of_each(risks(counting))),
        alerts=alerts,
    )
