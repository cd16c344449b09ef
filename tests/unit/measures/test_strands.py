# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Likeness of chains: correlation by SciPy, known offsets, and whatever shape comes in."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation
from scipy.stats import pearsonr

from fettle.core_math.measures import strands
from fettle.core_math.measures.pieces import run_steps

OFFSETS = np.arange(-6, 7)


def wave(frames, fps=24.0, hertz=1.0, late=0.0, seed=0):
    t = np.arange(frames) / fps - late
    random = np.random.default_rng(seed)
    axes = random.normal(size=(3, 3))
    joints = [
        20.0 * np.sin(2 * np.pi * hertz * t + j)[:, None] * axes[0]
        + 9.0 * np.sin(4.6 * np.pi * hertz * t + 2 * j)[:, None] * axes[1]
        + 4.0 * np.cos(2.9 * np.pi * hertz * t - j)[:, None] * axes[2]
        for j in range(3)
    ]
    return np.stack(joints, axis=1)


def find_copies(one, other, window, hop, offsets):
    """Compare two chains; None where there are fewer samples than one window."""
    return run_steps(strands.compare_chains([one, other], [(0, 1)], window, hop, offsets)).get(0)


def test_likeness_is_the_correlation_scipy_gives():
    random = np.random.default_rng(1)
    one = wave(24)
    other = one + random.normal(scale=6.0, size=one.shape)
    ours = find_copies(one, other, 24, 24, np.array([0])).likeness[0]
    centred = [(x - x.mean(axis=0)).ravel() for x in (one, other)]
    assert ours == pytest.approx(pearsonr(*centred).statistic, abs=1e-9)


def test_many_chains_are_compared_as_pairs_of_them_by_the_joints_both_have():
    random = np.random.default_rng(5)
    base = wave(90)
    turns = [
        base,
        0.8 * base[:, :2] + random.normal(scale=0.5, size=(90, 2, 3)),
        wave(90, late=3 / 24.0),
        random.normal(scale=9.0, size=(90, 4, 3)),
    ]
    pairs = [(0, 1), (0, 2), (3, 0), (1, 3)]
    together = run_steps(strands.compare_chains(turns, pairs, 24, 6, OFFSETS))
    assert list(together) == [0, 1, 2, 3]
    for (one, other), copies in zip(pairs, together.values(), strict=True):
        joints = min(turns[one].shape[1], turns[other].shape[1])
        alone = [turns[number][:, :joints] for number in (one, other)]
        for start, likeness in zip(copies.starts, copies.likeness, strict=True):
            asked = {}
            for offset in OFFSETS:
                if 0 <= start + offset <= 90 - 24:
                    a, b = (
                        x[at : at + 24] - x[at : at + 24].mean(axis=0)
                        for x, at in zip(alone, (start, start + offset), strict=True)
                    )
                    # Each axis with its better sign, as a mirrored paste turns some of them.
                    share = sum(abs(np.vdot(a[..., i], b[..., i])) for i in range(3))
                    asked[offset] = share / np.sqrt(np.vdot(a, a) * np.vdot(b, b))
            assert likeness == pytest.approx(max(asked.values()), abs=1e-9)


def test_what_is_of_no_interest_is_passed_over_and_the_rest_is_the_same():
    still, late = 0.001 * wave(96), wave(96, late=5 / 24.0)
    turns = [wave(96), 0.7 * wave(96), late, still]
    pairs = [(0, 1), (0, 2), (0, 3)]
    whole = run_steps(strands.compare_chains(turns, pairs, 36, 9, OFFSETS))
    asked = {"near": 1.0, "least": 0.97, "least_spread": 1.5}
    quick = run_steps(strands.compare_chains(turns, pairs, 36, 9, OFFSETS, **asked))
    assert quick[0].likeness == pytest.approx(whole[0].likeness, abs=1e-12)
    assert quick[0].offset == pytest.approx(whole[0].offset, abs=1e-9)
    # A pair of which one is still is not told at all; what is looked into comes out as it is.
    assert list(whole) == [0, 1, 2] and 2 not in quick
    for row, copies in quick.items():
        looked_into = ~np.isnan(copies.offset)
        for name in ("likeness", "offset"):
            ours, every = (getattr(found, name)[looked_into] for found in (copies, whole[row]))
            assert ours == pytest.approx(every, abs=1e-9)
        assert np.all(copies.likeness <= whole[row].likeness + 1e-9)


@pytest.mark.parametrize("signs", [(1, 1, 1), (1, -1, -1), (-1, 1, -1)])
def test_scaled_or_mirrored_copy_has_likeness_one(signs):
    copies = find_copies(wave(60), wave(60) * signs * 0.7, 24, 6, OFFSETS)
    assert copies.likeness == pytest.approx(1.0, abs=1e-9)
    assert copies.offset[1:-1] == pytest.approx(0.0, abs=0.05)
    assert copies.other_spread / copies.spread == pytest.approx(0.7)


def test_a_circling_strand_that_comes_later_is_no_copy_on_the_same_frame():
    t = 2 * np.pi * np.arange(48) / 24.0
    one, other = (np.stack((np.cos(t - d), np.sin(t - d), 0 * t), -1)[:, None] for d in (0, 0.8))
    copies = find_copies(one, other, 36, 36, OFFSETS)
    assert copies.offset[0] == pytest.approx(0.8 * 24 / (2 * np.pi), abs=0.1)


@pytest.mark.parametrize("late", [1.0, 2.5, 4.0])
def test_offset_of_a_late_copy_is_found(late):
    copies = find_copies(wave(96), wave(96, late=late / 24.0), 48, 12, OFFSETS)
    assert copies.offset[1:-2] == pytest.approx(late, abs=0.15)


def test_rest_orientation_drops_out_of_the_turns():
    turns = Rotation.from_rotvec(wave(30)[:, 0], degrees=True)
    plain = turns.as_quat(scalar_first=True)[:, None]
    rested = (Rotation.random(random_state=3) * turns).as_quat(scalar_first=True)[:, None]
    one, other = strands.turn_vectors(plain), strands.turn_vectors(rested)
    assert one == pytest.approx(other, abs=1e-9)


@given(
    frames=st.integers(1, 60),
    joints=st.integers(1, 4),
    window=st.integers(4, 30),
    scale=st.sampled_from([0.0, 1e-3, 1.0, 1e3]),
    seed=st.integers(0, 99),
)
def test_anything_gives_a_likeness_between_nought_and_one(frames, joints, window, scale, seed):
    random = np.random.default_rng(seed)
    one, other = random.normal(size=(2, frames, joints, 3)) * scale
    copies = find_copies(one, other, window, 5, OFFSETS)
    assert (copies is None) == (frames < window)
    if copies is None:
        return
    assert np.all((copies.likeness >= 0.0) & (copies.likeness <= 1.0 + 1e-9))
    assert np.all(np.abs(copies.offset) <= 6.5)
