# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What every check's tests ask: outcome helpers and the invariances of a judgement."""

from __future__ import annotations

from collections.abc import Mapping

import figure
import pytest

from fettle.core_math.check import Check
from fettle.core_math.motion import Motion
from fettle.core_math.reading import SubjectReading
from fettle.core_math.runner import run_checks
from fettle.core_math.settings import Settings


def run(check: Check, motion: Motion, **overrides: object) -> SubjectReading:
    """Run one check; a crash in it fails the test at once."""
    settings = Settings(overrides={check.id: overrides}) if overrides else Settings()
    reading = run_checks(motion, [check], settings)
    assert reading.crashes == ()
    return reading


def assert_clean(reading: SubjectReading) -> None:
    """Judged, and nothing found: not the same as not judged."""
    assert reading.evaluated, "not evaluated at all"
    assert [flag.message for flag in reading.flags] == []


def assert_not_evaluated(reading: SubjectReading, reason: str) -> None:
    """Not judged, said so, with this reason."""
    assert reading.flags == () and reading.evaluated == ()
    assert any(reason in entry.reason for entry in reading.not_evaluated), reading.not_evaluated


def assert_invariant(
    check: Check,
    motion: Motion,
    *,
    at_rates: Mapping[float, Motion] | None = None,
    value_tolerance: float = 0.02,
) -> None:
    """The same flags when the motion is shifted, turned, scaled, mirrored or reordered.

    `at_rates` gives the same performance at other frame rates: the same parts and codes must be
    flagged, at the same time to within two frames of the slower rate.
    """
    base = run(check, motion).flags
    assert base, "an invariance test needs a flag to keep"

    def places(flags):
        return sorted((flag.part, flag.code, flag.start, flag.end, flag.severity) for flag in flags)

    changes = {
        "shift": {"shift": (3.0, -7.0, 0.0)},
        "turn": {"turn_z_degrees": 73.0},
        "scale up": {"scale": 100.0},
        "scale down": {"scale": 0.01},
        "order": {"reverse_parts": True},
    }
    for name, change in changes.items():
        flags = run(check, figure.transform_motion(motion, **change)).flags
        assert places(flags) == places(base), name
        for one, other in zip(
            sorted(base, key=lambda f: (f.part, f.start)),
            sorted(flags, key=lambda f: (f.part, f.start)),
            strict=True,
        ):
            assert one.value == pytest.approx(other.value, rel=value_tolerance, abs=1e-6), name

    mirrored = run(check, figure.transform_motion(motion, mirror=True)).flags
    swapped = sorted((figure._other_side(p), c, s, e, v) for p, c, s, e, v in places(base))
    assert swapped == places(mirrored), "mirror"

    for fps, other in (at_rates or {}).items():
        flags = run(check, other).flags
        assert {(f.part, f.code) for f in flags} == {(f.part, f.code) for f in base}, fps
        slack = 2.0 / min(fps, motion.fps)
        for flag in flags:
            peers = [b for b in base if (b.part, b.code) == (flag.part, flag.code)]
            seconds = (flag.peak - other.frame(0)) / fps
            assert any(
                (b.start - motion.frame(0)) / motion.fps - slack
                <= seconds
                <= (b.end - motion.frame(0)) / motion.fps + slack
                for b in peers
            ), f"at {fps} fps {flag.part} peaks at {seconds:.2f} s"
