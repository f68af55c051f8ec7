"""Where to put a file or a folder: the place is checked as it is typed, nothing is overwritten."""

from pathlib import Path
from typing import ClassVar

from textual.binding import BindingType

from tui.fields import FieldSpec
from tui.screens.form_page import FormPage
from tui.screens.page import key


def place_complaint(text: str) -> str:
    """Why nothing can be put there; empty: it can."""
    path = Path(text).expanduser()
    if path.exists():
        return "there is something with this name already"
    if not path.parent.is_dir():
        return f"there is no folder {path.parent}"
    return ""


class WhereScreen(FormPage[Path]):
    """Gives the path."""

    HELP = "papers"
    BINDINGS: ClassVar[list[BindingType]] = [key("ctrl+s,f2", "enter", "write it", "Ctrl-S")]

    def __init__(self, what: str, usual: Path) -> None:
        super().__init__()
        self._what, self._usual = what, usual

    def draft_name(self) -> str:
        """One for each kind of paper."""
        return f"where-{self._what}"

    def specs(self) -> tuple[FieldSpec, ...]:
        """One path."""
        return (FieldSpec("path", "put it into", must=True, judge=place_complaint),)

    def first_values(self) -> dict[str, str]:
        """In the folder where the program was started, named after rig and day."""
        return {"path": str(self._usual)}

    def opened(self) -> None:
        """Head line."""
        self.head(self._what)

    def enter(self) -> None:
        """Go."""
        self.drop_draft()
        self.dismiss(Path(self.form.field("path").value.strip()).expanduser())
