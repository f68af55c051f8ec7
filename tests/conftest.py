"""Options of the tests, and what keeps them quick."""

import gc
import os

import pytest
from hypothesis import settings

import tests.drawn
from tests.drawn import drawn

gc.disable()  # while tests are collected, only things that stay are made


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--snapshot-update", action="store_true", help="write the reviewed screens of tests/tui anew"
    )


def pytest_configure(config: pytest.Config) -> None:
    tests.drawn.WHOLE = not config.option.markexpr
    # no deadline: how long a thing takes is for the benchmarks, and a busy computer is no fault
    settings.register_profile("ours", max_examples=drawn(100, 30), deadline=None)
    settings.load_profile("ours")


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers() -> int:
    """One more than there are cores: many a test waits for a process, a port or a clock."""
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return cores + 1


def pytest_collection_finish() -> None:
    """Thousands of tests and modules stay to the end: the collector needn't look at them again."""
    gc.freeze()
    gc.enable()
