"""The other robots: hits that are on their way, and the forces of those that come to pass."""

import numpy as np

from telemetry.simulator.contacts import Contact, push

__all__ = ["Opponents"]


class Opponents:
    """Hits in the order of their times. ``met`` are those that came to pass."""

    def __init__(
        self,
        contacts: tuple[Contact, ...],
        size: tuple[int, float, float],
        rng: np.random.Generator,
    ) -> None:
        """Take ``size`` as the number of steps, their length in seconds and the robot's mass in kg."""
        steps, self._step_s, self._mass_kg = size
        self._rng = rng
        self._coming = sorted(contacts, key=lambda contact: contact.t_s)
        self._sides_n = (np.zeros(steps), np.zeros(steps))
        self.met: list[Contact] = []

    def pushing_until(self, now_s: float, *, loaded: bool) -> float | None:
        """Let the hits before ``now_s`` come, unless their chance fails; return the end of the last push."""
        until_s = None
        while self._coming and self._coming[0].t_s < now_s:
            contact = self._coming.pop(0)
            chance = contact.chance_loaded if loaded else contact.chance_empty
            if self._rng.random() < chance:
                self.met.append(contact)
                push(contact, self._sides_n, self._step_s, self._mass_kg)
                until_s = contact.t_s + contact.push_s
        return until_s

    def forces(self, first: int, last: int) -> list[tuple[float, float]]:
        """Outside forces on the left and right half of the robot from the first step up to the last, N."""
        left_n, right_n = (side_n[first:last].tolist() for side_n in self._sides_n)
        return list(zip(left_n, right_n, strict=True))
