"""Records beside those of the standard library."""

from __future__ import annotations

import dataclasses
import pickle
from collections.abc import Callable
from dataclasses import FrozenInstanceError, field

import pytest

from telemetry.dataclass import dataclass


@dataclass(frozen=True)
class Ours:
    a: int
    b: str = "two"
    c: list[int] = field(default_factory=list)


@dataclasses.dataclass(frozen=True)
class Theirs:
    a: int
    b: str = "two"
    c: list[int] = field(default_factory=list)


@dataclass(frozen=True, kw_only=True)
class Named:
    a: int
    b: int = 2


@dataclass(frozen=True, eq=False)
class Itself:
    a: int


@dataclass(frozen=True)
class Checked:
    a: int

    def __post_init__(self) -> None:
        if self.a < 0:
            raise ValueError("a is negative")


class TestMaking:
    @pytest.mark.parametrize(
        "make",
        [
            lambda kind: kind(1),
            lambda kind: kind(1, "x", [3]),
            lambda kind: kind(1, c=[3], b="x"),
            lambda kind: kind(c=[3], a=1),
            lambda kind: dataclasses.replace(kind(1), b="x"),
        ],
    )
    def test_fields_are_those_of_the_standard_record_in_order(self, make: Callable[[type], object]) -> None:
        ours, theirs = make(Ours), make(Theirs)
        assert list(vars(ours).items()) == list(vars(theirs).items())
        assert repr(ours) == repr(theirs).replace("Theirs", "Ours")
        assert dataclasses.astuple(ours) == dataclasses.astuple(theirs)  # type: ignore[call-overload]

    @pytest.mark.parametrize(
        "make",
        [
            lambda kind: kind(),
            lambda kind: kind(b="x"),
            lambda kind: kind(1, a=1),
            lambda kind: kind(1, d=1),
            lambda kind: kind(d=1),
            lambda kind: kind(1, "x", [3], 4),
            lambda kind: dataclasses.replace(kind(1), d=1),
        ],
    )
    @pytest.mark.parametrize("kind", [Ours, Theirs])
    def test_a_field_lacking_or_unknown_or_given_twice_is_an_error(
        self, kind: type, make: Callable[[type], object]
    ) -> None:
        with pytest.raises(TypeError):
            make(kind)

    def test_a_factory_makes_each_record_its_own(self) -> None:
        assert Ours(1).c is not Ours(1).c

    def test_fields_by_keyword_only_are_not_taken_by_place(self) -> None:
        assert Named(a=1) == Named(a=1, b=2)
        with pytest.raises(TypeError):
            Named(1)  # type: ignore[misc]

    def test_what_follows_the_making_is_called(self) -> None:
        with pytest.raises(ValueError, match="negative"):
            Checked(-1)

    def test_others_than_frozen_ones_are_refused(self) -> None:
        with pytest.raises(TypeError):
            dataclass(frozen=False)


class TestRecords:
    def test_nothing_can_be_set_or_deleted(self) -> None:
        record = Ours(1)
        with pytest.raises(FrozenInstanceError):
            record.a = 2  # type: ignore[misc]
        with pytest.raises(FrozenInstanceError):
            del record.b
        assert record == Ours(1)

    def test_equal_are_those_of_one_kind_with_equal_fields(self) -> None:
        assert Ours(1) == Ours(1)
        assert Ours(1) != Ours(2)
        assert Ours(1) != Theirs(1)

    def test_equal_records_have_one_hash(self) -> None:
        assert len({Named(a=1), Named(a=1), Named(a=2)}) == 2

    def test_without_equality_a_record_is_equal_to_itself_only(self) -> None:
        one, other = Itself(1), Itself(1)
        assert one == one
        assert one != other
        assert len({one, other}) == 2

    def test_records_go_through_a_pickle(self) -> None:
        assert pickle.loads(pickle.dumps(Ours(1, "x", [3]))) == Ours(1, "x", [3])  # noqa: S301 - our own bytes
