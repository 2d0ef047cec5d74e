"""A setting saved from the screen, of what was seen in the last minutes, and the one to compare with."""

from __future__ import annotations

from collections import deque
from datetime import datetime
from pathlib import Path

from bedwatch import __version__
from bedwatch.aim.aimfile import aim_json
from bedwatch.aim.flat import flat_jpeg
from bedwatch.bed import Bed
from bedwatch.commands.settings import valve_marks
from bedwatch.errors import UserError
from bedwatch.frames.frame import Picture
from bedwatch.judge.setting import Circumstances, Setting
from bedwatch.judge.steady import MOST_S, mean_of
from bedwatch.judge.types import Reading
from bedwatch.keep.names import checked_name
from bedwatch.keep.setting_of import setting_of
from bedwatch.keep.settings import list_settings, save_setting
from bedwatch.show.live_screen.orders import KeepSetting
from bedwatch.show.standing import Saved
from bedwatch.watch import Watch


class Minutes:
    """The readings of the last minutes, of which a setting is the mean."""

    def __init__(self) -> None:
        self._readings: deque[Reading] = deque()

    def hear(self, reading: Reading) -> None:
        """The next reading."""
        self._readings.append(reading)
        while reading.time_s - self._readings[0].time_s > MOST_S:
            self._readings.popleft()

    def forget(self) -> None:
        """Something was done: what was seen before is no part of the setting."""
        self._readings.clear()

    def setting(self, order: KeepSetting, watch: Watch, picture: Picture | None, source: str) -> Setting:
        """Raises UserError when there is no honest reading yet, or the name or the marks are not fit."""
        name = checked_name(order.name, "name")
        marks = valve_marks([mark for mark in order.valves.split(",") if mark.strip()], watch.bed, "valves")
        steady = mean_of(tuple(self._readings))
        if steady is None or picture is None or watch.aim is None:
            raise UserError("there is no reading to keep yet; wait until the bed has settled, a minute is best")
        level = watch.aim.level_mm
        around = Circumstances() if level is None else Circumstances(level_mm=level[0], level_error_mm=level[1])
        return setting_of(
            steady,
            watch.bed,
            name=name,
            saved=datetime.now().astimezone(),
            version=__version__,
            source=source,
            valves=marks,
            around=around,
            aim=aim_json(watch.aim),
        )


def save_here(setting: Setting, watch: Watch, picture: Picture | None, folder: Path) -> Path:
    """Writes it, with the surface laid flat; where."""
    flat = None if picture is None or watch.aim is None else flat_jpeg(picture, watch.aim, watch.bed)
    return save_setting(setting, folder, flat)


def saved_of(setting: Setting) -> Saved:
    """What the screen shows of a setting."""
    return Saved(name=setting.name, evenness=setting.bed.evenness.value)


def newest(folder: Path, bed: Bed) -> Saved | None:
    """The newest whole setting of this bed in the folder."""
    found = [kept.setting for kept in list_settings(folder) if kept.setting is not None]
    mine = [setting for setting in found if setting.bed.name == bed.name]
    return saved_of(max(mine, key=lambda setting: setting.saved)) if mine else None
