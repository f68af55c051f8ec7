"""An assessment as JSON can hold it, and back; fields added in later versions are read with their defaults."""

import zlib
from collections.abc import Mapping
from dataclasses import fields
from datetime import datetime
from typing import Any, TypeVar

import numpy as np

from logger.core.assessment import Assessment, Check, Diagnosis, Figures, Measured, Profile, Sign
from logger.logbook import tracecodec

Kind = TypeVar("Kind", Sign, Check, Diagnosis)

# A profile is derived and can be reckoned again from its trace: it is kept in parts of one so small that its
# uncertainty is far larger.
PROFILE_PARTS = {"fraction": 1e6, "current_a": 1e5, "u_a": 1e6}
NOT_REACHED = -(2**31)
"""Stands for NaN, where the movement ended before."""


ASSESSMENT_FIELDS = frozenset(field.name for field in fields(Assessment))
FIGURE_FIELDS = frozenset(field.name for field in fields(Figures))
PART_FIELDS = {kind: tuple(field.name for field in fields(kind)) for kind in (Sign, Check, Diagnosis)}


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
    parts = {name: item for name, item in value.items() if name in ASSESSMENT_FIELDS}
    parts["figures"] = Figures(
        **{name: Measured(*pair) for name, pair in value["figures"].items() if name in FIGURE_FIELDS}
    )
    parts["signs"] = tuple(_build(Sign, each) for each in value["signs"])
    parts["checks"] = tuple(_build(Check, each) for each in value["checks"])
    parts["diagnoses"] = tuple(_build(Diagnosis, each) for each in value["diagnoses"])
    parts["notes"] = tuple(value.get("notes", ()))
    started = value.get("started")
    parts["started"] = datetime.fromisoformat(started) if started else None
    return Assessment(**parts)


def profile_blob(profile: Profile | None) -> bytes | None:
    """The profile's arrays as whole numbers of those parts, shape (3, m), small."""
    if profile is None:
        return None
    lines = np.array([getattr(profile, name) * parts for name, parts in PROFILE_PARTS.items()])
    lines[np.isnan(lines)] = NOT_REACHED
    return zlib.compress(np.rint(lines).astype("<i4").tobytes(), 6)


def profile_from_blob(blob: bytes, place_u: float) -> Profile:
    """The profile again."""
    raw = zlib.decompress(blob)
    if raw.startswith(b"{"):  # as version 1 wrote it
        named = tracecodec.decode(blob)
        lines = np.array([named[name] for name in PROFILE_PARTS])
        lines[lines == OLD_NOT_REACHED] = np.nan
    else:
        whole = np.frombuffer(raw, dtype="<i4").reshape(len(PROFILE_PARTS), -1)
        lines = whole / np.array([list(PROFILE_PARTS.values())]).T
        lines[whole == NOT_REACHED] = np.nan
    return Profile(lines[0], lines[1], lines[2], place_u)


OLD_NOT_REACHED = -1000.0


def _short(value: dict[str, Any]) -> dict[str, Any]:
    return {name: item for name, item in value.items() if item is not None}


def _build(kind: type[Kind], value: Mapping[str, Any]) -> Kind:
    parts = {name: value[name] for name in PART_FIELDS[kind] if name in value}
    if parts.get("measured") is not None:
        parts["measured"] = Measured(*parts["measured"])
    arguments: Any = {name: tuple(item) if isinstance(item, list) else item for name, item in parts.items()}
    return kind(**arguments)
