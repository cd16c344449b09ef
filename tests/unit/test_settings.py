# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The settings file: read, written, found upwards, and refused by name when not understood."""

import pytest

from fettle.core_math import ALL_CHECKS, Settings, SettingsError, Stage
from fettle.core_math.check import Style
from fettle.core_math.settings import find_settings_file, read_settings, write_settings

FILE = """
style = "subtle"
stage = "blocking"
[checks.ik-lock]
turn_ratio = [0.3, 0.15, 0.05]
shortest = 0.3
[checks.idle-chest]
enabled = false
"""


def write(tmp_path, text):
    path = tmp_path / "fettle.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_file_is_read(tmp_path):
    settings = read_settings(write(tmp_path, FILE), ALL_CHECKS)
    assert (settings.style, settings.stage) == (Style.SUBTLE, Stage.BLOCKING)
    assert settings.overrides["ik-lock"] == {"turn_ratio": (0.3, 0.15, 0.05), "shortest": 0.3}
    assert settings.disabled == {"idle-chest"}


def test_written_settings_read_back_the_same(tmp_path):
    settings = read_settings(write(tmp_path, FILE), ALL_CHECKS)
    again = read_settings(write(tmp_path, write_settings(settings)), ALL_CHECKS)
    assert (again.style, again.stage, again.disabled) == (
        settings.style,
        settings.stage,
        settings.disabled,
    )
    assert again.overrides["ik-lock"] == settings.overrides["ik-lock"]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("colour = 1", "unknown key 'colour'"),
        ("[checks.ik-lok]", "unknown check 'ik-lok'"),
        ("[checks.ik-lock]\nturns = 1", "ik-lock: unknown parameter 'turns'"),
        ("[checks.ik-lock]\nshortest = 'x'", "ik-lock: shortest: expected one number in s"),
        ("style = 'loud'", "unknown style 'loud'"),
        ("stage = 'rough'", "unknown stage 'rough'"),
        ("style = ", "is no valid TOML"),
        ("checks = 3", "'checks' must be a table"),
        ("[checks.ik-lock]\nenabled = 3", "either true or false"),
    ],
)
def test_what_is_not_understood_is_refused_with_the_file_named(tmp_path, text, message):
    path = write(tmp_path, text)
    with pytest.raises(SettingsError, match=message) as caught:
        read_settings(path, ALL_CHECKS)
    assert str(path) in str(caught.value) and "\n" not in str(caught.value).strip()


def test_missing_file_is_one_line(tmp_path):
    with pytest.raises(SettingsError, match="cannot be read"):
        read_settings(tmp_path / "no.toml", ALL_CHECKS)


def test_only_and_skip_select_checks():
    settings = Settings().select(ALL_CHECKS, only=["ik-lock", "twinning"], skip=["twinning"])
    assert [check.id for check in ALL_CHECKS if settings.enabled(check)] == ["ik-lock"]
    with pytest.raises(SettingsError, match="unknown check 'nope'"):
        Settings().select(ALL_CHECKS, only=["nope"])


def test_file_is_found_in_a_folder_above(tmp_path):
    path = write(tmp_path, "")
    shot = tmp_path / "shots" / "010" / "shot.blend"
    shot.parent.mkdir(parents=True)
    assert find_settings_file(shot) == path
