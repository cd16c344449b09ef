# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The judging half of Fettle: NumPy and the standard library only, never Blender.

This is its public face: the add-on and the command import from here and from nowhere deeper.
"""

from .body_parts import BodyMap, BodyMapError, Bone, PartGuess, apply_corrections, guess_body_map
from .camera import SensorFit, ShotCamera
from .catalogue import explain_check, find_check, list_checks
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
from .kinematics import split_matrices
from .measures.ground import find_ground_height
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
from .report import (
    InputFault,
    Report,
    ReportError,
    dump_report,
    find_version,
    parse_report,
    read_report,
    shot_from_data,
    shot_to_data,
)
from .report_table import (
    SHAPES,
    Look,
    dump_csv,
    find_worst,
    format_comparison,
    format_shot,
    say_counts,
    say_frame_rate,
    say_frames,
    say_part,
    say_subject,
)
from .runner import iterate_checks, run_check, run_checks
from .settings import (
    Settings,
    SettingsError,
    find_settings_file,
    parse_settings,
    read_settings,
    write_settings,
)
from .suppressions import (
    KeyAnchor,
    Mark,
    MarksError,
    Note,
    apply_marks,
    clear_mark,
    describe_unused,
    dump_marks,
    mark_flag,
    parse_marks,
    set_mark,
)
from .takes import Change, Comparison, Fate, compare_readings, pair_shots
from .units import Unit, format_quantity
from .whole_files import OutputError, write_whole

__all__ = [
    "ALL_CHECKS",
    "SHAPES",
    "BodyMap",
    "BodyMapError",
    "Bone",
    "CannotEvaluateError",
    "Change",
    "Check",
    "Comparison",
    "Crash",
    "Fate",
    "Flag",
    "Group",
    "InputFault",
    "KeyAnchor",
    "KeyTrack",
    "Limits",
    "Look",
    "MappedPart",
    "Mark",
    "MarksError",
    "Motion",
    "MotionError",
    "NotEvaluated",
    "Note",
    "OutputError",
    "Parameter",
    "PartGuess",
    "Report",
    "ReportError",
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
    "apply_corrections",
    "apply_marks",
    "build_motion",
    "clear_mark",
    "compare_readings",
    "describe_unused",
    "dump_csv",
    "dump_marks",
    "dump_report",
    "explain_check",
    "find_check",
    "find_ground_height",
    "find_settings_file",
    "find_version",
    "find_worst",
    "format_comparison",
    "format_quantity",
    "format_shot",
    "guess_body_map",
    "iterate_checks",
    "list_checks",
    "mark_flag",
    "pair_shots",
    "parse_marks",
    "parse_settings",
    "parse_report",
    "read_report",
    "read_settings",
    "run_check",
    "run_checks",
    "say_counts",
    "say_frame_rate",
    "say_frames",
    "say_part",
    "say_subject",
    "set_mark",
    "shot_from_data",
    "shot_to_data",
    "sort_for_review",
    "split_matrices",
    "write_settings",
    "write_whole",
]
