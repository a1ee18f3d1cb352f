"""The log through other settings: what the robot would have counted, missed or tripped.

Each setting is replayed over a fine scale besides the values asked for. Where the outcome stays at its best
over a stretch of the scale there is a plateau; its middle (by ratio) is recommended, with the margin to its
ends.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from telemetry.analysis import Analysis
from telemetry.dataclass import dataclass
from telemetry.estimators.bursts import without_bursts, without_short
from telemetry.estimators.protection import replay_limit
from telemetry.log import FloatArray
from telemetry.motor_model import MotorModel
from telemetry.records.motors import MotorTrace
from telemetry.records.sensors import Switching
from telemetry.signals import runs, trigger
from telemetry.wording import counted

__all__ = [
    "Outcome", "Plateau", "Replay", "replay_debounce", "replay_distance", "replay_stall", "sum_up",
]  # fmt: skip

_DEBOUNCE_S = tuple(np.geomspace(0.001, 0.5, 55).tolist())
_LIMIT_SHARES = tuple(np.geomspace(0.05, 1.0, 40).tolist())
_DISTANCE_SHARES = tuple(np.geomspace(0.3, 3.0, 60).tolist())

_AS_GOOD = 0.01
_COUNTED = {"debounce": ("pass", "passes"), "stall current": ("stall",), "distance": ("piece",)}


@dataclass(frozen=True)
class Outcome:
    """What one setting would have done: what it counted (or stopped), what it missed, what was extra."""

    setting: float
    counted: int
    missed: int
    extra: int

    @property
    def wrong(self) -> int:
        """Missed and extra together."""
        return self.missed + self.extra


@dataclass(frozen=True)
class Plateau:
    """The stretch of settings with the fewest mistakes, or as good as that, and its middle.

    `most_wrong` is how many mistakes any of them makes at most. `margin` is by what factor the recommended
    setting may change before the outcome does; `low_open` and `high_open` tell that the stretch goes on
    beyond the scale that was tried.
    """

    low: float
    high: float
    recommended: float
    margin: float
    low_open: bool
    high_open: bool
    most_wrong: int = 0


@dataclass(frozen=True)
class Replay:
    """One setting of one part over one or many logs.

    `what` is `debounce`, `stall current` or `distance`; `held` the other setting, in words; `expected` what
    there was to count; `asked` the settings of the call, `scale` the fine ones.
    """

    subject: str
    role: str
    what: str
    unit: str
    held: str
    expected: int
    asked: tuple[Outcome, ...]
    scale: tuple[Outcome, ...]
    plateau: Plateau | None = None
    text: str = ""


def replay_debounce(known: Analysis, settings_s: Sequence[float]) -> Iterator[Replay]:
    """Each beam and limit behind a debounce: a change counts once it has lasted so long, in seconds.

    What there was to count are the passes and presses without their bursts of chatter.
    """
    for role, signals in (("beam", known.beams), ("limit", known.limits)):
        for name, signal in signals.items():
            honest = without_bursts(signal, known.bursts.get(name, ()), known.honest_dwell_s.get(name, 0.03))
            truth = _on(honest)
            asked = tuple(_debounced(signal, truth, wait_s) for wait_s in settings_s)
            scale = tuple(_debounced(signal, truth, wait_s) for wait_s in _DEBOUNCE_S)
            yield Replay(name, role, "debounce", "s", "", len(truth), asked, scale)


def replay_stall(known: Analysis, currents_a: Sequence[float], after_s: float) -> Iterator[Replay]:
    """Each motor behind a current limit that stops it after so long: stalls stopped, and work spoiled."""
    for name, trace in known.motors.items():
        motor, states = known.robot.motors[name], known.motor_states.get(name)
        model = MotorModel.from_motor(motor)
        if motor.stall_current_a is None or states is None or model is None:
            continue
        stood = np.concatenate((states.stall, states.near_stall))
        stood = stood[np.argsort(stood[:, 0], kind="stable")]
        stood = stood[stood[:, 1] - stood[:, 0] >= after_s]
        scale_a = [share * motor.stall_current_a for share in _LIMIT_SHARES]
        asked, scale = (
            tuple(_limited(trace, stood, limit_a, after_s, model) for limit_a in limits)
            for limits in (currents_a, scale_a)
        )
        held = f"after {after_s * 1000:.0f} ms"
        yield Replay(name, "motor", "stall current", "A", held, len(stood), asked, scale)


def replay_distance(known: Analysis, thresholds: Sequence[float], hysteresis: float) -> Iterator[Replay]:
    """Each distance sensor at other thresholds, with a hysteresis, both as logged: what it would count.

    What there was to count is what most settings of the scale agree on.
    """
    for name, sensor in known.robot.ranges.items():
        channel = known.part.channels.get(sensor.signal)
        values = channel.values[np.isfinite(channel.values)] if channel else np.empty(0)
        middle = sensor.near or (float(np.median(thresholds)) if len(thresholds) else None)
        if len(values) == 0 or middle is None or middle <= 0:
            continue
        scale_at = [share * middle for share in _DISTANCE_SHARES]
        counts = [_pieces(values, at, hysteresis) for at in scale_at]
        seen = [count for count in counts if count > 0]
        expected = max(set(seen), key=lambda count: (seen.count(count), -count)) if seen else 0
        asked = tuple(_against(at, _pieces(values, at, hysteresis), expected) for at in thresholds)
        scale = tuple(_against(at, n, expected) for at, n in zip(scale_at, counts, strict=True))
        yield Replay(name, "range", "distance", "", f"hysteresis {hysteresis:g}", expected, asked, scale)


def sum_up(replays: Sequence[Replay]) -> tuple[Replay, ...]:
    """The same parts and settings over all logs together, each with its plateau and a sentence."""
    groups: dict[tuple[str, str, str], list[Replay]] = {}
    for replay in replays:
        groups.setdefault((replay.what, replay.role, replay.subject), []).append(replay)
    return tuple(_concluded(_added(group)) for group in groups.values())


def _added(group: Sequence[Replay]) -> Replay:
    return replace(
        group[0],
        expected=sum(one.expected for one in group),
        asked=_summed([one.asked for one in group]),
        scale=_summed([one.scale for one in group]),
    )


def _summed(columns: Sequence[tuple[Outcome, ...]]) -> tuple[Outcome, ...]:
    return tuple(
        Outcome(
            same[0].setting,
            sum(one.counted for one in same),
            sum(one.missed for one in same),
            sum(one.extra for one in same),
        )
        for same in zip(*columns, strict=True)
    )


def _concluded(replay: Replay) -> Replay:
    told = replace(replay, plateau=_plateau(replay.scale, replay.expected) if replay.expected else None)
    return replace(told, text=_text(told))


def _plateau(scale: Sequence[Outcome], expected: int) -> Plateau:
    """The longest stretch, by ratio, of settings that make as few mistakes as any.

    Where none is without a mistake, one more in a hundred counts as the same: it would be by chance.
    """
    settings = np.array([one.setting for one in scale])
    wrong = np.array([one.wrong for one in scale])
    best = int(wrong.min())
    most = best + int(_AS_GOOD * expected) if best else 0
    first, last = runs(wrong <= most)
    widths = settings[last - 1] / settings[first]
    widest = int(np.argmax(widths))
    start, stop = int(first[widest]), int(last[widest])
    low, high = float(settings[start]), float(settings[stop - 1])
    middle = float(np.sqrt(low * high))
    made = int(wrong[start:stop].max())
    return Plateau(low, high, middle, high / middle, start == 0, stop == len(settings), made)


def _text(replay: Replay) -> str:
    what = f"{replay.subject}: {replay.what}{', ' + replay.held if replay.held else ''}"
    harmless = next((one.setting for one in replay.scale if one.wrong == 0), None)
    if replay.plateau is None and replay.what == "stall current" and harmless is not None:
        return (
            f"{what}: nothing stalled; limits from {_shown(harmless, replay.unit)} up stop no healthy work."
        )
    if replay.plateau is None:
        return f"{what}: there was nothing to count, so no setting is recommended."
    plateau = replay.plateau
    mistakes = f"with {_mistakes(replay, plateau)}" if plateau.most_wrong else "without a mistake"
    of = counted(replay.expected, *_COUNTED[replay.what])
    width = f"{_shown(plateau.low, replay.unit)} to {_shown(plateau.high, replay.unit)}"
    edge = " and perhaps beyond" if plateau.low_open or plateau.high_open else ""
    if plateau.low == plateau.high:
        return f"{what}: {_shown(plateau.low, replay.unit)} alone does best, {mistakes} on {of}: no margin."
    return (
        f"{what}: all settings from {width}{edge} do as well, {mistakes} on {of}; "
        f"recommended {_shown(plateau.recommended, replay.unit)}, a factor of {plateau.margin:.1f} from "
        "either end."
    )


def _mistakes(replay: Replay, plateau: Plateau) -> str:
    fewest = min(one.wrong for one in replay.scale if plateau.low <= one.setting <= plateau.high)
    return f"{f'{fewest} to ' if fewest < plateau.most_wrong else ''}{counted(plateau.most_wrong, 'mistake')}"


def _shown(value: float, unit: str) -> str:
    return f"{value * 1000:.3g} ms" if unit == "s" else f"{value:.3g} {unit}".rstrip()


def _debounced(signal: Switching, truth: FloatArray, wait_s: float) -> Outcome:
    everywhere = np.ones(len(signal.t_s), dtype=bool)
    found = _on(without_short(signal, wait_s, everywhere))
    hits, holds = _touches(found, truth), _touches(truth, found)
    missed = int((hits == 0).sum()) + int(np.maximum(holds - 1, 0).sum())
    extra = int((holds == 0).sum()) + int(np.maximum(hits - 1, 0).sum())
    return Outcome(wait_s, len(found), missed, extra)


def _on(signal: Switching) -> FloatArray:
    """Intervals in which it is on, shape (k, 2); one that is on from the very start is no pass."""
    until_s = np.append(signal.t_s[1:], signal.end_s)
    on = signal.on.copy()
    on[:1] = False
    return np.column_stack((signal.t_s[on], until_s[on]))


def _touches(found: FloatArray, truth: FloatArray) -> np.ndarray:
    """How many of the found intervals overlap each true one, shape (k,); both in order."""
    first = np.searchsorted(found[:, 1], truth[:, 0], side="right")
    last = np.searchsorted(found[:, 0], truth[:, 1], side="left")
    return np.asarray(np.maximum(last - first, 0))


def _limited(
    trace: MotorTrace, stood: FloatArray, limit_a: float, after_s: float, model: MotorModel
) -> Outcome:
    stopped, healthy, _ = replay_limit(
        trace, stood, limit_a=limit_a, after_s=after_s, resistance_ohm=model.resistance_ohm
    )
    return Outcome(limit_a, stopped + healthy, len(stood) - stopped, healthy)


def _pieces(values: FloatArray, threshold: float, hysteresis: float) -> int:
    return len(trigger(-values, -threshold, -(threshold + hysteresis)))


def _against(setting: float, count: int, expected: int) -> Outcome:
    return Outcome(setting, count, max(expected - count, 0), max(count - expected, 0))
