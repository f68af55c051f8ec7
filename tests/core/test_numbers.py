"""No number with a name moves unseen: each stands here as it was looked at, with its source or its mark where it is set.

Most limits and assumptions are thresholds: only a figure next to one would show that it moved. The numbers of the rooms that
judge and size are kept in ``tests/golden/numbers.json``. A changed one is looked at, then written anew:

    THROWBOOK_GOLDEN=write pytest tests/core/test_numbers.py
"""

import importlib
import json
import os
import pkgutil
from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from datetime import timedelta
from pathlib import Path

import numpy as np

from throwbook import core

GOLDEN = Path(__file__).parents[1] / "golden" / "numbers.json"
ROOMS = ("analysis", "diagnosis", "machine", "quantities", "rig", "sheets", "sizing", "status", "trend")


def numbers_in(value: object) -> Iterator[float]:
    """Those of a table as well, its keys among them; no text."""
    if isinstance(value, int | float | np.number) and not isinstance(value, bool):
        yield float(value)
    elif isinstance(value, timedelta):
        yield value.total_seconds()
    elif isinstance(value, Mapping):
        yield from numbers_in([*value.keys(), *value.values()])
    elif isinstance(value, tuple | list | np.ndarray):
        for part in value:
            yield from numbers_in(part)
    elif is_dataclass(value) and not isinstance(value, type):
        yield from numbers_in([getattr(value, one.name) for one in fields(value)])


def named() -> dict[str, list[list[float]]]:
    """Every name in capitals that a module of the rooms sets, with the numbers it stands for in one room or another."""
    found: dict[str, list[list[float]]] = {}
    for module in pkgutil.walk_packages(core.__path__, f"{core.__name__}."):
        if module.name.split(".")[2] in ROOMS:
            for name, value in vars(importlib.import_module(module.name)).items():
                numbers = list(numbers_in(value))
                if name.isupper() and numbers and numbers not in found.setdefault(name, []):
                    found[name].append(numbers)
    return {name: sorted(each) for name, each in sorted(found.items()) if each}


def test_every_number_with_a_name_is_as_it_was_looked_at():
    said = named()
    if os.environ.get("THROWBOOK_GOLDEN") == "write":
        lines = (f"{json.dumps(name)}: {json.dumps(numbers)}" for name, numbers in said.items())
        GOLDEN.write_text("{\n" + ",\n".join(lines) + "\n}\n", "utf-8")
    golden = json.loads(GOLDEN.read_text("utf-8"))
    assert {name: numbers for name, numbers in said.items() if golden.get(name) != numbers} == {}
    assert [name for name in golden if name not in said] == []
