"""Which of a row's revisions counts: the one that no other replaces, whatever the clocks say."""

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Protocol, TypeVar


class Revised(Protocol):
    """A row that may replace others."""

    @property
    def id(self) -> str: ...  # noqa: D102
    @property
    def at(self) -> datetime: ...  # noqa: D102
    @property
    def replaces(self) -> tuple[str, ...]: ...  # noqa: D102


Row = TypeVar("Row", bound=Revised)


def heads(rows: Iterable[Row]) -> list[Row]:
    """Rows that no other row replaces, oldest first; more than one after a merge of two corrections."""
    listed = list(rows)
    replaced = {old for row in listed for old in row.replaces}
    return sorted((row for row in listed if row.id not in replaced), key=lambda row: (row.at, row.id))


def current(rows: Iterable[Row]) -> Row | None:
    """The row that counts: the newest head (by time, then id, so that every copy agrees); None without rows."""
    found = heads(rows)
    return found[-1] if found else None


def beginnings(replaces: Mapping[str, Iterable[str]]) -> dict[str, frozenset[str]]:
    """For each row that no other replaces: the first rows that it goes back to.

    ``replaces``: id of each row of one thing, and the ids that it replaces. Two rows that go back to no common first one
    were begun apart: nothing says that they are about the same thing.
    """
    replaced = {old for olds in replaces.values() for old in olds}
    found = {}
    for head in replaces.keys() - replaced:
        first, seen, left = set(), {head}, [head]
        while left:
            row = left.pop()
            before = set(replaces.get(row, ()))
            if not before:
                first.add(row)
            left += before - seen
            seen |= before
        found[head] = frozenset(first)
    return found
