"""A camera on the network, on loopback: MJPEG over HTTP in real time, with switches for all that goes wrong."""

from __future__ import annotations

import random
import socket
import struct
import threading
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from enum import StrEnum
from itertools import count
from types import TracebackType
from typing import Self

_BOUNDARY = b"--picture\r\n"
_HEAD = (
    b"HTTP/1.0 200 OK\r\nCache-Control: no-store\r\nContent-Type: multipart/x-mixed-replace; boundary=picture\r\n\r\n"
)
_POLL_S = 0.02
_MOST = 1400  # bytes of a picture in one RTP packet


class Mode(StrEnum):
    """What the server does."""

    RUN = "run"
    STALL = "stall"  # stays connected, and takes new connections, but no picture comes
    SILENT = "silent"  # hangs up; takes new connections, and says nothing at all on them
    DEAD = "dead"  # hangs up and does not listen
    MISSING = "missing"  # hangs up, and answers 404
    GARBAGE = "garbage"  # broken pictures and junk between whole ones
    JUNK = "junk"  # nothing but broken pictures and junk
    OTHER = "other"  # pictures of another size


_OPEN = frozenset({Mode.RUN, Mode.STALL, Mode.GARBAGE, Mode.JUNK, Mode.OTHER})


class FrameServer:
    """Serves JPEG pictures forth and back, so that there is no jump, at fps a second by the clock.

    Set `mode` at any time. Use as a context manager; `url` stays the same, dead or alive. sent: pictures that went out whole.
    """

    scheme = "http"

    def __init__(
        self, pictures: Sequence[bytes], fps: float, other: Sequence[bytes] = (), dies_after: int | None = None
    ) -> None:
        """other: pictures of another size. dies_after: so many pictures, then it hangs up for good."""
        self._dies_after = dies_after
        self._pictures = [*pictures, *pictures[-2:0:-1]]
        self._other = other
        self._fps = fps
        self._mode = Mode.RUN
        self._ended = False
        self._lock = threading.Lock()
        self._open: set[socket.socket] = set()
        self._threads: list[threading.Thread] = []
        self._start_s = time.monotonic()
        self.sent = 0
        self._listener: socket.socket | None = _listen(0)
        self.port = int(self._listener.getsockname()[1])
        self._doors = threading.Thread(target=self._serve, daemon=True)

    @property
    def url(self) -> str:
        return f"{self.scheme}://127.0.0.1:{self.port}/bed.mjpg"

    @property
    def mode(self) -> Mode:
        return self._mode

    @mode.setter
    def mode(self, mode: Mode) -> None:
        with self._lock:
            self._mode = mode
            if mode in {Mode.SILENT, Mode.DEAD, Mode.MISSING}:
                self._hang_up()
            if mode is Mode.DEAD and self._listener is not None:
                self._listener.close()
                self._listener = None
            elif mode is not Mode.DEAD and self._listener is None:
                self._listener = _listen(self.port)

    def start(self) -> Self:
        self._doors.start()
        return self

    def __enter__(self) -> Self:
        return self.start()

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._ended = True
        self.mode = Mode.DEAD
        self._doors.join(5)
        for thread in self._threads:
            thread.join(5)

    def _hang_up(self) -> None:
        for one in self._open:
            with suppress(OSError):
                one.shutdown(socket.SHUT_RDWR)

    def _serve(self) -> None:
        while not self._ended:
            listener = self._listener
            if listener is None:
                time.sleep(_POLL_S)
                continue
            try:
                one, _ = listener.accept()
            except OSError:  # its time limit, or closed under our hands
                time.sleep(_POLL_S / 4)
                continue
            one.settimeout(1.0)
            thread = threading.Thread(target=self._talk, args=(one,), daemon=True)
            with self._lock:
                self._open.add(one)
            self._threads.append(thread)
            thread.start()

    def _talk(self, one: socket.socket) -> None:
        with one, suppress(OSError):
            first = one.recv(4096)
            while self._mode is Mode.SILENT and not self._ended:
                time.sleep(_POLL_S)
            if self._mode is Mode.MISSING:
                one.sendall(self._missing())
            elif self._mode is not Mode.DEAD and self._greet(one, first):
                self._stream(one)
        with self._lock:
            self._open.discard(one)

    def _stream(self, one: socket.socket) -> None:
        rng = random.Random(1)
        before = -1
        while self._mode in _OPEN and not self._ended:
            number = int((time.monotonic() - self._start_s) * self._fps)
            if self._mode is Mode.STALL or number == before:
                time.sleep(_POLL_S / 4)
                continue
            before = number
            shown = self._other if self._mode is Mode.OTHER else self._pictures
            spoilt = self._mode is Mode.JUNK or (self._mode is Mode.GARBAGE and number % 3 > 0)
            one.sendall(self._packed(shown[number % len(shown)], rng if spoilt else None))
            self.sent += not spoilt
            if self._dies_after is not None and self.sent >= self._dies_after:
                self._ended, self.mode = True, Mode.DEAD

    def _missing(self) -> bytes:
        return b"HTTP/1.0 404 Not Found\r\nContent-Length: 0\r\n\r\n"

    def _greet(self, one: socket.socket, _first: bytes) -> bool:
        one.sendall(_HEAD)
        return True

    def _packed(self, picture: bytes, spoil: random.Random | None) -> bytes:
        """What goes over the line for one picture; spoilt if there is something to spoil it with."""
        return _part(picture) if spoil is None else spoil.choice(SPOIL)(picture, spoil)


def _part(data: bytes) -> bytes:
    return _BOUNDARY + b"Content-Type: image/jpeg\r\nContent-Length: %d\r\n\r\n" % len(data) + data + b"\r\n"


def _cut(picture: bytes, rng: random.Random) -> bytes:
    return _part(picture[: rng.randrange(2, len(picture))])


def _bitten(picture: bytes, rng: random.Random) -> bytes:
    data = bytearray(picture)
    for _ in range(40):
        data[rng.randrange(len(data))] = rng.randrange(256)
    return _part(bytes(data))


def _noise(picture: bytes, rng: random.Random) -> bytes:
    return _part(rng.randbytes(len(picture) // 2))


def _empty(_: bytes, __: random.Random) -> bytes:
    return _part(b"")


def _false_length(picture: bytes, rng: random.Random) -> bytes:
    length = len(picture) + rng.randrange(-200, 2000)
    return _BOUNDARY + b"Content-Type: image/jpeg\r\nContent-Length: %d\r\n\r\n" % length + picture + b"\r\n"


def _loose(_: bytes, rng: random.Random) -> bytes:
    return rng.randbytes(500) + b"\r\n"


SPOIL: tuple[Callable[[bytes, random.Random], bytes], ...] = (_cut, _bitten, _noise, _empty, _false_length, _loose)


def _listen(port: int) -> socket.socket:
    listener = socket.socket()
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    listener.bind(("127.0.0.1", port))
    listener.listen(8)
    listener.settimeout(0.2)
    return listener


class RtspServer(FrameServer):
    """The same by RTSP (RFC 2326) as JPEG over RTP (RFC 2435), both on the one connection."""

    scheme = "rtsp"

    def __init__(
        self, pictures: Sequence[bytes], fps: float, other: Sequence[bytes] = (), dies_after: int | None = None
    ) -> None:
        super().__init__(pictures, fps, other, dies_after)
        self._numbers = count()

    def _missing(self) -> bytes:
        return b"RTSP/1.0 404 Not Found\r\nCSeq: 1\r\n\r\n"

    def _greet(self, one: socket.socket, first: bytes) -> bool:
        data = first
        while not self._ended:
            while b"\r\n\r\n" not in data:
                more = one.recv(4096)
                if not more:
                    return False
                data += more
            asked, _, data = data.partition(b"\r\n\r\n")
            verb = asked.split()[0].decode()
            fields = dict(line.lower().split(b": ", 1) for line in asked.split(b"\r\n")[1:] if b": " in line)
            head, body, status = b"", b"", b"200 OK"
            if verb == "OPTIONS":
                head = b"Public: OPTIONS, DESCRIBE, SETUP, PLAY, TEARDOWN\r\n"
            elif verb == "DESCRIBE":
                body = (
                    b"v=0\r\no=- 0 0 IN IP4 127.0.0.1\r\ns=bed\r\nc=IN IP4 127.0.0.1\r\nt=0 0\r\n"
                    b"m=video 0 RTP/AVP 26\r\na=control:track\r\n"
                )
                head = b"Content-Type: application/sdp\r\n"
            elif verb == "SETUP" and b"/tcp" in fields.get(b"transport", b""):
                head = b"Transport: RTP/AVP/TCP;unicast;interleaved=0-1\r\nSession: 1\r\n"
            elif verb == "SETUP":
                status = b"461 Unsupported Transport"
            elif verb == "PLAY":
                head = b"Session: 1\r\n"
            length = b"Content-Length: %d\r\n" % len(body) if body else b""
            one.sendall(b"RTSP/1.0 %b\r\nCSeq: %b\r\n%b%b\r\n%b" % (status, fields[b"cseq"], head, length, body))
            if verb == "PLAY":
                return True
        return False

    def _packed(self, picture: bytes, spoil: random.Random | None) -> bytes:
        tables, width, height, kind, scan = _opened(picture)
        if spoil is not None:
            scan = spoil.randbytes(len(scan) // 2)
        stamp = int((time.monotonic() - self._start_s) * 90000) & 0xFFFFFFFF
        packets = []
        for at in range(0, len(scan), _MOST):
            last = at + _MOST >= len(scan)
            rtp = struct.pack(">BBHII", 0x80, 26 | (last << 7), next(self._numbers) & 0xFFFF, stamp, 1)
            jpeg = struct.pack(">I", at) + bytes((kind, 255, width // 8, height // 8))
            if at == 0:
                jpeg += struct.pack(">BBH", 0, 0, len(tables)) + tables
            payload = rtp + jpeg + scan[at : at + _MOST]
            packets.append(struct.pack(">cBH", b"$", 0, len(payload)) + payload)
        return b"".join(packets)


def _opened(picture: bytes) -> tuple[bytes, int, int, int, bytes]:
    """A baseline JPEG's quantiser tables, width, height, type after RFC 2435 (0: 4:2:2, 1: 4:2:0), and its scan."""
    tables, width, height, kind, at = b"", 0, 0, 0, 2
    while True:
        mark, length = struct.unpack_from(">HH", picture, at)
        body = picture[at + 4 : at + 2 + length]
        at += 2 + length
        if mark == 0xFFDB:
            tables += b"".join(body[i + 1 : i + 65] for i in range(0, len(body), 65))
        elif mark == 0xFFC0:
            height, width = struct.unpack_from(">HH", body, 1)
            kind = int(body[7] == 0x22)
        elif mark == 0xFFDA:
            return tables, width, height, kind, picture[at:]
