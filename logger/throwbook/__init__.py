"""Throwbook: test and commissioning logger for electric actuators that throw attachment lock pins.

In a notebook, what ``throwbook.api`` offers is here too, loaded when it is asked for: ``from throwbook import read_trace``.
The types stand in ``__init__.pyi``, so that nothing is imported here.
"""

from importlib import import_module, util

__version__ = "0.1.0"

OFFERED = (
    *("Assessment", "Baseline", "Figures", "InputError", "LogbookReader", "Measured", "OutsideError"),
    *("Profile", "Rig", "Sign", "Trace", "assess_record", "assess_trace", "make_baseline"),
    *("open_logbook_readonly", "quantity", "read_rig", "read_trace", "to_frame"),
)
NEEDED = ("numpy", "pandas", "scipy", "pint")


def __getattr__(name: str) -> object:
    if name not in OFFERED:
        raise AttributeError(f"module 'throwbook' has no attribute {name!r}")
    for library in NEEDED:
        spec = util.find_spec(library)
        if spec is not None and spec.submodule_search_locations is None:  # a single file is none of these
            raise ImportError(
                f"{spec.origin} stands where the library {library} should: give that file another name"
            )
    globals()[name] = getattr(import_module("throwbook.api"), name)  # it is asked for once
    return globals()[name]


def __dir__() -> list[str]:
    return sorted({*globals(), *OFFERED})
