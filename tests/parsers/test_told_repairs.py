"""Every kind of repair is told everywhere: in the inventory, its JSON, the page, and beside a conversion."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from telemetry.cli import cli
from tests.parsers.odd import CURRENT, TIMES

ROWS = [f"{t:.2f},{a},{i // 7 % 2}" for i, (t, a) in enumerate(zip(TIMES, CURRENT, strict=True))]


def wide(rows: list[str], head: str = "time_s,feed_a,beam", end: str = "\n") -> str:
    return "\n".join([head, *rows]) + end


def moved(rows: list[str], take: int, to: int) -> list[str]:
    rows = list(rows)
    rows.insert(to, rows.pop(take))
    return rows


def later(rows: list[str], by_s: float) -> list[str]:
    return [f"{float(row.split(',', 1)[0]) + by_s:.2f},{row.split(',', 1)[1]}" for row in rows]


def restarted() -> str:
    clocks = [(t if i < 30 else t - TIMES[30], 1_772_352_000 + t) for i, t in enumerate(TIMES)]
    rows = [f"{a:.2f},{b:.2f},{c}" for (a, b), c in zip(clocks, CURRENT, strict=True)]
    return wide(rows, "time_s,timestamp,feed_a")


# Kind, text of the log, how often it happened, its first line.
TOLD = {
    "truncated_tail": (wide([*ROWS, "1.2"], end=""), 1, 62),
    "unreadable_row": (wide([*ROWS[:20], "0.4,1", *ROWS[20:]]), 1, 22),
    "unreadable_cell": (wide([*ROWS[:20], "0.4,??,0", *ROWS[21:]]), 1, 22),
    "repeated_header": (wide([*ROWS[:20], "time_s,feed_a,beam", *ROWS[20:]]), 1, 22),
    "reordered_rows": (wide(moved(ROWS, 20, 24)), 1, 26),
    "duplicate_time": (wide([*ROWS[:20], ROWS[19], *ROWS[20:]]), 1, 21),
    "clock_reset": (wide([*ROWS[:30], *ROWS[:25]]), 1, 32),
    "clock_jump": (wide([*ROWS[:30], *later(ROWS[30:], 4000)]), 1, 32),
    "duplicate_channel": (wide(ROWS, "time_s,feed_a,feed_a"), 1, 1),
    "two_clocks": (restarted(), 1, 32),
    "left_out_column": (
        wide([f"{t},beam,{i % 2},good" for i, t in enumerate(TIMES)], "time_s,channel,value,quality"),
        1,
        1,
    ),
}


def run(*words: str | Path) -> str:
    result = CliRunner().invoke(cli, [str(word) for word in words])
    assert result.exit_code == 0, result.output
    return result.output


@pytest.fixture(params=TOLD)
def kind(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    (tmp_path / "log.csv").write_text(TOLD[request.param][0])
    return str(request.param)


def test_a_repair_is_told_with_kind_count_line_and_a_plain_sentence(kind: str, tmp_path: Path) -> None:
    _, count, line = TOLD[kind]
    (repair,) = json.loads(run("channels", tmp_path / "log.csv", "--json"))["log"]["repairs"]

    assert (repair["kind"], repair["count"], repair["line"]) == (kind, count, line)
    assert re.match(r"^[A-Z1-9].*[^.]\.$", repair["text"])
    assert f"line {line}" in repair["text"]


def test_the_same_sentence_stands_in_channels_and_beside_a_conversion(kind: str, tmp_path: Path) -> None:
    told = run("channels", tmp_path / "log.csv")
    run("convert", tmp_path / "log.csv", tmp_path / "out.csv")
    beside = json.loads((tmp_path / "out.csv.repairs.json").read_text())["repairs"]

    assert [repair["kind"] for repair in beside] == [kind]
    assert beside[0]["text"].split(" (")[0] in " ".join(told.split())


def test_the_same_sentence_stands_on_the_page(kind: str, tmp_path: Path) -> None:
    run("report", tmp_path / "log.csv", "--out", tmp_path / "out")
    page = (tmp_path / "out" / "log" / "index.html").read_text()
    analysis = json.loads((tmp_path / "out" / "log" / "analysis.json").read_text())

    assert analysis["log"]["repairs"][0]["kind"] == kind
    assert analysis["log"]["repairs"][0]["text"].split(" (")[0] in page
