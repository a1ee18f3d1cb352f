"""The driver: a match told as a story, one control tick at a time.

Each part of the story is a generator that sets the commands and yields once a tick.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from telemetry.simulator.mechanisms import LOWER, UPPER, Feed, Flywheel, Hoist, Intake
from telemetry.simulator.plan import MatchPlan
from telemetry.simulator.specification import RobotSpec
from telemetry.simulator.tower import Tower

__all__ = ["Commands", "Driver"]

_SLEW_PER_S = 4.0
_REVERSE_S = 0.6
_INTAKE_TURNS_RAD_S = 100.0
_SHOT_TIMEOUT_S = 6.0
_ARM_PATIENCE_S = 1.2
_ARM_TURNS_RAD_S = 10.0
_CLIMB_SHARE = (0.67, 0.87)  # of the endgame, left when the climb begins


@dataclass(slots=True)
class Commands:
    """What the driver and the robot's code ask of the mechanisms: duties, and a wheel speed in rad/s."""

    left: float = 0.0
    right: float = 0.0
    intake: float = 0.0
    feed: float = 0.0
    launcher: float = 0.0
    hoist: float = 0.0


class Driver:
    """Plays a match with the mechanisms in sight."""

    def __init__(
        self,
        spec: RobotSpec,
        plan: MatchPlan,
        rng: np.random.Generator,
        parts: tuple[Tower, Intake, Feed, Flywheel, Hoist],
        tick_s: float,
    ) -> None:
        self.spec = spec
        self.plan = plan
        self.rng = rng
        self.tower, self.intake, self.feed, self.flywheel, self.hoist = parts
        self.tick_s = tick_s
        self.now_s = 0.0
        self.patience_s = float("inf")
        self.overruns_s = 0.0
        self.pushed_until_s = 0.0
        self.commands = Commands()
        self._story: Iterator[None] = iter(())
        self._gait = "still"
        self._segment_end_s = 0.0
        self._target = (0.0, 0.0)
        self._stuck_s = 0.0
        self._reverse_until_s = -1.0
        left_s = self._uniform(_CLIMB_SHARE) * plan.endgame_s if plan.climbs else 0.0
        self._climb_s = plan.teleop.end_s - left_s

    def begin(self, phase: str) -> None:
        """Start the story of a phase."""
        self.commands = Commands()
        self._gait = "still"
        self._target = (0.0, 0.0)
        stories = {"autonomous": self._autonomous, "teleop": self._teleop}
        self._story = stories[phase]() if phase in stories else iter(())

    def tick(self, now_s: float) -> Commands:
        """Advance the story by one tick; return what the mechanisms are asked for."""
        self.now_s = now_s
        next(self._story, None)
        self._steer()
        feed = self._free_the_belt(self.commands.feed)
        asked = self.commands
        return Commands(asked.left, asked.right, asked.intake, feed, asked.launcher, asked.hoist)

    def _autonomous(self) -> Iterator[None]:
        self._gait = "roam"
        self.commands.launcher = self.spec.flywheel.speed_rad_s
        yield from self._for(1.4)
        yield from self._launch()
        yield from self._collect()
        self._gait = "still"

    def _teleop(self) -> Iterator[None]:
        while self._playing():
            yield from self._collect()
            yield from self._carry()
            yield from self._launch()
            yield from self._go_back()
        yield from self._launch()
        if self.plan.climbs:
            yield from self._climb()
        self._gait = "still"

    def _collect(self) -> Iterator[None]:
        """Roam with intake and belt on until full, or until patience with fewer runs out."""
        self._gait = "roam"
        self.commands.intake = 0.75
        self.commands.feed = self.spec.tower.collect_duty
        wanted = self.spec.capacity if self.rng.random() < 0.7 else max(1, self.spec.capacity - 1)
        give_up_s = self.now_s + self._uniform((9.0, 15.0))
        arrives_s = self.now_s + self._uniform(self.plan.acorn_wait_s) + 0.8
        while self.tower.aboard < wanted and self._playing():
            if self.now_s > give_up_s and self.tower.aboard > 0:
                break
            if self.now_s >= arrives_s and self._can_take():
                self.intake.grip()
                yield from self._for(0.2)
                self.tower.take()
                arrives_s = self.now_s + self._uniform(self.plan.acorn_wait_s)
            yield
        self.commands.intake = 0.0
        yield from self._settle()

    def _can_take(self) -> bool:
        turns = self.intake.motor.speed > _INTAKE_TURNS_RAD_S
        return turns and self.tower.has_room and not self._is_stuck()

    def _settle(self) -> Iterator[None]:
        """Let the last piece ride up before the belt stops."""
        run_on_s = 0.4 + self.spec.tower.catch_m / 0.7
        end_s = self.now_s + run_on_s
        while self.now_s < end_s:
            if self._is_stuck() or self._reversing():
                end_s = self.now_s + run_on_s
            yield
        self.commands.feed = 0.0

    def _carry(self) -> Iterator[None]:
        if self.tower.aboard == 0:
            return
        self._gait = "cross"
        rest_s = self._uniform(self.plan.carry_s)
        yield from self._for(max(rest_s - 1.8, 0.2))
        self.commands.launcher = self.spec.flywheel.speed_rad_s
        yield from self._for(1.4)

    def _launch(self) -> Iterator[None]:
        """Launch all that is aboard, one piece at a time, each when the wheel is at speed again."""
        if self.tower.aboard:
            self._gait = "still"
            self.commands.launcher = self.spec.flywheel.speed_rad_s
            end_s = self.now_s + _SHOT_TIMEOUT_S * self.tower.aboard
            while self.tower.aboard and self.now_s < end_s:
                yield from self._shoot(end_s)
            yield from self._for(0.3)
        self.commands.launcher = 0.0

    def _shoot(self, end_s: float) -> Iterator[None]:
        while not self.flywheel.ready and self.now_s < end_s:
            yield
        aboard = self.tower.aboard
        self.tower.catch_open = True
        self.commands.feed = self.spec.tower.launch_duty
        while self.tower.aboard == aboard and self.now_s < end_s:
            yield
        self.commands.feed = 0.0
        yield from self._for(self._uniform((0.1, 0.35)))

    def _go_back(self) -> Iterator[None]:
        self._gait = "cross"
        end_s = self.now_s + self._uniform(self.plan.return_s)
        while self.now_s < end_s and self._playing():
            yield

    def _climb(self) -> Iterator[None]:
        self.commands = Commands(self.commands.left, self.commands.right)
        self._gait = "cross"
        yield from self._for(self._uniform((2.0, 4.0)))
        self._gait = "still"
        yield from self._for(0.8)
        yield from self._move_arm(self.spec.arm.duty, UPPER)
        yield from self._for(self._uniform((0.4, 1.0)))
        self.hoist.hooked = True
        yield from self._move_arm(-self.spec.arm.duty, LOWER)

    def _move_arm(self, duty: float, limit: int) -> Iterator[None]:
        """Move the arm until the limit reads pressed, or until it has stood still for too long."""
        self.commands.hoist = duty
        still_s = 0.0
        while not self.hoist.switches & limit and still_s < _ARM_PATIENCE_S:
            still_s = 0.0 if abs(self.hoist.motor.speed) > _ARM_TURNS_RAD_S else still_s + self.tick_s
            yield
        yield from self._for(self.overruns_s)
        self.commands.hoist = 0.0

    def _for(self, seconds: float) -> Iterator[None]:
        end_s = self.now_s + seconds
        while self.now_s < end_s - 1e-9:
            yield

    def _playing(self) -> bool:
        """Whether it is too early to climb; in autonomous, whether the phase goes on."""
        return self.now_s < self._climb_s

    def _is_stuck(self) -> bool:
        return self._stuck_s > 0.1

    def _reversing(self) -> bool:
        return self.now_s < self._reverse_until_s

    def _free_the_belt(self, feed: float) -> float:
        """Notice a belt that stands while driven, and after the driver's patience run it backwards."""
        if self._reversing():
            return -0.4
        stands = abs(feed) > 0.2 and abs(self.feed.motor.speed) < 3.0
        self._stuck_s = self._stuck_s + self.tick_s if stands else 0.0
        if self._stuck_s > self.patience_s:
            self._stuck_s = 0.0
            self._reverse_until_s = self.now_s + _REVERSE_S
            return -0.4
        return feed

    def _steer(self) -> None:
        """Pick the next stretch of driving when one is over; move the duties towards it."""
        if self._gait == "still":
            self._target = (0.0, 0.0)
            self._segment_end_s = self.now_s
        elif self.now_s >= self._segment_end_s:
            self._target = self._next_stretch()
            self._segment_end_s = self.now_s + self._uniform((0.5, 1.6))
        left, right = self._target
        if self.now_s < self.pushed_until_s and self._gait != "still":
            left, right = (max(abs(side), 0.75) * (1 if side >= 0 else -1) for side in (left, right))
        self.commands.left = self._towards(self.commands.left, left)
        self.commands.right = self._towards(self.commands.right, right)

    def _next_stretch(self) -> tuple[float, float]:
        if self._gait == "cross":
            ahead, turn = self._uniform((0.55, 0.9)), self._uniform((-0.12, 0.12))
        else:
            ahead, turn = self._uniform((0.35, 0.65)), self._uniform((-0.25, 0.25))
            if self.rng.random() < 0.2:
                ahead = -ahead
        return ahead - turn, ahead + turn

    def _towards(self, duty: float, target: float) -> float:
        most = _SLEW_PER_S * self.tick_s
        return duty + min(max(target - duty, -most), most)

    def _uniform(self, pair: tuple[float, float]) -> float:
        return float(self.rng.uniform(*pair))
