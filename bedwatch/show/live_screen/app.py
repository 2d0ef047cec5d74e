"""The screen itself: readings come in as messages, keys go out as orders, and nothing here waits for either."""

from __future__ import annotations

import os
from collections.abc import Callable
from typing import ClassVar

from rich.text import Text
from textual import work
from textual.app import App, ComposeResult
from textual.binding import Binding, BindingType

from bedwatch.bed import Bed
from bedwatch.judge.types import ALL_ZONES, Did, Done, Reading
from bedwatch.judge.way_back import Against
from bedwatch.show.live_screen.dialogs import AimPage, Choice, Line, Page
from bedwatch.show.live_screen.messages import Aimed, Ended, Health, Kept, Made, News, Words
from bedwatch.show.live_screen.orders import KeepClip, KeepSetting, Noted, Order, Pause, ShowAim
from bedwatch.show.live_screen.pages import help_page
from bedwatch.show.live_screen.picture import Picture
from bedwatch.show.live_screen.story import Sound, Story
from bedwatch.show.look import Look
from bedwatch.show.screen import screen
from bedwatch.show.standing import Camera, Saved
from bedwatch.show.way_back_view import toward, way_back_lines
from bedwatch.show.why import why_page
from bedwatch.show.words import did_words, zone_place

_MOST_NOTES = 3
_NOTE_STAYS_S = 20.0
_BELLS = {Sound.MOVE_NOW: 1, Sound.LOOK_AT_BED: 3}
_BELL_GAP_S = 0.3
_REPORTS = frozenset({"done", "other_move", "by_hand", "keep_setting", "remark", "keep_clip", "aim"})
_AMOUNTS: tuple[tuple[str, float | None], ...] = (
    ("a tenth of its travel", 0.1),
    ("a quarter", 0.25),
    ("half", 0.5),
    ("three quarters", 0.75),
    ("all of it", 1.0),
    ("can't say", None),
)

_VALVES = "Where do the valves stand, in your own words? Such as 1: open, 6: a half. May be left empty."


class LiveScreen(App[None]):
    """Shows readings of one bed and takes keys. `give`, `note`, `camera`, `saved` and `end` may be called from any thread.

    order: called with what the person wants; must come back at once. begin: called when the screen stands and readings
    may come. duration_s: of a file, for its progress. reports: whether what was done can be reported, as it cannot to a
    log that is played. logs: whether there is a log to write a note into. stopped: whether it was left by Ctrl-C.
    """

    ENABLE_COMMAND_PALETTE = False
    TITLE = "bedwatch"
    CSS = "Screen { background: ansi_default; }"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("space,enter,pagedown", "done", "done as told", show=False),
        Binding("m", "other_move", show=False),
        Binding("s", "by_hand('stirred')", show=False),
        Binding("t", "by_hand('topped_up')", show=False),
        Binding("c", "by_hand('checked_plate')", show=False),
        Binding("v", "keep_setting", show=False),
        Binding("n", "remark", show=False),
        Binding("x", "why", show=False),
        Binding("o", "mute", show=False),
        Binding("p", "pause", show=False),
        Binding("a", "aim", show=False),
        Binding("k", "keep_clip", show=False),
        Binding("h,question_mark,f1", "manual", show=False),
        Binding("q", "quit", show=False, priority=False),
        Binding("escape", "leave", show=False),
        Binding("ctrl+c", "stop", show=False, priority=True),
        Binding("ctrl+q", "quit", show=False),
    ]

    def __init__(
        self,
        bed: Bed,
        look: Look,
        order: Callable[[Order], None],
        *,
        begin: Callable[[], None] = lambda: None,
        duration_s: float | None = None,
        saved: Saved | None = None,
        light: bool | None = None,
        reports: bool = True,
        logs: bool = True,
    ) -> None:
        super().__init__(ansi_color=True)
        self.animation_level = "none"
        self.set_class(not look.unicode, "-ascii")
        self.theme = "ansi-light" if (_light() if light is None else light) else "ansi-dark"
        self.stopped = False
        self.story = Story(saved=saved, keys=reports)
        self._reports = reports
        self._logs = logs
        self._bed = bed
        self._look = look
        self._order = order
        self._begin = begin
        self._duration_s = duration_s
        self._notes: tuple[str, ...] = ()

    @property
    def failure(self) -> Exception | None:
        """What ended it by itself, if a mistake of the program's did; it is caught on the way out of `run`."""
        return self._exception

    def give(self, reading: Reading, against: Against | None = None) -> None:
        """A new reading, and where the bed stands on the way back to a setting; it may replace one not drawn yet."""
        self.post_message(News(reading, against))

    def made(self, did: Did) -> None:
        """Something was done that was not reported here, as in a log that is played."""
        self.post_message(Made(did))

    def note(self, words: str) -> None:
        """Something the program itself has to say, in one line; the latest few stay for a while."""
        self.post_message(Words(words))

    def camera(self, camera: Camera) -> None:
        """How pictures arrive."""
        self.post_message(Health(camera))

    def saved(self, saved: Saved) -> None:
        """The setting to compare with from now on."""
        self.post_message(Kept(saved))

    def show_aim(self, text: Text, found: bool) -> None:
        """Where the bed was found, or why it was not, in answer to `ShowAim`."""
        self.post_message(Aimed(text, found))

    def end(self, why: str | None) -> None:
        """No more readings come; the screen stays until a key, or goes at once when there is no reason to tell."""
        self.post_message(Ended(why))

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:  # noqa: ARG002
        """Where nothing can be reported, only looking, pausing and leaving is left."""
        return self._reports or action not in _REPORTS

    def compose(self) -> ComposeResult:
        yield Picture(self._drawn)

    def on_mount(self) -> None:
        self.call_after_refresh(self._begin)

    def on_news(self, message: News) -> None:
        sound = self.story.take(message.reading, message.against)
        self._again()
        if sound is not None:
            self._ring(_BELLS[sound])

    def on_made(self, message: Made) -> None:
        self.story.did(message.did)
        self._again()

    def on_words(self, message: Words) -> None:
        self._say(message.words)

    def on_health(self, message: Health) -> None:
        self.story.camera(message.camera)

    def on_kept(self, message: Kept) -> None:
        self.story.saved(message.saved)
        self._again()

    def on_aimed(self, message: Aimed) -> None:
        if len(self.screen_stack) == 1:
            self._ask_aim(message.text, message.found)

    @work
    async def _ask_aim(self, text: Text, found: bool) -> None:
        answer = await self.push_screen_wait(AimPage(text, found=found))
        if answer is not None:
            self._order(answer)

    def on_ended(self, message: Ended) -> None:
        if message.why is None:
            self.exit()
            return
        self.story.end(message.why)
        self._again()

    async def action_done(self) -> None:
        moves = self.story.told_moves()
        if len(moves) == 1:
            self._did(moves[0])
        elif moves:
            self._ask_which(moves)
        elif self.story.standing.ended is None:
            self._say("Nothing is told now. M writes down a move of your own, S that you stirred.")

    @work
    async def _ask_which(self, moves: tuple[Did, ...]) -> None:
        choices = [(str(i + 1), did_words(move)) for i, move in enumerate(moves)]
        place = await self.push_screen_wait(Choice("Which one did you make?", choices))
        if place is not None:
            self._did(moves[place])

    @work
    async def action_other_move(self) -> None:
        zone = await self.push_screen_wait(Choice("Which valve did you move?", self._valves()))
        if zone is None:
            return
        name = ALL_ZONES if zone == len(self._bed.zones) else self._bed.zones[zone].name
        ways = (Done.MORE_AIR, Done.LESS_AIR)
        way = await self.push_screen_wait(Choice("Which way?", [("1", "more air"), ("2", "less air")]))
        if way is None:
            return
        far = await self.push_screen_wait(
            Choice("How far?", [(str(i + 1), words) for i, (words, _) in enumerate(_AMOUNTS)])
        )
        if far is not None:
            self._did(Did(zone=name, do=ways[way], amount=_AMOUNTS[far][1]))

    def _valves(self) -> list[tuple[str, str]]:
        zones = [
            (zone.name if len(zone.name) == 1 else "", f"zone {zone.name}, {zone_place(zone)}")
            for zone in self._bed.zones
        ]
        return [*((key, self._look.text(words)) for key, words in zones), ("a", "the supply of all zones")]

    def action_by_hand(self, what: str) -> None:
        self._did(Did(do=Done(what)))

    @work
    async def action_keep_setting(self) -> None:
        name = await self.push_screen_wait(Line("Save this setting as:", enter="goes on"))
        if name is None:
            return
        valves = await self.push_screen_wait(Line(_VALVES, may_be_empty=True))
        if valves is not None:
            self._order(KeepSetting(name=name, valves=valves))

    @work
    async def action_remark(self) -> None:
        if not self._logs:
            self._say("There is no log to write into; start with --log FILE to have one.")
            return
        words = await self.push_screen_wait(Line("Note for the log:"))
        if words is not None:
            self._order(Noted(words=words))

    def action_why(self) -> None:
        against = self.story.standing.against
        notes = (*way_back_lines(self.story.reading, against, self._bed.valves), *self._notes)
        shown = None if self.story.reading is None else toward(self.story.reading, against)
        self.push_screen(Page("Why", why_page(shown, self._look, self._bed.valves, notes)))

    def action_manual(self) -> None:
        self.push_screen(Page("Help", help_page(self._look)))

    def action_mute(self) -> None:
        self.story.mute()
        self._again()

    def action_pause(self) -> None:
        if self.story.standing.ended is None:
            self._order(Pause(on=self.story.pause()))
            self._again()

    def action_aim(self) -> None:
        drawn = self._look.colour and self._look.unicode  # the small picture is made of coloured half blocks
        rows = max(self.size.height - 12, 4)
        self._order(ShowAim(columns=min(self.size.width - 8, 110) if drawn else 0, rows=rows if drawn else 0))

    def action_keep_clip(self) -> None:
        self._order(KeepClip())

    async def action_quit(self) -> None:
        self.exit()

    def action_leave(self) -> None:
        """Escape leaves dialogs; once too often it must not end the watch."""
        if self.story.standing.ended is None:
            self._say("Q ends it.")
        else:
            self.exit()

    def action_stop(self) -> None:
        self.stopped = True
        self.exit()

    def _did(self, did: Did) -> None:
        self.story.did(did)
        self._again()
        self._order(did)

    def _say(self, words: str) -> None:
        self._notes = (*self._notes, words)[-_MOST_NOTES:]
        self.set_timer(_NOTE_STAYS_S, lambda: self._forget(words))
        self._again()

    def _forget(self, words: str) -> None:
        notes = list(self._notes)
        if words in notes:
            notes.remove(words)
        self._notes = tuple(notes)
        self._again()

    def _ring(self, times: int) -> None:
        for turn in range(times):
            self.set_timer(0.001 + turn * _BELL_GAP_S, self.bell)

    def _again(self) -> None:
        if not self.is_running:
            return
        for picture in self.screen_stack[0].query(Picture):
            picture.again()

    def _drawn(self, columns: int, rows: int) -> Text:
        return screen(
            self.story.reading,
            self._bed,
            self._look,
            width=columns,
            height=rows,
            duration_s=self._duration_s,
            notes=self._notes,
            standing=self.story.standing,
        )


def _light() -> bool:
    """Whether the terminal says that its background is light, as some do in COLORFGBG."""
    return os.environ.get("COLORFGBG", "").rpartition(";")[2] in ("7", "15")
