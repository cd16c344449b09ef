# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The two shaders of the overlay: ribbons in space and marks on the screen.

Both compute their own edges from distances, so that lines and shapes are smooth at any size and on
any background without multisampling, and both take the current frame as a number from outside: the
batches are built when the reading changes, never because the view or the frame did.

They are made on first use and kept until the extension is switched off.
"""

from __future__ import annotations

from typing import Any

import gpu

from .palette import SEVERITY_COLOURS
from .shader_sources import MARK_FRAGMENT, MARK_VERTEX, RIBBON_FRAGMENT, RIBBON_VERTEX

RIBBON_ATTRIBUTES = ("place_a", "place_b", "tint_a", "tint_b", "corner", "facts")
MARK_ATTRIBUTES = ("anchor", "corner", "tint", "shape")

_made: dict[str, gpu.types.GPUShader] = {}


def _name_severities() -> str:
    """Write the severities' colours as constants of the shader."""
    lines = []
    for severity, colour in SEVERITY_COLOURS.items():
        numbers = ", ".join(f"{part:.5f}" for part in colour)
        lines.append(f"#define {severity.name} vec3({numbers})\n")
    return "".join(lines)


def get_ribbon_shader() -> gpu.types.GPUShader:
    """Return the shader of the trails; uniforms: see `viewport_draw`."""
    if "ribbon" not in _made:
        info = gpu.types.GPUShaderCreateInfo()
        info.push_constant("MAT4", "view_projection")
        info.push_constant("VEC4", "time")
        info.push_constant("VEC4", "style")
        info.push_constant("VEC4", "screen")
        info.push_constant("VEC4", "eye")
        for index, name in enumerate(RIBBON_ATTRIBUTES):
            kind: Any = {"corner": "VEC2", "facts": "VEC4"}.get(name, "VEC3")
            info.vertex_in(index, kind, name)
        between = gpu.types.GPUStageInterfaceInfo("fettle_ribbon")
        between.smooth("VEC2", "local")
        between.smooth("FLOAT", "reach")
        between.smooth("VEC3", "tint")
        between.smooth("VEC4", "traits")
        info.vertex_out(between)
        info.fragment_out(0, "VEC4", "fragColor")
        info.vertex_source(RIBBON_VERTEX)
        info.fragment_source(_name_severities() + RIBBON_FRAGMENT)
        _made["ribbon"] = gpu.shader.create_from_info(info)
    return _made["ribbon"]


def get_mark_shader() -> gpu.types.GPUShader:
    """Return the shader of flags, points, badges and boxes, in pixels of the region."""
    if "mark" not in _made:
        info = gpu.types.GPUShaderCreateInfo()
        info.push_constant("VEC4", "screen")
        for index, name in enumerate(MARK_ATTRIBUTES):
            kind: Any = "VEC4" if name in ("tint", "shape") else "VEC2"
            info.vertex_in(index, kind, name)
        between = gpu.types.GPUStageInterfaceInfo("fettle_mark")
        between.smooth("VEC2", "local")
        between.smooth("VEC4", "colour")
        between.smooth("VEC4", "traits")
        info.vertex_out(between)
        info.fragment_out(0, "VEC4", "fragColor")
        info.vertex_source(MARK_VERTEX)
        info.fragment_source(MARK_FRAGMENT)
        _made["mark"] = gpu.shader.create_from_info(info)
    return _made["mark"]


def forget_shaders() -> None:
    """Let the shaders go."""
    _made.clear()
