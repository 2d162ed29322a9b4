"""See an ice-dyed garment, and how much of it stays white, before any dye is spent."""

__version__ = "0.1.0"
