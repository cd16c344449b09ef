# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Declarations refuse what is not said in full; values follow style and the user's settings."""

import pytest

from fettle.core_math.check import Limits, Parameter, Style, resolve_values
from fettle.core_math.findings import Severity
from fettle.core_math.units import Unit

FALLING = Limits("ratio", 0.25, 0.12, 0.05, Unit.RATIO, 0.0, 1.0, "what it does", "practice")
RISING = Limits(
    "jump", 1.0, 2.0, 4.0, Unit.BODY_HEIGHT, 0.0, 50.0, "d", "practice", 2.0, 0.5, "practice"
)
SPAN = Parameter("span", 0.5, Unit.SECONDS, 0.1, 2.0, "how long", "practice")
LATE = Parameter("late", 3.0, Unit.FRAMES_AT_24, 0.0, 20.0, "how late", "practice")


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"source": " "}, "source of its default"),
        ({"description": ""}, "needs a description"),
        ({"unit": "furlongs"}, "no unit of the closed list"),
        ({"default": 9.0}, "outside its range"),
        ({"name": "Bad Name"}, "lower-case words"),
    ],
)
def test_incomplete_parameter_is_refused(change, message):
    fields = {
        "name": "span",
        "default": 1.0,
        "unit": Unit.SECONDS,
        "minimum": 0.0,
        "maximum": 2.0,
        "description": "d",
        "source": "practice",
    }
    with pytest.raises((ValueError, TypeError), match=message):
        Parameter(**{**fields, **change})


def test_limits_must_rise_or_fall():
    with pytest.raises(ValueError, match="rise or fall"):
        Limits("x", 1.0, 3.0, 2.0, Unit.RATIO, 0.0, 9.0, "d", "practice")


@pytest.mark.parametrize(
    ("value", "severity"),
    [
        (0.26, None),
        (0.25, Severity.FAINT),
        (0.12, Severity.CLEAR),
        (0.05, Severity.GLARING),
        (float("nan"), None),
    ],
)
def test_falling_limits(value, severity):
    graded = resolve_values([FALLING], 24.0).grade("ratio", value)
    assert (graded[0] if graded else None) is severity


def test_rising_limits_name_the_limit_that_was_crossed():
    values = resolve_values([RISING], 24.0)
    assert values.grade("jump", 3.9) == (Severity.CLEAR, 2.0)
    assert values.grade("jump", 0.99) is None


def test_style_scales_limits():
    assert resolve_values([RISING], 24.0, style=Style.BROAD).limits["jump"] == (2.0, 4.0, 8.0)
    assert resolve_values([RISING], 24.0, style=Style.SUBTLE).limits["jump"] == (0.5, 1.0, 2.0)


def test_durations_become_scene_frames():
    values = resolve_values([SPAN, LATE], 60.0)
    assert values.frames("span") == 30.0
    assert values.frames("late") == 7.5


@pytest.mark.parametrize(
    ("overrides", "message"),
    [
        ({"spam": 1.0}, r"unknown parameter 'spam' \(known: ratio, span\)"),
        ({"span": 99.0}, "99.0 s lies outside 0.1 to 2.0"),
        ({"span": True}, "expected one number"),
        ({"ratio": (0.3, 0.1)}, "three numbers"),
        ({"ratio": (0.1, 0.2, 0.3)}, "must fall"),
        ({"ratio": (0.3, 0.2, -1.0)}, "outside"),
    ],
)
def test_bad_setting_is_refused_by_name(overrides, message):
    with pytest.raises(ValueError, match=message):
        resolve_values([FALLING, SPAN], 24.0, overrides)
