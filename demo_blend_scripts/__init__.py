# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Scripts that build the demo shots; they know Blender and nothing of how a shot is judged."""
