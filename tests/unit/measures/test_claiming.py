# SPDX-FileCopyrightText: 2026 Fettle developers
# SPDX-License-Identifier: GPL-3.0-or-later
"""Large arrays are taken and copied in pieces, and nothing about them changes by it."""

import numpy as np
import pytest

from fettle.core_math import PIECE_BYTES, claim, claim_array, copy_in_pieces, list_pieces, run_steps


def count_pauses(steps):
    count = 0
    while True:
        try:
            next(steps)
        except StopIteration as end:
            return count, end.value
        count += 1


def test_a_large_array_pauses_once_a_piece():
    pauses, array = count_pauses(claim(3, 100, 5000))
    assert array.shape == (3, 100, 5000) and array.flags.c_contiguous
    assert pauses == -(-array.nbytes // PIECE_BYTES)


def test_a_small_array_does_not_pause():
    pauses, array = count_pauses(claim(4, 10))
    assert pauses == 0 and array.shape == (4, 10)


def test_every_page_of_an_array_is_written_to():
    array = np.full(2 * PIECE_BYTES, 7, dtype=np.uint8)
    run_steps(claim_array(array))
    assert (array[:: 1 << 12] == 0).all()


@pytest.mark.parametrize("shape", [(3, 80, 2500), (4, 1, 300_000), (1, 700, 7), (3, 0, 5)])
def test_pieces_are_all_of_an_array_in_order(shape):
    values = np.arange(np.prod(shape), dtype=np.float64).reshape(shape)
    pieces = [values[place] for place in list_pieces(values)]
    np.testing.assert_array_equal(
        np.concatenate([p.ravel() for p in pieces] or [[]]), values.ravel()
    )
    longest = max((p.nbytes for p in pieces), default=0)
    assert longest <= max(PIECE_BYTES, values[0, :1].nbytes)


def test_a_copy_is_the_same_and_apart():
    values = np.arange(3 * 90 * 2500, dtype=np.float64).reshape(3, 90, 2500)[..., 10:-10]
    pauses, copied = count_pauses(copy_in_pieces(values))
    np.testing.assert_array_equal(copied, values)
    assert pauses > 3 and not np.shares_memory(copied, values)
