"""From colours back to dye: which depths of known dyes show the colours that were seen."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from meltwick.colour import delta_e00, ground_lab
from meltwick.colour.kubelka import absorption, reflectance
from meltwick.colour.observer import WEIGHTS, WHITE
from meltwick.colour.spectra import strengths, undyed
from meltwick.colour.standard import from_linear, to_lab, to_xyz
from meltwick.types import Component, Dye, Fabric, FixedDye, Flags, Floats

_Whole = NDArray[np.int64]

UNEXPLAINED = 2.5
"""Difference to the nearest colour that the dyes named can give, from which a colour is taken for
something else: grade 3-4 of the grey scale for change in colour (ISO 105-A02), here in Delta E 00.
A photograph's own error is of about this size."""

UNNAMED = tuple(
    Component(name, bands, kd=2e-3, strike=1.0, diffusivity=4e-10, note="stands for an unknown dye")
    for name, bands in (
        ("unnamed yellow", ((449.0, 28.0, 5.0),)),
        ("unnamed red", ((525.0, 25.0, 5.0),)),
        ("unnamed blue", ((655.0, 51.0, 5.0),)),
    )
)
"""What stands for a stain: one plain band for each kind of cone, as strong as a common dye, so
that a stain takes about as much of the fibre's sites as the dye that it may be. Chosen; peaks and
widths so that the three show the colours of all dyes in stock, from 0.1 to 4 %, and of their
mixtures, 95 % of them within Delta E 00 = 0.6."""

LEAST_DYE = 0.02
"""Weight of the sum of all K/S beside the squared difference in CIELAB: of several mixtures that
show one colour, the one with the least dye. Chosen; it moves a colour by less than 0.5."""
EVEN = 0.001
"""Weight of the sum of their squares: of those with as much dye, the most even one, so that like
colours get like mixtures. Chosen."""
STRANGE = 2.0
"""How much dearer a stain is than the dyes named; chosen."""
ROUGH = 0.7
"""Delta E 00 from which an interpolated mixture is sought on from where it is; chosen."""
STEP = 2.0
"""Distance of the colours for which mixtures are sought, in CIELAB; between them mixtures are
interpolated. Chosen."""
_MOST_NODES = 8_000  # beyond it the step grows
_LEAST_LIGHT = 1e-4  # linear light below which a camera tells nothing
_KNEE = (6.0 / 29.0) ** 3  # CIELAB, as `meltwick.colour.standard`
_SLOPE = (29.0 / 6.0) ** 2 / 3.0
_ROUNDS, _SWEEPS = 40, 12  # of the search, and of the linear problem within
_POLISH = 3  # rounds of the search, from a mixture that is nearly right
_AT_ONCE = 16_384  # cells, so that memory stays small
_CALM = 3.0  # small steps one after another that end it


@dataclass(frozen=True)
class Unmixed:
    """Dye that shows the colours that were seen. N cells, K components."""

    dye: FixedDye  # of the dyes named, then `UNNAMED` where needed; (N, K) [kg per kg of all fibre]
    unexplained: Floats  # (N,) Delta E 00 that the dyes named alone leave
    stained: Flags  # (N,) cells that took more than the dyes named


def unmix(linear: Floats, dyes: tuple[Dye, ...], fabric: Fabric) -> Unmixed:
    """Find dye on cloth that shows given colours.

    Single-constant theory of Kubelka and Munk, as `meltwick.colour.render` has it, turned round:
    the depths, none of them negative, whose colour comes nearest in CIELAB. A colour is three
    numbers, so more than three components are not told apart by it; of all mixtures that show it
    the one with the least dye, and of these the most even, is taken. Where no mixture of the dyes
    comes nearer than `UNEXPLAINED`, three plain absorbers stand for what is unknown.

    Mixtures are sought for colours on a lattice in CIELAB and interpolated between, as square
    roots of depth, which are nearly straight in it; so they are never negative, and like colours
    get like mixtures.

    Parameters
    ----------
    linear : ndarray of shape (N, 3)
        Linear sRGB, D65, 1 for the perfect white.
    dyes : tuple of Dye
        That are known to be on the cloth; none: all is unnamed.
    fabric : Fabric
        Gives the ground.

    Returns
    -------
    Unmixed

    Raises
    ------
    ValueError
        A colour is not a number.
    """
    if linear.ndim != 2 or linear.shape[1] != 3 or not np.all(np.isfinite(linear)):
        raise ValueError("colours of shape (N, 3), all of them numbers, were expected")
    lab = lab_of(linear)
    named: dict[str, Component] = {}
    for each in (part for dye in dyes for part, _ in dye.parts):
        named.setdefault(each.name, each)
    species = tuple(named.values())
    with threadpool_limits(limits=1, user_api="blas"):
        known = _Mixer(species, fabric)
        depth = known.mixtures(lab)
        unexplained = delta_e00(lab, known.lab(depth))
        rough = np.flatnonzero(unexplained > ROUGH)
        for n in range(0, len(rough), _AT_ONCE):
            part = rough[n : n + _AT_ONCE]
            depth[part] = known.polished(lab[part], depth[part])
            unexplained[part] = delta_e00(lab[part], known.lab(depth[part]))
        # lighter than bare cloth is light or noise, and no dye
        dark = lab[:, 0] <= ground_lab(fabric)[0]
        rest = (unexplained > UNEXPLAINED) & dark
        if not rest.any():
            return Unmixed(_fixed(species, depth), unexplained, rest)
        whole = _Mixer(species + UNNAMED, fabric, strange=len(UNNAMED))
        depth = np.hstack([depth, np.zeros((len(lab), len(UNNAMED)))])
        depth[rest] = whole.mixtures(lab[rest])
    return Unmixed(_fixed(species + UNNAMED, depth), unexplained, rest)


def lab_of(linear: Floats) -> Floats:
    """CIELAB of linear sRGB, both (N, 3); darker than a camera tells is taken as just that dark."""
    return from_linear(np.maximum(linear, _LEAST_LIGHT))


def _fixed(species: tuple[Component, ...], depth: Floats) -> FixedDye:
    """Turn per cent into shares of mass, and leave out what is nowhere."""
    there = [k for k in range(len(species)) if depth[:, k].any()]
    return FixedDye(tuple(species[k] for k in there), depth[:, there] / 100.0)


def nonnegative(gram: Floats, wanted: Floats, start: Floats, sweeps: int) -> Floats:
    """Solve many small least-squares problems, no unknown negative.

    Each minimises x' G x / 2 - x' c over x >= 0, one unknown after another (coordinate descent;
    it cannot rise, and for a positive definite G ends at the one minimum: Franc, Hlavac and
    Navara 2005, CAIP, LNCS 3691, from memory).

    Parameters
    ----------
    gram : ndarray of shape (n, K, K) or (1, K, K)
        G, positive diagonals.
    wanted : ndarray of shape (n, K)
        c.
    start : ndarray of shape (n, K)
        None negative.
    sweeps : int
        Times that every unknown is set.

    Returns
    -------
    ndarray of shape (n, K)
    """
    # unknowns first, so that every step runs along the problems
    x = np.ascontiguousarray(start.T)
    matrix = np.ascontiguousarray(gram.transpose(1, 2, 0))
    c = np.ascontiguousarray(wanted.T)
    for _ in range(sweeps):
        for k in range(len(x)):
            slope = matrix[k, 0] * x[0] - c[k]
            for j in range(1, len(x)):
                slope += matrix[k, j] * x[j]
            x[k] = np.maximum(0.0, x[k] - slope / matrix[k, k])
    return np.ascontiguousarray(x.T)


class _Mixer:
    """Colours of mixtures on one ground, and mixtures of colours. Depths in per cent, (n, K)."""

    def __init__(self, species: tuple[Component, ...], fabric: Fabric, strange: int = 0) -> None:
        self._ground = absorption(undyed(fabric))
        table = strengths(species)
        self._peak = table.max(axis=1)  # K/S that one per cent adds at most
        self._table = table / self._peak[:, None]  # by K/S, which all components share
        dear = np.ones(len(species))
        dear[len(species) - strange :] = STRANGE
        self._toll = LEAST_DYE * dear

    def lab(self, depth: Floats) -> Floats:
        """CIELAB of mixtures, (n, 3)."""
        return self._by_part(lambda part: self._seen(depth[part] * self._peak), len(depth))

    def mixtures(self, lab: Floats) -> Floats:
        """Depths that show colours, (n, K): sought on a lattice and interpolated."""
        if not len(self._peak) or not len(lab):
            return np.zeros((len(lab), len(self._peak)))
        from scipy.sparse import csr_array

        nodes, number, weight = lattice(lab)
        ends = np.arange(len(lab) + 1) * 8
        between = csr_array((weight.ravel(), number.ravel(), ends), (len(lab), len(nodes)))
        found = between @ np.sqrt(self._sought(nodes))
        return np.asarray(found**2 / self._peak)

    def polished(self, lab: Floats, depth: Floats) -> Floats:
        """Depths that show colours, (n, K), sought from others that nearly do."""
        if not len(self._peak):
            return depth
        return np.asarray(self._search(lab, depth * self._peak, _POLISH) / self._peak)

    @staticmethod
    def _by_part(work: Callable[[slice], Floats], count: int) -> Floats:
        parts = [work(slice(first, first + 4096)) for first in range(0, count, 4096)]
        return np.concatenate(parts) if parts else np.zeros((0, 3))

    def _seen(self, ratio: Floats) -> Floats:
        return to_lab(to_xyz(reflectance(self._ground + ratio @ self._table)))

    def _slopes(self, ratio: Floats) -> tuple[Floats, Floats]:
        """CIELAB of K/S by component, and its slopes, (n, 3, K)."""
        a = self._ground + ratio @ self._table
        light = reflectance(a)
        fall = -light / np.sqrt(a * (a + 2.0))
        parts = (self._table[:, :, None] * WEIGHTS[None]).transpose(1, 2, 0)  # (31, 3, K)
        xyz = to_xyz(light)
        slope = (fall @ parts.reshape(len(parts), -1)).reshape(len(ratio), 3, -1)
        t = xyz / WHITE
        bend = np.where(t > _KNEE, np.cbrt(t) ** -2 / 3.0, _SLOPE) / WHITE
        f = slope * bend[:, :, None]
        lab = np.stack(
            [116.0 * f[:, 1], 500.0 * (f[:, 0] - f[:, 1]), 200.0 * (f[:, 1] - f[:, 2])], axis=1
        )
        return to_lab(xyz), lab

    def _cost(self, ratio: Floats, gap: Floats) -> Floats:
        tolls = ratio @ self._toll + EVEN * np.einsum("nk,nk->n", ratio, ratio)
        return np.asarray(np.einsum("nc,nc->n", gap, gap) + tolls)

    def _sought(self, lab: Floats) -> Floats:
        """K/S by component that shows colours, (n, K)."""
        return self._search(lab, self._first(lab), _ROUNDS)

    def _search(self, lab: Floats, ratio: Floats, rounds: int) -> Floats:
        """Go on from K/S by component: Levenberg's damped steps, none negative."""
        gap = self._by_part(lambda part: lab[part] - self._seen(ratio[part]), len(lab))
        cost, damp = self._cost(ratio, gap), np.full(len(lab), 1e-2)
        open_, calm = np.arange(len(lab)), np.zeros(len(lab))
        unit = np.eye(ratio.shape[1])
        for _ in range(rounds):
            here = ratio[open_]
            found, slope = self._slopes(here)
            gram = slope.transpose(0, 2, 1) @ slope + EVEN * unit
            pull = np.einsum("nck,nc->nk", slope, lab[open_] - found) - 0.5 * self._toll
            pull -= EVEN * here
            size = np.einsum("nkk->nk", gram)
            damped = gram + unit * (damp[open_, None] * size)[:, :, None]
            wanted = pull + (damped @ here[:, :, None])[:, :, 0]
            tried = nonnegative(damped, wanted, here, _SWEEPS)
            gap = lab[open_] - self._seen(tried)
            new = self._cost(tried, gap)
            better = new < cost[open_]
            gain = cost[open_] - new
            ratio[open_[better]] = tried[better]
            cost[open_[better]] = new[better]
            damp[open_] = np.where(better, 0.3 * damp[open_], 4.0 * damp[open_])
            # a narrow valley is followed in small steps: one of them does not end the search
            small = better & (gain < 1e-3 * (0.01 + new))
            calm[open_] = np.where(small, calm[open_] + 1.0, 0.0)
            open_ = open_[(calm[open_] < _CALM) & (damp[open_] < 1e3)]
            if not len(open_):
                break
        return ratio

    def _first(self, lab: Floats) -> Floats:
        """Guess K/S by component as if each channel of light were one wavelength."""
        seen, bare = _channels(lab), _channels(self._seen(np.zeros((1, len(self._peak)))))
        each = _channels(self._seen(np.eye(len(self._peak)))) - bare
        gram = (each @ each.T + 1e-3 * np.eye(len(each)))[None]
        wanted = (seen - bare) @ each.T
        return nonnegative(gram, wanted, np.zeros_like(wanted), 4 * _SWEEPS)


def _channels(lab: Floats) -> Floats:
    """K/S of each of X, Y and Z as if it were light of one wavelength, (n, 3)."""
    t = np.stack(
        [
            (lab[:, 0] + 16.0) / 116.0 + lab[:, 1] / 500.0,
            (lab[:, 0] + 16.0) / 116.0,
            (lab[:, 0] + 16.0) / 116.0 - lab[:, 2] / 200.0,
        ],
        axis=1,
    )
    return absorption(np.clip(np.maximum(t, 0.0) ** 3, 1e-3, 1.0))


def lattice(lab: Floats) -> tuple[Floats, _Whole, Floats]:
    """Lay a lattice about colours, of those nodes alone that a colour lies beside.

    Parameters
    ----------
    lab : ndarray of shape (N, 3)
        CIELAB.

    Returns
    -------
    nodes : ndarray of shape (n, 3)
        CIELAB.
    number : ndarray of shape (N, 8)
        The nodes about each colour.
    weight : ndarray of shape (N, 8)
        Theirs in it, none negative, together 1.
    """
    step = STEP
    while True:
        low = np.floor(lab / step).astype(np.int64)
        ways = np.array([[n >> 2 & 1, n >> 1 & 1, n & 1] for n in range(8)])
        boxes, inside = np.unique(_code(low), return_inverse=True)
        corners = _code(ways) - _code(np.zeros((1, 3), np.int64)) + boxes[:, None]
        codes, places = np.unique(corners, return_inverse=True)
        if len(codes) <= _MOST_NODES or step > 8.0 * STEP:
            break
        step *= 1.25
    number = places.reshape(corners.shape)[inside.ravel()]
    part = lab / step - low
    weight = np.prod(np.where(ways[None] == 1, part[:, None], 1.0 - part[:, None]), axis=2)
    return _decoded(codes) * step, number, weight


_OFF, _WIDE = 512, 1024  # a lattice's numbers lie within


def _code(triple: _Whole) -> _Whole:
    """One number for three."""
    return np.asarray(
        ((triple[:, 0] + _OFF) * _WIDE + triple[:, 1] + _OFF) * _WIDE + triple[:, 2] + _OFF
    )


def _decoded(codes: _Whole) -> Floats:
    """Undo `_code`."""
    rest, third = np.divmod(codes, _WIDE)
    first, second = np.divmod(rest, _WIDE)
    return np.stack([first, second, third], axis=1) - float(_OFF)
