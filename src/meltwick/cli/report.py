"""A result as JSON, in the format that scripts may rely on (schema 1)."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from meltwick.journal.profiles import Profile
    from meltwick.study import Spread
    from meltwick.types import Balance, Result, RoundReport, Shares

SCHEMA = 1
_DIGITS = 6  # of a share: far below what the model can tell, and stable to read


def _share(value: float) -> float:
    return round(float(value), _DIGITS)


def _shares(values: Mapping[str, float]) -> dict[str, float]:
    return {key: _share(value) for key, value in values.items()}


def _balance(balance: Balance) -> dict[str, float]:
    kept = ("laid", "fixed", "hydrolysed", "ran_off", "drained", "washed_out", "undissolved")
    # rounded to a picogram first, so that what is left of a difference does not read as -1e-17
    parts = {key: round(getattr(balance, key) * 1e3, 12) + 0.0 for key in kept}
    grams = {f"{key}_g": float(f"{value:.9g}") for key, value in parts.items()}
    return grams | {"relative_error": float(f"{balance.relative_error:.3g}")}


def _round(turn: RoundReport) -> dict[str, Any]:
    from meltwick.shares import dyed_to_white

    white = turn.shares["white"]
    return {
        "white_share": _share(white),
        "dyed_to_white": dyed_to_white(white),
        "shares": _shares(turn.shares),
        "layers_mean": _share(turn.layers_mean),
        "exposed_share": _share(turn.exposed_share),
        "melt_hours": _share(turn.melt_hours),
        "ran_off_share": _share(turn.ran_off_share),
        "melt_hours_90": _share(turn.melt_hours_90),
        "over_full_share": _share(turn.over_full_share),
        "balance": _balance(turn.balance),
    }


def _likeness(shares: Shares) -> dict[str, float | None]:
    front_back = shares.front_back_likeness
    return {
        "front_back": None if front_back is None else _share(front_back),
        "left_right": _share(shares.left_right_likeness),
    }


def _hands(result: Result, spread: Spread | None, profile: Profile | None) -> dict[str, Any]:
    """White share of every hand, and what they say together; of one hand alone, no spread."""
    from meltwick.study import widened

    one = result.white_share
    low, high = (one, one) if spread is None else (spread.low, spread.high)
    each = [(result.seed, one)] if spread is None else zip(spread.seeds, spread.white, strict=True)
    return {
        "hands": 1 if spread is None else spread.hands,
        "white_median": None if spread is None else _share(spread.median),
        "white_range": None if spread is None else [_share(low), _share(high)],
        "white_range_with_doubt": [_share(end) for end in widened(low, high, result.fold, profile)],
        "white_by_hand": [{"seed": seed, "white_share": _share(white)} for seed, white in each],
    }


def _profile(profile: Profile | None) -> dict[str, Any] | None:
    """Say what the prediction owes to the maker's own pieces."""
    if profile is None:
        return None
    return {
        "name": profile.name,
        "model": profile.model,
        "pieces": len(profile.pieces),
        "error_before": _share(profile.before),
        "error_after": _share(profile.after),
        "constants": {key: float(f"{value:.9g}") for key, value in profile.values.items()},
    }


def beside_file(number: int, result: Result) -> str:
    """Name the picture of a piece that shared the tray, counted from 1."""
    return f"preview-{number}-{result.plan}.png"


def _beside(result: Result) -> dict[str, Any]:
    """Pieces that shared the tray; nothing where there are none."""
    found = [
        {
            "plan": piece.plan,
            "white_share": _share(piece.white_share),
            "shares": _shares(piece.shares.whole),
            "preview": beside_file(number, piece),
        }
        for number, piece in enumerate(result.beside, start=1)
    ]
    return {"beside": found} if found else {}


def report(
    result: Result,
    version: str,
    seconds: Mapping[str, float],
    spread: Spread | None = None,
    files: Mapping[str, str] | None = None,
    profile: Profile | None = None,
) -> dict[str, Any]:
    """Build the record that ``result.json`` holds.

    Parameters
    ----------
    result : Result
        What a simulation gave.
    version : str
        The program's.
    seconds : mapping
        Seconds of each stage; the only part that differs between runs of one plan.
    spread : Spread, optional
        What several hands gave, the result's among them.
    files : mapping, optional
        Pictures by what they show; the preview alone by default.
    profile : Profile, optional
        What the maker's own pieces taught, if it was used.
    """
    from meltwick.shares import dyed_to_white

    return {
        "schema": SCHEMA,
        "plan": result.plan,
        "version": version,
        "digest": result.digest,
        "pitch_mm": round(result.detail_pitch * 1e3, 6),
        "cells": result.cloth.size,
        "seed": result.seed,
        "white_share": _share(result.white_share),
        "white_at": _shares(result.shares.white_at),
        **_hands(result, spread, profile),
        "profile": _profile(profile),
        "dyed_to_white": dyed_to_white(result.white_share),
        "shares": _shares(result.shares.whole),
        "panels": {name: _shares(part) for name, part in result.shares.panels.items()},
        "zones": {name: _shares(part) for name, part in result.shares.zones.items()},
        "likeness": _likeness(result.shares),
        "rounds": [_round(turn) for turn in result.rounds],
        **_beside(result),
        "seconds": {key: round(value, 3) for key, value in seconds.items()},
        "files": dict(files or {"preview": "preview.png"}),
    }


def as_text(record: Mapping[str, Any]) -> str:
    """Write a record as JSON text; a number that is not finite raises ValueError."""
    return json.dumps(record, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
