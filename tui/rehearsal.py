"""Opens a rehearsal board in a thread of its own and tells its port."""

import queue
import threading

from logger.errors import OutsideError, ThrowbookError

WAIT_S = 20.0


def open_rehearsal(logbook: str, rig: str, fault: str) -> tuple[str, threading.Event]:
    """The port's name, and the event that ends the board. Raises OutsideError where there are no pseudo-terminals."""
    from logger.jobs.rehearse import Rehearsal, faults_from, rehearse
    from logger.jobs.rigsource import find_rig

    plan = Rehearsal(rig=find_rig(rig, logbook).rig, faults=faults_from([fault] if fault else []))
    stop = threading.Event()
    ready: queue.Queue[str | ThrowbookError] = queue.Queue()

    def run() -> None:
        try:
            rehearse(plan, stop, ready.put)
        except ThrowbookError as error:
            ready.put(error)

    threading.Thread(target=run, daemon=True, name="rehearsal board").start()
    try:
        told = ready.get(timeout=WAIT_S)
    except queue.Empty:
        raise OutsideError(
            "the rehearsal board doesn't come up", rig, "Try: throwbook board rehearse"
        ) from None
    if isinstance(told, ThrowbookError):
        raise told
    return told, stop
