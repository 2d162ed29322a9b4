"""Pictures of a result."""

from meltwick.picture.hands import draw_hands, hands_png
from meltwick.picture.preview import draw_preview, preview_png
from meltwick.picture.rounds import draw_rounds, rounds_png

__all__ = ["draw_hands", "draw_preview", "draw_rounds", "hands_png", "preview_png", "rounds_png"]
