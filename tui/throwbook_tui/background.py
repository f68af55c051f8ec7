"""Jobs run in threads; what comes of them is posted as a message to the screen that asked."""

import queue
import threading
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from textual.dom import DOMNode
from textual.message import Message

from throwbook.errors import OutsideError, ThrowbookError

if TYPE_CHECKING:
    from throwbook.core.analysis.live import LiveFigures


class JobDone(Message):
    """A job came to its end."""

    def __init__(self, name: str, result: Any) -> None:
        super().__init__()
        self.name = name
        self.result = result


class JobFailed(Message):
    """A job was refused, or the outside failed it."""

    def __init__(self, name: str, error: ThrowbookError) -> None:
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


WAIT_S = 20.0


def open_rehearsal(logbook: str, rig: str, fault: str) -> tuple[str, threading.Event]:
    """The port's name, and the event that ends the board. Raises OutsideError."""
    from throwbook.core.simulator import PIN_FAULTS
    from throwbook.jobs.find import find_rig
    from throwbook.jobs.simulated_board import Rehearsal, faults_from, rehearse

    faults = faults_from([fault] if fault else [])
    plan = Rehearsal(find_rig(rig, logbook).rig, faults, number=0, switches=fault in PIN_FAULTS)
    stop = threading.Event()
    ready: queue.Queue[str | ThrowbookError] = queue.Queue()

    def run() -> None:
        try:
            rehearse(plan, stop, ready.put)
        except ThrowbookError as error:
            ready.put(error)

    threading.Thread(target=run, daemon=True, name="simulated board").start()
    try:
        told = ready.get(timeout=WAIT_S)
    except queue.Empty:
        raise OutsideError("the practice board does not start", rig, "Try it again") from None
    if isinstance(told, ThrowbookError):
        raise told
    return told, stop


def start(node: DOMNode, name: str, job: Callable[[], Any]) -> None:
    """Run ``job`` in a thread of its own; its result or its refusal arrives at ``node`` as a message.

    A fault in the program itself isn't caught: it ends the app with its traceback, never quietly.
    """

    def run() -> None:
        try:
            result = job()
        except ThrowbookError as error:
            node.post_message(JobFailed(name, error))
        else:
            node.post_message(JobDone(name, result))

    node.run_worker(run, name=name, thread=True, exit_on_error=True)
