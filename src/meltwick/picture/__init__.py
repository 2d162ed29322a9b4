"""Pictures of a result."""

from meltwick.picture.preview import draw_preview, preview_png

__all__ = ["draw_preview", "preview_png"]
