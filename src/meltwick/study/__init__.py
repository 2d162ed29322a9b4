"""Studies of a plan: the same piece made by several hands, and the model's own doubt."""

from meltwick.study.doubt import doubt_for, model_doubt, widened
from meltwick.study.hands import Spread, hand_seeds, run_hands

__all__ = ["Spread", "doubt_for", "hand_seeds", "model_doubt", "run_hands", "widened"]
