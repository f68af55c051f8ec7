"""The two kinds of trouble a person can meet, and nothing else.

Every error says what is wrong, where, and what to do about it, in one line. It is raised where the cause is
known and shown in one place (``throwbook.cli.diagnostics``, or the screen's own message line).
"""


class ThrowbookError(Exception):
    """Base of both kinds; carries the one line a person reads."""

    exit_code = 2

    def __init__(self, what: str, where: str = "", do: str = "") -> None:
        """Keep the three parts; ``str()`` joins them into one line."""
        self.what = what
        self.where = where
        self.do = do
        super().__init__(what, where, do)

    def __str__(self) -> str:
        head = f"{self.where}: {self.what}" if self.where else self.what
        line = f"{head}. {self.do}" if self.do else head
        return " ".join(line.split())


class InputError(ThrowbookError):
    """Wrong use or bad input: the person can mend it. Exit code 2."""

    exit_code = 2


class OutsideError(ThrowbookError):
    """The outside failed: a port, a disk, a cable. Exit code 3."""

    exit_code = 3
