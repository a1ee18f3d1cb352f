"""Long logs and clocks that only the whole file explains, each with its truth written beside."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from parsers import read_log
from telemetry.log import Kind, Log

STEADY = {"feed current [A]": 50, "range": 20}
SPAN_S = 6.0
Row = tuple[float, str, str]


def merged() -> list[Row]:
    """Two steady channels and a switch that is logged on change, in order of time."""
    rows = [
        (round(i / hz, 3), name, f"{10 + 0.37 * i:.2f}")
        for name, hz in STEADY.items()
        for i in range(int(SPAN_S * hz))
    ]
    rows += [(round(0.013 + 0.41 * i, 3), "beam", ("high", "low")[i % 2]) for i in range(14)]
    return sorted(rows, key=lambda row: row[0])


def in_batches(rows: list[Row], window_s: float) -> list[Row]:
    return sorted(rows, key=lambda row: (row[0] // window_s, row[1], row[0]))


def read(folder: Path, text: str | bytes) -> Log:
    path = folder / "log.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_log(path)


def lines(rows: list[Row], mark: str = ",") -> str:
    return "".join(mark.join((f"{t:.3f}", name, value)) + "\n" for t, name, value in rows)


def assert_holds_all(log: Log, rows: list[Row]) -> None:
    for name in {name for _, name, _ in rows}:
        channel = log.channels[name]
        own = sorted((t, value) for t, n, value in rows if n == name)
        np.testing.assert_allclose(channel.t_s, [t for t, _ in own], atol=1e-9)
        if channel.kind is Kind.NUMBER:
            assert channel.values.tolist() == [float(value) for _, value in own]
        else:
            assert [channel.labels[int(v)] for v in channel.values] == [value for _, value in own]


@pytest.mark.parametrize("window_s", [0.05, 0.2, 1.0, SPAN_S])
@pytest.mark.parametrize("header", ["time_s,channel,value\n", ""])
def test_a_long_log_in_batches_is_read_without_a_repair(header: str, window_s: float, tmp_path: Path) -> None:
    log = read(tmp_path, header + lines(in_batches(merged(), window_s)))

    assert log.shape == "long"
    assert log.repairs == ()
    assert_holds_all(log, merged())


def test_batches_with_decimal_commas_are_told_from_rows_of_commas(tmp_path: Path) -> None:
    text = "time_s;channel;value\n" + lines(in_batches(merged(), 0.2), ";").replace(".", ",")
    log = read(tmp_path, text)

    assert (log.dialect.delimiter, log.dialect.decimal, log.repairs) == (";", ",", ())
    assert_holds_all(log, merged())


def test_a_long_log_without_a_header_that_mostly_says_one_channel_is_long(tmp_path: Path) -> None:
    rows = [(round(0.02 * i, 3), "speed", f"{7 + i}.5") for i in range(200)]
    rows[60:60] = [(1.195, "beam", "high")]
    rows[120:120] = [(2.371, "beam", "low")]
    log = read(tmp_path, lines(rows))

    assert (log.shape, log.repairs) == ("long", ())
    assert_holds_all(log, rows)


def with_a_slow_channel(values: Callable[[int], str]) -> str:
    """A channel that ticks evenly, and between its rows now and then one of another."""
    slow = {round(0.05 * i + 0.02, 3): values(i) for i in range(3, 200, 9)}
    rows = {round(0.05 * i, 3): f"speed,{i % 7}.25" for i in range(200)}
    rows.update({t: f"beam,{value}" for t, value in slow.items()})
    return "".join(f"{t:.3f},{row}\n" for t, row in sorted(rows.items()))


@pytest.mark.parametrize("values", [lambda i: f"{i}.5", lambda i: "on" if i % 2 else "off"])
def test_without_a_header_a_name_whose_rows_alone_tick_evenly_is_a_channel(
    values: Callable[[int], str], tmp_path: Path
) -> None:
    log = read(tmp_path, with_a_slow_channel(values))

    assert (log.shape, log.repairs) == ("long", ())
    assert {name: len(channel.values) for name, channel in log.channels.items()} == {"speed": 200, "beam": 22}


def test_without_a_header_one_spoiled_value_leaves_a_log_of_numbers_and_words_long(tmp_path: Path) -> None:
    text = "".join(f"{i / 10},{'ab'[i % 2]},{(i, 'on')[i % 2]}\n" for i in range(60)).replace(
        ",30\n", ",3x\n"
    )
    log = read(tmp_path, text)

    assert (log.shape, [repair.kind for repair in log.repairs]) == ("long", ["unreadable_cell"])


def test_a_wide_log_without_a_header_stays_wide_beside_words_that_change(tmp_path: Path) -> None:
    moments = np.cumsum(np.random.default_rng(2).integers(1, 40, 300))
    text = "".join(f"{t / 100},{'ok' if i % 9 else 'hot'},{i}.5\n" for i, t in enumerate(moments))

    assert read(tmp_path, text).shape == "wide"


def test_a_moved_row_of_a_long_log_is_sorted_in_and_told(tmp_path: Path) -> None:
    rows = merged()
    rows.insert(240, rows.pop(233))
    log = read(tmp_path, "time_s,channel,value\n" + lines(rows))

    assert [(repair.kind, repair.count) for repair in log.repairs] == [("reordered_rows", 1)]
    assert_holds_all(log, merged())


@pytest.mark.parametrize("window_s", [0.0, 0.5])
def test_a_restart_of_a_long_log_parts_it_for_channels_that_say_little_too(
    window_s: float, tmp_path: Path
) -> None:
    first = merged()
    second = [(t, name, value) for t, name, value in first if t < 3 and name != "beam"]
    second.append((0.5, "beam", "high"))
    second.sort(key=lambda row: row[0])
    batched = [in_batches(part, window_s) if window_s else part for part in (first, second)]
    log = read(tmp_path, "time_s,channel,value\n" + lines(batched[0] + batched[1]))

    seam_s = first[-1][0] + 1
    assert [(repair.kind, repair.count) for repair in log.repairs] == [("clock_reset", 1)]
    assert log.seams_s == (seam_s,)
    assert_holds_all(log, first + [(seam_s + t, name, value) for t, name, value in second])


def test_a_short_log_in_batches_without_a_header_may_start_over(tmp_path: Path) -> None:
    slow = [(t * 10, name, value) for t, name, value in merged() if name != "beam"]
    rows = [(t, f"{name} {k}", value) for t, name, value in slow for k in range(3)]
    first, second = [row for row in rows if row[0] < 4], [row for row in rows if row[0] < 2]
    log = read(tmp_path, lines(in_batches(first, 1) + in_batches(second, 1)))

    seam_s = first[-1][0] + 1
    assert log.shape == "long"
    assert [(repair.kind, repair.count) for repair in log.repairs] == [("clock_reset", 1)]
    assert_holds_all(log, first + [(seam_s + t, name, value) for t, name, value in second])


def test_a_restart_after_one_batch_is_found_by_where_all_channels_turn(tmp_path: Path) -> None:
    def run(channels: int, until_s: float) -> list[Row]:
        rates = [20, *([5] * (channels - 1))]
        return [
            (round(0.01 * (5 * k % 7) + i / hz, 3), f"channel {k}", f"{k}.{i % 10}")
            for k, hz in enumerate(rates)
            for i in range(int(until_s * hz))
        ]

    first, second = run(6, 0.4), run(6, 4.0)
    log = read(tmp_path, "time_s,channel,value\n" + lines(in_batches(first, 0.5) + in_batches(second, 0.5)))

    seam_s = max(t for t, _, _ in first) + 1
    assert [(repair.kind, repair.line) for repair in log.repairs] == [("clock_reset", len(first) + 2)]
    assert_holds_all(log, first + [(seam_s + t, name, value) for t, name, value in second])


def test_dates_in_batches_go_before_a_channel_that_counts(tmp_path: Path) -> None:
    rows = [(round(0.05 * i, 3), "count", str(i)) for i in range(100)]
    rows += [(round(0.04 + 0.3 * i, 3), "beam", ("high", "low")[i % 2]) for i in range(16)]
    batched = sorted(in_batches(rows, 0.25), key=lambda row: (row[0] // 0.25, row[1] == "beam"))
    stamped = [f"{1_772_352_000_000 + round(t * 1000)},{name},{value}\n" for t, name, value in batched]
    log = read(tmp_path, "".join(stamped))

    assert (log.shape, log.repairs) == ("long", ())
    assert_holds_all(log, rows)


def test_a_last_line_is_held_against_its_own_channel_however_far_above(tmp_path: Path) -> None:
    rows = [(0.0, "mode", "rising"), *merged(), (SPAN_S, "mode", "at top")]
    log = read(tmp_path, "time_s,channel,value\n" + lines(rows)[:-1])

    assert log.repairs == ()
    assert_holds_all(log, rows)


def test_a_restart_after_two_ticks_is_no_row_out_of_order(tmp_path: Path) -> None:
    names = "current", "speed", "range", "volts"
    ticks = [0, 100, 200, *range(0, 2000, 100)]
    text = "".join(f"{t},{name},{k}.5\n" for t in ticks for k, name in enumerate(names))
    log = read(tmp_path, "time_ms,channel,value\n" + text)

    assert [(repair.kind, repair.count) for repair in log.repairs] == [("clock_reset", 1)]
    assert log.channels["speed"].t_s.tolist()[:5] == [0.0, 0.1, 0.2, 1.2, 1.3]


@pytest.mark.parametrize("restart_at", [20, 180])
def test_seconds_of_unix_time_stay_seconds_past_a_clock_that_fell_back_by_years(
    restart_at: int, tmp_path: Path
) -> None:
    steps = [0.104 * i for i in range(200)]
    times = [1_755_000_000.5 + t if i < restart_at else 946_684_800 + t for i, t in enumerate(steps)]
    text = "".join(f"{t:.3f},{i}.25,{i % 3}.5\n" for i, t in enumerate(times))
    log = read(tmp_path, "unix_time,current_a,range\n" + text)

    assert (log.dialect.time_unit, [repair.kind for repair in log.repairs]) == ("s", ["clock_reset"])
    np.testing.assert_allclose(np.diff(log.t_s)[: restart_at - 1], 0.104, atol=1e-6)


@pytest.mark.parametrize(("tick", "unit"), [(20, "ms"), (20_000, "us"), (20_000_000, "ns"), (5, "ms")])
def test_whole_numbers_are_of_a_unit_in_which_a_channel_that_ticks_evenly_is_sampled(
    tick: int, unit: str, tmp_path: Path
) -> None:
    samples = "".join(f"{i * tick},speed,{i}.5\n" for i in range(200))
    log = read(tmp_path, "stamp,channel,value\n" + samples + f"{150 * tick},beam,1\n")

    assert (log.dialect.time_unit, log.repairs) == (unit, ())


def test_whole_numbers_of_events_may_be_seconds_apart(tmp_path: Path) -> None:
    moments = np.cumsum(np.random.default_rng(3).integers(500, 9_000, 40))
    log = read(
        tmp_path, "stamp,channel,value\n" + "".join(f"{t},beam,{i % 2}\n" for i, t in enumerate(moments))
    )

    assert log.dialect.time_unit == "ms"


def test_a_row_of_units_over_a_single_row_is_no_row(tmp_path: Path) -> None:
    log = read(tmp_path, "time,feed,beam\ns,A,\n1.5,10.25,1\n")

    assert (log.rows, log.repairs, log.channels["feed"].unit) == (1, (), "A")


def test_a_header_that_is_a_comment_may_be_quoted(tmp_path: Path) -> None:
    body = "".join(f'"{20 * i}";"{i},5"\n' for i in range(30))
    log = read(tmp_path, '# "time_ms";"feed_a"\n' + body)

    assert log.dialect.time_column == "time_ms"
    assert log.t_s.tolist() == [round(0.02 * i, 6) for i in range(30)]


def test_without_a_header_an_even_clock_goes_before_an_uneven_counter(tmp_path: Path) -> None:
    counts = np.cumsum(np.random.default_rng(3).integers(1, 8, 80)) + 500
    log = read(tmp_path, "".join(f"{n};{i % 3}.5;{68.5 + i / 250:.3f}\n" for i, n in enumerate(counts)))

    assert log.dialect.time_column == "column 3"
    assert log.channels["column 1"].values.tolist() == counts.tolist()


def test_words_in_windows_1252_that_come_late_are_read(tmp_path: Path) -> None:
    said = ["prêt" if i % 5 == 4 else "" for i in range(40)]
    text = "time_s,feed_a,note\n" + "".join(f"{i / 50},{i}.5,{word}\n" for i, word in enumerate(said))
    log = read(tmp_path, text.encode("cp1252"))

    assert (log.dialect.encoding, log.repairs) == ("windows-1252", ())
    assert log.channels["note"].labels == ("prêt",)


def test_a_single_spoiled_byte_of_a_word_stays_an_unreadable_cell(tmp_path: Path) -> None:
    said = b"".join(b"%.2f,%d.5,%s\n" % (i / 50, i, b"au\xf4o" if i == 20 else b"auto") for i in range(40))
    log = read(tmp_path, b"time_s,feed_a,mode\n" + said)

    assert [(repair.kind, repair.count, repair.line) for repair in log.repairs] == [
        ("unreadable_cell", 1, 22)
    ]
    assert log.channels["mode"].labels == ("auto",)


def test_garbage_that_begins_like_a_remark_is_no_remark(tmp_path: Path) -> None:
    body = [b"%.2f,%d.5\n" % (i / 50, i) for i in range(40)]
    log = read(tmp_path, b"time_s,feed_a\n" + b"".join([*body[:20], b"#\x07\xb2k\x01\n", *body[20:]]))

    assert [(repair.kind, repair.line) for repair in log.repairs] == [("unreadable_row", 22)]


@pytest.mark.parametrize("garbage", [b"f\x00,d", b"f\x07ed", b"\xf3eed"])
def test_a_name_that_is_spoiled_makes_no_channel_and_leaves_the_log_long(
    garbage: bytes, tmp_path: Path
) -> None:
    text = lines(in_batches(merged(), SPAN_S)).encode().split(b"\n")
    text[200] = text[200].replace(b"feed", garbage)
    log = read(tmp_path, b"\n".join(text))

    assert (log.shape, set(log.channels)) == ("long", {"beam", *STEADY})
    assert [(repair.kind, repair.count) for repair in log.repairs] == [("unreadable_row", 1)]


@pytest.mark.parametrize("phantom", ["7", "\x07"])
def test_a_spoiled_cell_behind_the_last_delimiter_is_a_row_and_no_new_width(
    phantom: str, tmp_path: Path
) -> None:
    body = [f"{i / 50:.2f},{i}.5," for i in range(60)]
    body[20] += phantom
    log = read(tmp_path, "time_s,feed_a\n" + "\n".join(body) + "\n")

    assert list(log.channels) == ["feed_a"]
    assert [(repair.kind, repair.line, repair.cells) for repair in log.repairs] == [("unreadable_row", 22, 3)]


@pytest.mark.parametrize("line_end", ["\n", "\r"])
@pytest.mark.parametrize("encoding", ["utf-16-le", "utf-16-be"])
def test_noise_across_characters_of_utf_16_costs_its_own_row_alone(
    encoding: str, line_end: str, tmp_path: Path
) -> None:
    body = [f"{i / 50:.2f},{i}.5" for i in range(60)]
    text = line_end.join(["time_s,feed_a", *body, ""]).encode(encoding)
    place = text.index("20.5".encode(encoding))
    noise = b"\x0d\x00\x0a\x00\x0a\xdc" if encoding == "utf-16-be" else b"\x00\x0a\x00\x0d\x00\xdc"
    log = read(tmp_path, text[:place] + noise + text[place + len(noise) :])

    assert log.channels["feed_a"].values.tolist() == [i + 0.5 for i in range(60) if i != 20]


def test_cells_of_garbage_do_not_make_a_short_channel_a_text(tmp_path: Path) -> None:
    cells = [f"{i}.5" for i in range(12)]
    cells[3] = cells[7] = "-\x07\x01"
    log = read(tmp_path, "time_s,feed_a\n" + "".join(f"{i},{cell}\n" for i, cell in enumerate(cells)))

    assert (log.channels["feed_a"].kind, log.repairs[0].kind) == (Kind.NUMBER, "unreadable_cell")
    assert log.repairs[0].count == 2


def test_one_unit_in_windows_1252_below_free_lines_is_enough(tmp_path: Path) -> None:
    text = "Robot Jay\nOakmere Trial\n\ntime [µs],battery\n" + "".join(
        f"{i * 20000},{i}.5\n" for i in range(40)
    )
    log = read(tmp_path, text.encode("cp1252"))

    assert (log.dialect.encoding, log.dialect.time_unit) == ("windows-1252", "us")


def test_channels_behind_each_other_are_found_however_long_the_first_is(tmp_path: Path) -> None:
    rows = [(round(i / 500, 3), name, f"{i % 9}.5") for name in ("speed", "range") for i in range(3000)]
    log = read(tmp_path, lines(rows))

    assert (log.shape, log.repairs) == ("long", ())
    assert_holds_all(log, rows)


def test_a_hole_of_nuls_within_quotes_joins_no_two_rows(tmp_path: Path) -> None:
    rows = [f'"{i / 10}","{i}.5","{i % 4}.25","{i}"\n' for i in range(80)]
    text = '"time_s","amps","volts","count"\n' + "".join(rows)
    first, past = text.index('0.25","40"'), text.index('0.25","44"')
    log = read(tmp_path, text[: first + 2] + "\0" * 40 + text[past + 2 :])

    assert {repair.kind for repair in log.repairs} == {"unreadable_row"}
    counts = log.channels["count"]
    np.testing.assert_allclose(counts.values / 10, counts.t_s)
    assert len(counts.values) == 75
