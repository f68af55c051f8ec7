"""A conversation with a board that is not a trial: who is there, and a stretch of samples to look at."""

import time
from collections.abc import Callable, Iterator

from logger.errors import InputError, OutsideError
from logger.jobs.record import ASK_AGAIN_S, UNFIT_DO, no_answer, open_port
from logger.protocol.events import Event, Identified, Refused, Unfit
from logger.protocol.messages import Identity
from logger.protocol.session import Session


class BoardLink:
    """One open port and the session on it; use with ``with``."""

    def __init__(self, port: str, baud: int, monotonic: Callable[[], float] = time.monotonic) -> None:
        self.session = Session()
        self.came_bytes = 0
        self._monotonic = monotonic
        self._port = open_port(port, baud)

    def __enter__(self) -> "BoardLink":
        return self

    def __exit__(self, *exc: object) -> None:
        self._port.close()

    def identify(self, within_s: float) -> Identity | None:
        """Who is there; None when nobody said so in time. Raises OutsideError when that board can't be used."""
        for event, _ in self._talk(self.session.start(), within_s):
            if isinstance(event, Unfit):
                raise self._unfit(event)
            if isinstance(event, Identified):
                return event.identity
        return None

    def _unfit(self, event: Unfit) -> OutsideError:
        return OutsideError(event.why, self._port.name, UNFIT_DO)

    def run(self, rate_hz: int, seconds: float, within_s: float = 6.0) -> Iterator[tuple[Event, float]]:
        """Sample for ``seconds`` from the first sample on; events with the steady clock [s] of their arrival.

        Raises InputError when the rate is refused, OutsideError when nobody answers or the board can't be used.
        """
        baud = self._port.baud if self._port.has_baud else None
        until_s: float | None = None
        for event, came_s in self._talk(self.session.start(rate_hz, baud), within_s, seconds):
            if isinstance(event, Unfit):
                raise self._unfit(event)
            if isinstance(event, Refused):
                raise InputError(event.reason, self._port.name, "Choose with --rate or --baud")
            if until_s is None and self.session.samples:
                until_s = came_s + seconds
            yield event, came_s
        if until_s is None:
            raise no_answer(self._port.name, self._port.baud, self.came_bytes, self.session)
        try:
            self._port.write(self.session.halt())
        except OutsideError:
            return

    def _talk(self, opening: bytes, within_s: float, seconds: float = 0.0) -> Iterator[tuple[Event, float]]:
        self._port.write(opening)
        asked_s = begun_s = self._monotonic()
        until_s = begun_s + within_s
        sampling = False
        while (now_s := self._monotonic()) < until_s:
            data = self._port.read()
            came_s = self._monotonic()
            self.came_bytes += len(data)
            for event in self.session.receive(data):
                yield event, came_s
            if not sampling and self.session.samples:
                sampling, until_s = True, came_s + seconds
            sending = self.session.to_send()
            if not sampling and now_s - asked_s > ASK_AGAIN_S:
                asked_s, sending = now_s, sending + self.session.again()
            self._port.write(sending)
