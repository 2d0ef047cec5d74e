"""`bedwatch valves`: each valve moved a little, and what every zone answers; its labels then go into the bed file."""

from __future__ import annotations

import contextlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from bedwatch.air import touching_zones
from bedwatch.bed import Bed, read_bed
from bedwatch.bed.valves import LONGEST_LABEL
from bedwatch.commands.valve_keep import finish
from bedwatch.commands.valve_looks import CameraLooks, look_at_clip
from bedwatch.commands.valve_steps import HELP, by_hand, guided, share_of, typed_line
from bedwatch.errors import UserError
from bedwatch.frames.open import live_name
from bedwatch.judge.line_test import LineTest
from bedwatch.show.valve_text import answer_words, ask_words


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What was typed. labels: what is written on the valves, None for what the bed file or the zones' names say. turned: one per
    clip but the first. save: True to write the bed file, False to ask at a terminal."""

    labels: str | None
    turned: Sequence[str]
    save: bool
    rate: float | None


def run_valves(sources: Sequence[str], bed_file: Path, aim_file: Path | None, wanted: Wanted) -> int:
    """Exit status 0. Raises UserError for a mistake of the user's."""
    bed = read_bed(bed_file)
    if not bed.with_valve and wanted.labels is None:
        print(_NO_VALVES)
        return 0
    labels = valve_labels(wanted.labels, bed)
    test = new_test(bed, labels)
    if len(sources) == 1 and live_name(sources[0]) is not None:
        if wanted.turned:
            raise UserError(f"--turned: found it with {live_name(sources[0])}, expected it with clips only")
        with contextlib.closing(CameraLooks(sources[0], bed, aim_file)) as camera:
            print(HELP)
            guided(test, _names(bed), camera.look, by_hand, typed_line)
    else:
        turns = _turns(wanted.turned, labels, len(sources))
        for source, turn in zip(sources, [None, *turns], strict=True):
            if turn is not None:
                test.turned(*turn)
            test.seen(look_at_clip(source, bed, aim_file, wanted.rate))
            print(f"{Path(source).name}: {answer_words(None if turn is None else test.owner(turn[0]), _names(bed))}")
        _tell_next(test)
    finish(test, bed, bed_file, save=wanted.save)
    return 0


_NO_VALVES = """\
The bed file says that no zone has a valve of its own: there is nothing to find out.
bedwatch watch then moves the supply only, and tells what holds a zone back that differs from the others: powder to stir, holes,
glue, a leak. Zones are made alike by throttling their lines or plugging holes; a valve per zone is worth fitting."""


def new_test(bed: Bed, labels: dict[str, str | None]) -> LineTest:
    """labels: every valve's, with the zone its mark says it feeds, if it says so."""
    names = _names(bed)
    marked = {label: names.index(zone) for label, zone in labels.items() if zone is not None}
    touching = {(min(one, other), max(one, other)) for one, other, _ in touching_zones(bed)}
    return LineTest(list(labels), len(names), marked, touching)


def valve_labels(typed: str | None, bed: Bed) -> dict[str, str | None]:
    """The valves' labels, each with the zone it is marked for; None where the label tells nothing.

    Typed ones are parted by commas. Otherwise those of the bed file count, and of the other zones the name. Raises UserError.
    """
    if typed is None:
        kept = {zone: bed.valves.label(zone) or zone for zone in _names(bed) if zone in bed.with_valve}
        return {label: zone for zone, label in kept.items()}
    labels = [" ".join(part.split()) for part in typed.split(",")]
    for label in labels:
        if not 0 < len(label) <= LONGEST_LABEL or not label.isprintable():
            raise UserError(
                f'--labels: found "{label[:60]}", expected what is written on each valve, 1 to {LONGEST_LABEL} printable '
                'letters, with commas between, such as "A, B, C"'
            )
        if labels.count(label) > 1:
            raise UserError(f'--labels: found "{label}" twice, expected a label of its own for every valve')
    of_zone = {bed.valves.label(zone) or zone: zone for zone in _names(bed)}
    return {label: of_zone.get(label) for label in labels}


def _turns(typed: Sequence[str], labels: dict[str, str | None], sources: int) -> list[tuple[str, float]]:
    if len(typed) != sources - 1:
        raise UserError(
            f"--turned: found {len(typed)} with {sources} clips, expected one for every clip but the first: what was turned "
            "before it was taken"
        )
    return [_turn(one, labels) for one in typed]


def _turn(typed: str, labels: dict[str, str | None]) -> tuple[str, float]:
    """ "A: 0.25" -> the valve and how far, less than 0 to close."""
    label, colon, far = typed.rpartition(":")
    label = " ".join(label.split())
    by = share_of(far)
    if not colon or label not in labels or by is None:
        raise UserError(
            f'--turned: found "{typed[:60]}", expected a valve ({", ".join(labels)}), a colon and the share of its travel it was '
            'opened by, less than 0 when closed, such as "A: -0.25"'
        )
    return label, by


def _tell_next(test: LineTest) -> None:
    """What to film next, after clips."""
    if test.too_still:
        print("Most zones lay still in the first look: raise the supply until they simmer, and begin anew.")
    elif (ask := test.ask()) is not None:
        sign = f'--turned "{ask.valve}: {ask.by:g}"'
        print(f"Next: {ask_words(ask)} Wait a minute, film 12 s, and add the clip and {sign}.")


def _names(bed: Bed) -> list[str]:
    return [zone.name for zone in bed.zones]
