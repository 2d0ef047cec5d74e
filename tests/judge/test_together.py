"""What tells air from a lamp, a camera set up anew and a bed that was not filled up: all zones' signs together."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from bedwatch.judge.apart import within
from bedwatch.judge.setting import Measured, ZoneSetting
from bedwatch.judge.together import Together, chance_alike, compared, deeper_by, together

ZONES = 7


def zone(number: int, speed: float = 90.0, restless: float = -2.0, length: float = 8.0) -> ZoneSetting:
    return ZoneSetting(
        zone=str(number),
        live=Measured(value=1.0, error=0.01, repeat=0.01),
        speed_mm_s=Measured(value=speed, error=0.3 * speed, repeat=0.015 * speed),
        restless=Measured(value=restless, error=0.1, repeat=0.1),
        length_mm=Measured(value=length, error=0.01 * length, repeat=0.01 * length),
    )


def bed(air: float = 0.0, restless: float = 0.0, scale: float = 0.0, domes: float = 0.0) -> list[ZoneSetting]:
    """All zones with so much more of it, as logarithms; restless as it is."""
    return [
        zone(
            number,
            speed=90.0 * math.exp(0.5 * air + scale + 0.25 * domes),
            restless=-2.0 + 4.0 * air + restless,
            length=8.0 * math.exp(0.45 * air + scale + 0.5 * domes),
        )
        for number in range(1, ZONES + 1)
    ]


def common(found: Together) -> tuple[float, float]:
    """Of all zones together, with its standard error."""
    return float(found.log.mean()), math.sqrt(float((found.again + found.fixed).sum())) / len(found.log)


def test_air_is_told_in_full_and_a_lamp_hardly() -> None:
    """A lamp some degrees higher moves restlessness by 0.2 to 0.3 and little else; air that does so would be 7 % more."""
    air, error = common(together(bed(air=0.07), bed()))
    assert air == pytest.approx(0.07, abs=1e-6)
    lamp, _ = common(together(bed(restless=0.28), bed()))
    assert 0.0 < lamp < 0.5 * 0.07
    assert 0.01 < error < 0.05


def test_what_all_zones_share_does_not_average_out() -> None:
    found = together(bed(), bed())
    cov = found.again + found.fixed
    one, all_ = math.sqrt(cov[0, 0]), common(found)[1]
    assert all_ > 0.6 * one
    assert all_ > 1.5 * one / math.sqrt(ZONES)


def test_a_lower_bed_with_the_same_air_is_not_called_dull() -> None:
    """15 mm of 150 mm: by Darton et al. 1977 domes are 7 % narrower (0.8 of the logarithm of 165 over 180 mm)."""
    lower = bed(domes=0.8 * math.log(165 / 180))
    told, told_error = common(together(lower, bed(), deeper_by((80.0, 1.0), (95.0, 1.0))))
    untold, untold_error = common(together(lower, bed()))
    assert abs(told) < 0.005
    assert -0.09 < untold < -0.02
    assert abs(untold) < 2 * untold_error
    assert told_error < untold_error


def test_levels_that_are_not_known_leave_the_depth_open() -> None:
    assert deeper_by(None, (95.0, 1.0)) == deeper_by((80.0, 1.0), None)
    assert deeper_by(None, None)[0] == 0.0
    value, error = deeper_by((80.0, None), (95.0, 2.0))
    assert value == pytest.approx(-0.1)
    assert 0.02 < error < 0.05


def test_the_chance_of_all_zones_is_more_than_of_each_by_chance() -> None:
    """Errors that zones share make them miss together."""
    found = together(bed(), bed())
    cov = found.again + found.fixed
    alone = within(0.0, math.sqrt(cov[0, 0])) ** ZONES
    assert chance_alike(found.log, cov) > alone + 0.01
    assert chance_alike(found.log, np.diag(np.diag(cov))) == pytest.approx(alone, abs=0.04)
    assert chance_alike(found.log + 0.2, cov) < 0.1


def test_a_zone_that_stands_still_or_shows_no_eruptions_is_left_to_what_is_seen() -> None:
    now = bed(air=0.1)
    now[0] = zone(1, speed=1.0)
    now[1] = replace(now[1], restless=Measured(), length_mm=Measured())
    found = together(now, bed())
    assert math.isnan(found.log[0])
    assert found.log[1] == pytest.approx(0.05, abs=0.01)  # powder that glides: its speed is what is seen of it
    sure = compared(now, bed())
    assert math.isnan(sure.sure)
    with pytest.raises(ValueError, match="different zones"):
        compared(now, bed()[:3])
