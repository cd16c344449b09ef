# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Motion: what is refused, what is left out with its reason, what is measured on the way in."""

import figure
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fettle.core_math import MotionError, Stage, build_motion
from fettle.core_math.findings import CannotEvaluateError
from fettle.core_math.measures import rotations
from fettle.core_math.motion import KeyTrack

FIELDS = {
    "subject": "Rig",
    "frames": np.arange(1, 6),
    "fps": 24.0,
    "parts": ["hips", "hand.L"],
    "parents": [-1, 0],
    "heads": np.zeros((5, 2, 3)),
    "tails": np.ones((5, 2, 3)),
    "rotations_wxyz": np.tile([1.0, 0.0, 0.0, 0.0], (5, 2, 1)),
}


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"fps": 0.0}, "frame rate is 0"),
        ({"frames": []}, "no frames"),
        ({"frames": [1, 2, 4, 5, 6]}, "consecutive"),
        ({"parts": [], "parents": []}, "no part to judge"),
        ({"heads": np.zeros((5, 1, 3))}, r"heads has shape \(5, 1, 3\), expected \(5, 2, 3\)"),
        ({"parents": [-1, 7]}, "parents must name"),
        ({"heads": np.full((5, 2, 3), np.nan)}, "no part has valid positions"),
    ],
)
def test_unusable_samples_are_refused_in_one_line(change, message):
    with pytest.raises(MotionError, match=message) as caught:
        build_motion(**{**FIELDS, **change})
    assert str(caught.value).startswith("Rig: ") and "\n" not in str(caught.value)


def test_part_without_valid_position_is_left_out_with_its_frame():
    heads = np.zeros((5, 2, 3))
    heads[2, 1] = np.nan
    motion = build_motion(**{**FIELDS, "heads": heads})
    assert motion.parts == ("hips",)
    with pytest.raises(CannotEvaluateError, match="hand.L .no valid position at frame 3"):
        motion.require("hand.L")


def test_children_of_a_left_out_part_hang_on_its_parent():
    motion = figure.make_motion({}, 5)
    heads = motion.heads.copy()
    heads[0, motion.index("forearm.L")] = np.inf
    again = build_motion(
        subject="Rig",
        frames=motion.frames,
        fps=24.0,
        parts=motion.parts,
        parents=motion.parents,
        heads=heads,
        tails=motion.tails,
        rotations_wxyz=motion.rotations,
    )
    assert again.parent_of("hand.L") == "upper_arm.L"


def test_height_is_the_figures_stature():
    # The figure's chain is built from shares of stature, so the measure must give it back. Its
    # chain runs to the ankle joint at 0.039 of stature over the sole.
    motion = figure.make_motion({}, 5)
    assert motion.height == pytest.approx(figure.STATURE, rel=0.02)


def test_height_does_not_depend_on_the_stance():
    bent = figure.make_motion(
        {
            "thigh.L": figure.turn((1, 0, 0), np.full(5, 90.0)),
            "spine": figure.turn((1, 0, 0), 60.0).repeat(5, axis=0),
        },
        5,
    )
    assert bent.height == pytest.approx(figure.make_motion({}, 5).height, rel=1e-9)


def test_local_rotation_is_the_one_put_in():
    wave = 30.0 * np.sin(np.arange(24) / 4.0)
    motion = figure.make_motion({"forearm.L": figure.turn((0, 1, 0), wave)}, 24)
    local = motion.local_rotations[:, motion.index("forearm.L")]
    assert rotations.angle(local) == pytest.approx(np.abs(wave), abs=1e-9)


def test_stage_follows_keys_and_cadence():
    frames = np.arange(24)
    wave = 30.0 * np.sin(frames / 4.0)
    assert figure.make_motion({"hand.L": figure.turn((0, 1, 0), wave)}, 24).stage is Stage.SPLINE
    twos = figure.make_motion({"hand.L": figure.turn((0, 1, 0), wave[frames // 2 * 2])}, 24)
    assert (twos.stage, twos.cadence) == (Stage.HELD, 2)
    stepped = KeyTrack(np.array([1.0, 9.0, 17.0]), np.ones(3, dtype=bool), ("hand.L",))
    poses = figure.make_motion(
        {"hand.L": figure.turn((0, 1, 0), wave[frames // 8 * 8])}, 24, keys={"hand.L": stepped}
    )
    assert poses.stage is Stage.BLOCKING


def test_stepped_keys_on_every_second_frame_are_drawings_on_twos():
    frames = np.arange(24)
    wave = 30.0 * np.sin(frames / 4.0)
    drawn = KeyTrack(frames[::2] + 1.0, np.ones(12, dtype=bool), ("hand.L",))
    twos = figure.make_motion(
        {"hand.L": figure.turn((0, 1, 0), wave[frames // 2 * 2])}, 24, keys={"hand.L": drawn}
    )
    assert (twos.stage, twos.cadence) == (Stage.HELD, 2)
    every = KeyTrack(frames + 1.0, np.ones(24, dtype=bool), ("hand.L",))
    ones = figure.make_motion({"hand.L": figure.turn((0, 1, 0), wave)}, 24, keys={"hand.L": every})
    assert ones.stage is Stage.SPLINE


def test_shots_split_at_cuts_inside_the_range_only():
    motion = figure.make_motion({}, 20, start=101, cuts=(101, 111, 500))
    assert [(s.frame(0), s.frame(-1)) for s in motion.shots()] == [(101, 110), (111, 120)]


def test_chain_lists_further_joints_in_order():
    motion = figure.make_motion({}, 3)
    assert motion.chain("index.L") == ("index.L", "index.L/2", "index.L/3")
    assert len(motion.chain("strand:braid_L")) == 5


@given(
    frames=st.integers(1, 40),
    scale=st.floats(1e-3, 1e3),
    fps=st.floats(1.0, 240.0),
    seed=st.integers(0, 1000),
)
def test_any_samples_make_a_motion(frames, scale, fps, seed):
    random = np.random.default_rng(seed)
    motion = build_motion(
        subject="Rig",
        frames=np.arange(frames),
        fps=fps,
        parts=["hips", "hand.L"],
        parents=[-1, 0],
        heads=random.normal(size=(frames, 2, 3)) * scale,
        tails=random.normal(size=(frames, 2, 3)) * scale,
        rotations_wxyz=random.normal(size=(frames, 2, 4)),
    )
    assert np.linalg.norm(motion.rotations, axis=-1) == pytest.approx(1.0)
    dots = np.sum(motion.rotations[1:] * motion.rotations[:-1], axis=-1)
    assert np.all(dots >= -1e-12)


def test_missing_part_is_told_with_its_reason():
    motion = figure.make_motion({}, 4, without=("foot.L",), dropped={"foot.L": "hidden"})
    assert motion.say_missing("foot.L") == "needs foot.L (hidden)"
    assert motion.say_missing("tail") == "needs tail (not mapped)"
    assert motion.say_missing("foot.R") is None
