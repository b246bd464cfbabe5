"""Symmetric matrices of one to three rows, entry by entry: an entry is a number, or an array of many at once.

Only the four operations are used, so that the same entries give the same digits on any machine.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, TypeAlias

Matrix: TypeAlias = list[list[Any]]
Vector: TypeAlias = list[Any]

SWEEPS = 30
"""Most rounds of rotations; three rows need about six [-]."""


def from_triangle(entries: Sequence[Any]) -> Matrix:
    """Return the matrix whose lower triangle is given row by row.

    >>> from_triangle([1.0, 2.0, 3.0])
    [[1.0, 2.0], [2.0, 3.0]]
    """
    size = math.isqrt(2 * len(entries))
    return [[entries[max(i, j) * (max(i, j) + 1) // 2 + min(i, j)] for j in range(size)] for i in range(size)]


def triangle(matrix: Matrix) -> Vector:
    """Return the lower triangle row by row."""
    return [matrix[i][j] for i in range(len(matrix)) for j in range(i + 1)]


def scaled(matrix: Matrix, factor: Any) -> Matrix:
    """Return a matrix times a number."""
    return [[entry * factor for entry in row] for row in matrix]


def plus(one: Matrix, other: Matrix) -> Matrix:
    """Return the sum of two matrices."""
    return [[a + b for a, b in zip(*rows, strict=True)] for rows in zip(one, other, strict=True)]


def minus(one: Matrix, other: Matrix) -> Matrix:
    """Return the difference of two matrices."""
    return [[a - b for a, b in zip(*rows, strict=True)] for rows in zip(one, other, strict=True)]


def times(matrix: Matrix, vector: Vector) -> Vector:
    """Return a matrix times a vector."""
    return [sum(a * b for a, b in zip(row, vector, strict=True)) for row in matrix]


def sandwich(outer: Matrix, inner: Matrix) -> Matrix:
    """Return A·B·Aᵀ, which is symmetric when B is."""
    size = range(len(outer))
    half = [[sum(outer[i][k] * inner[k][j] for k in size) for j in size] for i in size]
    found: Matrix = [[None for _ in size] for _ in size]
    for i in size:
        for j in range(i + 1):
            found[i][j] = found[j][i] = sum(half[i][k] * outer[j][k] for k in size)
    return found


def product(one: Matrix, other: Matrix) -> Matrix:
    """Return the product of two matrices."""
    size = range(len(one))
    return [[sum(one[i][k] * other[k][j] for k in size) for j in size] for i in size]


def outer_square(vector: Vector) -> Matrix:
    """Return a vector times itself, as a matrix."""
    return [[a * b for b in vector] for a in vector]


def shared(one: Matrix, other: Matrix) -> Any:
    """Return the trace of the product of two symmetric matrices."""
    return sum(a * b for rows in zip(one, other, strict=True) for a, b in zip(*rows, strict=True))


def inverse(matrix: Matrix) -> Matrix:
    """Return the inverse of a symmetric matrix by its cofactors.

    >>> inverse([[2.0, 0.0], [0.0, 4.0]])
    [[0.5, -0.0], [-0.0, 0.25]]
    """
    if len(matrix) == 1:
        return [[1.0 / matrix[0][0]]]
    if len(matrix) == 2:
        (a, b), (_, c) = matrix
        of = 1.0 / (a * c - b * b)
        return [[c * of, -b * of], [-b * of, a * of]]
    (a, b, c), (_, d, e), (_, _, f) = matrix
    A, B, C = d * f - e * e, c * e - b * f, b * e - c * d
    of = 1.0 / (a * A + b * B + c * C)
    D, E, F = (a * f - c * c) * of, (b * c - a * e) * of, (a * d - b * b) * of
    return [[A * of, B * of, C * of], [B * of, D, E], [C * of, E, F]]


def eigen(matrix: Matrix) -> tuple[Vector, Matrix]:
    """Return the eigenvalues of a symmetric matrix of numbers, and their vectors as rows.

    Notes
    -----
    Rotations that make one entry beside the diagonal zero after another: C. G. J. Jacobi, *Über ein leichtes
    Verfahren …*, J. reine angew. Math. 30, 51 (1846).
    """
    size = range(len(matrix))
    left = [list(row) for row in matrix]
    vectors = [[float(i == j) for j in size] for i in size]
    for _ in range(SWEEPS):
        beside = sum(left[i][j] ** 2 for i in size for j in range(i))
        if beside <= 1e-30 * sum(left[i][i] ** 2 for i in size):
            break
        for p in size:
            for q in range(p):
                _rotate(left, vectors, q, p)
    return [left[i][i] for i in size], vectors


def _rotate(left: Matrix, vectors: Matrix, p: int, q: int) -> None:
    if left[p][q] == 0.0:
        return
    theta = (left[q][q] - left[p][p]) / (2.0 * left[p][q])
    t = math.copysign(1.0, theta) / (abs(theta) + math.sqrt(theta * theta + 1.0))
    c = 1.0 / math.sqrt(t * t + 1.0)
    s = t * c
    for row in left:
        row[p], row[q] = c * row[p] - s * row[q], s * row[p] + c * row[q]
    for place in range(len(left)):
        left[p][place], left[q][place] = (
            c * left[p][place] - s * left[q][place],
            s * left[p][place] + c * left[q][place],
        )
        vectors[p][place], vectors[q][place] = (
            c * vectors[p][place] - s * vectors[q][place],
            s * vectors[p][place] + c * vectors[q][place],
        )
