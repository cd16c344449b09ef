# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""A capture is looked over before it is imported: whole, how fast, in what unit."""

import pytest

from fettle.addon.bvh_file import BvhFacts, inspect_bvh
from fettle.addon.shot_faults import ShotFileError

WHOLE = """HIERARCHY
ROOT Hips
{
  OFFSET 10 90 20
  CHANNELS 6 Xposition Yposition Zposition Zrotation Xrotation Yrotation
  JOINT Thigh
  {
    OFFSET 0 -45 0
    CHANNELS 3 Zrotation Xrotation Yrotation
    End Site
    {
      OFFSET 0 0 40
    }
  }
  JOINT Chest
  {
    OFFSET 3 4 0
    CHANNELS 3 Zrotation Xrotation Yrotation
    End Site
    {
      OFFSET 0 30 0
    }
  }
}
MOTION
Frames: 2
Frame Time: 0.0083333
0 0 0 0 0 0 0 0 0 0 0 0
0 0 0 0 0 0 0 0 0 0 0 1
"""


@pytest.fixture
def write(tmp_path):
    def write(text):
        path = tmp_path / "take.bvh"
        path.write_text(text)
        return path

    return write


def test_whole_file(write):
    facts = inspect_bvh(write(WHOLE))
    # The longest chain from the root: 45 down the thigh, 40 on to its end.
    assert facts == BvhFacts(frame_count=2, fps=120.0, reach=85.0)
    assert facts.guess_unit() == ("centimetres", 0.01)


def test_joint_on_the_floor_that_carries_the_hips_adds_nothing_to_the_figure(write):
    body, motion = WHOLE.removeprefix("HIERARCHY\nROOT Hips").split("MOTION")
    body = body.replace("OFFSET 10 90 20", "OFFSET 0 97 0")
    floor = "ROOT Floor\n{\nOFFSET 0 0 0\nCHANNELS 3 Xposition Yposition Zposition\nJOINT Hips"
    rows = motion.replace("0 0 0 0 0 0 0 0 0 0 0", "0 0 0 0 0 0 0 0 0 0 0 0 0 0")
    facts = inspect_bvh(write(f"HIERARCHY\n{floor}{body}}}\nMOTION{rows}"))
    assert facts.reach == pytest.approx(85.0)
    assert facts.guess_unit() == ("centimetres", 0.01)


def test_chain_that_never_branches_is_measured_from_its_start(write):
    one = WHOLE.replace(WHOLE[WHOLE.index("  JOINT Chest") : WHOLE.index("}\nMOTION")], "")
    facts = inspect_bvh(write(one.replace("0 0 0 0 0 0 0 0 0 0 0", "0 0 0 0 0 0 0 0")))
    assert facts.reach == pytest.approx(85.0)


def test_captures_say_what_is_known_of_them(capture):
    # 2752 frames at 120 Hz; 4511 at 120 Hz; the header of the third says 3069 frames at 100 Hz,
    # its text holds 3070 (counted in the files of Debian's assimp-testmodels 5.2.5).
    known = {"01_01.bvh": (2752, 120.0), "01_03.bvh": (4511, 120.0), "Boxing_Toes.bvh": (3070, 100)}
    for name, (count, fps) in known.items():
        facts = inspect_bvh(capture(name))
        assert (facts.frame_count, facts.fps) == (count, fps)
    # The unit of the collection the first two are from is an inch over 0.45 (from memory).
    assert inspect_bvh(capture("01_01.bvh")).guess_unit()[1] == pytest.approx(0.056444, abs=1e-6)
    assert inspect_bvh(capture("Boxing_Toes.bvh")).guess_unit()[1] == 0.01
    assert {inspect_bvh(capture(name)).up for name in known} == {"Y"}


@pytest.mark.parametrize(
    ("frame_time", "fps"),
    [
        ("0.0416667", 24.0),
        ("0.041708", 24000 / 1001),
        ("0.0333333", 30.0),
        ("0.033367", 30000 / 1001),
        ("0.04", 25.0),
        ("0.0083333", 120.0),
        ("0.017", 1 / 0.017),
    ],
)
def test_frame_time_names_a_rate(write, frame_time, fps):
    assert inspect_bvh(write(WHOLE.replace("0.0083333", frame_time))).fps == pytest.approx(fps)


@pytest.mark.parametrize("metres", [1.0, 0.01, 0.001])
@pytest.mark.parametrize("reach", [0.8, 1.0, 1.3])
def test_a_grown_figure_gives_its_unit_away(metres, reach):
    assert BvhFacts(1, 24.0, reach / metres).guess_unit()[1] == metres


def test_upward_axis_is_the_one_along_which_the_figure_stands(write):
    assert inspect_bvh(write(WHOLE)).up == "Y"
    lying = WHOLE
    for y_up, z_up in (("0 -45 0", "0 0 -45"), ("0 0 40", "0 -10 -40"), ("0 30 0", "0 0 30")):
        lying = lying.replace(f"OFFSET {y_up}", f"OFFSET {z_up}")
    assert inspect_bvh(write(lying)).up == "Z"


def test_figure_of_no_size_has_no_unit():
    assert BvhFacts(1, 24.0, 0.0).guess_unit() == ("metres", 1.0)


def cut(lines):
    return "\n".join(WHOLE.splitlines()[:lines])


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "does not begin with HIERARCHY"),
        ("BLENDER-v402", "does not begin with HIERARCHY"),
        (cut(8), "is cut off after line 8: no MOTION"),
        (cut(25), "expected 'Frames:' in line 26"),
        (cut(26), "expected 'Frame Time:' in line 27"),
        (cut(27), "promises 2 frames and holds 0"),
        (cut(28), "promises 2 frames and holds 1"),
        (WHOLE[:-4], "10 values for 12 channels"),
        (WHOLE.replace("OFFSET 3 4 0", "OFFSET 3"), "is damaged in line 17"),
        (WHOLE.replace("JOINT Chest\n  {", "JOINT Chest"), "braces do not match"),
        (WHOLE.replace("0.0083333", "0"), "frame time of 0 s"),
        (WHOLE.replace("0.0083333", "nan"), "frame time of nan s"),
        (WHOLE.replace("CHANNELS", "ANGLES"), "has no channels"),
    ],
)
def test_what_is_not_whole_is_refused_with_the_place(write, text, words):
    with pytest.raises(ShotFileError) as caught:
        inspect_bvh(write(text))
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)
