"""The live screen driven by keys, as text: what stands on it in each state, and what each key asks for."""

from __future__ import annotations

import asyncio
import os
from collections.abc import Awaitable, Callable
from dataclasses import replace
from itertools import product
from pathlib import Path
from typing import Any

import pytest
from rich.text import Text
from textual.pilot import Pilot

from bedwatch.aim.types import Problem, ProblemKind
from bedwatch.bed import Bed
from bedwatch.judge.apart import Apart, How, ZoneApart
from bedwatch.judge.types import Did, Done, HintWord, Move, Outcome, Reading, State
from bedwatch.judge.way_back import Against, Step
from bedwatch.show.live_screen.app import LiveScreen
from bedwatch.show.live_screen.orders import KeepAim, KeepClip, KeepSetting, LookAgain, Noted, Order, Pause, ShowAim
from bedwatch.show.look import Look
from bedwatch.show.parts import CAUTIONS
from bedwatch.show.standing import Camera, Saved

Make = Callable[..., Any]
Play = Callable[[LiveScreen, Pilot[None], list[Order]], Awaitable[None]]

SNAPSHOTS = Path(__file__).parent / "snapshots"


def rows_of(app: LiveScreen) -> list[str]:
    """What stands on the terminal, without its styles."""
    strips = app.screen._compositor.render_strips()
    return ["".join(segment.text for segment in strip).rstrip() for strip in strips]


def text_of(app: LiveScreen) -> str:
    return " ".join(" ".join(rows_of(app)).split())


def play(bed: Bed, script: Play, *, size: tuple[int, int] = (80, 24), look: Look | None = None, **given: Any) -> None:
    """A screen without a terminal, and what is done at it."""
    orders: list[Order] = []
    app = LiveScreen(bed, look or Look(), orders.append, light=False, **given)

    async def run() -> None:
        async with app.run_test(size=size) as pilot:
            await script(app, pilot, orders)

    asyncio.run(run())


def fed(*readings: Reading) -> Play:
    async def script(app: LiveScreen, pilot: Pilot[None], _: list[Order]) -> None:
        for reading in readings:
            app.give(reading)
            await pilot.pause()

    return script


@pytest.fixture
def moving(round_bed: Make, make_reading: Make) -> Callable[..., Reading]:
    """A reading with a move to make, its zone and time to choose."""

    def make(zone: str = "6", time_s: float = 12.4, **changes: Any) -> Reading:
        move = Move(zone=zone, do=HintWord.LESS_AIR, amount=0.25, because="It is the richest.")
        return make_reading(round_bed(), next=move, time_s=time_s, **changes)

    return make


@pytest.mark.parametrize(
    ("name", "size", "look"),
    [
        ("80x24", (80, 24), Look()),
        ("120x40", (120, 40), Look()),
        ("80x24-no-colour", (80, 24), Look(colour=False)),
        ("60x18", (60, 18), Look()),
    ],
)
def test_the_picture_is_as_it_was_looked_at(
    round_bed: Make, moving: Make, name: str, size: tuple[int, int], look: Look
) -> None:
    """Looked at by eye when it was made; BEDWATCH_NEW_SNAPSHOTS=1 makes it anew."""

    async def script(app: LiveScreen, pilot: Pilot[None], _: list[Order]) -> None:
        app.give(moving(time_s=9.0))
        await pilot.pause()
        app.camera(Camera(per_s=29.9, dropped=0.0))
        await pilot.press("s")
        reading = moving(time_s=33.0)
        zones = (replace(reading.zones[0], speed_mm_s=41.0), replace(reading.zones[1], live=0.84), *reading.zones[2:])
        app.give(replace(reading, zones=zones))
        await pilot.pause()
        drawn = "\n".join(rows_of(app)) + "\n"
        path = SNAPSHOTS / f"{name}.txt"
        if os.environ.get("BEDWATCH_NEW_SNAPSHOTS"):
            path.write_text(drawn, encoding="utf-8")
        assert drawn == path.read_text(encoding="utf-8")

    play(round_bed(), script, size=size, look=look, saved=Saved(name="Tuesday", evenness=0.94))


def test_the_large_key_writes_down_what_was_told_and_says_so_at_once(round_bed: Make, moving: Make) -> None:
    async def script(app: LiveScreen, pilot: Pilot[None], orders: list[Order]) -> None:
        await pilot.press("space")
        assert orders == []
        assert "Nothing is told now" in text_of(app)
        app.give(moving())
        await pilot.pause()
        assert "done as told: zone 6 less air, about a quarter of its travel" in text_of(app)
        await pilot.press("space")
        assert orders == [Did(zone="6", do=Done.LESS_AIR, amount=0.25)]
        assert "Noted: zone 6 less air, about a quarter of its travel." in text_of(app)
        await pilot.press("space")
        assert len(orders) == 1
        app.give(moving(zone="3", time_s=40.0))
        await pilot.pause()
        await pilot.press("enter")
        assert orders[1] == Did(zone="3", do=Done.LESS_AIR, amount=0.25)
        app.give(moving(zone="2", time_s=80.0))
        await pilot.pause()
        await pilot.press("pagedown")
        assert orders[2] == Did(zone="2", do=Done.LESS_AIR, amount=0.25)

    play(round_bed(), script)


def test_a_move_made_before_the_key_is_pressed_is_still_known_while_the_bed_settles(
    round_bed: Make, moving: Make, know_nothing: Make
) -> None:
    async def script(app: LiveScreen, pilot: Pilot[None], orders: list[Order]) -> None:
        app.give(moving())
        await pilot.pause()
        app.give(know_nothing(round_bed(), state=State.SETTLING, time_s=20.0))
        await pilot.pause()
        assert "done as told: zone 6 less air" in text_of(app)
        await pilot.press("space")
        assert orders == [Did(zone="6", do=Done.LESS_AIR, amount=0.25)]

    play(round_bed(), script)


def test_when_another_move_is_told_after_the_air_changed_it_asks_which(
    round_bed: Make, moving: Make, know_nothing: Make
) -> None:
    async def script(app: LiveScreen, pilot: Pilot[None], orders: list[Order]) -> None:
        app.give(moving("6"))
        await pilot.pause()
        app.give(know_nothing(round_bed(), state=State.SETTLING, time_s=20.0))
        await pilot.pause()
        app.give(moving("3", time_s=30.0))
        await pilot.pause()
        await pilot.press("space")
        await pilot.pause()
        assert "Which one did you make?" in text_of(app)
        assert orders == []
        await pilot.press("space")
        await pilot.pause()
        assert orders == [Did(zone="6", do=Done.LESS_AIR, amount=0.25)]
        assert app.story.told_moves() == ()

    play(round_bed(), script)


def test_stirring_told_is_stirring_done(round_bed: Make, make_reading: Make) -> None:
    async def script(app: LiveScreen, pilot: Pilot[None], orders: list[Order]) -> None:
        for zone, do in (("all", HintWord.STIR), ("3", HintWord.CHECK_PLATE)):
            app.give(make_reading(round_bed(), next=Move(zone=zone, do=do, amount=None, because="")))
            await pilot.pause()
            await pilot.press("space")
        assert orders == [Did(do=Done.STIRRED, zone="all"), Did(do=Done.CHECKED_PLATE, zone="3")]

    play(round_bed(), script)


@pytest.mark.parametrize(
    ("keys", "order"),
    [
        ("s", Did(do=Done.STIRRED)),
        ("t", Did(do=Done.TOPPED_UP)),
        ("c", Did(do=Done.CHECKED_PLATE)),
        ("k", KeepClip()),
        ("p", Pause(on=True)),
        ("m 4 2 3", Did(zone="4", do=Done.LESS_AIR, amount=0.5)),
        ("m down down space space down enter", Did(zone="3", do=Done.MORE_AIR, amount=0.25)),
        ("m a 1 6", Did(zone="all", do=Done.MORE_AIR, amount=None)),
        ("n d a m p enter", Noted(words="damp")),
        ("v T u e s enter enter", KeepSetting(name="Tues", valves="")),
        ("v T u e s enter 6 : h a l f enter", KeepSetting(name="Tues", valves="6:half")),
    ],
)
def test_every_key_asks_for_what_it_says(round_bed: Make, moving: Make, keys: str, order: Order) -> None:
    async def script(app: LiveScreen, pilot: Pilot[None], orders: list[Order]) -> None:
        app.give(moving())
        await pilot.pause()
        for key in keys.split():
            await pilot.press(key)
            await pilot.pause()
        assert orders == [order]

    play(round_bed(), script)


def test_what_is_left_by_escape_asks_for_nothing(round_bed: Make, moving: Make) -> None:
    async def script(app: LiveScreen, pilot: Pilot[None], orders: list[Order]) -> None:
        app.give(moving())
        for keys in (
            ["m", "escape"],
            ["m", "4", "escape"],
            ["n", "x", "escape"],
            ["v", "enter"],
            ["v", "x", "enter", "escape"],
            ["h", "escape"],
        ):
            for key in keys:
                await pilot.press(key)
                await pilot.pause()
            assert len(app.screen_stack) == 1
        assert orders == []

    play(round_bed(), script)


def test_escape_once_too_often_does_not_end_the_watch(round_bed: Make, moving: Make) -> None:
    async def script(app: LiveScreen, pilot: Pilot[None], _: list[Order]) -> None:
        app.give(moving())
        for key in ("h", "escape", "escape", "escape"):
            await pilot.press(key)
            await pilot.pause()
        assert app.is_running
        assert "Q ends it." in text_of(app)
        app.end("The clip has ended.")
        await pilot.press("escape")
        await pilot.pause()
        assert not app.is_running

    play(round_bed(), script)


def test_without_a_log_a_note_is_not_asked_for(round_bed: Make, moving: Make) -> None:
    async def script(app: LiveScreen, pilot: Pilot[None], orders: list[Order]) -> None:
        app.give(moving())
        await pilot.press("n")
        await pilot.pause()
        assert len(app.screen_stack) == 1
        assert "There is no log to write into" in text_of(app)
        assert orders == []

    play(round_bed(), script, logs=False)


def test_what_did_not_fit_is_told_by_x(round_bed: Make, moving: Make) -> None:
    async def script(app: LiveScreen, pilot: Pilot[None], _: list[Order]) -> None:
        app.give(moving())
        for number in range(3):
            app.note(f"Word number {number}.")
        await pilot.pause()
        assert "Word number 2." in text_of(app)
        assert "X tells them" in text_of(app)
        await pilot.press("x")
        await pilot.press(*["pagedown"] * 5)
        await pilot.pause()
        assert "Word number 0." in text_of(app)

    play(round_bed(), script)


def test_help_begins_with_all_cautions_and_names_every_key(round_bed: Make) -> None:
    async def script(app: LiveScreen, pilot: Pilot[None], _: list[Order]) -> None:
        await pilot.press("h")
        await pilot.pause()
        framed = [row.split("│")[1] for row in rows_of(app) if row.count("│") == 2]
        words = " ".join(" ".join(framed).split())
        for caution in CAUTIONS:
            assert caution in words
        for key in ("SPACE", "M", "S", "T", "V", "X", "P", "A", "O", "K", "N", "C", "H", "Q"):
            assert f" {key} " in words

    play(round_bed(), script, size=(160, 60))


def test_why_tells_every_reason_and_what_ails_the_picture(round_bed: Make, moving: Make) -> None:
    async def script(app: LiveScreen, pilot: Pilot[None], _: list[Order]) -> None:
        app.give(moving())
        await pilot.press("x")
        await pilot.pause()
        words = text_of(app)
        for number in range(7):
            assert f"Evidence of zone number {number}." in words
        assert "spout" in words.lower()
        assert "Edges are 4.1 px wide" in words

    play(round_bed(), script, size=(120, 50))


def test_readings_go_on_below_an_open_page(round_bed: Make, moving: Make) -> None:
    async def script(app: LiveScreen, pilot: Pilot[None], _: list[Order]) -> None:
        app.give(moving())
        await pilot.press("m")
        app.give(moving(zone="2", time_s=77.0))
        await pilot.pause()
        await pilot.press("escape")
        await pilot.pause()
        assert "zone 2 less air" in text_of(app)
        assert "77.0 s" in text_of(app)

    play(round_bed(), script)


def test_sounds_once_for_a_move_three_times_for_the_bed_and_none_when_muted(
    round_bed: Make, moving: Make, know_nothing: Make, monkeypatch: pytest.MonkeyPatch
) -> None:
    bells: list[int] = []
    monkeypatch.setattr(LiveScreen, "_ring", lambda _, times: bells.append(times))
    nothing = know_nothing(round_bed(), state=State.BLOCKED, time_s=20.0)

    async def script(app: LiveScreen, pilot: Pilot[None], _: list[Order]) -> None:
        calm = moving(faults=())
        for reading in (calm, replace(calm, time_s=13.2), nothing, replace(nothing, time_s=20.8)):
            app.give(reading)
            await pilot.pause()
        assert bells == [1, 3]
        await pilot.press("o")
        assert "sound on" in text_of(app)
        app.give(moving("2", time_s=90.0, faults=()))
        await pilot.pause()
        assert bells == [1, 3]
        await pilot.press("o")
        app.give(moving("4", time_s=120.0, faults=()))
        await pilot.pause()
        assert bells == [1, 3, 1]

    play(round_bed(), script, size=(120, 40))


def test_where_the_bed_was_found_is_shown_and_can_be_kept_or_looked_for_anew(round_bed: Make, moving: Make) -> None:
    async def script(app: LiveScreen, pilot: Pilot[None], orders: list[Order]) -> None:
        app.give(moving())
        for key, answer in (("space", KeepAim()), ("l", LookAgain()), ("escape", None)):
            orders.clear()
            await pilot.press("a")
            asked = orders.pop()
            assert isinstance(asked, ShowAim)
            assert asked.columns <= 92
            app.show_aim(Text("0.71 mm per pixel"), True)
            await pilot.pause()
            await pilot.pause()
            assert "0.71 mm per pixel" in text_of(app)
            await pilot.press(key)
            await pilot.pause()
            assert orders == ([] if answer is None else [answer])
        app.show_aim(Text("no rim"), False)
        await pilot.pause()
        await pilot.pause()
        assert "keeps it" not in text_of(app)
        await pilot.press("space")
        await pilot.pause()
        assert orders == []

    play(round_bed(), script, size=(100, 30))


def test_a_paused_screen_says_so_and_goes_on(round_bed: Make, moving: Make) -> None:
    async def script(app: LiveScreen, pilot: Pilot[None], orders: list[Order]) -> None:
        app.give(moving())
        await pilot.press("p")
        assert "Paused: nothing is read or noted." in text_of(app)
        assert "paused" in rows_of(app)[0]
        assert "while your hands are at the bed" in text_of(app)
        await pilot.press("p")
        assert "Paused" not in text_of(app)
        assert orders == [Pause(on=True), Pause(on=False)]

    play(round_bed(), script)


def test_at_the_end_it_stays_and_a_told_move_can_still_be_written_down(round_bed: Make, moving: Make) -> None:
    async def script(app: LiveScreen, pilot: Pilot[None], orders: list[Order]) -> None:
        app.give(moving())
        app.end("The clip has ended.")
        await pilot.pause()
        assert app.is_running
        await pilot.press("space")
        assert len(orders) == 1
        await pilot.pause()
        assert "The clip has ended. Q closes the screen." in text_of(app)
        await pilot.press("q")
        await pilot.pause()
        assert not app.is_running
        assert not app.stopped

    play(round_bed(), script)


def test_an_end_without_a_reason_closes_it(round_bed: Make) -> None:
    async def script(app: LiveScreen, pilot: Pilot[None], _: list[Order]) -> None:
        app.end(None)
        await pilot.pause()
        assert not app.is_running

    play(round_bed(), script)


def test_ctrl_c_leaves_from_anywhere_and_is_told_from_q(round_bed: Make) -> None:
    async def script(app: LiveScreen, pilot: Pilot[None], _: list[Order]) -> None:
        await pilot.press("m")
        await pilot.pause()
        await pilot.press("ctrl+c")
        await pilot.pause()
        assert app.stopped
        assert not app.is_running

    play(round_bed(), script)


@pytest.mark.parametrize("size", [(20, 6), (60, 18), (80, 24), (120, 40), (200, 60)])
def test_a_new_size_is_filled_and_the_move_stays(round_bed: Make, moving: Make, size: tuple[int, int]) -> None:
    async def script(app: LiveScreen, pilot: Pilot[None], _: list[Order]) -> None:
        app.give(moving())
        await pilot.pause()
        await pilot.resize_terminal(*size)
        await pilot.pause()
        rows = rows_of(app)
        assert len(rows) <= size[1]
        assert max(len(row) for row in rows) <= size[0]
        assert "12.4 s" in rows[0]

    play(round_bed(), script, size=(100, 30))


def test_only_the_newest_of_many_readings_is_drawn(round_bed: Make, moving: Make) -> None:
    async def script(app: LiveScreen, pilot: Pilot[None], _: list[Order]) -> None:
        drawn = []
        whole = app._drawn
        app._drawn = lambda columns, rows: drawn.append(1) or whole(columns, rows)  # type: ignore[func-returns-value, method-assign]
        app.screen_stack[0].query("Picture").first()._draw = app._drawn  # type: ignore[attr-defined]
        for number in range(200):
            app.give(moving(time_s=float(number)))
        await pilot.pause()
        assert "199.0 s" in text_of(app)
        assert len(drawn) < 100

    play(round_bed(), script)


def test_rows_that_stay_the_same_are_not_sent_again(round_bed: Make, moving: Make) -> None:
    async def script(app: LiveScreen, pilot: Pilot[None], _: list[Order]) -> None:
        app.give(moving())
        await pilot.pause()
        picture: Any = app.screen_stack[0].query("Picture").first()
        sent: list[int] = []
        picture.refresh = lambda *regions, **_: sent.extend(region.y for region in regions)
        app.give(moving(time_s=13.2))
        await pilot.pause()
        assert sent == [0]

    play(round_bed(), script)


def test_no_bed_and_nothing_known_draw_too(round_bed: Make, know_nothing: Make) -> None:
    problem = Problem(kind=ProblemKind.BED_NOT_FOUND, advice="The bed was not found: no rim. Light the rim.")
    bed: Bed = round_bed()

    async def script(app: LiveScreen, pilot: Pilot[None], _: list[Order]) -> None:
        for number, (state, outcome) in enumerate(product(State, (Outcome.LOOKING, Outcome.EVEN))):
            app.give(know_nothing(bed, state=state, outcome=outcome, problems=(problem,), time_s=10.0 + number))
            await pilot.pause()
            assert "can't tell" in text_of(app)
            assert "The bed was not found" in text_of(app)

    play(bed, script)


def _against(step: Step, move: Move | None = None, speed: float = 0.3) -> Against:
    zones = tuple(
        ZoneApart(
            zone=str(number),
            how=How.LIVELIER if speed > 0.1 and number == 6 else How.ALIKE,
            speed=speed if number == 6 else 0.02,
            speed_error=0.05,
            live=0.0,
            live_error=0.02,
            evenness=0.0,
            evenness_error=0.02,
            livelier=speed if number == 6 else 0.02,
            livelier_error=0.05,
            sure=0.9,
        )
        for number in range(1, 8)
    )
    apart = Apart(zones=zones, speed=0.05, speed_error=0.04, livelier=0.05, livelier_error=0.04, sure=0.9)
    return Against(setting="Tuesday", step=step, apart=apart, next=move, causes=("The level is lower: top up first.",))


def test_on_the_way_back_its_own_move_is_told_and_each_zone_stands_against_the_setting(
    round_bed: Make, moving: Make
) -> None:
    back = Move(zone="4", do=HintWord.MORE_AIR, amount=0.1, because="It stood wider then.")

    async def script(app: LiveScreen, pilot: Pilot[None], orders: list[Order]) -> None:
        app.give(moving("6"), _against(Step.TRIM, back))
        await pilot.pause()
        words = text_of(app)
        assert "Open zone 4's valve by about a tenth of its travel" in words
        assert "to saved" in words
        assert "+30 %" in words
        assert words.count("as saved") == 6
        assert "against Tuesday: trim" in words
        assert "The level is lower: top up first." in words
        await pilot.press("space")
        assert orders == [Did(zone="4", do=Done.MORE_AIR, amount=0.1)]
        app.give(moving("6", time_s=60.0), _against(Step.BACK, speed=0.02))
        await pilot.pause()
        words = text_of(app)
        assert "The bed is as it was saved. Leave the valves as they are." in words
        assert "90 % sure" in words
        await pilot.press("space")
        assert len(orders) == 1

    play(round_bed(), script, size=(130, 44), saved=Saved(name="Tuesday", evenness=0.94))


def test_where_nothing_can_be_reported_no_key_reports(round_bed: Make, moving: Make) -> None:
    async def script(app: LiveScreen, pilot: Pilot[None], orders: list[Order]) -> None:
        app.give(moving())
        await pilot.pause()
        await pilot.press("space", "m", "s", "t", "c", "v", "n", "k", "a")
        await pilot.pause()
        assert len(app.screen_stack) == 1
        assert orders == []
        app.made(Did(zone="6", do=Done.LESS_AIR, amount=0.25))
        await pilot.pause()
        assert "Noted: zone 6 less air" in text_of(app)
        await pilot.press("p")
        assert orders == [Pause(on=True)]
        await pilot.press("x")
        await pilot.pause()
        assert "Evidence of zone number 3." in text_of(app)

    play(round_bed(), script, size=(120, 50), reports=False)
