"""Pictures of a result."""

from meltwick.picture.hands import draw_hands, hands_png
from meltwick.picture.preview import draw_preview, preview_png

__all__ = ["draw_hands", "draw_preview", "hands_png", "preview_png"]
