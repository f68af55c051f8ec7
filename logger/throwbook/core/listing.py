"""The columns of the lists that people read: sheets, the throws of a sheet, services, meters. Each column stands here once.

Command line, screen and paper pick columns from the same table and set them as they can: a unit stands in the cell on a
screen, in the heading on paper; a tone only repeats the word. The list of rigs stands in ``jobs.rigs``, the columns of
an export in ``export_schema``.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from throwbook.core.assessment import FAIL, STALL, Measured, movement_said
from throwbook.core.quantities.money import amount_text
from throwbook.core.quantities.rounding import NOT_KNOWN, measured_text, percent_text
from throwbook.core.quantities.text import printable
from throwbook.core.records import (
    ACCEPTED,
    NO,
    NOT_LOOKED,
    REJECTED,
    SEEN,
    PinAnswers,
    SheetState,
    accuracy_text,
)
from throwbook.core.rig import LOCK
from throwbook.core.status.maintenance import MOMENTS, Moment, ServiceEntry
from throwbook.core.wording import ANSWERS, ENDS, FIGURES, NOT_RECORDED, SIGHTINGS, Cell, verdict_cell

if TYPE_CHECKING:
    from throwbook.core.sheets.sheet import SheetTrial

Value = Cell | str | Measured | None


@dataclass(frozen=True)
class ListColumn:
    """One column: what stands above it, and what an item shows in it."""

    head: str
    get: Callable[[Any], Value]
    unit: str = ""
    """SI unit of a figure."""
    right: bool = False
    """Set flush right, as numbers are."""


@dataclass(frozen=True)
class Listing:
    """Some columns of a table, in the order in which they are shown."""

    columns: tuple[ListColumn, ...]

    @classmethod
    def of(cls, table: Mapping[str, ListColumn], names: Iterable[str]) -> "Listing":
        """The columns of ``table`` that are named."""
        return cls(tuple(table[name] for name in names))

    @property
    def heads(self) -> tuple[str, ...]:
        """What stands above them."""
        return tuple(one.head for one in self.columns)

    @property
    def right(self) -> tuple[int, ...]:
        """Indices of those set flush right."""
        return tuple(number for number, one in enumerate(self.columns) if one.right)

    @property
    def paper_heads(self) -> tuple[str, ...]:
        """The same on paper: with a capital, and with the unit."""
        return tuple(
            f"{one.head[:1].upper()}{one.head[1:]}" + (f" [{one.unit}]" if one.unit else "")
            for one in self.columns
        )

    def row(
        self, item: Any, figure: Callable[[Measured | None, str], str] = measured_text
    ) -> list[Cell | str]:
        """One line; ``figure`` says how a figure is written."""
        shown = [(one.get(item), one.unit) for one in self.columns]
        return [value if isinstance(value, Cell | str) else figure(value, unit) for value, unit in shown]

    def paper_row(self, item: Any) -> tuple[str, ...]:
        """The same on paper, where units stand above."""
        cells = self.row(item, lambda value, _: measured_text(value))
        return tuple(printable(one if isinstance(one, str) else one.text) for one in cells)


# ---- sheets ----


@dataclass(frozen=True)
class ListedSheet:
    """A sheet as a list shows it."""

    state: SheetState
    no_came: bool = False
    """A "no" came after it was decided."""
    locks: int = 0
    """Lock throws on it."""
    unlocks: int = 0


def state_said(state: str, no_came: bool) -> str:
    """State of a sheet wherever sheets are listed: an acceptance that was followed by a "no" never stands alone."""
    return f"{state}, a NO since" if no_came else state


STATE_TONES = {ACCEPTED: "good", REJECTED: "bad"}
SHEETS: dict[str, ListColumn] = {
    "sheet": ListColumn("sheet", lambda one: one.state.name),
    "day": ListColumn("day", lambda one: str(one.state.day)),
    "kind": ListColumn("kind", lambda one: one.state.sheet.kind),
    "throws": ListColumn("lock+unlock", lambda one: f"{one.locks}+{one.unlocks}", right=True),
    "state": ListColumn(
        "state",
        lambda one: Cell(
            state_said(one.state.state, one.no_came),
            "bad" if one.no_came else STATE_TONES.get(one.state.state, "warn"),
        ),
    ),
    "signed": ListColumn("signed", lambda one: one.state.decision.signed if one.state.decision else ""),
}
SHEET_LIST = Listing.of(SHEETS, ("sheet", "day", "kind", "state", "signed"))


# ---- throws of a sheet ----


@dataclass(frozen=True)
class ListedThrow:
    """A throw as its sheet shows it."""

    throw: "SheetTrial"
    seen: PinAnswers
    as_found: bool = False


def _figure(name: str) -> Callable[[ListedThrow], Measured | None]:
    return lambda one: getattr(one.throw.assessment.figures, name)


def _peak(one: ListedThrow) -> Measured | None:
    """Of a stall the current that it stood at."""
    figures = one.throw.assessment.figures
    return figures.stall_current_a or figures.peak_run_current_a


def _share_of_expected(one: ListedThrow) -> str:
    checks = one.throw.assessment.checks
    ratio = next((check.measured for check in checks if check.name == "travel_time_high"), None)
    return percent_text(ratio.value) if ratio is not None else NOT_KNOWN


def _shown_verdict(one: ListedThrow) -> Cell:
    """A stall by its own name: its peak is the current at standstill. A fail shows though it is left out."""
    judged = one.throw.assessment
    if judged.end == STALL and judged.verdict == FAIL:
        return Cell("STALL", "bad")
    return (
        Cell("left out", "quiet")
        if one.throw.left_out and judged.verdict != FAIL
        else verdict_cell(judged.verdict)
    )


def answer_cell(name: str, answer: str) -> Cell:
    """What a person saw."""
    return Cell(ANSWERS[name][answer].column, {NO: "bad", NOT_LOOKED: "quiet"}.get(answer, ""))


def _answer(name: str) -> Callable[[ListedThrow], Cell]:
    """Asked after lock throws only."""
    return lambda one: answer_cell(name, getattr(one.seen, name)) if one.throw.direction == LOCK else Cell("")


def _remark(one: ListedThrow) -> str:
    throw = one.throw
    texts = (
        "as found" * one.as_found,
        "by hand" * throw.by_hand,
        movement_said(throw.assessment),
        throw.left_out and f"left out: {throw.left_out}",
        "provisional baseline" * throw.assessment.provisional,
    )
    return "; ".join(text for text in texts if text)


THROWS: dict[str, ListColumn] = {
    "number": ListColumn("throw", lambda one: str(one.throw.position), right=True),
    "marked": ListColumn(
        "", lambda one: f"{one.throw.position}{'*' * one.as_found}{'h' * one.throw.by_hand}"
    ),
    "way": ListColumn("way", lambda one: one.throw.direction),
    **{
        name: ListColumn(FIGURES[name].column, _figure(name), FIGURES[name].unit, right=True)
        for name in ("travel_time_s", "run_current_a", "mean_voltage_v")
    },
    "peak_run_current_a": ListColumn(FIGURES["peak_run_current_a"].column, _peak, "A", right=True),
    "expected": ListColumn("% of expected", _share_of_expected, right=True),
    "end": ListColumn("end", lambda one: ENDS[one.throw.assessment.end].column),
    "verdict": ListColumn("verdict", lambda one: verdict_cell(one.throw.assessment.verdict)),
    "shown verdict": ListColumn("verdict", _shown_verdict),
    **{name: ListColumn(SIGHTINGS[name].column, _answer(name)) for name in SEEN},
    "remark": ListColumn("remark", _remark),
}
MARKS = {"*": "as found", "h": "by hand"}
"""What stands behind the number in ``marked``."""


# ---- services ----


def _what(entry: ServiceEntry) -> str:
    return "; ".join(f"{name}: {getattr(entry, name).what}" for name in MOMENTS if getattr(entry, name))


def _moment(name: str) -> Callable[[ServiceEntry], str]:
    def text(entry: ServiceEntry) -> str:
        moment: Moment = getattr(entry, name)
        if not moment:
            return NOT_RECORDED
        return f"{moment.what} ({moment.on})" if moment.on else moment.what

    return text


SERVICES: dict[str, ListColumn] = {
    "id": ListColumn("id", lambda one: one.id[:8]),
    "rig": ListColumn("rig", lambda one: one.rig),
    "date": ListColumn("date", lambda one: str(one.on)),
    "action": ListColumn("action", lambda one: one.action),
    "due": ListColumn("next check", lambda one: str(one.due_on or "")),
    "what": ListColumn("what", _what),
    **{name: ListColumn(name, _moment(name)) for name in MOMENTS},
    "parts": ListColumn("parts", lambda one: one.parts or NOT_KNOWN),
    "hours": ListColumn(
        "hours",
        lambda one: f"{one.machine_hours_h:g} h" if one.machine_hours_h is not None else "",
        right=True,
    ),
    "cost": ListColumn("cost", lambda one: one.cost),
    "period": ListColumn("period", lambda one: "new" if one.starts_stage else ""),
    "by": ListColumn("by", lambda one: one.by),
}

COSTS: dict[str, ListColumn] = {
    "rig": ListColumn("rig", lambda one: one.rig),
    "year": ListColumn("year", lambda one: str(one.year)),
    "cost": ListColumn("cost", lambda one: amount_text(one.amount), right=True),
    "currency": ListColumn("currency", lambda one: one.currency or "not given"),
    "services": ListColumn("services", lambda one: str(one.entries), right=True),
}
"""Sums of costs."""

NOTES = Listing(
    (
        ListColumn("day", lambda one: one.day),
        ListColumn("rig", lambda one: one.rig),
        ListColumn("about", lambda one: f"{one.kind}, corrected since" if one.corrected else one.kind),
        ListColumn("where", lambda one: one.where),
        ListColumn("text", lambda one: one.text),
        ListColumn("by", lambda one: one.by),
    )
)
"""What somebody wrote, as a search finds it."""


# ---- meters ----


METERS = Listing(
    (
        ListColumn("meter", lambda one: one.name),
        ListColumn("kind", lambda one: one.kind),
        ListColumn("last digit", lambda one: f"{one.resolution:g} {one.unit}"),
        ListColumn("accuracy", lambda one: accuracy_text(one.share, one.digits)),
        ListColumn("peak hold", lambda one: "yes" if one.peak_hold else "no"),
        ListColumn("checked", lambda one: one.checked or Cell(NOT_RECORDED, "quiet")),
    )
)
