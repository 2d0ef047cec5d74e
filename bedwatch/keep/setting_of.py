"""A setting made of what was seen and what the operator says."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from bedwatch.bed import Bed
from bedwatch.judge.setting import BedSetting, Circumstances, Setting, ZoneSetting
from bedwatch.judge.steady import Steady


def setting_of(
    steady: Steady,
    bed: Bed,
    *,
    name: str,
    saved: datetime,
    version: str,
    source: str,
    valves: Mapping[str, str] | None = None,
    around: Circumstances | None = None,
    aim: Mapping[str, Any] | None = None,
) -> Setting:
    """valves: by the zone's name, where its valve stands, in the operator's own words. saved: with its offset.

    Raises ValueError when the steady part is not of this bed's zones.
    """
    names = [zone.name for zone in bed.zones]
    if [zone.zone for zone in steady.zones] != names or not set(valves or {}) <= set(names):
        raise ValueError(f"readings of zones {[zone.zone for zone in steady.zones]}, expected {names}")
    return Setting(
        name=name,
        saved=saved,
        version=version,
        source=source,
        seen_s=steady.seen_s,
        bed=BedSetting(
            name=bed.name,
            shape=bed.shape,
            width_mm=bed.width_mm,
            length_mm=bed.length_mm,
            live=steady.live,
            speed_mm_s=steady.speed_mm_s,
            evenness=steady.evenness,
            verdict=steady.last.bed.verdict,
        ),
        zones=tuple(
            ZoneSetting(
                zone=mean.zone,
                live=mean.live,
                speed_mm_s=mean.speed_mm_s,
                evenness=mean.evenness,
                restless=mean.restless,
                length_mm=mean.length_mm,
                hint=last.hint,
                because=last.because,
                valve=(valves or {}).get(mean.zone),
            )
            for mean, last in zip(steady.zones, steady.last.zones, strict=True)
        ),
        around=around or Circumstances(),
        faults=steady.last.faults,
        problems=steady.last.problems,
        aim=aim,
    )


__all__ = ["setting_of"]
