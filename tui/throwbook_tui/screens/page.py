"""What every screen shares: the frame, its keys, jobs in threads, refusals shown in one place; and a text to scroll."""

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any, ClassVar, TypeVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical, VerticalScroll
from textual.screen import Screen
from textual.widget import Widget
from textual.widgets import Static

from throwbook_tui import background, context
from throwbook_tui.background import JobDone, JobFailed
from throwbook_tui.present import BAD, STRONG, Cell, spoken
from throwbook_tui.widgets.frame import Headline, KeyLine, Notice, lines, listed

if TYPE_CHECKING:
    from throwbook_tui.context import Desk


Result = TypeVar("Result")


def key(keys: str, action: str, word: str, shown: str = "", **more: Any) -> Binding:
    """A key with its word in the line of keys; ``shown`` is how the key is written there.

    Letters are shown as capitals, so a capital is taken as well: with Shift or Caps Lock.
    """
    named = keys.split(",")
    either = [*named, *(one.upper() for one in named if len(one) == 1 and one.isalpha())]
    return Binding(",".join(either), action, word, key_display=shown or named[0].upper(), **more)


class Page(Screen[Result]):
    """A screen with a head line, a body, a notice and the line of keys."""

    HELP: ClassVar[str] = "rigs"
    """Which page of the help explains this screen."""
    BINDINGS: ClassVar[list[BindingType]] = [
        key("escape", "back", "back", "Esc"),
        key("f1,question_mark", "help", "help", "F1"),
    ]

    stale = False
    """Whether the theme changed while another screen lay over this one."""

    def __init__(self) -> None:
        super().__init__()
        self._being_written: set[str] = set()
        """Jobs that write and haven't ended."""

    @property
    def desk(self) -> "Desk":
        """Logbook, clock and who writes."""
        return self.app.desk  # type: ignore[attr-defined,no-any-return]

    def body(self) -> Iterator[Widget]:
        """The widgets between head line and notice."""
        yield from ()

    def compose(self) -> ComposeResult:
        """Frame and body."""
        yield Headline(id="headline")
        yield from self.body()
        notice = Notice(id="notice")
        notice.display = False
        with Vertical(id="foot"):
            yield notice
            yield KeyLine(id="keys")

    def head(self, where: str, right: Cell | str = "") -> None:
        """Set the head line."""
        self.query_one(Headline).show(where, right)

    def tell(self, text: str, tone: str = "") -> None:
        """Set the notice; empty wipes it."""
        self.query_one(Notice).tell(text, tone)

    def work(self, name: str, job: Callable[[], Any]) -> None:
        """Run a job in a thread; ``done_NAME(result)`` of this screen is called when it is through.

        What stands behind a blank in ``name`` only tells jobs of one name apart: ``put left``.
        """
        background.start(self, name, job)

    def work_once(self, name: str, job: Callable[[], Any]) -> None:
        """The same for a job that writes: a key that comes twice before it is through writes once."""
        if name not in self._being_written:
            self._being_written.add(name)
            self.work(name, job)

    def on_job_done(self, message: JobDone) -> None:
        """Hand the result to the method that is named after the job."""
        message.stop()
        self._written(message.name)
        getattr(self, f"done_{message.name.split()[0]}")(message.result)

    def on_job_failed(self, message: JobFailed) -> None:
        """Say what was refused, where, and what to do; a screen may take it over with ``failed_NAME``."""
        message.stop()
        self._written(message.name)
        taken_over = getattr(self, f"failed_{message.name.split()[0]}", None)
        if taken_over is not None:
            taken_over(message.error)
        else:
            self.tell(spoken(message.error), BAD)

    def _written(self, name: str) -> None:
        """A job that writes, or another, has ended."""
        self._being_written.discard(name)

    def open_screen(
        self, name: str, *args: Any, then: Callable[[Any], None] | None = None, **more: Any
    ) -> None:
        """Lay the screen ``name`` of ``tui/throwbook_tui/context.py`` over this one; ``then`` gets what it is left with."""
        self.app.push_screen(context.screen(name, *args, **more), then)

    def replace_by(self, name: str, *args: Any, **more: Any) -> None:
        """Go to another screen; the way back from it doesn't lead here."""
        self.app.switch_screen(context.screen(name, *args, **more))

    def confirm(self, question: str, meaning: str, do: Callable[[], Any], tone: str = STRONG) -> None:
        """Ask first; ``do`` is called on yes only."""
        self.open_screen("confirm", question, meaning, tone, then=lambda sure: do() if sure else None)

    def confirm_by_enter(
        self, statement: str, meaning: str, do: Callable[[], Any], tone: str = STRONG
    ) -> None:
        """Say what will be written down: Enter does it. There is no N that could be taken for the answer itself."""
        self.open_screen("confirm", statement, meaning, tone, True, then=lambda sure: do() if sure else None)

    def repaint(self) -> None:
        """The theme changed: draw again what carries colours of its own."""
        self.query_one(Headline).refresh_line()

    def on_screen_resume(self) -> None:
        """The theme may have changed while another screen lay over this one."""
        if self.stale:
            self.stale = False
            self.app.stylesheet.update(self)
            self.repaint()

    def action_back(self) -> None:
        """Leave this screen; nothing is lost by it."""
        self.dismiss(None)

    def action_help(self) -> None:
        """Explain this screen."""
        self.open_screen("help", self.HELP)


class TextPage(Page[None]):
    """Subclasses give ``where`` and ``text``; none has an ``on_mount`` of its own, Textual would call both."""

    IS_LIST: ClassVar[bool] = False
    """What a line that begins with a mark has too much stands under its words."""

    def where(self) -> str:
        """The head line."""
        raise NotImplementedError

    def beside(self) -> Cell | str:
        """What stands at the right of the head line."""
        return ""

    def text(self) -> list[Cell | str]:
        """Its lines."""
        raise NotImplementedError

    def body(self) -> Iterator[Widget]:
        """The text alone."""
        with VerticalScroll():
            yield Static(id="first")

    def on_mount(self) -> None:
        """Show it."""
        self.head(self.where(), self.beside())
        self.repaint()
        self.query_one(VerticalScroll).focus()

    def repaint(self) -> None:
        """The lines, in the colours of the theme."""
        super().repaint()
        lay_out = listed if self.IS_LIST else lines
        self.query_one("#first", Static).update(lay_out(self.app, self.text()))
