"""Which orders a throw gives rise to, and whether what a person writes of a repair says anything.

A verdict lowered only by unanswered questions raises nothing: it is a gap in the sheet, not a finding on the machine.
"""

import re
from collections.abc import Iterable
from typing import NamedTuple

from throwbook.core.assessment import FAIL, NOT_ON_BENCH, OPEN, SWITCH_OPEN, WATCH, Assessment, Sign
from throwbook.core.quantities.text import printable
from throwbook.core.records import BENCH, NO, PinAnswers
from throwbook.core.rig import DIRECTIONS, LOCK, UNLOCK
from throwbook.core.status.latch import CAUSES, DO_NOT_USE, LEVELS, OUT
from throwbook.core.status.maintenance import work_done
from throwbook.core.wording import limited

WORDS_OF_NO_CAUSE = """
a actuator again an and at bad broke broken by cause clear cleared current did didn does doesn drive
error fail failed failure fault faulty found go gone had has hole holes in is isn it its known left lock
locking machine mechanism motor movement no none not nothing of off ok on one or pin pins problem reason
rig right run same seen side sides stuck test that the this throw throws to trouble unknown unlock
unlocking was wasn were with ended near ran stay still stood turned
na nil null tbd tbc todo be been being can cannot could couldn do done have having will yet sure unsure idea clue
dunno unclear undetermined unidentified fix fixed mend mended repair repaired work worked works necessary required
move moved moves moving stop stops damaged jam above ditto see saw as all good fine say visible
"""
EMPTY_PHRASES = ("nothing wrong", "something wrong", "hard to say", "hard to tell")
"""Taken out whole: by itself each of their words may be part of a cause, as in a wrong pin."""
ENDING = re.compile(r"(?<=\w{3})(ing|ed|s)$")
DOUBLED = re.compile(r"([^\W\d_aeiou])\1$")


def repeats_symptom(text: str, causes: Iterable[str]) -> bool:
    """Whether ``text`` says no more than that the open orders are there, or nothing; ``causes``: theirs, keys of ``CAUSES``.

    >>> repeats_symptom("lock stalled", ["stall"]), repeats_symptom("n/a", []), repeats_symptom("bent pin", ["stall"])
    (True, True, False)
    """
    known = {_root(word) for word in WORDS_OF_NO_CAUSE.split()}
    for cause in causes:
        known |= {_root(word) for word in _words(f"{cause} {CAUSES.get(cause, ('', ''))[1]}")}
    said = f" {' '.join(_words(text))} "
    for phrase in EMPTY_PHRASES:
        said = said.replace(f" {phrase} ", " ")
    return all(_root(word) in known for word in said.split())


def _root(word: str) -> str:
    """A word without its ending: turn, turned, turns; stop, stopped. A longer word is another word.

    >>> _root("turned"), _root("stopping"), _root("locknut")
    ('turn', 'stop', 'locknut')
    """
    return DOUBLED.sub(r"\1", ENDING.sub("", word))


# moment of a service: what it lacks when it is empty, and when its words say nothing.
_MOMENTS_OF_REPAIR = {
    "found": (
        "the cause is not filled in",
        "only repeats what was seen, or says nothing; write why, for example bent pin or worn nut",
    ),
    "fixed": (
        "the work is not filled in",
        "names no work; write what was done, for example new pin or dug out",
    ),
}


def repair_lacks(action: str, found: str, fixed: str, causes: Iterable[str]) -> dict[str, str]:
    """Why a service isn't the repair that clears orders of ``causes``: its field, and a sentence; empty: it is one.

    The words are judged as those of the signed clearance are.
    """
    causes, lacking = list(causes), {}
    if not work_done(action):
        lacking["action"] = f"'{action}' is no work on the rig"
    for name, text in (("found", found), ("fixed", fixed)):
        empty, idle = _MOMENTS_OF_REPAIR[name]
        if not text.strip():
            lacking[name] = f"'{name}': {empty}"
        elif repeats_symptom(text, causes):
            lacking[name] = f"'{name}' ({printable(text.strip())!r}) {idle}"
    return lacking


def _words(text: str) -> list[str]:
    return [word for word in re.findall(r"[^\W\d_]+", text.casefold()) if len(word) > 1]


# (sign at level fail, direction): cause in ``status.CAUSES``. A sign that isn't here is a failed limit.
SIGN_CAUSES: dict[tuple[str, str], str] = {
    ("stall", LOCK): "stall",
    ("stall", UNLOCK): "stall",
    ("stopped-short", LOCK): "stopped short",
    ("stopped-short", UNLOCK): "unlock stopped short",
    ("light-run", LOCK): "light run",
    ("light-run", UNLOCK): "light run",
    ("no-end", LOCK): "no end",
    ("no-end", UNLOCK): "no end",
    ("end-stop", LOCK): "end stop",
    ("end-stop", UNLOCK): "end stop",
    (SWITCH_OPEN, LOCK): "switch open",
    (SWITCH_OPEN, UNLOCK): "switch at unlock",
    ("no-start", LOCK): "no start",
    ("no-start", UNLOCK): "no start",
}
FAILED_LIMIT = "failed limit"
WATCH_SIGN = "watch sign"

OFF_ON_BENCH = {cause for (sign, _), cause in SIGN_CAUSES.items() if sign in NOT_ON_BENCH}


# (what was asked at a lock throw): cause when the answer is "no".
SEEN_CAUSES: dict[str, str] = {
    "left_pin": "pin not seen",
    "right_pin": "pin not seen",
    "load_check": "load check failed",
    "retained_power_off": "let go",
}
SIDE = {"left_pin": f"LEFT pin {OUT}", "right_pin": f"RIGHT pin {OUT}"}


class DueOrder(NamedTuple):
    """One order that is due."""

    cause: str
    """A key of ``status.CAUSES``."""
    because: str
    sign: str = ""
    """The sign behind it, or the alert limit that it is over; empty: none is."""


def orders_of_record(kind: str, judged: Assessment) -> list[DueOrder]:
    """Every order that a judged throw on a sheet of ``kind`` gives rise to; each cause once."""
    found: dict[str, DueOrder] = {}
    for sign in judged.signs:
        cause = _cause_of(sign, judged.direction)
        if cause is not None:
            found.setdefault(cause, DueOrder(cause, sign.because, sign.sign))
    off = OFF_ON_BENCH if kind == BENCH else set()
    on_machine = {cause: due for cause, due in found.items() if cause not in off}
    if len(on_machine) < len(found):
        return list(on_machine.values())
    over = next((check.name for check in judged.checks if check.decision == WATCH), "")
    if over:
        because = judged.because if judged.verdict == WATCH else f"{limited(over)} over its alert limit"
        found.setdefault(WATCH_SIGN, DueOrder(WATCH_SIGN, because, over))
    if judged.verdict == FAIL and not any(sign.level == FAIL for sign in judged.signs):
        found.setdefault(FAILED_LIMIT, DueOrder(FAILED_LIMIT, judged.because))
    return list(found.values())


def causes_of_failed(kind: str, signs: Iterable[tuple[str, str]]) -> set[str]:
    """The causes alone, from a throw's signs at level fail: the direction it was judged in, and the sign's name."""
    causes = {cause_of_failed(sign, direction) for direction, sign in signs}
    return causes - OFF_ON_BENCH if kind == BENCH else causes


def cause_of_failed(sign: str, direction: str) -> str:
    """What a sign at level fail raises. Where the direction isn't known, the worse cause counts."""
    ways = (direction,) if direction in DIRECTIONS else DIRECTIONS
    causes = [SIGN_CAUSES.get((sign, way), FAILED_LIMIT) for way in ways]
    return max(causes, key=lambda cause: LEVELS.index(CAUSES[cause][0]))


def takes_out_of_use(sign: Sign, direction: str) -> bool:
    """Whether a sign takes a rig on the machine to ``do not use``."""
    cause = _cause_of(sign, direction)
    return cause is not None and CAUSES[cause][0] == DO_NOT_USE


def _cause_of(sign: Sign, direction: str) -> str | None:
    if sign.level == FAIL:
        if sign.sign == SWITCH_OPEN and sign.value == OPEN:
            return SIGN_CAUSES[sign.sign, LOCK]  # open before an unlock throw: it was so after the lock throw
        return cause_of_failed(sign.sign, direction)
    return WATCH_SIGN if sign.level == WATCH else None


def orders_of_sighting(pins: PinAnswers) -> list[DueOrder]:
    """Every order that a person's sighting gives rise to; each cause once."""
    found: dict[str, list[str]] = {}
    for name, cause in SEEN_CAUSES.items():
        if getattr(pins, name) == NO:
            found.setdefault(cause, []).append(SIDE.get(name, ""))
    return [DueOrder(cause, " and ".join(part for part in parts if part)) for cause, parts in found.items()]
