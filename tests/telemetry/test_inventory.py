"""The inventory counts samples, gaps and changes, written out in full."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.inventory import ChannelSummary, take_inventory
from telemetry.log import Channel, Dialect, Kind, Log


def log_of(*channels: Channel) -> Log:
    dialect = Dialect("utf-8", ",", ".", "time_s", "s", "wide")
    longest = max((channel.t_s for channel in channels), key=len)
    return Log("log.csv", "0" * 64, dialect, len(longest), longest, {c.name: c for c in channels})


def channel(
    t_s: list[float],
    values: list[float],
    kind: Kind = Kind.NUMBER,
    unit: str | None = None,
    *,
    labels: tuple[str, ...] = (),
    sampled: bool = True,
    missing: int = 0,
) -> Channel:
    return Channel("x", kind, unit, np.array(t_s), np.array(values), labels, sampled, missing)


def summary(one: Channel) -> ChannelSummary:
    (found,) = take_inventory(log_of(one), {"x": "beam entry"})
    return found


def test_a_sampled_number() -> None:
    found = summary(channel([0, 0.02, 0.04, 0.06, 0.14], [3.0, -1.5, 4.0, 4.0, 2.0], unit="mA", missing=2))

    assert found == ChannelSummary(
        name="x",
        kind=Kind.NUMBER,
        unit="mA",
        role="beam entry",
        samples=5,
        missing=2,
        rate_hz=pytest.approx(50.0),
        gaps=1,
        transitions=None,
        min=-1.5,
        max=4.0,
    )


def test_a_change_logged_switch() -> None:
    found = summary(channel([0, 5, 5.1], [0, 1, 0], Kind.SWITCH, labels=("0", "1"), sampled=False))

    assert (found.rate_hz, found.gaps, found.transitions, found.min, found.max) == (None, None, 2, 0.0, 1.0)


def test_a_text_has_changes_and_no_extremes() -> None:
    found = summary(channel([0, 1, 2, 3], [0, 0, 1, 0], Kind.TEXT, labels=("a", "b")))

    assert (found.transitions, found.min, found.max) == (2, None, None)


@pytest.mark.parametrize(("wide_s", "gaps"), [(0.06, 0), (0.0601, 1)])
def test_a_gap_is_more_than_three_intervals(wide_s: float, gaps: int) -> None:
    times = np.cumsum([100.0, 0.02, 0.02, 0.02, wide_s, 0.02])

    assert summary(channel(times.tolist(), [1.0] * 6)).gaps == gaps


@pytest.mark.parametrize("times", [[], [1.0]])
def test_too_few_samples_have_no_rate(times: list[float]) -> None:
    found = summary(channel(times, [2.0] * len(times)))

    assert (found.rate_hz, found.gaps, found.samples) == (None, 0, len(times))


def test_a_channel_without_a_role_has_none() -> None:
    (found,) = take_inventory(log_of(channel([0, 1], [1, 2])), {})

    assert found.role is None
