"""Boards: found, and one checked: rate held, loss, zero, noise, range, clock. Never prints."""

import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import TYPE_CHECKING

from throwbook.core.rig import SIDES
from throwbook.core.wording import SWITCH_STATES, switch_name
from throwbook.errors import InputError, OutsideError, Remedy
from throwbook.jobs.record import ASK_AGAIN_S, UNFIT_DO, no_answer, open_port
from throwbook.ports.serial_port import PortInfo, list_ports
from throwbook.protocol.framing import Drops
from throwbook.protocol.messages import (
    ClockStopped,
    Event,
    FaultEvent,
    Identified,
    Identity,
    Refusal,
    Samples,
    Unfit,
    pin_switches,
)
from throwbook.protocol.session import BAUDS, DEFAULT_BAUD, Session

if TYPE_CHECKING:
    import numpy as np


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
            if isinstance(event, Refusal):
                raise InputError(event.reason, self._port.name, remedy=Remedy.SET_RATE)
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


BOOT_S = 2.5
"""Many boards start anew when their port is opened, and take so long to answer."""
NEXT_BAUD_S = 0.6
MOST_AT_ONCE = 8
STILL_CLOCK = "the board's clock does not move, so no time can be measured"


@dataclass(frozen=True)
class AskedPort:
    """One port and what is behind it."""

    info: PortInfo
    identity: Identity | None
    baud: int | None
    """Where the board answered."""
    because: str
    """Why there is no identity; empty when there is."""


def find_boards(
    names: Sequence[str] = (),
    bauds: Sequence[int] = (),
    progress: Callable[[int, int], None] = lambda done, total: None,
) -> list[AskedPort]:
    """Ask at every port (or those named) who is there, several ports at once.

    The usual baud is tried first, the others only where bytes come that make no line.
    """
    known = {info.device: info for info in list_ports()}
    asked = (
        [known.get(name, PortInfo(name, "", "", "", "")) for name in names] if names else list(known.values())
    )
    order = list(bauds) or [DEFAULT_BAUD, *(baud for baud in BAUDS if baud != DEFAULT_BAUD)]
    found = []
    with ThreadPoolExecutor(MOST_AT_ONCE) as pool:
        for port in pool.map(lambda info: _ask(info, order), asked):
            found.append(port)
            progress(len(found), len(asked))
    return found


def _ask(info: PortInfo, bauds: Sequence[int]) -> AskedPort:
    """Who is there, at one speed after the other; no more are tried where nothing at all comes."""
    came = 0
    for number, baud in enumerate(bauds):
        try:
            with BoardLink(info.device, baud) as link:
                identity = link.identify(BOOT_S if number == 0 else NEXT_BAUD_S)
                came += link.came_bytes
        except OutsideError as error:
            return AskedPort(info, None, None, error.what)
        if identity is not None:
            return AskedPort(info, identity, baud, "")
        if not came:
            return AskedPort(info, None, None, "nothing answers")
    return AskedPort(info, None, None, "something sends, but it is not a board that Throwbook knows")


# ---- check ----


@dataclass(frozen=True)
class CheckLine:
    """One thing checked."""

    name: str
    value: float | None
    unit: str
    limit: float | None
    good: bool
    say: str
    """In words, with what to do when it isn't good."""


@dataclass(frozen=True)
class BoardCheck:
    """What a check found."""

    identity: Identity
    rate_hz: int
    seconds: float
    lines: tuple[CheckLine, ...]

    @property
    def good(self) -> bool:
        """Whether every line is."""
        return all(line.good for line in self.lines)


# All common practice, no source.
RATE_SHARE = 0.01
ZERO_SHARE = 0.01
NOISE_SHARE = 0.005
DRIFT_SHARE = 0.005
FLOWING_TIMES = 8.0
"""Current that differs from the median by so many times the noise is flowing, not noise."""


def check_board(
    port: str, *, baud: int = DEFAULT_BAUD, rate_hz: int = 200, seconds: float = 3.0
) -> BoardCheck:
    """Sample with the actuator at rest and look at what comes. Raises InputError, OutsideError."""
    import numpy as np

    blocks: list[Samples] = []
    arrivals: list[tuple[float, float]] = []
    faults: list[str] = []
    with BoardLink(port, baud) as link:
        for event, came_s in link.run(rate_hz, seconds):
            if isinstance(event, Samples):
                blocks.append(event)
                arrivals.append((came_s, float(event.time_s[-1])))
            elif isinstance(event, FaultEvent):
                faults.append(f"the board reports {event.code}: {event.text}")
            elif isinstance(event, ClockStopped):
                faults.append(STILL_CLOCK)
        identity, session = link.session.identity, link.session
    assert identity is not None  # samples came, so it said who it is
    time_s = np.concatenate([block.time_s for block in blocks])
    current_a = np.concatenate([block.current_a for block in blocks])
    lines = [
        _rate_line(time_s, np.concatenate([block.index for block in blocks]), rate_hz),
        _loss_line(session.lost, session.samples, session.dropped),
        *_current_lines(current_a, identity),
        _drift_line(np.array(arrivals)),
        *(CheckLine("fault", None, "", None, False, fault) for fault in dict.fromkeys(faults)),
    ]
    if blocks[0].voltage_v is not None:
        volts = float(
            np.mean(np.concatenate([block.voltage_v for block in blocks if block.voltage_v is not None]))
        )
        lines.append(CheckLine("voltage", volts, "V", None, True, f"{volts:.2f} V at the board"))
    lines += _lines_beside(blocks)
    return BoardCheck(identity, rate_hz, float(time_s[-1] - time_s[0]), tuple(lines))


def _lines_beside(blocks: Sequence[Samples]) -> list[CheckLine]:
    """How the pin switches stand now, and what the temperature probe reads; none where the board has neither."""
    import numpy as np

    lines = []
    if blocks[-1].switches is not None:
        for side, closed in zip(SIDES, pin_switches(blocks[-1].switches), strict=True):
            if closed is not None:
                said = f"{switch_name(side)} {SWITCH_STATES[bool(closed[-1])]}"
                lines.append(CheckLine(f"{side} switch", float(closed[-1]), "", None, True, said))
    if blocks[-1].temperature_c is not None:
        read_c = float(blocks[-1].temperature_c[-1])
        if np.isnan(read_c):
            why = "the temperature probe does not answer: look at its wires"
            lines.append(CheckLine("temperature", None, "degC", None, False, why))
        else:
            said_c = f"{read_c:.1f} degC at the board's probe"
            lines.append(CheckLine("temperature", read_c, "degC", None, True, said_c))
    return lines


def _rate_line(time_s: "np.ndarray", index: "np.ndarray", rate_hz: int) -> CheckLine:
    lasted_s = float(time_s[-1] - time_s[0])
    held_hz = float(index[-1] - index[0]) / lasted_s if lasted_s > 0.0 else 0.0
    good = abs(held_hz / rate_hz - 1) <= RATE_SHARE
    say = f"{held_hz:.1f} of {rate_hz} samples per second reached" + ("" if good else ": choose a lower rate")
    return CheckLine("rate", held_hz, "Hz", RATE_SHARE * rate_hz, good, say)


def _loss_line(lost: int, got: int, dropped: Drops) -> CheckLine:
    good = lost == 0 and dropped.count == 0
    say = f"{lost} of {lost + got} samples lost, {dropped.sentence() or 'no line dropped'}"
    return CheckLine(
        "loss", float(lost), "", 0.0, good, say + ("" if good else ": look at cable, plug and baud")
    )


def _current_lines(current_a: "np.ndarray", identity: Identity) -> list[CheckLine]:
    """Zero, noise and range of a current that should be nought; a line more where it wasn't at rest."""
    import numpy as np

    full_scale_a, lsb_a = identity.full_scale_ma * 1e-3, identity.amp_lsb_ua * 1e-6
    zero_a = float(np.median(current_a))
    off = current_a - zero_a
    noise_a = max(1.4826 * float(np.median(np.abs(off))), lsb_a / np.sqrt(12.0))
    flowed = float(np.max(np.abs(off))) > max(FLOWING_TIMES * noise_a, 3 * lsb_a)
    zero_good = abs(zero_a) <= ZERO_SHARE * full_scale_a
    noise_good = noise_a <= NOISE_SHARE * full_scale_a
    lines = [
        CheckLine(
            "zero", zero_a, "A", ZERO_SHARE * full_scale_a, zero_good,
            f"zero at {zero_a:+.3f} A" + ("" if zero_good else ": calibrate, or is the actuator on?"),
        ),
        CheckLine(
            "noise", noise_a, "A", NOISE_SHARE * full_scale_a, noise_good,
            f"noise {noise_a:.4f} A (one standard deviation)"
            + ("" if noise_good else ": look at the ground and keep the sensor lead from the motor lead"),
        ),
        CheckLine(
            "range", full_scale_a, "A", None, True, f"range +/-{full_scale_a:g} A in steps of {lsb_a * 1000:g} mA"
        ),
    ]  # fmt: skip
    if flowed:
        lines.append(
            CheckLine(
                "rest", float(np.max(np.abs(off))), "A", None, False,
                "current flowed or jumped during the check: do it with the actuator at rest",
            )
        )  # fmt: skip
    return lines


def _drift_line(arrivals: "np.ndarray") -> CheckLine:
    """Board clock against this computer's, from the bytes that came with the least delay, early and late.

    How late the bytes of a block come varies by some milliseconds; over a few seconds that is the uncertainty.
    """
    import numpy as np

    if len(arrivals) < 6:
        return CheckLine("clock", None, "", None, True, "too few blocks to compare the clocks")
    lag_s = arrivals[:, 0] - arrivals[:, 1]
    third = len(lag_s) // 3
    early, late = lag_s[:third], lag_s[-third:]
    between_s = float(np.median(arrivals[-third:, 0]) - np.median(arrivals[:third, 0]))
    drift = float(early.min() - late.min()) / between_s
    scatter_s = lag_s + drift * (arrivals[:, 0] - arrivals[0, 0])
    spread_s = float(np.median(np.abs(scatter_s - np.median(scatter_s)))) * 1.4826
    u = 2 * spread_s * float(np.sqrt(2.0)) / between_s
    good = abs(drift) - u <= DRIFT_SHARE
    say = f"the board's clock runs {100 * drift:+.2f} % against this computer's (+/-{100 * u:.2f} %)"
    return CheckLine(
        "clock", drift, "", DRIFT_SHARE, good, say + ("" if good else ": its times are off by that")
    )
