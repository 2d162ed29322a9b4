"""What a plan will do, step by step, and what the trade would warn of before it is done."""

from meltwick.advice.steps import describe
from meltwick.advice.warnings import Advice, advise

__all__ = ["Advice", "advise", "describe"]
