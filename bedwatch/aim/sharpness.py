"""How blurred a picture is, from its own strongest edges."""

from __future__ import annotations

import numpy as np

from bedwatch.frames.cv import cv2
from bedwatch.frames.frame import Picture

FINE_PX, COARSE_PX = 1.0, 3.0
MOST_PX = 230_000  # of a larger picture the middle is looked at


def blur_px(picture: Picture) -> float:
    """Standard deviation in pixels of the blur on the picture's clearest edges; NaN when no edge is clear enough.

    An edge of blur s, blurred further by 1 and by 3 px, has steepest slopes in the ratio
    sqrt((s^2 + 9) / (s^2 + 1)) (after Zhuo & Sim 2011, defocus from the gradient ratio of a re-blurred edge). Lines and
    grain read too sharp, never too blurred.
    """
    h, w = picture.shape[:2]
    if h * w > MOST_PX:
        keep = (MOST_PX / (h * w)) ** 0.5 / 2
        cut = slice(int(h * (0.5 - keep)), int(h * (0.5 + keep))), slice(int(w * (0.5 - keep)), int(w * (0.5 + keep)))
        picture = picture[cut]
    grey = cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY) if picture.ndim == 3 else picture
    values = np.asarray(grey, np.float32)
    slopes = []
    for sigma in (FINE_PX, COARSE_PX):
        soft = cv2.GaussianBlur(values, (0, 0), sigma)
        slopes.append(
            cv2.magnitude(
                cv2.Scharr(soft, cv2.CV_32F, 1, 0, scale=1 / 32), cv2.Scharr(soft, cv2.CV_32F, 0, 1, scale=1 / 32)
            )
        )
    fine, coarse = slopes
    peak = coarse >= cv2.dilate(coarse, np.ones((9, 9), np.uint8))
    clear = coarse[8:-8, 8:-8][peak[8:-8, 8:-8]]
    if len(clear) < 20:
        return float("nan")
    least = max(1.5, float(np.partition(clear, -20)[-20]) * 0.5)
    ridge = peak & (coarse >= least)
    ridge[:8], ridge[-8:], ridge[:, :8], ridge[:, -8:] = False, False, False, False
    if ridge.sum() < 12:
        return float("nan")
    tall = cv2.dilate(fine, np.ones((5, 5), np.uint8))
    ratio = float(np.percentile(tall[ridge] / coarse[ridge], 60)) ** 2
    if ratio <= 1.0:
        return 8.0
    return float(np.sqrt(max(0.0, (COARSE_PX**2 - ratio * FINE_PX**2) / (ratio - 1.0))))
