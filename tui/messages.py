"""What a worker tells its screen."""

from typing import TYPE_CHECKING, Any

from textual.message import Message

if TYPE_CHECKING:
    from logger.core.stroke.live import LiveFigures


class JobDone(Message):
    """A job came to its end."""

    def __init__(self, name: str, result: Any) -> None:
        super().__init__()
        self.name = name
        self.result = result


class JobFailed(Message):
    """A job was refused, or the outside failed it."""

    def __init__(self, name: str, error: Exception) -> None:
        super().__init__()
        self.name = name
        self.error = error


class Live(Message):
    """What to show of a running throw."""

    def __init__(self, figures: "LiveFigures") -> None:
        super().__init__()
        self.figures = figures


class Noted(Message):
    """Something to tell while a job runs."""

    def __init__(self, line: str) -> None:
        super().__init__()
        self.line = line


class BoardReady(Message):
    """The board said who it is: the throw may come."""
