"""Fixtures that build the sketches, the emulator host and the programs around the headers."""

import os
from functools import partial
from pathlib import Path

import pytest

from tests.firmware.tools import (
    ARDUINO_CORE,
    ELF_HEADER,
    SIMAVR_HEADER,
    build_header_programs,
    build_host,
    build_sketches,
    build_sketches_with_pins,
    built_once,
    need,
)

GIVEN = "THROWBOOK_HEADER_PROGRAMS"
"""A folder where those were built beforehand, where the tests can't build them themselves (Windows)."""


@pytest.fixture(scope="session")
def shared(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder that all test processes of this run share."""
    base = tmp_path_factory.getbasetemp()
    return base.parent if base.name.startswith("popen-") else base


@pytest.fixture(scope="session")
def sketches(shared: Path) -> Path:
    """Folder with both compiled sketches, ``NAME.elf``, and ``sizes.txt``."""
    need(["make", "avr-gcc", "avr-g++", "avr-size"], [ARDUINO_CORE])
    return built_once(shared, "sketches", build_sketches)


@pytest.fixture(scope="session")
def sketches_with_pins(shared: Path) -> Path:
    """The same with both pin switches and the thermistor fitted."""
    need(["make", "avr-gcc", "avr-g++", "avr-size"], [ARDUINO_CORE])
    return built_once(shared, "sketches-with-pins", build_sketches_with_pins)


@pytest.fixture(scope="session")
def sketches_with_one_wire(shared: Path) -> Path:
    """The same with a one-wire probe in place of the thermistor."""
    need(["make", "avr-gcc", "avr-g++", "avr-size"], [ARDUINO_CORE])
    return built_once(shared, "sketches-with-one-wire", partial(build_sketches_with_pins, probe="one-wire"))


@pytest.fixture(scope="session")
def emulator(shared: Path) -> Path:
    """The emulator host."""
    need(["make", "gcc"], [SIMAVR_HEADER, ELF_HEADER])
    return built_once(shared, "emulator-host", build_host) / "host"


@pytest.fixture(scope="session")
def header_programs(shared: Path) -> Path:
    """Folder with the programs built from the headers."""
    if GIVEN in os.environ:
        return Path(os.environ[GIVEN])
    need(["g++"])
    return built_once(shared, "header-programs", build_header_programs)
