"""The board: one behavioural model of a chip and the circuit around it.

Read in this order: ``topology`` (connections), ``elements`` and ``devices`` (parts),
``sources`` and ``good_board`` (calibrated to the catalogue), ``hypotheses`` (possible faults),
``network`` and ``operating_point`` (voltages of many boards at once), ``senders``, ``paths``,
``links`` and ``tuner`` (the way of signals), ``stages`` with ``kinds`` (how the chip changes them),
``settling`` (all of it brought to rest), ``features`` (picture and sound), and ``simulate``, which
gives a ``cloud`` of it. Beside that ``set_off`` (resistances) and ``drawn_board`` (for lint).
"""
