"""The tower: pieces that have length on a belt past beams, held by a catch, gripped by a wheel."""

from dataclasses import dataclass

from telemetry.simulator.specification import TowerSpec

__all__ = ["Piece", "Tower"]

_LOWEST_TAIL_M = -0.05


@dataclass(slots=True)
class Piece:
    """One game piece and its story. Times are seconds; ``None``: has not happened."""

    number: int
    front_m: float
    preload: bool = False
    entered_s: float | None = None
    released_s: float | None = None


class Tower:
    """The pieces aboard, the foremost first.

    ``broken`` has a bit for each beam, the first beam's the lowest, and one more for the range sensor.
    """

    def __init__(self, spec: TowerSpec, preload: int) -> None:
        self.spec = spec
        length = spec.piece_length_m
        self.pieces = [
            Piece(number=n + 1, front_m=spec.catch_m - n * length, preload=True) for n in range(preload)
        ]
        self.story = list(self.pieces)
        self.catch_open = False
        self.blocked = 0
        positions = [beam.position_m for beam in spec.beams]
        if spec.range_sensor is not None:
            positions.append(spec.range_sensor.position_m)
        self._places = [(1 << n, position_m) for n, position_m in enumerate(positions)]
        self.broken = self._look()

    @property
    def has_room(self) -> bool:
        """Whether the belt can take over another piece now."""
        return not self.pieces or self.pieces[-1].front_m > self.spec.piece_length_m

    @property
    def aboard(self) -> int:
        """Pieces on the belt, those short of the first beam included."""
        return len(self.pieces)

    def take(self) -> None:
        """Take a piece over from the intake."""
        piece = Piece(number=len(self.story) + 1, front_m=0.0)
        self.pieces.append(piece)
        self.story.append(piece)

    def carry(self, distance_m: float, now_s: float) -> bool:
        """Move the belt; return whether the wheel gripped a piece."""
        if not self.pieces or distance_m == 0.0:
            self.blocked = 0
            return False
        if distance_m > 0.0:
            self._forward(distance_m)
        else:
            self._backward(distance_m)
        gripped = self.pieces[0].front_m >= self.spec.nip_m
        if gripped:
            self.pieces.pop(0).released_s = now_s
            self.catch_open = False
        self.broken = self._look()
        self._note_entries(now_s)
        return gripped

    def _forward(self, distance_m: float) -> None:
        length = self.spec.piece_length_m
        bound = self.spec.nip_m if self.catch_open else max(self.spec.catch_m, self.pieces[0].front_m)
        self.blocked = 0
        for piece in self.pieces:
            moved = piece.front_m + distance_m
            if moved > bound:
                moved = bound
                self.blocked += 1
            piece.front_m = moved
            bound = moved - length

    def _backward(self, distance_m: float) -> None:
        length = self.spec.piece_length_m
        floor = _LOWEST_TAIL_M + length
        self.blocked = 0
        for piece in reversed(self.pieces):
            moved = piece.front_m + distance_m
            if moved < floor:
                moved = min(floor, piece.front_m)
                self.blocked += 1
            piece.front_m = moved
            floor = moved + length

    def _look(self) -> int:
        length = self.spec.piece_length_m
        broken = 0
        for bit, place in self._places:
            for piece in self.pieces:
                if piece.front_m - length < place <= piece.front_m:
                    broken |= bit
                    break
        return broken

    def _note_entries(self, now_s: float) -> None:
        first = self._places[0][1]
        for piece in reversed(self.pieces):
            if piece.preload or piece.entered_s is not None:
                break
            if piece.front_m >= first:
                piece.entered_s = now_s
