# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Materials and the sky: a low warm sun, a cool sky, everything far away in haze."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import bpy


class Paint(NamedTuple):
    """One material: colour as sRGB hex, roughness, metal, share of its own light (haze)."""

    colour: str
    roughness: float = 0.7
    metallic: float = 0.0
    glow: float = 0.0


PAINTS = {
    "skin": Paint("#B5714F", 0.55),
    "hair": Paint("#7A2F17", 0.45),
    "face dark": Paint("#2A1713", 0.35),
    "eye white": Paint("#F3EAE0", 0.35),
    "lips": Paint("#93473A", 0.5),
    "wool": Paint("#E9DDC3", 0.9),
    "oilskin": Paint("#E09A22", 0.42),
    "denim": Paint("#2C3D5C", 0.85),
    "boot": Paint("#5A3722", 0.5),
    "sole": Paint("#241C19", 0.8),
    "glove": Paint("#CFA164", 0.75),
    "belt": Paint("#4A2B1B", 0.5),
    "brass": Paint("#D2A64C", 0.3, 0.9),
    "steel": Paint("#8D969C", 0.3, 0.9),
    "cap": Paint("#2B6D72", 0.85),
    "kerchief": Paint("#B93C2B", 0.75),
    "tie": Paint("#E9DDC3", 0.8),
    "stone": Paint("#8C857C", 0.62),
    "stone dark": Paint("#77716A", 0.70),
    "coping": Paint("#A49B8E", 0.8),
    "iron": Paint("#343A41", 0.45, 0.5),
    "rust": Paint("#7C4326", 0.85),
    "wood": Paint("#B47C45", 0.75),
    "wood dark": Paint("#8A5A31", 0.8),
    "plank": Paint("#9A7650", 0.8),
    "rope": Paint("#D6C197", 0.95),
    "painted": Paint("#2F6A8C", 0.6),
    "cart": Paint("#2E7A66", 0.55),
    "hull": Paint("#31506B", 0.7, 0.0, 0.10),
    "hull trim": Paint("#C7B9A6", 0.7, 0.0, 0.12),
    "mast": Paint("#5B4A45", 0.8, 0.0, 0.15),
    "far near": Paint("#5F6E86", 0.9, 0.0, 0.45),
    "far middle": Paint("#8C90A2", 0.9, 0.0, 0.62),
    "far hills": Paint("#B3A5AC", 0.9, 0.0, 0.80),
    "sun": Paint("#FFE2A8", 0.5, 0.0, 14.0),
    "lamp": Paint("#FFC46B", 0.5, 0.0, 1.0),
}

SUN_AZIMUTH = math.radians(12.5)
"""From straight ahead of the camera to screen right."""
SUN_HEIGHT = math.radians(4.2)


def linear(colour: str) -> tuple[float, float, float, float]:
    """Return an sRGB hex colour as linear RGBA."""
    parts = [int(colour[start : start + 2], 16) / 255.0 for start in (1, 3, 5)]
    red, green, blue = (
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts
    )
    return red, green, blue, 1.0


def node_tree(owner: bpy.types.Material | bpy.types.World) -> Any:
    """Return the shader nodes, switched on where a release still has the switch."""
    if owner.node_tree is None:
        owner.use_nodes = True
    return owner.node_tree


def build_materials() -> dict[str, bpy.types.Material]:
    """Make every material of the shot."""
    materials = {name: _material(name, paint) for name, paint in PAINTS.items()}
    materials["water"] = _water()
    return materials


def _material(name: str, paint: Paint) -> bpy.types.Material:
    material = bpy.data.materials.new(name)
    colour = linear(paint.colour)
    # The plain viewport has no sun of ours: its own light asks for brighter colours.
    red, green, blue = (part**0.6 for part in colour[:3])
    material.diffuse_color = (red, green, blue, 1.0)
    material.roughness = paint.roughness
    shader = _principled(material)
    shader.inputs["Base Color"].default_value = colour
    shader.inputs["Roughness"].default_value = paint.roughness
    shader.inputs["Metallic"].default_value = paint.metallic
    if paint.glow:
        shader.inputs["Emission Color"].default_value = colour
        shader.inputs["Emission Strength"].default_value = paint.glow
    return material


def _principled(material: bpy.types.Material) -> bpy.types.Node:
    tree = node_tree(material)
    return next(node for node in tree.nodes if node.type == "BSDF_PRINCIPLED")


def _water() -> bpy.types.Material:
    water = _material("water", Paint("#24445C", 0.09))
    tree = node_tree(water)
    place = tree.nodes.new("ShaderNodeTexCoord")
    stretch = tree.nodes.new("ShaderNodeMapping")
    stretch.inputs["Scale"].default_value = (0.55, 1.6, 1.0)
    ripples = tree.nodes.new("ShaderNodeTexNoise")
    ripples.inputs["Scale"].default_value = 1.3
    ripples.inputs["Detail"].default_value = 4.0
    bump = tree.nodes.new("ShaderNodeBump")
    bump.inputs["Strength"].default_value = 0.55
    bump.inputs["Distance"].default_value = 0.35
    tree.links.new(place.outputs["Object"], stretch.inputs["Vector"])
    tree.links.new(stretch.outputs["Vector"], ripples.inputs["Vector"])
    tree.links.new(ripples.outputs[0], bump.inputs["Height"])
    tree.links.new(bump.outputs["Normal"], _principled(water).inputs["Normal"])
    return water


def build_sky(scene: bpy.types.Scene) -> None:
    """Make the dawn sky: cool above, warm at the horizon, warmest around the sun."""
    world = bpy.data.worlds.new("Dawn")
    scene.world = world
    tree = node_tree(world)
    nodes, links = tree.nodes, tree.links
    background = next(node for node in nodes if node.type == "BACKGROUND")
    place = nodes.new("ShaderNodeTexCoord")
    split = nodes.new("ShaderNodeSeparateXYZ")
    links.new(place.outputs["Generated"], split.inputs[0])
    ramp = nodes.new("ShaderNodeValToRGB")
    stops = (
        (0.0, "#E8A878"), (0.03, "#FBC58C"), (0.09, "#EDBBA0"),
        (0.20, "#B9A9BA"), (0.45, "#7D93B8"), (1.0, "#4C6C9C"),
    )  # fmt: skip
    ramp.color_ramp.elements.remove(ramp.color_ramp.elements[-1])
    for index, (position, colour) in enumerate(stops):
        elements = ramp.color_ramp.elements
        element = elements[0] if index == 0 else elements.new(position)
        element.position, element.color = position, linear(colour)
    links.new(split.outputs["Z"], ramp.inputs[0])
    toward = nodes.new("ShaderNodeVectorMath")
    toward.operation = "DOT_PRODUCT"
    toward.inputs[1].default_value = sun_direction()
    links.new(place.outputs["Generated"], toward.inputs[0])
    halo = nodes.new("ShaderNodeMath")
    halo.operation = "POWER"
    halo.use_clamp = True
    halo.inputs[1].default_value = 9.0
    links.new(toward.outputs["Value"], halo.inputs[0])
    glow = nodes.new("ShaderNodeMix")
    glow.data_type = "RGBA"
    glow.blend_type = "ADD"
    colours = [socket for socket in glow.inputs if socket.type == "RGBA"]
    links.new(halo.outputs[0], glow.inputs[0])
    links.new(ramp.outputs["Color"], colours[0])
    colours[1].default_value = linear("#FFA65C")
    clouds = _clouds(nodes, links, place)
    shine = next(socket for socket in glow.outputs if socket.type == "RGBA")
    sky = nodes.new("ShaderNodeMix")
    sky.data_type = "RGBA"
    below, above = (socket for socket in sky.inputs if socket.type == "RGBA")
    above.default_value = linear("#FFD2B0")
    links.new(clouds, sky.inputs[0])
    links.new(shine, below)
    links.new(next(socket for socket in sky.outputs if socket.type == "RGBA"),
              background.inputs["Color"])  # fmt: skip
    background.inputs["Strength"].default_value = 0.72


def _clouds(nodes: Any, links: Any, place: bpy.types.Node) -> bpy.types.NodeSocket:
    """Return the cover of long thin clouds, 0 to 1."""
    stretch = nodes.new("ShaderNodeMapping")
    stretch.inputs["Scale"].default_value = (2.2, 2.2, 17.0)
    streaks = nodes.new("ShaderNodeTexNoise")
    streaks.inputs["Scale"].default_value = 1.6
    streaks.inputs["Detail"].default_value = 5.0
    cover = nodes.new("ShaderNodeMapRange")
    for name, value in (("From Min", 0.54), ("From Max", 0.74), ("To Min", 0.0), ("To Max", 0.55)):
        cover.inputs[name].default_value = value
    links.new(place.outputs["Generated"], stretch.inputs["Vector"])
    links.new(stretch.outputs["Vector"], streaks.inputs["Vector"])
    links.new(streaks.outputs[0], cover.inputs["Value"])
    return cover.outputs[0]


def sun_direction() -> tuple[float, float, float]:
    """Return the direction towards the sun."""
    flat = math.cos(SUN_HEIGHT)
    return (
        flat * math.sin(SUN_AZIMUTH),
        flat * math.cos(SUN_AZIMUTH),
        math.sin(SUN_HEIGHT),
    )
