"""The samples themselves, packed small for the page, so that zooming in shows every reading.

Numbers become whole steps of their last shown place; then first differences (second ones for times),
zig-zag, byte planes, deflate, base64: a match at 50 Hz takes about a fifth of a megabyte. What all signals
take together is bounded: beyond `MOST_POINTS` readings or `MOST_LETTERS` of packed text each keeps the least
and the greatest reading of equal stretches, so that a page grows no more with the rows of a log.
`assets/detail.js` unpacks it.
"""

from __future__ import annotations

import base64
import zlib
from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from reports.envelope import gap_limit_s
from telemetry.dataclass import dataclass
from telemetry.log import FloatArray

__all__ = ["MOST_LETTERS", "MOST_POINTS", "Packed", "Signal", "pack"]

MOST_POINTS = 320_000
"""Of all sampled signals together: forty channels of eight thousand rows."""

MOST_LETTERS = 270_000
"""Of packed text: about what 320,000 readings of ordinary currents take; only noise takes more."""

_MOST_SLOW = 1000
_MOST_CHANGES = 20_000
_TICKS_PER_S = 10_000
_LARGEST = 2**31 - 1

IntArray = NDArray[np.int64]
_Shown = tuple[str, "Signal", FloatArray, FloatArray]


@dataclass(frozen=True, eq=False)
class Signal:
    """One signal of a lane: its samples, shape (n,), and how and where it is drawn.

    `kind` is `line`, `slow` (a line that needs few points) or `bar` (a two-state signal, each change a
    sample). `low` and `high` are the bounds of the drawing, which begins `top_px` down its lane and is
    `height_px` high; `pen` is the name of its colour; `end_s` is where the last state of a bar ends.
    """

    kind: str
    t_s: FloatArray
    values: FloatArray
    places: int
    low: float
    high: float
    top_px: float
    height_px: float
    pen: str
    end_s: float = 0.0


@dataclass(frozen=True)
class Packed:
    """What stands in the page: a JSON-able head, and base64 text of the deflated numbers.

    `kept` is the share of the sampled readings that stand in it.
    """

    head: dict[str, object]
    text: str
    kept: float


def pack(signals: Iterable[tuple[str, Signal]], *, start_s: float, end_s: float, zero_s: float) -> Packed:
    """The samples between `start_s` and `end_s` of (lane key, signal), times counted from `zero_s`."""
    shown = [(key, signal, *_inside(signal, start_s, end_s)) for key, signal in signals]
    total = sum(len(t_s) for _, signal, t_s, _ in shown if signal.kind == "line")
    share = min(MOST_POINTS / max(total, 1), 1.0)
    packed = _packed(shown, share, end_s, zero_s)
    while len(packed.text) > MOST_LETTERS and share > 1e-3:
        share *= 0.97 * MOST_LETTERS / len(packed.text)
        packed = _packed(shown, share, end_s, zero_s)
    return packed


def _packed(shown: Sequence[_Shown], share: float, end_s: float, zero_s: float) -> Packed:
    stream = _Stream()
    heads = []
    for key, signal, t_s, values in shown:
        if len(t_s) == 0 or (signal.kind == "bar" and len(t_s) > _MOST_CHANGES):
            continue
        t_s, values = _thinned(t_s, values, signal.kind, share)
        limit_s = max(gap_limit_s(t_s), 1e-3) if signal.kind != "bar" else 0.0
        times = stream.times(np.rint((t_s - zero_s) * _TICKS_PER_S).astype(np.int64))
        numbers = stream.numbers(np.rint(values * 10**signal.places).astype(np.int64))
        heads.append(
            {
                "lane": key, "kind": signal.kind, "times": times, "values": numbers, "places": signal.places,
                "low": signal.low, "high": signal.high, "top": signal.top_px, "height": signal.height_px,
                "pen": signal.pen, "gap": round(limit_s, 4) if np.isfinite(limit_s) else 1e9,
                "end": round(min(signal.end_s, end_s) - zero_s, 4),
            }
        )  # fmt: skip
    head = {"signals": heads, "arrays": stream.arrays, "ticks": _TICKS_PER_S}
    return Packed(head, stream.text(), share)


def _inside(signal: Signal, start_s: float, end_s: float) -> tuple[FloatArray, FloatArray]:
    limit = _LARGEST / 10**signal.places
    known = (
        (np.abs(signal.values) < limit)
        & (signal.t_s <= end_s)
        & ((signal.t_s >= start_s) | (signal.kind == "bar"))
    )
    return signal.t_s[known], signal.values[known]


def _thinned(t_s: FloatArray, values: FloatArray, kind: str, share: float) -> tuple[FloatArray, FloatArray]:
    if kind == "slow":
        step = -(-len(t_s) // _MOST_SLOW)
        return t_s[::step], values[::step]
    if kind == "bar" or share >= 1.0:
        return t_s, values
    return _extremes(t_s, values, max(int(len(t_s) * share) // 2, 1))


def _extremes(t_s: FloatArray, values: FloatArray, buckets: int) -> tuple[FloatArray, FloatArray]:
    """The least and the greatest value of each bucket, the earlier first, at its first and middle instant."""
    starts = np.unique(np.linspace(0, len(t_s), buckets, endpoint=False).astype(np.int64))
    middles = (starts + np.append(starts[1:], len(t_s))) // 2
    least, greatest = np.minimum.reduceat(values, starts), np.maximum.reduceat(values, starts)
    rising = values[np.minimum(middles, len(values) - 1)] >= values[starts]
    pairs = np.where(rising[:, None], np.stack([least, greatest], 1), np.stack([greatest, least], 1))
    times = np.stack([t_s[starts], t_s[np.minimum(middles, len(t_s) - 1)]], 1)
    return times.ravel(), pairs.ravel()


class _Stream:
    """Byte planes of whole numbers, one array after the other; equal arrays of times stand once."""

    def __init__(self) -> None:
        self.arrays: list[list[int]] = []
        self._bytes: list[bytes] = []
        self._known: dict[bytes, int] = {}

    def times(self, ticks: IntArray) -> int:
        key = ticks.tobytes()
        if key not in self._known:
            self._known[key] = self._add(np.diff(np.diff(ticks, prepend=0), prepend=0), order=2)
        return self._known[key]

    def numbers(self, steps: IntArray) -> int:
        return self._add(np.diff(steps, prepend=0), order=1)

    def _add(self, differences: IntArray, order: int) -> int:
        folded = np.where(differences < 0, -2 * differences - 1, 2 * differences).astype("<u8")
        width = next(width for width in (1, 2, 4, 8) if int(folded.max(initial=0)) < 256**width)
        planes = folded.view(np.uint8).reshape(-1, 8)[:, :width]
        self.arrays.append([len(folded), width, order])
        self._bytes.append(planes.T.tobytes())
        return len(self.arrays) - 1

    def text(self) -> str:
        return base64.b64encode(zlib.compress(b"".join(self._bytes), 6)).decode("ascii")
