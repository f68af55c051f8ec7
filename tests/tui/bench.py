"""What the screen tests work with: a clock that stands still, a throw that is played, a pilot that waits for the workers."""

import asyncio
import queue
import threading
from collections.abc import Callable, Iterable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from textual import events
from textual.app import App
from textual.keys import _character_to_key
from textual.message_pump import MessagePump
from textual.pilot import Pilot
from textual.strip import Strip
from textual.widget import Widget
from textual.widgets import DataTable

from throwbook.core.analysis.live import LiveThrow
from throwbook.core.machine.electrical import rest_for
from throwbook.core.simulator import (
    SensorModel,
    SimulatedFault,
    ThrowConditions,
    machine_for,
    throw,
)
from throwbook.core.trace import Trace
from throwbook.jobs.record import RecordPlan
from throwbook.jobs.recording import Recorded, throws_of
from throwbook.jobs.rigs import add_rig
from throwbook_tui.app import ThrowbookApp
from throwbook_tui.context import Desk

RIG = "yard-loader"
RIG_FILE = Path(__file__).with_name("yard-loader.toml")
NOW = datetime(2026, 3, 14, 9, 12, tzinfo=UTC)
SIZES = ((80, 24), (120, 40))
BLOCK = 100
QUIET_ROUNDS = 3
WORKING_S = 0.004


class Clock:
    """Stands still until it is told to go on; both kinds of time in one."""

    def __init__(self, now: datetime = NOW) -> None:
        self.moment = now
        self.passed_s = 1000.0

    def now(self) -> datetime:
        return self.moment

    def monotonic(self) -> float:
        return self.passed_s

    def go_on(self, seconds: float) -> None:
        self.moment += timedelta(seconds=seconds)
        self.passed_s += seconds


class PlayedBoard:
    """Takes the place of the port: each recording plays the next simulated throw, block by block, without waiting."""

    def __init__(
        self, clock: Clock, faults: Iterable[SimulatedFault | None] = (), hold_at: float | None = None
    ) -> None:
        self.clock = clock
        self.faults = queue.SimpleQueue[SimulatedFault | None]()
        for fault in faults:
            self.faults.put(fault)
        self.hold_at = hold_at
        """Share of the record at which it waits for ``go``; None: it doesn't."""
        self.record: Played = played_trace
        """What is played."""
        self.held = threading.Event()
        self.go = threading.Event()
        self.count = 0

    def __call__(
        self, plan: RecordPlan, *, now: Any, on_live: Any, on_note: Any, on_ready: Any
    ) -> "PlayedRecording":
        on_ready(None)
        return PlayedRecording(self, plan, now, on_live)


class PlayedRecording:
    """What the screen asks of a recording."""

    def __init__(
        self, board: PlayedBoard, plan: RecordPlan, now: Callable[[], datetime], on_live: Any
    ) -> None:
        self.board, self.plan, self.now, self.on_live = board, plan, now, on_live
        self.finished = threading.Event()

    def finish(self, why: str = "") -> None:
        self.finished.set()
        self.board.go.set()

    def run(self) -> Recorded:
        board, plan = self.board, self.plan
        board.count += 1
        fault = board.faults.get() if not board.faults.empty() else None
        trace = board.record(plan, board.count, fault, self.now())
        live = LiveThrow(plan.rig.actuator)
        for begin in range(0, len(trace), BLOCK):
            part = slice(begin, begin + BLOCK)
            volts = None if trace.voltage_v is None else trace.voltage_v[part]
            live.take(trace.time_s[part], trace.current_a[part], volts)
            left, right = trace.rows(part).switches_at_end
            self.on_live(replace(live.figures(), left_switch=left, right_switch=right))
            if board.hold_at is not None and begin >= board.hold_at * len(trace) and not board.held.is_set():
                board.held.set()
                board.go.wait(30)
        ran_s = (live.end_s or 0.0) - (live.start_s or 0.0)
        board.clock.go_on(float(trace.time_s[-1]))
        return Recorded(
            rig=plan.rig,
            rig_ref=plan.rig_ref,
            trace=trace,
            throws=throws_of(trace, plan.rig, plan.baselines),
            ended="the current is off again",
            problem=None,
            notes=(),
            identity=None,
            samples=len(trace),
            lost=0,
            dropped=0,
            journal=plan.folder / "played.journal",
            rest_s=rest_for(ran_s, plan.rig.actuator.duty_cycle or 0.25),
        )


Played = Callable[[RecordPlan, int, SimulatedFault | None, datetime], Trace]


def played_trace(
    plan: RecordPlan,
    number: int,
    fault: SimulatedFault | None,
    started: datetime,
    sensor: SensorModel = SensorModel(),  # noqa: B008  # it can't change
) -> Trace:
    """One throw of a simulated machine, the same for the same number."""
    rng = np.random.default_rng(number)
    machine = machine_for(plan.rig, 7)
    made = throw(
        machine,
        plan.direction,
        ThrowConditions(temperature_c=12.0),
        sensor,
        [fault] if fault else [],
        rng,
    )
    return replace(made.trace, rig=plan.rig.name, started=started, source=f"played-{number}")


def switched_trace(plan: RecordPlan, number: int, fault: SimulatedFault | None, started: datetime) -> Trace:
    """The same from a board with a switch at each pin."""
    return played_trace(plan, number, fault, started, SensorModel(has_switches=True))


def app_on(
    folder: Path,
    clock: Clock | None = None,
    board: PlayedBoard | None = None,
    rig: bool = True,
    port: str = "played",
) -> ThrowbookApp:
    """The app on a logbook in ``folder``."""
    clock = clock or Clock()
    logbook = folder / "fellside.throwbook"
    if rig and not logbook.exists():
        add_rig(logbook, RIG_FILE, "M. K.", clock.now())
    desk = Desk(
        logbook=str(logbook),
        by="M. K.",
        now=clock.now,
        monotonic=clock.monotonic,
        recording=board or PlayedBoard(clock),
        ascii=False,
        papers=folder / "papers",
        show_file=lambda path: 0,
        port=port,
    )
    return ThrowbookApp(desk)


async def settle(pilot: Pilot[None]) -> None:
    """Until no worker runs, every message is through and everything is drawn."""
    app, quiet = pilot.app, 0
    while quiet < QUIET_ROUNDS:
        if any(not one.is_finished for one in app.workers):
            quiet = 0
            await asyncio.sleep(WORKING_S)  # looking oftener only takes the time from the worker
            continue
        await asyncio.sleep(0.001)
        waiting = any(not pump._message_queue.empty() or pump._next_callbacks for pump in _pumps(app))
        undrawn = app.screen._dirty_widgets or any(map(_undrawn, app.screen.walk_children(with_self=True)))
        working = any(not one.is_finished for one in app.workers)
        quiet = 0 if working or waiting or undrawn else quiet + 1


def _undrawn(widget: Widget) -> bool:
    """A table measures its columns only once it is idle: until then they are as wide as their headings."""
    unmeasured = isinstance(widget, DataTable) and (
        widget._require_update_dimensions or widget._updated_cells
    )
    return bool(unmeasured or widget._layout_required or widget._repaint_required)


def _pumps(app: App[None]) -> Iterable[MessagePump]:
    yield app
    for screen in app.screen_stack:
        yield from screen.walk_children(with_self=True)


async def keys(pilot: Pilot[None], *pressed: str) -> None:
    """Press, and wait for what comes of each."""
    for one in pressed:
        pilot.app.simulate_key(one)
        await settle(pilot)


async def until_held(pilot: Pilot[None], board: PlayedBoard) -> None:
    """Until the throw that is played has come to where it is held."""
    while not board.held.is_set():
        await asyncio.sleep(0.005)
    await pilot.pause()


async def write(pilot: Pilot[None], text: str) -> None:
    """Type a text into the field that has the cursor."""
    for letter in text:
        pilot.app.post_message(events.Key(_character_to_key(letter), letter))
    await settle(pilot)


def screen_text(app: ThrowbookApp) -> str:
    """What a person sees, as plain text."""
    return "\n".join("".join(segment.text for segment in strip).rstrip() for strip in screen_strips(app))


def screen_strips(app: ThrowbookApp) -> list[Strip]:
    """The rows of the screen as pieces of text, each with its style."""
    return app.screen._compositor.render_strips(app.size)


def said(app: ThrowbookApp) -> str:
    """The same with every line break and run of spaces as one space, to look for sentences in."""
    return " ".join(screen_text(app).split())
