"""`bedwatch practise --valves`: which valve is which on a make-believe bed whose lines may be mixed up."""

from __future__ import annotations

from bedwatch.commands.valve_keep import finish
from bedwatch.commands.valve_looks import Seens
from bedwatch.commands.valve_steps import HELP, guided, typed_line
from bedwatch.commands.valves import new_test, valve_labels
from bedwatch.errors import UserError
from bedwatch.judge.belief import Seen
from bedwatch.sim.demo import demo_bed
from bedwatch.sim.mixed_lines import MixedLines


def run_practise_valves(seed: int) -> int:
    """Until all is known, the input ends, or it is given up; then what was found, and the truth. Exit status 0."""
    if seed < 0:
        raise UserError(f"--seed: found {seed}, expected 0, 1, 2 or more")
    bed = demo_bed()
    lines = MixedLines(bed, seed)
    test = new_test(bed, valve_labels(None, bed))

    def look() -> Seens:
        return tuple(
            Seen(known=True, live=one.live, speed_mm_s=one.speed_mm_s, restless=one.restless) for one in lines.look()
        )

    print(HELP)
    guided(
        test,
        [zone.name for zone in bed.zones],
        look,
        lambda valve, by: lines.turn(test.valves.index(valve), by),
        typed_line,
    )
    finish(test, bed, None, save=False)
    feeds = [
        f"{valve}: {'off' if zone is None else bed.zones[zone].name}{' the other way' if way < 0 else ''}"
        for valve, zone, way in zip(test.valves, lines.feeds, lines.ways, strict=True)
    ]
    print(f"In truth the valves feed these zones: {', '.join(feeds)}.")
    return 0
