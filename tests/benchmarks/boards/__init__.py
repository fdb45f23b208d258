"""Boards whose truth comes from ngspice and from rules of their stages, and hunts on them.

``drawn_chip`` reads a chip file, ``faults`` says what may fail, ``circuit`` writes the netlist,
``board`` solves it, ``bench`` reads a board with a technician's instruments, ``hunt`` asks
the command for the next reading, ``report`` counts. Nothing here looks into the program's fault
finding: only its grammar of quantities and the installed command are used.
"""
