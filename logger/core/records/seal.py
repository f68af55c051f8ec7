"""Content ids and the chain of seals: any later change to what was signed can be found.

A record's canonical form is JSON with sorted keys, no spaces, UTF-8 and no NaN, so that the same content gives the same
bytes on any computer. Its id is the SHA-256 of those bytes (FIPS 180-4). A sheet's seal is taken over its canonical
form *and* the seal of the sheet before it: a sheet changed, taken out or put in later breaks every seal after it.
"""

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import fields, is_dataclass
from datetime import date
from typing import Any

FIRST = ""
"""What the first sheet of a rig is chained to."""
SEAL_FORM = "throwbook-seal-1"


def plain(value: Any) -> Any:
    """Turn dataclasses, mappings, sequences and dates into what JSON can hold.

    Raises:
        TypeError: a value that has no canonical form.
        ValueError: NaN or infinite, which JSON can't hold.
    """
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


def seal_of(content: Any, before: str = FIRST) -> str:
    """Seal of one accepted sheet: its content and the seal ``before`` it."""
    return content_id({"form": SEAL_FORM, "before": before, "content": content_id(content)})
