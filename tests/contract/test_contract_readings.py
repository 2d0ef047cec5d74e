"""What `watch --json` prints."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from bedwatch.frames.frame import Frame, Outcome, Picture
from bedwatch.sim import BedSource

SEVEN = [str(number) for number in range(1, 8)]


def test_every_reading_keeps_to_the_contract(watched: Any, check: Callable[..., None]) -> None:
    assert watched.status == 0
    for reading in watched.objects:
        check(reading, SEVEN)


def test_json_is_alone_on_standard_output_and_fit_for_any_pipe(watched: Any) -> None:
    assert len(watched.objects) == len(watched.out.splitlines())
    assert watched.out.isascii()
    assert watched.err == ""


def test_one_to_five_readings_a_second_of_source_time(watched: Any) -> None:
    times = np.array([reading["time_s"] for reading in watched.objects])
    assert times[0] <= 1.0
    assert (np.diff(times) > 0).all()
    assert np.diff(times).max() <= 1.0
    assert max(int(((times >= start) & (times < start + 1.0)).sum()) for start in times) <= 5


def test_it_settles_first_and_reads_within_eight_seconds(watched: Any) -> None:
    states = [reading["state"] for reading in watched.objects]
    first = states.index("reading")
    assert set(states[:first]) == {"settling"}
    assert set(states[first:]) == {"reading"}
    assert watched.objects[first]["time_s"] <= 8.0


def test_the_last_reading_is_that_of_the_last_frame(watched: Any) -> None:
    assert watched.objects[-1]["time_s"] == pytest.approx(149 / 15, abs=0.01)


def test_the_starved_and_the_over_aired_zone_of_the_demo_are_told(watched: Any) -> None:
    hints = {zone["zone"]: zone["hint"] for zone in watched.objects[-1]["zones"]}
    assert hints["3"] == "more_air"
    assert hints["6"] == "less_air"
    move = watched.objects[-1]["next"]
    assert (move["zone"], move["do"]) == ("6", "less_air")


def test_an_aim_file_with_only_the_fields_of_the_contract_is_enough(
    run: Any, clip: Path, bed: Path, aimed: Any, tmp_path: Path, watched: Any
) -> None:
    whole = tomllib.loads(aimed[1].read_text())
    least = {key: whole[key] for key in ("surface", "rim", "bed_to_picture", "mm_per_px", "problems")}
    path = tmp_path / "hand.aim.toml"
    path.write_text(_toml(least | {"problems": []}))
    ran = run("watch", clip, "--bed", bed, "--aim", path, "--json")
    assert ran.status == 0
    hints = [[zone["hint"] for zone in one.objects[-1]["zones"]] for one in (ran, watched)]
    assert hints[0] == hints[1]


@pytest.mark.parametrize(
    ("zones", "names"),
    [
        ("[zones]\ngrid = [2, 3]\n", ["1", "2", "3", "4", "5", "6"]),
        (
            '[[zones.custom]]\nname = "right"\npolygon = [[0, -100], [0, 100], [110, 100], [110, -100]]\n'
            '[[zones.custom]]\nname = "left"\npolygon = [[-110, -100], [-110, 100], [0, 100], [0, -100]]\n',
            ["right", "left"],
        ),
    ],
)
def test_rectangular_beds_and_named_zones_stand_in_their_order(
    run: Any,
    clip: Path,
    source: BedSource,
    tmp_path: Path,
    check: Callable[..., None],
    zones: str,
    names: list[str],
) -> None:
    bed, aim = tmp_path / "box.bed.toml", tmp_path / "box.aim.toml"
    bed.write_text(
        '[bed]\nshape = "rectangular"\nwidth = "22 cm"\nlength = "200 mm"\nsurface_below_rim = "0 mm"\n' + zones
    )
    h = np.array(source.truth.bed_to_picture)
    corners = np.array([[-110, 100, 1], [110, 100, 1], [110, -100, 1], [-110, -100, 1]]) @ h.T
    corners_px = {"corners_px": (corners[:, :2] / corners[:, 2:]).tolist()}
    fields = {"surface": corners_px, "rim": corners_px, "bed_to_picture": h.tolist(), "mm_per_px": 2.14, "problems": []}
    aim.write_text(_toml(fields))
    ran = run("watch", clip, "--bed", bed, "--aim", aim, "--json")
    assert ran.status == 0, ran.err
    for reading in ran.objects:
        check(reading, names)
    assert ran.objects[-1]["state"] == "reading"


def test_without_json_the_hints_are_told_in_words(run: Any, clip: Path, bed: Path, aimed: Any) -> None:
    ran = run("watch", clip, "--bed", bed, "--aim", aimed[1])
    assert ran.status == 0
    assert "zone 3 more air" in ran.out.lower().replace("_", " ")
    assert "{" not in ran.out


@pytest.mark.parametrize("level", [0, 255])
def test_a_bed_that_is_not_found_ends_with_one_no_picture_reading_and_status_1(
    run: Any, pictures: list[Picture], film: Callable[..., Path], bed: Path, check: Callable[..., None], level: int
) -> None:
    path = film(f"plain_{level}", [np.full_like(pictures[0], level)] * 75)
    ran = run("watch", path, "--bed", bed, "--json")
    assert ran.status == 1
    told = [r for r in ran.objects if "bed_not_found" in _kinds(r)]
    assert [reading["state"] for reading in told] == ["no_picture"]
    assert told[0] == ran.objects[-1]
    for reading in ran.objects:
        check(reading, SEVEN)


@pytest.mark.parametrize("level", [0, 255])
def test_black_or_white_pictures_under_an_aim_are_no_picture(
    run: Any, pictures: list[Picture], film: Callable[..., Path], bed: Path, aimed: Any, level: int
) -> None:
    path = film(f"went_{level}", [*pictures[:30], *[np.full_like(pictures[0], level)] * 45])
    ran = run("watch", path, "--bed", bed, "--aim", aimed[1], "--json")
    assert ran.status == 0
    assert ran.objects[-1]["state"] == "no_picture"


def test_a_picture_that_freezes_is_no_picture_and_not_a_still_bed(
    run: Any, pictures: list[Picture], film: Callable[..., Path], bed: Path, aimed: Any, check: Callable[..., None]
) -> None:
    ran = run("watch", film("freezes", [pictures[0]] * 150), "--bed", bed, "--aim", aimed[1], "--json")
    assert ran.status == 0
    assert ran.objects[-1]["state"] == "no_picture"
    for reading in ran.objects:
        check(reading, SEVEN)
        assert reading["state"] != "reading"


class CutShort:
    """A file that ends before it said it would."""

    live, duration_s, outcome, notes = False, 60.0, Outcome.CUT_SHORT, ()

    def __init__(self, pictures: Sequence[Picture]) -> None:
        self._pictures = pictures
        self.size_px = (pictures[0].shape[1], pictures[0].shape[0])

    def __iter__(self) -> Iterator[Frame]:
        for number, picture in enumerate(self._pictures):
            yield Frame(picture=picture, time_s=number / 15, number=number)

    def close(self) -> None:
        pass


def test_a_file_cut_short_at_a_frame_with_a_reading_has_one_reading_of_that_frame(
    run: Any, clip: Path, pictures: list[Picture], bed: Path, aimed: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    readings = run("watch", clip, "--bed", bed, "--aim", aimed[1], "--json").objects
    at = round(readings[3]["time_s"] * 15)
    monkeypatch.setattr("bedwatch.commands.watch.open_source", lambda *_: CutShort(pictures[: at + 1]))
    cut = run("watch", clip, "--bed", bed, "--aim", aimed[1], "--json").objects
    assert [reading["time_s"] for reading in cut] == [reading["time_s"] for reading in readings[:4]]
    assert "dropped_frames" in _kinds(cut[-1])


class LostCamera:
    """A live source that gives a few frames and goes away."""

    live, duration_s, outcome = True, None, Outcome.LOST
    notes = ("camera 7: lost, and did not come back within 10 s",)
    closed = False

    def __init__(self, pictures: Sequence[Picture]) -> None:
        self._pictures = pictures
        self.size_px = (pictures[0].shape[1], pictures[0].shape[0])

    def __iter__(self) -> Iterator[Frame]:
        for number, picture in enumerate(self._pictures):
            yield Frame(picture=picture, time_s=number / 15, number=number)

    def close(self) -> None:
        self.closed = True


def test_a_camera_that_is_lost_ends_with_no_picture_and_status_3(
    run: Any,
    pictures: list[Picture],
    bed: Path,
    aimed: Any,
    check: Callable[..., None],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    camera = LostCamera(pictures[:30])
    monkeypatch.setattr("bedwatch.commands.watch.open_source", lambda *_: camera)
    ran = run("watch", "7", "--bed", bed, "--aim", aimed[1], "--json")
    assert ran.status == 3
    check(ran.objects[-1], SEVEN)
    assert ran.objects[-1]["state"] == "no_picture"
    assert ran.err == f"bedwatch: {camera.notes[0]}\n"
    assert camera.closed


def _kinds(reading: dict[str, Any]) -> set[str]:
    return {problem["problem"] for problem in reading["problems"]}


def _toml(fields: dict[str, Any]) -> str:
    """Tables one level deep and arrays, which JSON and TOML write alike."""
    text = "".join(f"{key} = {json.dumps(value)}\n" for key, value in fields.items() if not isinstance(value, dict))
    for key, value in fields.items():
        if isinstance(value, dict):
            text += f"[{key}]\n" + "".join(f"{name} = {json.dumps(inner)}\n" for name, inner in value.items())
    return text
