"""What turning valves does not explain when a bed is not as it was saved (common practice, no source)."""

from __future__ import annotations

import math
from collections.abc import Mapping

from bedwatch.judge.apart import Apart
from bedwatch.judge.setting import Setting
from bedwatch.judge.types import ALL_ZONES

FAR = 0.15  # all zones together so far off at the saved marks want a reason
ALONE = 0.30  # one zone so far off beside the others
_MORE_SUPPLY = 0.08  # of its travel, for the same look
_LEVEL_MM = 4.0
_AS_THEN = 0.05
_DULL = "the powder's level, damp powder, a membrane blinded by oil or fines, fines gone or gathered"


def causes_of(
    setting: Setting,
    found: Apart,
    turned: Mapping[str, float],
    level_mm: tuple[float, float | None] | None,
    *,
    back: bool,
    stirred: bool,
) -> tuple[str, ...]:
    """Sentences, the likeliest first. turned: by valve, how far it was turned from its mark, more air positive."""
    told = []
    if (level := _level(setting, level_mm)) is not None:
        told.append(level)
    supply = turned.get(ALL_ZONES, 0.0)
    if supply > _MORE_SUPPLY and (back or found.livelier < _AS_THEN):
        told.append(
            f"The supply stands {100 * supply:.0f} % of its travel above its mark and gives no livelier bed than then. Look, in "
            f"this order, at {_DULL}; a supply that must go up week by week is the alarm."
        )
    elif not turned and stirred and found.livelier < -FAR:
        told.append(
            f"At the same marks all zones are duller. Before you turn the supply up look, in this order, at {_DULL}."
        )
    elif not turned and found.livelier > FAR:
        told.append(
            "At the same marks all zones are livelier: a low level does that (top up to the mark, stir, wait two minutes), or "
            "another light. Don't trim the zones to a low bed."
        )
    if not turned:
        for zone in found.zones:
            apart = (1 + zone.speed) / (1 + found.speed) - 1 if math.isfinite(zone.speed) else math.nan
            if abs(apart) > ALONE:
                way = "livelier" if apart > 0 else "duller"
                told.append(
                    f"Zone {zone.zone} alone is {100 * abs(apart):.0f} % {way} than the others have changed: look at its valve's "
                    "mark, stir there, then its line and plate."
                )
    return tuple(told)


def _level(setting: Setting, level_mm: tuple[float, float | None] | None) -> str | None:
    then = setting.around.level_mm
    if then is None or level_mm is None:
        return None
    now, error = level_mm
    lower = now - then
    error = math.hypot(error or 0.0, setting.around.level_error_mm or 0.0)
    if abs(lower) < max(_LEVEL_MM, 2 * error):
        return None
    far = f"{abs(lower):.0f} ± {error:.0f} mm"
    if lower > 0:
        return f"The powder stands {far} lower than when it was saved: top up to the mark, stir, wait, judge again."
    return f"The powder stands {far} higher than when it was saved: take some out, or expect to need more supply."


__all__ = ["causes_of"]
