"""Captures made from the numbers of the standards, to judge how captures are measured.

Nothing here uses the waveforms of the package or its measurements. ``standards`` holds the numbers,
``composite``, ``pulses`` and ``instrument`` make samples, ``places`` names pins of the
demonstration with their good signals, ``defects`` and ``pulse_defects`` spoil them, ``judging``
asks the package and counts.
"""
