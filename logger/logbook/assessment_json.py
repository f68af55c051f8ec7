"""An assessment as JSON can hold it, and back; fields added in later versions are read with their defaults."""

from collections.abc import Mapping
from dataclasses import fields
from datetime import datetime
from typing import Any, TypeVar

import numpy as np

from logger.core.assessment import Assessment, Check, Diagnosis, Figures, Measured, Profile, Sign
from logger.core.trace import FloatArray
from logger.logbook import tracecodec

Kind = TypeVar("Kind", Sign, Check, Diagnosis, Figures)

# A profile is derived and can be reckoned again from its trace: it is kept to these places, finer than its uncertainty.
PROFILE_PLACES = {"fraction": 6, "current_a": 5, "u_a": 6}
NOT_REACHED = -1000.0
"""Stands for NaN, where the movement ended before; no profile has such a current [A]."""


def to_json_value(assessment: Assessment) -> dict[str, Any]:
    """Everything but the profile's arrays; figures that the record couldn't give are left out."""
    bare = dict(vars(assessment))
    profile = bare.pop("profile")
    bare["figures"] = {name: list(value) for name, value in assessment.figures.items() if value is not None}
    bare["signs"] = [_short(vars(sign)) for sign in assessment.signs]
    bare["checks"] = [vars(check) for check in assessment.checks]
    bare["diagnoses"] = [vars(cause) for cause in assessment.diagnoses]
    bare["started"] = assessment.started.isoformat() if assessment.started is not None else None
    if profile is not None:
        bare["profile_place_u"] = profile.place_u
    return bare


def from_json_value(value: Mapping[str, Any]) -> Assessment:
    """The assessment, without its profile."""
    known = {field.name for field in fields(Assessment)}
    parts = {name: item for name, item in value.items() if name in known}
    parts["figures"] = Figures(
        **{
            name: Measured(*pair)
            for name, pair in value["figures"].items()
            if name in {field.name for field in fields(Figures)}
        }
    )
    parts["signs"] = tuple(_build(Sign, each) for each in value["signs"])
    parts["checks"] = tuple(_build(Check, each) for each in value["checks"])
    parts["diagnoses"] = tuple(_build(Diagnosis, each) for each in value["diagnoses"])
    parts["notes"] = tuple(value.get("notes", ()))
    started = value.get("started")
    parts["started"] = datetime.fromisoformat(started) if started else None
    return Assessment(**parts)


def profile_blob(profile: Profile | None) -> bytes | None:
    """The profile's arrays, small."""
    if profile is None:
        return None
    named: dict[str, FloatArray] = {}
    for name, places in PROFILE_PLACES.items():
        values: FloatArray = getattr(profile, name).copy()
        values[np.isnan(values)] = NOT_REACHED
        named[name] = values.round(places)
    return tracecodec.encode(named)


def profile_from_blob(blob: bytes, place_u: float) -> Profile:
    """The profile again."""
    named = tracecodec.decode(blob)
    for values in named.values():
        values[values == NOT_REACHED] = np.nan
    return Profile(named["fraction"], named["current_a"], named["u_a"], place_u)


def _short(value: dict[str, Any]) -> dict[str, Any]:
    return {name: item for name, item in value.items() if item is not None}


def _build(kind: type[Kind], value: Mapping[str, Any]) -> Kind:
    parts = {field.name: value[field.name] for field in fields(kind) if field.name in value}
    if parts.get("measured") is not None:
        parts["measured"] = Measured(*parts["measured"])
    arguments: Any = {name: tuple(item) if isinstance(item, list) else item for name, item in parts.items()}
    return kind(**arguments)
