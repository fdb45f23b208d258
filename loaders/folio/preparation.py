"""All chips of a build made ready: from the cache where they are known, else on the processors."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import partial
from itertools import chain
from pathlib import Path
from typing import Final

from ..chip_files.chip_stream import Record, Refused
from ..system.parallel import WorkersLostError, default_processes, map_in_order
from .chip_cache import ChipCache, open_chip_cache
from .folio_file import FolioError
from .prepared_chip import Extra, Prepared, prepare

# From so much work on several processes pay: less is done before they have started. A chip file
# of forty pins takes some eight milliseconds to read, a line of JSON two.
_ENOUGH: Final = 400
_CHIP_FILE, _LINE = 4, 1
_MOST_HELD: Final = 1_000

Found = Record | Prepared | Refused
Done = Prepared | Refused


def prepare_records(
    found: Iterable[Record | Refused],
    extra: Extra | None = None,
    cache: Path | None = None,
    processes: int | None = None,
) -> Iterator[Done]:
    """Each record made ready, in order; the same whatever the cache and the processes.

    Raises FolioError when one of several processes is killed.
    """
    with open_chip_cache(cache, extra) as known:
        looked_up = (_look_up(record, known) for record in found)
        for record, done in _worked(partial(_ready, extra), looked_up, processes):
            if isinstance(record, Record) and isinstance(done, Prepared) and not record.line:
                known.keep(record, done)
            yield done


def _look_up(record: Record | Refused, known: ChipCache) -> Found:
    if isinstance(record, Record) and not record.line:
        return known.find(record) or record
    return record


def _is_known(found: Found) -> bool:
    return not isinstance(found, Record)


def _ready(extra: Extra | None, found: Found) -> Done:
    return prepare(found, extra) if isinstance(found, Record) else found


def _worked(
    work: partial[Done], looked_up: Iterator[Found], processes: int | None
) -> Iterator[tuple[Found, Done]]:
    """Work in this process until so much waits that others pay."""
    if processes is None:
        processes = default_processes()
    if processes == 1:
        yield from map_in_order(work, looked_up, 1)
        return
    waiting: list[Found] = []
    size = 0
    for found in looked_up:
        waiting.append(found)
        if isinstance(found, Record):
            size += _LINE if found.line else _CHIP_FILE
        if size >= _ENOUGH:
            yield from _shared(work, chain(waiting, looked_up), processes)
            return
        if not size or len(waiting) >= _MOST_HELD:
            yield from map_in_order(work, waiting, 1)
            waiting, size = [], 0
    yield from map_in_order(work, waiting, 1)


def _shared(
    work: partial[Done], items: Iterator[Found], processes: int
) -> Iterator[tuple[Found, Done]]:
    try:
        yield from map_in_order(work, items, processes, _is_known)
    except WorkersLostError as lost:
        raise FolioError(f"{lost}, or with less at once: pinfolio build --processes 1") from None
