"""Closed loops over pictures: a hidden bed, a new clip of 12 s after every move, `watch --json --log`, `did` lines appended.

`python -m tests.benchmarks.unlike.game OUT --seed N --count N` plays beds N, N + 1, ... from the repository; clips are deleted
as soon as they are read, the logs stay in OUT. Valves, pump and plate are those of `loop_beds`, pictures and motion those of the
unlike bed, so that nothing here is shared with what gives advice.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from tests.benchmarks.loop_beds import HiddenBed, fewest_moves, hidden_bed, is_even, tenth_by_tenth

from .bed import Fault
from .clips import Setting, random_setting, render_clip

MOST_MOVES = 25
SECONDS = 12.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Game:
    """One bed from its first look to the end. even: at every look. hints: of all zones at all looks, right, wrong and `wait`."""

    seed: int
    kind: str
    powder: str
    outcome: str
    moves: int
    even: tuple[bool, ...]
    hints: tuple[int, int, int]
    fewest: int | None
    tenth: int | None


def bed_for(seed: int) -> tuple[HiddenBed, Setting]:
    """The first of some numbers whose bed of valves has as many zones as the bed in the picture."""
    setting = random_setting(1_000_003 * (seed + 1))
    for number in range(seed * 1000, seed * 1000 + 200):
        bed = hidden_bed(number)
        if bed.zones == setting.bed.zones:
            return bed, setting
    raise RuntimeError(f"no bed with {setting.bed.zones} zones among 200 of seed {seed}")


def _patch(setting: Setting, zone: int) -> Fault:
    """A blocked patch of 60 mm in the middle of a zone."""
    half = max(setting.bed.size_mm) / 2
    x, y = (axis.ravel() for axis in np.meshgrid(*(np.linspace(-half, half, 120, dtype=np.float32),) * 2))
    inside = (setting.bed.zone_of(x, y) == zone) & (setting.bed.wall_distance(x, y) > 0)
    return Fault(
        kind="dead_spot", x_mm=float(x[inside].mean()), y_mm=float(y[inside].mean()), diameter_mm=60.0, note="patch"
    )


def play(seed: int, out: Path, *, auto_aim: bool, tell: bool = True) -> Game:
    bed, setting = bed_for(seed)
    log = out / f"game-{seed}.jsonl"
    log.unlink(missing_ok=True)
    even: list[bool] = []
    counts = [0, 0, 0]
    patch = () if bed.patch is None else (_patch(setting, bed.patch),)
    while True:
        air = bed.air()
        even.append(is_even(air))
        stem = out / f"game-{seed}"
        truth = render_clip(
            stem, setting.bed, list(air), SECONDS, seed * 100 + len(even), setting=setting, faults=patch
        )
        reading = _watch(stem, truth["clip"], log, auto_aim)
        patched = bed.patch
        said = [zone["hint"] for zone in reading["zones"]]
        for k, (hint, zone) in enumerate(zip(said, truth["zones"], strict=True)):
            right = hint in zone["hints"] or (k == patched and hint in ("stir", "check_plate"))
            counts[2 if hint == "wait" else 0 if right else 1] += 1
        move = reading["next"]
        if tell:
            print(f"{seed} look {len(even)} {np.round(air, 2)} {said} {move and {k: move[k] for k in ('zone', 'do', 'amount')}} "
                  f"{reading['outcome']}{' EVEN' if even[-1] else ''}", flush=True)  # fmt: skip
        if move is None or len(even) > MOST_MOVES:
            break
        _make(bed, move, log)
    fresh = bed.seed
    return Game(
        seed=seed, kind=bed.kind, powder=setting.powder.name, outcome=reading["outcome"], moves=bed.moves,
        even=tuple(even), hints=(counts[0], counts[1], counts[2]),
        fewest=fewest_moves(hidden_bed(fresh)) if bed.kind == "even" else None,
        tenth=tenth_by_tenth(hidden_bed(fresh)) if bed.kind == "even" else None,
    )  # fmt: skip


def _watch(stem: Path, clip: str, log: Path, auto_aim: bool) -> dict[str, Any]:
    path = stem.with_name(clip)
    aim = [] if auto_aim else ["--aim", f"{stem}.aim.toml"]
    command = [
        sys.executable,
        "-m",
        "bedwatch",
        "watch",
        str(path),
        "--bed",
        f"{stem}.bed.toml",
        *aim,
        "--log",
        str(log),
    ]
    ran = subprocess.run([*command, "--json"], capture_output=True, text=True, check=True)
    path.unlink()
    last: dict[str, Any] = json.loads(ran.stdout.splitlines()[-1])
    return last


def _make(bed: HiddenBed, move: dict[str, Any], log: Path) -> None:
    did = {"do": {"stir": "stirred", "check_plate": "checked_plate"}.get(move["do"], move["do"]), "zone": move["zone"]}
    if move["amount"] is not None:
        did["amount"] = move["amount"]
        valve = -1 if move["zone"] == "all" else int(move["zone"]) - 1
        bed.turn(valve, move["amount"] if move["do"] == "more_air" else -move["amount"])
    with log.open("a") as file:
        file.write(json.dumps({"did": did}) + "\n")


def tell(games: list[Game]) -> None:
    able = [game for game in games if game.kind == "even"]
    reached = [game for game in able if game.even[-1]]
    said = [game for game in games if game.outcome == "even"]
    wrong = [game.seed for game in said if not game.even[-1]]
    prompt = [game for game in reached if len(game.even) - 1 - game.even.index(True) <= 1]
    hopeless = [game for game in games if game.kind != "even"]
    named = [game for game in hopeless if game.outcome in ("supply_too_small", "not_valves")]
    hints = np.sum([game.hints for game in games], axis=0)
    print(f"even at the end {len(reached)} of {len(able)}; uneven called even {len(wrong)} of {len(said)} {wrong}; "
          f"stopped within one look {len(prompt)} of {len(reached)}; hopeless named {len(named)} of {len(hopeless)}")  # fmt: skip
    print(f"hints right {hints[0]}, wrong {hints[1]}, wait {hints[2]}")
    for game in games:
        looks = "".join("E" if one else "." for one in game.even)
        print(f"  {game.seed} {game.powder}: {looks} {game.outcome}, {game.moves} valve moves; knows the network "
              f"{game.fewest}, by tenths {game.tenth}; hints {game.hints}")  # fmt: skip


def main() -> None:
    p = argparse.ArgumentParser(description="Play closed loops over pictures.")
    p.add_argument("out", type=Path)
    p.add_argument("--seed", type=int, default=0)
    p.add_argument("--count", type=int, default=5)
    p.add_argument("--auto-aim", action="store_true")
    a = p.parse_args()
    a.out.mkdir(parents=True, exist_ok=True)
    tell([play(seed, a.out, auto_aim=a.auto_aim) for seed in range(a.seed, a.seed + a.count)])


if __name__ == "__main__":
    main()
