"""Common causes of a verdict, by the role of the pin. All of it is common practice.

Each entry lists two or three causes, most likely first; no reading alone proves one.
"""

from __future__ import annotations

from typing import Final

Causes = tuple[str, ...]

# By role of the pin, then by verdict; "any" is for roles without a line of their own.
_CAUSES: Final[dict[str, dict[str, Causes]]] = {
    "supply": {
        "missing": ("open feed resistor or fuse", "the regulator", "a short that pulls it down"),
        "too low": ("the regulator", "a leaky decoupling capacitor", "a stage that draws too much"),
        "too high": ("the regulator", "a dry joint at the regulator's ground"),
        "distorted": ("a dried-out reservoir or decoupling electrolytic",),
    },
    "ground": {
        "too high": ("a dry joint at the ground pin", "a cracked ground track"),
    },
    "input": {
        "missing": ("the stage before it", "an open coupling capacitor", "a dry joint"),
        "too low": ("the stage before it", "a coupling capacitor that has lost value or leaks"),
        "too high": ("a missing termination", "a leaky coupling capacitor"),
        "distorted": ("the stage before it", "a leaky coupling capacitor that shifts the bias"),
    },
    "output": {
        "missing": (
            "no input or no supply to this stage",
            "a short on the line after it",
            "the chip",
        ),
        "too low": ("its load: try with the line lifted", "its input", "its supply"),
        "too high": ("an open load or pull-down resistor", "its control voltage"),
        "distorted": ("wrong bias at its input", "low supply", "a leaky part on the line after it"),
    },
    "control": {
        "missing": ("the control line from the processor or potentiometer", "a leaky capacitor"),
        "too low": ("a leaky capacitor to ground", "the control line"),
        "too high": ("an open resistor to ground", "the control line"),
    },
    "oscillator": {
        "missing": ("the crystal or resonator", "a leaky or open timing capacitor", "no supply"),
        "too low": ("a leaky timing capacitor", "the probe itself: use x10", "a tired crystal"),
        "off frequency": (
            "the timing capacitor or resistor, or the resonator",
            "the control voltage that steers it",
            "the probe itself: use x10",
        ),
    },
    "filter": {
        "missing": ("a shorted filter capacitor", "the detector before it has no input"),
        "too low": ("a leaky filter capacitor", "the detector before it has no signal"),
        "too high": ("an open filter resistor", "the loop is out of lock and at its end"),
        "distorted": ("a dried-out filter electrolytic",),
        "unstable": ("a dried-out filter electrolytic", "a dry joint at the filter"),
    },
    "decoupling": {
        "missing": ("a shorted decoupling capacitor",),
        "too low": ("a leaky decoupling capacitor",),
        "too high": ("the chip",),
        "distorted": ("a dried-out decoupling electrolytic",),
    },
    "bus": {
        "missing": ("no pull-up, or its supply missing", "a device that holds the line down"),
        "too low": ("a device that holds the line down", "the pull-up resistor drifted up"),
    },
    "any": {
        "missing": ("no supply to the stage", "a dry joint", "a short to ground"),
        "too low": ("a leaky capacitor on this pin", "low supply", "the stage before it"),
        "too high": ("an open resistor on this pin", "the supply"),
        "off frequency": ("the oscillator it comes from",),
        "unstable": ("a dry joint", "a dried-out electrolytic", "no lock"),
        "distorted": ("the stage before it", "wrong bias", "low supply"),
    },
}


def list_likely_causes(role: str, verdict: str) -> Causes:
    """Return common causes of a verdict on a pin of this role; empty for a pin as expected."""
    return _CAUSES.get(role, {}).get(verdict) or _CAUSES["any"].get(verdict, ())
