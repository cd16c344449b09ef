# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""A take survives being kept, and its findings are followed through a retime."""

import base64
import json
import zlib
from dataclasses import replace

import figure
import numpy as np
import pytest
from sample_readings import HAND, SHOT, with_flags
from scipy.spatial.transform import Rotation

from fettle.core_math.kept_takes import TakeError, dump_take, make_retime, make_take, parse_take
from fettle.core_math.motion import KeyTrack
from fettle.core_math.takes import Fate, compare_readings

NO_TURN = base64.b64encode(zlib.compress(bytes(8))).decode("ascii")
"""Four zeros where a unit quaternion is expected."""

KEYS = np.array([1.0, 10.0, 20.0, 30.0, 40.0, 60.0])


def make_motion():
    angles = {"upper_arm.L": figure.turn((0, 1, 0), np.linspace(0.0, -80.0, 48))}
    track = KeyTrack(KEYS, np.zeros(len(KEYS), dtype=bool))
    return figure.make_motion(angles, 48, subject="Rig", keys={"hand.L": track})


def test_take_comes_back_as_it_was_kept():
    motion = make_motion()
    take = make_take(" Erste 版 ", SHOT, [motion])
    back = parse_take(dump_take(take))
    assert (back.name, back.reading) == ("Erste 版", SHOT)
    np.testing.assert_array_equal(back.keys["Rig", "hand.L"], KEYS)
    assert set(back.trails) == set(take.trails) and ("Rig", "hand.L") in back.trails
    # Single precision holds a metre to a tenth of a micrometre (24 bits).
    np.testing.assert_allclose(back.trails["Rig", "hand.L"], motion.head("hand.L"), atol=1e-6)


def test_turns_and_first_frames_come_back():
    """Against SciPy's angle between what was kept and what came back."""
    motion = make_motion()
    late = replace(motion.slice(5, 48), subject="Late")
    take = parse_take(dump_take(make_take("v1", SHOT, [motion, late])))
    assert take.firsts == {"Rig": int(motion.frames[0]), "Late": int(motion.frames[0]) + 5}
    assert take.find_first("Late") == int(motion.frames[5])
    assert set(take.turns) == {(who, part) for who in ("Rig", "Late") for part in ("hips", "chest")}
    for part in ("hips", "chest"):
        was = Rotation.from_quat(np.roll(motion.rotation(part), -1, axis=-1))
        now = Rotation.from_quat(np.roll(take.turns["Rig", part], -1, axis=-1))
        assert np.degrees((was.inv() * now).magnitude()).max() < 0.01
        np.testing.assert_allclose(np.linalg.norm(take.turns["Rig", part], axis=1), 1.0)


def make_older(take):
    """What was kept of a take before first frames and turns were."""
    document = json.loads(dump_take(take))
    del document["firsts"], document["turns"]
    return parse_take(json.dumps(document))


def test_takes_kept_before_first_frames_were_are_read_and_guess_none():
    motion = make_motion()
    reading = replace(SHOT, frame_range=(int(motion.frames[0]), int(motion.frames[-1])))
    late = replace(motion.slice(5, 48), subject="Late")
    older = make_older(make_take("v1", reading, [motion, late]))
    assert older.find_first("Rig") == int(motion.frames[0]), "it was there on every frame"
    assert older.find_first("Late") is None
    assert not older.turns and not older.firsts


def test_turns_add_less_to_a_take_than_its_trails():
    """Noise, so that nothing is gained by packing: 300 frames of a body."""
    rng = np.random.default_rng(2)
    angles = {"upper_arm.L": figure.turn((0, 1, 0), rng.normal(0.0, 40.0, 300))}
    angles["hips"] = figure.turn((0, 0, 1), rng.normal(0.0, 40.0, 300))
    take = make_take("v1", SHOT, [figure.make_motion(angles, 300, subject="Rig")])
    without = replace(take, turns={}, firsts={})
    assert len(dump_take(take)) < 1.6 * len(dump_take(without))


def test_take_without_a_name_is_refused():
    with pytest.raises(TakeError, match="needs a name"):
        make_take("  ", SHOT, [])


@pytest.mark.parametrize(("factor", "shift"), [(1.0, 100.0), (2.0, -2.0), (0.5, 7.0)])
def test_findings_are_followed_through_a_retime(factor, shift):
    retime = make_retime({("Rig", "hand.L"): KEYS}, {("Rig", "hand.L"): KEYS * factor + shift})
    for frame in (1.0, 22.0, 35.0, 60.0):
        assert retime("Rig", "hand.L", frame) == pytest.approx(frame * factor + shift)
    moved = replace(HAND, start=round(22 * factor + shift), end=round(35 * factor + shift))
    clean = {"not_evaluated": (), "crashes": ()}
    comparison = compare_readings(with_flags(HAND, **clean), with_flags(moved, **clean), retime)
    assert [change.fate for change in comparison.changes] == [Fate.SAME]


def test_frames_outside_the_keys_are_shifted_and_carried_parts_follow():
    retime = make_retime({("Rig", "hand.L"): KEYS}, {("Rig", "hand.L"): KEYS * 2.0})
    assert retime("Rig", "hand.L", -4.0) == -3.0  # the first key went from 1 to 2
    assert retime("Rig", "hand.L", 70.0) == 130.0  # the last went from 60 to 120
    assert retime("Rig", "head", 22.0) == 44.0  # no keys of its own: goes with its subject's
    assert retime("Cart", "root", 22.0) == 22.0
    fewer = make_retime({("Rig", "hand.L"): KEYS}, {("Rig", "hand.L"): KEYS[1:]})
    assert fewer("Rig", "hand.L", 22.0) == 22.0


@pytest.mark.parametrize(
    ("damage", "complaint"),
    [
        (lambda d: d.update(schema="fettle.take/9"), "another form"),
        (lambda d: d.pop("shot"), "damaged"),
        (lambda d: d["shot"].pop("fps"), "shots|fps"),
        (lambda d: d["trails"][0].update(points="####"), "damaged"),
        (lambda d: d["trails"][0].update(points="AAAA"), "damaged"),
        (lambda d: d["keys"][0].update(frames=["soon"]), "damaged"),
        (lambda d: d["turns"][0].update(turns="AAAA"), "damaged"),
        (lambda d: d["turns"][0].update(turns=NO_TURN), "damaged"),
        (lambda d: d.update(firsts=["Rig"]), "damaged"),
    ],
)
def test_damaged_take_is_refused_in_one_line(damage, complaint):
    document = json.loads(dump_take(make_take("v1", SHOT, [make_motion()])))
    damage(document)
    with pytest.raises(TakeError, match=complaint) as caught:
        parse_take(json.dumps(document))
    assert "\n" not in str(caught.value)


def test_text_that_is_no_take_is_refused():
    for text in ("", "[]", "3"):
        with pytest.raises(TakeError):
            parse_take(text)
