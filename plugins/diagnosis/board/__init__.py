"""The board: one behavioural model of a chip and what is around it.

Read in this order: ``topology`` (what hangs together), ``elements`` and ``devices`` (parts),
``sources`` and ``good_board`` (calibrated to the catalogue), ``hypotheses`` (what may be wrong),
``network`` and ``operating_point`` (voltages of many boards at once), ``senders``, ``paths`` and
``links`` (how signals get on), ``stages`` with ``kinds`` (what the chip makes of them),
``settling`` (all of it brought to rest), ``features`` (what the set shows), and ``simulate``, which
gives a ``cloud`` of it. Beside that ``set_off`` (resistances) and ``drawn_board`` (for lint).
"""
