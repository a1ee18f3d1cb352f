"""Whether a column of words names the channels of a long log, told by what the other columns do beside it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from parsers.cells import UNPRINTABLE, encode_labels
from parsers.numbers import MISSING, floats_of
from parsers.table import TextColumn
from telemetry.log import BoolArray, FloatArray

__all__ = ["are_names", "falls_between_names", "sorts_values", "ticks_by_name", "words_of"]

_FEWEST_FALLS = 3
_MOST_FALLS_WITHIN = 0.1
_FEWEST_STEPS = 5
_RISES_A_STEP_BACK = 4
_MANY_ROWS, _SELDOM = 20, 2
# Our choice: a name's values are of one kind but for a tenth; a step is uneven that is half off the median.
_OTHERWISE_SHARE = 0.1
_UNEVEN_SHARE = 0.5
_LEFT_SHARE = 0.1


def words_of(column: TextColumn) -> tuple[NDArray[np.int64], list[str]]:
    """Code of each row's word, shape (n,), and the words."""
    return encode_labels(column.strings.fill_null("").str.strip_chars())


def falls_between_names(codes: NDArray[np.integer], stamps: FloatArray) -> bool:
    """Whether the stamps, shape (n,), fall only from one name to another, and rise beside each of them.

    So does the clock of a log that is written channel after channel, or in batches, perhaps started over
    once; that of a wide log which starts over falls beside each word that comes again.
    """
    known = np.isfinite(stamps) & _is_no_accident(codes)
    codes, stamps = codes[known], stamps[known]
    falls = np.diff(stamps) < 0
    changes = np.diff(codes) != 0
    if not falls.any() or len(np.unique(codes)) < 2:
        return False
    rows = np.argsort(codes, kind="stable")
    same = np.diff(codes[rows]) == 0
    own, before, after = np.diff(stamps[rows])[same], rows[:-1][same], rows[1:][same]
    back = own < 0
    in_blocks = bool(np.all(falls[changes])) and int(changes.sum()) == len(np.unique(codes)) - 1
    often = int(falls.sum()) >= _FEWEST_FALLS
    seldom = np.sum(back) <= max(_MOST_FALLS_WITHIN * falls.sum(), 1)
    rises = int(np.sum(own > 0))
    rising = rises >= _FEWEST_STEPS and bool(seldom or _is_one_restart(before[back], after[back], rises))
    return (in_blocks or often) and rising


def _is_one_restart(before: NDArray[np.intp], after: NDArray[np.intp], rises: int) -> bool:
    """Whether one place of the file parts the rows on both sides of all steps back, few beside the rises."""
    return _RISES_A_STEP_BACK * len(before) <= rises and bool(before.max() < after.min())


def _is_no_accident(codes: NDArray[np.integer]) -> BoolArray:
    """Rows of names said three times at least; all, where such are less than nine tenths."""
    often: BoolArray = np.bincount(codes)[codes] > _SELDOM
    return often if often.mean() >= 1 - _MOST_FALLS_WITHIN else np.ones(len(codes), dtype=bool)


def are_names(column: TextColumn) -> BoolArray:
    """Which cells name a channel, shape (n,): not empty, and no garbage said only once or twice."""
    cells = column.strings.fill_null("").str.strip_chars()
    named: BoolArray = (cells != "").to_numpy()
    garbled = cells.str.contains(UNPRINTABLE)
    if garbled.any() and len(cells) > _MANY_ROWS:
        said = cells.filter(garbled).value_counts(name="times")
        seldom = said.filter(said["times"] <= _SELDOM).to_series(0)
        named &= ~cells.is_in(seldom.to_list()).to_numpy()
    return named


def sorts_values(names: TextColumn, values: TextColumn) -> bool:
    """Whether some names stand beside numbers and some beside words, a cell in ten of each aside."""
    codes, words = words_of(names)
    cells = values.strings.fill_null("").str.strip_chars()
    void = cells.str.to_lowercase().is_in(list(MISSING)).to_numpy()
    numbers = floats_of(cells, values.decimal).is_not_null().to_numpy() & ~void
    of_number, of_word = (
        np.bincount(codes[kind], minlength=len(words)) for kind in (numbers, ~numbers & ~void)
    )
    said = of_number + of_word
    mixed = np.minimum(of_number, of_word) > _OTHERWISE_SHARE * said
    worded = (of_word > of_number) & ~mixed
    several = int(of_word[worded].sum()) >= 2 * int(worded.sum()) > 0
    return several and not mixed.any() and bool(np.any(of_number > of_word)) and 2 * len(words) <= len(codes)


def ticks_by_name(codes: NDArray[np.integer], stamps: FloatArray) -> bool:
    """Whether a clock, shape (n,), that does not tick evenly does so in the rows of its most frequent name.

    So does that of a long log with a sampled channel; in a wide log a word stands in rows like all others.
    """
    known = np.isfinite(stamps)
    codes, stamps = codes[known], stamps[known]
    if not len(codes):
        return False
    own = stamps[codes == np.argmax(np.bincount(codes))]
    uneven, alone = _uneven_steps(stamps), _uneven_steps(own)
    return uneven >= _FEWEST_STEPS and len(own) > _MANY_ROWS and alone <= _LEFT_SHARE * uneven


def _uneven_steps(stamps: FloatArray) -> int:
    steps = np.diff(stamps)
    if not len(steps):
        return 0
    typical = abs(float(np.median(steps)))
    return int(np.sum(np.abs(steps - typical) > _UNEVEN_SHARE * typical))
