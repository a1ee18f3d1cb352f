"""Results on disk: whole files, safe places, the same bytes."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from reports.writing import WriteError, write_event, write_match, write_whole
from telemetry.analysis import Analysis
from tests.reports.synthetic_match import bare_analysis, synthetic_analysis


@pytest.fixture(scope="module")
def analysis() -> Analysis:
    return synthetic_analysis()


def contents(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_a_match_is_three_files(analysis: Analysis, tmp_path: Path) -> None:
    page = write_match(analysis, tmp_path / "m")

    assert page == tmp_path / "m" / "index.html"
    assert set(contents(tmp_path)) == {"m/index.html", "m/analysis.json", "m/findings.csv"}


def test_matches_of_one_name_do_not_overwrite_each_other(tmp_path: Path) -> None:
    quick = replace(bare_analysis(), match=replace(bare_analysis().match, name="match-07"))

    write_event([quick, quick], tmp_path)

    assert {path.name for path in tmp_path.iterdir()} == {
        "index.html",
        "event.json",
        "match-07",
        "match-07-2",
    }
    assert 'href="match-07-2/index.html"' in (tmp_path / "index.html").read_text(encoding="utf-8")


def test_the_same_input_gives_the_same_bytes(tmp_path: Path) -> None:
    for folder in ("one", "two"):
        write_event([synthetic_analysis(), bare_analysis()], tmp_path / folder)

    assert contents(tmp_path / "one") == contents(tmp_path / "two")


def test_a_second_run_takes_the_same_places(tmp_path: Path) -> None:
    for _ in range(2):
        write_event([bare_analysis()], tmp_path)

    assert {path.name for path in tmp_path.iterdir()} == {"index.html", "event.json", "match-07"}


def test_an_old_file_stays_whole_until_the_new_one_is(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    place = tmp_path / "page.html"
    write_whole(place, "old")

    def broken(descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", broken)
    with pytest.raises(WriteError, match="No space left on device"):
        write_whole(place, "new" * 1000)

    assert contents(tmp_path) == {"page.html": b"old"}


def test_a_place_that_cannot_be_written_is_one_line(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file where a folder should be")

    with pytest.raises(WriteError) as caught:
        write_whole(tmp_path / "taken" / "page.html", "text")

    assert "\n" not in str(caught.value)
    assert "page.html" in str(caught.value)
    assert caught.value.exit_status == 2


def test_half_a_character_is_no_reason_to_fail(tmp_path: Path) -> None:
    write_whole(tmp_path / "page.txt", "a\udc80b")

    assert (tmp_path / "page.txt").read_bytes() == b"a\\udc80b"


@pytest.mark.parametrize(
    ("module", "heavy"),
    [
        ("reports", ["numpy", "jinja2", "polars", "pydantic", "matplotlib"]),
        ("reports.writing", ["polars", "matplotlib", "scipy.signal", "scipy.stats", "jinja2"]),
    ],
)
def test_importing_loads_nothing_that_is_not_needed_yet(module: str, heavy: list[str]) -> None:
    asked = f"import sys, {module}; print([name for name in {heavy} if name in sys.modules])"

    told = subprocess.run(  # noqa: S603 - our own interpreter
        [sys.executable, "-c", asked], capture_output=True, text=True, check=True
    )

    assert told.stdout.strip() == "[]"


def test_the_public_face_holds_what_it_names() -> None:
    import reports

    assert {name: callable(getattr(reports, name)) for name in reports.__all__} == dict.fromkeys(
        reports.__all__, True
    )
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        reports.nothing  # noqa: B018 - asked for to be refused
