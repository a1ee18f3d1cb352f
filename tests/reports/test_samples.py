"""Samples unpacked the way the page's script does, and how much they may take."""

from __future__ import annotations

import base64
import zlib

import numpy as np
import pytest

from reports.samples import MOST_LETTERS, MOST_POINTS, Packed, Signal, pack


def unpacked(packed: Packed) -> list[tuple[np.ndarray, np.ndarray]]:
    """(times, values) of each signal, by a slow and obvious twin of the script."""
    raw = zlib.decompress(base64.b64decode(packed.text))
    arrays, offset = [], 0
    for count, width, order in packed.head["arrays"]:  # type: ignore[attr-defined]
        numbers = [sum(raw[offset + p * count + i] << (8 * p) for p in range(width)) for i in range(count)]
        numbers = [-(n + 1) // 2 if n % 2 else n // 2 for n in numbers]
        for _ in range(order):
            numbers = np.cumsum(numbers).tolist()
        arrays.append(np.array(numbers, dtype=float))
        offset += count * width
    ticks = packed.head["ticks"]
    return [
        (arrays[signal["times"]] / ticks, arrays[signal["values"]] / 10 ** signal["places"])
        for signal in packed.head["signals"]  # type: ignore[attr-defined]
    ]


def line(t_s: np.ndarray, values: np.ndarray, kind: str = "line", places: int = 1) -> Signal:
    return Signal(
        kind, t_s, values, places, 0.0, 1.0, 0.0, 42.0, "current", float(t_s[-1]) if len(t_s) else 0.0
    )


def packed_of(*signals: Signal, end_s: float = 1e6) -> Packed:
    return pack(
        [(f"lane-{n}", signal) for n, signal in enumerate(signals)], start_s=0.0, end_s=end_s, zero_s=3.0
    )


def test_every_reading_comes_back_to_its_last_place() -> None:
    rng = np.random.default_rng(2)
    t_s = np.cumsum(rng.uniform(0.001, 0.05, 500))
    values = rng.normal(0, 4000, 500)

    [(times, numbers)] = unpacked(packed_of(line(t_s, values)))

    assert np.allclose(times, t_s - 3.0, atol=5.1e-5)
    assert np.allclose(numbers, values, atol=0.0501)


def test_missing_and_absurd_readings_are_left_out() -> None:
    [(times, numbers)] = unpacked(
        packed_of(line(np.array([3.0, 4.0, 5.0, 6.0]), np.array([1.0, np.nan, 1e30, 2.0])))
    )

    assert times.tolist() == [0.0, 3.0]
    assert numbers.tolist() == [1.0, 2.0]


def test_only_what_the_strip_shows_is_packed_and_a_state_keeps_its_last_change_before() -> None:
    t_s = np.array([-5.0, 1.0, 2.0, 9.0])
    on = np.array([1.0, 0.0, 1.0, 0.0])

    found = unpacked(packed_of(line(t_s, on), line(t_s, on, kind="bar", places=0), end_s=5.0))

    assert found[0][0].tolist() == [-2.0, -1.0]
    assert found[1][0].tolist() == [-8.0, -2.0, -1.0]


def test_equal_times_stand_once() -> None:
    t_s = np.arange(0, 10, 0.02)

    packed = packed_of(line(t_s, t_s), line(t_s, -t_s))

    assert len(packed.head["arrays"]) == 3  # type: ignore[arg-type]


def test_nothing_is_thinned_up_to_the_bound() -> None:
    t_s = np.linspace(0, 160, MOST_POINTS // 40)

    packed = packed_of(*(line(t_s, np.sin(t_s)) for _ in range(40)))

    assert packed.kept == 1.0
    assert len(unpacked(packed)[0][0]) == len(t_s)


def test_beyond_the_bound_each_keeps_its_spikes() -> None:
    t_s = np.linspace(0, 160, MOST_POINTS // 20)
    spiked = np.zeros(len(t_s))
    spiked[12_345], spiked[777] = 90.0, -40.0

    packed = packed_of(*(line(t_s, spiked) for _ in range(40)))
    times, numbers = unpacked(packed)[0]

    assert packed.kept == pytest.approx(0.5)
    assert len(numbers) <= len(t_s) / 2
    assert (numbers.max(), numbers.min()) == (90.0, -40.0)
    assert abs(times[np.argmax(numbers)] + 3.0 - t_s[12_345]) < 0.05
    assert (np.diff(times) > 0).all()


def test_the_noisiest_lanes_stay_within_the_bound_whatever_their_rows() -> None:
    rng = np.random.default_rng(4)

    for rows in (8000, 16_000, 80_000):
        t_s = np.linspace(0, 160, rows)
        packed = packed_of(*(line(t_s, np.abs(rng.normal(30, 20, rows))) for _ in range(40)))

        assert 0.9 * MOST_LETTERS < len(packed.text) <= MOST_LETTERS


def test_no_signal_and_an_empty_one_are_no_trouble() -> None:
    assert unpacked(packed_of()) == []
    assert unpacked(packed_of(line(np.empty(0), np.empty(0)))) == []
