"""One cause's turn in the sweep: what its states do to the set of findings already on, and the transpose.

A state array is [2^width, B]: the weight of every set of open findings that may be on, for each variant; the
first open finding is the slowest bit. A cause in a given state sets off each of its findings independently, so
its operator is the Kronecker product over them of [[1 - q, 0], [q, 1]] (new by old, off before on). It is the same for
all variants, so one matrix product serves them all. Up to :data:`WHOLE` findings the operator is built whole, beyond
that it is applied block by block.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from inference.belief.net import Floats
from inference.belief.order import Step

WHOLE = 4
_TWOS = (2,) * 62  # numpy arrays have 64 axes at most


@dataclass(frozen=True)
class Turn:
    """A step with its operators: ``blocks`` [K, s, s] over successive runs of the step's findings."""

    step: Step
    blocks: tuple[Floats, ...]


def turns(links: Floats, steps: Sequence[Step]) -> list[Turn]:
    """Build the operators of all steps; ``links``: [n, K, m]."""
    wanted: dict[int, list[tuple[int, tuple[int, ...]]]] = {}
    homes: list[list[tuple[int, int]]] = []
    for step in steps:
        home = []
        for begin in range(0, len(step.bits), WHOLE):
            run = step.bits[begin : begin + WHOLE]
            same_size = wanted.setdefault(len(run), [])
            home.append((len(run), len(same_size)))
            same_size.append((step.cause, run))
        homes.append(home)
    built: dict[int, Floats] = {}
    for size, runs in wanted.items():
        causes = np.array([cause for cause, _ in runs])
        findings = np.array([run for _, run in runs])
        link = links[causes[:, None, None], np.arange(links.shape[1])[:, None], findings[:, None, :]]
        one = np.zeros((*link.shape, 2, 2))
        one[..., 0, 0] = 1.0 - link
        one[..., 1, 0] = link
        one[..., 1, 1] = 1.0
        whole = one[:, :, 0]
        for place in range(1, size):
            edge = 2 << place
            product = whole[:, :, :, None, :, None] * one[:, :, place, None, :, None, :]
            whole = product.reshape(*whole.shape[:2], edge, edge)
        built[size] = whole
    return [
        Turn(step, tuple(built[size][place] for size, place in home)) for step, home in zip(steps, homes, strict=True)
    ]


def enter(step: Step, start: Floats, state: Floats) -> Floats:
    """Open the step's findings, bring its own to the front: [2^bits, rest, B]; ``start``: [m, 2, B]."""
    variants = state.shape[1]
    for finding in reversed(step.enters):
        state = (start[finding][:, None] * state).reshape(-1, variants)
    if step.turn:
        state = state.reshape(*_TWOS[: step.width], variants).transpose(step.turn)
    return state.reshape(1 << len(step.bits), -1, variants)


def leave_back(step: Step, start: Floats, future: Floats) -> Floats:
    """Return the transpose of :func:`enter`: [2^(open before), B]."""
    variants = future.shape[2]
    if step.turn:
        future = future.reshape(*_TWOS[: step.width], variants).transpose(step.back)
    future = future.reshape(-1, variants)
    for finding in step.enters:
        off, on = future.reshape(2, -1, variants)
        future = off * start[finding, 0] + on * start[finding, 1]
    return future


def forward(turn: Turn, weights: Floats, state: Floats) -> Floats:
    """Return [2^(bits kept), rest, B]: ``state`` [2^bits, rest, B] after the cause, with the closed findings on.

    ``weights``: [1 + K, B] of the cause's states.
    """
    size = len(state)
    gone = size - (size >> turn.step.closes)
    there = _apply(turn.blocks, state, gone)
    there *= weights[1:, None, None]
    after: Floats = state[gone:] * weights[0]
    for one in there:
        after += one
    return after


def backward(turn: Turn, weights: Floats, state: Floats, future: Floats) -> tuple[Floats, Floats]:
    """Return ([1 + K, B] mass of each state of the cause, [2^bits, rest, B] the future before the cause).

    ``state`` is what went into :func:`forward`, ``future`` [2^(bits kept), rest, B] weighs what came out.
    """
    size = len(state)
    gone = size - len(future)
    there = _apply_back(turn.blocks, future, gone)
    mass = np.empty(weights.shape)
    mass[0] = np.einsum("srb,srb->b", future, state[gone:])
    mass[1:] = np.einsum("ksrb,srb->kb", there, state)
    mass *= weights
    there *= weights[1:, None, None]
    before = there[0]
    for one in there[1:]:
        before += one
    before[gone:] += future * weights[0]
    return mass, before


def _apply(blocks: Sequence[Floats], state: Floats, gone: int) -> Floats:
    """Return [K, 2^bits - gone, rest, B]: the operator of each present state on ``state``, first rows left out."""
    size = len(state)
    if len(blocks) == 1:
        rows = blocks[0][:, gone:]
        out = rows.reshape(-1, size) @ state.reshape(size, -1)
        return np.asarray(out.reshape(len(rows), size - gone, *state.shape[1:]))
    wide = np.broadcast_to(state, (len(blocks[0]), *state.shape))
    return _blockwise(blocks, wide)[:, gone:]


def _apply_back(blocks: Sequence[Floats], future: Floats, gone: int) -> Floats:
    """Return [K, 2^bits, rest, B]: the transposed operator of each present state on ``future``."""
    size = gone + len(future)
    if len(blocks) == 1:
        columns = np.ascontiguousarray(blocks[0][:, gone:].swapaxes(1, 2))
        out = columns.reshape(-1, size - gone) @ future.reshape(size - gone, -1)
        return np.asarray(out.reshape(len(columns), size, *future.shape[1:]))
    wide = np.zeros((len(blocks[0]), size, *future.shape[1:]))
    wide[:, gone:] = future
    return _blockwise([block.swapaxes(1, 2) for block in blocks], wide)


def _blockwise(blocks: Sequence[Floats], states: Floats) -> Floats:
    """Apply the Kronecker product of ``blocks`` to the second axis of ``states`` [K, 2^bits, rest, B]."""
    shape = states.shape
    done = 1
    for block in blocks:
        edge = block.shape[1]
        states = block[:, None] @ states.reshape(shape[0], done, edge, -1)
        done *= edge
    return states.reshape(shape)
