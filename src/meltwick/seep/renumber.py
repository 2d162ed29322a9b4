"""Cells in the order of the sweep, so that neighbours in the flow are neighbours in memory."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from meltwick.seep.graph import Network
from meltwick.seep.powder import Laid
from meltwick.types import Bundle, Cloth, Fabric, FixedDye, Floats, Ints, Seepage


def _fabric(fabric: Fabric, by: Ints) -> Fabric:
    """Renumber what a fabric has of each cell, where several cloths lie in one tray."""
    own = {name: getattr(fabric, name) for name in Fabric.BY_CELL}
    return replace(fabric, **{k: each[by] for k, each in own.items() if np.ndim(each)})


class Sweepwise:
    """Renumbers a round's records by falling w of the first melt level.

    Parameters
    ----------
    seepage : Seepage
        Its first level gives the order; later levels differ little from it.
    """

    def __init__(self, seepage: Seepage) -> None:
        self.order: Ints = np.argsort(-seepage.w[0], kind="stable").astype(np.int32)
        self._place = np.empty_like(self.order)
        self._place[self.order] = np.arange(self.order.size, dtype=np.int32)

    def back(self, values: Floats) -> Floats:
        """Return per-cell values (N, ...) in the cloth's own numbering."""
        return np.asarray(values[self._place])

    def ahead(self, values: Floats) -> Floats:
        """Return per-cell values (N, ...) in the order of the sweep."""
        return np.asarray(values[self.order])

    def cloth(self, cloth: Cloth) -> Cloth:
        """Renumber what the march needs of the cloth; panels keep the old numbers."""
        by = self.order
        return replace(
            cloth,
            fabric=_fabric(cloth.fabric, by),
            panel=cloth.panel[by],
            row=cloth.row[by],
            col=cloth.col[by],
            x=cloth.x[by],
            y=cloth.y[by],
            thickness=cloth.thickness[by],
            mass_per_area=cloth.mass_per_area[by],
            dyeable=cloth.dyeable[by],
            zone=cloth.zone[by],
            wets=cloth.wets[by] if cloth.wets.size else cloth.wets,
            edges=self._place[cloth.edges],
            seams=self._place[cloth.seams],
        )

    def bundle(self, bundle: Bundle) -> Bundle:
        """Renumber what the march needs of the bundle."""
        by = self.order
        return replace(
            bundle,
            contacts=self._place[bundle.contacts],
            film=self._place[bundle.film],
            exposed=bundle.exposed[by],
            upward=bundle.upward[by],
            downward=None if bundle.downward is None else bundle.downward[by],
            covered=bundle.covered[by],
            along=bundle.along[by],
            across=bundle.across[by],
            height=bundle.height[by],
            depth=bundle.depth[by],
            layers=bundle.layers[by],
            pressure=bundle.pressure[by],
            solid=bundle.solid[by],
            thickness=bundle.thickness[by],
        )

    def network(self, net: Network) -> Network:
        """Renumber the edges and bounds."""
        by = self.order
        return replace(
            net, pairs=self._place[net.pairs], bound=net.bound[by], outside=net.outside[by]
        )

    def seepage(self, seepage: Seepage) -> Seepage:
        """Renumber the flows."""
        by = self.order
        return replace(seepage, w=seepage.w[:, by], melt=seepage.melt[by])

    def laid(self, laid: Laid) -> Laid:
        """Renumber the powder."""
        by = self.order
        over = tuple((share[by], masses) for share, masses in laid.over)
        return replace(laid, under=laid.under[by], over=over)

    def dye(self, fixed: FixedDye) -> FixedDye:
        """Renumber what earlier rounds left."""
        return replace(fixed, amount=fixed.amount[self.order])
