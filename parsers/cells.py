"""Cells to values: number, switch or text, and which cells are missing or spoiled."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import field
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from parsers.numbers import EXACT_FLOAT, MISSING, NO_NUMBER, floats_of, is_number, numbers_in
from telemetry.dataclass import dataclass
from telemetry.log import BoolArray, FloatArray, Kind

if TYPE_CHECKING:
    import polars as pl

__all__ = [
    "UNPRINTABLE",
    "Typed",
    "encode_labels",
    "is_understood",
    "type_booleans",
    "type_numbers",
    "type_odd_numbers",
    "type_text",
]

_STATES = (("false", "true"), ("low", "high"), ("off", "on"))
_STATE_OF = MappingProxyType(
    {word: (pair, float(value)) for pair in _STATES for value, word in enumerate(pair)}
)
# A column with a word in more than a tenth of its cells is text: spoiled cells are rarer than that.
_MOST_SPOILED = 0.1
UNPRINTABLE = r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\x{FFFD}]"


def _no_rows() -> NDArray[np.intp]:
    return np.zeros(0, dtype=np.intp)


@dataclass(frozen=True, eq=False)
class Typed:
    """A column's cells as values.

    Attributes:
        values: shape (n,), float64; whatever stands where no value is, is of no meaning.
        valid: shape (n,), True where there is a value; None where all are.
        labels: as in `Channel`.
        void: cells that say "no value" (`NaN`, `null`, …), as against empty ones.
        spoiled: shape (k,), the rows whose cells hold something that is no value of this column.
        logged: shape (n,), the values as the file has them, where `values` cannot say them exactly.
    """

    kind: Kind
    values: FloatArray
    valid: BoolArray | None = None
    labels: tuple[str, ...] = ()
    void: int = 0
    spoiled: NDArray[np.intp] = field(default_factory=_no_rows)
    logged: NDArray[Any] | None = None

    @property
    def blank(self) -> int:
        """Cells that hold no value and are not spoiled."""
        return 0 if self.valid is None else int((~self.valid).sum()) - len(self.spoiled)


def is_understood(cell: str, decimal: str) -> bool:
    """A number, a state, or a spelling of nothing."""
    word = cell.strip().lower()
    return word in MISSING or word in _STATE_OF or is_number(word, decimal)


def type_numbers(values: NDArray[Any], present: BoolArray | None, *, has_unit: bool) -> Typed:
    """Numbers as a typed file holds them; NaN is void, what is not present is empty, infinity is spoiled."""
    floats = values.astype(np.float64, copy=False)
    finite = np.isfinite(floats)
    valid = finite if present is None else finite & present
    whole = values.dtype.kind in "iu"
    void, spoiled = 0, _no_rows()
    if not whole and not finite.all():
        void = int(np.isnan(floats if present is None else floats[present]).sum())
        spoiled = np.flatnonzero(np.isinf(floats) & (True if present is None else present))
    kind = Kind.SWITCH if not has_unit and _two_states(floats[valid], whole=whole) else Kind.NUMBER
    labels = ("0", "1") if kind is Kind.SWITCH else ()
    logged = values if whole and _beyond_float(floats) else None
    return Typed(kind, floats, None if valid.all() else valid, labels, void, spoiled, logged)


def type_odd_numbers(
    numbers: Typed, odd: NDArray[np.intp], texts: Sequence[str], *, decimal: str, has_unit: bool
) -> Typed:
    """Numbers by `type_numbers`, where the cells at `odd` count as not present and hold `texts` instead.

    Odd cells may still say a number (blanks around it, digits in groups), or that there is none.
    """
    valid = np.ones(len(numbers.values), dtype=bool) if numbers.valid is None else numbers.valid.copy()
    values = numbers.values.copy()
    values[odd], void = numbers_in(texts, values[valid], decimal)
    valid[odd] = np.isfinite(values[odd])
    spoiled = np.sort(np.concatenate((numbers.spoiled, odd[~void & ~valid[odd]])))
    kind = Kind.SWITCH if not has_unit and _two_states(values[valid], whole=False) else Kind.NUMBER
    said = int(void.sum()) - sum(not text.strip() for text in texts)
    return Typed(
        kind,
        values,
        _some(valid),
        ("0", "1") if kind is Kind.SWITCH else (),
        numbers.void + said,
        spoiled,
        numbers.logged,
    )


def _beyond_float(floats: FloatArray) -> bool:
    return len(floats) > 0 and bool(np.abs(floats).max() > EXACT_FLOAT)


def _two_states(values: FloatArray, *, whole: bool) -> bool:
    """Only 0 and 1; both, where they are written as fractions: a command that rests at 0.0 is no switch."""
    if not len(values) or values[0] not in (0.0, 1.0):
        return False
    ones = int(np.count_nonzero(values == 1.0))
    zeros = int(np.count_nonzero(values == 0.0))
    return ones + zeros == len(values) and (whole or (ones > 0 and zeros > 0))


def type_booleans(values: BoolArray, present: BoolArray | None) -> Typed:
    """A column of true and false."""
    valid = None if present is None or present.all() else present
    return Typed(Kind.SWITCH, values.astype(np.float64), valid, ("false", "true"))


def type_text(strings: pl.Series, *, decimal: str, has_unit: bool) -> Typed:
    """A column of text cells."""
    numbers = floats_of(strings, decimal)
    if numbers.null_count() == 0:
        values = numbers.to_numpy()
        if np.isfinite(values).all():
            return _type_full(strings, values, has_unit=has_unit)
    return _type_mixed(strings.fill_null(""), decimal, has_unit=has_unit)


def _type_full(strings: pl.Series, values: FloatArray, *, has_unit: bool) -> Typed:
    if not has_unit and _two_states(values, whole=True):
        whole = bool((strings.str.len_bytes() == 1).all())
        if _two_states(values, whole=whole):
            return Typed(Kind.SWITCH, values, None, ("0", "1"))
    return Typed(Kind.NUMBER, values, logged=_whole_numbers(strings, values))


def _whole_numbers(strings: pl.Series, values: FloatArray) -> NDArray[Any] | None:
    """The cells as whole numbers or as they are spelled, where float64 cannot hold every digit of them."""
    import polars as pl

    finite = values[np.isfinite(values)]
    if not _beyond_float(finite):
        return None
    whole = strings.cast(pl.Int64, strict=False)
    if whole.is_not_null().sum() == len(finite):
        return whole.fill_null(0).to_numpy()
    digits = strings.str.contains(r"^[+-]?\d{16,}$").fill_null(value=False)
    return np.array(strings.fill_null("").to_list(), dtype=object) if digits.any() else None


def _type_mixed(strings: pl.Series, decimal: str, *, has_unit: bool) -> Typed:
    """Cells of more than one sort: sorts them into numbers, words, empty and void ones."""
    import polars as pl

    stripped = pl.col("cell").str.strip_chars()
    sorts = strings.to_frame("cell").select(
        bare=stripped,
        lowered=stripped.str.to_lowercase(),
        empty=stripped == "",
        missing=stripped.str.to_lowercase().is_in(list(MISSING)),
    )
    bare, lowered = sorts["bare"], sorts["lowered"]
    empty, missing = sorts["empty"].to_numpy(), sorts["missing"].to_numpy()
    numbers = floats_of(bare, decimal).fill_null(float("nan")).to_numpy()
    unsaid = missing | _unsaid(lowered, numbers)
    numeric = np.isfinite(numbers) & ~unsaid
    words = ~unsaid & ~numeric
    garbled = words & strings.str.contains(UNPRINTABLE).to_numpy() if words.any() else words
    if not words.any() or (_mostly(numeric, words & ~garbled) and np.any(numeric)):
        spoiled = np.flatnonzero(words)
        return _type_numeric(bare, numbers, numeric, spoiled, unsaid & ~empty, has_unit=has_unit)
    return _type_words(strings, lowered, ~missing, int((missing & ~empty).sum()))


def _unsaid(lowered: pl.Series, numbers: FloatArray) -> BoolArray:
    """Which cells spell nothing in a way that may else be a word: so only beside fractions."""
    if not np.any(numbers[np.isfinite(numbers)] % 1 != 0):
        return np.zeros(len(numbers), dtype=bool)
    unsaid: BoolArray = lowered.is_in(list(NO_NUMBER)).to_numpy()
    return unsaid


def _type_numeric(
    bare: pl.Series,
    numbers: FloatArray,
    numeric: BoolArray,
    spoiled: NDArray[np.intp],
    void: BoolArray,
    *,
    has_unit: bool,
) -> Typed:
    whole = bool((bare.filter(numeric).str.len_bytes() == 1).all())
    switch = not has_unit and _two_states(numbers[numeric], whole=whole)
    kind, labels = (Kind.SWITCH, ("0", "1")) if switch else (Kind.NUMBER, ())
    logged = None if switch else _whole_numbers(bare, np.where(numeric, numbers, np.nan))
    return Typed(kind, numbers, _some(numeric), labels, int(void.sum()), spoiled, logged)


def _mostly(good: BoolArray, bad: BoolArray) -> bool:
    spoiled, sound = int(bad.sum()), int(good.sum())
    return spoiled <= max(_MOST_SPOILED * (spoiled + sound), 1) and sound > 2 * spoiled


def _some(valid: BoolArray) -> BoolArray | None:
    return None if valid.all() else valid


def _type_words(strings: pl.Series, lowered: pl.Series, present: BoolArray, void: int) -> Typed:
    spelled = set(lowered.unique().to_list())
    for low_high in _STATES:
        if spelled.isdisjoint(low_high):
            continue
        states = lowered.is_in([*low_high, "0", "1"]).to_numpy()
        others = present & ~states
        if _mostly(states, others) or not others.any():
            return _type_states(strings, lowered, low_high, states, np.flatnonzero(others), void)
    garbled = strings.str.contains(UNPRINTABLE).to_numpy()
    valid = present & ~garbled
    codes, labels = encode_labels(strings)
    kept = np.unique(codes[valid])
    narrowed = np.searchsorted(kept, codes).astype(np.float64)
    return Typed(
        Kind.TEXT,
        narrowed,
        _some(valid),
        tuple(labels[code] for code in kept.tolist()),
        void,
        np.flatnonzero(present & garbled),
    )


def _type_states(
    strings: pl.Series,
    lowered: pl.Series,
    low_high: tuple[str, str],
    states: BoolArray,
    spoiled: NDArray[np.intp],
    void: int,
) -> Typed:
    """States in words; where they are spelled in more than one way, each keeps its own spelling beside."""
    high = lowered.is_in([low_high[1], "1"]).to_numpy()
    labels = _spelled(strings, lowered, low_high)
    spellings = strings.filter(states).unique()
    several = not set(spellings.to_list()) <= set(labels)
    logged = np.array(strings.to_list(), dtype=object) if several else None
    return Typed(Kind.SWITCH, high.astype(np.float64), _some(states), labels, void, spoiled, logged)


def _spelled(strings: pl.Series, lowered: pl.Series, pair: tuple[str, str]) -> tuple[str, str]:
    """The two states as the log spells them; one that never occurs is spelled like the other."""
    seen = {word: strings.filter(lowered == word).head(1).to_list() for word in pair}
    sample = next(found[0] for found in seen.values() if found).strip()

    def like_sample(word: str) -> str:
        if sample.isupper():
            return word.upper()
        return word.capitalize() if sample[0].isupper() else word

    spelled = {word: found[0].strip() if found else like_sample(word) for word, found in seen.items()}
    return spelled[pair[0]], spelled[pair[1]]


def encode_labels(strings: pl.Series) -> tuple[NDArray[np.int64], list[str]]:
    """Codes by order of first appearance, shape (n,), and the spellings they stand for."""
    import polars as pl

    labels = strings.unique(maintain_order=True)
    codes = strings.cast(pl.Enum(labels)).to_physical().to_numpy().astype(np.int64)
    return codes, labels.to_list()
