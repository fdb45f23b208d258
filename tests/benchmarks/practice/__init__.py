"""Boards to practise on: faults whose truth was written without sight of the fault finding.

Unlike the judges' boards these may be looked at one by one and tuned on. Each chip has a module
with its electrics, the rules of its stages and `simulate`, and one with its faults. The rules come
from the chip's own file and from common practice of the trade, and say so where they are a choice.
"""
