"""What ails the camera: every frame is looked at on a coarse lattice, and what is wrong is named with its figure."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from bedwatch.aim.following.anchor import Anchor
from bedwatch.aim.following.jolt import Jolt
from bedwatch.aim.following.place import Place
from bedwatch.aim.following.steady import Steadiness
from bedwatch.aim.health.exposure import exposure_problems, hunting_problems
from bedwatch.aim.health.flicker import MAINS_HZ, flicker_of
from bedwatch.aim.health.looks import ROUND, Lattice, Look, Tones, outlying
from bedwatch.aim.health.sharpness import Focus, blur_px
from bedwatch.aim.health.specks import Dust
from bedwatch.aim.health.timing import timing_problems
from bedwatch.aim.health.veil import Veil
from bedwatch.aim.types import Aim, Problem, ProblemKind
from bedwatch.bed import Bed
from bedwatch.frames.frame import Frame, Picture

FROZEN_S = 3.0
FLAT_RANGE = 6.0
BLURRED_PX = 2.6
SHAKING_PX, MOVED_PX = 0.35, 2.0
TONES_EVERY_S = 0.09

_BLUR_LEAST_S = 1.0
_STILL = 0.5  # small pixels that the picture may lie off for its parts to be compared
_RIM = 0.97  # the edges where powder, wall and rim meet are the sharpest there are
_POWDER = 0.9  # of the outline: the wall's shadow and reflections lie farther out


@dataclass(slots=True, kw_only=True)
class _Witness:
    """What is watched once it is known where the bed lies. around, powder: (rows, cols) of the small picture."""

    anchor: Anchor
    around: NDArray[np.bool_]
    powder: NDArray[np.bool_]
    focus: Focus
    veil: Veil | None = None
    dust: Dust | None = None
    place: Place = field(default_factory=Place)
    jolt: Jolt = field(default_factory=Jolt)

    def add(self, frame: Frame) -> tuple[float, float] | None:
        """The camera's shift in this frame, if it was looked for."""
        anchor, before = self.anchor, self.anchor.newest
        if anchor.blind:
            self.place.jumped(self.jolt.add(frame.picture), frame.time_s)
            self.focus.add(frame.picture, frame.time_s)
            return None
        shift = self.place.follow(anchor, frame.picture, frame.time_s)
        if not self.place.hold:
            self.focus.add(frame.picture, frame.time_s, self.place.shift_px)
        if anchor.newest is before or anchor.learning or anchor.astray:
            return shift
        if self.veil is None or self.dust is None:
            self.veil, self.dust = Veil(anchor.mean, anchor.mean_lines, self.around), Dust(self.powder)
        if anchor.away < _STILL:
            self.veil.add(anchor.newest, anchor.lines, frame.time_s)
            self.dust.add(anchor.newest, frame.time_s)
        return shift


def _witness(aim: Aim, bed: Bed, size_px: tuple[int, int], sharp: float | None) -> _Witness:
    anchor = Anchor(aim, bed, size_px)
    w, h = anchor.small_size
    u, v = np.meshgrid((np.arange(w) + 0.5) * anchor.shrink - 0.5, (np.arange(h) + 0.5) * anchor.shrink - 0.5)
    times = outlying(aim, bed, np.stack([u, v], axis=-1))
    around = times > ROUND
    return _Witness(anchor=anchor, around=around, powder=times < _POWDER, focus=Focus(times > _RIM, sharp))


class CameraCheck:
    """Feed it every frame with `add`; `problems` says what was wrong over the last `window_s` seconds.

    Once it is told with `aimed` where the bed is, the powder's surface is what light and contrast are judged by, and
    what lies round it is the witness for all that the powder does not do.
    """

    def __init__(self, window_s: float = 10.0) -> None:
        self._window_s = window_s
        self._looks: deque[Look] = deque()
        self._blur: deque[tuple[float, float]] = deque(maxlen=8)
        self._lattice: Lattice | None = None
        self._aim: tuple[Aim, Bed] | None = None
        self._witness: _Witness | None = None
        self._last: Picture | None = None
        self._same_since: float | None = None
        self._steady = Steadiness()
        self._tones: tuple[float, Tones, Tones | None, tuple[float, float]] | None = None
        self._now_s = 0.0
        self._passed, self._lost = 0, 0  # since the last look
        self._beats = False
        self._moved_s = -np.inf
        self._sharp: float | None = None

    def aimed(self, aim: Aim, bed: Bed) -> None:
        """From now on the bed is known to lie there; what was seen before is forgotten."""
        if self._witness is not None:
            self._moved_s, self._sharp = self._now_s, self._witness.focus.level
        self._aim, self._lattice, self._witness = (aim, bed), None, None

    @property
    def place(self) -> Place:
        """Where the camera stands, once it was told where the bed is."""
        return Place() if self._witness is None else self._witness.place

    @property
    def defocused(self) -> bool:
        """Whether the picture has lost its sharpness since the bed was aimed at."""
        return self._witness is not None and self._witness.focus.lost

    @property
    def calm(self) -> bool:
        """Whether all is as it should be, so that some frames may be passed over."""
        witness = self._witness
        if witness is None or witness.anchor.blind or witness.anchor.learning or self._beats or self.blank:
            return False
        return not witness.place.moving and not witness.focus.lost and not any(look.lost for look in self._looks)

    def pass_over(self, time_s: float, lost: int) -> None:
        """A frame that is not looked at. lost: how many before it are missing, or were the one before again, itself included."""
        self._now_s = time_s
        self._passed += 1
        self._lost += lost

    def add(self, frame: Frame) -> None:
        """Look at one frame; frames come in order of time."""
        lattice = self._lattice
        if lattice is None or lattice.shape != frame.picture.shape[:2]:
            lattice = self._lattice = Lattice(frame.picture.shape[:2], *(self._aim or ()))
            self._last = self._tones = None
            self._looks.clear()
            if self._aim is not None:
                self._witness = _witness(*self._aim, (frame.picture.shape[1], frame.picture.shape[0]), self._sharp)
        grey = lattice.grey(frame)
        same = frame.repeated or (self._last is not None and bool(np.array_equal(self._last, grey)))
        if not same:
            self._same_since = frame.time_s
        self._last = grey
        self._now_s = frame.time_s
        if self._tones is None or not 0 <= frame.time_s - self._tones[0] < TONES_EVERY_S:
            part = lattice.colours(frame)
            self._tones = (frame.time_s, *lattice.tones(part, grey), lattice.tint(part))
        _, whole, bed, tint = self._tones
        bands, level = lattice.compare(grey, frame.time_s)
        self._looks.append(
            Look(
                time_s=frame.time_s,
                whole=whole,
                bed=bed,
                bands=bands,
                level=level,
                tint=tint,
                lost=frame.dropped_before + int(frame.repeated) + self._lost,
                same=same,
                shift_px=self._shift(frame, whole),
                frames=1 + self._passed,
            )
        )
        self._passed = self._lost = 0
        blurred_s = frame.time_s - self._blur[-1][0] if self._blur else np.inf
        if blurred_s > _BLUR_LEAST_S and blurred_s > self._blur_every_s():
            self._blur.append((frame.time_s, blur_px(frame.picture)))
        while self._looks and frame.time_s - self._looks[0].time_s > self._window_s:
            self._looks.popleft()

    def _blur_every_s(self) -> float:
        """Often at first and while it is blurred; a focus that is lost later is told by comparing."""
        if len(self._blur) < 3:
            return _BLUR_LEAST_S
        return 3.0 if self._blurred() else 9.0

    def _shift(self, frame: Frame, whole: Tones) -> tuple[float, float] | None:
        if self._witness is not None:
            if whole.high - whole.low < FLAT_RANGE:
                return None
            shift = self._witness.add(frame)
            if not self._witness.anchor.blind:
                return shift
        return self._steady.shift(frame.picture) if self._turn() else None

    def _turn(self) -> bool:
        """Whether this frame's place is looked at: fifteen a second are enough."""
        looks = self._looks
        fast = len(looks) > 10 and len(looks) > 20.0 * (looks[-1].time_s - looks[0].time_s)
        return not fast or looks[-1].shift_px is None

    @property
    def frozen(self) -> bool:
        """Whether the very same picture has come for 3 seconds; a living camera's noise never repeats."""
        return (
            self._same_since is not None
            and len(self._looks) > 3
            and self._looks[-1].time_s - self._same_since >= FROZEN_S
        )

    @property
    def blank(self) -> bool:
        """Whether the newest pictures show nothing: black, white or one even tone, or a frozen picture."""
        recent = list(self._looks)[-3:]
        return bool(recent) and (self.frozen or all(look.whole.high - look.whole.low < FLAT_RANGE for look in recent))

    def problems(self) -> tuple[Problem, ...]:
        """What is wrong with the picture now, each with its figure and what to do; empty when all is well."""
        looks = list(self._looks)
        if not looks:
            return ()
        shake = shake_px(looks)
        veil = None if self._witness is None else self._witness.veil
        dust = self._dust(shake)
        flicker = _flicker(looks)
        self._beats = bool(flicker)
        hunting = hunting_problems(looks, None if veil is None else veil.gains())
        if any(problem.kind is ProblemKind.DUST_CLOUD for problem in dust):
            hunting = []
        return (
            *exposure_problems(looks),
            *self._blurred(),
            *flicker,
            *hunting,
            *dust,
            *self._moving(shake),
            *timing_problems(looks),
        )

    def _moving(self, shake: float) -> list[Problem]:
        """Shaking, or moved within the window."""
        moved = 0.0 if self._witness is None else self._witness.place.moved_px
        if shake > SHAKING_PX:
            advice = f"The camera shakes by {shake:.1f} px; fix it to a wall or a heavy stand, away from the bed."
        elif moved > MOVED_PX:
            advice = f"The camera has moved by {moved:.0f} px and the aim with it; fix it to a wall or a heavy stand."
        elif self._now_s - self._moved_s < self._window_s:
            advice = f"The camera was moved at {self._moved_s:.0f} s; the bed was found anew. Fix it to a heavy stand."
        else:
            return []
        return [Problem(kind=ProblemKind.SHAKING, advice=advice)]

    def _dust(self, shake: float) -> list[Problem]:
        """On the lens, and in the air."""
        witness, found = self._witness, []
        if witness is None or witness.veil is None or witness.dust is None:
            return []
        stands = shake < SHAKING_PX and witness.place.moved_px < MOVED_PX
        if (haze := witness.veil.haze(sure=stands and not witness.focus.lost)) is not None:
            advice = (
                f"A veil of dust takes {100 * haze.dim:.0f} % of the contrast by turns; draw the dust off, close gaps of "
                "the hood, and bring the air down if powder is thrown out of the bed."
            )
            found.append(Problem(kind=ProblemKind.DUST_CLOUD, advice=advice))
        if (specks := witness.dust.specks) is not None:
            advice = (
                f"{specks.number} specks stay put in the picture while the powder moves, the strongest changes the light "
                f"by {100 * specks.strongest:.0f} %; wipe the lens, or the window before it."
            )
            found.append(Problem(kind=ProblemKind.DUSTY_LENS, advice=advice))
        return found

    def _blurred(self) -> list[Problem]:
        if self._witness is not None and self._witness.focus.lost:
            left = 100 * self._witness.focus.share
            advice = (
                f"Only {left:.0f} % of the sharpness at the start is left; focus on the powder, then lock the focus."
            )
            return [Problem(kind=ProblemKind.BLURRED, advice=advice)]
        widths = [width for _, width in self._blur if np.isfinite(width)]
        if not widths or (width := float(np.median(widths[-3:]))) <= BLURRED_PX:
            return []
        advice = (
            f"The sharpest edges are {2.56 * width:.0f} px wide; focus on the powder, clean the lens, "
            "then lock the focus."
        )
        return [Problem(kind=ProblemKind.BLURRED, advice=advice)]


def _flicker(looks: list[Look]) -> list[Problem]:
    found = flicker_of(looks)
    if found is None:
        return []
    share = 100 * found.share
    if found.mains_hz is None:
        advice = (
            f"The light flickers by {share:.1f} %, {found.beat_hz:.1f} times a second in the pictures; set the exposure to "
            + " or ".join(f"a multiple of 1/{2 * hz} s where mains is {hz} Hz" for hz in MAINS_HZ)
            + ", or use a lamp that does not flicker."
        )
    else:
        advice = (
            f"Mains light at {found.mains_hz} Hz flickers by {share:.1f} %; set the exposure to a multiple of "
            f"1/{2 * found.mains_hz} s, or use a lamp that does not flicker."
        )
    return [Problem(kind=ProblemKind.FLICKER, advice=advice)]


def shake_px(looks: list[Look]) -> float:
    """Root mean square of the camera's place about its own half-second mean, pixels."""
    shifts = np.array([look.shift_px for look in looks if look.shift_px is not None])
    if len(shifts) < 10 or len(shifts) < 0.08 * len(looks):
        return 0.0
    width = 15
    pad = np.pad(shifts, ((width // 2, width // 2), (0, 0)), mode="edge")
    smooth = np.column_stack([np.convolve(pad[:, i], np.ones(width) / width, "valid") for i in (0, 1)])
    rest = shifts - smooth[: len(shifts)]
    return float(np.sqrt(np.mean(np.minimum((rest * rest).sum(axis=1), 100.0))))


__all__ = ["CameraCheck", "shake_px"]
