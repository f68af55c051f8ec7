"""What an accepted sheet states: what was done and seen, what the throws prove and no more, what stays open."""

from collections.abc import Iterable, Sequence

from logger.core.assessment import WATCH
from logger.core.fitting.coverage import coverage_line, not_covered
from logger.core.machine.limits import limits_for
from logger.core.quantities.number_text import limit_text, rounded_down
from logger.core.quantities.plain import counted
from logger.core.sheets.acceptance_rules import Case, nobody_could_read
from logger.core.sheets.shared_risk import risks, worst_of_each
from logger.core.sheets.sheet import Seen, SheetTrial, lock_throws, seen_at
from logger.core.sheets.taken_back import taken_back
from logger.core.stroke.verdict import CHECK_WORDS
from logger.core.trace import LOCK, UNLOCK

MISS_AT_95 = 0.05
"""What is left over at 95 % confidence."""


def statement_of(case: Case, doubted: Sequence[str] = (), alerts: Sequence[str] = ()) -> str:
    """Sentences for the paper, of a sheet that lacks nothing; ``doubted``: what doesn't fit together on it.

    ``alerts``: what its throws show only together.
    """
    locks = lock_throws(case.trials)
    unlocks = len(case.trials) - len(locks)
    seen = [seen_at(one.id, case.sightings) for one in locks]
    how = "; ".join(sorted({one for each in seen for one in each.how.split("; ")}))
    by = who_saw(seen, case.sheet.signed)
    taken = worst_of_each(risks(case.trials))
    band = "by more than its uncertainty" if not taken else "as read"
    lines = [
        f"{len(locks)} lock and {unlocks} unlock throws, each within every limit of the rating that it was measured against, {band}.",
        *(
            f"SHARED RISK, chosen by {case.sheet.signed}: {one.says} ({one.throw}, the nearest of its limit)."
            for one in taken
        ),
        f"Written down by {by}: after each lock throw the left pin and the right pin were seen in their holes, each by itself "
        f"({how}); the maker's load check was done and the pins stayed put with the power off.",
    ]
    lines += [_bound(LOCK, len(locks))]
    if unlocks:
        lines += [_bound(UNLOCK, unlocks)]
    if watched := _to_watch(case.trials, alerts):
        lines.append(f"To watch: {'; '.join(watched)}.")
    if unproved := not_proved(case.trials):
        lines.append(f"Not proved, because nobody could read it: {', '.join(unproved)}.")
    by_hand = sum(one.by_hand for one in case.trials)
    if by_hand:
        lines.append(f"Measured by hand: {counted(by_hand, 'throw')}.")
    own = [
        f"{name.replace('_', ' ')} {limit_text(one.value, one.side, one.unit.replace('1', ''))} ({one.limit_from})"
        for name, one in limits_for(case.rig).items()
        if name in case.rig.limits
    ]
    if own:
        lines.append(f"Limits of this rig's own: {'; '.join(own)}.")
    if gaps := not_covered(case.rig):
        lines.append(coverage_line(gaps))
    lines += [f"Left out: {one.name}, {one.left_out}." for one in case.left_out]
    lines += [f"Taken back: {one}." for one in taken_back((*case.trials, *case.left_out), case.sightings)]
    lines += [f"Doubtful: {one}." for one in doubted]
    lines.append(f"Signed: {case.sheet.signed.rstrip('.')}.")
    return " ".join(lines)


def not_proved(trials: Iterable[SheetTrial]) -> tuple[str, ...]:
    """Limits that nobody could hold a reading of some throw against, in words."""
    held = ((one, throw) for throw in trials for one in throw.assessment.checks)
    names = {one.name for one, throw in held if nobody_could_read(one, throw)}
    return tuple(sorted(CHECK_WORDS.get(name, name) for name in names))


def _to_watch(trials: Iterable[SheetTrial], alerts: Sequence[str]) -> list[str]:
    """Signs at watch, alert limits that a throw is over, and what only several throws show."""
    judged = [one.assessment for one in trials]
    signs = {sign.sign for one in judged for sign in one.signs if sign.level == WATCH}
    over = {
        f"{CHECK_WORDS.get(one.name, one.name)} over its alert limit"
        for each in judged
        for one in each.checks
        if one.decision == WATCH and one.name != "spread_run_current"
    }
    return [*sorted(signs), *sorted(over), *alerts]


def who_saw(seen: Iterable[Seen], signed: str) -> str:
    """The persons who wrote down what they saw at these throws; where only an account did, whoever signed for it."""
    return ", ".join(sorted({one.by for one in seen if one.by})) or signed.rstrip(".")


def _bound(direction: str, clean_throws: int) -> str:
    """What n clean throws prove, and no more."""
    bound = least_success(clean_throws)
    return (
        f"{clean_throws} clean {direction} throws prove, at 95 % confidence, only that at least "
        f"{rounded_down(100 * bound, 1)} % of {direction} throws succeed (0.05^(1/{clean_throws}))."
    )


def least_success(clean_throws: int) -> float:
    """Lower 95 % bound of the share of throws that succeed, after ``clean_throws`` without a failure.

    Exact (binomial, no failure): ``0.05 ** (1 / n)``; 5: 0.549, 10: 0.741, 59: 0.950. None thrown: 0.

    >>> round(least_success(59), 3)
    0.95
    """
    return MISS_AT_95 ** (1.0 / clean_throws) if clean_throws > 0 else 0.0
