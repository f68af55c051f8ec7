"""Throws that no machine made, and logbooks that are for practice: they teach, and prove nothing of any rig.

A rehearsal board and the sample runs say in the head of their records what they are. Such a throw stays out of a real
logbook, or at least out of every acceptance there; in a practice logbook all that is done says that it is practice.
"""

from collections.abc import Mapping
from typing import Any

REHEARSAL_BOARD = "rehearsal"
"""What a rehearsal board calls itself."""
FOR_PRACTICE = "for practice"
"""Reason of a rig file's version by which its logbook is known as one for practice."""
CAUTION = "Practice: simulated throws. Nothing here speaks for a real machine."


def simulated_by(head: Mapping[str, Any]) -> str:
    """What made a record, where no machine did, by the head of its file; empty: nothing says that it is simulated.

    >>> simulated_by({"board": "rehearsal"}), simulated_by({"board": "shunt-1"})
    ('a rehearsal board', '')
    """
    if str(head.get("board", "")).strip().lower() == REHEARSAL_BOARD:
        return "a rehearsal board"
    return "a simulation" if "simulated" in str(head.get("made_by", "")).lower() else ""
