"""A baseline as JSON can hold it, and back: frozen with its arrays, so that later code can't reckon it otherwise."""

from collections.abc import Mapping
from dataclasses import asdict, fields
from typing import Any

import numpy as np

from logger.core.stroke.baseline import Baseline, Spread
from logger.core.trace import FloatArray


def to_json_value(baseline: Baseline) -> dict[str, Any]:
    """Every field; an array is a list in which None stands for NaN."""
    found: dict[str, Any] = {}
    for each in fields(baseline):
        value = getattr(baseline, each.name)
        if isinstance(value, np.ndarray):
            value = _listed(value)
        elif each.name == "figures":
            value = {name: asdict(spread) for name, spread in value.items()}
        elif each.name == "scan_sd_a":
            value = {str(width): _listed(line) for width, line in value.items()}
        elif each.name == "scan_degrees":
            value = {str(width): degrees for width, degrees in value.items()}
        found[each.name] = value
    return found


def from_json_value(value: Mapping[str, Any]) -> Baseline:
    """The baseline again; fields this version doesn't know are passed over."""
    parts: dict[str, Any] = {}
    for each in fields(Baseline):
        if each.name not in value:
            continue
        item = value[each.name]
        if each.name == "figures":
            item = {name: Spread(**spread) for name, spread in item.items()}
        elif each.name == "scan_sd_a":
            item = {int(width): _array(line) for width, line in item.items()}
        elif each.name == "scan_degrees":
            item = {int(width): degrees for width, degrees in item.items()}
        elif each.name == "files":
            item = tuple(item)
        elif isinstance(item, list):
            item = _array(item)
        parts[each.name] = item
    return Baseline(**parts)


def _listed(values: FloatArray) -> list[float | None]:
    return [None if number != number else float(f"{number:.9g}") for number in values.tolist()]


def _array(values: list[float | None]) -> FloatArray:
    return np.array([np.nan if number is None else number for number in values], dtype=np.float64)
