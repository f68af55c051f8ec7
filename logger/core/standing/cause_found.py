"""Whether a cause found says why, or only repeats what was seen: "lock stalled" is no cause of a stall.

A rule of thumb on words: what is left of the text once the words of the symptom and words that say nothing are taken out.
It refuses only a text of which nothing is left.
"""

import re
from collections.abc import Iterable

from logger.core.standing.status import CAUSES

NOTHING_SAID = frozenset(
    [
        "a",
        "again",
        "an",
        "and",
        "at",
        "bad",
        "broke",
        "broken",
        "by",
        "cause",
        "clear",
        "cleared",
        "did",
        "didn",
        "does",
        "doesn",
        "error",
        "fail",
        "failed",
        "failure",
        "fault",
        "faulty",
        "found",
        "go",
        "gone",
        "had",
        "has",
        "hole",
        "holes",
        "in",
        "is",
        "isn",
        "it",
        "its",
        "known",
        "left",
        "lock",
        "locking",
        "machine",
        "motor",
        "movement",
        "mechanism",
        "no",
        "none",
        "not",
        "nothing",
        "of",
        "off",
        "ok",
        "on",
        "one",
        "or",
        "pin",
        "pins",
        "problem",
        "reason",
        "rig",
        "right",
        "run",
        "same",
        "seen",
        "side",
        "sides",
        "stuck",
        "test",
        "that",
        "the",
        "this",
        "throw",
        "throws",
        "to",
        "trouble",
        "unknown",
        "unlock",
        "unlocking",
        "was",
        "wasn",
        "were",
        "with",
        "actuator",
        "current",
        "drive",
    ]
)
STEM = 4
"""Letters by which two words are the same: stall, stalled, stalls."""


def repeats_symptom(cause_found: str, causes: Iterable[str]) -> bool:
    """Whether ``cause_found`` says no more than that the open orders are there; ``causes``: theirs, keys of ``CAUSES``.

    >>> repeats_symptom("lock stalled", ["stall"]), repeats_symptom("bent pin", ["stall"])
    (True, False)
    """
    known = set(NOTHING_SAID)
    for cause in causes:
        known |= set(_words(f"{cause} {CAUSES.get(cause, ('', ''))[1]}"))
    stems = {word[:STEM] for word in known if len(word) >= STEM}
    return all(word in known or word[:STEM] in stems for word in _words(cause_found))


def _words(text: str) -> list[str]:
    return [word for word in re.findall(r"[^\W\d_]+", text.casefold()) if len(word) > 1]
