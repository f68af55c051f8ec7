"""What a mechanic with stopwatch and clamp meter stumbled on, from the first start to the way back."""

import re
from datetime import UTC, datetime

import pytest
from textual.widgets import Static

from tests.tui.bench import NOW, RIG, Clock, app_on, keys, said, screen_text, settle, write
from tests.tui.test_stumbles import level, walked
from throwbook.core.records import COMMISSIONING
from throwbook.core.sheets.hand_readings import HandThrow, Reading
from throwbook.core.status.maintenance import Moment, ServiceEntry
from throwbook.core.wording import SHOWN_AT
from throwbook.jobs.enter import HandEntry, enter
from throwbook.jobs.find import opened
from throwbook.jobs.judgements import newest_trials
from throwbook.jobs.latch import raise_by_hand
from throwbook.jobs.maintenance import add
from throwbook.jobs.rig_setup import add_setup, setup_of
from throwbook.jobs.rigs import retire
from throwbook.jobs.sheets import plan, view
from throwbook_tui.fields import MOMENT, FieldSpec, check_field
from throwbook_tui.screens.enter import EnterScreen
from throwbook_tui.widgets.form import Choice, Form
from throwbook_tui.widgets.frame import RowTable

pytestmark = pytest.mark.long

PINS = ("1", "enter", "1", "enter", "1", "enter", "1", "enter")
TO_THE_SHEET = ("enter", "h", *"123456", "3", "ctrl+s")


def readings(time_s: float = 14.6, run_a: float = 2.1, peak_a: float = 2.9, way: str = "lock") -> HandThrow:
    return HandThrow(
        way,
        time_s=Reading(time_s, 0.1),
        run_current_a=Reading(run_a, 0.01),
        peak_current_a=Reading(peak_a, 0.01),
        voltage_v=Reading(12.4, 0.1),
    )


def remark(form: Form, key: str) -> str:
    """What stands beside a field, wherever the form is scrolled to."""
    return str(form.field(key).query_one(".remark", Static).render())


async def typed(pilot, *texts: str) -> None:
    for text in texts:
        await write(pilot, text)
        await keys(pilot, "enter")


@pytest.fixture
def book(tmp_path):
    app_on(tmp_path)
    return tmp_path / "fellside.throwbook"


def test_a_mistyped_throw_is_left_out_and_another_one_asked_for(book):
    throws = [readings(way=way, peak_a=2.9 + i / 100) for i in range(5) for way in ("lock", "unlock")]
    enter(book, RIG, HandEntry(throws, COMMISSIONING), "M. K.", NOW)
    app = app_on(book.parent)

    async def journey(pilot):
        await keys(pilot, "enter", "enter")
        for _ in range(5):
            await keys(pilot, "enter", *PINS)
            await write(pilot, "lamp")
            await keys(pilot, "ctrl+s")
        assert "All throws are done" in said(app)
        await keys(pilot, "down", "x")
        await keys(pilot, "ctrl+s")
        assert "reason to leave it out: required" in said(app)
        await write(pilot, "mistyped")
        await keys(pilot, "ctrl+s")
        assert "NEXT: unlock throw 5 of 5, by hand" in said(app)
        table = app.screen.query_one(
            RowTable
        )  # as a whole: which rows are in sight depends on where it was scrolled to
        assert "left out" in " ".join(str(cell) for row in table.rows for cell in table.get_row(row))

    walked(app, journey)
    found = view(book, f"{RIG}-1")
    assert [one.left_out for one in found.trials if one.left_out] == ["mistyped"]
    assert "5 unlock throws required, 4 on the sheet" in found.acceptance.missing


def test_readings_from_paper_are_dated_and_never_asked_to_rest(book):
    clock = Clock()
    app = app_on(book.parent, clock)

    async def journey(pilot):
        await keys(pilot, *TO_THE_SHEET, "enter")
        await typed(pilot, "14.6", "2.10", "2.90", "12.4", "", "", "2% + 3 digits", "2026-03-13 15:20")
        await keys(pilot, "ctrl+s")
        assert "Rest:" not in said(app)  # nothing was thrown now
        await keys(pilot, "enter", *PINS)
        await write(pilot, "lamp")
        await keys(pilot, "ctrl+s", "enter")
        assert isinstance(app.screen, EnterScreen)
        values = app.screen.query_one(Form).values()
        assert (values["when"], values["clamp"]) == ("", "2% + 3 digits")

    walked(app, journey)
    thrown = view(book, f"{RIG}-1").trials[0].started
    assert thrown is not None
    assert thrown.isoformat() == "2026-03-13T15:20:00+00:00"


def test_a_sheet_from_paper_has_a_day_and_its_throws_stand_in_their_order(book):
    app = app_on(book.parent)

    async def journey(pilot):
        await keys(pilot, *TO_THE_SHEET[:-1], *["tab"] * 4)
        await write(pilot, "2026-03-15")
        assert "this date is in the future" in said(app)
        await keys(pilot, "backspace")
        await write(pilot, "3")
        await keys(pilot, "ctrl+s")
        for time_s, look in (("14.6", PINS[:-1]), ("14.5", ())):
            await keys(pilot, "enter")
            assert app.screen.query_one(Form).values().get("when") == "2026-03-13", said(app)
            await typed(pilot, time_s, "2.10", "2.90", "12.4")
            await keys(pilot, "ctrl+s", *look)
            if look:
                await write(pilot, "lamp")
                await keys(pilot, "ctrl+s")

    walked(app, journey)
    found = newest_trials(book, RIG)
    assert [one.trial.hand["time_s"]["value"] for one in found] == [14.5, 14.6]
    assert {f"{one.when:%Y-%m-%d}" for one in found} == {"2026-03-13"}


def test_a_day_that_is_none_is_told_while_it_is_typed(book):
    app = app_on(book.parent)

    async def journey(pilot):
        await keys(pilot, *TO_THE_SHEET, "enter", "up")
        form = app.screen.query_one(Form)
        form.field("when").focus_answer()
        await write(pilot, "13.13.2026")
        assert "type it like 2026-03-14 09:12" in remark(form, "when")

    walked(app, journey)


def test_by_hand_the_rest_is_shown_and_the_stopwatch_tells_when_it_isnt_over(book):
    clock = Clock()
    app = app_on(book.parent, clock)

    async def journey(pilot):
        await keys(pilot, *TO_THE_SHEET, "enter")
        await typed(pilot, "14.6", "2.10", "2.90", "12.4")
        await keys(pilot, "ctrl+s", "enter", *PINS)
        await write(pilot, "lamp")
        await keys(pilot, "ctrl+s", "enter")
        assert isinstance(app.screen, EnterScreen)
        left = re.search(r"wait (\d+) s more before the next throw", said(app))
        assert left is not None
        await keys(pilot, "f5")
        assert f"Timing. {left[1]} s before its rest was over." in said(app)
        await keys(pilot, "escape")
        assert "The stopwatch is running. Press F5 to stop it first" in said(app)

    walked(app, journey)


def test_a_throw_that_fails_is_asked_before_it_is_written(book):
    app = app_on(book.parent)

    async def journey(pilot):
        await keys(pilot, *TO_THE_SHEET, "enter")
        await typed(pilot, "2.95", "12.4")  # every reading one field too far down
        await keys(pilot, "ctrl+s", "n")
        assert not view(book, f"{RIG}-1").trials
        await keys(pilot, "ctrl+s", "y")
        assert len(view(book, f"{RIG}-1").trials) == 1

    walked(app, journey)


def test_a_stall_by_hand_is_asked_with_what_it_does(book):
    app = app_on(book.parent)

    async def journey(pilot):
        await keys(pilot, *TO_THE_SHEET, "enter")
        await typed(pilot, "5", "8.90")
        app.screen.query_one(Form).field("ended").set("stall")
        await keys(pilot, "ctrl+s")
        assert "This throw FAILS. Record it?" in said(app)
        assert "the rig's status is tightened at once" in said(app)
        await keys(pilot, "y")
        assert "LEFT pin" in said(app)  # what a person sees comes before the way back
        await keys(pilot, "1", "2", "3", "1")
        await write(pilot, "lamp, both sides")
        await keys(pilot, "ctrl+s", "enter")
        assert "DO NOT USE" in said(app)

    walked(app, journey)
    assert level(book) == "do not use"


def test_the_rigs_values_changed_and_the_sheet_is_judged_again_by_them(book):
    enter(book, RIG, HandEntry([readings()], COMMISSIONING), "M. K.", NOW)
    values = setup_of(str(book), RIG) | {"lock.needed_travel": "186 mm"}
    add_setup(str(book), values, "M. K.", NOW, "measured again")
    app = app_on(book.parent)

    async def journey(pilot):
        await keys(pilot, "enter", "enter")
        assert "J judges them again" in said(app)
        await keys(pilot, "j")
        assert "no verdict has changed" in said(app)
        assert "J judges them again" not in said(app)

    walked(app, journey)
    assert not view(book, f"{RIG}-1").rig_changed


def test_retired_rigs_stand_apart(book):
    retire(book, RIG, "sold", "M. K.", NOW)
    app = app_on(book.parent)

    async def journey(pilot):
        assert "1 retired not shown" in said(app)
        assert "Every rig in this logbook is retired. R shows them" in said(app)
        await keys(pilot, "r")
        assert RIG in said(app)
        assert "retired: sold" in said(app)
        await keys(pilot, "r")
        assert "retired: sold" not in said(app)

    walked(app, journey)


def test_without_a_rig_nothing_is_offered_to_open(tmp_path):
    app = app_on(tmp_path, rig=False)

    async def journey(pilot):
        assert "Enter open" not in said(app)
        assert "retired" not in screen_text(app)

    walked(app, journey)


def test_a_choice_gives_its_second_row_back_when_the_screen_is_wide(book):
    app = app_on(book.parent)

    async def journey(pilot):
        await keys(pilot, "enter", "v")
        action = app.screen.query(Choice).first()
        assert action.size.height == 3
        await pilot.resize_terminal(160, 40)
        await keys(pilot, "tab")
        assert action.size.height == 1

    walked(app, journey)


def test_the_whole_judgement_of_an_actuator_is_reached_by_key(book):
    app = app_on(book.parent)

    async def journey(pilot):
        await keys(pilot, "enter", "e")
        before = app.focused
        await keys(pilot, "f6")
        assert app.screen.query_one("#fit-place").size.height > 15
        assert "lock.excess_goes" not in said(app)
        await keys(pilot, "f6")
        assert app.focused is before

    walked(app, journey)


def test_a_signature_answers_only_what_it_is_meant_for(commissioned_logbook):
    book = str(commissioned_logbook)
    raise_by_hand(book, RIG, "person: watch", "heavier than last year", "M. K.", NOW)
    raise_by_hand(book, RIG, "person: restricted", "cable chafed", "M. K.", NOW)
    app = app_on(commissioned_logbook.parent)

    async def journey(pilot):
        await keys(pilot, "enter", "w", "enter")
        assert "heavier than last year" in said(app)
        assert "cable chafed" in said(app)
        await keys(pilot, "1", "enter")
        await typed(pilot, "new cable", "")
        await write(pilot, "M. K.")
        await keys(pilot, "ctrl+s", "y")

    walked(app, journey)
    assert level(commissioned_logbook) == "watch"


def test_a_next_check_before_the_work_is_told_while_it_is_typed(book):
    app = app_on(book.parent)

    async def journey(pilot):
        await keys(pilot, "enter", "v")
        form = app.screen.query_one(Form)
        form.field("due_on").focus_answer()
        await write(pilot, "2026-01-01")
        assert "must be later than the work on 2026-03-14" in remark(form, "due_on")
        form.field("on").focus_answer()
        form.field("on").set("2026-12-01")
        await settle(pilot)
        assert "this date is in the future" in remark(form, "on")

    walked(app, journey)


def test_a_service_entry_is_corrected_by_another_one(book):
    first = ServiceEntry(
        "", RIG, "greased", NOW.date(), seen=Moment("stiff"), machine_hours_h=121.0, new_stretch=False
    )
    add(book, first, NOW)
    app = app_on(book.parent)

    async def journey(pilot):
        await keys(pilot, "enter", "3", "enter", "c")
        app.screen.query_one(Form).field("machine_hours").set("1210 h")
        await keys(pilot, "ctrl+s")
        assert "reason for the correction: required" in said(app)
        await write(pilot, "a digit was missing")
        await keys(pilot, "ctrl+s")
        assert "services 1" in said(app)

    walked(app, journey)
    with opened(book, read_only=True) as open_book:
        (row,) = open_book.services(RIG)
    assert row.details["machine_hours_h"] == 1210.0
    assert row.details["new_stretch"] is False
    assert row.reason == "a digit was missing"


def test_a_form_that_was_only_looked_at_leaves_no_draft(book):
    app = app_on(book.parent)

    async def journey(pilot):
        await keys(pilot, "enter", "e", "escape")
        values = setup_of(str(book), RIG) | {"lock.needed_travel": "186 mm"}
        add_setup(str(book), values, "M. K.", NOW, "measured again")
        await keys(pilot, "e")
        assert "Your earlier entries on this form" not in said(app)
        assert app.screen.query_one(Form).field("lock.needed_travel").value == "186 mm"

    walked(app, journey)


@pytest.mark.parametrize(
    ("kind", "text", "shown"),
    [
        ("time", "14.0 s", "= 14.0 s"),
        ("current", "2,10 A", "= 2.10 A"),
        ("current", "2 A", "= 2 A"),
        ("length", "7 1/8 in", "= 181 mm"),
        ("temperature", "-4 degC", "= -4 degC"),
    ],
)
def test_every_digit_of_a_meter_is_shown_as_understood(kind, text, shown):
    assert check_field(FieldSpec("one", "one", kind), text).say == shown


def test_a_heavier_throw_is_told_though_the_meter_leaves_it_open(commissioned_logbook):
    app = app_on(commissioned_logbook.parent)

    async def journey(pilot):
        await keys(pilot, *TO_THE_SHEET, "enter")
        await typed(pilot, "15.5 s", "2.5 A")
        assert "above the baseline" in said(app)
        assert "so it may be less" in said(app)

    walked(app, journey)


@pytest.mark.parametrize(
    ("typed", "system", "said_back", "kept"),
    [
        ("2026-03-13", "metric", "Friday", ""),
        ("13.3.2026", "metric", "= 2026-03-13, Friday", "2026-03-13"),
        ("3/13/2026", "metric", "= 2026-03-13, Friday", "2026-03-13"),
        ("11/2/2025", "us", "= 2025-11-02, Sunday", "2025-11-02"),
        ("11/2/2025 8:00", "us", "= 2025-11-02 08:00, Sunday", "2025-11-02 08:00"),
        ("8:00", "metric", "= 2026-03-14 08:00, Saturday", "2026-03-14 08:00"),
        ("2:05 pm", "us", "= 2026-03-14 14:05, Saturday", "2026-03-14 14:05"),
        ("11/2/2025", "metric", "11 February or 2 November? Write 2025-02-11 or 2025-11-02.", None),
        ("13/13/2025", "us", "not a date and time: type it like 2026-03-14 09:12", None),
        ("24:10", "us", "not a date and time: type it like 2026-03-14 09:12", None),
    ],
)
def test_a_day_is_taken_as_it_is_written_here_and_said_back(typed, system, said_back, kept):
    spec = FieldSpec("when", "when", MOMENT, today=NOW.date())
    found = check_field(spec, typed, system)
    assert (found.good, found.say, found.complete) == (kept is not None, said_back, kept or "")
    if kept:
        assert check_field(spec, kept, system).say == said_back.rpartition(", ")[2]


def test_a_time_alone_is_of_the_sheets_day_and_kept_with_it(book):
    state, _ = plan(book, RIG, "commissioning", "M. K.", NOW, measured_by="hand", day="2026-03-10")
    app = app_on(book.parent)

    async def journey(pilot):
        await keys(pilot, "enter", "enter", "enter")
        await typed(pilot, "14.6", "2.10", "2.90", "12.4")
        app.screen.form.field("when").set("8:05")
        await keys(pilot, "ctrl+s")

    walked(app, journey)
    [thrown] = view(book, state.name).trials
    assert thrown.started == datetime(2026, 3, 10, 8, 5, tzinfo=UTC)


def test_the_stopwatch_runs_from_the_key_that_opens_the_throw_and_the_cautions_stay(book):
    plan(book, RIG, "commissioning", "M. K.", NOW, measured_by="hand")
    clock = Clock()
    app = app_on(book.parent, clock)

    async def journey(pilot):
        await keys(pilot, "enter", "enter")
        app.screen.action_time()
        clock.go_on(0.4)  # until the screen is there
        await settle(pilot)
        assert "Timing." in said(app)
        assert all(text in said(app) for text in SHOWN_AT["record"])
        clock.go_on(10.0)
        await keys(pilot, "f5")
        assert app.screen.form.field("time_s").value == "10.40 s"

    walked(app, journey)


def test_a_sheet_that_is_read_again_under_a_throw_still_asks_for_its_pins(book):
    plan(book, RIG, "commissioning", "M. K.", NOW, measured_by="hand")
    app = app_on(book.parent)

    async def journey(pilot):
        await keys(pilot, "enter", "enter", "enter")
        app.screen_stack[-2].reload()
        await settle(pilot)
        await typed(pilot, "14.6", "2.10", "2.90", "12.4")
        await keys(pilot, "ctrl+s")
        assert "throw 1: both pins" in said(app)

    walked(app, journey)


def test_a_sheet_from_paper_stands_in_its_list_with_its_day(book):
    plan(book, RIG, "spot", "M. K.", NOW, day="2026-03-10")
    app = app_on(book.parent)

    async def journey(pilot):
        await keys(pilot, "enter")
        assert f"{RIG}-1 2026-03-10 spot" in said(app)

    walked(app, journey)


def test_what_is_missing_is_counted_alike_wherever_it_is_counted(book):
    throws = [readings(way=way, peak_a=2.9 + i / 100) for i in range(5) for way in ("lock", "unlock")]
    enter(book, RIG, HandEntry(throws, "commissioning"), "M. K.", NOW)
    app = app_on(book.parent)

    async def journey(pilot):
        await keys(pilot, "enter")
        assert f"Next: sheet {RIG}-1 is open." in said(app)
        await keys(pilot, "enter")
        counts = []
        for pressed in ("m", "a"):
            await keys(pilot, pressed)
            found = re.search(r"Still missing \((\d+)\)", said(app))
            assert found is not None
            counts.append(int(found[1]))
            await keys(pilot, "escape")
        assert counts[0] == counts[1]

    walked(app, journey)


def test_a_reading_without_its_unit_is_judged_as_enter_will_read_it(book):
    plan(book, RIG, "commissioning", "M. K.", NOW, measured_by="hand")
    app = app_on(book.parent)

    async def journey(pilot):
        await keys(pilot, "enter", "enter", "enter")
        await typed(pilot, "14.6", "2.10", "2.90")
        await write(pilot, "12.4")
        assert "no unit: Enter reads it as 12.4 V" in said(app)
        assert "No verdict yet" not in said(app)

    walked(app, journey)
