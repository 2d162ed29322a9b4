"""Folds and ties become a bundle: who touches whom, what lies outside, how hard it is pressed."""

from meltwick.bundle.build import build_bundle, fold, middle_of

__all__ = ["build_bundle", "fold", "middle_of"]
