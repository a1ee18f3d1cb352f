"""Logs as spreadsheets, restarts and other loggers leave them, each with its truth written beside."""

from __future__ import annotations

import random
from pathlib import Path

import numpy as np
import pytest

from tests.parsers.odd import (
    BEAM,
    CURRENT,
    EPOCH,
    MODE,
    ROWS,
    TIMES,
    Odd,
    Truth,
    assert_holds,
    at,
    commas,
    long,
    of_day,
    quoted,
    read,
    table,
    wide,
)  # fmt: skip

SOUND: Truth = {"feed_current_a": at(TIMES, CURRENT), "beam": at(TIMES, BEAM), "mode": at(TIMES, MODE)}
CURRENT_ALONE: Truth = {"feed_current_a": SOUND["feed_current_a"]}
LINES = wide().splitlines()
UNEVEN = [round(t + (0.019 if i % 4 == 1 else 0), 3) for i, t in enumerate(TIMES)]
RESTARTED = [t if i < 30 else round(t - TIMES[30], 2) for i, t in enumerate(TIMES)]
LAID_OUT = [t if i < 30 else round(TIMES[29] + 1 + t - TIMES[30], 2) for i, t in enumerate(TIMES)]
NOISE = bytes(random.Random(1).randrange(128, 256) for _ in range(200))  # noqa: S311 - made to be repeated
BIG = [2**53 + 1 + i for i in range(ROWS)]
HUGE = [12345678901234567890123 + i for i in range(ROWS)]
STAMPS_NS = [EPOCH * 10**9 + 123_456_789 + i * 20_000_001 for i in range(ROWS)]
SPELLED = (["1.5", "NaN", "2.5", "null", "NA", "-", "", "3.5"] * ROWS)[:ROWS]
COUNTS = [900_000 + i * 79_193 % 200_000 for i in reversed(range(ROWS))]
NOTES = [f'a,b;{i}|\t"q"' for i in range(ROWS)]

CLEAN = {
    "decimal commas": Odd(commas(wide()), SOUND),
    "decimal commas in quotes between commas": Odd(
        table(
            {
                "time_s": [quoted(str(t).replace(".", ",")) for t in TIMES],
                "feed_current_a": [quoted(str(a).replace(".", ",")) for a in CURRENT],
            }
        ),
        CURRENT_ALONE,
    ),
    "a spreadsheet's line that names the delimiter": Odd("sep=;\n" + commas(wide()), SOUND),
    "UTF-16 without a mark": Odd(wide().replace("\n", "\r\n").encode("utf-16-be"), SOUND),
    "CR alone": Odd(wide().replace("\n", "\r"), SOUND),
    "CR alone and one LF": Odd(wide().replace("\n", "\r") + "\n", SOUND),
    "two line ends": Odd(wide()[:600].replace("\n", "\r\n") + wide()[600:], SOUND),
    "delimiters at every end": Odd("".join(line + ",\n" for line in LINES), SOUND),
    "a header that is a comment": Odd("# logger v3\n#" + wide(), SOUND),
    "pairs above the header": Odd("robot,Jay\nmatch,7\nfirmware,1.2.3\n\n" + wide(), SOUND),
    "a table of settings as wide as the log": Odd(
        "gain,1.5,0.25,-3\noffset,0,12,7.5\nloop time,20,20,40\n" + wide(), SOUND
    ),
    "settings above a log whose clock ticks less evenly than a count": Odd(
        "gain,-3,8,-0.2\nlimit,5,2.2,9\nspan,-1,9,-3\n"
        + table({"count": [*range(ROWS)], "mode": MODE, "feed_current_a": CURRENT, "time_s": UNEVEN}),
        {
            "count": at(UNEVEN, [float(i) for i in range(ROWS)]),
            "mode": at(UNEVEN, MODE),
            "feed_current_a": at(UNEVEN, CURRENT),
        },
    ),
    "settings with a number above the time": Odd(
        "gain,1.5,0.25\noffset,0,12\nlimit,20,5\n" + table({"beam": BEAM, "time_s": TIMES, "amps": CURRENT}),
        {"beam": SOUND["beam"], "amps": SOUND["feed_current_a"]},
    ),
    "five hundred remarks": Odd("".join(f"# setting {i}\n" for i in range(500)) + wide(), SOUND),
    "a remark at the end": Odd(wide() + "# end of log\n", SOUND),
    "no last line end": Odd(wide()[:-1], SOUND),
    "units in a row": Odd(
        "time,feed,beam,mode\n[s],[A],[],[]\n"
        + table({str(i): c for i, c in enumerate((TIMES, CURRENT, BEAM, MODE))}, header=False),
        {"feed": SOUND["feed_current_a"]},
    ),
    "units in Windows-1252": Odd(
        wide([i * 20_000 for i in range(ROWS)], "time [µs]").encode("cp1252"), SOUND
    ),
    "milliseconds without a unit": Odd(wide([i * 20 for i in range(ROWS)], "time"), SOUND),
    "Unix milliseconds": Odd(wide([EPOCH * 1000 + i * 20 for i in range(ROWS)], "timestamp"), SOUND),
    "Unix microseconds": Odd(wide([EPOCH * 10**6 + i * 20_000 for i in range(ROWS)], "t"), SOUND),
    "Unix nanoseconds": Odd(wide([EPOCH * 10**9 + i * 20_000_000 for i in range(ROWS)], "t"), SOUND),
    "ISO 8601 with decimal commas": Odd(
        commas(wide([f"2026-03-01 10:00:{t:05.2f}" for t in TIMES], "time")), SOUND
    ),
    "day before month": Odd(wide([f"01/03/2026 10:00:{t:05.2f}" for t in TIMES], "time"), SOUND),
    "month before day, in halves": Odd(wide([f"3/1/2026 12:00:{t:05.2f} PM" for t in TIMES], "time"), SOUND),
    "dates with points": Odd(wide([f"01.03.2026 10:00:{t:05.2f}" for t in TIMES], "time", ";"), SOUND),
    "a day's end": Odd(wide([of_day(86399.5 + t) for t in TIMES], "time"), SOUND),
    "a date and a time of day": Odd(
        table(
            {
                "date": ["2026-03-01"] * ROWS,
                "time": [of_day(36000 + t) for t in TIMES],
                "feed_current_a": CURRENT,
            }
        ),
        CURRENT_ALONE,
    ),
    "one row a second for long": Odd(
        table({"time": range(5000), "x": [i % 7 for i in range(5000)]}),
        {"x": at(range(5000), [i % 7 for i in range(5000)])},
    ),
    "times before zero": Odd(wide([round(t - 3, 2) for t in TIMES]), SOUND),
    "powers of ten": Odd(
        table({"time_s": [f"{t:e}" for t in TIMES], "feed_current_a": [f"{a:E}" for a in CURRENT]}),
        CURRENT_ALONE,
    ),
    "blanks around cells": Odd(
        table({"time_s": [f" {t} " for t in TIMES], "feed_current_a": [f"  {a}" for a in CURRENT]}),
        CURRENT_ALONE,
    ),
    "a count of rows before the time": Odd(
        table({"": range(ROWS), "time_s": TIMES, "feed_current_a": CURRENT}),
        CURRENT_ALONE | {"column 1": at(TIMES, range(ROWS))},
    ),
    "a count of rows named by the mark of a remark": Odd(
        table({"#": range(ROWS), "time_s": TIMES, "feed_current_a": CURRENT}),
        CURRENT_ALONE | {"#": at(TIMES, range(ROWS))},
    ),
    "a channel that falls before the seconds": Odd(
        table({"left": CURRENT[::-1], "secs": TIMES}), {"left": at(TIMES, CURRENT[::-1])}
    ),
    "a time without a name": Odd(
        table({"x": np.sin(CURRENT).tolist(), "foo": TIMES}), {"x": at(TIMES, np.sin(CURRENT).tolist())}
    ),
    "a second clock in nanoseconds": Odd(
        table({"time_s": TIMES, "timestamp_ns": STAMPS_NS}), {"timestamp_ns": at(TIMES, STAMPS_NS)}
    ),
    "dates a second apart, without header": Odd(
        table({"t": [f"2026-03-01T10:{of_day(i)[3:8]}Z" for i in range(ROWS)], "x": CURRENT}, header=False),
        {"column 2": at(range(ROWS), CURRENT)},
    ),
    "Unix time behind a sum, without header": Odd(
        table({"x": CURRENT, "t": [EPOCH * 10**6 + i * 20_000 for i in range(ROWS)]}, header=False),
        {"column 1": at(TIMES, CURRENT)},
    ),
    "a time behind a step that seldom rises, without header": Odd(
        table({"x": [i // 25 / 10 for i in range(ROWS)], "t": TIMES}, header=False),
        {"column 1": at(TIMES, [i // 25 / 10 for i in range(ROWS)])},
    ),
    "three thousand milliseconds before a step that seldom rises, without header": Odd(
        table({"t": range(0, 3100 * 20, 20), "x": [i // 600 / 10 for i in range(3100)]}, header=False),
        {"column 2": at([round(i * 0.02, 2) for i in range(3100)], [i // 600 / 10 for i in range(3100)])},
    ),
    "two columns below remarks, without header": Odd(
        "# logger 3\n# bus 24 V\n" + table({"t": TIMES, "x": CURRENT}, header=False),
        {"column 2": at(TIMES, CURRENT)},
    ),
    "numbers beyond 53 bits": Odd(table({"time_s": TIMES, "id": BIG}), {"id": at(TIMES, BIG)}),
    "numbers beyond 64 bits": Odd(
        table({"time_s": TIMES, "id": HUGE}), {"id": at(TIMES, [str(number) for number in HUGE])}
    ),
    "digits in groups": Odd(
        table({"time_s": TIMES, "x": [quoted(f"{900 + i * 10:,}.5") for i in range(ROWS)]}),
        {"x": at(TIMES, [900.5 + i * 10 for i in range(ROWS)])},
    ),
    "points between groups, and no decimal sign at all": Odd(
        table({"time_ms": range(ROWS), "ticks": [f"{900 + i}.{i:03d}.0{i:02d}" for i in range(ROWS)]}, ";"),
        {"ticks": [(i / 1000, (900 + i) * 1e6 + i * 1e3 + i) for i in range(ROWS)]},
    ),
    "groups beside decimal commas": Odd(
        "time_s;x\n"
        + "".join(
            f"{t};{900 + i * 10:_},5\n".replace(".", ",").replace("_", ".") for i, t in enumerate(TIMES)
        ),
        {"x": at(TIMES, [900.5 + i * 10 for i in range(ROWS)])},
    ),
    "the only decimal commas behind groups": Odd(
        "time_ms;x\n" + "".join(f"{i * 20};{1900 + i * 10:_},5\n".replace("_", ".") for i in range(ROWS)),
        {"x": at(TIMES, [1900.5 + i * 10 for i in range(ROWS)])},
    ),
    "groups alone beside decimal commas": Odd(
        "time_s;x\n"
        + "".join(
            f"{t};{9_876_543 + i:_}\n".replace(".", ",").replace("_", ".") for i, t in enumerate(TIMES)
        ),
        {"x": at(TIMES, [9_876_543.0 + i for i in range(ROWS)])},
    ),
    "digits in groups, no last line end": Odd(
        table({"time_s": TIMES, "x": [f"{count:,}" for count in COUNTS]}, ";")[:-1],
        {"x": at(TIMES, COUNTS)},
    ),
    "every spelling of nothing": Odd(
        table({"time_s": TIMES, "x_v": SPELLED}),
        {"x_v": at(TIMES, [float(s) if s[:1].isdigit() else None for s in SPELLED])},
    ),
    "None among fractions": Odd(
        table({"time_s": TIMES, "x_v": ["1.5", "None", "N/A"] * 20}),
        {"x_v": at(TIMES, [1.5, None, None] * 20)},
    ),
    "delimiters in text": Odd(
        table({"time_s": TIMES, "note": [quoted(n) for n in NOTES], "x": CURRENT}),
        {"note": at(TIMES, NOTES), "x": at(TIMES, CURRENT)},
    ),
    "line ends in text": Odd(
        table({"time_s": TIMES, "note": [quoted(f"one\ntwo {i}") for i in range(ROWS)], "x": CURRENT}),
        {"note": at(TIMES, [f"one\ntwo {i}" for i in range(ROWS)])},
    ),
    "states in several spellings": Odd(
        table({"time_s": TIMES, "b": ["true", "FALSE", "1"] * 20}),
        {"b": at(TIMES, ["true", "FALSE", "1"] * 20)},
    ),
    "a column without cells": Odd(
        table({"time_s": TIMES, "e": [None] * ROWS, "k": [5] * ROWS}), {"e": [], "k": at(TIMES, [5] * ROWS)}
    ),
    "a switch logged on change": Odd(
        table(
            {"time_s": TIMES, "x": CURRENT, "s": [i % 2 if i in (0, 7, 9, 40) else None for i in range(ROWS)]}
        ),
        {"s": [(TIMES[i], i % 2) for i in (0, 7, 9, 40)]},
    ),
    "one row below a remark as wide": Odd(
        "# logger v2, robot Jay\ntime_s,a_v\n0.5,1.25\n", {"a_v": [(0, 1.25)]}
    ),
    "one row": Odd("time_s,a_v,beam\n0.5,1.25,1\n", {"a_v": [(0, 1.25)], "beam": [(0, 1)]}),
    "long": Odd(long("time_s,channel,value"), SOUND),
    "long without header": Odd(long("").lstrip(), SOUND),
    "long in another tongue": Odd(long("Zeit,Signal,Wert"), SOUND),
    "long with units": Odd(long("time_s,channel,value,unit", extra=",V"), SOUND),
    "long of one channel": Odd(
        "time_s,channel,value\n"
        + "".join(f"{t},beam,{i % 2}\n" for i, t in enumerate((0, 0.31, 0.4, 1.7, 2.2, 9.4))),
        {"beam": [(t, i % 2) for i, t in enumerate((0, 0.31, 0.4, 1.7, 2.2, 9.4))]},
    ),
    "one channel name in two devices": Odd(
        "time_s,device,signal,value\n"
        + "".join(
            f"{t},{d},current,{i + k}\n" for i, t in enumerate(TIMES) for k, d in enumerate(("arm", "drive"))
        ),
        {"arm/current": at(TIMES, range(ROWS)), "drive/current": at(TIMES, range(1, ROWS + 1))},
    ),
}

DAMAGED = {
    "a repeated header with a spoiled name": Odd(
        "\n".join([*LINES[:31], LINES[0].replace("beam", "b\x01am"), *LINES[31:]]) + "\n",
        SOUND,
        ("repeated_header",),
    ),
    "a logger that starts again, lines above and all": Odd(
        ("Robot Jay\n" + "\n".join(LINES[:31]) + "\n")
        + ("Robot Jay\n" + "\n".join([LINES[0], *LINES[1:31]]) + "\n"),
        {"feed_current_a": at(LAID_OUT, CURRENT[:30] * 2)},
        ("repeated_header", "clock_reset"),
    ),
    "two files with marks in one": Odd(
        ("\ufeff" + "\n".join(LINES[:31]) + "\n\ufeff" + "\n".join(LINES[1:31]) + "\n").encode(),
        {"feed_current_a": at(LAID_OUT, CURRENT[:30] * 2)},
        ("clock_reset",),
    ),
    "NULs, and a good record behind them": Odd(
        ("\n".join(LINES[:31]) + "\n").encode() + b"\0" * 512 + ("\n".join(LINES[31:]) + "\n").encode(),
        SOUND,
        ("unreadable_row",),
    ),
    "NULs, and a good record before them": Odd(
        "\n".join(LINES[:31]).encode() + b"\0" * 512 + ("\n" + "\n".join(LINES[31:]) + "\n").encode(),
        SOUND,
        ("unreadable_row",),
    ),
    "noise between rows": Odd(
        ("\n".join(LINES[:31]) + "\n").encode() + NOISE + ("\n" + "\n".join(LINES[31:]) + "\n").encode(),
        SOUND,
        ("unreadable_row",),
    ),
    "rows written twice": Odd(
        "\n".join([*LINES[:31], *LINES[24:31], *LINES[31:]]) + "\n", SOUND, ("duplicate_time",)
    ),
    "rows written twice where nothing but an uneven clock moves": Odd(
        table({"time_s": [*UNEVEN[:30], *UNEVEN[24:]], "k": [7] * (6 + ROWS)}),
        {"k": at(UNEVEN, [7] * ROWS)},
        ("duplicate_time",),
    ),
    "a row cut off above a header that is said again": Odd(
        table({"time_s": TIMES, "x": [f"{v:.2f}" for v in CURRENT]}) + "1.2,12\ntime_s,x\n1.22,35.50\n",
        {"x": [*at(TIMES, CURRENT), (1.22, 35.5)]},
        ("repeated_header", "unreadable_row"),
    ),
    "a restart that begins like the first run": Odd(
        table({"time_s": [*TIMES[:20], *TIMES], "k": [7] * (20 + ROWS)}),
        {"k": at([*TIMES[:20], *(round(TIMES[19] + 1 + t, 2) for t in TIMES)], [7] * (20 + ROWS))},
        ("clock_reset",),
    ),
    "a clock set back by ticks where nothing moves": Odd(
        table({"time_s": [*TIMES[:30], *TIMES[10:]], "k": [7] * (20 + ROWS)}),
        {"k": at([*TIMES[:30], *(round(TIMES[29] + 1 + t - TIMES[10], 2) for t in TIMES[10:])], [7] * 80)},
        ("clock_reset",),
    ),
    "a last line that is no row": Odd(wide() + "END\n", SOUND, ("unreadable_row",)),
    "a quote that never closes": Odd(
        "\n".join([*LINES[:31], '0.605,"9', *LINES[31:]]) + "\n", SOUND, ("unreadable_row",)
    ),
    "one time that is off by a few rows": Odd(
        "\n".join([*LINES[:31], "0.3," + LINES[31].split(",", 1)[1], *LINES[32:]]) + "\n",
        {k: [p for i, p in enumerate(v) if i != 30] for k, v in SOUND.items()},
        ("unreadable_row",),
    ),
    "a last time that is off": Odd(
        "\n".join([*LINES[:60], "0.1," + LINES[60].split(",", 1)[1]]) + "\n",
        {k: v[:-1] for k, v in SOUND.items()},
        ("unreadable_row",),
    ),
    "rows swapped at a day's end": Odd(
        table(
            {
                "time": [of_day(86399.5 + TIMES[{24: 26, 26: 24}.get(i, i)]) for i in range(ROWS)],
                "feed_current_a": [CURRENT[{24: 26, 26: 24}.get(i, i)] for i in range(ROWS)],
            }
        ),
        CURRENT_ALONE,
        ("reordered_rows",),
    ),
    "two clocks, one of which starts over": Odd(
        table(
            {"time_s": RESTARTED, "timestamp": [f"{EPOCH + t:.2f}" for t in TIMES], "feed_current_a": CURRENT}
        ),
        CURRENT_ALONE,
        ("two_clocks",),
    ),
    "long by channel, started over": Odd(
        "time_s,channel,value\n"
        + "".join(
            f"{RESTARTED[i]},{n},{c[i]}\n" for n, c in (("a", CURRENT), ("beam", BEAM)) for i in range(ROWS)
        ),
        {"a": at(LAID_OUT, CURRENT), "beam": at(LAID_OUT, BEAM)},
        ("clock_reset",),
    ),
    "long with a column too many": Odd(
        long("time_s,channel,value,quality", extra=",good"), SOUND, ("left_out_column",)
    ),
    "long with two columns too many": Odd(
        long("seq,time_s,channel,value,kind", before="7,", extra=",double"), SOUND, ("left_out_column",)
    ),
    "UTF-8 spoiled near its head": Odd(
        wide().replace("auto", "été").encode().replace("été".encode(), b"\xff\x07", 1),
        {"mode": [(t, "été" if t < 0.4 else "teleop") for t in TIMES[1:]]},
        ("unreadable_cell",),
    ),
}


@pytest.mark.parametrize("name", CLEAN)
def test_an_odd_but_sound_log_is_read_as_it_is(name: str, tmp_path: Path) -> None:
    log = read(CLEAN[name], tmp_path)

    assert log.repairs == ()
    assert_holds(log, CLEAN[name].truth)


@pytest.mark.parametrize("name", DAMAGED)
def test_a_damaged_log_is_mended_and_that_is_told(name: str, tmp_path: Path) -> None:
    log = read(DAMAGED[name], tmp_path)

    assert tuple(repair.kind for repair in log.repairs) == DAMAGED[name].kinds
    assert_holds(log, DAMAGED[name].truth)


def test_the_steadier_of_two_clocks_is_named(tmp_path: Path) -> None:
    log = read(DAMAGED["two clocks, one of which starts over"], tmp_path)

    assert (log.dialect.time_column, log.dialect.other_clocks) == ("timestamp", ("time_s",))
    assert (
        log.repairs[0].text
        == "The clock time_s starts over or leaps (line 32); the steadier timestamp was taken."
    )


def test_columns_left_out_are_named_and_their_cells_counted(tmp_path: Path) -> None:
    (repair,) = read(DAMAGED["long with two columns too many"], tmp_path).repairs

    assert (repair.count, repair.cells) == (2, 2 * 3 * ROWS)
    assert (
        repair.text
        == "2 columns beside time, channel and value of a long log left out (first at line 1): seq, kind."
    )


def test_the_evidence_for_a_dialect_is_told_with_the_runner_up(tmp_path: Path) -> None:
    dialect = read(CLEAN["decimal commas"], tmp_path).dialect

    assert dialect.why.startswith(
        "semicolon between cells, decimal comma: 100% of the sampled rows have 4 cells"
    )
    assert dialect.runner_up.startswith("comma between cells, decimal point: ")
