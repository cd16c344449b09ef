# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Measures: arrays in, arrays out; no thresholds that judge, no findings, no sentences."""
