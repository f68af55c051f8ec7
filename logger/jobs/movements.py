"""The movements of a record as throws of their own: cut out, named, each with its direction, judged."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import TYPE_CHECKING

from logger.core.stroke.assess import cut, judge_throw
from logger.core.stroke.movements import Movement
from logger.logbook.trials import CUT_FROM, samples_digest

if TYPE_CHECKING:
    from logger.core.assessment import Assessment
    from logger.core.rig import Rig
    from logger.core.stroke.baseline import Baseline
    from logger.core.trace import Trace


@dataclass(frozen=True, eq=False)
class Throw:
    """One movement of a record, judged."""

    trace: "Trace"
    """A record of its own, in the direction it was judged by."""
    assessment: "Assessment"
    told: bool = True
    """False: nothing told its direction; it was judged both ways, and the worse counts."""


def cut_out(record: "Trace", rig: "Rig", baselines: "Mapping[str, Baseline]") -> tuple[Movement, ...]:
    """The movements of a record, each a record of its own that names where it was cut from; the record as it is where it holds one or none."""
    movements = cut(record, rig, baselines)
    if len(movements) == 1:
        return movements
    digest = samples_digest(record)
    return tuple(
        replace(
            one,
            trace=replace(
                one.trace,
                head=MappingProxyType({**one.trace.head, CUT_FROM: digest}),
                source=f"{record.source}#{number}",
            ),
        )
        for number, one in enumerate(movements, 1)
    )


def told(movements: Sequence[Movement], ways: Mapping[int, str]) -> tuple[Movement, ...]:
    """The same with the directions that a person told, by number from 1."""
    return tuple(
        replace(one, direction=ways[number], trace=replace(one.trace, direction=ways[number]))
        if number in ways
        else one
        for number, one in enumerate(movements, 1)
    )


def judged_throw(
    movement: Movement, rig: "Rig", baselines: "Mapping[str, Baseline]", *, on_bench: bool = False
) -> Throw:
    """One movement by the baseline of its direction."""
    trace, assessment = judge_throw(movement, rig, baselines, on_bench=on_bench)
    return Throw(trace, assessment, movement.direction is not None)


def throws_of(
    record: "Trace",
    rig: "Rig",
    baselines: "Mapping[str, Baseline]",
    *,
    on_bench: bool = False,
    ways: Mapping[int, str] = MappingProxyType({}),
) -> tuple[Throw, ...]:
    """Every movement of a record as a throw; ``ways``: directions that a person told, by number from 1."""
    movements = told(cut_out(record, rig, baselines), ways)
    return tuple(judged_throw(one, rig, baselines, on_bench=on_bench) for one in movements)
