"""Put the logbook back from a backup: the present file stays beside it, and what the backup lacks is carried over."""

from os.path import isfile
from pathlib import Path
from typing import TYPE_CHECKING

from throwbook.core.records import person
from throwbook_tui.fields import FieldSpec, typed_path
from throwbook_tui.present import WARN
from throwbook_tui.screens.form_page import FormPage

if TYPE_CHECKING:
    from throwbook.jobs.restore import Backup, Restored

CLOSE_OTHERS = "Close every other program that has this logbook open."
JUDGING = "Stored throws are being judged again, and the results must be saved first. The list of rigs shows how far it is. Nothing was changed. Restore when it is done."
MEANING = "The present file is kept beside it under another name. Every order, sighting and throw that the backup lacks is carried over, as far as the present file can be read. If it can't be read to its end, every rig is restricted until somebody signs."


def file_complaint(text: str) -> str:
    """Why it is no file to restore from; empty: it may be one."""
    return "" if isfile(typed_path(text)) else "there is no such file"


class RestoreScreen(FormPage["Restored"]):
    """Gives what was done."""

    HELP = "papers"

    def draft_name(self) -> str:
        """One for the program."""
        return "restore"

    def specs(self) -> tuple[FieldSpec, ...]:
        """From where, and who does it."""
        return (
            FieldSpec(
                "backup",
                "backup file",
                must=True,
                hint="/media/stick/logbook.throwbook",
                judge=file_complaint,
            ),
            FieldSpec("by", "your name", must=True),
        )

    def first_values(self) -> dict[str, str]:
        """A name that somebody gave."""
        return {"by": person(self.desk.by)}

    def opened(self) -> None:
        """Head line, and what comes first."""
        self.head("restore a backup")
        self.tell(f"{CLOSE_OTHERS} {MEANING}", WARN)
        from throwbook.jobs.restore import newest_backup

        logbook, folder = self.desk.logbook, self.desk.papers_of("logbook")
        practice = self.desk.practice or self.desk.simulated
        self.work("newest", lambda: newest_backup(logbook, folder, practice))

    def done_newest(self, found: "Backup | None") -> None:
        """The newest one is proposed, with the rigs in it: whoever restores sees what it is of."""
        field = self.form.field("backup")
        if found is None or field.value:
            return
        self._began["backup"] = str(found.file)
        field.propose(str(found.file))
        said = f"Proposed: the newest backup found here, with {', '.join(found.rigs) or 'no rig'}. Type another path to use that."
        self.tell(f"{said} {CLOSE_OTHERS} {MEANING}", WARN)

    def enter(self) -> None:
        """Ask once more."""
        if self.desk.judging_again:
            self.tell(JUDGING, WARN)
            return
        values = self.form.values()
        backup, by = typed_path(values["backup"]), values["by"].strip()
        self.confirm(
            f"Restore the logbook from {backup.name}?",
            f"{MEANING} {CLOSE_OTHERS}",
            lambda: self._restore(backup, by),
            WARN,
        )

    def _restore(self, backup: Path, by: str) -> None:
        from throwbook.jobs.restore import restore

        desk = self.desk
        self.tell("Restoring ...")
        self.work_once("restore", lambda: restore(desk.logbook, backup, by, desk.now()))

    def done_restore(self, done: "Restored") -> None:
        """Say it where the papers are."""
        self.drop_draft()
        self.app.bell()
        self.dismiss(done)
