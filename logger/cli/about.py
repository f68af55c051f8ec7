"""Version and environment: what a report of a fault should name."""

import platform
import sqlite3
import sys
from importlib.metadata import PackageNotFoundError, version

from logger import __version__

LIBRARIES = (
    *(
        "click",
        "matplotlib",
        "numpy",
        "pandas",
        "pint",
        "platformdirs",
        "pypdf",
        "pyserial",
        "reportlab",
        "rich",
    ),
    *("scipy", "textual", "tomli-w"),
)
"""Those of pyproject.toml; a test holds the two together."""
OPTIONAL = ("PyVISA", "pyarrow", "distributed")


def about() -> list[str]:
    """Lines, the version first; nothing heavy is imported for them."""
    return [
        f"throwbook {__version__}",
        f"Python {platform.python_version()} ({platform.python_implementation()}), {platform.platform()}",
        f"SQLite {sqlite3.sqlite_version}, text as {sys.stdout.encoding}",
        ", ".join(f"{name} {_version(name)}" for name in LIBRARIES),
        "optional: " + ", ".join(f"{name} {_version(name)}" for name in OPTIONAL),
    ]


def _version(name: str) -> str:
    try:
        return version(name)
    except PackageNotFoundError:
        return "not installed"
