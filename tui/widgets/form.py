"""A form: fields one below the other; whatever is typed is on the disk at once as a draft."""

from collections.abc import Iterator, Mapping, Sequence
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.message import Message
from textual.widget import Widget
from textual.widgets import Static

from logger.core.rig import METRIC
from tui.fields import FieldSpec
from tui.widgets.field import Field

MISSING = "it must be given, and isn't yet"


class Form(VerticalScroll, can_focus=False):
    """Fields with their sections."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("up", "step(-1)", show=False),
        Binding("down", "step(1)", show=False),
    ]

    class Changed(Message):
        """Something was typed."""

    class Finished(Message):
        """Enter was pressed in the last field."""

    def __init__(
        self,
        specs: Sequence[FieldSpec],
        values: Mapping[str, str] | None = None,
        system: str = METRIC,
        **more: str,
    ) -> None:
        super().__init__(**more)  # type: ignore[arg-type]
        self.specs = tuple(specs)
        self._first = dict(values or {})
        self._system = system

    def compose(self) -> Iterator[Widget]:
        """Sections and fields."""
        for number, spec in enumerate(self.specs):
            if spec.section:
                yield Static(spec.section, classes="section" if number else "section tight")
            yield Field(spec, self._first.get(spec.key, ""), self._system)

    @property
    def fields(self) -> list[Field]:
        """In their order."""
        return list(self.query(Field))

    def field(self, key: str) -> Field:
        """One of them."""
        return next(one for one in self.fields if one.spec.key == key)

    def values(self) -> dict[str, str]:
        """What is answered, as typed; empty ones too."""
        return {one.spec.key: one.value for one in self.fields}

    def faulty(self) -> Field | None:
        """The first field that can't stay as it is."""
        return next((one for one in self.fields if not one.checked.good), None)

    def go_to_fault(self) -> str:
        """Put the cursor into the first faulty field; what is wrong there, or nothing."""
        faulty = self.faulty()
        if faulty is None:
            return ""
        faulty.focus_answer()
        said = faulty.checked.say if faulty.value.strip() else MISSING
        return f"{faulty.spec.asked.strip()}: {said}"

    def focus_first(self) -> None:
        """Into the first empty field, or the first one."""
        fields = self.fields
        chosen = next((one for one in fields if not one.value.strip()), fields[0])
        chosen.focus_answer()

    def action_step(self, by: int) -> None:
        """Up and down go from field to field."""
        fields = self.fields
        at = next((i for i, one in enumerate(fields) if one.has_focus_within), None)
        if at is not None and 0 <= at + by < len(fields):
            fields[at + by].focus_answer()

    def on_field_changed(self, event: Field.Changed) -> None:
        """Tell the screen."""
        event.stop()
        self.post_message(self.Changed())

    def leave(self, field: Field) -> None:
        """On to the next field at once; what ``field`` was sent before is still in its queue, so its unit waits for it."""
        fields = self.fields
        at = fields.index(field)
        if at + 1 < len(fields):
            self.screen.set_focus(fields[at + 1].answer)
            field.answer.call_later(field.complete)
        else:
            field.answer.call_later(self._finish, field)

    def _finish(self, field: Field) -> None:
        field.complete()
        self.post_message(self.Finished())
