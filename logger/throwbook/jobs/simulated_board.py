"""A simulated board: a simulated machine throws, trouble to choose happens. Never prints."""

import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from throwbook.core.rig import DIRECTIONS, SIDES, Rig
from throwbook.core.sheets.conditions import FOR_PRACTICE
from throwbook.core.trace import FloatArray
from throwbook.errors import Field, InputError
from throwbook.ports.serial_port import open_far_end, serve
from throwbook.protocol.messages import I_AND_V, Identity
from throwbook.protocol.simulated_board import IDENTITY, Readings, SimulatedBoard, Trouble

if TYPE_CHECKING:
    from throwbook.core.analysis.baseline import Baseline
    from throwbook.core.simulator import SimulatedFault, Waveform

AMP_LSB_A = 0.001
QUIET_S = 0.02
"""How long a contact must keep still before a board says so, as in the sketches."""
FULL_SCALES_A = (5, 10, 20, 30, 50, 100, 200, 400)


@dataclass(frozen=True)
class Rehearsal:
    """What to rehearse."""

    rig: Rig
    faults: "tuple[SimulatedFault, ...]" = ()
    trouble: Trouble = field(default_factory=Trouble)
    temperature_c: float = 15.0
    rest_s: float = 4.0
    """Rest before each throw, counted from ``go``."""
    settle_s: float = 2.0
    """After a throw, before the rest of the next begins."""
    first: str = DIRECTIONS[0]
    """Direction of the first throw; they take turns."""
    rate_hz: int = 200
    """Until the PC asks for another."""
    seed: int = 1
    speed: float = 1.0
    link: Path | None = None
    """A second, fixed name for the port."""
    number: int | None = None
    """Port number of this computer's network, 0 for any free one, in place of a pseudo-terminal."""
    over_range: bool = False
    """A board too small for this actuator's running current."""
    switches: bool = False
    """A switch at each pin."""
    probe: bool = False
    """A temperature probe beside the board."""


PRACTICE_THROWS = 5


def practice_baselines(rig: Rig) -> "dict[str, Baseline]":
    """By direction: what the machine of a ``Rehearsal`` of this rig does without a fault, five throws each way."""
    import numpy as np

    from throwbook.core.analysis.baseline import make_baseline
    from throwbook.core.diagnosis.assess import assess_trace
    from throwbook.core.simulator import SensorModel, ThrowConditions, machine_for, throw

    plan = Rehearsal(rig)
    rng, machine = np.random.default_rng(plan.seed), machine_for(rig, plan.seed)
    conditions = ThrowConditions(temperature_c=plan.temperature_c)
    made = {}
    for direction in DIRECTIONS:
        throws = [
            throw(machine, direction, conditions, SensorModel(), (), rng) for _ in range(PRACTICE_THROWS)
        ]
        made[direction] = make_baseline([assess_trace(one.trace, rig) for one in throws], FOR_PRACTICE)
    return made


class ThrowScript:
    """A source of samples: rest, a throw, rest, the throw back, and so on; the current of a simulated machine.

    Each ``go`` (times that start anew) begins with rest and goes on with the next throw.
    """

    def __init__(self, plan: Rehearsal) -> None:
        import numpy as np

        from throwbook.core.simulator import SensorModel, ThrowConditions, machine_for

        self._plan = plan
        self._rng = np.random.default_rng(plan.seed)
        self._machine = machine_for(plan.rig, plan.seed)
        self._conditions: ThrowConditions = ThrowConditions(temperature_c=plan.temperature_c)
        self._sensor = SensorModel(resolution_a=0.0, voltage_resolution_v=0.0, full_scale_a=1e6)
        self._turn = DIRECTIONS.index(plan.first)
        self._from_s = 0.0
        self._last_s = -1.0
        self._waveform = self._next_waveform()

    def __call__(self, time_s: FloatArray) -> Readings:
        """What the board senses, arrays of shape (n,)."""
        from throwbook.core.simulator.sensor import sense_current, sense_voltage

        if time_s[0] <= self._last_s:
            if self._last_s > self._from_s + self._plan.rest_s:
                self._waveform = self._next_waveform()
            self._from_s = 0.0
        self._last_s = float(time_s[-1])
        on_s = self._from_s + self._plan.rest_s
        if time_s[0] > on_s + float(self._waveform.motion.time_s[-1]) + self._plan.settle_s:
            self._from_s = float(time_s[0])
            self._waveform = self._next_waveform()
            on_s = self._from_s + self._plan.rest_s
        current_a, voltage_v = self._waveform.at(time_s - on_s, self._sensor, self._rng)
        sensed_a = sense_current(self._sensor, current_a, time_s, self._rng)
        beside: dict[str, Any] = {}
        if self._plan.switches:
            beside = {f"{side}_switch": self._waveform.switch(side, time_s - on_s, QUIET_S) for side in SIDES}
        if self._plan.probe:
            beside["temperature_c"] = self._waveform.probe_c(len(time_s), self._rng)
        return Readings(sensed_a, sense_voltage(self._sensor, voltage_v, self._rng), **beside)

    def _next_waveform(self) -> "Waveform":
        from throwbook.core.simulator import make_waveform

        direction = DIRECTIONS[self._turn % 2]
        self._turn += 1
        return make_waveform(
            self._machine, direction, self._conditions, self._sensor, self._plan.faults, self._rng
        )


def make_board(plan: Rehearsal) -> SimulatedBoard:
    """The board of this rehearsal."""
    from throwbook.core.machine.motor import motor_line, stall_current

    stall_a = 1.3 * float(stall_current(motor_line(plan.rig.actuator), plan.rig.actuator.voltage_v))
    full_scale_a = float(next((one for one in FULL_SCALES_A if one > stall_a), FULL_SCALES_A[-1]))
    if plan.over_range:
        full_scale_a = 0.9 * plan.rig.actuator.no_load_current_a
    identity: Identity = replace(
        IDENTITY,
        id="rehearsal",
        rate_hz=plan.rate_hz,
        amp_lsb_ua=AMP_LSB_A * 1e6,
        full_scale_ma=full_scale_a * 1e3,
        channels=I_AND_V + "S" * plan.switches + "T" * plan.probe,
        version=2 if plan.switches or plan.probe else 1,
    )
    return SimulatedBoard(ThrowScript(plan), identity, plan.trouble, plan.seed)


def rehearse(
    plan: Rehearsal, stop: threading.Event, on_ready: Callable[[str], None] = lambda name: None
) -> SimulatedBoard:
    """Be the board until ``stop`` is set; ``on_ready`` gets the name of the port. Raises OutsideError."""
    board = make_board(plan)
    port = open_far_end(plan.link, plan.number)
    try:
        on_ready(port.name)
        serve(board, port, stop, speed=plan.speed)
    finally:
        port.close()
    return board


# trouble as typed: (field of Trouble, what the value means; empty: none is given)
TROUBLES: dict[str, tuple[str, str]] = {
    "dropped-bytes": ("dropped_bytes", "share"),
    "flipped-bits": ("flipped_bits", "share"),
    "lost-samples": ("lost_samples", "share"),
    "reset": ("resets_at_s", "seconds"),
    "silence": ("silent_at_s", "seconds"),
    "wrong-baud": ("wrong_baud", ""),
    "clock-jump": ("clock_jump_at_s", "seconds"),
    "clock-drift": ("clock_drift", "share"),
    "sensor-absent": ("sensor_absent", ""),
    "over-range": ("", ""),
}


def trouble_from(typed: Sequence[str]) -> tuple[Trouble, bool]:
    """Trouble as typed (``reset=6``, ``flipped-bits=0.001``, ``wrong-baud``), and whether over-range was asked for.

    >>> trouble_from(["reset=6", "lost-samples=0.01"])[0].resets_at_s
    (6.0,)
    """
    chosen: dict[str, object] = {}
    resets: list[float] = []
    for text in typed:
        name, _, value = text.partition("=")
        if name not in TROUBLES:
            raise InputError(
                f"no trouble is called '{name}'", Field("trouble"), f"Choose from: {', '.join(TROUBLES)}"
            )
        target, meaning = TROUBLES[name]
        amount = _amount(name, value, meaning)
        if target == "resets_at_s":
            resets.append(float(amount or 0.0))
        elif target:
            chosen[target] = True if amount is None else amount
    if resets:
        chosen["resets_at_s"] = tuple(sorted(resets))
    return replace(Trouble(), **chosen), any(text == "over-range" for text in typed)  # type: ignore[arg-type]


def faults_from(typed: Sequence[str]) -> "tuple[SimulatedFault, ...]":
    """Faults as typed: ``local-bind``, ``local-bind=0.5``, ``local-bind=0.5@0.6`` (severity, place), ``pin-late@left`` (side).

    >>> faults_from(["local-bind=0.5@0.6"])
    (SimulatedFault(kind='local-bind', severity=0.5, place=0.6, side='right'),)
    """
    from throwbook.core.simulator import FAULTS, PIN_FAULTS, SimulatedFault

    faults = []
    for text in typed:
        what, _, at = text.partition("@")
        name, _, severity = what.partition("=")
        if name not in FAULTS and name not in PIN_FAULTS:
            raise InputError(
                f"no fault is called '{name}'",
                Field("fault"),
                f"Choose from: {', '.join((*FAULTS, *PIN_FAULTS))}",
            )
        if at in SIDES:
            faults.append(SimulatedFault(name, _number(text, severity), side=at))
        else:
            faults.append(SimulatedFault(name, _number(text, severity), _number(text, at)))
    return tuple(faults)


def _number(text: str, value: str) -> float | None:
    if not value:
        return None
    try:
        return float(value)
    except ValueError as error:
        raise InputError(
            f"'{value}' in '{text}' is no number", Field("fault"), "Type local-bind=0.5@0.6"
        ) from error


def _amount(name: str, value: str, meaning: str) -> float | None:
    if not meaning:
        if value:
            raise InputError(f"'{name}' takes no value", Field("trouble"), f"Type only {name}")
        return None
    example = f"{name}=0.01" if meaning == "share" else f"{name}=6"
    try:
        amount = float(value.removesuffix("s"))
    except ValueError as error:
        raise InputError(
            f"'{value}' is no number for '{name}'", Field("trouble"), f"Type {example} ({meaning})"
        ) from error
    if not 0 <= amount < (1 if meaning == "share" else 1e6):
        raise InputError(
            f"{value} is out of range for '{name}'", Field("trouble"), f"Type {example} ({meaning})"
        )
    return amount
