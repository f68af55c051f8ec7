"""Jobs run in threads; what comes of them is posted as a message to the screen that asked."""

from collections.abc import Callable
from typing import Any

from textual.dom import DOMNode

from logger.errors import ThrowbookError
from tui.messages import JobDone, JobFailed


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
