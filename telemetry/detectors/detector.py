"""What a detector is: a kind of trouble, the subjects it applies to, and a pure function that judges one."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from telemetry.analysis import Analysis
from telemetry.dataclass import dataclass
from telemetry.finding import Finding
from telemetry.robot import Robot

__all__ = ["Detector", "Judgement", "NotEvaluated"]


@dataclass(frozen=True)
class NotEvaluated:
    """A subject that could not be judged, and why, as a clause: `no speed and no command are logged`."""

    reason: str


Judgement = Sequence[Finding] | NotEvaluated
"""The findings of one subject: empty means clear."""


@dataclass(frozen=True)
class Detector:
    """One kind of trouble.

    `subjects` names what of a robot it applies to; `judge` takes what is known so far and one of them;
    `needs` are the steps that it rests on: where one of them broke, nothing is judged.
    """

    kind: str
    title: str
    subjects: Callable[[Robot], Sequence[str]]
    judge: Callable[[Analysis, str], Judgement]
    needs: tuple[str, ...] = ()
