"""One cause's turn in the sweep: what its states do to the set of findings already on, and the transpose.

A state array is [B, 2^width]: for each variant, the weight of every set of open findings that may be on; the
first open finding is the slowest bit. A cause in a given state sets off each of its findings independently,
so its operator is the Kronecker product over them of [[1 - q, 0], [q, 1]] (new by old, off before on). Up to
:data:`WHOLE` findings the operator is built whole and averaged over the states; beyond that it is applied
block by block for each state.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from inference.belief.net import Floats
from inference.belief.order import Step

WHOLE = 5
_TWOS = (2,) * 62  # numpy arrays have 64 axes at most


@dataclass(frozen=True)
class Turn:
    """A step with its operators: ``blocks`` [1 + K, s, s] over successive runs of the step's findings."""

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
        link = np.zeros((len(runs), 1 + links.shape[1], size))
        link[:, 1:] = links[causes[:, None, None], np.arange(links.shape[1])[:, None], findings[:, None, :]]
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
    """Open the step's findings, bring its own to the front: [B, 2^bits, rest]; ``start``: [m, B, 2]."""
    variants = len(state)
    for finding in reversed(step.enters):
        state = (start[finding][:, :, None] * state[:, None, :]).reshape(variants, -1)
    if step.turn:
        state = state.reshape(variants, *_TWOS[: step.width]).transpose(step.turn)
    return state.reshape(variants, 1 << len(step.bits), -1)


def leave_back(step: Step, start: Floats, future: Floats) -> Floats:
    """Return the transpose of :func:`enter`: [B, 2^(open before)]."""
    variants = len(future)
    if step.turn:
        future = future.reshape(variants, *_TWOS[: step.width]).transpose(step.back)
    future = future.reshape(variants, -1)
    for finding in step.enters:
        future = (start[finding][:, None] @ future.reshape(variants, 2, -1))[:, 0]
    return future


def forward(turn: Turn, weights: Floats, state: Floats) -> Floats:
    """Return [B, 2^(bits kept), rest]: ``state`` [B, 2^bits, rest] after the cause, with the closed findings
    on.

    ``weights``: [B, 1 + K] of the cause's states.
    """
    size = state.shape[1]
    kept = size >> turn.step.closes
    if len(turn.blocks) == 1:
        block = turn.blocks[0][:, size - kept :]
        mean = (weights @ block.reshape(len(block), -1)).reshape(-1, kept, size)
        return np.asarray(mean @ state)
    after = _blockwise(turn.blocks, np.broadcast_to(state, (weights.shape[1], *state.shape)))
    return np.asarray(np.einsum("kbsr,bk->bsr", after[:, :, size - kept :], weights))


def backward(turn: Turn, weights: Floats, state: Floats, future: Floats) -> tuple[Floats, Floats]:
    """Return ([B, 1 + K] mass of each state of the cause, [B, 2^bits, rest] the future before the cause).

    ``state`` is what went into :func:`forward`, ``future`` [B, 2^(bits kept), rest] weighs what came out.
    """
    size = state.shape[1]
    kept = size >> turn.step.closes
    if len(turn.blocks) == 1:
        block = turn.blocks[0][:, size - kept :]
        flat = block.reshape(len(block), -1)
        mean = (weights @ flat).reshape(-1, kept, size)
        pairs = future @ state.transpose(0, 2, 1)
        return weights * (pairs.reshape(len(weights), -1) @ flat.T), mean.transpose(0, 2, 1) @ future
    wide = np.zeros((weights.shape[1], *state.shape))
    wide[:, :, size - kept :] = future
    before = _blockwise([block.transpose(0, 2, 1) for block in turn.blocks], wide)
    mass = weights * np.einsum("kbsr,bsr->bk", before, state)
    return mass, np.einsum("kbsr,bk->bsr", before, weights)


def _blockwise(blocks: Sequence[Floats], states: Floats) -> Floats:
    """Apply the Kronecker product of ``blocks`` to the third axis of ``states`` [1 + K, B, 2^bits, rest]."""
    shape = states.shape
    done = 1
    for block in blocks:
        edge = block.shape[1]
        states = states.reshape(shape[0], shape[1] * done, edge, -1)
        states = block[:, None] @ states
        done *= edge
    return states.reshape(shape)
