"""The powder surface as seen from straight above, in colour, for people to look at."""

from __future__ import annotations

import numpy as np

from bedwatch.aim.types import Aim
from bedwatch.bed.model import Bed
from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Picture

ACROSS_PX = 560  # along the longer side: about what a camera of 720 rows sees of a bed
_QUALITY = 85
_AROUND = 255


def flat_picture(picture: Picture, aim: Aim, bed: Bed, across_px: int = ACROSS_PX) -> Picture:
    """(rows, columns, 3) BGR: bed millimetres to one scale, 12 o'clock up, white outside the wall.

    The longer side of the bed has `across_px` pixels. What lies outside the picture is white too.
    """
    mm_per_px = max(bed.width_mm, bed.length_mm) / across_px
    columns, rows = (max(2, round(side / mm_per_px)) for side in (bed.width_mm, bed.length_mm))
    x = (np.arange(columns) - (columns - 1) / 2) * mm_per_px
    y = ((rows - 1) / 2 - np.arange(rows)) * mm_per_px
    places = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    pixels = np.nan_to_num(aim.pixels(places), nan=-10.0, posinf=-10.0, neginf=-10.0)
    if bed.shape == "round":
        pixels[np.hypot(places[:, 0], places[:, 1]) > bed.width_mm / 2] = -10.0
    at = np.clip(pixels, -10.0, 3e4).astype(np.float32).reshape(rows, columns, 2)
    colour = cv2.cvtColor(picture, cv2.COLOR_GRAY2BGR) if picture.ndim == 2 else picture
    white = (_AROUND, _AROUND, _AROUND)
    seen = cv2.remap(
        colour, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=white
    )
    return np.asarray(seen, np.uint8)


def flat_jpeg(picture: Picture, aim: Aim, bed: Bed, across_px: int = ACROSS_PX) -> bytes:
    """The same as a JPEG."""
    done, data = cv2.imencode(".jpg", flat_picture(picture, aim, bed, across_px), [cv2.IMWRITE_JPEG_QUALITY, _QUALITY])
    assert done
    return data.tobytes()


__all__ = ["flat_jpeg", "flat_picture"]
