"""A rig as the logbook has it: its file's text read again."""

from typing import TYPE_CHECKING

from logger.core.records.records import RigRevision, SheetState
from logger.core.records.revisions import current
from logger.logbook import Logbook

if TYPE_CHECKING:
    from logger.core.rig import Rig


def rig_from(revision: RigRevision) -> "Rig":
    """The rig that a revision describes."""
    from logger.files.rigfile import parse_rig

    return parse_rig(revision.toml, f"rig {revision.rig}").rig


def rig_of(book: Logbook, name: str) -> "Rig":
    """The rig as it counts now. Raises InputError for a name that the logbook doesn't have."""
    return rig_from(book.rig(name))


def rig_for_sheet(book: Logbook, state: SheetState) -> "Rig":
    """The rig as it was when the sheet's throws were judged; as it counts now before there are any."""
    used = {one.judgement.rig_revision for one in book.trials(sheet=state.sheet.id) if one.judgement}
    fit = [one for one in book.rig_revisions(state.sheet.rig) if one.id in used]
    latest = current(fit) if fit else None
    return rig_from(latest) if latest is not None else rig_of(book, state.sheet.rig)
