"""A form: fields that are judged as they are typed, and kept on disk at once as a draft."""

from collections.abc import Iterator, Mapping, Sequence
from typing import ClassVar

from rich.text import Text
from textual import events
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.message import Message
from textual.widget import Widget
from textual.widgets import Input, Static

from throwbook.core.rig import METRIC
from throwbook_tui.fields import CHOICE, TEXT, Checked, FieldSpec, check_field, hint
from throwbook_tui.widgets.frame import TONES, SteadyLine, toned

BESIDE_QUESTION = 31
"""Columns that question, margin and scroll bar take of a form."""


class Choice(Static, can_focus=True):
    """One of a few words; the digit before a word chooses it, left and right move."""

    MOVES: ClassVar[dict[str, int]] = {"left": -1, "right": 1, "space": 1}
    """No bindings: those act only after the keys that came behind them in one piece, and the last key has to win."""

    class Changed(Message):
        """Another word was chosen."""

    class Stray(Message):
        """A letter was typed, which chooses nothing."""

        def __init__(self, count: int) -> None:
            super().__init__()
            self.count = count

    def __init__(self, choices: tuple[tuple[str, str], ...], value: str = "") -> None:
        super().__init__()
        self.choices = choices
        self.value = value

    def on_mount(self) -> None:
        """First look."""
        self.draw()

    def draw(self) -> None:
        """The chosen word stands between marks: no colour is needed to see it."""
        tones = TONES.get(self.app.theme, TONES["day"])
        text = Text(no_wrap=True)
        # Before it is laid out it takes the room beside a question: on a slow computer that look stays for a while.
        room, used = max(self.size.width or self.app.size.width - BESIDE_QUESTION, 20), 0
        for number, (value, word) in enumerate(self.choices, start=1):
            chosen = value == self.value
            mark = f"[{number}]>{word}<" if chosen else f" {number}  {word} "
            if used and used + len(mark) > room:
                text.append("\n")
                used = 0
            text.append(mark, style="bold reverse" if chosen else tones[""])
            text.append(" ")
            used += len(mark) + 1
        self.update(text)

    def on_resize(self) -> None:
        """The width changed; after the layout that brought it, else the rows it no longer needs would stay empty."""
        self.call_after_refresh(self.draw)

    def choose(self, value: str) -> None:
        """Set it and tell."""
        if value != self.value:
            self.value = value
            self.draw()
            self.post_message(self.Changed())

    def move(self, by: int) -> None:
        """To the neighbouring word."""
        values = [value for value, _ in self.choices]
        at = values.index(self.value) + by if self.value in values else 0
        self.choose(values[at % len(values)])

    def on_key(self, event: events.Key) -> None:
        """A digit chooses; an arrow or the space bar moves on."""
        if event.key in self.MOVES:
            event.stop()
            self.move(self.MOVES[event.key])
        elif event.character and event.character.isdigit() and 0 < int(event.character) <= len(self.choices):
            event.stop()
            self.choose(self.choices[int(event.character) - 1][0])
        elif event.is_printable:  # typed on in the belief that the cursor stands in a line
            event.stop()
            self.app.bell()
            self.post_message(self.Stray(len(self.choices)))

    def on_click(self, event: events.Click) -> None:
        """The word under the mouse is chosen."""
        at, row = 0, 0
        room = max(self.size.width, 20)
        for value, word in self.choices:
            if at and at + len(word) + 5 > room:
                at, row = 0, row + 1
            if event.y == row and at <= event.x < at + len(word) + 5:
                self.choose(value)
                return
            at += len(word) + 6


class Answer(Input):
    """What is typed: each key acts before the next one, also where it deletes or moves.

    A binding would act only after the keys behind it that came in one piece over a slow line: "14.7", backspace, "6" would
    leave 14.7.
    """

    OF_THE_FORM: ClassVar[dict[str, int]] = {"up": -1, "down": 1}
    """A line of text has no other use for them: it would scroll by them."""

    async def on_key(self, event: events.Key) -> None:
        """A key that edits is done here; Enter, up and down are the form's."""
        if event.key in self.OF_THE_FORM:
            event.stop()
            event.prevent_default()
            form = next((one for one in self.ancestors if isinstance(one, Form)), None)
            if form is not None:
                form.action_step(self.OF_THE_FORM[event.key])
            return
        for binding in self._bindings.key_to_bindings.get(event.key, ()):
            if binding.action != "submit":
                event.stop()
                event.prevent_default()
                await self.run_action(binding.action)


class Field(Widget):
    """Question, answer, remark."""

    class Changed(Message):
        """The answer changed."""

        def __init__(self, field: "Field") -> None:
            super().__init__()
            self.field = field

    def __init__(self, spec: FieldSpec, text: str = "", system: str = METRIC) -> None:
        super().__init__()
        self.spec = spec
        self.system = system
        self._text = text
        self._outside: Checked | None = None

    def compose(self) -> Iterator[Widget]:
        """Question, answer, remark in one row."""
        yield Static(self.spec.asked, classes="asked")
        if self.spec.kind == CHOICE:
            yield Choice(self.spec.choices, self._text)
        else:
            wide = self.spec.kind == TEXT
            answer = Answer(
                self._text,
                placeholder=hint(self.spec, self.system) if wide else "",
                select_on_focus=self.spec.replaced,
                classes="wide" if wide else "",
            )
            answer.cursor_blink = (
                False  # a blinking cursor would be drawn anew twice a second over a slow line
            )
            yield answer
            yield SteadyLine(classes="remark")

    def on_mount(self) -> None:
        """First remark."""
        self.remark()

    def shown_in(self, system: str) -> None:
        """Hints, echoes and bare numbers in another unit system from now on."""
        self.system = system
        if self.spec.kind == TEXT:
            self.query_one(Input).placeholder = hint(self.spec, system)
        self.remark()

    @property
    def value(self) -> str:
        """What is answered, as typed."""
        if not self.is_mounted:
            return self._text
        choice = self.query(Choice)
        return choice.first().value if choice else self.query_one(Input).value

    def set(self, text: str) -> None:
        """Answer it from outside."""
        choice = self.query(Choice)
        if choice:
            choice.first().choose(text)
        else:
            self.query_one(Input).value = text

    def propose(self, text: str) -> None:
        """Put ``text`` into it, so that typing replaces the whole."""
        self.set(text)
        answer = self.query_one(Input)
        answer.focus()
        answer.action_select_all()

    @property
    def checked(self) -> Checked:
        """What is to be said of it."""
        return check_field(self.spec, self.value, self.system)

    def complain(self, say: str) -> None:
        """A complaint that only the whole form can see; empty wipes it."""
        self._outside = Checked(False, say) if say else None
        self.remark()

    def remark(self) -> None:
        """Say what is wrong, or how it was understood."""
        found = self.checked
        if found.good and self._outside is not None:
            found = self._outside
        empty = not self.value.strip()
        mark = "" if empty or found.good else "!! "
        tone = "quiet" if empty or found.good else "warn"
        if self.spec.kind == TEXT and (found.good or empty):
            mark, found = "", Checked(True, "")  # its hint stands in the field itself
        for static in self.query(".remark").results(Static):
            static.display = bool(found.say)
            static.update(toned(self.app, mark + found.say, tone))

    @property
    def answer(self) -> Widget:
        """The widget that is typed into or chosen with."""
        return self.query("Input, Choice").first()

    def focus_answer(self) -> None:
        """Put the cursor into it."""
        self.answer.focus()

    def complete(self) -> None:
        """A bare number gets its unit; whoever comes back types behind it."""
        if self.checked.complete:
            self.set(self.checked.complete)
            self.query_one(Input).cursor_position = len(self.value)

    def on_descendant_blur(self) -> None:
        """Left by Tab or by an arrow: as by Enter, the unit is added. What was typed before is still in the answer's queue."""
        self.answer.call_later(self.complete)

    def on_input_changed(self, event: Input.Changed) -> None:
        """Judged as typed."""
        event.stop()
        self._outside = None
        self.remark()
        self.post_message(self.Changed(self))

    def on_choice_changed(self, event: Choice.Changed) -> None:
        """The same for a choice."""
        event.stop()
        self.post_message(self.Changed(self))


MISSING = {True: "choose one: press its number", False: "required, still empty"}
"""Of a choice, of a line."""


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
        self._cursor_in: Widget | None = None

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

    def shown_in(self, system: str) -> None:
        """Every field in this unit system; what was typed with its unit stays as typed."""
        for one in self.fields:
            if one.system != system:
                one.shown_in(system)

    def faulty(self) -> Field | None:
        """The first field that can't stay as it is."""
        return next((one for one in self.fields if not one.checked.good), None)

    def go_to_fault(self) -> str:
        """Put the cursor into the first faulty field; what is wrong there, or nothing."""
        faulty = self.faulty()
        if faulty is None:
            return ""
        faulty.focus_answer()
        empty = not faulty.value.strip()
        said = MISSING[faulty.spec.kind == CHOICE] if empty else faulty.checked.say
        return f"{faulty.spec.asked.strip()}: {said}"

    def focus_first(self) -> None:
        """Into the first empty field, or the first one."""
        fields = self.fields
        chosen = next((one for one in fields if not one.value.strip()), fields[0])
        chosen.focus_answer()

    def hold(self) -> None:
        """Take nothing more until it is let go."""
        if not self.disabled:
            self._cursor_in = self.screen.focused
            self.screen.set_focus(None)
            self.disabled = True

    def let_go(self) -> None:
        """The cursor is where it was."""
        if self.disabled:
            self.disabled = False
            if self._cursor_in is not None and self._cursor_in.is_attached and self.screen.focused is None:
                self.screen.set_focus(self._cursor_in)

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
            field.answer.call_later(self._left, field, fields[at + 1])
        else:
            field.answer.call_later(self._finish, field)

    def _left(self, field: Field, following: Field) -> None:
        """Its unit; and back to it where it can't stay as it is, unless somebody has typed on already."""
        field.complete()
        if (
            field.value.strip()
            and not field.checked.good
            and following.has_focus_within
            and not following.value
        ):
            self.app.bell()
            field.focus_answer()

    def _finish(self, field: Field) -> None:
        field.complete()
        self.post_message(self.Finished())
