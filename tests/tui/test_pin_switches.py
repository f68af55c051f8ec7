"""A board with a switch at each pin: what the recording screen says while a throw runs and at its end."""

import sys
import threading
from contextlib import contextmanager
from dataclasses import replace

import numpy as np
import pytest

from tests.tui.bench import Clock, PlayedBoard, app_on, keys, played_trace, said, until_held
from throwbook.core.wording import switches_said
from throwbook.jobs.find import opened
from throwbook.jobs.recording import throws_of

pytestmark = pytest.mark.long

CLOSES_AT = 0.75
"""Share of the record at which the left switch closes."""


def with_switches(left_at, right_at):
    """The usual throw; each switch closes at that share of its record, None: there is none, above 1: it never does."""

    def record(*asked):
        trace = played_trace(*asked)
        share = np.arange(len(trace)) / len(trace)
        left, right = (None if at is None else share >= at for at in (left_at, right_at))
        return replace(trace, left_switch=left, right_switch=right)

    return record


def to_the_throw():
    return ("enter", "t", *"123456", "ctrl+s", "enter")


def a_throw(commissioned_logbook, walk, left_at, right_at, then, hold_at=None):
    board = PlayedBoard(Clock(), hold_at=hold_at)
    board.record = with_switches(left_at, right_at)
    app = app_on(commissioned_logbook.parent, Clock(), board)

    async def journey(pilot, look):
        await keys(pilot, *to_the_throw())
        if hold_at is None:
            await keys(pilot, "enter")
        else:
            app.simulate_key("enter")
            await until_held(pilot, board)
        await then(app, pilot, look)
        board.go.set()

    walk(app, journey)


def test_while_a_throw_runs_each_switch_is_large_and_needs_no_colour(commissioned_logbook, walk):
    async def then(app, pilot, look):
        assert "LEFT SWITCH" in said(app)
        assert "RIGHT SWITCH" in said(app)
        await look("running", workers_run=True)

    a_throw(commissioned_logbook, walk, 0.4, 0.8, then, hold_at=0.6)


def test_at_the_end_closed_switches_ask_for_a_look_at_both_pins(commissioned_logbook, walk):
    async def then(app, pilot, look):
        words = " ".join(said(app).split())
        assert "Switches closed: now look at both pins. A closed switch is no sighting." in words
        assert "NOW LOOK AT BOTH PINS" in words
        assert "locked" not in words.lower().replace("half-locked", "")
        await look("judged")

    a_throw(commissioned_logbook, walk, CLOSES_AT, CLOSES_AT, then)


def test_at_the_end_an_open_switch_is_named_with_its_side(commissioned_logbook, walk):
    async def then(app, pilot, look):
        words = " ".join(said(app).split())
        assert "LEFT SWITCH closed, RIGHT SWITCH open." in words
        assert "Switches closed" not in words

    a_throw(commissioned_logbook, walk, CLOSES_AT, 2.0, then)


def test_without_switches_nothing_is_said_of_any(commissioned_logbook, walk):
    async def then(app, pilot, look):
        assert "SWITCH" not in said(app).replace("Switch", "")

    a_throw(commissioned_logbook, walk, None, None, then)


def test_a_switch_has_two_states_and_none_where_it_is_not_fitted():
    assert switches_said(True, False) == ("LEFT SWITCH closed", "RIGHT SWITCH open")
    assert switches_said(None, True) == ("RIGHT SWITCH closed",)


@contextmanager
def threads_of(function):
    """The threads in which a function of the product is called meanwhile, one entry for each call."""
    threads = []

    def seen(frame, event, _):
        if event == "call" and frame.f_code is function.__code__:
            threads.append(threading.get_ident())

    threading.setprofile(seen)
    sys.setprofile(seen)
    try:
        yield threads
    finally:
        sys.setprofile(None)
        threading.setprofile(None)


@pytest.mark.parametrize(("key", "kept"), [("y", 31.0), ("n", 12.0)])
def test_a_probe_far_from_what_was_typed_is_asked_about(commissioned_logbook, walk, key, kept):
    def record(*asked):
        trace = played_trace(*asked)
        return replace(trace, ambient_c=12.0, temperature_c=np.full(len(trace), 31.0))

    board = PlayedBoard(Clock())
    board.record = record
    app = app_on(commissioned_logbook.parent, Clock(), board)

    async def journey(pilot, look):
        await keys(pilot, *to_the_throw(), "enter")
        words = " ".join(said(app).split())
        assert "Is this the air temperature?" in words
        assert "typed as 12 degC" in words
        assert "reads 31 degC: more than 8 K apart." in words
        judging.clear()
        await keys(pilot, key)
        assert threading.get_ident() not in judging, "the keys wait while a record is judged"
        assert len(judging) == (key == "y")

    with threads_of(throws_of) as judging:
        walk(app, journey)
    with opened(app.desk.logbook, read_only=True) as book:
        newest = book.trials(rig="yard-loader")[-1]
        assert book.trace(newest.id).ambient_c == kept


def test_an_open_switch_takes_the_rig_out_of_use_before_any_question_about_the_air(
    commissioned_logbook, walk
):
    def record(*asked):
        trace = with_switches(CLOSES_AT, 2.0)(*asked)
        return replace(trace, ambient_c=12.0, temperature_c=np.full(len(trace), 31.0))

    board = PlayedBoard(Clock())
    board.record = record
    app = app_on(commissioned_logbook.parent, Clock(), board)

    async def journey(pilot, look):
        await keys(pilot, *to_the_throw(), "enter")
        words = " ".join(said(app).split())
        assert "Is this the air temperature?" not in words
        assert "DO NOT USE" in words
        assert "reads 31 degC: more than 8 K apart." in words
        with opened(app.desk.logbook, read_only=True) as book:
            assert "switch open" in {one.cause for one in book.orders("yard-loader")}

    walk(app, journey)
