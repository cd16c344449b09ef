# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""wrist-line on motion of known truth: clean, planted, just under and over, not evaluated."""

from dataclasses import replace

import captures
import figure
import numpy as np
import pytest
import reposing
from check_assertions import assert_clean, assert_invariant, assert_not_evaluated, run

from fettle.core_math.camera import SensorFit, ShotCamera
from fettle.core_math.checks.wrist_line import CHECK
from fettle.core_math.findings import Severity
from fettle.core_math.measures import rotations
from fettle.core_math.motion import Stage

SECONDS = 5.0


def wave(bend, *, fps: float = 24.0, side: str = ".R", axis=(0, 1, 0), seconds=SECONDS, **options):
    """Both arms swing without a pause, each wrist bent 20 degrees; on one side by `bend` degrees
    (a number or a function of seconds). About +Y the palm bends, about +X the hand's edge."""
    count = round(seconds * fps)
    time = np.arange(count) / fps
    angles = {}
    for hand, pace in ((".L", 0.5), (".R", 0.7)):
        # A circling arm never stops at a turning point.
        angles[f"upper_arm{hand}"] = rotations.multiply(
            figure.turn((1, 0, 0), 35.0 * np.sin(2 * np.pi * pace * time)),
            figure.turn((0, 1, 0), 35.0 * np.cos(2 * np.pi * pace * time)),
        )
        own = np.full(count, 20.0)
        if hand == side:
            own = bend(time) if callable(bend) else np.full(count, float(bend))
        angles[f"hand{hand}"] = figure.turn(axis if hand == side else (0, 1, 0), own)
    return figure.make_motion(angles, count, fps=fps, **options)


def between(seconds: float, inside: float, outside: float = 20.0, at: float = 1.5):
    """A bend that is `inside` for `seconds`, reached and left within 0.15 s."""

    def bend(time):
        share = figure.minimum_jerk((time - at + 0.15) / 0.15)
        share = share - figure.minimum_jerk((time - at - seconds) / 0.15)
        return outside + (inside - outside) * share

    return bend


def test_bent_wrist_is_clean():
    assert_clean(run(CHECK, wave(20.0)))


def test_straight_wrist_is_flagged_where_it_is_straight():
    (flag,) = run(CHECK, wave(between(1.2, 0.0))).flags
    assert (flag.part, flag.code, flag.severity) == ("hand.R", "ruler-line", Severity.CLEAR)
    assert abs(flag.start - 37) <= 2 and abs(flag.end - 66) <= 2


@pytest.mark.parametrize(
    ("seconds", "severity"),
    [
        (0.3, None),
        (0.55, Severity.FAINT),
        (0.85, Severity.FAINT),
        (1.1, Severity.CLEAR),
        (1.8, Severity.CLEAR),
        (2.1, Severity.GLARING),
    ],
)
def test_severity_follows_the_time(seconds, severity):
    flags = run(CHECK, wave(between(seconds, 0.0))).flags
    assert [flag.severity for flag in flags] == ([severity] if severity else [])


@pytest.mark.parametrize(("bend", "found"), [(3.5, True), (4.5, False)])
def test_four_degrees_are_straight(bend, found):
    assert bool(run(CHECK, wave(bend)).flags) is found


@pytest.mark.parametrize(
    ("bend", "severity"),
    [
        # AAOS: wrist flexion 80 degrees; 5 more are granted to a rig's bones.
        (80.0, None),
        (84.0, None),
        (86.0, Severity.FAINT),
        (94.0, Severity.FAINT),
        (96.0, Severity.CLEAR),
        (109.0, Severity.CLEAR),
        (111.0, Severity.GLARING),
    ],
)
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_bend_beyond_the_published_range_is_flagged(bend, severity, sign):
    flags = run(CHECK, wave(sign * bend)).flags
    assert [flag.severity for flag in flags] == ([severity] if severity else [])
    for flag in flags:
        assert (flag.part, flag.code) == ("hand.R", "overbent")
        assert flag.value == pytest.approx(bend - 85.0, abs=0.2)


@pytest.mark.parametrize(
    # Boone & Azen 1979: ulnar deviation 36 degrees, 5 more are granted.
    ("bend", "severity"),
    [(36.0, None), (40.0, None), (42.0, Severity.FAINT), (52.0, Severity.CLEAR)],
)
def test_sideways_range_is_smaller(bend, severity):
    flags = run(CHECK, wave(bend, axis=(1, 0, 0))).flags
    assert [flag.severity for flag in flags] == ([severity] if severity else [])


def test_hand_at_rest_may_be_straight():
    assert_clean(run(CHECK, figure.make_motion({}, 72)))


def test_wrists_straight_throughout_the_shot_are_one_flag():
    motion = wave(0.0)
    turns = np.tile([1.0, 0.0, 0.0, 0.0], (motion.frame_count, 1))
    (flag,) = run(CHECK, reposing.repose(motion, {"hand.L": turns, "hand.R": turns})).flags
    assert {"hand.L", "hand.R"} <= {flag.part, *flag.other_parts}


def test_leaning_hand_is_left_alone_and_said_so():
    motion = wave(95.0)
    drift = motion.head("hand.R") - motion.head("hand.R")[:1]
    leaning = reposing.repose(motion, local_heads={"root": motion.head("root") - drift})
    reading = run(CHECK, leaning)
    assert reading.flags == ()
    assert any("leans" in entry.reason for entry in reading.not_evaluated)


def look(motion, side_view: bool):
    """Add a camera that follows the right wrist, from the front or from the right."""
    count = motion.frame_count
    turn = rotations.from_axis_angle((0.0, 0.0, 1.0), -90.0 if side_view else 0.0)
    turn = rotations.multiply(turn, rotations.from_axis_angle((1.0, 0.0, 0.0), 90.0))
    away = np.array([-4.0, 0.0, 0.0]) if side_view else np.array([0.0, -4.0, 0.0])
    ones = np.ones(count)
    camera = ShotCamera(
        name="Camera",
        positions=motion.head("hand.R") + away,
        rotations=np.tile(turn, (count, 1)),
        lens_mm=50.0 * ones,
        sensor_mm=np.tile([36.0, 24.0], (count, 1)),
        sensor_fit=SensorFit.AUTO,
        shift=np.zeros((count, 2)),
        resolution=(1920.0, 1080.0),
        pixel_aspect=(1.0, 1.0),
        clip_m=np.tile([0.1, 100.0], (count, 1)),
        focus_m=4.0 * ones,
        f_stop=2.8 * ones,
        depth_of_field=False,
        orthographic=False,
        ortho_scale=ones,
        motion_blur=False,
        shutter_frames=0.5,
    )
    return replace(motion, camera=camera, _memo={})


def swing_across(bend: float):
    """The right arm swings forward and back for 4 s, seen best from the side; the wrist bends
    across that plane, so that it is only seen from the front."""
    time = np.arange(96) / 24.0
    return figure.make_motion(
        {
            "upper_arm.R": figure.turn((1, 0, 0), -40.0 + 40.0 * np.sin(np.pi * time)),
            "forearm.R": figure.turn((1, 0, 0), -25.0 + 25.0 * np.cos(np.pi * time)),
            "hand.R": figure.turn((0, 1, 0), np.full(96, bend)),
        },
        96,
        without=("hand.L",),
    )


def test_bend_that_the_camera_does_not_see_is_flagged_in_the_picture():
    (flag,) = run(CHECK, look(swing_across(20.0), side_view=True)).flags
    assert (flag.part, flag.code) == ("hand.R", "ruler-line-in-camera")


def test_bend_that_the_camera_sees_is_clean():
    assert_clean(run(CHECK, look(swing_across(20.0), side_view=False)))


def test_straight_wrist_is_flagged_once_with_a_camera_too():
    (flag,) = run(CHECK, look(wave(between(1.2, 0.0)), side_view=False)).flags
    assert flag.code == "ruler-line"


def test_missing_hands_are_not_evaluated():
    motion = figure.make_motion({}, 48, without=("hand.L", "hand.R"))
    assert_not_evaluated(run(CHECK, motion), "hand.L (not mapped)")


def test_hand_without_length_or_fingers_is_not_evaluated():
    motion = figure.make_motion({}, 48, without=("hand.L", *FINGERS))
    tails = motion.tails.copy()
    tails[:, motion.index("hand.R")] = motion.head("hand.R")
    bare = figure.build_motion(
        subject="Figure",
        frames=motion.frames,
        fps=24.0,
        parts=motion.parts,
        parents=motion.parents,
        heads=motion.heads,
        tails=tails,
        rotations_wxyz=motion.rotations,
    )
    assert_not_evaluated(run(CHECK, bare), "hand.R has no length")


FINGERS = tuple(f"{name}.R" for name in ("thumb", "index", "middle", "ring", "pinky"))


def test_waits_in_blocking():
    assert_not_evaluated(run(CHECK, wave(0.0, stage_override=Stage.BLOCKING)), "blocking")


def test_invariances():
    bend = between(1.3, 0.0)
    rates = {fps: wave(bend, fps=fps) for fps in (12, 60, 120)}
    assert_invariant(CHECK, wave(bend), at_rates=rates)
    assert_invariant(CHECK, wave(100.0))


@pytest.mark.captures
@pytest.mark.parametrize("fps", [None, 24, 25, 30])
@pytest.mark.parametrize("clip", ["01_01", "01_03", "Boxing_Toes"])
def test_captures_are_clean(clip, fps):
    assert_clean(run(CHECK, captures.load(clip, fps)))


@pytest.mark.captures
def test_wrist_straightened_in_a_capture_is_flagged_there():
    motion = captures.load("Boxing_Toes", 24)
    hand = motion.tail("hand.R") - motion.head("hand.R")
    forearm = motion.head("hand.R") - motion.head("forearm.R")
    world = rotations.multiply(reposing.shortest_turn(hand, forearm), motion.rotation("hand.R"))
    local = rotations.relative(motion.rotation("forearm.R"), world)
    own = motion.local_rotations[:, motion.index("hand.R")]
    share = reposing.ramp(motion, 241, 271, 3)
    straight = reposing.repose(motion, {"hand.R": reposing.mix(own, local, share)})
    (flag,) = run(CHECK, straight).flags
    assert (flag.part, flag.severity) == ("hand.R", Severity.CLEAR)
    assert abs(flag.start - 241) <= 3 and abs(flag.end - 271) <= 3
