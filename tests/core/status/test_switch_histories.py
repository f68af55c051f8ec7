"""Random histories of a rig with a switch at each pin: a closed one never brings anything down and never counts, an open one
takes the rig out of use, and the way back is the same with switches and without.

Each history is played with bare throws and again with the same throws and switches that all closed where they should: everything
must come out alike. Then again with some of them open: nothing leaks out of ``do not use``, and no such sheet is accepted.
"""

import os
import random
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from tests.core.status.rig_throws import RECORDS, Sheet, ThrowHistory, healthy, judged_alone, light
from tests.core.status.test_status_histories import leaks
from throwbook.core.assessment import FAIL, Assessment
from throwbook.core.records import BENCH
from throwbook.core.rig import LOCK, SIDES, UNLOCK
from throwbook.core.sheets.sheet import SheetTrial
from throwbook.core.status.latch import DO_NOT_USE
from throwbook.core.trace import Trace

HISTORIES = 10_000
PARTS = 40
"""The first is enough for every fault that was planted here."""
EVERY = 1 if os.environ.get("THROWBOOK_HISTORIES") == "all" else 20
"""``make test-all`` plays one part in twenty; all of them take four minutes of processor."""
CLOSED, OPEN = "closed", "open"


def followed(record: Trace) -> np.ndarray:
    """A switch that changes near the locked end of the one movement; shape (rows,)."""
    moving = np.flatnonzero(np.abs(record.current_a) > 0.4)
    share = 0.95 if record.direction == LOCK else 0.05
    late = np.arange(len(record)) >= moving[0] + share * (moving[-1] - moving[0])
    return late if record.direction == LOCK else ~late


@cache
def _twin(key: int, state: str, side: str) -> Assessment:
    record, baselines = RECORDS[key]
    switches = {f"{each}_switch": followed(record) for each in SIDES}
    if state == OPEN:
        switches[f"{side}_switch"] = np.zeros(len(record), np.bool_)
    return judged_alone(replace(record, **switches), baselines)


def with_switches(judged: Assessment, state: str, side: str = "right") -> Assessment:
    """The same throw of a rig with a switch at each pin. A file with a second movement stays as it is: it is bad enough."""
    if judged.movements > 1 or id(judged) not in RECORDS:
        return judged
    return _twin(id(judged), state, side)


class SwitchedHistory(ThrowHistory):
    """The same history on a rig with switches; ``open_share`` of its throws have one that never closed."""

    def __init__(self, seed: int, fitted: bool, open_share: float = 0.0) -> None:
        super().__init__(seed)
        self.fitted, self.open_share = fitted, open_share
        self.luck = random.Random(-seed)
        self.opened: dict[str, Assessment] = {}
        """By trial: what a lock throw with an open switch was judged as."""

    def trial(self, position: int, judged: Assessment, *rest: object, **more: object) -> SheetTrial:
        state = OPEN if self.luck.random() < self.open_share else CLOSED
        own = with_switches(judged, state, self.luck.choice(SIDES)) if self.fitted else judged
        made = super().trial(position, own, *rest, **more)  # type: ignore[arg-type]
        if own is not judged and state == OPEN and judged.direction == LOCK:
            self.unfit.add(made.id)
            self.opened[made.id] = own
        return made

    def put_on(self, book, sheet: Sheet, throws: list[SheetTrial]) -> None:
        for one in throws:  # a history may put another record in a throw's place
            if one.id in self.opened and one.assessment is not self.opened[one.id]:
                del self.opened[one.id]
        super().put_on(book, sheet, throws)
        if sheet.kind != BENCH and self.opened.keys() & {one.id for one in throws}:
            assert book.status().level == DO_NOT_USE, "an open switch was not heard"


def outcome(history: ThrowHistory):
    """Everything that the latch and the rules of acceptance make of a history."""
    return [
        (
            copy.status(),
            sorted(copy.orders),
            {sheet.id: (sheet.sealed is not None, sheet.passes()) for sheet in copy.filled.values()},
        )
        for copy in history.copies
    ]


@pytest.mark.parametrize(
    "part", [0, *(pytest.param(n, marks=pytest.mark.long) for n in range(EVERY, PARTS, EVERY))]
)
def test_a_closed_switch_counts_for_nothing_and_an_open_one_against(part):
    seeds = range(part * HISTORIES // PARTS, (part + 1) * HISTORIES // PARTS)
    accepted = opened = came_back = 0
    for seed in seeds:
        bare, closed = SwitchedHistory(seed, fitted=False), SwitchedHistory(seed, fitted=True)
        bare.play()
        closed.play()
        assert outcome(closed) == outcome(bare), f"seed {seed}"
        some_open = SwitchedHistory(seed, fitted=True, open_share=0.05)
        some_open.play()
        assert leaks(some_open) == [], f"seed {seed}, some open"
        for copy in some_open.copies:
            for sheet in copy.filled.values():
                throws = {one.id for one in sheet.throws}
                accepted += sheet.sealed is not None
                assert not (sheet.sealed and sheet.kind != BENCH and throws & some_open.opened.keys()), (
                    f"seed {seed}"
                )
            came_back += bool(copy.orders) and copy.status().level != DO_NOT_USE
        opened += len(some_open.opened)
    print(
        f"\n{len(seeds):,} of {HISTORIES:,} histories, each three times: {opened} open switches, {accepted} sheets accepted"
    )
    assert min(accepted, opened, came_back) > len(seeds) // 10


@pytest.mark.parametrize("side", SIDES)
def test_an_open_switch_only_ever_makes_a_throw_worse(side):
    """The twins that the histories are played with: as good as the bare throw where closed, at fail where open."""
    known = [*healthy(LOCK, False), *healthy(UNLOCK, False), *healthy(LOCK, True), light(False), light(True)]
    for judged in known:
        closed, open_ = (with_switches(judged, state, side) for state in (CLOSED, OPEN))
        loud = {sign.sign for sign in judged.signs if sign.level == FAIL}
        assert loud <= {sign.sign for sign in closed.signs}
        assert closed.verdict == judged.verdict
        if judged.direction == LOCK:
            assert open_.verdict == FAIL
