"""A trend in counts: does something happen more often from match to match?

Few counts, with many ties, tell a test by ranks little. Two tests look at the counts themselves, and both
must see a trend. The one of Poisson asks whether chance alone would have spread so many faults so unevenly
over the order; it is sharp, but faults that come in clusters deceive it. The one of orders asks whether these
very matches in another order would show as much; neither clusters nor one bad match deceive it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import cache
from itertools import permutations

import numpy as np
from numpy.typing import NDArray

from telemetry.log import FloatArray

__all__ = ["count_trend_p", "order_trend_p", "poisson_trend_p"]

_EXACT_UP_TO_EVENTS = 100
_ALL_ORDERS_UP_TO = 8
_DRAWN_ORDERS, _DRAWN_UP_TO = 20_000, 30


def count_trend_p(counts: Sequence[int], exposures_s: Sequence[float], places: Sequence[int]) -> float:
    """Two-sided p of a trend in counts over exposures at these places in order: the larger of both tests."""
    rates = np.asarray(counts, dtype=np.float64) / np.asarray(exposures_s, dtype=np.float64)
    return max(poisson_trend_p(counts, exposures_s, places), order_trend_p(rates, places))


def poisson_trend_p(counts: Sequence[int], exposures_s: Sequence[float], places: Sequence[int]) -> float:
    """Exact two-sided p that events of one rate fall so late, or so early, given how many there are.

    Given their number, each event falls into a match with the chance of its share of the exposure; the
    statistic is the sum of the events' places. Source: Cox and Lewis, The Statistical Analysis of Series of
    Events (1966), section 3.3, here for grouped events; by the normal curve for more than a hundred.
    """
    at, events = np.asarray(places) - min(places), sum(counts)
    share = np.zeros(int(at.max()) + 1)
    share[at] = np.asarray(exposures_s, dtype=np.float64) / sum(exposures_s)
    usual = float(share @ np.arange(len(share)))
    seen = abs(float(at @ np.asarray(counts)) - events * usual)
    if events > _EXACT_UP_TO_EVENTS:
        spread = math.sqrt(events * float(share @ (np.arange(len(share)) - usual) ** 2))
        return math.erfc(seen / (math.sqrt(2) * spread)) if spread > 0 else 1.0
    chance = np.ones(1)
    for _ in range(events):
        chance = np.convolve(chance, share)
    far = np.abs(np.arange(len(chance)) - events * usual) >= seen - 1e-9
    return min(1.0, float(chance[far].sum()))


def order_trend_p(values: Sequence[float] | FloatArray, places: Sequence[int]) -> float:
    """Two-sided p that the same values in another order follow their places as closely.

    All orders of up to eight values; of up to thirty many orders, always the same ones; of more the normal
    curve with the variance over all orders. Source: Pitman, Supplement to the Journal of the Royal
    Statistical Society 4 (1937), 225-232.
    """
    v = np.asarray(values, dtype=np.float64)
    x = np.asarray(places, dtype=np.float64) - np.mean(places)
    seen = abs(float(v @ x))
    if len(v) > _DRAWN_UP_TO:
        variance = float((v - v.mean()) @ (v - v.mean())) * float(x @ x) / (len(v) - 1)
        return math.erfc(seen / math.sqrt(2 * variance)) if variance > 0 else 1.0
    reached = np.abs(v[_orders(len(v))] @ x) >= seen - 1e-9 * (1.0 + seen)
    return float(np.mean(reached))


@cache
def _orders(n: int) -> NDArray[np.intp]:
    """All orders of n things, or many of them, the one they have first; shape (k, n)."""
    if n <= _ALL_ORDERS_UP_TO:
        return np.array(list(permutations(range(n))), dtype=np.intp)
    shuffled = np.random.default_rng(0).random((_DRAWN_ORDERS - 1, n)).argsort(axis=1)
    return np.vstack((np.arange(n), shuffled))
