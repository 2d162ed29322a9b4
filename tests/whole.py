"""What every bundle must be, however it was folded and tied."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from meltwick.constants import Constants
from meltwick.types import Bundle, Cloth

CONSTANTS = Constants()
NOT_OF_CELLS = ("contacts", "contact_area", "film", "film_width", "length", "strain99")


def check_pairs(pairs: np.ndarray, weight: np.ndarray, cells: int) -> None:
    """Each pair once, lower cell first, in order, with a weight of its own."""
    assert pairs.shape == (len(weight), 2)
    assert pairs.dtype == np.int32
    assert pairs.min(initial=0) >= 0
    assert pairs.max(initial=0) < cells
    assert np.all(pairs[:, 0] < pairs[:, 1])
    assert np.all(np.diff(pairs[:, 0].astype(np.int64) * cells + pairs[:, 1]) > 0)
    assert np.all(weight > 0.0)


def check_bundle(cloth: Cloth, bundle: Bundle) -> None:
    for field in fields(bundle):
        value = np.asarray(getattr(bundle, field.name))
        assert np.isfinite(value).all(), field.name
        if field.name not in NOT_OF_CELLS:
            assert value.shape == (cloth.size,), field.name
            assert value.dtype == np.float64, field.name
    check_pairs(bundle.contacts, bundle.contact_area, cloth.size)
    check_pairs(bundle.film, bundle.film_width, cloth.size)
    for share in (bundle.exposed, bundle.upward, bundle.covered):
        assert share.min() >= 0.0
        assert share.max() <= 1.0 + 1e-12
    assert np.all(bundle.upward <= bundle.exposed + 1e-12)
    assert bundle.upward.max() > 0.0
    assert 0.0 <= bundle.strain99 <= 0.1
    assert bundle.layers.min() >= 1.0
    assert bundle.length > 0.0
    assert bundle.along.min() >= 0.0
    assert bundle.along.max() <= bundle.length * (1.0 + 1e-12)
    assert bundle.depth.min() >= 0.0
    assert bundle.pressure.min() >= 0.0
    assert bundle.thickness.min() > 0.0
    assert bundle.solid.min() >= cloth.fabric.solid * (1.0 - 1e-12)
    assert bundle.solid.max() <= max(CONSTANTS.solid_cap, cloth.fabric.solid)
    pairs = np.concatenate([cloth.edges, cloth.seams, bundle.contacts, bundle.film])
    joined = coo_matrix((np.ones(len(pairs)), pairs.T), shape=(cloth.size, cloth.size))
    assert connected_components(joined, directed=False)[0] == 1


def same(one: Bundle, two: Bundle) -> bool:
    return all(
        np.asarray(getattr(one, f.name)).tobytes() == np.asarray(getattr(two, f.name)).tobytes()
        for f in fields(Bundle)
    )
