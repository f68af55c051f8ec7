"""A machine to rehearse on: motor, screw, lock mechanism, supply and sensor, with faults to choose and the truth.

The independent truth of this project: nothing here knows how records are judged.

    rig, machine = random_machine(rng)
    thrown = throw(machine, "lock", Conditions(temperature_c=5), SensorModel(), [Fault("local-bind", 0.4, 0.6)], rng)
    thrown.trace, thrown.truth
"""

from throwbook.core.simulator.faults import FAULTS, PIN_FAULTS, FaultKind, SimulatedFault, expected_signs
from throwbook.core.simulator.machine import MachineModel
from throwbook.core.simulator.plan import ThrowConditions
from throwbook.core.simulator.random_machine import machine_for, random_machine
from throwbook.core.simulator.sensor import SensorModel, random_sensor
from throwbook.core.simulator.throw import (
    BoardReading,
    SimulatedThrow,
    Truth,
    Waveform,
    make_waveform,
    stream,
    throw,
)

__all__ = [
    "FAULTS",
    "PIN_FAULTS",
    "ThrowConditions",
    "SimulatedFault",
    "FaultKind",
    "MachineModel",
    "BoardReading",
    "SensorModel",
    "SimulatedThrow",
    "Truth",
    "Waveform",
    "expected_signs",
    "machine_for",
    "make_waveform",
    "random_machine",
    "random_sensor",
    "stream",
    "throw",
]
