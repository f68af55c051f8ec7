"""The simulated board's script: rest, a throw, the throw back; trouble and faults as typed."""

from itertools import pairwise

import numpy as np
import pytest

from tests.ports.bench import RIG
from throwbook.core.diagnosis.assess import assess_trace
from throwbook.core.trace import Trace
from throwbook.errors import InputError
from throwbook.jobs.simulated_board import (
    Rehearsal,
    ThrowScript,
    faults_from,
    make_board,
    trouble_from,
)
from throwbook.protocol.messages import FaultEvent, Samples, pin_switches
from throwbook.protocol.session import Session


def played(
    script: ThrowScript, seconds: float, rate_hz: int = 200
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """What the script gives in steps of 0.1 s, from a new ``go``."""
    time_s = np.arange(int(seconds * rate_hz)) / rate_hz
    parts = [script(part) for part in np.array_split(time_s, int(seconds * 10))]
    return time_s, *(np.concatenate([part[column] for part in parts]) for column in (0, 1))


def on_and_off(current_a: np.ndarray) -> list[tuple[int, int]]:
    """Where the current is on, as (first, last) index."""
    on = np.abs(current_a) > 0.3
    edges = np.flatnonzero(np.diff(on.astype(int), prepend=0, append=0))
    pairs = [(int(begin), int(end)) for begin, end in edges.reshape(-1, 2)]
    return [pair for pair in pairs if pair[1] - pair[0] > 20]


def test_each_run_begins_with_rest_and_lock_and_unlock_take_turns():
    script = ThrowScript(Rehearsal(RIG, rest_s=3.0))
    time_s, current_a, _ = played(script, 60.0)
    throws = on_and_off(current_a)
    assert len(throws) >= 3
    assert time_s[throws[0][0]] == pytest.approx(3.0, abs=0.02)
    for (_, off), (on, _) in pairwise(throws):
        assert time_s[on] - time_s[off] > 3.0


def test_a_new_go_starts_with_rest_and_the_next_throw():
    script = ThrowScript(Rehearsal(RIG, rest_s=2.0))
    first = played(script, 20.0)
    second = played(script, 20.0)
    assert second[0][on_and_off(second[1])[0][0]] == pytest.approx(2.0, abs=0.02)
    assert not np.allclose(first[1][400:800], second[1][400:800], atol=0.03)


def test_a_look_at_the_rest_uses_up_no_throw():
    looked = ThrowScript(Rehearsal(RIG, rest_s=2.0))
    played(looked, 1.0)
    time_s, current_a, voltage_v = played(looked, 20.0)
    first, last = on_and_off(current_a)[0]
    trace = Trace(time_s[: last + 200], current_a[: last + 200], voltage_v[: last + 200], "lock")
    assert assess_trace(trace, RIG).end == "cut-off"
    assert first == pytest.approx(400, abs=4)


def heard(plan: Rehearsal, seconds: float) -> list[Samples]:
    board, session = make_board(plan), Session()
    events, answer = [], board.receive(session.start(200), 0.0)
    while answer:
        events += session.receive(answer)
        answer = board.receive(session.to_send(), 0.0)
    for step in range(1, int(seconds * 10) + 1):
        events += session.receive(board.advance(step * 0.1))
    return [event for event in events if isinstance(event, Samples)]


@pytest.mark.parametrize("side", ["left", "right"])
def test_a_pin_that_stays_behind_leaves_its_own_switch_open(side: str):
    plan = Rehearsal(
        RIG, faults_from([f"pin-behind@{side}"]), rest_s=0.5, switches=True, probe=True, temperature_c=4.0
    )
    blocks = heard(plan, 16.0)
    stand = dict(
        zip(("left", "right"), pin_switches(np.concatenate([one.switches for one in blocks])), strict=True)
    )
    assert not stand.pop(side).any()
    (other,) = stand.values()
    assert not other[0]
    assert other[-1]
    assert np.concatenate([one.temperature_c for one in blocks]) == pytest.approx(4.0, abs=0.5)


def test_a_simulated_board_without_switches_is_of_version_1():
    identity = make_board(Rehearsal(RIG)).identity
    assert (identity.version, identity.channels) == (1, "IV")


def test_over_range_clips_and_says_so():
    board, session = make_board(Rehearsal(RIG, rest_s=0.5, over_range=True)), Session()
    events, answer = [], board.receive(session.start(200), 0.0)
    while answer:
        events += session.receive(answer)
        answer = board.receive(session.to_send(), 0.0)
    for step in range(1, 61):
        events += session.receive(board.advance(step * 0.1))
    assert any(isinstance(event, FaultEvent) and event.code == "over-range" for event in events)
    clipped = np.concatenate([event.over_range for event in events if isinstance(event, Samples)])
    assert clipped.mean() > 0.5


def test_trouble_and_faults_are_read_as_typed():
    trouble, over_range = trouble_from(
        ["reset=6s", "reset=9", "flipped-bits=0.001", "wrong-baud", "over-range"]
    )
    assert trouble.resets_at_s == (6.0, 9.0)
    assert (trouble.flipped_bits, trouble.wrong_baud, over_range) == (0.001, True, True)
    (fault,) = faults_from(["local-bind=0.5@0.6"])
    assert (fault.kind, fault.severity, fault.place) == ("local-bind", 0.5, 0.6)
    late, behind = faults_from(["pin-late=0.03@left", "pin-behind@right"])
    assert (late.kind, late.severity, late.side) == ("pin-late", 0.03, "left")
    assert (behind.kind, behind.severity, behind.side) == ("pin-behind", None, "right")


@pytest.mark.parametrize("typed", ["gremlins", "reset", "reset=soon", "flipped-bits=2", "wrong-baud=1"])
def test_trouble_that_makes_no_sense_is_refused_with_an_example(typed: str):
    with pytest.raises(InputError) as caught:
        trouble_from([typed])
    assert caught.value.do


@pytest.mark.parametrize("typed", ["gremlins", "local-bind=much", "local-bind=0.5@there"])
def test_faults_that_make_no_sense_are_refused(typed: str):
    with pytest.raises(InputError):
        faults_from([typed])
