"""JSON lines: one object a line, SI, ``null`` where a figure isn't known, never NaN."""

import json
import math
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from datetime import date
from typing import Any

from logger.core.assessment import Assessment, Check, Sign

# Enough to keep a tenth of a microsecond in an hour's record; few enough that two machines print the same line.
_SIGNIFICANT_DIGITS = 10


def dumps(record: Mapping[str, Any]) -> str:
    """One line of ASCII: other letters are escaped, so nothing in a name can reach a terminal as a command."""
    return json.dumps(tidy(record), allow_nan=False)


def tidy(value: Any) -> Any:
    """``value`` as what JSON knows.

    Floats are rounded to ten significant digits, NaN and infinities become None, dates ISO 8601 text, data classes
    and mappings objects, every other sequence (arrays too) a list.

    >>> tidy({"run_current_a": 0.1 + 0.2, "stall_current_a": float("nan")})
    {'run_current_a': 0.3, 'stall_current_a': None}
    """
    if value is None or isinstance(value, str | bool | int):
        return value
    if isinstance(value, float):
        rounded = float(f"{value:.{_SIGNIFICANT_DIGITS}g}")
        return rounded if math.isfinite(rounded) else None
    if isinstance(value, date):
        return value.isoformat()
    if is_dataclass(value) and not isinstance(value, type):
        return {item.name: tidy(getattr(value, item.name)) for item in fields(value)}
    if isinstance(value, Mapping):
        return {str(key): tidy(item) for key, item in value.items()}
    if hasattr(value, "tolist"):
        return tidy(value.tolist())
    return [tidy(item) for item in value]


def assessment_record(assessment: Assessment) -> dict[str, Any]:
    """The contract's object for one judged trial; a figure's expanded uncertainty (k = 2) is ``NAME_u``."""
    record: dict[str, Any] = {
        "file": assessment.file,
        "movement": assessment.movement,
        "movements": assessment.movements,
        "direction": assessment.direction,
        "usable": assessment.usable,
        "unusable_because": assessment.unusable_because,
    }
    for name, measured in assessment.figures.items():
        record[name] = None if measured is None else measured.value
        record[f"{name}_u"] = None if measured is None else measured.u
    record |= {
        "end": assessment.end,
        "signs": [_sign_record(sign) for sign in assessment.signs],
        "verdict": assessment.verdict,
        "because": assessment.because,
        "provisional": assessment.provisional,
        "checks": [_check_record(check) for check in assessment.checks],
        "diagnoses": assessment.diagnoses,
        "notes": assessment.notes,
        "ambient_c": assessment.ambient_c,
        "started": assessment.started,
        "inrush_end_s": assessment.inrush_end_s,
        "method_version": assessment.method_version,
    }
    tidied: dict[str, Any] = tidy(record)
    return tidied


def _sign_record(sign: Sign) -> dict[str, Any]:
    return {
        "sign": sign.sign,
        "level": sign.level,
        "value": sign.value,
        "limit": sign.limit,
        "unit": sign.unit,
        "at_fraction": sign.at_fraction,
        "at_fraction_u": sign.at_fraction_u,
        "from_s": sign.from_s,
        "because": sign.because,
    }


def _check_record(check: Check) -> dict[str, Any]:
    return {
        "name": check.name,
        "value": None if check.measured is None else check.measured.value,
        "value_u": None if check.measured is None else check.measured.u,
        "unit": check.unit,
        "limit": check.limit,
        "side": check.side,
        "limit_from": check.limit_from,
        "decision": check.decision,
        "settle": check.settle,
    }
