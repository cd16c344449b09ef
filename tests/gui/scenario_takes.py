# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Takes in the window: keep, compare, jump to what changed, the old trail beside the new."""

import json
import tempfile
from pathlib import Path

import bpy
import numpy as np
from scenario_live import take_the_swing_away
from shots import get_kept, open_small_shot, part, switch_overlay, wait_fresh


def get_state():
    """The window's own state."""
    return bpy.context.window_manager.fettle


def get_rows():
    """The lists of the scene in the window."""
    return part("window_state").get_list(bpy.context.scene.name)


def count():
    """How many findings met each fate, by its word."""
    counts = part("window_takes").count_fates(get_kept())
    return {fate.value: number for fate, number in counts.items() if number}


def keep_and_mend(ui):
    """Keep the faulty shot as a take, then mend it."""
    yield from open_small_shot(ui)
    yield from switch_overlay(ui)
    found = [flag.check for flag in get_kept().reading.flags]
    assert "ik-lock" in found
    assert bpy.ops.fettle.keep_take(name="rough") == {"FINISHED"}
    take_the_swing_away(bpy.data.objects["Rig"])
    yield 0.2
    yield from wait_fresh(ui)
    return found


def scenario_compare_with_a_kept_take(ui):
    """What was mended is listed as fixed; its row leads to the frame and the bone."""
    found = yield from keep_and_mend(ui)
    assert [take.name for take in get_rows().takes] == ["rough"]
    with ui.in_area():
        bpy.ops.object.mode_set(mode="POSE")
    bpy.ops.fettle.compare_take(name="rough")
    counts = count()
    assert counts.get("fixed", 0) >= 1, f"{counts} after the fault was mended"
    kept = [fate for fate in counts if fate not in ("new", "fixed")]
    assert counts["fixed"] + sum(counts[fate] for fate in kept) <= len(found)
    state = get_state()
    bpy.ops.fettle.show_fate(fate="FIXED")
    assert state.show_fates == {"FIXED"}
    assert len(get_rows().changes) == counts["fixed"]
    changes = part("window_takes").compare(get_kept()).changes
    numbers = [row.number for row in get_rows().changes]
    place = next(n for n, number in enumerate(numbers) if changes[number].old.check == "ik-lock")
    old = changes[numbers[place]].old
    bpy.context.scene.frame_current = 1
    get_rows().active_change = place
    yield from ui.wait_until(
        lambda: bpy.context.scene.frame_current == old.peak, "the row does not go to its frame", 5
    )
    selected = [bone.name for bone in bpy.context.selected_pose_bones]
    assert selected == ["hand.L"], f"{selected} are selected, not the hand"
    bpy.ops.fettle.show_fate(fate="FIXED")
    assert len(get_rows().changes) == len(changes), "a second click does not show all again"
    yield from ui.screenshot("compared")
    bpy.ops.fettle.compare_take(name="rough")
    assert get_kept().base is None and not len(get_rows().changes)


def scenario_old_and_new_trail_side_by_side(ui):
    """The old path is dashed: it comes and goes with its switch, broken by gaps."""
    yield from keep_and_mend(ui)
    state = get_state()
    state.trail_parts = {"LIMBS"}
    # Short enough that the hand does not pass the same place twice.
    state.frames_before = state.frames_after = 5
    view = ui.clear_bounds()
    bpy.context.scene.frame_current = 24
    alone = yield from ui.screenshot("new-alone")
    bpy.ops.fettle.compare_take(name="rough")
    both = yield from ui.screenshot("old-and-new")
    added = both.differs_from(alone, 24, view)
    assert added > 80, f"the old trail is drawn with {added} pixels"
    scenery = part("view_scenery").get_made(bpy.context.scene.name)
    old = scenery.old_trails["Rig", "hand.L"]
    rows = np.flatnonzero(abs(old.frames - 24) <= 4)
    between = np.linspace(rows[0], rows[-1], 120)
    path = [
        ui.to_pixel([np.interp(row, np.arange(len(old.points)), axis) for axis in old.points.T])
        for row in between
    ]
    ground = np.array(alone.colour_at(*path[-1]))
    lit = [bool(np.abs(np.array(both.colour_at(x, y)) - ground).max() > 60) for x, y in path]
    gaps = sum(1 for one, other in zip(lit, lit[1:], strict=False) if one and not other)
    assert gaps >= 2, f"the old trail has {gaps} gaps, {sum(lit)} of {len(lit)} places are lit"
    state.old_trails = False
    without = yield from ui.screenshot()
    left = without.differs_from(alone, 24, view)
    assert left < added / 10, f"{left} pixels are left of the old trail"
    state.trail_space = "hips"
    alone = yield from ui.screenshot()
    state.old_trails = True
    both = yield from ui.screenshot("seen-from-the-hips")
    added = both.differs_from(alone, 24, view)
    assert added > 80, f"seen from the hips the old trail is drawn with {added} pixels"


def scenario_a_take_of_an_older_version(ui):
    """It is compared as ever; where its trails cannot be drawn, the panel says why."""
    yield from keep_and_mend(ui)
    scene, name = bpy.context.scene, part("scene_takes").TAKES
    document = json.loads(scene[name]["0"])
    del document["firsts"], document["turns"]
    scene[name] = {"0": json.dumps(document)}
    state = get_state()
    state.trail_parts = {"LIMBS"}
    bpy.ops.fettle.compare_take(name="rough")
    assert count().get("fixed", 0) >= 1
    yield from ui.open_sidebar("Fettle")
    scenery = part("view_scenery").get_made(scene.name)
    assert ("Rig", "hand.L") in scenery.old_trails, "its trails are not drawn in the world"
    state.trail_space = "chest"
    yield from ui.screenshot("older-take-seen-from-the-chest")
    assert not part("view_scenery").get_made(scene.name).old_trails
    assert "older version" in part("old_trails").explain_missing(get_kept().base, "chest")


def scenario_compare_with_files(ui):
    """Findings from elsewhere and takes of another shot; a wrong file gets one line."""
    yield from keep_and_mend(ui)
    with tempfile.TemporaryDirectory() as folder:
        shot, findings = Path(folder) / "old.blend", Path(folder) / "old.json"
        bpy.ops.wm.save_as_mainfile(filepath=str(shot), copy=True)
        bpy.ops.fettle.hand_over(kind="JSON", filepath=str(findings))
        bpy.ops.fettle.compare_file(filepath=str(findings))
        assert set(count()) <= {"still there", "better", "worse"}, "compared with itself"
        assert get_kept().base.name == "old.json" and not get_kept().base.trails
        bpy.ops.fettle.compare_file(filepath=str(shot))
        assert get_kept().base.name == "old.blend#rough" and get_kept().base.trails
        assert count().get("fixed", 0) >= 1
        yield from ui.screenshot("take-of-another-file")
        for name, words in (("none.blend", "no such file"), ("junk.blend", "could not open")):
            path = Path(folder) / name
            if name.startswith("junk"):
                path.write_bytes(b"this is no shot")
            try:
                bpy.ops.fettle.compare_file(filepath=str(path))
            except RuntimeError as error:
                assert words in str(error), f"{name}: {error}"
            else:
                raise AssertionError(f"{name} was taken for a shot")
    assert get_kept().base.name == "old.blend#rough", "a wrong file took the comparison away"


def scenario_takes_are_saved_and_dropped(ui):
    """They come back with the file, go when they are dropped, and undo brings them back."""
    yield from keep_and_mend(ui)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "shot.blend"
        bpy.ops.wm.save_as_mainfile(filepath=str(path))
        bpy.ops.wm.open_mainfile(filepath=str(path))
        yield 0.2
        yield from wait_fresh(ui)
    assert [take.name for take in get_rows().takes] == ["rough"]
    assert get_kept().base is None, "a comparison outlived its file"
    bpy.ops.ed.undo_push(message="opened")
    bpy.ops.fettle.drop_take("EXEC_DEFAULT", True, name="rough")
    assert not len(get_rows().takes)
    bpy.ops.ed.undo()
    yield 0.2
    yield from wait_fresh(ui)
    assert [take.name for take in get_rows().takes] == ["rough"], "undo does not bring it back"


for scenario in list(globals().values()):
    if getattr(scenario, "__name__", "").startswith("scenario_"):
        scenario.time_limit = 150
