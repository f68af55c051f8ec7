"""Journey 8: a board found, checked and calibrated; here against a simulated board on a real pseudo-terminal."""

import asyncio
from datetime import timedelta

import numpy as np
import pytest

from tests.ports.bench import board_on_a_cable
from tests.tui.bench import NOW, Clock, app_on, keys, said, settle, write
from throwbook.core.analysis.calibration import CalibrationPoint
from throwbook.jobs.board import AskedPort
from throwbook.jobs.calibrate import calibration_finder
from throwbook.ports.serial_port import PortInfo
from throwbook.protocol.simulated_board import IDENTITY
from throwbook_tui.drafts import load_draft, save_draft
from throwbook_tui.screens.calibrate import KEY, CalibrateScreen, ReadPoint, packed, unpacked

pytestmark = pytest.mark.long

STEADY_A = 2.0


def steady(time_s):
    """A board that shows a steady current, with a little noise."""
    return STEADY_A + 0.002 * np.sin(40 * time_s), np.full(len(time_s), 12.6)


def test_what_was_found_is_shown_with_what_is_known_of_it(tmp_path, walk):
    app = app_on(tmp_path, port="")
    found = [
        AskedPort(PortInfo("/dev/ttyUSB0", "USB serial", "", "", "1a86:7523"), IDENTITY, 115200, ""),
        AskedPort(PortInfo("/dev/ttyS0", "", "", "", ""), None, None, "nothing answers"),
    ]
    app.desk.find_boards = lambda names=(): found

    async def journey(pilot, look):
        await keys(pilot, "b")
        await look("found")
        await keys(pilot, "down", "enter")
        assert "There is no board at that port." in said(app)
        await keys(pilot, "up", "k")
        await look("calibrate")

    walk(app, journey)


def test_a_board_is_checked_and_calibrated_step_by_step(tmp_path):
    app = app_on(tmp_path, port="")

    async def journey(port):
        app.desk.find_boards = lambda names=(): [
            AskedPort(PortInfo(port.name, "", "", "", ""), IDENTITY, 115200, "")
        ]
        async with app.run_test(size=(80, 24)) as pilot:
            await settle(pilot)
            await keys(pilot, "b", "c")
            assert "of 200 samples per second reached" in said(app)
            await keys(pilot, "k")
            await write(pilot, "clamp meter 12")
            await keys(pilot, "enter")
            await write(pilot, "1% + 3 digits")
            await keys(pilot, "enter")
            await write(pilot, "2.03 A")
            await keys(pilot, "enter")
            assert "[x] meter 2.03 A, board 2.0" in said(app)
            await keys(pilot, "ctrl+s")
            assert "1 of 2 points" in said(app)
            await write(pilot, "4.01 A")

    with board_on_a_cable(steady, speed=8.0) as (port, _):
        asyncio.run(journey(port))
    assert calibration_finder(app.desk.logbook)(IDENTITY.id) is None


def test_a_current_that_moves_while_the_board_is_read_is_told(tmp_path):
    app = app_on(tmp_path, port="")

    def ramp(time_s):
        return 0.5 * time_s, np.full(len(time_s), 12.6)

    async def journey(port):
        async with app.run_test(size=(80, 24)) as pilot:
            await settle(pilot)
            app.push_screen(CalibrateScreen(port.name, 115200, IDENTITY.id))
            await settle(pilot)
            for text in ("clamp meter 12", "1% + 3 digits", "0.50 A"):
                await write(pilot, text)
                await keys(pilot, "enter")
            assert "not steady. F4 takes it back" in said(app)

    with board_on_a_cable(ramp, speed=8.0) as (port, _):
        asyncio.run(journey(port))


def test_rate_and_baud_are_set_on_the_screen_and_asked_for_at_the_next_check(tmp_path):
    app = app_on(tmp_path, port="")

    async def journey(port):
        async with app.run_test(size=(80, 24)) as pilot:
            await settle(pilot)
            app.desk.port = port.name  # no port that this computer lists
            app.desk.find_boards = lambda names=(): (
                [AskedPort(PortInfo(name, "", "", "", ""), IDENTITY, 115200, "") for name in names]
                or [AskedPort(PortInfo("/dev/ttyS0", "", "", "", ""), None, None, "nothing answers")]
            )
            await keys(pilot, "b", "s")
            await write(pilot, "100")
            await keys(pilot, "ctrl+s")
            assert "Throws are recorded at 100 samples per second." in said(app)
            await keys(pilot, "c")
            assert "of 100 samples per second reached" in said(app)  # the board that answered stands first
            await keys(pilot, "s")
            await write(pilot, "5000")
            await keys(pilot, "ctrl+s", "c")
            if "://" not in port.name:  # a port on the network has no speed that could be too low
                assert "Set them on the board screen: B, then S" in said(app)

    with board_on_a_cable(steady, speed=8.0) as (port, _):
        asyncio.run(journey(port))
    assert app.desk.rate_hz == 5000


def test_two_currents_make_a_calibration_that_is_kept_though_the_program_died_between_them(tmp_path):
    app = app_on(tmp_path, port="")

    async def first_point(port):
        dying = app_on(tmp_path, port="")
        async with dying.run_test(size=(80, 24)) as pilot:
            await settle(pilot)
            dying.push_screen(CalibrateScreen(port.name, 115200, IDENTITY.id))
            await settle(pilot)
            assert "fuses can start fires" in said(dying)
            for text in ("clamp meter 12", "1% + 3 digits", "0.01 A"):
                await write(pilot, text)
                await keys(pilot, "enter")
            assert "[x] meter 0.01 A, board 0.0000 A At" in said(dying)

    async def journey(port):
        await first_point(port)
        app.desk.now = Clock(NOW + timedelta(days=1)).now
        async with app.run_test(size=(80, 24)) as pilot:
            await settle(pilot)
            app.push_screen(CalibrateScreen(port.name, 115200, IDENTITY.id))
            await settle(pilot)
            assert "Step 2: another steady current" in said(app)
            assert "[x] meter 0.01 A, board 0.0000 A (read 2026-03-14 09:12)" in said(app)
            await write(pilot, "2.03 A")
            await keys(pilot, "enter")
            await write(pilot, "20.3 A")
            await keys(pilot, "enter", "f4")
            assert "Taken back: meter 20.3 A" in said(app)
            await keys(pilot, "ctrl+s")
            assert "Keep this calibration? gain 1.01" in said(app)
            assert calibration_finder(app.desk.logbook)(IDENTITY.id) is None
            await keys(pilot, "y")

    shown = iter((0.0, STEADY_A))

    def stepped(time_s):
        """Another steady current each time the board begins anew."""
        if time_s[0] < stepped.last_s or stepped.level is None:
            stepped.level = next(shown, STEADY_A)
        stepped.last_s = time_s[-1]
        return np.full(len(time_s), stepped.level), np.full(len(time_s), 12.6)

    stepped.last_s, stepped.level = 0.0, None
    with board_on_a_cable(stepped, speed=8.0) as (port, _):
        asyncio.run(journey(port))
    kept = calibration_finder(app.desk.logbook)(IDENTITY.id)
    assert kept.line.gain == pytest.approx(2.02 / 2.0, rel=1e-3)
    assert not load_draft(app.desk.logbook, f"calibrate-{IDENTITY.id}")


def test_a_calibration_that_is_cleared_begins_without_points(tmp_path):
    app = app_on(tmp_path)
    point = ReadPoint("2.03 A", CalibrationPoint(2.03, 0.01, 2.0, 0.001), "2026-03-14 09:12")

    async def journey():
        async with app.run_test(size=(80, 24)) as pilot:
            save_draft(app.desk.logbook, f"calibrate-{IDENTITY.id}", {KEY: packed([point])})
            app.push_screen(CalibrateScreen("played", 115200, IDENTITY.id))
            await settle(pilot)
            assert "[x] meter 2.03 A, board 2.0000 A" in said(app)
            await keys(pilot, "ctrl+l", "y")
            assert "Step 1: actuator off" in said(app)
            await keys(pilot, "escape")

    asyncio.run(journey())
    assert not load_draft(app.desk.logbook, f"calibrate-{IDENTITY.id}").get(KEY)


@pytest.mark.parametrize(
    "text", ["", "[1", "{}", "7", '[{"meter": "1 A"}]', '[{"meter": 1, "point": {"true_a": "x"}}]']
)
def test_a_draft_whose_points_cant_be_read_gives_none(text):
    assert unpacked(text) == []
