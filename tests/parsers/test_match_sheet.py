"""`matches.csv` as people write it."""

from __future__ import annotations

from pathlib import Path

import pytest

from parsers import read_match_sheet
from telemetry.errors import LogError
from telemetry.match_sheet import MatchSheet

HEAD = "file,match,start time,driver,battery,note,video\n"


def _read(tmp_path: Path, content: str | bytes) -> MatchSheet:
    path = tmp_path / "matches.csv"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return read_match_sheet(path)


def test_every_column_is_read(tmp_path: Path) -> None:
    (row,) = _read(tmp_path, HEAD + 'a.csv,Q1,09:30,Ari,B1,"slow, wet",a.mp4\n').rows
    assert (row.file, row.match, row.start_s, row.driver) == ("a.csv", "Q1", 34200.0, "Ari")
    assert (row.battery, row.note, row.video) == ("B1", "slow, wet", "a.mp4")


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
@pytest.mark.parametrize(("delimiter", "end"), [(",", "\n"), (";", "\r\n"), ("\t", "\n"), ("|", "\r\n")])
def test_any_form_gives_the_same(tmp_path: Path, encoding: str, delimiter: str, end: str) -> None:
    lines = ["File,Start Time,Driver", "# a remark", "", "a.csv,9:30,Åsa", ""]
    text = end.join(lines).replace(",", delimiter)
    (row,) = _read(tmp_path, text.encode(encoding)).rows
    assert (row.file, row.start_s, row.driver) == ("a.csv", 34200.0, "Åsa")


@pytest.mark.parametrize(
    ("lines", "kind", "kept"),
    [
        ("a.csv,,soon,,,,\n", "unreadable_cell", 1),
        (",,09:00,,,,\nb.csv,,,,,,\n", "unreadable_row", 1),
        ("a.csv,1,,,,,\na.csv,1,,,,,\n", "duplicate_row", 1),
        ("a.csv,1,,,,,,surplus\n", "unreadable_cell", 1),
    ],
)
def test_what_is_wrong_is_named_with_its_line(tmp_path: Path, lines: str, kind: str, kept: int) -> None:
    sheet = _read(tmp_path, HEAD + lines)
    assert [repair.kind for repair in sheet.repairs] == [kind]
    assert "line" in sheet.repairs[0].text
    assert len(sheet.rows) == kept


def test_a_column_of_another_name_is_named(tmp_path: Path) -> None:
    (repair,) = _read(tmp_path, "file,weather {0}\na.csv,rain\n").repairs
    assert "weather {0}" in repair.text


@pytest.mark.parametrize(
    "content", ["", "driver,battery\nAri,B1\n", "\x00\x01\x02", 'file\n"a.csv\n' + "x" * 200_000]
)
def test_what_is_no_sheet_is_refused_in_one_line(tmp_path: Path, content: str) -> None:
    with pytest.raises(LogError) as caught:
        _read(tmp_path, content)
    assert "\n" not in str(caught.value)
    assert "matches.csv" in str(caught.value)


def test_a_path_in_the_sheet_is_taken_by_its_last_part(tmp_path: Path) -> None:
    (row,) = _read(tmp_path, "file\n../../logs\\a.csv\n").rows
    assert row.file == "a.csv"
