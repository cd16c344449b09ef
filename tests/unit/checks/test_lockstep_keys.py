# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""lockstep-keys on key tables of known truth."""

import figure
import numpy as np
import pytest
from check_assertions import assert_clean, assert_invariant, assert_not_evaluated, run

from fettle.core_math.checks.lockstep_keys import CHECK
from fettle.core_math.findings import Severity
from fettle.core_math.motion import KeyTrack, Stage

PARTS = [
    "hips", "spine", "chest", "head", "upper_arm.L", "upper_arm.R", "forearm.L", "forearm.R",
    "hand.L", "hand.R",
]  # fmt: skip
POSES = np.array([1, 13, 25, 37, 49, 61, 73, 85, 96], dtype=float)


def keyed(offset_parts: int, *, frames=96, every_frame=False, fps=24.0, **options):
    """Key all parts on the poses; the first `offset_parts` of them two frames later."""
    scale = fps / 24.0
    keys = {}
    for number, part in enumerate(PARTS):
        late = 2.0 if number < offset_parts else 0.0
        own = POSES.copy()
        own[1:-1] += late
        places = np.arange(1, frames + 1.0) if every_frame else own * scale
        keys[part] = KeyTrack(places, np.zeros(len(places), dtype=bool), (part,))
    wave = 20.0 * np.sin(np.arange(round(frames * scale)) / (8.0 * scale))
    angles = {part: figure.turn((1, 0, 0), wave) for part in PARTS[4:]}
    return figure.make_motion(angles, round(frames * scale), fps=fps, keys=keys, **options)


def test_columns_are_one_faint_hint():
    (flag,) = run(CHECK, keyed(0)).flags
    assert flag.severity is Severity.FAINT and flag.value == 1.0
    assert (flag.start, flag.end) == (13, 85)


def test_keys_offset_on_half_the_parts_are_clean():
    assert_clean(run(CHECK, keyed(5)))


@pytest.mark.parametrize(("offset_parts", "flagged"), [(2, True), (3, False)])
def test_just_over_and_just_under(offset_parts, flagged):
    # Two of ten parts offset leave 0.8 of the keys in columns, three leave 0.7.
    limits = (0.75, 0.9, 0.99)
    assert bool(run(CHECK, keyed(offset_parts), shared=limits).flags) is flagged


def test_baked_motion_and_unkeyed_motion_are_not_evaluated():
    assert_not_evaluated(run(CHECK, keyed(0, every_frame=True)), "nearly every frame")
    assert_not_evaluated(run(CHECK, figure.make_motion({}, 48)), "only 0 parts have keys")


def test_blocking_may_key_in_columns():
    motion = keyed(0, stage_override=Stage.BLOCKING)
    assert_not_evaluated(run(CHECK, motion), "waits for a later stage")


def test_invariances():
    assert_invariant(CHECK, keyed(0), at_rates={48: keyed(0, fps=48.0)})
