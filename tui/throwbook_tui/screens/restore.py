"""Put the logbook back from a backup: the present file stays beside it, and what the backup lacks is carried over."""

from pathlib import Path
from typing import TYPE_CHECKING

from throwbook.core.quantities.text import counted
from throwbook.core.records import person
from throwbook_tui.fields import FieldSpec
from throwbook_tui.present import WARN
from throwbook_tui.screens.form_page import FormPage

if TYPE_CHECKING:
    from throwbook.jobs.restore import Restored

CLOSE_OTHERS = "Close every other program that has this logbook open."
MEANING = "The present file is kept beside it under another name. Every order, sighting and throw that the backup lacks is carried over, as far as the present file can be read. If it can't be read to its end, every rig is held until somebody signs."


def file_complaint(text: str) -> str:
    """Why it is no file to restore from; empty: it may be one."""
    return "" if Path(text).expanduser().is_file() else "there is no such file"


def restored_said(done: "Restored") -> str:
    """What was done, and what holds the rigs since."""
    said = [f"{done.path.name} is restored."]
    if done.kept is not None:
        said.append(f"The file of before is {done.kept.name}.")
    if done.added:
        rows = ", ".join(f"{counted(count, 'row')} of {table}" for table, count in done.added.items())
        said.append(f"Carried over from it: {rows}.")
    if done.unread:
        said.append(f"It could not be read to its end ({done.unread}).")
    if done.held:
        said.append(
            f"Restricted until somebody signs that nothing worse was written since: {', '.join(done.held)}."
        )
    return " ".join(said)


class RestoreScreen(FormPage[str]):
    """Gives what was done, in words."""

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

    def enter(self) -> None:
        """Ask once more."""
        values = self.form.values()
        backup, by = Path(values["backup"].strip()).expanduser(), values["by"].strip()
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
        self.work("restore", lambda: restore(desk.logbook, backup, by, desk.now()))

    def done_restore(self, done: "Restored") -> None:
        """Say it where the papers are."""
        self.drop_draft()
        self.app.bell()
        self.dismiss(restored_said(done))
