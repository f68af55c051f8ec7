"""The two kinds of trouble a person can meet, and nothing else.

Every error says what is wrong, where, and what to do about it, in one line. It is raised where the cause is known; the
command line and the screen each have a table of their own words for a ``Field`` and a ``Remedy``.
"""

from collections.abc import Callable
from enum import Enum


class Field(str):
    """As the place of an error: the input that is meant, by its plain name."""

    __slots__ = ()


Remedy = Enum(
    "Remedy",
    "ADD_CHECK ADD_RIG AS_READ BRING_BACK CHECK_BOARD CHECK_LOGBOOK ENTER_AGAIN EXPORT_FIRST FIND_BOARD JUDGE_AGAIN "
    "JUDGE_FIRST LEAVE_OUT_START LIST_ALL LIST_OPEN LIST_ORDERS LIST_SERVICES LIST_SHEETS NAME_A_LOGBOOK OTHER_FILE OTHER_FOLDER "
    "RENAME_ANOTHER_RIG RESTORE_BACKUP RIGHT_PHOTOGRAPH SAY_NO SAY_WHY SET_RATE SHOW_MISSING SHOW_SHEET START_LOGBOOK STEPS_TO_CLEAR TRY_BAUD TRY_OTHER_READING",
)
"""What to do about it."""


def plain(remedy: Remedy) -> str:
    """``LIST_ORDERS`` as "List orders."."""
    return f"{remedy.name.replace('_', ' ').capitalize()}."


class ThrowbookError(Exception):
    """Base of both kinds; carries the one line a person reads."""

    exit_code = 2

    def __init__(self, what: str, where: str = "", do: str = "", remedy: Remedy | None = None) -> None:
        """Keep the parts; ``where`` may be a ``Field``, and ``remedy`` comes behind ``do``."""
        self.what = what
        self.where = where
        self.do = do
        self.remedy = remedy
        super().__init__(what, where, do, remedy)

    def said(self, name: Callable[[Field], str] = str, way: Callable[[Remedy], str] = plain) -> str:
        """One line; ``name`` and ``way`` give the words of whoever shows it."""
        where = name(self.where) if isinstance(self.where, Field) else self.where
        line = f"{where}: {self.what}" if where else self.what
        for do in (self.do, way(self.remedy) if self.remedy else ""):
            line = f"{line}{'' if line.endswith(('.', '?')) else '.'} {do}" if do else line
        return " ".join(line.split())

    def __str__(self) -> str:
        return self.said()


class InputError(ThrowbookError):
    """Wrong use or bad input: the person can mend it. Exit code 2."""

    exit_code = 2


class Unclear(InputError):
    """Input that can be read in two ways: one answer of a person settles it."""

    def __init__(self, what: str, where: str, field: Field, answers: tuple[str, ...]) -> None:
        """``field``: the option that answers; ``answers``: what may be said."""
        self.field = field
        self.answers = answers
        ways = " or ".join(f"--{field} {answer}" for answer in answers)
        super().__init__(what, where, f"Say which: {ways}")


class OutsideError(ThrowbookError):
    """The outside failed: a port, a disk, a cable. Exit code 3."""

    exit_code = 3
