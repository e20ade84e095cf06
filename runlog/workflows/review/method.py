"""How the figures of a review come about, with sources, and the cautions that always go with them."""

from __future__ import annotations

from typing import Final

from runlog.constants import REFERENCE_NAME

METHOD: Final = (
    (
        "Measured and corrected",
        "Measured figures are those of the timing slip. Corrected ones say what the same run would have taken in the "
        f"reference air ({REFERENCE_NAME}), by the car's own model of traction, power and drag. Both are always shown.",
        "ISO 2533:1975 standard atmosphere; CIPM-2007 equation for the density of moist air; SAE J1349 for the form "
        "of the power correction",
    ),
    (
        "What a change did",
        "All runs of the car are weighed together: setup, air, lane, drift within the day and differences between "
        "days. A run that something spoiled counts for what it still tells. Each figure has a 90 % interval: nine in "
        "ten such intervals should hold the true value. Whatever the runs can't tell is called that.",
        "Bayesian linear regression (Gelman and others, Bayesian Data Analysis, 3rd ed., chapter 14), with a stated "
        "expectation of each change before any run",
    ),
    (
        "Helped, hurt, no difference",
        "Said only where the sign is at least 95 % sure and the difference is likelier than not to matter, or where it "
        "is at least 80 % sure that it doesn't matter. Never from an expectation alone.",
        "the program's own rule, stated here so that it can be judged",
    ),
    (
        "Repeatability",
        "Standard deviation of clean runs of one setup on one day, with its interval.",
        "NIST/SEMATECH e-Handbook of Statistical Methods, section 7.2.3 (chi-square interval)",
    ),
    (
        "Along the track",
        "Speed and distance from driveshaft speed and acceleration, tied to the slip's beam times. Measured, not "
        "corrected for the air. Shown only as far as the car pulled.",
        "Kalman filter and Rauch–Tung–Striebel smoother (Rauch, Tung and Striebel, AIAA Journal 3, 1965)",
    ),
    (
        "Weights and links",
        "Scale readings of the setup sheet, ballast moved since then added; instant centre and anti-squat from the "
        "holes in use and the height of the centre of gravity in the car file.",
        "terms of SAE J670; plane statics",
    ),
)
"""(title, what is done, source)"""

CAUTIONS: Final = (
    "Straight-line racing can kill. Everything here is a measurement or an estimate with its doubt, never permission.",
    "The sanctioning body's rules, licensed technical inspection and the makers' limits always win.",
    "After any change that can make the front rise (launch rpm, link holes, shocks, ballast, wheelie bars): a short "
    "hit first.",
    "Never below the tyre maker's minimum pressure, never past a limit of engine, driveshaft or tyre speed.",
    "“No limit passed” speaks only of the channels that were logged. It never means that a car is fine.",
)
