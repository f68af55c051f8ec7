"""The way of one value through the running product: every function that it passes, from where it comes in to its row.

A value that can be known again (a sample of a current that comes once, a sentence that nobody else writes) is sent
through the product, and every call of a product function is watched. A function has the value when it is handed in,
inside a list, a mapping or a dataclass too, or when a function that it calls gives it back. An object that keeps the
value hands it from the method that took it to the method that brings it out again. Where the value changes its form
(a line, counts, amperes, packed bytes) the way must lead through a function that has it in both.

The way is the shortest through what was seen, counted in functions; what a function does aside with the value, as
judging does, lies beside it.
"""

import sys
import threading
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from dataclasses import fields, is_dataclass, replace
from datetime import UTC, datetime
from functools import cache
from io import StringIO
from pathlib import Path
from types import CodeType, FrameType
from typing import Any

TOP = Path(__file__).parents[1]
PARTS = tuple(
    str(TOP / part / package) for part, package in (("logger", "throwbook"), ("tui", "throwbook_tui"))
)
DEEP = 5
"""How far into lists, mappings and dataclasses a value is looked for."""

Function = tuple[str, str]
"""File below the top folder, and name; what is defined inside a function is part of it."""
Node = tuple[Function, str]
"""A function that has the value in this form."""
Forms = Callable[[object], frozenset[str]]
"""In which forms an object that holds no others is the value."""
NONE: frozenset[str] = frozenset()
INNER = ("<listcomp>", "<setcomp>", "<dictcomp>", "<genexpr>")


class Watch:
    """Sees the calls of the product while ``on``, and finds the way afterwards."""

    def __init__(self, forms: Forms, last: Callable[[str], bool]) -> None:
        """``last``: whether a function that gives SQLite an order with the value in that form is the end of the way."""
        self._forms = forms
        self._last = last
        self._names: dict[CodeType, Function | None] = {}
        self._has: dict[FrameType, dict[str, bool]] = {}
        """Forms that each running function has had, and whether it was handed in."""
        self._kept: dict[tuple[int, str, bool], Function] = {}
        """By object, form and whether it was handed in: the method of it that had the value last."""
        self._objects: list[object] = []
        """Kept alive, so that no other object gets its number."""
        self._next: dict[Node, dict[Node, None]] = {}
        self.first: Node | None = None
        self.ends: set[Node] = set()

    @contextmanager
    def on(self, here: bool = True) -> Iterator[None]:
        """Watch this thread, unless it is not yet to be watched ``here``, and all that are started meanwhile."""
        threading.setprofile(self._event)
        if here:
            sys.setprofile(self._event)
        try:
            yield
        finally:
            sys.setprofile(None)
            threading.setprofile(None)  # type: ignore[arg-type]

    def way(self) -> list[Function]:
        """The functions on the shortest way, in order. Raises LookupError where none was seen."""
        if self.first is None:
            raise LookupError("no product function has had the value")
        before: dict[Node, Node | None] = {self.first: None}
        waiting = deque([self.first])
        while waiting:
            node = waiting.popleft()
            if node in self.ends:
                return _functions(node, before)
            for after in self._next.get(node, ()):
                if after not in before:
                    before[after] = node
                    # another form in the same function is no step
                    (waiting.appendleft if after[0] == node[0] else waiting.append)(after)
        raise LookupError("the value came in, but no way to a row was seen")

    # ---- what is seen ----

    def _event(self, frame: FrameType, event: str, argument: Any) -> None:
        function = self._function(frame.f_code)
        if function is None:
            return
        if event == "call":
            self._called(frame, function)
        elif event == "return":
            self._returns(frame, function, argument)
        elif event == "c_call" and argument.__name__ == "execute":
            self.ends |= {(function, form) for form in self._has.get(frame, ()) if self._last(form)}

    def _called(self, frame: FrameType, function: Function) -> None:
        code = frame.f_code
        handed = code.co_varnames[: code.co_argcount + code.co_kwonlyargcount + 2] + code.co_freevars
        known = frame.f_locals
        mine = _self(frame)
        for name in handed:
            if name in known and (_fields(type(mine)) if name == "self" else name != "cls"):
                for form in self._forms_in(known[name]):
                    self._step(frame.f_back, frame, function, form, mine)

    def _returns(self, frame: FrameType, function: Function, given: object) -> None:
        if self._has.get(frame):  # it may have changed the form without a call, and kept it in its object
            for form in self._forms_in(list(frame.f_locals.values())) - self._has[frame].keys():
                self._brought(frame, function, form)
        for form in self._forms_in(given) if given is not None else NONE:
            self._brought(frame, function, form)
            caller = self._caller(frame.f_back)
            if caller is not None:
                whose = self._function(caller.f_code)
                assert whose is not None
                self._join((function, form), (whose, form))
                self._note(caller, whose, form, _self(caller))
        self._has.pop(frame, None)

    def _step(
        self, back: FrameType | None, frame: FrameType, function: Function, form: str, mine: object
    ) -> None:
        """The value is handed in."""
        caller = self._caller(back)
        # With a library between them the caller need not have had it: the library may bring it, as it does an option.
        if caller is not None and (caller is back or form in self._has.get(caller, ())):
            whose = self._function(caller.f_code)
            assert whose is not None
            self._brought(caller, whose, form)
            self._join((whose, form), (function, form))
        if self.first is None:
            self.first = (function, form)
        self._note(frame, function, form, mine, True)

    def _brought(self, frame: FrameType, function: Function, form: str) -> None:
        """A function hands on a value; one that it never got comes from its object, or is another form of what it has."""
        has = self._has.setdefault(frame, {})
        mine = _self(frame)
        if form not in has:
            keeper = self._kept.get((id(mine), form, True)) or self._kept.get((id(mine), form, False))
            if keeper is not None:
                self._join((keeper, form), (function, form))
            else:
                for other in has:
                    self._join((function, other), (function, form))
            if self.first is None:
                self.first = (function, form)
        self._note(frame, function, form, mine)

    def _note(
        self, frame: FrameType, function: Function, form: str, mine: object, handed_in: bool = False
    ) -> None:
        how = self._has.setdefault(frame, {}).setdefault(form, handed_in)
        if mine is not None:
            if (id(mine), form, how) not in self._kept:
                self._objects.append(mine)
            self._kept[id(mine), form, how] = function

    def _join(self, node: Node, after: Node) -> None:
        if node != after:
            self._next.setdefault(node, {})[after] = None

    def _caller(self, frame: FrameType | None) -> FrameType | None:
        """The nearest product function above, whatever stands between."""
        while frame is not None and self._function(frame.f_code) is None:
            frame = frame.f_back
        return frame

    def _function(self, code: CodeType) -> Function | None:
        if code not in self._names:
            inside = code.co_filename.startswith(PARTS)
            name = code.co_qualname.partition(".<locals>")[0]
            self._names[code] = (
                (Path(code.co_filename).relative_to(TOP).as_posix(), name)
                if inside and name != "<module>"
                else None
            )
        return self._names[code]

    def _forms_in(self, value: object, deep: int = DEEP) -> frozenset[str]:
        if isinstance(value, list | tuple | set | frozenset):
            inside: list[object] = list(value)
        elif isinstance(value, dict):
            inside = list(value.values())
        elif names := _fields(type(value)):
            inside = [getattr(value, name, None) for name in names]
        else:
            return self._forms(value)
        if not deep:
            return NONE
        return NONE.union(*(self._forms_in(each, deep - 1) for each in inside))


@cache
def _fields(kind: type) -> tuple[str, ...]:
    """Names of what a dataclass of the product holds."""
    ours = is_dataclass(kind) and kind.__module__.startswith(("throwbook.", "throwbook_tui."))
    return tuple(each.name for each in fields(kind)) if ours else ()


def _self(frame: FrameType) -> object:
    """The object whose method this is; a comprehension works for the method that it stands in."""
    while frame.f_code.co_name in INNER and frame.f_back is not None:
        frame = frame.f_back
    return frame.f_locals.get("self")


def _functions(node: Node | None, before: dict[Node, Node | None]) -> list[Function]:
    way: list[Function] = []
    while node is not None:
        if not way or way[-1] != node[0]:
            way.append(node[0])
        node = before[node]
    return way[::-1]


# ---- what is sent through ----

COUNTS = 23_457
"""Of the sample that comes once."""
HOW = "a mirror on a stick, the 23457th"
"""How the pins were seen: the words that go with the four answers."""
NOON = datetime(2026, 3, 14, 12, tzinfo=UTC)


def sample_forms(counts: int, step_a: float) -> Forms:
    """A sample of ``counts`` steps, each of ``step_a`` [A], as it is sent, counted, scaled and packed."""
    import numpy as np

    from throwbook.logbook import serialization

    current_a, sent = counts * step_a, f",{counts},".encode()
    spelt = sent, bytes(map(int, str(counts)))

    def forms(value: object) -> frozenset[str]:
        if isinstance(value, bytes):
            if sent in value:
                return frozenset(("line",))
            try:
                columns = serialization.decode(value) if value[:1] == b"x" else {}
            except serialization.DAMAGE:
                columns = {}
            return frozenset(("packed",)) if forms(columns.get("current_a")) else NONE
        if isinstance(value, np.ndarray) and value.dtype == np.uint8 and value.ndim == 2:
            under_each_other = value.T.tobytes()
            return frozenset(("letters",)) if any(each in under_each_other for each in spelt) else NONE
        if not isinstance(value, np.ndarray) or value.dtype.kind not in "if":
            return frozenset(("counts",)) if type(value) is int and value == counts else NONE
        if value.dtype.kind == "i":
            return frozenset(("counts",)) if (value == counts).any() else NONE
        return frozenset(("amperes",)) if (np.abs(value - current_a) < 1e-9).any() else NONE

    return forms


def how_forms(value: object) -> frozenset[str]:
    """The words by which a sighting is known again, in a text of their own or in a longer one."""
    return frozenset(("words",)) if isinstance(value, str) and HOW in value else NONE


def sample_way(folder: Path) -> list[Function]:
    """One throw from a simulated board on a pseudo-terminal, recorded by the command into a logbook in ``folder``."""
    from tests.ports.bench import board_on_a_cable, throw_source
    from throwbook.protocol.simulated_board import IDENTITY

    board = replace(
        IDENTITY, id="yard-board", firmware="yard-1"
    )  # what a rehearsal sends stays out of a logbook
    step_a = board.amp_lsb_ua * 1e-6
    plain = throw_source(noise_a=0.0)

    def source(time_s):  # type: ignore[no-untyped-def]
        current_a, voltage_v = plain(time_s)
        current_a[abs(time_s - 8.0) < 1e-6] = COUNTS * step_a
        return current_a, voltage_v

    logbook = _with_a_rig(folder)
    watch = Watch(sample_forms(COUNTS, step_a), lambda form: form == "packed")
    with board_on_a_cable(source, speed=8.0, identity=board) as (port, _), watch.on():
        _command(logbook, "record", "--rig", RIG_NAME, "--port", port.name, "--direction", "lock", "--json")
    return watch.way()


def sighting_by_command(folder: Path) -> list[Function]:
    """What was seen at one throw, given by options."""
    logbook = _with_a_rig(folder)
    sheet = _with_a_throw(logbook)
    watch = Watch(how_forms, lambda form: True)
    pins = ("--left-pin", "yes", "--right-pin", "yes", "--seen-how", HOW)
    with watch.on():
        _command(logbook, "sheet", "see", sheet, "--throw", "1", *pins, "--by", "M. K.")
    return watch.way()


def sighting_by_screen(folder: Path) -> list[Function]:
    """The same, typed into the screen that asks for it."""
    import asyncio

    from textual import events

    from tests.tui.bench import app_on, keys, settle
    from throwbook.jobs.sheets import view
    from throwbook_tui.screens.sighting import SightingScreen

    logbook = _with_a_rig(folder)
    sheet = _with_a_throw(logbook)
    app = app_on(folder, rig=False)
    app.desk.logbook = str(logbook)
    watch = Watch(how_forms, lambda form: True)

    async def go() -> None:
        async with app.run_test() as pilot:
            await settle(pilot)
            await app.push_screen(SightingScreen(sheet, 1, view(logbook, sheet)))
            await settle(pilot)
            await keys(pilot, *["1", "enter"] * 4)
            with watch.on():
                app.post_message(events.Paste(HOW))
                await settle(pilot)
                await keys(pilot, "ctrl+s")

    with watch.on(here=False):  # a thread that is there already may be given the job
        asyncio.run(go())
    return watch.way()


RIG_NAME = "yard-loader"


def _with_a_rig(folder: Path) -> Path:
    from throwbook.jobs.rigs import add_rig

    logbook = folder / "ways.throwbook"
    add_rig(logbook, TOP / "tests" / "tui" / f"{RIG_NAME}.toml", "M. K.", NOON)
    return logbook


def _with_a_throw(logbook: Path) -> str:
    """Name of a sheet with one lock throw that nobody has looked at yet."""
    from tests.tui.bench import Clock, PlayedBoard, PlayedRecording
    from throwbook.jobs.find import find_rig
    from throwbook.jobs.record import RecordPlan
    from throwbook.jobs.sheets import plan
    from throwbook.jobs.store_trial import Place, keep

    clock = Clock(NOON)
    sheet = plan(logbook, RIG_NAME, "spot", "M. K.", NOON)[0].name
    rig = find_rig(RIG_NAME, str(logbook)).rig
    board = PlayedBoard(clock)
    throw = PlayedRecording(
        board, RecordPlan("played", rig, "lock", logbook.parent, RIG_NAME), clock.now, lambda figures: None
    )
    keep(throw.run(), Place(logbook=str(logbook), in_logbook=True, sheet=sheet, by="M. K."), clock.now())
    return sheet


def _command(logbook: Path, *words: str) -> None:
    """As it is typed."""
    from throwbook.cli import diagnostics
    from throwbook.cli.main import throwbook

    before, sys.argv = sys.argv, ["throwbook", "--logbook", str(logbook), *words]
    try:
        with redirect_stdout(StringIO()), redirect_stderr(StringIO()) as errors:
            code = diagnostics.run(throwbook)
    finally:
        sys.argv = before
    if code:
        raise RuntimeError(errors.getvalue())


WAYS = {
    "a sample, from the port": sample_way,
    "a sighting, from the option": sighting_by_command,
    "a sighting, from the key": sighting_by_screen,
}
"""What is followed: how."""
