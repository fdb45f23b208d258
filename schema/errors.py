"""The errors that pinfolio raises on purpose, as one tree, each with its exit status.

    PinfolioError                       2
    ├── Unknown (LookupError)           1  the thing asked for is not there
    │   ├── UnknownPin                     schema/chips/lookup.py
    │   ├── UnknownCondition               schema/chips/lookup.py
    │   ├── UnknownInstrument              schema/instruments/models.py
    │   ├── UnknownPart                    loaders/folio/folio.py
    │   ├── UnknownSymptom                 plugins/diagnosis/symptoms/catalogue.py
    │   ├── UnknownSuspect                 plugins/diagnosis/answers/what_if.py
    │   ├── NoExpectation                  plugins/readings/checks.py
    │   ├── NoSuchLine                     plugins/readings/video/line_grid.py
    │   ├── NoSuchNote                     plugins/notes/revisions.py
    │   ├── NotRevisable                   plugins/notes/revisions.py
    │   ├── UnknownRule                    plugins/contributing/rule_book.py
    │   ├── UnknownDocument                plugins/documents/published_schemas.py
    │   └── CannotPropose                  plugins/contributing/correction.py
    ├── Unusable (ValueError)           2  the input cannot be understood
    │   ├── QuantityError                  schema/quantities/errors.py
    │   ├── BadReading                     schema/reading.py
    │   ├── ChipRuleError                  schema/chip.py
    │   ├── PartError                      loaders/chip_files/part_name.py
    │   ├── UnknownColumnError             loaders/drafting/column_headings.py
    │   ├── UnknownChannel                 loaders/captures/capture.py
    │   ├── AttachmentError                loaders/shop/attachment_check.py
    │   ├── BadForm                        plugins/notes/note_form.py
    │   ├── UnclearColumns                 plugins/notes/note_columns.py
    │   ├── NotAChip                       plugins/contributing/new_chip.py
    │   ├── CannotBegin                    plugins/contributing/begun_chip.py
    │   ├── CannotDraft                    plugins/contributing/drafting.py
    │   ├── CannotDraftInto                plugins/contributing/draft_into_chip.py
    │   ├── CannotTake                     plugins/contributing/measured_pins.py
    │   ├── CannotVerify                   loaders/verifying/verification.py
    │   └── CannotSubstitute               plugins/diagnosis/substitution/candidates.py
    ├── InvalidFileError                2  a file that people write has faults, each with its line
    │   ├── ChipFileError                  loaders/errors.py
    │   ├── DraftError                     loaders/drafting/text_table.py
    │   │   └── ScanError                  loaders/drafting/data_sheet_pdf.py
    │   ├── NoteTableError                 loaders/note_tables/note_table.py
    │   ├── FigureError                    loaders/captures/figure_points.py
    │   ├── CaptureError                   loaders/captures/capture.py
    │   ├── NoteFileError                  loaders/shop/note_files.py
    │   ├── NoteLinesError                 loaders/shop/note_lines.py
    │   ├── InstrumentsFileError           loaders/shop/instruments_file.py
    │   ├── OddsFileError                  loaders/shop/odds_file.py
    │   ├── ReadingsError                  plugins/readings/reading_list.py
    │   └── JobFileError                   plugins/diagnosis/answers/job_file.py
    ├── FolioError                      2  loaders/folio/folio_file.py
    ├── ShopError                       2  loaders/shop/shop_folder.py
    ├── BackupError                     2  loaders/keys/key_backup.py
    ├── BundleError                     2  loaders/shop/bundle_reading.py
    ├── MergeError                      2  loaders/shop/merging.py
    │   └── OlderBundle                    loaders/shop/merging.py
    ├── PublishError                    2  loaders/publishing/published_folder.py
    ├── ManifestError                   2  loaders/publishing/manifest.py
    ├── TableError                      2  loaders/publishing/readings_table.py
    ├── SourceError                     2  loaders/publishing/download_source.py
    │   ├── ConnectionLostError            loaders/publishing/download_source.py
    │   ├── SlowSourceError                loaders/publishing/download_source.py
    │   └── MissingFileError               loaders/publishing/download_source.py
    ├── ScopeLinkError                  2  loaders/captures/scope_link.py
    ├── FetchError                      2  loaders/publishing/fetching.py
    ├── WrongPieceError                 2  loaders/publishing/partial_download.py
    ├── FetchInProgressError            2  loaders/publishing/partial_download.py
    ├── WorkersLostError                2  loaders/system/parallel.py
    └── CannotListen                    2  plugins/web/serving/server.py

Each message is one sentence: the culprit first, the remedy last. The command line prints it and
exits with the status of its class: 1 when the answer is no, 2 when the input cannot be used.
"""

from __future__ import annotations


class PinfolioError(Exception):
    """Base of every error that is raised on purpose; its message is fit to be shown."""

    exit_status = 2


class Unknown(PinfolioError, LookupError):  # noqa: N818  raised as the answer "no such thing"
    """The thing asked for is not there; the message lists the choices, or the nearest."""

    exit_status = 1


class Unusable(PinfolioError, ValueError):  # noqa: N818  raised as the answer "not like this"
    """The input cannot be used; the message names the input and the form expected."""
