"""A machine to rehearse on: motor, screw, lock mechanism, supply and sensor, with faults to choose and the truth.

The independent truth of this project: nothing here knows how records are judged.

    rig, machine = random_machine(rng)
    thrown = throw(machine, "lock", Conditions(temperature_c=5), SensorModel(), [Fault("local-bind", 0.4, 0.6)], rng)
    thrown.trace, thrown.truth
"""

from logger.core.simulator.conditions import Conditions
from logger.core.simulator.draw import machine_for, random_machine
from logger.core.simulator.faults import FAULTS, Fault, FaultKind, expected_signs
from logger.core.simulator.machine import MachineModel
from logger.core.simulator.sensor import SensorModel, random_sensor
from logger.core.simulator.stream import Reading, stream
from logger.core.simulator.throw import SimulatedThrow, Truth, make_waveform, throw
from logger.core.simulator.waveform import Waveform

__all__ = [
    "FAULTS",
    "Conditions",
    "Fault",
    "FaultKind",
    "MachineModel",
    "Reading",
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
