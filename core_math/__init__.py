# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The judging half of Fettle: NumPy and the standard library only, never Blender.

This is its public face: the add-on and the command import from here and from nowhere deeper.
"""

from .camera import SensorFit, ShotCamera
from .check import Check, Group, Limits, Parameter, Style, Values
from .checks import ALL_CHECKS
from .findings import (
    CannotEvaluateError,
    Crash,
    Flag,
    NotEvaluated,
    Severity,
    State,
    sort_for_review,
)
from .motion import (
    KeyTrack,
    Motion,
    MotionError,
    RotationChannels,
    Stage,
    SubjectKind,
    build_motion,
)
from .reading import MappedPart, ShotReading, SubjectFacts, SubjectReading
from .runner import iterate_checks, run_check, run_checks
from .settings import Settings, SettingsError, find_settings_file, read_settings, write_settings
from .units import Unit, format_quantity

__all__ = [
    "ALL_CHECKS",
    "CannotEvaluateError",
    "Check",
    "Crash",
    "Flag",
    "Group",
    "KeyTrack",
    "Limits",
    "MappedPart",
    "Motion",
    "MotionError",
    "NotEvaluated",
    "Parameter",
    "RotationChannels",
    "SensorFit",
    "Settings",
    "SettingsError",
    "Severity",
    "ShotCamera",
    "ShotReading",
    "Stage",
    "State",
    "Style",
    "SubjectFacts",
    "SubjectKind",
    "SubjectReading",
    "Unit",
    "Values",
    "build_motion",
    "find_settings_file",
    "format_quantity",
    "iterate_checks",
    "read_settings",
    "run_check",
    "run_checks",
    "sort_for_review",
    "write_settings",
]
