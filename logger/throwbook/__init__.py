"""Throwbook: test and commissioning logger for electric actuators that throw attachment lock pins.

In a notebook, what ``throwbook.api`` offers is here too, loaded when it is asked for: ``from throwbook import read_trace``.
The types stand in ``__init__.pyi``, so that nothing is imported here.
"""

from importlib import import_module
from typing import Any

__version__ = "0.1.0"

OFFERED = (
    *("LogbookReader", "assess_record", "assess_trace", "make_baseline", "open_logbook_readonly"),
    *("read_rig", "read_trace", "to_frame"),
)


def __getattr__(name: str) -> Any:
    if name in OFFERED:
        return getattr(import_module("throwbook.api"), name)
    raise AttributeError(f"module 'logger' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted({*globals(), *OFFERED})
