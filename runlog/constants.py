"""Physical and trade constants, each once, with its source."""

from __future__ import annotations

from typing import Final

STANDARD_GRAVITY: Final = 9.80665
"""[m/s²] ISO 80000-3; ISO 2533:1975 table 1."""

FOOT: Final = 0.3048
"""[m] exact, international yard and pound agreement of 1959."""

POUND: Final = 0.45359237
"""[kg] exact, international yard and pound agreement of 1959."""

MILE_PER_HOUR: Final = 0.44704
"""[m/s] exact: 1609.344 m / 3600 s."""

SPLIT_DISTANCES_FT: Final = (60, 330, 660, 1000, 1320)
"""[ft] where a slip gives times. Common practice, no source; matches the slip's columns."""

SPEED_DISTANCES_FT: Final = (660, 1320)
"""[ft] where a slip gives trap speeds. Common practice, no source."""

SPEED_TRAP_LENGTH_FT: Final = 66
"""[ft] a trap speed is the average over this much before its beam. Common practice, no source."""

INCREMENTS_FT: Final = tuple(zip((0, *SPLIT_DISTANCES_FT[:-1]), SPLIT_DISTANCES_FT, strict=True))
"""[ft] (from, to) of neighbouring splits."""

REFERENCE_NAME: Final = "ISO 2533 sea level: 15 °C, 1013.25 hPa, dry, still air"
"""The air that everything is corrected to, in words, to be shown beside every corrected figure."""

DEFAULT_ROLLOUT: Final = 0.2286
"""[m] 9 in from rest to where the clock starts, where no track file tells. Common practice, no source"""
