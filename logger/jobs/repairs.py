"""What the latch is told of the maintenance history."""

from collections.abc import Iterable

from logger.core.records.records import Service
from logger.core.standing.service import entry_from, mends
from logger.core.standing.status import RepairProof


def repair_proofs(rows: Iterable[Service]) -> dict[str, RepairProof]:
    """Every entry by its id, the corrected ones too: a sheet may have been planned when only these were there.

    An entry that was corrected tells of a repair only while every entry that stands for it now does: "it wasn't done after
    all" takes the proof away, a slip of the pen put right leaves it.
    """
    listed = list(rows)
    corrections: dict[str, list[Service]] = {}
    for row in listed:
        for old in row.replaces:
            corrections.setdefault(old, []).append(row)
    return {row.id: _proof(row, _stands_now(row, corrections)) for row in listed}


def _stands_now(row: Service, corrections: dict[str, list[Service]]) -> list[Service]:
    waiting, found, seen = [row], [], set()
    while waiting:
        one = waiting.pop()
        if one.id in seen:  # only in a file that somebody changed
            continue
        seen.add(one.id)
        later = corrections.get(one.id, [])
        waiting += later
        if not later:
            found.append(one)
    return found


def _proof(row: Service, stands: Iterable[Service]) -> RepairProof:
    listed = list(stands)
    mended = bool(listed) and all(mends(entry_from(one)) for one in listed)
    return RepairProof(
        row.id,
        row.rig,
        str(row.details.get("found", "")) if mended else "",
        str(row.details.get("fixed", "")) if mended else "",
        frozenset(row.details.get("answers", ())),
        row.action,
    )
