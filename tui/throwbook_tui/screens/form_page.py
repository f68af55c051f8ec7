"""A screen that is a form: its draft is kept on disk with every key, until it is entered."""

from collections.abc import Callable, Iterator
from typing import Any, ClassVar, TypeVar

from textual.actions import SkipAction
from textual.binding import Binding, BindingType
from textual.widget import Widget

from throwbook.core.rig import METRIC
from throwbook_tui.drafts import DraftKeeper
from throwbook_tui.fields import FieldSpec, future_complaint
from throwbook_tui.present import WARN
from throwbook_tui.screens.page import Page, key
from throwbook_tui.widgets.form import Choice, Form

Result = TypeVar("Result")


class FormPage(Page[Result]):
    """Subclasses give ``specs``, ``draft_name`` and ``enter``."""

    BINDINGS: ClassVar[list[BindingType]] = [
        key("ctrl+s,f2", "enter", "keep", "Ctrl-S"),
        key("f1", "help", "help", "F1"),
        key("escape", "back", "back", "Esc"),
        key("ctrl+l", "clear", "clear all", "Ctrl-L"),
        # These act before the next key is looked at: over a slow line many keys come in one piece.
        Binding("ctrl+s,f2", "enter", show=False, priority=True),
        Binding("enter", "next_field", show=False, priority=True),
        Binding("tab", "app.focus_next", show=False, priority=True),
        Binding("shift+tab", "app.focus_previous", show=False, priority=True),
    ]

    _fault_in: dict[str, str] | None = None
    """What stood in the form when the notice named a fault of it; None: it names none."""

    def specs(self) -> tuple[FieldSpec, ...]:
        """What is asked."""
        raise NotImplementedError

    def draft_name(self) -> str:
        """Under which the draft is kept."""
        raise NotImplementedError

    def enter(self) -> None:
        """Every field is good: do it."""
        raise NotImplementedError

    def first_values(self) -> dict[str, str]:
        """What stands in it when there is no draft."""
        return {}

    def still_to_come(self, text: str) -> str:
        """Why a day, or a day and a time, can't be in the past; for fields that ask when something was."""
        return future_complaint(text, self.desk.now())

    def system(self) -> str:
        """Unit system that values are shown in."""
        return METRIC

    def body(self) -> Iterator[Widget]:
        """The form alone."""
        yield self.make_form()

    def make_form(self) -> Form:
        """Filled from the draft where there is one."""
        self.keeper = DraftKeeper(self.desk.logbook, self.draft_name())
        self.draft = self.keeper.load()
        self._began = self.first_values()
        return Form(self.specs(), self._began | self.draft, self.system())

    @property
    def form(self) -> Form:
        """The form."""
        return self.query_one(Form)

    def on_mount(self) -> None:
        """Cursor into the first empty field; say it when a draft was found."""
        self.form.focus_first()
        if any(text.strip() for text in self.draft.values()):
            self.tell("Your earlier entries on this form are back. Ctrl-L clears them.")
        self.opened()

    def opened(self) -> None:
        """What a form does besides when it opens. Not ``on_mount``: Textual calls that of every class of a screen by itself."""

    def on_form_changed(self, event: Form.Changed) -> None:
        """Keep the draft; look at the whole."""
        event.stop()
        self.keep_draft()
        if self._fault_in is not None and self._fault_in != self.form.values():
            self._fault_in = None
            self.tell("")
        self.changed()

    def on_form_finished(self, event: Form.Finished) -> None:
        """Enter in the last field."""
        event.stop()
        self.action_enter()

    def on_choice_stray(self, event: Choice.Stray) -> None:
        """A letter where only numbers choose."""
        event.stop()
        self.tell_fault(f"This line takes a number, 1 to {event.count}. Then Enter.")

    def tell_fault(self, text: str) -> None:
        """Until something is typed that may mend it."""
        self._fault_in = self.form.values()
        self.tell(text, WARN)

    def action_next_field(self) -> None:
        """On to the next field; outside of one Enter means what the screen says."""
        field = next((one for one in self.form.fields if one.has_focus_within), None)
        if field is None:
            raise SkipAction
        self.form.leave(field)

    def changed(self) -> None:
        """Something was typed."""

    def cleared(self) -> None:
        """The fields are as they began; what a screen keeps beside them goes too."""

    def keep_draft(self) -> None:
        """In a worker; only the newest state matters. A form as it began is no draft: it would hide what changes later."""
        values = self.draft_values()
        untouched = all(text == self._began.get(name, "") for name, text in values.items())
        self.keeper.typed({} if untouched else values)
        self.work("draft", self.keeper.save)

    def draft_values(self) -> dict[str, str]:
        """All that must be there again."""
        return self.form.values()

    def done_draft(self, _: None) -> None:
        """It is on the disk."""

    def drop_draft(self) -> None:
        """It was entered."""
        self.keeper.drop()

    def action_enter(self) -> None:
        """Once what was typed before the key is in its field: check, then do it. What is typed after the key isn't in it."""
        if not self.form.disabled:
            last = self.focused or self
            self.form.hold()
            last.call_later(self._typed_out)

    def _typed_out(self) -> None:
        self.form.let_go()
        self.check_and_enter()

    def check_and_enter(self) -> None:
        """Every field must be good."""
        for field in self.form.fields:
            if field.checked.complete:
                field.set(field.checked.complete)
        fault = self.form.go_to_fault()
        if fault:
            self.tell_fault(fault)
            return
        self.tell("")
        self.enter()

    def work_once(self, name: str, job: Callable[[], Any]) -> None:
        """What is typed meanwhile goes nowhere: it would stand beside what is being written."""
        super().work_once(name, job)
        self.form.hold()

    def _written(self, name: str) -> None:
        was_written = name in self._being_written
        super()._written(name)
        if was_written and not self._being_written:
            self.form.let_go()

    def action_clear(self) -> None:
        """Ask, then put every field back to how the form began."""

        def clear() -> None:
            first = self.first_values()
            for field in self.form.fields:
                field.set(first.get(field.spec.key, ""))
            self.form.focus_first()
            self.tell("")
            self.cleared()
            self.keep_draft()

        self.confirm("Clear this form?", "Everything typed here is lost.", clear)
