"""Names of rigs: two that a person can't tell apart would give one machine two standings."""

import re
import unicodedata
from collections.abc import Iterable

ALIKE_SCRIPTS = frozenset({"LATIN", "CYRILLIC", "GREEK"})
"""Scripts that share letters of one shape."""
CLAIMS = re.compile(r"\b(locked|engaged|safe|in service|do not use)\b", re.IGNORECASE)


def complaint(name: str, known: Iterable[str]) -> str:
    """What is wrong with the name of a new rig beside the ``known`` ones; empty: nothing.

    >>> complaint("Yard Loader", ["yard-loader"])
    "is too like 'yard-loader', which the logbook has"
    >>> complaint("yard-loader-2", ["yard-loader"])
    ''
    """
    if CLAIMS.search(name):
        return "reads like a status of the rig"
    scripts = {unicodedata.name(letter, "").split(" ")[0] for letter in name if letter.isalpha()}
    if len(scripts & ALIKE_SCRIPTS) > 1:
        return "mixes letters of two alphabets that look alike"
    twins = [other for other in known if other != name and _bare(other) == _bare(name)]
    return f"is too like '{twins[0]}', which the logbook has" if twins else ""


def _bare(name: str) -> str:
    """Letters and digits alone, capitals and small letters as one."""
    return "".join(sign for sign in unicodedata.normalize("NFKC", name).casefold() if sign.isalnum())
