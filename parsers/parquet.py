"""Parquet to a table."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from parsers.ledger import Ledger, braced
from parsers.limits import Limits
from parsers.overrides import Told
from parsers.pages import MalformedPageError, page_sizes
from parsers.source import Source
from parsers.table import ArrayColumn, Column, Table, TextColumn
from telemetry.errors import LogError
from telemetry.log import BoolArray
from telemetry.plain import shown

if TYPE_CHECKING:
    import pyarrow as pa

__all__ = ["read_parquet", "sniff_parquet"]

_MAGIC = b"PAR1"
_BATCH_ROWS = 1 << 16
_MOST_FOOTER_BYTES = 1 << 25
_MOST_PAGES = 200_000


def sniff_parquet(source: Source) -> str | None:
    """Why the bytes are no Parquet, or None when they are."""
    return None if source.data.startswith(_MAGIC) else "it does not begin with PAR1"


def read_parquet(source: Source, ledger: Ledger, told: Told, limits: Limits) -> Table:
    """The table in a Parquet file. Raises LogError when it is damaged or too large.

    Columns of what is no number, state or text, as lists, are left out as `left_out_column`.
    """
    import pyarrow as pa

    try:
        table = _arrow_table(source, limits)
        found = [(str(name), _column(table.column(i))) for i, name in enumerate(table.column_names)]
    except (pa.ArrowException, OSError, MemoryError, ValueError, MalformedPageError) as error:
        reason = shown(str(error).split("\n")[0], 60)
        raise LogError(
            f"{source.shown}: looked for a whole Parquet file, found a damaged one ({reason}); "
            f"copy it from the robot again"
        ) from error
    kept = [(name, column) for name, column in found if column is not None]
    if not kept or not table.num_rows:
        raise LogError(
            f"{source.shown}: looked for rows, found {len(found)} columns without any; export the log again"
        )
    _enter_left_out([name for name, column in found if column is None], table.num_rows, ledger)
    return Table(
        names=tuple(name for name, _ in kept),
        columns=tuple(column for _, column in kept),
        units=(None,) * len(kept),
        lines=None,
        cells_in_file=table.num_rows * len(found),
        encoding="parquet",
        delimiter="",
        decimal="",
    )


def _enter_left_out(names: list[str], rows: int, ledger: Ledger) -> None:
    told = ", ".join(braced(name, 40) for name in names[:4])
    ledger.add(
        "left_out_column",
        len(names),
        f"{{count}} column(s) of what is no number, state or text left out: {told}.",
        cells=rows * len(names),
    )


def _arrow_table(source: Source, limits: Limits) -> pa.Table:
    """All batches, refused once rows × columns or bytes in memory pass a limit, whatever the footer says."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    footer = int.from_bytes(source.data[-8:-4], "little")
    if not source.data.endswith(_MAGIC) or footer > len(source.data):
        raise pa.ArrowInvalid("its end is missing")
    _refuse_beyond(source, "bytes of footer", _MOST_FOOTER_BYTES, footer)
    file = pq.ParquetFile(pa.BufferReader(source.data))
    schema = file.schema_arrow
    width = len(schema.names)
    _refuse_beyond(source, "channels", limits.channels + 3, width)
    _weigh_pages(source, file.metadata, limits)
    file = pq.ParquetFile(pa.BufferReader(source.data), read_dictionary=_text_columns(schema))
    batches, rows, size = [], 0, 0
    for batch in file.iter_batches(batch_size=_BATCH_ROWS):
        rows, size = rows + batch.num_rows, size + batch.nbytes
        _refuse_beyond(source, "samples", limits.samples, rows * width)
        _refuse_beyond(source, "unpacked bytes", limits.unpacked_bytes, size)
        batches.append(batch)
    if rows != file.metadata.num_rows:
        raise pa.ArrowInvalid(f"the footer promises {file.metadata.num_rows} rows, {rows} are there")
    return pa.Table.from_batches(batches, schema=file.schema_arrow)


def _weigh_pages(source: Source, metadata: Any, limits: Limits) -> None:
    """Refuses a file whose pages would unpack to more than the limit, before one of them is."""
    pages = size = 0
    for group in range(metadata.num_row_groups):
        row_group = metadata.row_group(group)
        for index in range(row_group.num_columns):
            chunk = row_group.column(index)
            start = chunk.data_page_offset
            if chunk.has_dictionary_page and 0 < (chunk.dictionary_page_offset or 0) < start:
                start = chunk.dictionary_page_offset
            for unpacked in page_sizes(source.data, start, chunk.total_compressed_size):
                pages, size = pages + 1, size + unpacked
                _refuse_beyond(source, "pages", _MOST_PAGES, pages)
                _refuse_beyond(source, "unpacked bytes", limits.unpacked_bytes, size)


def _refuse_beyond(source: Source, what: str, limit: int, found: int) -> None:
    if found > limit:
        raise LogError(
            f"{source.shown}: looked for at most {limit:,} {what}, found {found:,} or more; "
            f"raise the limit or split the log"
        )


def _text_columns(schema: pa.Schema) -> list[str]:
    """Read as dictionaries, so that one long text said a million times takes its room once."""
    import pyarrow as pa

    return [f.name for f in schema if pa.types.is_string(f.type) or pa.types.is_large_string(f.type)]


def _column(chunks: pa.ChunkedArray) -> Column | None:
    """A column's cells, or None where they are no numbers, states, times or text."""
    import pyarrow as pa

    kind = chunks.type
    if pa.types.is_dictionary(kind):
        kind = kind.value_type
        chunks = chunks if _is_text(kind) else chunks.cast(kind)
    if _is_text(kind):
        return _text(chunks)
    if pa.types.is_date(kind):
        return _text(chunks.cast(pa.date32()).cast(pa.string()))
    if pa.types.is_timestamp(kind):
        whole = chunks.cast(pa.timestamp("ns", kind.tz)).cast(pa.int64())
        return ArrayColumn(_filled(whole, 0), _present(chunks), timestamps=True)
    if pa.types.is_time(kind) or pa.types.is_duration(kind):
        return _elapsed(chunks)
    if pa.types.is_boolean(kind):
        return ArrayColumn(_filled(chunks, False).astype(bool), _present(chunks))
    if pa.types.is_integer(kind):
        return ArrayColumn(_filled(chunks, 0), _present(chunks))
    if pa.types.is_floating(kind) or pa.types.is_decimal(kind):
        return ArrayColumn(_filled(chunks.cast(pa.float64()), 0.0), _present(chunks))
    if pa.types.is_null(kind):
        return ArrayColumn(np.zeros(len(chunks)), np.zeros(len(chunks), dtype=bool))
    return None


def _is_text(kind: pa.DataType) -> bool:
    import pyarrow as pa

    return bool(pa.types.is_string(kind) or pa.types.is_large_string(kind) or pa.types.is_string_view(kind))


def _present(chunks: pa.ChunkedArray) -> BoolArray | None:
    if chunks.null_count == 0:
        return None
    present: BoolArray = chunks.is_valid().to_numpy().astype(bool)
    return present


def _filled(chunks: pa.ChunkedArray, filler: Any) -> Any:
    whole = chunks if chunks.null_count == 0 else chunks.fill_null(filler)
    return whole.to_numpy()


def _elapsed(chunks: pa.ChunkedArray) -> ArrayColumn:
    """Times of day and durations, as seconds."""
    import pyarrow as pa

    per_second = {"s": 1, "ms": 1_000, "us": 1_000_000, "ns": 1_000_000_000}[chunks.type.unit]
    width = pa.int32() if pa.types.is_time32(chunks.type) else pa.int64()
    ticks = _filled(chunks.cast(width), 0)
    return ArrayColumn(ticks.astype(np.float64) / per_second, _present(chunks))


def _text(chunks: pa.ChunkedArray) -> TextColumn:
    import polars as pl

    chunks.validate(full=True)
    series = pl.from_arrow(chunks)
    assert isinstance(series, pl.Series)  # noqa: S101 - narrows the type; a chunked array is no frame
    return TextColumn(series.cast(pl.String))
