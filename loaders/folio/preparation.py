"""Prepare all chips of a build: from the cache where possible, else in worker processes."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import chain
from pathlib import Path
from typing import Final

from ..chip_files.chip_stream import InvalidRecord, Record
from ..system.parallel import WorkersLostError, choose_process_count, map_in_order
from .chip_cache import ChipCache, open_chip_cache
from .folio_file import FolioError
from .prepared_chip import PreparedChip, prepare

# Worker processes take as long to start as a hundred chip files, or four hundred lines of JSON,
# take to validate: some eight milliseconds for a file of forty pins, two for a line.
_ENOUGH: Final = 400
_FILE_WEIGHT, _LINE_WEIGHT = 4, 1
_MOST_HELD: Final = 1_000

LookedUp = Record | PreparedChip | InvalidRecord
Outcome = PreparedChip | InvalidRecord


def prepare_records(
    records: Iterable[Record | InvalidRecord],
    cache: Path | None = None,
    processes: int | None = None,
) -> Iterator[Outcome]:
    """Yield each record prepared, in order; the outcome never depends on cache or processes.

    Raises FolioError when a worker process is killed.
    """
    with open_chip_cache(cache) as known_chips:
        looked_up = (_look_up(record, known_chips) for record in records)
        for item, outcome in _map(looked_up, processes):
            # Lines of JSON are not remembered: validating one takes no longer than a look-up.
            if isinstance(item, Record) and isinstance(outcome, PreparedChip) and not item.line:
                known_chips.remember(item, outcome)
            yield outcome


def _look_up(record: Record | InvalidRecord, known_chips: ChipCache) -> LookedUp:
    # Validating a line of JSON takes no longer than looking it up.
    if isinstance(record, Record) and not record.line:
        return known_chips.find(record) or record
    return record


def _is_finished(item: LookedUp) -> bool:
    return not isinstance(item, Record)


def _finish(item: LookedUp) -> Outcome:
    return prepare(item) if isinstance(item, Record) else item


def _map(items: Iterator[LookedUp], processes: int | None) -> Iterator[tuple[LookedUp, Outcome]]:
    """Yield each item with its outcome, in order.

    The work is done in this process until enough items wait for worker processes to pay off.
    """
    if processes is None:
        processes = choose_process_count()
    waiting: list[LookedUp] = []
    waiting_weight = 0
    for item in items:
        waiting.append(item)
        if isinstance(item, Record):
            waiting_weight += _LINE_WEIGHT if item.line else _FILE_WEIGHT
        if waiting_weight >= _ENOUGH and processes > 1:
            yield from _map_in_workers(chain(waiting, items), processes)
            return
        # Items that need no work must not wait, and a long row of them would fill memory.
        if not waiting_weight or processes == 1 or len(waiting) >= _MOST_HELD:
            yield from map_in_order(_finish, waiting, 1)
            waiting, waiting_weight = [], 0
    yield from map_in_order(_finish, waiting, 1)


def _map_in_workers(
    items: Iterator[LookedUp], processes: int
) -> Iterator[tuple[LookedUp, Outcome]]:
    try:
        yield from map_in_order(_finish, items, processes, _is_finished)
    except WorkersLostError as error:
        message = f"{error}, or use a single process: pinfolio build --processes 1"
        raise FolioError(message) from None
