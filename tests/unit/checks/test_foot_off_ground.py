# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""foot-off-ground on walks one plant of which is lifted or sunk by a known amount."""

import captures
import figure
import gait
import numpy as np
import pytest
import reposing
from check_assertions import assert_clean, assert_invariant, assert_not_evaluated, run

from fettle.core_math.checks.foot_off_ground import CHECK
from fettle.core_math.findings import Severity

PERCENT = gait._H / 100.0


def walk(percent=0.0, fps=24.0, side=".L", number=1, **options):
    """Walk, one plant of one foot lifted by a share of body height and eased in and out."""
    motion, contacts = gait.make_walk(fps, 5.0, **options)
    plants = [c for c in contacts[side] if c.touch > 0.1]
    plant = plants[number]
    time = np.arange(motion.frame_count) / fps
    rise = np.clip((time - plant.touch + 0.2) / 0.15, 0.0, 1.0)
    fall = np.clip((plant.toe_off + 0.2 - time) / 0.15, 0.0, 1.0)
    lift = percent * PERCENT * figure.minimum_jerk(np.minimum(rise, fall))
    up = np.zeros((motion.frame_count, 3))
    up[:, 2] = lift
    # In the shin's own axes, so that only the foot is moved.
    shin = motion.rotation(f"shin{side}")
    own = reposing.rotations.rotate(reposing.rotations.conjugate(shin), up)
    place = motion.local_heads[:, motion.index(f"foot{side}")] + own
    return reposing.repose(motion, local_heads={f"foot{side}": place}), plant


def test_walk_on_the_ground_is_clean():
    assert_clean(run(CHECK, gait.make_walk(24.0)[0]))


@pytest.mark.parametrize(
    ("percent", "code"), [(4.0, "over-the-ground"), (-4.0, "through-the-ground")]
)
def test_lifted_or_sunk_plant_is_flagged_on_its_frames(percent, code):
    motion, plant = walk(percent)
    (flag,) = run(CHECK, motion).flags
    assert (flag.part, flag.code, flag.severity) == ("foot.L", code, Severity.GLARING)
    assert flag.value == pytest.approx(4.0, abs=0.3)
    assert flag.start <= 24 * plant.flat + 3 and flag.end >= 24 * plant.heel_off - 2


@pytest.mark.parametrize(
    ("percent", "severity"),
    [(0.8, None), (1.3, Severity.FAINT), (2.4, Severity.CLEAR), (4.0, Severity.GLARING)],
)
def test_severity_follows_the_height(percent, severity):
    flags = run(CHECK, walk(percent)[0]).flags
    assert max((flag.severity for flag in flags), default=None) == severity


def stand(percent, seconds, fps=24.0):
    """Stand for four seconds; the right foot goes off its level for a while and comes back."""
    count = round(4.0 * fps) + 1
    motion = figure.make_motion({}, count, fps=fps)
    time = np.arange(count) / fps
    way = figure.minimum_jerk((time - 1.0) / 0.4) - figure.minimum_jerk(
        (time - 1.4 - seconds) / 0.4
    )
    up = np.zeros((count, 3))
    up[:, 2] = percent / 100.0 * motion.height * way
    shin = motion.rotation("shin.R")
    own = reposing.rotations.rotate(reposing.rotations.conjugate(shin), up)
    place = motion.local_heads[:, motion.index("foot.R")] + own
    return reposing.repose(motion, local_heads={"foot.R": place})


@pytest.mark.parametrize(
    ("percent", "seconds", "severity"),
    [
        (-2.4, 1.0, Severity.CLEAR),
        (-2.4, 0.0, Severity.CLEAR),
        (-4.0, 1.0, Severity.GLARING),
        (2.4, 1.0, Severity.CLEAR),
        (-0.8, 1.0, None),
    ],
)
def test_foot_that_leaves_its_own_level_in_a_stand_is_flagged(percent, seconds, severity):
    flags = run(CHECK, stand(percent, seconds)).flags
    assert max((flag.severity for flag in flags), default=None) == severity
    for flag in flags:
        assert (flag.part, flag.code[:4]) == ("foot.R", "over" if percent > 0.0 else "thro")
        assert flag.start >= 25 and flag.end <= 25 + 24 * (0.8 + seconds)


def test_foot_that_lifts_for_a_moment_takes_a_small_step():
    assert_clean(run(CHECK, stand(2.4, 0.0)))


def test_stairs_are_left_alone():
    assert_clean(run(CHECK, walk(9.0)[0]))


def test_standing_still_or_without_feet_is_judged_or_said():
    assert_clean(run(CHECK, figure.make_motion({}, 24)))
    without = figure.make_motion({}, 24, without=("foot.L", "foot.R"))
    assert_not_evaluated(run(CHECK, without), "foot.L")
    one = figure.make_motion({}, 24, without=("foot.R",))
    assert_not_evaluated(run(CHECK, one), "two plants")


@pytest.mark.captures
@pytest.mark.parametrize("name", ["01_01", "Boxing_Toes"])
@pytest.mark.parametrize("fps", [None, 24.0, 30.0])
def test_captured_plants_are_quiet(name, fps):
    motion = captures.load(name, fps)
    bad = [f for f in run(CHECK, motion).flags if f.severity >= Severity.CLEAR]
    assert len(bad) <= motion.frame_count / motion.fps / 20.0


def test_invariances():
    assert_invariant(CHECK, walk(2.6)[0], at_rates={fps: walk(2.6, fps)[0] for fps in (30.0, 60.0)})
