"""`dataclass(frozen=True)` that compiles no code.

The standard one writes and compiles six functions for each class as it is imported, which for our 150 records
took longer than to read a match. This one gives every record the same functions. To type checkers it is the
standard one, and `fields`, `replace` and `asdict` take its records; it has no other options than we use.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, NoReturn

__all__ = ["dataclass"]

if TYPE_CHECKING:
    from dataclasses import dataclass
else:

    def dataclass(*, frozen: bool, eq: bool = True, kw_only: bool = False) -> Callable[[type], type]:
        """The decorator: as the standard one, `frozen` always."""
        if not frozen:
            raise TypeError("only frozen records are made here: take the standard dataclass for others")

        def decorated(record: type) -> type:
            record.__doc__ = record.__doc__ or record.__name__
            dataclasses.dataclass(init=False, repr=False, eq=False, kw_only=kw_only)(record)
            record.__init__ = _initialiser(record)
            record.__repr__ = _repr
            record.__setattr__, record.__delattr__ = _refuse_to_set, _refuse_to_delete
            if eq:
                record.__eq__, record.__hash__ = _equal, _hash
            return record

        return decorated


def _initialiser(record: type[Any]) -> Callable[..., None]:
    fields = dataclasses.fields(record)
    names = [field.name for field in fields]
    by_place = [field.name for field in fields if not field.kw_only]
    known, goes_on = frozenset(names), hasattr(record, "__post_init__")

    def initialise(self: Any, *args: object, **given: object) -> None:
        number = len(args) + len(given)
        given.update(zip(by_place, args, strict=False))
        if len(given) < number:
            raise TypeError(f"{record.__name__}: a field given twice, or more by place than {by_place}")
        if given.keys() != known:
            given.update(_left_out(record, given))
        values = self.__dict__
        for name in names:
            values[name] = given[name]
        if goes_on:
            self.__post_init__()

    return initialise


def _left_out(record: type[Any], given: Mapping[str, object]) -> dict[str, object]:
    """The defaults of the fields that were not given."""
    fields = record.__dataclass_fields__
    if unknown := given.keys() - fields.keys():
        raise TypeError(f"{record.__name__} has no {', '.join(sorted(unknown))}")
    found: dict[str, object] = {}
    for name in fields.keys() - given.keys():
        field = fields[name]
        if field.default is not dataclasses.MISSING:
            found[name] = field.default
        elif field.default_factory is not dataclasses.MISSING:
            found[name] = field.default_factory()
        else:
            raise TypeError(f"{record.__name__} lacks {name}")
    return found


def _values(record: Any) -> tuple[object, ...]:
    return tuple(getattr(record, name) for name in record.__dataclass_fields__)


def _repr(self: Any) -> str:
    told = (f"{name}={getattr(self, name)!r}" for name in self.__dataclass_fields__)
    return f"{type(self).__qualname__}({', '.join(told)})"


def _equal(self: Any, other: object) -> bool:
    return _values(self) == _values(other) if type(other) is type(self) else NotImplemented


def _hash(self: Any) -> int:
    return hash(_values(self))


def _refuse_to_set(self: Any, name: str, value: object) -> NoReturn:
    raise dataclasses.FrozenInstanceError(f"cannot assign to field {name!r}")


def _refuse_to_delete(self: Any, name: str) -> NoReturn:
    raise dataclasses.FrozenInstanceError(f"cannot delete field {name!r}")
