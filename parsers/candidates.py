"""Ways to read a delimited text, each weighed by how much of a log it makes of the whole sample."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from types import MappingProxyType

import numpy as np

from parsers.cells import is_understood
from parsers.clockcolumn import has_clock
from parsers.naming import falls_between_names
from parsers.numbers import MISSING, is_number, is_one_group
from parsers.records import split_lines
from parsers.sampling import Sample
from parsers.stamps import rough_stamp
from telemetry.dataclass import dataclass
from telemetry.log import FloatArray
from telemetry.units import unit_named

__all__ = [
    "REMARK",
    "UNIT_BRACKETS",
    "Candidate",
    "is_unit_row",
    "rank_candidates",
    "rough_columns",
    "thinned",
]

DELIMITERS = MappingProxyType({",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"})
_DECIMALS = MappingProxyType({".": "point", ",": "comma"})
UNIT_BRACKETS = " []()"
REMARK = re.compile(r"^\s*(#|%|//)+\s*")
_MOST_CELLS = 3_000
_FEWEST_ROWS = 25
# Our choice: rows of one width that no clock runs through are half a log.
_WITHOUT_CLOCK = 0.5


@dataclass(frozen=True)
class Candidate:
    """One reading: its marks, the width most rows have, and the evidence, each a share of the sample.

    Attributes:
        even: rows of that width.
        sense: cells that are numbers, times, states or empty; a word counts half.
        clock: some column rises as a clock does.
        fractions: some number holds the decimal sign.
        columns: rough stamps by column, NaN where a cell is no time.
    """

    delimiter: str
    decimal: str
    width: int
    even: float
    sense: float
    clock: bool
    fractions: bool
    columns: tuple[FloatArray, ...]

    @property
    def score(self) -> float:
        """How much of a log this reading makes of the sample, 0 to 1."""
        return self.even * self.sense * (1.0 if self.clock else _WITHOUT_CLOCK)

    @property
    def marks(self) -> str:
        """The reading in words."""
        return f"{DELIMITERS[self.delimiter]} between cells, decimal {_DECIMALS[self.decimal]}"

    @property
    def evidence(self) -> str:
        """What speaks for it, in words."""
        clock = "a column that rises as a clock" if self.clock else "no column that rises as a clock"
        return (
            f"{self.even:.0%} of the sampled rows have {self.width} cells, {self.sense:.0%} of these make "
            f"sense, {clock}"
        )


def rank_candidates(
    sample: Sample, delimiter: str | None = None, decimal: str | None = None
) -> list[Candidate]:
    """All readings that find more than one cell in a row, the best first; the marks given are not doubted."""
    found = [
        candidate
        for mark in ([delimiter] if delimiter else DELIMITERS)
        for candidate in _readings(sample, mark, decimal)
    ]
    return sorted(found, key=lambda candidate: candidate.score, reverse=True)


def _readings(sample: Sample, delimiter: str, decimal: str | None) -> list[Candidate]:
    """The readings with one delimiter; with decimal commas only where cells hold commas or groups."""
    rows = [
        cells
        for lines in (sample.head, *sample.later)
        for _, cells in split_lines(list(enumerate(lines)), delimiter)
    ]
    rows = _without_remarks(rows)
    widths = Counter(len(cells) for cells in rows if len(cells) > 1)
    if not widths:
        return []
    width = max(widths, key=lambda w: (widths[w], w))
    fitting = [cells for cells in rows if len(cells) == width]
    even, chosen = len(fitting) / len(rows), thinned(fitting)
    commas = any("," in cell or _has_groups(cell) for cells in chosen for cell in cells)
    signs = [decimal] if decimal else [sign for sign in _DECIMALS if sign == "." or commas]
    return [_read_as(chosen, delimiter, sign, width, even) for sign in signs]


def _has_groups(cell: str) -> bool:
    """Whether points part the digits of a number in groups, as they do beside decimal commas."""
    return cell.count(".") > 1 and is_number(cell.strip(), ",")


def _without_remarks(rows: list[list[str]]) -> list[list[str]]:
    """The rows that do not begin as a remark does, unless such are but few: then it is how values begin."""
    plain = [cells for cells in rows if not REMARK.match(cells[0])]
    return plain if 2 * len(plain) >= len(rows) else rows


def _read_as(rows: list[list[str]], delimiter: str, decimal: str, width: int, even: float) -> Candidate:
    columns = rough_columns(rows, decimal)
    heads = 2 if len(rows) > 2 and is_unit_row(rows[1]) else int(len(rows) > 1)
    below_header = tuple(column[heads:] for column in columns)
    stamped = np.isfinite(np.array(columns))
    sense = float(stamped.sum())
    for row, column in np.argwhere(~stamped.T).tolist():
        sense += _sense(rows[row][column], delimiter, decimal)
    return Candidate(
        delimiter=delimiter,
        decimal=decimal,
        width=width,
        even=even,
        sense=sense / stamped.size,
        clock=has_clock(below_header) or _rises_beside_words(rows[heads:], below_header),
        fractions=any(
            decimal in cell and (stamped[column, row] or is_number(cell.strip(), decimal))
            for row, cells in enumerate(rows)
            for column, cell in enumerate(cells)
        ),
        columns=below_header,
    )


def thinned(rows: list[list[str]]) -> list[list[str]]:
    """The first rows and every so manieth of the rest: a wide sample takes no longer than a narrow one."""
    most = max(_MOST_CELLS // len(rows[0]), _FEWEST_ROWS)
    head, rest = rows[: most // 2], rows[most // 2 :]
    return head + rest[:: max(-(-2 * len(rest) // most), 1)]


def rough_columns(rows: Sequence[Sequence[str]], decimal: str) -> tuple[FloatArray, ...]:
    """Rough stamps by column, each of shape (rows,), NaN where a cell is no time."""
    nan = float("nan")
    table = [
        [nan if (stamp := rough_stamp(cell, decimal)) is None else stamp for cell in cells] for cells in rows
    ]
    return tuple(np.array(table, dtype=np.float64).reshape(len(rows), -1).T)


def _rises_beside_words(rows: list[list[str]], columns: Sequence[FloatArray]) -> bool:
    """Whether a column rises beside each word of another, as in a long log written in batches."""
    timely = [np.isfinite(column).mean() > 0.5 for column in columns]
    for place in (place for place, is_timely in enumerate(timely) if not is_timely):
        words, codes = np.unique([cells[place] for cells in rows], return_inverse=True)
        if 3 * len(words) <= len(rows) and any(
            falls_between_names(codes, column) for column, good in zip(columns, timely, strict=True) if good
        ):
            return True
    return False


def _sense(cell: str, delimiter: str, decimal: str) -> float:
    """Of a cell that is no time: 1 for a state, nothing, or a number in groups; 0.5 for a word.

    0 for what another mark would split. Where commas part the cells, one inside a cell parts digits: who
    writes decimal commas parts cells otherwise.
    """
    grouped = delimiter == "," and decimal == "." and is_one_group(cell.strip(), decimal)
    if grouped or is_understood(cell, decimal):
        return 1.0
    return 0.0 if any(mark in cell for mark in DELIMITERS) else 0.5


def is_unit_row(cells: list[str]) -> bool:
    """Whether a row holds units, brackets around them or not, and nothing else."""
    units = [unit_named(cell.strip(UNIT_BRACKETS)) for cell in cells]
    blank = [cell.strip(UNIT_BRACKETS).lower() in MISSING | {"bool", "text", "1"} for cell in cells]
    return any(units) and all(unit is not None or empty for unit, empty in zip(units, blank, strict=True))
