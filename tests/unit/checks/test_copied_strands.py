# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""copied-strands on braids of known truth."""

import figure
import numpy as np
import pytest
from check_assertions import assert_clean, assert_invariant, assert_not_evaluated, run

from fettle.core_math.checks.copied_strands import CHECK
from fettle.core_math.findings import Severity

LEFT, RIGHT = figure.BRAIDS


def swing(joint, count, fps, *, late=0.0, size=1.0, hertz=0.9):
    t = np.arange(count) / fps - late - joint * 0.06
    return size * (
        9.0 * np.sin(2 * np.pi * hertz * t)
        + 5.0 * np.sin(2 * np.pi * 1.7 * hertz * t + 0.8)
        + 2.0 * np.sin(2 * np.pi * 2.9 * hertz * t + 2.1)
    )


def braids(*, late=0.0, size=0.9, noise=0.0, fps=24.0, seconds=4.0, hertz=0.9):
    """Two braids; the right one is the left one's copy but for what is named."""
    count = round(seconds * fps)
    random = np.random.default_rng(7)
    extra = [
        sum(
            random.normal() * np.sin(2 * np.pi * f * np.arange(count) / fps + f)
            for f in (0.5, 1.3, 2.2)
        )
        for _ in range(5)
    ]
    angles = {}
    for joint in range(5):
        end = f"/{joint + 1}" if joint else ""
        plain = swing(joint, count, fps)
        other = swing(joint, count, fps, late=late, size=size, hertz=hertz)
        angles[f"{LEFT}{end}"] = figure.turn((1, 0, 0.2), plain)
        angles[f"{RIGHT}{end}"] = figure.turn((1, 0, -0.2), other + noise * extra[joint])
    return figure.make_motion(angles, count, fps=fps)


def test_pasted_braid_is_glaring_over_its_whole_span():
    (flag,) = run(CHECK, braids()).flags
    assert flag.severity is Severity.GLARING
    assert {flag.part, *flag.other_parts} == {LEFT, RIGHT}
    assert (flag.start, flag.end) == (1, 96)


def test_braid_of_its_own_rhythm_is_clean():
    assert_clean(run(CHECK, braids(hertz=1.35)))


@pytest.mark.parametrize(
    ("late_frames", "flagged"), [(0.0, True), (0.8, True), (1.3, False), (3.0, False)]
)
def test_offset_makes_it_another_braid(late_frames, flagged):
    assert bool(run(CHECK, braids(late=late_frames / 24.0)).flags) is flagged


def test_severity_falls_as_the_copy_is_reworked():
    worst = [
        max((flag.severity for flag in run(CHECK, braids(noise=noise)).flags), default=0)
        for noise in (0.0, 0.9, 1.4, 4.0)
    ]
    assert worst == sorted(worst, reverse=True)
    assert worst[0] is Severity.GLARING and worst[-1] == 0


@pytest.mark.parametrize(("limit", "flagged"), [(0.0, True), (1e-4, False)])
def test_just_over_and_just_under(limit, flagged):
    motion = braids(noise=1.5)
    best = max(p.copies.likeness.max() for p in CHECK.measure_at_once(motion, CHECK.values(24.0)))
    limits = (best + limit, best + 2e-4 + limit, best + 3e-4 + limit)
    assert bool(run(CHECK, motion, likeness=limits).flags) is flagged


def test_rigid_ornaments_are_left_alone():
    assert_clean(run(CHECK, figure.make_motion({}, 48)))


def test_one_strand_is_not_evaluated():
    motion = figure.make_motion({}, 48, without=(LEFT,))
    assert_not_evaluated(run(CHECK, motion), "needs two strands")


def test_invariances():
    assert_invariant(CHECK, braids(), at_rates={fps: braids(fps=fps) for fps in (12, 60)})
