"""Scores an instrument on a folder of clips: `python -m tests.benchmarks.unlike.score DIR --tree . [--auto-aim]`."""

from __future__ import annotations

import argparse
import json
import math
import os
import subprocess
import sys
import tempfile
from collections import Counter, defaultdict
from pathlib import Path
from typing import Any

import numpy as np

NEAR_MM = 20.0
KINDS = ("spout", "dead_spot", "rim_leak")
# what may also be said of a zone that holds a fault
WITH_FAULT = {
    "spout": {"less_air", "stir", "check_plate"},
    "channel": {"less_air", "stir", "check_plate", "more_air"},
    "dead_spot": {"stir", "check_plate"},
    "rim_leak": {"less_air", "stir", "check_plate"},
}


def run(tree: Path, python: str, *args: str) -> tuple[int, str, str]:
    env = os.environ | {"PYTHONPATH": str(tree), "OMP_NUM_THREADS": "1"}
    done = subprocess.run(
        [python, "-c", "from bedwatch.cli import main; main()", *args],
        env=env,
        capture_output=True,
        text=True,
        timeout=600,
    )
    return done.returncode, done.stdout, done.stderr


def distance(fault: dict[str, Any], x: float, y: float) -> float:
    """From a place to a true fault, mm; to the arc of a rim leak."""
    if fault["kind"] != "rim_leak":
        return math.hypot(x - fault["x_mm"], y - fault["y_mm"])
    r = math.hypot(fault["x_mm"], fault["y_mm"])
    mid, half = math.atan2(fault["x_mm"], fault["y_mm"]), math.radians(fault["arc_deg"] / 2)
    return min(math.hypot(x - r * math.sin(a), y - r * math.cos(a)) for a in np.linspace(mid - half, mid + half, 41))


def zone_of(bed: dict[str, Any], x: float, y: float) -> int:
    from .bed import Bed

    fields = {k: tuple(v) if isinstance(v, list) else v for k, v in bed.items()}
    return int(Bed(**fields).zone_of(np.array([x], np.float32), np.array([y], np.float32))[0])


def score_hints(truth: dict[str, Any], last: dict[str, Any] | None) -> tuple[Counter[str], list[str]]:
    count: Counter[str] = Counter()
    marks: list[str] = []
    said = {str(z["zone"]): z["hint"] for z in (last or {}).get("zones", [])}
    for k, z in enumerate(truth["zones"]):
        right, clear = set(z["hints"]), True
        for f in truth["faults"]:
            if zone_of(truth["bed"], f["x_mm"], f["y_mm"]) == k:
                right |= WITH_FAULT[f["note"] or f["kind"]]
                clear = False
        hint = said.get(z["zone"], "wait")
        opposite = {"more_air": "less_air", "less_air": "more_air"}
        if hint in right:
            mark = "right"
        elif hint == "wait":
            mark = "wait"
        elif clear and opposite.get(z["hints"][0]) == hint:
            mark = "wrong_way"
        else:
            mark = "wrong"
        count[mark] += 1
        if mark != "right":
            marks.append(f"{z['zone']}:r={z['r']}->{hint}")
    return count, marks


def score_faults(truth: dict[str, Any], readings: list[dict[str, Any]]) -> dict[str, Any]:
    seen: list[dict[str, Any]] = []  # clusters of what was said
    for r in readings:
        for f in r.get("faults") or []:
            if f.get("x_mm") is None:
                continue
            for c in seen:
                if c["kind"] == f["kind"] and math.hypot(c["x"] - f["x_mm"], c["y"] - f["y_mm"]) < 30:
                    break
            else:
                c = {"kind": f["kind"], "first": r["time_s"], "n": 0}
                seen.append(c)
            c["x"], c["y"], c["last"], c["n"] = f["x_mm"], f["y_mm"], r["time_s"], c["n"] + 1
            c.setdefault("places", []).append((f["x_mm"], f["y_mm"]))
    out: dict[str, Any] = {
        "tp": Counter(),
        "fn": Counter(),
        "fp": Counter(),
        "place": [],
        "delay": [],
        "linger": 0,
        "text": [],
    }
    used: set[int] = set()
    for t in truth["faults"]:
        best = None
        for i, c in enumerate(seen):
            d = min(distance(t, x, y) for x, y in c["places"][-5:])
            if c["kind"] == t["kind"] and d <= NEAR_MM and c["last"] >= t["since_s"]:
                used.add(i)
                if best is None or c["first"] < seen[best]["first"]:
                    best = i
        if best is None:
            out["fn"][t["kind"]] += 1
            out["text"].append(f"missed {t['note'] or t['kind']}({t['x_mm']:.0f},{t['y_mm']:.0f})")
            continue
        c = seen[best]
        out["tp"][t["kind"]] += 1
        out["place"].append(distance(t, c["x"], c["y"]))
        out["delay"].append(c["first"] - t["since_s"])
        if t["until_s"] is not None and c["last"] > t["until_s"] + 5:
            out["linger"] += 1
    for i, c in enumerate(seen):
        if i not in used:
            out["fp"][c["kind"]] += 1
            out["text"].append(f"false {c['kind']}({c['x']:.0f},{c['y']:.0f})@{c['first']:.0f}-{c['last']:.0f}")
    return out


def score_blocked(truth: dict[str, Any], readings: list[dict[str, Any]]) -> Counter[str]:
    count: Counter[str] = Counter()
    for a, b in truth["blocked"]:
        count["intervals"] += 1
        told = [r["time_s"] for r in readings if r["state"] == "blocked" and a - 0.4 <= r["time_s"] <= b + 0.2]
        count["told"] += bool(told) and told[0] <= a + 0.5
        count["told_late"] += bool(told) and told[0] > a + 0.5
        after = [r for r in readings if b + 0.05 < r["time_s"] <= b + 3.05]
        count["over"] += bool(after) and after[-1]["state"] != "blocked"
    for r in readings:
        if r["state"] == "blocked" and not any(a - 0.4 <= r["time_s"] <= b + 3 for a, b in truth["blocked"]):
            count["false"] += 1
    return count


def aim_error(found: dict[str, Any], aim_file: Path, bed: dict[str, Any]) -> float:
    """Largest distance at the wall between the aim found and the true one, mm in the bed."""
    import tomllib

    from .bed import Bed

    true = np.array(tomllib.loads(aim_file.read_text())["bed_to_picture"])
    fields = {k: tuple(v) if isinstance(v, list) else v for k, v in bed.items()}
    p = Bed(**fields).outline(40)
    ones = np.ones((len(p), 1))
    q = np.concatenate([p, ones], 1) @ true.T
    back = q @ np.linalg.inv(np.array(found["bed_to_picture"])).T
    return float(np.hypot(*(back[:, :2] / back[:, 2:] - p).T).max())


def main() -> None:
    p = argparse.ArgumentParser()
    p.add_argument("dir", type=Path)
    p.add_argument("--tree", type=Path, required=True)
    p.add_argument("--auto-aim", action="store_true")
    p.add_argument("--python", default=sys.executable)
    p.add_argument("--only", default="", help="score clips whose name starts so")
    p.add_argument("--keep", type=Path, help="folder for the readings of every clip")
    a = p.parse_args()
    hints: Counter[str] = Counter()
    blocked: Counter[str] = Counter()
    tally: dict[str, Counter[str]] = defaultdict(Counter)
    place: list[float] = []
    delay: list[float] = []
    aims: list[float] = []
    minutes, linger = 0.0, 0
    for truth_file in sorted(a.dir.glob("*.truth.json")):
        stem = truth_file.name.removesuffix(".truth.json")
        if not stem.startswith(a.only):
            continue
        truth = json.loads(truth_file.read_text())
        clip, bed, aim = a.dir / truth["clip"], a.dir / f"{stem}.bed.toml", a.dir / f"{stem}.aim.toml"
        extra = [] if a.auto_aim else ["--aim", str(aim)]
        note = ""
        if a.auto_aim:
            with tempfile.TemporaryDirectory() as tmp:
                rc, text, _ = run(
                    a.tree, a.python, "aim", str(clip), "--bed", str(bed), "--out", f"{tmp}/a.toml", "--json"
                )
            if rc == 0:
                told = json.loads(text.strip().splitlines()[-1])
                aims.append(aim_error(told, aim, truth["bed"]) if told.get("bed_to_picture") else math.inf)
                note = f" aim {aims[-1]:.1f} mm"
            else:
                note = f" aim exit {rc}"
                aims.append(math.inf)
        rc, text, err = run(a.tree, a.python, "watch", str(clip), "--bed", str(bed), *extra, "--json")
        readings = [json.loads(line) for line in text.splitlines() if line.startswith("{")]
        if a.keep:
            a.keep.mkdir(parents=True, exist_ok=True)
            (a.keep / f"{stem}.jsonl").write_text(text)
        if rc != 0 or not readings:
            print(f"{stem}: exit {rc}: {err.strip().splitlines()[-1:]}")
        h, marks = score_hints(truth, readings[-1] if readings else None)
        f = score_faults(truth, readings)
        b = score_blocked(truth, readings)
        hints += h
        blocked += b
        for kind in KINDS:
            for key in ("tp", "fn", "fp"):
                tally[kind][key] += f[key][kind]
        place += f["place"]
        delay += f["delay"]
        linger += f["linger"]
        minutes += truth["seconds"] / 60
        last = readings[-1] if readings else {}
        problems = sorted({q["problem"] for r in readings for q in r.get("problems") or []})
        end = f"{last.get('state')}/{(last.get('bed') or {}).get('verdict')}"
        counts = " ".join(f"{key}{sum(f[key].values())}" for key in ("tp", "fn", "fp"))
        print(
            f"{stem} [{truth['powder']}; {','.join(truth['disturbances'])}] end={end}"
            f" hints {h['right']}/{sum(h.values())} {' '.join(marks)} | faults {counts} {'; '.join(f['text'])}"
            f" | blocked {dict(+b)} | {','.join(problems)}{note}",
            flush=True,
        )
    print("\nhints at the end:", dict(hints))
    for kind in KINDS:
        t = tally[kind]
        f1 = 2 * t["tp"] / max(2 * t["tp"] + t["fp"] + t["fn"], 1)
        print(f"{kind}: found {t['tp']} missed {t['fn']} false {t['fp']}  F1 {f1:.2f}")
    false = sum(tally[k]["fp"] for k in KINDS)
    if place:
        print(
            f"place error median {np.median(place):.1f} mm, delay median {np.median(delay):.1f} s, max {max(delay):.1f} s, "
            f"lingering {linger}"
        )
    print(f"false faults {false} in {minutes:.1f} min = {false / max(minutes, 1e-9):.2f} per minute")
    print("blocked:", dict(blocked))
    if aims:
        ok = [v for v in aims if math.isfinite(v)]
        print(
            f"aim found {len(ok)} of {len(aims)}, worst point at the wall: median {np.median(ok):.1f} mm, "
            f"max {max(ok):.1f} mm"
            if ok
            else "aim found none"
        )


if __name__ == "__main__":
    main()
