"""Photographs of cloth: read from a file, and measured."""

from meltwick.photo.reading import Photo, read_photo

__all__ = ["Photo", "read_photo"]
