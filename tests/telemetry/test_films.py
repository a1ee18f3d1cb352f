"""Videos named in the match sheet: each beside the page of its match, and nothing from elsewhere."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from parsers import Limits
from telemetry.cli import main
from telemetry.commands.batch import Extras, Task
from telemetry.commands.films import with_films
from telemetry.match_sheet import MatchSheet, SheetRow

SAMPLES = Path(__file__).parents[2] / "sample_logs"


def task(folder: Path, extras: Extras | None = None) -> Task:
    return Task(folder / "match-02.csv", None, "match-02", frozenset(), Limits(), None, extras or Extras())


def sheet(video: str, file: str = "match-02.csv") -> MatchSheet:
    return MatchSheet((SheetRow(file=file, video=video),))


@pytest.mark.parametrize(
    ("cell", "start_s"),
    [("two.mp4", 0.0), ("two.mp4 @ 12.5", 12.5), ("two.mp4@-3", -3.0), ("two.mp4 @ 7,25 s", 7.25)],
)
def test_a_video_beside_the_sheet_goes_with_its_match(tmp_path: Path, cell: str, start_s: float) -> None:
    (tmp_path / "two.mp4").write_bytes(b"film")

    (found,), complaints = with_films([task(tmp_path)], sheet(cell), None)

    assert complaints == []
    assert (found.extras.video, found.extras.video_start_s) == (tmp_path / "two.mp4", start_s)


@pytest.mark.parametrize(
    "cell",
    ["../two.mp4", "/etc/two.mp4", "..\\two.mp4", "two.txt", "none.mp4", "two.mp4 @ soon", "two.mp4 @ nan"],
)
def test_what_lies_elsewhere_or_is_no_video_is_told_and_left_out(tmp_path: Path, cell: str) -> None:
    beside = tmp_path / "logs"
    beside.mkdir()
    for place in (tmp_path, beside):
        for name in ("two.mp4", "two.txt"):
            (place / name).write_bytes(b"film")

    (found,), complaints = with_films([task(beside)], sheet(cell), None)

    assert found.extras.video is None
    assert len(complaints) == 1
    assert complaints[0].startswith("match sheet: video ")
    assert "\n" not in complaints[0]


def test_a_match_without_a_row_or_with_a_video_of_its_own_stays_as_it_is(tmp_path: Path) -> None:
    own = task(tmp_path, Extras(video=Path("own.mp4")))

    assert with_films([own], sheet("two.mp4"), None) == ([own], [])
    assert with_films([task(tmp_path)], sheet("two.mp4", "match-03.csv"), None) == ([task(tmp_path)], [])
    assert with_films([task(tmp_path)], None, None) == ([task(tmp_path)], [])


def test_the_page_of_that_match_shows_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "jay.webm").write_bytes(b"film")
    (tmp_path / "sheet.csv").write_text("file,video\nmatch-01.csv,jay.webm @ 4\n", encoding="utf-8")
    words = ["report", SAMPLES / "match-01.csv", "--robot", SAMPLES / "robot.toml"]
    words += ["--sheet", tmp_path / "sheet.csv", "--out", tmp_path / "out"]
    monkeypatch.setattr(sys, "argv", ["rattletrace", *map(str, words)])
    with pytest.raises(SystemExit) as end:
        main()

    page = (tmp_path / "out" / "match-01" / "index.html").read_text(encoding="utf-8")
    assert not end.value.code
    assert 'src="video.webm" data-start="4.0000"' in page
    assert (tmp_path / "out" / "match-01" / "video.webm").read_bytes() == b"film"
