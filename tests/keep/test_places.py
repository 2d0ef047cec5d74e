"""Before long work: can its result be written where it is to go?"""

from pathlib import Path

import pytest

from bedwatch.errors import UserError
from bedwatch.files import check_places


def test_a_missing_folder_is_told_once_for_all_files_that_go_there(tmp_path: Path) -> None:
    gone = tmp_path / "gone"
    with pytest.raises(UserError) as told:
        check_places({"--out": gone / "a.toml", "--picture": gone / "a.png"})
    assert str(told.value).count("there is no folder") == 1
    assert "--out" in str(told.value)


def test_mistakes_in_two_folders_are_both_told(tmp_path: Path) -> None:
    with pytest.raises(UserError) as told:
        check_places({"--out": tmp_path / "gone" / "a.toml", "--picture": tmp_path / "lost" / "a.png"})
    assert str(told.value).count("there is no folder") == 2


def test_a_file_in_the_place_of_the_folder_is_told(tmp_path: Path) -> None:
    file = tmp_path / "notes.txt"
    file.write_text("kept")
    with pytest.raises(UserError, match=r"--pictures: found the file .*notes\.txt, expected a folder"):
        check_places({"--pictures": file / "camera-0.jpg"})
    assert file.read_text() == "kept"
