"""Content ids and the chain of seals: any later change to what was signed can be found.

A record's canonical form is JSON with sorted keys, no spaces, UTF-8 and no NaN, so that the same content gives the same
bytes on any computer. Its id is the SHA-256 of those bytes (FIPS 180-4). A sheet's seal is taken over its canonical
form *and* the seal of the sheet before it: a sheet changed, taken out or put in later breaks every seal after it.
"""

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, is_dataclass
from datetime import date
from typing import Any

import numpy as np

from logger.core.trace import Trace

FIRST = ""
"""What the first sheet of a rig is chained to."""
SEAL_FORM = "throwbook-seal-1"


def plain(value: Any) -> Any:
    """Turn dataclasses, mappings, sequences, dates and arrays into what JSON can hold.

    Raises:
        TypeError: a value that has no canonical form.
        ValueError: NaN or infinite, which JSON can't hold.
    """
    if isinstance(value, np.ndarray):
        return {"array": digest_of_array(value), "shape": list(value.shape)}
    if isinstance(value, np.generic):
        return plain(value.item())
    if value is None or isinstance(value, str | bool | int | float):
        return value
    if isinstance(value, date):
        return value.isoformat()
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: plain(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, set | frozenset):
        return sorted(plain(item) for item in value)
    if isinstance(value, Sequence):
        return [plain(item) for item in value]
    raise TypeError(f"no canonical form for {type(value).__name__}")


def canonical(value: Any) -> bytes:
    """The one way to write ``value`` down."""
    text = json.dumps(
        plain(value), sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False
    )
    return text.encode("utf-8")


def content_id(value: Any) -> str:
    """SHA-256 of the canonical form, 64 hexadecimal digits."""
    return hashlib.sha256(canonical(value)).hexdigest()


def digest_of_array(values: "np.ndarray[Any, Any]") -> str:
    """SHA-256 of an array as little-endian 64-bit floats, row by row."""
    return hashlib.sha256(np.ascontiguousarray(values, dtype="<f8").tobytes()).hexdigest()


def digest_of_trace(trace: Trace) -> str:
    """What was recorded, whatever file it came in: samples, direction, rig and start (the trial's own identity)."""
    return content_id(
        [trace.rig, trace.direction, trace.started, trace.time_s, trace.current_a, trace.voltage_v]
    )


def seal_of(content: Any, before: str = FIRST) -> str:
    """Seal of one accepted sheet: its content and the seal ``before`` it."""
    return content_id({"form": SEAL_FORM, "before": before, "content": content_id(content)})


@dataclass(frozen=True)
class Sealed:
    """One link as it was stored."""

    name: str
    """How a person calls the sheet."""
    content: Any
    """What the rows say now."""
    before: str
    seal: str


def broken_seals(chain: Sequence[Sealed]) -> list[str]:
    """Say, in the order of ``chain``, which sheets no longer match what was signed. Empty: all do."""
    complaints = []
    previous = FIRST
    for link in chain:
        if link.before != previous:
            complaints.append(
                f"sheet {link.name}: the sheet sealed before it was changed, taken out or put in"
            )
        elif seal_of(link.content, link.before) != link.seal:
            complaints.append(f"sheet {link.name}: changed after it was sealed")
        previous = link.seal
    return complaints
