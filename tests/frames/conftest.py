"""Makes small clips with a second library, PyAV, so that the reader under test is not its own witness."""

from __future__ import annotations

import struct
from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from fractions import Fraction
from pathlib import Path
from types import SimpleNamespace

import av
import numpy as np
import pytest
from numpy.typing import NDArray

Pictures = Sequence[NDArray[np.uint8]]
WIDTH, HEIGHT = 160, 120
GREY_PALETTE = b"".join(bytes((i, i, i, 0)) for i in range(256))


def grain(count: int, *, noise: float = 2.0, step_px: int = 2, seed: int = 1) -> list[NDArray[np.uint8]]:
    """A coarse texture that slides by step_px a frame under a noisy camera: (HEIGHT, WIDTH, 3) each."""
    rng = np.random.default_rng(seed)
    coarse = rng.normal(128, 45, (HEIGHT // 4, (WIDTH + step_px * count) // 4 + 2))
    texture = np.kron(coarse, np.ones((4, 4)))
    pictures = []
    for i in range(count):
        window = texture[:, step_px * i : step_px * i + WIDTH]
        grey = np.clip(window + rng.normal(0, noise, window.shape), 0, 255).astype(np.uint8)
        pictures.append(np.ascontiguousarray(np.repeat(grey[:, :, None], 3, axis=2)))
    return pictures


def encode(
    path: Path,
    pictures: Pictures,
    *,
    codec: str = "mjpeg",
    times_s: Sequence[float] | None = None,
    rate: int = 30,
    container: str | None = None,
    **options: str,
) -> Path:
    """Write pictures with PyAV; times_s gives a variable rate."""
    pix = {"mjpeg": "yuvj420p", "libx264": "yuv420p"}[codec]
    base = Fraction(1, 90000 if times_s is not None else rate)
    with av.open(str(path), "w", format=container) as file:
        stream = file.add_stream(codec, rate=rate, options=options)
        stream.height, stream.width = pictures[0].shape[:2]
        stream.pix_fmt = pix
        stream.codec_context.time_base = base
        for i, picture in enumerate(pictures):
            frame = av.VideoFrame.from_ndarray(picture, format="bgr24")
            frame.pts = i if times_s is None else round(times_s[i] * 90000)
            frame.time_base = base
            file.mux(stream.encode(frame))
        file.mux(stream.encode())
    return path


def times(path: Path) -> list[float]:
    """Presentation times of the frames PyAV can decode, seconds from the first."""
    found: list[float] = []
    with av.open(str(path)) as file:
        for packet in file.demux(video=0):
            try:
                found += [float(frame.time) for frame in packet.decode() if frame.time is not None]
            except av.error.FFmpegError:
                continue
    return [t - found[0] for t in found]


def chunk(tag: bytes, data: bytes) -> bytes:
    return tag + struct.pack("<I", len(data)) + data + b"\0" * (len(data) & 1)


def rows(picture: NDArray[np.uint8], *, bottom_up: bool = True, padded: bool = True) -> bytes:
    """A picture as a device-independent bitmap."""
    flat = picture.reshape(picture.shape[0], -1)
    pad = -flat.shape[1] % 4 if padded else 0
    flat = np.pad(flat, ((0, 0), (0, pad)))
    return (flat[::-1] if bottom_up else flat).tobytes()


def raw_avi(
    path: Path,
    datas: Sequence[bytes],
    *,
    size: tuple[int, int],
    bits: int = 24,
    code: bytes = b"\0\0\0\0",
    palette: bytes = b"",
    top_down: bool = False,
    rate: int = 25,
    promised: int | None = None,
) -> Path:
    """An uncompressed AVI by hand; an empty data is a frame that the recorder dropped."""
    width, height = size
    count = len(datas) if promised is None else promised
    avih = struct.pack("<14I", round(1e6 / rate), 0, 0, 0x10, count, 0, 1, 0, width, height, 0, 0, 0, 0)
    strh = struct.pack("<4s4sIHHIIIIIIII8x", b"vids", code, 0, 0, 0, 0, 1, rate, 0, count, 0, 0, 0)
    signed = -height if top_down else height
    strf = struct.pack("<IiiHH4sIiiII", 40, width, signed, 1, bits, code, len(datas[0]), 0, 0, len(palette) // 4, 0)
    strl = chunk(b"LIST", b"strl" + chunk(b"strh", strh) + chunk(b"strf", strf + palette))
    hdrl = chunk(b"LIST", b"hdrl" + chunk(b"avih", avih) + strl)
    movi = chunk(b"LIST", b"movi" + b"".join(chunk(b"00db", data) for data in datas))
    path.write_bytes(chunk(b"RIFF", b"AVI " + hdrl + movi))
    return path


@pytest.fixture(scope="session")
def clips() -> Iterator[SimpleNamespace]:
    with ExitStack() as until_the_end:
        yield _clips(until_the_end)


def _clips(until_the_end: ExitStack) -> SimpleNamespace:
    return SimpleNamespace(
        until_the_end=until_the_end,
        grain=grain,
        encode=encode,
        times=times,
        raw_avi=raw_avi,
        rows=rows,
        chunk=chunk,
        grey_palette=GREY_PALETTE,
    )
