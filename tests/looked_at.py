"""What a computation gives, held as it was when somebody last looked at it: one case a line, in ``tests/golden``.

A wanted change is written anew, and its diff read before it is committed:

    THROWBOOK_GOLDEN=write pytest tests/…
"""

import json
import math
import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

GOLDEN = Path(__file__).parent / "golden"
CLOSE = 1e-4
"""Apart by more than this share, a figure differs: machines part in the last bits."""


def not_as_looked_at(file: str, said: Mapping[str, Any]) -> list[str]:
    """Names of the cases that differ from ``tests/golden/FILE``, and of those that stand in one of the two alone."""
    path = GOLDEN / file
    now = {name: plain(value) for name, value in said.items()}
    if os.environ.get("THROWBOOK_GOLDEN") == "write":
        lines = (f"{json.dumps(name)}: {json.dumps(value)}" for name, value in now.items())
        path.write_text("{\n" + ",\n".join(lines) + "\n}\n", "utf-8")
    golden = json.loads(path.read_text("utf-8"))
    return [name for name in now | golden if differs(golden.get(name), now.get(name))]


def plain(value: Any) -> Any:
    """``value`` as JSON has it, its numbers to seven digits; dates and the like as text."""
    text = json.dumps(value, default=str, allow_nan=False)
    return json.loads(text, parse_float=lambda number: float(f"{float(number):.7g}"))


def differs(one: Any, other: Any) -> bool:
    """Whether two plain values differ by more than rounding."""
    if isinstance(one, dict) and isinstance(other, dict):
        return one.keys() != other.keys() or any(differs(one[key], other[key]) for key in one)
    if isinstance(one, list) and isinstance(other, list):
        return len(one) != len(other) or any(map(differs, one, other))
    if isinstance(one, float) and isinstance(other, float | int):
        return not math.isclose(one, other, rel_tol=CLOSE, abs_tol=1e-9)
    return bool(one != other)
