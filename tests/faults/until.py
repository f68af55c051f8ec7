"""Waiting for something that another process does."""

import threading
from collections.abc import Callable

LIMIT_S = 60.0
STEP_S = 0.02


def until(true: Callable[[], object], longest_s: float = LIMIT_S) -> bool:
    """Whether it became true in time."""
    pause = threading.Event()
    for _ in range(int(longest_s / STEP_S)):
        if true():
            return True
        pause.wait(STEP_S)
    return False
