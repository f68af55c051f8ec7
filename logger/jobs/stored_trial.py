"""A stored throw judged as it would be today: its record under the calibration that counts now, or what was read by hand."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING, Any

from logger.core.records.records import BY_HAND, LoggedTrial
from logger.core.stroke.calibration import GAIN_U_KEY, CalibrationRecord, CurrentCalibration
from logger.logbook import Logbook

if TYPE_CHECKING:
    from logger.core.assessment import Assessment
    from logger.core.rig import Rig
    from logger.core.sheets.byhand_lines import HandThrow
    from logger.core.sheets.instruments import Instruments
    from logger.core.stroke.assess import Baselines
    from logger.core.trace import Trace

LEAST_USUAL_A = 0.1
"""A record of hardly any current: its uncertainty is that at this current."""


def judge_stored(
    book: Logbook,
    logged: LoggedTrial,
    rig: "Rig",
    baselines: "Baselines",
    air_c: float | None = None,
    *,
    on_bench: bool = False,
) -> "tuple[Assessment, str | None]":
    """One stored throw, judged anew in every movement that its record holds; and the calibration it was judged with.

    ``baselines`` by direction. ``air_c``: the sheet's air temperature [degC], for a throw by hand that has none of its own.
    Earlier versions stored a record with several movements as one throw: then the worst movement counts, with the signs
    of the others beside its own.
    """
    if logged.trial.source == BY_HAND:
        from logger.core.sheets.byhand import assess_by_hand
        from logger.core.sheets.byhand_lines import in_air

        throw, tools = hand_throw(dict(logged.trial.hand or {}), logged.direction)
        return assess_by_hand(in_air(throw, air_c), rig, tools, baselines.get(logged.direction)), None
    from logger.core.stroke.assess import assess_record, for_record

    trace = trace_of(book, logged)
    judged = for_record(assess_record(trace, rig, baselines, on_bench=on_bench))
    return judged, calibration_in(book, trace)


def from_details(board: str, details: Mapping[str, object], id: str) -> CalibrationRecord:
    """A stored calibration as a record."""
    from dataclasses import fields

    line = CurrentCalibration(**{one.name: details[one.name] for one in fields(CurrentCalibration)})  # type: ignore[arg-type]
    return CalibrationRecord(
        board,
        line,
        date.fromisoformat(str(details["done_on"])),
        date.fromisoformat(str(details["due_on"])),
        str(details["instrument"]),
        id,
    )


def under(trace: "Trace", record: CalibrationRecord) -> "Trace":
    """A trace of this board as it would be under another calibration."""
    import numpy as np

    zero_a = float(trace.head.get("calibration_zero_a", 0.0))
    gain = float(trace.head.get("calibration_gain", 1.0))
    shown_a = (trace.current_a - zero_a) / gain
    head = {
        **trace.head,
        "calibration": record.id,
        "calibration_zero_a": record.line.zero_a,
        "calibration_gain": record.line.gain,
        GAIN_U_KEY: record.line.relative_u(max(float(np.median(np.abs(shown_a))), LEAST_USUAL_A)),
    }
    return replace(trace, current_a=record.line.corrected(shown_a), head=head)


def trace_of(book: Logbook, logged: LoggedTrial) -> "Trace":
    """A trial's trace under the calibration of its board that counts now."""
    from logger.core.records.revisions import current

    trace = book.trace(logged.id)
    head = dict(logged.placement.head) if logged.placement is not None else {}
    stored = current(book.calibrations(str(head["board"]))) if "board" in head else None
    if stored is None or head.get("calibration") == stored.id:
        return replace(trace, head=head)
    return under(replace(trace, head=head), from_details(stored.board, stored.details, stored.id))


def calibration_in(book: Logbook, trace: "Trace") -> str | None:
    """Id of the calibration that a trace stands under, where this logbook holds it."""
    named = trace.head.get("calibration")
    known = book.calibrations(str(trace.head["board"])) if named and "board" in trace.head else ()
    return next((one.id for one in known if one.id == named), None)


def hand_throw(kept: dict[str, Any], direction: str) -> "tuple[HandThrow, Instruments]":
    """Readings and instruments as the logbook keeps them for a trial by hand."""
    from logger.core.sheets.byhand_lines import HandThrow, Reading
    from logger.core.sheets.instruments import Accuracy, Instruments

    tools = kept.pop("instruments", {})
    instruments = Instruments(
        Accuracy(**tools["clamp"]) if "clamp" in tools else Instruments().clamp,
        Accuracy(**tools["volt"]) if "volt" in tools else Instruments().volt,
        tools.get("names", ""),
    )
    readings: dict[str, Any] = {
        name: Reading(**value) if isinstance(value, dict) else value for name, value in kept.items()
    }
    return HandThrow(**{**readings, "direction": direction}), instruments
