"""Correlation: whether a matrix can be one, and how independent numbers are made to have it.

A matrix of correlations has to be positive semidefinite: no combination of what it is about may vary by less than nothing.
It is taken apart as L D L', with ones on the diagonal of the triangle L and a pivot for each row in D; it is positive
semidefinite exactly if no pivot is negative and what stands below a pivot of zero is zero. This is done in fractions, so no
tolerance is needed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction

Matrix = tuple[tuple[Fraction, ...], ...]
Triangle = tuple[tuple[float, ...], ...]


def factor(matrix: Matrix) -> Triangle | None:
    """The lower triangle whose product with its transpose is the matrix; None where the matrix is not positive semidefinite.

    Square roots, products and quotients of floats are the same on every machine, so the triangle is.
    """
    size = len(matrix)
    left = [list(row) for row in matrix]
    columns: list[list[float]] = [[0.0] * size for _ in range(size)]
    for at in range(size):
        pivot = left[at][at]
        below = [left[row][at] for row in range(at + 1, size)]
        if pivot < 0 or (pivot == 0 and any(below)):
            return None
        if pivot == 0:
            continue
        root = math.sqrt(float(pivot))
        columns[at][at] = root
        for row in range(at + 1, size):
            share = left[row][at] / pivot
            columns[at][row] = float(share) * root
            for column in range(at + 1, size):
                left[row][column] -= share * left[at][column]
    return tuple(tuple(columns[column][row] for column in range(row + 1)) for row in range(size))


def combined(triangle: Triangle, independent: Sequence[float]) -> list[float]:
    """Numbers with the correlation, from as many independent ones."""
    found = []
    for row in triangle:
        number = 0.0
        for weight, one in zip(row, independent, strict=False):
            number += weight * one  # not by sum(), which newer releases of Python round in another way
        found.append(number)
    return found
