"""Foreign boards: invented chips whose truth is written without sight of the fault finding.

``chips`` holds the chip files as a contributor writes them from a data sheet; beside them are the
electrics and stage rules of each chip, from knowledge of the trade, and the lists of its faults.
"""
