"""Assessments and baselines as JSON, samples as a small blob, and back without losing a bit of any value.

What a board or a file gives are decimal numbers with few digits. Each column is turned into whole numbers where the
way back gives exactly the same floats (``x = n / 10**places`` or ``x = n * 10**-places``), then into differences,
then into byte planes, then through zlib. A column that isn't decimal is kept as its 64-bit floats.
"""

import hashlib
import json
import zlib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import asdict, dataclass, fields
from datetime import datetime
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from throwbook.core.analysis.baseline import Baseline, FigureScatter
from throwbook.core.assessment import (
    Assessment,
    Check,
    Diagnosis,
    Figures,
    Measured,
    Profile,
    Sign,
)
from throwbook.core.trace import CHANNELS, FloatArray, Trace


def baseline_to_json(baseline: Baseline) -> dict[str, Any]:
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


def baseline_from_json(value: Mapping[str, Any]) -> Baseline:
    """The baseline again; fields this version doesn't know are passed over."""
    parts: dict[str, Any] = {}
    for each in fields(Baseline):
        if each.name not in value:
            continue
        item = value[each.name]
        if each.name == "figures":
            item = {name: FigureScatter(**spread) for name, spread in item.items()}
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


PLACES = range(10)
EXACT = 2.0**53
FEW = 256
"""Values that a guess is made from."""
FIRST_LOOK = 8
"""Values whose shortest text says how many decimal places there are."""
HEAD = json.JSONEncoder(separators=(",", ":"))
ORDERS = range(3)
"""How often differences may have been taken."""
DAMAGE = (ValueError, KeyError, IndexError, TypeError, OverflowError, RecursionError, zlib.error)
"""What unpacking a damaged blob may raise."""
LARGEST_BYTES = 1 << 28
"""Unpacked; far above two million rows of three columns. A blob that goes on is damaged or made to fill the memory."""


def columns(trace: Trace) -> dict[str, FloatArray]:
    """The trace's columns by name, those it has; a closed switch is 1, minus zero becomes zero."""
    return {
        name: np.ascontiguousarray(values, dtype=np.float64) + 0.0 for name, values in trace.columns().items()
    }


def digest(named: dict[str, FloatArray]) -> str:
    """SHA-256 of the values themselves (little-endian doubles), whatever the blob looks like.

    Columns that this program doesn't know have no part in it: a record is the same with and without them.
    """
    total = hashlib.sha256()
    for name, values in named.items():
        if name not in CHANNELS:
            continue
        total.update(f"{name}:{len(values)};".encode())
        total.update(np.ascontiguousarray(values, dtype="<f8").data)
    return total.hexdigest()


def encode(named: dict[str, FloatArray]) -> bytes:
    """Columns of one length, as a blob."""
    heads: list[dict[str, Any]] = []
    body = b""
    for name, values in named.items():
        head, packed = _pack(values)
        heads.append({"name": name, **head, "bytes": len(packed)})
        body += packed
    samples = len(next(iter(named.values())))
    top = HEAD.encode({"codec": 1, "samples": samples, "columns": heads}).encode()
    packer = zlib.compressobj(6, strategy=zlib.Z_RLE)
    return packer.compress(top + b"\n" + body) + packer.flush()


def decode(blob: bytes) -> dict[str, FloatArray]:
    """The columns again. Raises one of ``DAMAGE`` when the blob is damaged."""
    unpacker = zlib.decompressobj()
    top, _, body = unpacker.decompress(blob, LARGEST_BYTES).partition(b"\n")
    if not unpacker.eof:
        raise ValueError("the samples are cut short, or too many to be a trace")
    head = json.loads(top)
    if head["codec"] != 1:
        raise ValueError(f"samples stored in form {head['codec']}, which this version cannot read")
    found: dict[str, FloatArray] = {}
    for column in head["columns"]:
        packed, body = body[: column["bytes"]], body[column["bytes"] :]
        found[column["name"]] = _unpack(column, packed, head["samples"])
    return found


def whole(stored_digest: str, blob: bytes) -> bool:
    """Whether a blob still unpacks to the samples that were summed when they were stored."""
    try:
        return digest(decode(blob)) == stored_digest
    except DAMAGE:
        return False


@dataclass(frozen=True)
class BlobKind:
    """What a table of blobs holds, each under the digest of its content."""

    called: str
    changed: str
    """What is said of one that no longer gives its digest."""
    whole: Callable[[str, bytes], bool]


BLOBS = {
    "trace": BlobKind(
        "records of samples", "the recorded samples {digest} were changed after they were stored", whole
    ),
    "picture": BlobKind(
        "photographs",
        "the photograph {digest} was changed after it was stored",
        lambda digest, blob: hashlib.sha256(blob).hexdigest() == digest,
    ),
}
"""By table."""


def _pack(values: FloatArray) -> tuple[dict[str, Any], bytes]:
    largest = float(np.abs(values).max()) if len(values) else 0.0
    for places in _likely_places(values) if largest < EXACT else ():  # NaN isn't below either
        if largest * 10.0**places >= EXACT:
            continue
        for way in ("divide", "multiply"):
            whole = np.rint(values * 10.0**places)
            if (_apply(way, whole, places) == values).all():
                head, packed = _pack_whole(whole.astype(np.int64))
                return {"way": way, "places": places, **head}, packed
    return {"way": "floats"}, values.astype("<f8", copy=False).tobytes()


def _likely_places(values: FloatArray) -> Iterable[int]:
    """Every number of decimal places, the likeliest first: as many as the shortest text of a few values has."""
    texts = [repr(value) for value in values[:: max(len(values) // FIRST_LOOK, 1)].tolist()]
    likely = max((len(text.partition(".")[2]) for text in texts if "e" not in text), default=0)
    return (*range(likely, len(PLACES)), *range(min(likely, len(PLACES)) - 1, -1, -1))


def _apply(way: str, whole: FloatArray, places: int) -> FloatArray:
    factor = float(f"1e{places}" if way == "divide" else f"1e-{places}")
    return whole / factor if way == "divide" else whole * factor


def _pack_whole(whole: NDArray[np.int64]) -> tuple[dict[str, Any], bytes]:
    """Differences of whichever order looks smallest, in units of their common divisor, as byte planes."""
    first = int(whole[0]) if len(whole) else 0
    step, rest = _in_steps(whole - first)
    order = _best_order(rest[:FEW])
    for _ in range(order):
        rest = _steps(rest)
    signless = (rest << 1) ^ (rest >> 63)
    largest = int(signless.max()) if len(signless) else 0
    width = max((largest.bit_length() + 7) // 8, 1)
    planes = signless.astype("<i8", copy=False).view(np.uint8).reshape(-1, 8)[:, :width].T
    return {"first": first, "step": step, "order": order, "width": width}, planes.tobytes()


def _in_steps(rest: NDArray[np.int64]) -> tuple[int, NDArray[np.int64]]:
    """Greatest common divisor of all, and each value in units of it; that of a few mostly divides all, and is quick."""
    step = int(np.gcd.reduce(rest[:FEW])) if len(rest) else 1
    if step == 1:
        return 1, rest
    if step > 1:
        units = rest // step
        if (units * step == rest).all():
            return step, units
    step = max(int(np.gcd.reduce(rest)), 1)
    return step, rest // step


def _best_order(few: NDArray[np.int64]) -> int:
    """How often to take differences: a guess from a few values; any answer is lossless."""
    once = _steps(few)
    sizes = [float(np.abs(each).sum(dtype=np.float64)) for each in (few, once, _steps(once))]
    return sizes.index(min(sizes))


def _steps(whole: NDArray[np.int64]) -> NDArray[np.int64]:
    """Difference of each value from the one before it; the first from 0."""
    steps = whole.copy()
    steps[1:] -= whole[:-1]
    return steps


def _unpack(head: dict[str, Any], packed: bytes, samples: int) -> FloatArray:
    if head["way"] == "floats":
        return np.frombuffer(packed, dtype="<f8").astype(np.float64)
    if head["order"] not in ORDERS or head["places"] not in PLACES:
        raise ValueError("the head of the samples is damaged")
    planes = np.frombuffer(packed, dtype=np.uint8).reshape(head["width"], samples)
    wide = np.zeros((samples, 8), dtype=np.uint8)
    wide[:, : head["width"]] = planes.T
    signless = wide.view("<u8").reshape(-1).astype(np.uint64)
    rest = (signless >> np.uint64(1)).astype(np.int64) ^ -(signless & np.uint64(1)).astype(np.int64)
    for _ in range(head["order"]):
        rest = np.cumsum(rest)
    with np.errstate(all="ignore"):  # only damaged samples get that far
        whole = (rest * np.int64(head["step"]) + np.int64(head["first"])).astype(np.float64)
    return _apply(head["way"], whole, head["places"])


Kind = TypeVar("Kind", Sign, Check, Diagnosis)


# A profile is derived and can be reckoned again from its trace: it is kept in parts of one so small that its
# uncertainty is far larger.
PROFILE_PARTS = {"fraction": 1e6, "current_a": 1e5, "u_a": 1e6}
NOT_REACHED = -(2**31)
"""Stands for NaN, where the movement ended before."""
ASSESSMENT_FIELDS = frozenset(field.name for field in fields(Assessment))
FIGURE_FIELDS = frozenset(field.name for field in fields(Figures))
PART_FIELDS = {kind: tuple(field.name for field in fields(kind)) for kind in (Sign, Check, Diagnosis)}


def assessment_to_json(assessment: Assessment) -> dict[str, Any]:
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


def assessment_from_json(value: Mapping[str, Any]) -> Assessment:
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
        named = decode(blob)
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
