# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Limits in the panel and settings in files are one and the same thing."""

import tomllib

import bpy
import pytest

from fettle.addon import properties, registration, scene_settings
from fettle.core_math import ALL_CHECKS, Limits, Settings, SettingsError, Stage, Style


@pytest.fixture
def scene():
    bpy.ops.wm.read_factory_settings(use_empty=True)
    registration.register()
    yield bpy.context.scene
    registration.unregister()


def numbers_of(scene, check):
    return getattr(scene.fettle, properties.limit_attribute(check))


def test_every_check_shows_its_declared_numbers(scene):
    for check in ALL_CHECKS:
        shown = numbers_of(scene, check)
        assert shown.enabled
        for declared in check.declarations:
            if isinstance(declared, Limits):
                names = [f"{declared.name}_{word}" for word in scene_settings.LIMIT_NAMES]
                assert [getattr(shown, name) for name in names] == pytest.approx(
                    declared.default, rel=1e-6
                )
            else:
                assert getattr(shown, declared.name) == pytest.approx(declared.default, rel=1e-6)
    assert not scene_settings.has_own_settings(scene), "looking at the panel changed the scene"


def test_every_number_explains_itself(scene):
    for check in ALL_CHECKS:
        shown = numbers_of(scene, check)
        for declared in check.declarations:
            suffix = "_faint" if isinstance(declared, Limits) else ""
            tooltip = shown.bl_rna.properties[declared.name + suffix].description
            assert declared.description in tooltip
            assert declared.source.rstrip(".") in tooltip


def test_what_the_panel_sets_is_a_settings_file(scene):
    scene.fettle.style = "broad"
    scene.fettle.stage = "spline"
    scene.fettle.ik_lock.enabled = False
    scene.fettle.ik_lock.forearm_turn = 22.0
    text = tomllib.loads(scene[scene_settings.SETTINGS])
    assert text["style"] == "broad"
    assert text["stage"] == "spline"
    assert text["checks"]["ik-lock"] == {"enabled": False, "forearm_turn": 22.0}
    settings = scene_settings.read_scene_settings(scene)
    assert (settings.style, settings.stage) == (Style.BROAD, Stage.SPLINE)
    scene.fettle.stage = "auto"
    assert scene_settings.read_scene_settings(scene).stage is None


def test_a_value_outside_its_range_is_brought_inside(scene):
    scene.fettle.ik_lock.forearm_turn = 1000.0
    assert scene.fettle.ik_lock.forearm_turn == 90.0


@pytest.mark.parametrize("severity", scene_settings.LIMIT_NAMES)
@pytest.mark.parametrize("value", [0.0, 0.01, 0.2, 0.6])
def test_the_three_limits_always_keep_their_order(scene, severity, value):
    ik_lock = next(check for check in ALL_CHECKS if check.id == "ik-lock")
    settings = scene_settings.set_limit(Settings(), ik_lock, "turn_ratio", severity, value)
    faint, clear, glaring = settings.values(ik_lock, 24.0).limits["turn_ratio"]
    assert 0.6 >= faint > clear > glaring >= 0.0
    kept = {"faint": faint, "clear": clear, "glaring": glaring}[severity]
    assert kept == pytest.approx(value, abs=0.002)


def test_reset_goes_back_to_what_is_declared(scene):
    scene.fettle.ik_lock.turn_ratio_clear = 0.2
    assert scene.fettle.ik_lock.turn_ratio_clear == pytest.approx(0.2)
    bpy.ops.fettle.reset_limits(check="ik-lock")
    assert scene.fettle.ik_lock.turn_ratio_clear == pytest.approx(0.12)
    scene.fettle.style = "subtle"
    bpy.ops.fettle.reset_limits()
    assert not scene_settings.has_own_settings(scene)


def test_damaged_settings_are_named_and_the_panel_still_works(scene):
    scene[scene_settings.SETTINGS] = "style = 'baroque'"
    with pytest.raises(SettingsError, match="scene 'Scene'.*baroque"):
        scene_settings.read_scene_settings(scene)
    assert scene.fettle.ik_lock.enabled


def test_the_file_beside_the_shot_counts_until_the_scene_has_its_own(scene, tmp_path):
    (tmp_path / "fettle.toml").write_text("[checks.ik-lock]\nenabled = false\n", encoding="utf-8")
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "shot.blend"))
    scene = bpy.context.scene
    assert not scene.fettle.ik_lock.enabled
    scene.fettle.style = "broad"
    own = scene_settings.read_scene_settings(scene)
    assert own.style is Style.BROAD
    assert "ik-lock" in own.disabled, "what the file said was lost"


def test_export_and_import(scene, tmp_path):
    scene.fettle.style = "subtle"
    scene.fettle.ik_lock.turn_ratio_faint = 0.3
    before = scene_settings.read_scene_settings(scene)
    path = tmp_path / "show limits.toml"
    bpy.ops.fettle.export_settings(filepath=str(path))
    bpy.ops.fettle.reset_limits()
    bpy.ops.fettle.import_settings(filepath=str(path))
    assert scene_settings.read_scene_settings(scene) == before
    with pytest.raises(RuntimeError, match="cannot be read"):
        bpy.ops.fettle.import_settings(filepath=str(tmp_path / "missing.toml"))
