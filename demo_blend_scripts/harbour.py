# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""The set: a quay at dawn."""

from __future__ import annotations

import bpy

from . import props
from .acting import HALF_CRATE


def build(scene: bpy.types.Scene) -> None:
    """Make the set."""
    for throw in props.THROWS:
        box = _box(throw.crate, HALF_CRATE)
        scene.collection.objects.link(box)
    cart = _box("Cart", (0.8, 0.4, props.CART_BED / 2))
    cart.location = props.CART
    cart.location.z = props.CART_BED / 2
    scene.collection.objects.link(cart)


def _box(name: str, half: tuple[float, float, float]) -> bpy.types.Object:
    mesh = bpy.data.meshes.new(name)
    x, y, z = half
    corners = [(i * x, j * y, k * z) for k in (-1, 1) for j in (-1, 1) for i in (-1, 1)]
    faces = [(0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5)]
    mesh.from_pydata(corners, [], faces)
    return bpy.data.objects.new(name, mesh)
