# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Which checks run and with which limits: the settings file (TOML) and its presets.

The file is shared between people, so nothing in it is ignored: an unknown check, parameter or key
is refused by name, with the names that would have been understood.

Example::

    style = "subtle"
    stage = "auto"

    [checks.ik-lock]
    turn_ratio = [0.3, 0.15, 0.05]

    [checks.dead-hold]
    enabled = false
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from .check import Check, Style, Values
from .motion import Stage

SETTINGS_FILE_NAME = "fettle.toml"

Override = float | tuple[float, float, float]


class SettingsError(ValueError):
    """A settings file or a setting that cannot be understood: what, where, what to do."""


@dataclass(frozen=True, slots=True)
class Settings:
    """What the user set; everything else stays at its declared default.

    Attributes
    ----------
    style : Style
    stage : Stage or None
        None finds the stage from the animation.
    disabled : frozenset of str
        Ids of the checks that do not run.
    overrides : mapping of check id to mapping of parameter name to value
        A number, or three numbers (faint, clear, glaring) for limits.
    """

    style: Style = Style.NATURAL
    stage: Stage | None = None
    disabled: frozenset[str] = frozenset()
    overrides: Mapping[str, Mapping[str, Override]] = field(default_factory=dict)

    def enabled(self, check: Check) -> bool:
        """Say whether a check runs."""
        return check.id not in self.disabled

    def values(self, check: Check, fps: float) -> Values:
        """Return the numbers a check runs with."""
        return check.values(fps, self.overrides.get(check.id), self.style)

    def select(
        self, checks: Sequence[Check], only: Sequence[str] = (), skip: Sequence[str] = ()
    ) -> Settings:
        """Return settings that run only, or skip, the named checks.

        Raises
        ------
        SettingsError
            Naming the id that no check has.
        """
        known = {check.id for check in checks}
        wanted = [resolve_check_id(name, checks) for name in only]
        unwanted = {resolve_check_id(name, checks) for name in skip}
        disabled = set(self.disabled)
        if wanted:
            disabled = known - set(wanted)
        return replace(self, disabled=frozenset(disabled | unwanted))


def resolve_check_id(name: str, checks: Sequence[Check]) -> str:
    """Return the id a name stands for (former ids still work); SettingsError when none does."""
    for check in checks:
        if name == check.id or name in check.aliases:
            return check.id
    known = ", ".join(check.id for check in checks)
    raise SettingsError(f"unknown check {name!r} (known: {known})")


def read_settings(path: Path, checks: Sequence[Check]) -> Settings:
    """Read a settings file.

    Raises
    ------
    SettingsError
        One line: the file, the key, and what would have been understood.
    """
    try:
        data = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise SettingsError(f"{path}: cannot be read ({error.strerror})") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise SettingsError(f"{path}: is no valid TOML ({error})") from None
    try:
        return parse_settings(data, checks)
    except ValueError as error:
        raise SettingsError(f"{path}: {error}") from None


def parse_settings(data: Mapping[str, Any], checks: Sequence[Check]) -> Settings:
    """Make settings from a parsed file; SettingsError names whatever is not understood."""
    unknown = set(data) - {"style", "stage", "checks"}
    if unknown:
        raise SettingsError(f"unknown key {sorted(unknown)[0]!r} (known: style, stage, checks)")
    disabled: set[str] = set()
    overrides: dict[str, dict[str, Override]] = {}
    tables = data.get("checks", {})
    if not isinstance(tables, Mapping):
        raise SettingsError("'checks' must be a table of checks")
    for name, table in tables.items():
        check_id = resolve_check_id(name, checks)
        check = next(check for check in checks if check.id == check_id)
        if not isinstance(table, Mapping):
            raise SettingsError(f"{check_id}: expected a table of parameters")
        own = dict(table)
        enabled = own.pop("enabled", True)
        if not isinstance(enabled, bool):
            raise SettingsError(f"{check_id}: 'enabled' is either true or false")
        if not enabled:
            disabled.add(check_id)
        parsed = {key: tuple(v) if isinstance(v, list) else v for key, v in own.items()}
        check.values(24.0, parsed)
        overrides[check_id] = parsed
    return Settings(
        style=_parse_style(data.get("style", Style.NATURAL.value)),
        stage=_parse_stage(data.get("stage", "auto")),
        disabled=frozenset(disabled),
        overrides=overrides,
    )


def write_settings(settings: Settings) -> str:
    """Write settings as the text of a settings file; reading it back gives the same settings."""
    lines = [f'style = "{settings.style.value}"']
    lines.append(f'stage = "{settings.stage.value if settings.stage else "auto"}"')
    for check_id in sorted({*settings.overrides, *settings.disabled}):
        lines += ["", f"[checks.{check_id}]"]
        if check_id in settings.disabled:
            lines.append("enabled = false")
        for name, value in settings.overrides.get(check_id, {}).items():
            text = f"[{', '.join(map(repr, value))}]" if isinstance(value, tuple) else repr(value)
            lines.append(f"{name} = {text}")
    return "\n".join(lines) + "\n"


def find_settings_file(start: Path) -> Path | None:
    """Look for a settings file in a folder and in every folder above it."""
    folder = start if start.is_dir() else start.parent
    for candidate in (folder, *folder.resolve().parents):
        path = candidate / SETTINGS_FILE_NAME
        if path.is_file():
            return path
    return None


def _parse_style(word: object) -> Style:
    try:
        return Style(str(word))
    except ValueError:
        raise SettingsError(f"unknown style {word!r} (known: broad, natural, subtle)") from None


def _parse_stage(word: object) -> Stage | None:
    if word == "auto":
        return None
    try:
        return Stage(str(word))
    except ValueError:
        known = ", ".join(stage.value for stage in Stage)
        raise SettingsError(f"unknown stage {word!r} (known: auto, {known})") from None
