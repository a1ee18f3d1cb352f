"""The clock of a long log, whose rows may lie in order of time, channel by channel, or in batches."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np
from numpy.typing import NDArray

from parsers.batches import are_batches, are_too_few_to_tell, cut_between_runs
from parsers.channels import Groups
from parsers.clock import (
    FILLING_SHARE,
    MendedClock,
    Rows,
    Sorting,
    UnorderedClockError,
    in_hole,
    in_parts,
    lay_out,
    mend_clock,
    sort_rows,
    steady_tick,
)
from parsers.order import displaced_rows, is_habit_of_few
from telemetry.dataclass import dataclass
from telemetry.log import BoolArray, FloatArray

__all__ = ["mend_long_clock"]

# Our choice: more rows than this out of order are the logger's habit, no fault.
_HABIT_SHARE = 0.1
_FEW_FALLS = 20
_SEVERAL, _FEW_LATE = 2, 3
_NONE: Rows = np.zeros(0, dtype=np.intp)


@dataclass(frozen=True, eq=False)
class _Cut:
    """The row at which a run of the clock begins, and rows before it that may be of either run."""

    row: int
    doubtful: Rows


def mend_long_clock(t: FloatArray, groups: Groups, again: Rows = _NONE) -> MendedClock:
    """Times in file order, shape (n,), of rows that belong to channels, to an even flow of time.

    What counts is the order within each channel. Where all channels' own times rise, the rows are sorted;
    those out of order among other channels are late ones only where they are few, of any channel, and lie
    among many in order, since a logger that writes in batches does so again and again. Where no channel
    alone started over, none did; where they start over at one place of the file, that parts it. Where the
    file goes back far oftener than any channel does, each channel is mended alone, and the pieces are laid
    end to end.
    `again` are the rows before which the file says its header again: where most channels fall there, the
    clock started over. Raises UnorderedClockError when channels disagree about how often it did.
    """
    if not np.any(np.diff(t) < 0):
        return mend_clock(t)
    cuts = np.array([row for row in again.tolist() if _falls_across(t, groups, row)], dtype=np.intp)
    return lay_out(t, _part_by_part(t, groups, cuts))


def _part_by_part(t: FloatArray, groups: Groups, cuts: Rows) -> Sorting:
    channel = _channel_of(groups)
    if not len(cuts):
        return _sort_long_rows(t, groups)
    return in_parts(len(t), cuts, lambda part: _sort_long_rows(t[part], _groups_of(channel[part])))


def _groups_of(channel: NDArray[np.intp]) -> Groups:
    """The rows of each channel, nameless."""
    _, codes = np.unique(channel, return_inverse=True)
    bounds = np.concatenate(([0], np.cumsum(np.bincount(codes))))
    return Groups([""] * (len(bounds) - 1), np.argsort(codes, kind="stable"), bounds)


def _parted_at(t: FloatArray, groups: Groups, cuts: list[_Cut]) -> Sorting:
    """The runs between the cuts, each sorted for itself, without the rows that may be of either."""
    doubtful = np.concatenate([cut.doubtful for cut in cuts])
    kept = np.delete(np.arange(len(t)), doubtful)
    starts = np.searchsorted(kept, [cut.row for cut in cuts])
    sorting = _part_by_part(t[kept], _groups_of(_channel_of(groups)[kept]), starts)
    piece = np.zeros(len(t), dtype=np.intp)
    piece[kept] = sorting.piece
    return Sorting(piece, np.sort(np.concatenate((kept[sorting.spoiled], doubtful))), kept[sorting.late])


def _sort_long_rows(t: FloatArray, groups: Groups) -> Sorting:
    most = _most_steps_back(t, groups)
    if most == 0:
        late = _NONE if _in_blocks(groups) else displaced_rows(t)
        if not len(late) or _is_habit(late, t, groups) or are_too_few_to_tell(t, _channel_of(groups)):
            late = _NONE
        return _one_piece(t, _NONE, late)
    alone = _sorted_alone(t, groups)
    falls = np.flatnonzero(np.diff(t) < 0) + 1
    if not any(sorting.piece[-1] for sorting in alone.values()):
        turns = [fall for fall in falls[:_FEW_FALLS].tolist() if _turns_back(t, groups, fall)]
        everyone = _turns_at_one_place(t, groups)
        if not _begins_anew(t, groups, everyone) and (len(falls) > _FEW_FALLS or not turns):
            return _sorted_in(t, groups, alone)
        if len(everyone):
            found = [_cut_within(t, groups, everyone, (0, len(t)), in_batches=len(falls) > 1)]
        else:
            found = [_Cut(turn, _NONE) for turn in turns]
        cuts = [cut for cut in found if not _fill_own_holes(t, groups, cut.row)]
        return _parted_at(t, groups, cuts) if cuts else _sorted_as_one(t)
    cuts = [] if _in_blocks(groups) else _common_restarts(t, groups, alone)
    if cuts:
        return _parted_at(t, groups, cuts)
    if _in_blocks(groups) or len(falls) > 3 * most + 3:
        return _by_channel(t, groups)
    return _sorted_as_one(t)


def _sorted_as_one(t: FloatArray) -> Sorting:
    """The rows sorted as those of a wide log; so many late ones show that something else happened."""
    sorting = sort_rows(t)
    if len(sorting.late) > max(_HABIT_SHARE * len(t), _FEW_LATE):
        raise UnorderedClockError
    return sorting


def _is_habit(late: Rows, t: FloatArray, groups: Groups) -> bool:
    """Whether rows out of order are how the logger writes."""
    if len(late) > _HABIT_SHARE * len(groups.rows):
        return True
    channel = _channel_of(groups)
    return len(late) > 0 and (is_habit_of_few(t, channel) or are_batches(t, channel))


def _channel_of(groups: Groups) -> NDArray[np.intp]:
    channel = np.empty(len(groups.rows), dtype=np.intp)
    channel[groups.rows] = np.repeat(np.arange(len(groups.names)), np.diff(groups.bounds))
    return channel


def _one_piece(t: FloatArray, spoiled: Rows, late: Rows) -> Sorting:
    return Sorting(np.zeros(len(t), dtype=np.intp), spoiled, late)


def _sorted_alone(t: FloatArray, groups: Groups) -> dict[int, Sorting]:
    """The channels whose own times step back somewhere, each sorted for itself."""
    return {
        int(index): sort_rows(t[_rows_of(groups, index)])
        for index in np.flatnonzero(_steps_back(t, groups)).tolist()
    }


def _rows_of(groups: Groups, index: int) -> Rows:
    return groups.rows[groups.bounds[index] : groups.bounds[index + 1]]


def _fill_own_holes(t: FloatArray, groups: Groups, fall: int) -> bool:
    """Whether the rows that lie behind after a fall fit into holes that their own channels have above it.

    Only channels that tick evenly tell a hole; where none does, the rows fit.
    """
    front = float(t[:fall].max())
    told = filling = 0
    for index in range(len(groups.names)):
        own = t[_rows_of(groups, index)]
        place = int(np.searchsorted(_rows_of(groups, index), fall))
        behind = own[place:][np.minimum.accumulate(own[place:] <= front)]
        tick = steady_tick(own)
        if tick and len(behind) and place > 1:
            told += len(behind)
            filling += int(np.sum(in_hole(behind, np.sort(own[:place]), tick)))
    return filling >= FILLING_SHARE * told


def _sorted_in(t: FloatArray, groups: Groups, alone: dict[int, Sorting]) -> Sorting:
    """Rows sorted in where no channel started over; where others lie late by habit, only the channels' own
    disorder counts. So many rows behind others of their own channel are not late: something started over,
    and too few rows show where."""
    spoiled = np.sort(np.concatenate([_rows_of(groups, i)[m.spoiled] for i, m in alone.items()]))
    own = np.sort(np.concatenate([_rows_of(groups, i)[m.late] for i, m in alone.items()]))
    if len(own) > _HABIT_SHARE * len(t):
        raise UnorderedClockError
    kept = np.setdiff1d(np.arange(len(t)), spoiled)
    late = kept[displaced_rows(t[kept])]
    return _one_piece(t, spoiled, own if _is_habit(late, t, groups) else late)


def _common_restarts(t: FloatArray, groups: Groups, alone: dict[int, Sorting]) -> list[_Cut]:
    """The rows from which on all channels start over, in a file that was written from then to now."""
    in_batches = int(np.sum(np.diff(t) < 0)) > max(sorting.piece[-1] for sorting in alone.values())
    restarting = [
        (_rows_of(groups, index), np.flatnonzero(np.diff(sorting.piece)) + 1)
        for index, sorting in alone.items()
    ]
    most = max(len(resets) for _, resets in restarting)
    all_turns = [
        np.array([(r[at[number] - 1], r[at[number]]) for r, at in restarting if len(at) == most])
        for number in range(most)
    ]
    if most == 1 and len(everyone := _turns_at_one_place(t, groups)):
        all_turns = [everyone]
    cuts: list[_Cut] = []
    for number, turns in enumerate(all_turns):
        if turns[:, 0].max() >= turns[:, 1].min():
            return []
        past = len(t) if number + 1 == len(all_turns) else int(all_turns[number + 1][:, 0].max()) + 1
        known = (cuts[-1].row if cuts else 0, past)
        cut = _cut_within(t, groups, turns, known, in_batches=in_batches)
        if not _turns_back(t, groups, cut.row):
            return []
        cuts.append(cut)
    return cuts


def _cut_within(
    t: FloatArray, groups: Groups, turns: NDArray[np.intp], known: tuple[int, int], *, in_batches: bool
) -> _Cut:
    """The row at which a new run begins, of those after the last row before it and up to the first behind.

    Rows of channels that say little may lie between: of the new run they are by their times; in a log that
    is written in batches, by the windows of the two runs, which lie within the rows `known`.
    """
    last, first = int(turns[:, 0].max()), int(turns[:, 1].min())
    if in_batches:
        start, past = known
        cut, doubtful = cut_between_runs(
            t[start:past], _channel_of(groups)[start:past], last - start, first - start
        )
        return _Cut(cut + start, doubtful + start)
    middle_s = (t[turns[:, 0]].max() + t[turns[:, 1]].min()) / 2
    return _Cut(last + 1 + int(np.argmax(t[last + 1 : first + 1] < middle_s)), _NONE)


def _turns_at_one_place(t: FloatArray, groups: Groups) -> NDArray[np.intp]:
    """The rows before and after each step back of a channel's own times, shape (k, 2), where one place of
    the file parts all of them; else none. A channel of few rows may not show alone that it started over.
    """
    steps = np.flatnonzero(_own_steps_back(t, groups))
    turns = np.stack((groups.rows[steps], groups.rows[steps + 1]), axis=1)
    return turns if turns[:, 0].max() < turns[:, 1].min() else turns[:0]


def _begins_anew(t: FloatArray, groups: Groups, turns: NDArray[np.intp]) -> bool:
    """Whether several channels do not go on where some step back, and the file goes back to where it began:
    rows moved by accident would have to be the very first."""
    if not len(turns):
        return False
    cut = int(turns[:, 1].min())
    back = sum(bool(t[rows[place]] <= t[rows[place - 1]]) for rows, place in _across(groups, cut))
    return back >= _SEVERAL and bool(t[cut:].min() <= t[:cut].min())


def _falls_across(t: FloatArray, groups: Groups, cut: int) -> bool:
    """Whether most rows belong to channels that go on, after a row, before where they were above it."""
    return _mostly(groups, cut, lambda rows, place: bool(t[rows[place]] < t[rows[place - 1]]))


def _turns_back(t: FloatArray, groups: Groups, cut: int) -> bool:
    """Whether most rows belong to channels that go back there and stay back."""

    def stays_back(rows: Rows, place: int) -> bool:
        before, after = t[rows[max(place - 2, 0) : place]], t[rows[place : place + 2]]
        return bool(after[0] < before[-1] and after[0] <= before[0] and after[-1] <= before[-1])

    return _mostly(groups, cut, stays_back)


def _mostly(groups: Groups, cut: int, holds: Callable[[Rows, int], bool]) -> bool:
    """Whether it holds, of a channel's rows and the place of a row among them, for the channels of most rows,
    among those with rows on both sides of it."""
    held = across = 0
    for rows, place in _across(groups, cut):
        across += len(rows)
        held += len(rows) * int(holds(rows, place))
    return 2 * held > across


def _across(groups: Groups, cut: int) -> Iterator[tuple[Rows, int]]:
    """The rows of each channel that has some on both sides of a row, and at which of them it parts them."""
    for index in range(len(groups.names)):
        rows = _rows_of(groups, index)
        place = int(np.searchsorted(rows, cut))
        if 0 < place < len(rows):
            yield rows, place


def _steps_back(t: FloatArray, groups: Groups) -> NDArray[np.intp]:
    """How often each channel's own times step back."""
    channel = np.searchsorted(groups.bounds, np.flatnonzero(_own_steps_back(t, groups)), side="right") - 1
    return np.bincount(channel, minlength=len(groups.names))


def _own_steps_back(t: FloatArray, groups: Groups) -> BoolArray:
    """Between which rows of one channel its times step back, in the order of `groups.rows`."""
    back: BoolArray = np.diff(t[groups.rows]) < 0
    back[groups.bounds[1:-1] - 1] = False
    return back


def _most_steps_back(t: FloatArray, groups: Groups) -> int:
    """The most steps back among one channel's own rows."""
    return int(_steps_back(t, groups).max())


def _in_blocks(groups: Groups) -> bool:
    """Whether each channel has its own run of rows in the file, one channel behind the other."""
    return len(groups.names) > 1 and not np.any(np.diff(groups.rows) != 1)


def _by_channel(t: FloatArray, groups: Groups) -> Sorting:
    piece = np.zeros(len(t), dtype=np.intp)
    spoiled, late, restarts = [], [], set()
    for index in range(len(groups.names)):
        rows = _rows_of(groups, index)
        sorting = sort_rows(t[rows])
        piece[rows] = sorting.piece
        spoiled.append(rows[sorting.spoiled])
        late.append(rows[sorting.late])
        restarts.add(int(sorting.piece[-1]))
    if len(restarts) > 1:
        raise UnorderedClockError
    return Sorting(piece, np.sort(np.concatenate(spoiled)), np.sort(np.concatenate(late)))
