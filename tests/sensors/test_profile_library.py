"""Profiles of the package and of the user, and which of them an advertisement means."""

import os
from pathlib import Path

import pytest

from sensors.errors import ProfileError
from sensors.profile_library import built_in_profiles, load_profiles, user_profile_folder
from tests.support.profile_text import OPEN_SENSOR, SMALL

SERVICE = "b5ca0100-5296-43b6-8427-e4373d6b37aa"


def test_without_files_of_the_user_there_is_what_came_along(tmp_path):
    library = load_profiles(tmp_path / "not there")
    assert library.profiles == built_in_profiles()
    assert not library.notes
    assert not library.errors


def test_a_file_of_the_users_is_added(tmp_path):
    (tmp_path / "small.toml").write_text(SMALL)
    library = load_profiles(tmp_path)
    assert library.get("small").name == "Small sensor"
    assert library.known[0].path == tmp_path / "small.toml"
    assert len(library.profiles) == 1 + len(built_in_profiles())


def test_a_file_of_the_same_id_takes_the_place_and_that_is_said(tmp_path):
    (tmp_path / "mine.toml").write_text(OPEN_SENSOR.replace("rate_hz = 200", "rate_hz = 400"))
    library = load_profiles(tmp_path)
    assert library.get("open-sensor").rate_hz == 400
    assert len(library.profiles) == len(built_in_profiles())
    (note,) = library.notes
    assert "replaces the built-in profile 'open-sensor'" in note


def test_the_second_of_two_files_with_one_id_is_left_out_and_that_is_said(tmp_path):
    (tmp_path / "a.toml").write_text(SMALL)
    (tmp_path / "b.toml").write_text(SMALL.replace("100", "50", 1))
    library = load_profiles(tmp_path)
    assert library.get("small").rate_hz == 100
    assert "b.toml" in library.notes[0]
    assert "left out" in library.notes[0]


def test_a_file_that_cannot_be_used_hides_nothing(tmp_path):
    (tmp_path / "a.toml").write_text("format = 1\n")
    (tmp_path / "small.toml").write_text(SMALL)
    library = load_profiles(tmp_path)
    assert library.get("small")
    (error,) = library.errors
    assert error.path == tmp_path / "a.toml"


def test_an_id_that_is_not_there_is_told_with_those_that_are(tmp_path):
    with pytest.raises(ProfileError, match="open-sensor"):
        load_profiles(tmp_path).get("other")


@pytest.mark.parametrize(
    ("name", "services", "manufacturers", "known"),
    [
        ("torsolog 3F", (), (), "open-sensor"),
        (None, (SERVICE.upper(),), (), "open-sensor"),
        ("Small 1", (SERVICE,), (), "open-sensor"),
        ("Small 1", (), (7,), "small"),
        ("a Small 1", (), (), None),
        (None, (), (7,), "other"),
        (None, (), (), None),
        ("", (), (), None),
    ],
)
def test_a_service_says_more_than_a_name_and_a_name_more_than_a_maker(
    tmp_path, name, services, manufacturers, known
):
    (tmp_path / "small.toml").write_text(SMALL)
    other = SMALL.replace('"small"', '"other"').replace(
        'names = ["Small"]', "manufacturer_ids = [7]"
    )
    (tmp_path / "other.toml").write_text(other)
    found = load_profiles(tmp_path).recognise(name, services, manufacturers)
    assert (found.id if found else None) == known


@pytest.mark.skipif(os.name == "nt", reason="the config folder of Windows is not set by HOME")
def test_the_users_folder_lies_in_their_config_folder(tmp_path, monkeypatch):
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    folder = user_profile_folder()
    assert folder.name == "sensor-profiles"
    assert Path(tmp_path) in folder.parents
