# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""What Blender's interface can show and edit: the state of the window and the checks' limits.

State of the window (overlay, filters, rows of the lists) hangs on the window manager: it is neither
saved as part of the shot nor undone with it. The limits hang on the scene and keep nothing
themselves: they show and change the settings text of `scene_settings`. Their names, ranges, units
and tooltips are those the checks declare.
"""

from __future__ import annotations

from typing import Any

import bpy
from bpy.props import (
    BoolProperty,
    CollectionProperty,
    EnumProperty,
    FloatProperty,
    IntProperty,
    PointerProperty,
    StringProperty,
)

from ..core_math import ALL_CHECKS, Check, Fate, Limits, Stage, Style, Unit
from . import scene_settings, window_state, window_takes
from .translation import OWN

PROPERTY = "fettle"
"""Name of our properties on the window manager and on scenes."""


def _pick_row(rows: Any, context: bpy.types.Context) -> None:
    window_state.row_picked(rows, context)


def _get_overlay(_self: Any) -> bool:
    return window_state.overlay_is_on()


def _set_overlay(_self: Any, on: bool) -> None:
    window_state.switch_overlay(on)


class FETTLE_PG_row(bpy.types.PropertyGroup):
    """One line of the list of flags; what it says is looked up by id."""

    flag_id: StringProperty(options={"HIDDEN"})


class FETTLE_PG_take(bpy.types.PropertyGroup):
    """A take that is kept with the scene, by name."""


class FETTLE_PG_change(bpy.types.PropertyGroup):
    """One line of what changed since another take; what it says is looked up by number."""

    number: IntProperty(options={"HIDDEN"})


def _pick_change(rows: Any, context: bpy.types.Context) -> None:
    window_takes.row_picked(rows, context)


class FETTLE_PG_list(bpy.types.PropertyGroup):
    """The list of flags of one scene, filtered and sorted; `name` is the scene's."""

    rows: CollectionProperty(type=FETTLE_PG_row)
    active: IntProperty(
        name="Flag",
        description="The selected flag",
        update=_pick_row,
        options={"HIDDEN"},
    )
    revision: StringProperty(options={"HIDDEN"})
    takes: CollectionProperty(type=FETTLE_PG_take)
    takes_problem: StringProperty(options={"HIDDEN"})
    changes: CollectionProperty(type=FETTLE_PG_change)
    active_change: IntProperty(
        name="Change",
        description="The selected change",
        default=-1,
        update=_pick_change,
        options={"HIDDEN"},
    )


def _list_checks(_self: Any, _context: Any) -> list[tuple[str, str, str]]:
    return _CHECK_ITEMS


def _list_parts(_self: Any, context: bpy.types.Context) -> list[tuple[str, str, str]]:
    return window_state.list_part_items(context)


def _refilter(_self: Any, context: bpy.types.Context) -> None:
    window_state.filters_changed(context)


def _redraw(_self: Any, _context: Any) -> None:
    window_state.look_changed()


def _relist_changes(_self: Any, _context: Any) -> None:
    window_takes.fates_changed()


# Blender keeps only pointers to the texts of items made on the fly: they must stay alive.
_CHECK_ITEMS: list[tuple[str, str, str]] = [
    ("ALL", "All checks", "Show the flags of every check"),
    *((check.id, check.id, check.question) for check in ALL_CHECKS),
]


FATES = {
    Fate.NEW: "List the findings that were not there",
    Fate.WORSE: "List the findings whose number got worse",
    Fate.SAME: "List the findings that are as they were",
    Fate.BETTER: "List the findings that are still there, with a better number",
    Fate.UNKNOWN: "List the findings that could not be judged this time",
    Fate.FIXED: "List the findings that are gone",
}


class FETTLE_PG_pin(bpy.types.PropertyGroup):
    """A part whose trail is always drawn; `name` is the part."""

    subject: StringProperty(options={"HIDDEN"})


class FETTLE_PG_window(bpy.types.PropertyGroup):
    """State of the window: overlay, trails, filters."""

    overlay: BoolProperty(
        name="Overlay",
        description=(
            "Draw trails and flags in the 3D view and in the timelines, and read again "
            "whenever the animation changes"
        ),
        get=_get_overlay,
        set=_set_overlay,
    )
    lists: CollectionProperty(type=FETTLE_PG_list)

    show_faint: BoolProperty(
        name="Faint",
        description="Show flags that are seen only frame by frame",
        translation_context=OWN,
        default=True,
        update=_refilter,
    )
    show_clear: BoolProperty(
        name="Clear",
        description="Show flags that are seen at speed",
        translation_context=OWN,
        default=True,
        update=_refilter,
    )
    show_glaring: BoolProperty(
        name="Glaring",
        description="Show flags that pull the viewer out of the shot",
        translation_context=OWN,
        default=True,
        update=_refilter,
    )
    state: EnumProperty(
        name="State",
        description="Which flags are listed and drawn",
        translation_context=OWN,
        items=[
            ("OPEN", "Open", "Flags nobody has decided about"),
            ("MEANT", "Meant", "Flags that are meant that way, with the reason"),
            ("DONE", "Done", "Flags that were marked as mended but are still found"),
            ("ALL", "All", "Every flag, whatever was decided"),
        ],
        default="OPEN",
        update=_refilter,
    )
    check: EnumProperty(
        name="Check",
        description="Show the flags of one check only",
        items=_list_checks,
        update=_refilter,
    )
    part: EnumProperty(
        name="Part",
        description="Show the flags of one body part only",
        items=_list_parts,
        update=_refilter,
    )
    search: StringProperty(
        name="Search",
        description="Show the flags whose sentence, part or check contains these words",
        options={"TEXTEDIT_UPDATE"},
        update=_refilter,
    )
    order: EnumProperty(
        name="Sort",
        description="The order of the list",
        items=[
            ("TIME", "By time", "In the order in which they happen", "TIME", 0),
            ("WORST", "Worst first", "The worst and surest first", "SORT_DESC", 1),
        ],
        default="TIME",
        update=_refilter,
    )

    show_fates: EnumProperty(
        name="Changes",
        description="Which changes since the other take are listed",
        translation_context=OWN,
        items=[
            (fate.name, fate.value.capitalize(), words, 1 << place)
            for place, (fate, words) in enumerate(FATES.items())
        ],
        options={"ENUM_FLAG"},
        default={fate.name for fate in FATES},
        update=_relist_changes,
    )
    old_trails: BoolProperty(
        name="Old Trails",
        description="Draw the trails of the other take beside those of now, as dashed lines",
        default=True,
        update=_redraw,
    )
    place_in_frame: BoolProperty(
        name="Place in Frame",
        description=(
            "Draw where the subject is in the shot camera's picture over time, with the room its "
            "framing gives it and the frames on which subject and camera set off"
        ),
        default=False,
        update=_redraw,
    )

    trail_parts: EnumProperty(
        name="Trails of",
        description="Which parts leave a trail",
        items=[
            ("FLAGGED", "Flagged", "Parts with flags that are shown"),
            ("SELECTED", "Selected", "Parts whose bones are selected"),
            ("LIMBS", "Limbs", "Hands, feet, head and hips"),
            ("PINNED", "Pinned", "Parts that were pinned, whatever is selected"),
        ],
        options={"ENUM_FLAG"},
        default={"FLAGGED", "SELECTED", "PINNED"},
        update=_redraw,
    )
    pinned: CollectionProperty(type=FETTLE_PG_pin)
    trail_space: EnumProperty(
        name="Relative to",
        description="What the trails are drawn relative to",
        items=[
            ("world", "World", "The path through the world"),
            ("hips", "Hips", "The path as seen from the hips"),
            ("chest", "Chest", "The path as seen from the chest"),
            ("camera", "Camera", "The path as seen from the shot camera, with its depth"),
            ("picture", "Picture", "The path in the shot camera's picture, flat"),
        ],
        default="world",
        update=_redraw,
    )
    frames_before: IntProperty(
        name="Before",
        description="Frames of the trails before the current one",
        default=16,
        min=0,
        soft_max=100,
        update=_redraw,
    )
    frames_after: IntProperty(
        name="After",
        description="Frames of the trails after the current one",
        default=16,
        min=0,
        soft_max=100,
        update=_redraw,
    )
    width: FloatProperty(
        name="Width",
        description="Width of the trails; it grows with the interface on dense screens",
        default=2.2,
        min=0.5,
        max=8.0,
        precision=1,
        update=_redraw,
    )
    behind: BoolProperty(
        name="See Through",
        description="Draw trails that lie behind or inside the character and other things, too",
        default=False,
        update=_redraw,
    )
    depth_fade: BoolProperty(
        name="Depth Fade",
        description="Let trails that are farther away from the eye stand back",
        default=True,
        update=_redraw,
    )


def _scene_of(group: Any) -> bpy.types.Scene:
    """Return the scene a group of settings hangs on."""
    return group.id_data


def make_limit_class(check: Check) -> type[bpy.types.PropertyGroup]:
    """Make the class whose properties are a check's switch, parameters and limits."""
    fields: dict[str, Any] = {
        "enabled": BoolProperty(
            name=check.id,
            description=f"{check.question} Switch this check on or off",
            get=lambda self: scene_settings.settings_or_default(_scene_of(self)).enabled(check),
            set=lambda self, on: window_state.change_settings(
                _scene_of(self), lambda settings: scene_settings.set_enabled(settings, check, on)
            ),
        ),
        # Whether the panel shows the numbers; belongs to the window, costs the scene nothing.
        "expanded": BoolProperty(
            name="Limits",
            description=f"Show the limits of {check.id}",
            get=lambda self: check.id in window_state.expanded_checks,
            set=lambda self, on: window_state.expand_check(check.id, on),
        ),
    }
    for declared in check.declarations:
        if isinstance(declared, Limits):
            for severity in scene_settings.LIMIT_NAMES:
                fields[f"{declared.name}_{severity}"] = _make_limit(check, declared, severity)
        else:
            fields[declared.name] = _make_number(check, declared)
    name = "FETTLE_PG_check_" + check.id.replace("-", "_")
    return type(name, (bpy.types.PropertyGroup,), {"__annotations__": fields})


def limit_attribute(check: Check) -> str:
    """Return the name under which a check's limits hang on the scene's settings."""
    return check.id.replace("-", "_")


def _make_number(check: Check, declared: Any) -> Any:
    return FloatProperty(
        name=declared.name.replace("_", " ").capitalize(),
        description=_describe(declared),
        default=declared.default,
        min=declared.minimum,
        max=declared.maximum,
        precision=_choose_precision(declared.maximum - declared.minimum),
        step=_choose_step(declared.maximum - declared.minimum),
        get=lambda self: scene_settings.get_number(
            scene_settings.settings_or_default(_scene_of(self)), check, declared.name
        ),
        set=lambda self, value: window_state.change_settings(
            _scene_of(self),
            lambda settings: scene_settings.set_number(settings, check, declared.name, value),
        ),
    )


def _make_limit(check: Check, declared: Limits, severity: str) -> Any:
    default = declared.default[scene_settings.LIMIT_NAMES.index(severity)]
    sign = "over" if declared.rising else "under"
    return FloatProperty(
        name=severity.capitalize(),
        description=f"{severity.capitalize()} when {sign} this. {_describe(declared)}",
        translation_context=OWN,
        default=default,
        min=declared.minimum,
        max=declared.maximum,
        precision=_choose_precision(declared.maximum - declared.minimum),
        step=_choose_step(declared.maximum - declared.minimum),
        get=lambda self: scene_settings.get_limit(
            scene_settings.settings_or_default(_scene_of(self)), check, declared.name, severity
        ),
        set=lambda self, value: window_state.change_settings(
            _scene_of(self),
            lambda settings: scene_settings.set_limit(
                settings, check, declared.name, severity, value
            ),
        ),
    )


def _describe(declared: Any) -> str:
    """Write the tooltip of a number: what it does, its unit and range, where it comes from."""
    unit = "no unit" if declared.unit is Unit.RATIO else str(declared.unit)
    # Blender puts a full stop behind every tooltip.
    return (
        f"{declared.description} {declared.minimum:g} to {declared.maximum:g} ({unit}). "
        f"The default comes from: {declared.source.rstrip('.')}"
    )


def _choose_precision(span: float) -> int:
    return 3 if span <= 2.0 else 2 if span <= 20.0 else 1


def _choose_step(span: float) -> int:
    """Return the step of the arrows in Blender's hundredths."""
    return 1 if span <= 2.0 else 10 if span <= 20.0 else 100


STYLES = [
    (Style.BROAD.value, "Broad", "Exaggerated animation: more is allowed before it is flagged"),
    (Style.NATURAL.value, "Natural", "Animation as in life"),
    (Style.SUBTLE.value, "Subtle", "Restrained acting in close-up: less is allowed"),
]
STAGES = [
    ("auto", "Find it", "Find the stage from keys and motion"),
    (Stage.BLOCKING.value, "Blocking", "Poses are judged; pops and stalls of stepped keys are not"),
    (Stage.SPLINE.value, "Spline", "Everything is judged"),
    (Stage.HELD.value, "On twos", "Drawings are held for some frames; holds are no stalls"),
]


def _get_style(self: Any) -> int:
    style = scene_settings.settings_or_default(_scene_of(self)).style.value
    return [item[0] for item in STYLES].index(style)


def _set_style(self: Any, number: int) -> None:
    style = Style(STYLES[number][0])
    window_state.change_settings(_scene_of(self), lambda s: scene_settings.set_style(s, style))


def _get_stage(self: Any) -> int:
    stage = scene_settings.settings_or_default(_scene_of(self)).stage
    return [item[0] for item in STAGES].index(stage.value if stage else "auto")


def _set_stage(self: Any, number: int) -> None:
    word = STAGES[number][0]
    stage = None if word == "auto" else Stage(word)
    window_state.change_settings(_scene_of(self), lambda s: scene_settings.set_stage(s, stage))


def make_scene_class(
    limit_classes: dict[str, type[bpy.types.PropertyGroup]],
) -> type[bpy.types.PropertyGroup]:
    """Make the class of a scene's settings: style, stage and every check's limits."""
    fields: dict[str, Any] = {
        "style": EnumProperty(
            name="Style",
            description="What counts as visible; scales the limits that were not set by hand",
            items=STYLES,
            get=_get_style,
            set=_set_style,
        ),
        "stage": EnumProperty(
            name="Stage",
            description="How far the animation is, which decides what may be judged",
            items=STAGES,
            get=_get_stage,
            set=_set_stage,
        ),
    }
    for name, limit_class in limit_classes.items():
        fields[name] = PointerProperty(type=limit_class)
    return type("FETTLE_PG_scene", (bpy.types.PropertyGroup,), {"__annotations__": fields})


_registered: list[Any] = []


def register() -> None:
    """Register the classes and hang them where they belong."""
    limit_classes = {limit_attribute(check): make_limit_class(check) for check in ALL_CHECKS}
    scene_class = make_scene_class(limit_classes)
    classes: list[Any] = [
        FETTLE_PG_row,
        FETTLE_PG_take,
        FETTLE_PG_change,
        FETTLE_PG_list,
        FETTLE_PG_pin,
        FETTLE_PG_window,
        *limit_classes.values(),
        scene_class,
    ]
    for made in classes:
        bpy.utils.register_class(made)
        _registered.append(made)
    setattr(bpy.types.WindowManager, PROPERTY, PointerProperty(type=FETTLE_PG_window))
    setattr(bpy.types.Scene, PROPERTY, PointerProperty(type=scene_class))


def unregister() -> None:
    """Take everything back, in reversed order."""
    delattr(bpy.types.Scene, PROPERTY)
    delattr(bpy.types.WindowManager, PROPERTY)
    while _registered:
        bpy.utils.unregister_class(_registered.pop())
