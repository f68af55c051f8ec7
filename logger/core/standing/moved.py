"""Which raises a signed correction eases, because their imported throw is of another rig and the order stands there."""

from collections.abc import Collection, Iterable, Iterator
from typing import Protocol

from logger.core.records.records import Order
from logger.core.standing.status import MOVED_TO


class Copies(Protocol):
    """What the latch must know of throws on two rigs."""

    def rig_of_copy(self, trial: str) -> str:
        """The rig that a trial stands on; empty: there is no such trial."""

    def same_samples(self, one: str, other: str) -> bool:
        """Whether two trials are made of the same record."""

    def came_by_import(self, trial: str) -> bool:
        """Whether a trial came in from a file, and stands on no sheet that was ever accepted."""

    def orders(self, rig: str) -> Collection[Order]:
        """Every order of a rig."""


def moved_raises(rig: str, orders: Iterable[Order], copies: Copies) -> Iterator[tuple[str, str]]:
    """Id of each raise of ``rig`` that a clearing order says is another rig's, with the trial there; only where that is so."""
    listed = list(orders)
    raises = {one.id: one for one in listed if not one.clears}
    for order in listed:
        for trial in map(str, order.details.get(MOVED_TO, ())):
            whose = copies.rig_of_copy(trial)
            if whose in ("", rig):
                continue
            there = {(one.trial, one.cause) for one in copies.orders(whose) if not one.clears}
            for raised in (raises[name] for name in order.clears if name in raises):
                if (
                    raised.trial is not None
                    and (trial, raised.cause) in there
                    and copies.same_samples(raised.trial, trial)
                    and copies.came_by_import(raised.trial)
                ):
                    yield raised.id, trial
