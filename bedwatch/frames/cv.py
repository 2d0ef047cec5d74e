"""The one place that imports OpenCV; every room takes `cv2` from here.

Native code writes on file descriptor 2 past Python. Both variables must stand before the first import: either
one alone still lets lines through. On Windows they may not reach the library (OpenCV documentation).
"""

from __future__ import annotations

import os

from bedwatch.errors import UserError

_QUIET = {
    "OPENCV_LOG_LEVEL": "OFF",
    "OPENCV_FFMPEG_LOGLEVEL": "-8",
    # Seconds before a stalled V4L2 camera is given up (10 by default), and MSMF's slow opening.
    "OPENCV_VIDEOIO_V4L_SELECT_TIMEOUT": "2",
    "OPENCV_VIDEOIO_MSMF_ENABLE_HW_TRANSFORMS": "0",
}
for _name, _value in _QUIET.items():
    os.environ.setdefault(_name, _value)

try:
    import cv2
except ImportError as error:
    _advice = (
        "install the system packages it names (Debian: apt install libgl1 libglib2.0-0)"
        if ".so" in str(error)
        else "run: pip install opencv-python-headless"
    )
    raise UserError(f"OpenCV cannot be loaded ({error}); {_advice}") from error

if not hasattr(cv2, "__version__"):
    raise UserError(
        "OpenCV is installed only in part, as happens when one of two OpenCV packages was removed; "
        "uninstall every package named opencv-*, then run: pip install opencv-python-headless"
    )

# A second thread gains nothing on pictures of this size and costs more than twice the CPU time.
cv2.setNumThreads(1)

__all__ = ["cv2"]
