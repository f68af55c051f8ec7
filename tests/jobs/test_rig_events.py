"""What happened since the last accepted sheet stands first, the same in trend, report, cab card, rig screen and list."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from throwbook.core.records import PinAnswers
from throwbook.core.sheets.hand_readings import Reading, parse_line
from throwbook.core.status.maintenance import Moment, ServiceEntry
from throwbook.core.status.status_text import NEVER, NOTHING
from throwbook.core.trace import Trace
from throwbook.files.trace_file import write_trace
from throwbook.jobs.enter import HandEntry, enter
from throwbook.jobs.find import opened
from throwbook.jobs.import_traces import ImportPlan, import_traces
from throwbook.jobs.latch import Clearing, clear, raise_by_hand, status
from throwbook.jobs.maintenance import add as add_service
from throwbook.jobs.papers import Issue, _form_source, material_in
from throwbook.jobs.rigs import add_rig, rig_history
from throwbook.jobs.sheets import before_planning, plan, see
from throwbook.jobs.sign_off import accept, reject
from throwbook.jobs.trend import rig_trend
from throwbook.report.document import words
from throwbook.report.forms import cab_card
from throwbook.report.report import rig_report

RIG, BY = "quarry-loader", "M. K."
NOW = datetime(2026, 3, 14, 9, 0, tzinfo=UTC)
PAIR = [
    parse_line("lock 15.20s 2.10A 2.90A 12.40V both seen, load check done, stayed put", "test"),
    parse_line("unlock 14.60s 1.80A 2.40A 12.50V", "test"),
]
STALL = parse_line("lock 9.00s 8.0A 8.1A 11.2V stalled", "test")


@pytest.fixture
def logbook(tmp_path) -> Path:
    path = tmp_path / "fellside.throwbook"
    add_rig(path, Path(__file__).parent.parent / "cli" / "quarry-loader.toml", BY, NOW)
    return path


def commissioned(path: Path, at: datetime) -> str:
    state, _ = plan(path, RIG, "commissioning", BY, at)
    enter(path, RIG, HandEntry(PAIR * 5, "", state.name, seen_how="torch", thrown_at=at, again=True), BY, at)
    accept(path, state.name, PinAnswers(), BY, at)
    return state.name


def happened(path: Path) -> tuple[str, ...]:
    return rig_history(path, RIG, date(2026, 6, 1)).happened


def test_nothing_happened_says_so(logbook):
    assert happened(logbook) == (NEVER,)
    commissioned(logbook, NOW)
    assert happened(logbook) == (NOTHING,)


def test_a_stall_a_repair_and_a_rejected_sheet_are_told_with_their_days_everywhere(logbook, tmp_path):
    commissioned(logbook, NOW)
    day = NOW + timedelta(days=30)
    enter(logbook, RIG, HandEntry([STALL], "spot", thrown_at=day, as_read=True), BY, day)
    fixed = day + timedelta(days=2)
    add_service(
        logbook,
        ServiceEntry(
            "", RIG, "repaired", fixed.date(), found=Moment("bent pin"), fixed=Moment("new pin"), by=BY
        ),
        fixed,
    )
    wrong = day + timedelta(days=3)
    state, _ = plan(logbook, RIG, "seasonal", BY, wrong)
    enter(logbook, RIG, HandEntry(PAIR[1:], "", state.name, thrown_at=wrong, as_read=True), BY, wrong)
    reject(logbook, state.name, "wrong meter", BY, wrong)
    told = happened(logbook)
    assert told[0][:10] == "2026-04-13"
    assert "do not use: stall" in told[0]
    assert any(one.startswith("2026-04-15: repaired: new pin") for one in told)
    assert any("rejected by M. K.: wrong meter" in one for one in told)
    assert "still open, with 1 failed throw" in " ".join(told)

    today = date(2026, 6, 1)
    assert rig_trend(logbook, RIG, today).happened == told
    with opened(logbook, read_only=True) as book:
        material = material_in(book, RIG, today)
    assert material.happened == told
    summary = words(rig_report(material)).split("Summary\n")[1]
    assert summary.startswith(told[0])
    card = words(cab_card(_form_source(logbook, RIG, "spot", Issue(tmp_path, today), None)))
    assert all(one in card for one in told[-2:])


def test_a_pin_seen_out_and_a_person_s_order_are_told_and_an_acceptance_ends_the_list(logbook):
    commissioned(logbook, NOW)
    later = NOW + timedelta(days=9)
    raise_by_hand(logbook, RIG, "damage", "bent bracket", BY, later)
    out = replace(PAIR[0], left_pin="no")
    enter(logbook, RIG, HandEntry([out], "spot", seen_how="torch", thrown_at=later, as_read=True), BY, later)
    told = " ".join(happened(logbook))
    assert "2026-03-23: do not use: damage: bent bracket." in told
    assert "do not use: LEFT pin NOT in its hole" in told
    commissioned(logbook, later + timedelta(days=5))
    held = " ".join(happened(logbook))
    assert "2026-03-23: do not use: damage: bent bracket." in held, (
        "an order that still holds the rig is told"
    )


def test_a_no_has_the_day_on_which_it_was_written_down_and_names_its_throw(logbook):
    name = commissioned(logbook, NOW)
    later = NOW + timedelta(days=40)
    see(logbook, name, [3], PinAnswers(right_pin="no", how="mirror"), "C. Green", later, "looked again")
    (said,) = happened(logbook)
    assert said == "2026-04-23: do not use: RIGHT pin NOT in its hole (lock throw of 2026-03-14)."


def test_a_watch_from_an_accepted_check_is_told_until_it_is_cleared(logbook):
    commissioned(logbook, NOW)
    day = NOW + timedelta(days=90)
    heavy = replace(PAIR[0], run_current_a=Reading(2.55, 0.01), peak_current_a=Reading(3.1, 0.01))
    state, _ = plan(logbook, RIG, "seasonal", BY, day)
    throws = [heavy, PAIR[1], *PAIR * 3]
    enter(
        logbook, RIG, HandEntry(throws, "", state.name, seen_how="torch", thrown_at=day, again=True), BY, day
    )
    accept(logbook, state.name, PinAnswers(), BY, day + timedelta(hours=1))
    (said,) = happened(logbook)
    assert said.startswith("2026-06-12: watch: running current")
    with opened(logbook, read_only=True) as book:
        held = tuple(one.ids[0] for one in status(book, RIG).open)
    clear(logbook, RIG, Clearing(held, BY, "greased, three clean checks"), BY, day + timedelta(hours=2))
    assert "cleared and signed" in happened(logbook)[-1]


def test_a_recommissioning_does_not_hide_the_stall_it_was_made_for(logbook):
    commissioned(logbook, NOW)
    day = NOW + timedelta(days=30)
    enter(logbook, RIG, HandEntry([STALL], "spot", thrown_at=day, as_read=True), BY, day)
    fixed = day + timedelta(days=2)
    work = ServiceEntry(
        "", RIG, "repaired", fixed.date(), found=Moment("bent pin"), fixed=Moment("new pin"), by=BY
    )
    entry = add_service(logbook, work, fixed).entry
    name = commissioned(logbook, day + timedelta(days=3))
    with opened(logbook, read_only=True) as book:
        held = tuple(one.ids[0] for one in status(book, RIG).open)
    brought = Clearing(held, BY, "repaired and proved", "bent pin", entry.id, name)
    clear(logbook, RIG, brought, BY, day + timedelta(days=3, hours=1))
    told = happened(logbook)
    days = [one[:10] for one in told if "still open" not in one]
    assert sorted(set(days)) == ["2026-04-13", "2026-04-15", "2026-04-16"]
    assert "do not use: stall" in told[0]
    cleared = [one for one in told if "cleared" in one]
    assert cleared == ["2026-04-16: do not use (stall) cleared and signed by M. K.: repaired and proved."], (
        "on a small screen the newest event stands alone: it says what it ended"
    )
    commissioned(logbook, day + timedelta(days=60))
    assert not any("do not use" in one for one in happened(logbook)), "the next acceptance ends the list"


@pytest.mark.parametrize(("fixed", "told"), [("Greased", "greased."), ("both pins", "greased: both pins.")])
def test_what_was_done_is_told_once(logbook, fixed, told):
    entry = ServiceEntry("", RIG, "greased", NOW.date(), fixed=Moment(fixed), by=BY)
    add_service(logbook, entry, NOW)
    assert happened(logbook) == (f"2026-03-14: {told}",)


def recorded(path: Path, folder: Path, day: int, *switches: str, board: str | None = "yard-1") -> None:
    """A throw of that day, from a board with these switches."""
    rows = np.linspace(0.0, 12.0, 2400)
    fitted = {f"{side}_switch": rows > 8.0 for side in switches}
    head = {"switches_fitted": list(switches)} if switches else {}
    head |= {"board": board} if board else {}
    current_a = np.where((rows > 1.0) & (rows < 11.0), 2.1 + 0.01 * day, 0.0)
    trace = Trace(rows, current_a, None, "lock", RIG, NOW + timedelta(days=day), head=head, **fitted)
    file = folder / f"day-{day}.csv"
    write_trace(trace, file)
    import_traces(str(path), ImportPlan(RIG, "spot", [str(file)]), BY, NOW + timedelta(days=day, hours=1))


def changes(path: Path) -> list[str]:
    with opened(path, read_only=True) as book:
        return [one.because for one in book.orders(RIG) if one.cause == "rig changed"]


def test_a_switch_that_is_gone_is_a_change_of_the_rig_told_once(logbook, tmp_path):
    commissioned(logbook, NOW)
    recorded(logbook, tmp_path, 1, "left", "right")
    recorded(logbook, tmp_path, 2, "left", "right")
    recorded(logbook, tmp_path, 3, board=None)  # another logger says nothing of switches
    assert changes(logbook) == []
    assert _form_source(logbook, RIG, "spot", Issue(tmp_path, NOW.date()), None).switches == ("left", "right")
    recorded(logbook, tmp_path, 4, "left")
    recorded(logbook, tmp_path, 5, "left")
    assert changes(logbook) == ["RIGHT SWITCH no longer fitted"]
    recorded(logbook, tmp_path, 6)
    assert changes(logbook)[-1] == "LEFT SWITCH no longer fitted"
    recorded(logbook, tmp_path, 7, "left", "right")  # one that is new is none
    assert len(changes(logbook)) == 2


def test_a_switch_that_is_gone_before_commissioning_holds_no_rig(logbook, tmp_path):
    recorded(logbook, tmp_path, 1, "left", "right")
    recorded(logbook, tmp_path, 2)
    assert changes(logbook) == []


def test_work_that_is_entered_after_an_acceptance_is_told_though_it_was_done_before(logbook):
    commissioned(logbook, NOW)
    entry = ServiceEntry("", RIG, "greased", NOW.date() - timedelta(days=2), by=BY)
    add_service(logbook, entry, NOW - timedelta(hours=1))
    assert happened(logbook) == (NOTHING,)  # known when the sheet was accepted
    add_service(logbook, replace(entry, action="adjusted"), NOW + timedelta(hours=1))
    add_service(logbook, replace(entry, action="repaired"), NOW + timedelta(days=3))
    assert happened(logbook) == (
        "2026-03-12: adjusted, entered on 2026-03-14.",
        "2026-03-12: repaired, entered on 2026-03-17.",
    )


def test_after_a_service_the_check_of_it_is_proposed_until_one_is_planned(logbook):
    assert before_planning(logbook, RIG).kind == "commissioning"
    commissioned(logbook, NOW)
    assert before_planning(logbook, RIG).kind == "seasonal"
    day = NOW + timedelta(days=30)
    entry = ServiceEntry("", RIG, "greased", day.date(), fixed=Moment("greased both pins"), by=BY)
    add_service(logbook, entry, day)
    assert before_planning(logbook, RIG).kind == "after-service"
    plan(logbook, RIG, "after-service", BY, day + timedelta(hours=1))
    assert before_planning(logbook, RIG).kind == "seasonal"
