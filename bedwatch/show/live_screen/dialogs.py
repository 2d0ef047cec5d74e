"""What comes up over the picture: something to read, something to choose, a line to type. Escape always leaves."""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar, TypeVar

from rich.text import Text
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical, VerticalScroll
from textual.events import Key
from textual.screen import ModalScreen
from textual.widgets import Input, Label, OptionList, Static

from bedwatch.show.live_screen.orders import KeepAim, LookAgain

_FRAME = """
%s { align: center middle; background: transparent; }
%s > .box { width: 90%%; max-width: %d; height: auto; max-height: 90%%; border: round ansi_default; padding: 0 1; }
%s Label { width: 1fr; text-style: bold; }
"""


def _css(name: str, width: int) -> str:
    return _FRAME % (name, name, width, name)


Answer = TypeVar("Answer")


class _Boxed(ModalScreen[Answer]):
    """A dialog whose frame can be drawn by the terminal's characters."""

    def on_mount(self) -> None:
        if self.app.has_class("-ascii"):
            self.query_one(".box").styles.border = ("ascii", "ansi_default")


class Page(_Boxed[None]):
    """Something to read; scrolls when it is long."""

    CSS = _css("Page", 100) + "Page .box { height: 90%; } Page VerticalScroll { height: 1fr; }"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,enter,q,h,x,space", "dismiss", "back", show=False),
        Binding("down,j", "scroll(1)", show=False),
        Binding("up,k", "scroll(-1)", show=False),
        Binding("pagedown", "scroll(10)", show=False),
        Binding("pageup", "scroll(-10)", show=False),
    ]

    def __init__(self, title: str, text: Text) -> None:
        super().__init__()
        self._title = title
        self._text = text

    def compose(self) -> ComposeResult:
        with Vertical(classes="box"):
            yield Label(f"{self._title}   (arrows scroll, ESC goes back)", markup=False)
            with VerticalScroll(can_focus=False):
                yield Static(self._text)

    def action_scroll(self, rows: int) -> None:
        self.query_one(VerticalScroll).scroll_relative(y=rows, animate=False)


class AimPage(_Boxed[KeepAim | LookAgain | None]):
    """Where the bed was found: to be looked at, and kept or not."""

    CSS = _css("AimPage", 120)
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,q,a", "dismiss(None)", "back", show=False),
        Binding("space,enter", "keep", show=False),
        Binding("l", "again", show=False),
    ]

    def __init__(self, text: Text, *, found: bool) -> None:
        super().__init__()
        self._text = text
        self._found = found

    def compose(self) -> ComposeResult:
        keys = "SPACE keeps it for the next time, " if self._found else ""
        with Vertical(classes="box"):
            yield Static(self._text)
            yield Static(Text(f"{keys}L looks for the bed anew, ESC goes back", style="dim"))

    def action_keep(self) -> None:
        self.dismiss(KeepAim() if self._found else None)

    def action_again(self) -> None:
        self.dismiss(LookAgain())


class Choice(_Boxed[int | None]):
    """One of several; by arrows and space or enter, or at once by the character it begins with. None: left."""

    CSS = _css("Choice", 70) + "Choice OptionList { height: auto; max-height: 16; border: none; }"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "dismiss(None)", "back", show=False),
        Binding("space", "take", show=False),
    ]

    def __init__(self, question: str, choices: Sequence[tuple[str, str]]) -> None:
        """choices: the character that picks it ("" for none), and its words."""
        super().__init__()
        self._question = question
        self._choices = choices

    def compose(self) -> ComposeResult:
        with Vertical(classes="box"):
            yield Label(self._question, markup=False)
            yield OptionList(*(Text(f"{key:>2}  {words}", no_wrap=True) for key, words in self._choices))
            yield Static(Text("arrows and SPACE choose, ESC goes back", style="dim"))

    def on_mount(self) -> None:
        super().on_mount()
        self.query_one(OptionList).highlighted = 0

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        self.dismiss(event.option_index)

    def action_take(self) -> None:
        self.query_one(OptionList).action_select()

    def on_key(self, event: Key) -> None:
        typed = (event.character or "").lower()
        for place, (key, _) in enumerate(self._choices):
            if typed and typed == key.lower():
                event.stop()
                self.dismiss(place)


class Line(_Boxed[str | None]):
    """A line to type. None: left, or nothing but blanks typed where something is needed."""

    CSS = _css("Line", 70)
    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape", "dismiss(None)", "back", show=False)]

    def __init__(self, question: str, *, may_be_empty: bool = False, enter: str = "keeps it") -> None:
        super().__init__()
        self._enter = enter
        self._question = question
        self._may_be_empty = may_be_empty

    def compose(self) -> ComposeResult:
        with Vertical(classes="box"):
            yield Label(self._question, markup=False)
            yield Input(max_length=300)
            yield Static(Text(f"ENTER {self._enter}, ESC goes back", style="dim"))

    def on_input_submitted(self, event: Input.Submitted) -> None:
        typed = event.value.strip()
        self.dismiss(typed if typed or self._may_be_empty else None)
