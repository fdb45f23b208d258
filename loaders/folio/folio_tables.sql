-- The tables of a folio. Numbers are in the unit their column's name ends in.
-- `chip_document` is the whole chip, and what models are read back from; every other table says
-- the same again in columns, for asking and browsing. A column `chip` holds a part number. Three
-- values a pin are what a folio mostly consists of: equal ones are kept once, in `level`, `signal`
-- and `resistance`, and the view `expectation` puts them together again.

CREATE TABLE folio (
  id INTEGER PRIMARY KEY CHECK (id = 1),
  built TEXT NOT NULL,                    -- date and time, UTC
  schema_version INTEGER NOT NULL,
  chips INTEGER NOT NULL,
  pins INTEGER NOT NULL,
  notes INTEGER NOT NULL,
  digest TEXT NOT NULL CHECK (length(digest) = 64),
  all_invented INTEGER NOT NULL CHECK (all_invented IN (0, 1))
) STRICT;

CREATE TABLE chip (
  part TEXT NOT NULL PRIMARY KEY,
  part_key TEXT NOT NULL CHECK (part_key <> ''),
  maker TEXT NOT NULL,
  kind TEXT NOT NULL,
  summary TEXT NOT NULL,
  invented INTEGER NOT NULL CHECK (invented IN (0, 1)),
  package TEXT NOT NULL,
  family TEXT NOT NULL,
  pin_count INTEGER NOT NULL CHECK (pin_count > 0),
  markings TEXT NOT NULL                  -- the other markings, for word search
) STRICT;

-- The chip as JSON, packed by zlib; see loaders/folio_document.py.
CREATE TABLE chip_document (
  chip TEXT NOT NULL PRIMARY KEY REFERENCES chip (part),
  zlib BLOB NOT NULL
) STRICT;

-- Everything that may be printed on a package: the part number and the other markings.
CREATE TABLE marking (
  chip TEXT NOT NULL REFERENCES chip (part),
  text TEXT NOT NULL,
  key TEXT NOT NULL CHECK (key <> ''),
  PRIMARY KEY (chip, text)
) STRICT, WITHOUT ROWID;

CREATE TABLE relation (
  chip TEXT NOT NULL REFERENCES chip (part),
  relation TEXT NOT NULL CHECK (relation IN ('replaces', 'similar')),
  part TEXT NOT NULL,                     -- may be a chip that this folio does not hold
  note TEXT
) STRICT;

CREATE TABLE chip_system (
  chip TEXT NOT NULL REFERENCES chip (part),
  system TEXT NOT NULL
) STRICT;

CREATE TABLE supply (
  chip TEXT NOT NULL REFERENCES chip (part),
  name TEXT NOT NULL,
  pins TEXT NOT NULL,
  typ_v REAL NOT NULL,
  min_v REAL,
  max_v REAL,
  current_a REAL
) STRICT;

CREATE TABLE source (
  chip TEXT NOT NULL REFERENCES chip (part),
  number INTEGER NOT NULL,                -- place in the chip, from 0
  id TEXT NOT NULL,
  kind TEXT NOT NULL,
  title TEXT NOT NULL,
  revision TEXT,
  date TEXT,
  PRIMARY KEY (chip, number)
) STRICT, WITHOUT ROWID;

-- States of the set that expectations hold in; chips that say the same share one row.
CREATE TABLE condition (
  id INTEGER PRIMARY KEY,
  name TEXT NOT NULL,
  means TEXT NOT NULL
) STRICT;

-- The stages inside, and what their signals come from, go to and depend on: pins ('pin 9') and other
-- stages by their ids, divided by commas.
CREATE TABLE block (
  key INTEGER PRIMARY KEY,
  chip TEXT NOT NULL REFERENCES chip (part),
  id TEXT NOT NULL,
  name TEXT NOT NULL,
  inputs TEXT NOT NULL,
  outputs TEXT NOT NULL,
  needs TEXT NOT NULL
) STRICT;

-- The parts around the chip; of the five value columns the one that fits the part is filled.
CREATE TABLE part (
  chip TEXT NOT NULL REFERENCES chip (part),
  ref TEXT NOT NULL,
  kind TEXT NOT NULL,
  value TEXT,                             -- as marked or written
  resistance_ohm REAL,
  capacitance_f REAL,
  inductance_h REAL,
  frequency_hz REAL,
  delay_s REAL,
  zener_v REAL,
  tolerance_percent REAL,
  rating_v REAL,
  dielectric TEXT,
  purpose TEXT,
  why TEXT,
  PRIMARY KEY (chip, ref)
) STRICT;

CREATE TABLE part_end (
  chip TEXT NOT NULL,
  ref TEXT NOT NULL,
  position INTEGER NOT NULL,              -- 1 is the positive lead of a polarised part
  endpoint TEXT NOT NULL,
  FOREIGN KEY (chip, ref) REFERENCES part (chip, ref)
) STRICT;

CREATE TABLE node (
  chip TEXT NOT NULL REFERENCES chip (part),
  id TEXT NOT NULL,
  name TEXT NOT NULL,
  PRIMARY KEY (chip, id)
) STRICT;

-- Characteristics from data sheets that are no readings: levels of waveforms, thresholds, currents.
CREATE TABLE parameter (
  chip TEXT NOT NULL REFERENCES chip (part),
  number INTEGER NOT NULL,                -- place in the chip, from 0
  name TEXT NOT NULL,
  symbol TEXT,
  pins TEXT,                              -- divided by commas; empty: of a supply, or of the chip
  supply TEXT,
  min REAL,                               -- in `unit`, without prefix
  typ REAL,
  max REAL,
  unit TEXT NOT NULL,
  test_condition TEXT,
  note TEXT,
  source TEXT NOT NULL,
  page INTEGER,
  place TEXT,                             -- where on the page: a row
  PRIMARY KEY (chip, number)
) STRICT, WITHOUT ROWID;

CREATE TABLE hazard (
  chip TEXT NOT NULL REFERENCES chip (part),
  kind TEXT NOT NULL,
  endpoint TEXT,                          -- empty: everywhere in the set
  caution TEXT NOT NULL,
  probe INTEGER NOT NULL CHECK (probe IN (0, 1))
) STRICT;

CREATE TABLE pin (
  id INTEGER PRIMARY KEY,
  chip TEXT NOT NULL REFERENCES chip (part),
  number INTEGER NOT NULL CHECK (number > 0),
  symbol TEXT NOT NULL,
  function TEXT NOT NULL,
  role TEXT NOT NULL,
  absolute_maximum_v REAL,
  resistance_ohm REAL,
  capacitance_f REAL,
  blocks TEXT NOT NULL                    -- names of the stages the pin's signal enters or leaves
) STRICT;

-- What a meter should read; of every DC that pins share one row.
CREATE TABLE level (
  id INTEGER PRIMARY KEY,
  typ_v REAL NOT NULL,
  min_v REAL NOT NULL,
  max_v REAL NOT NULL,
  stated INTEGER NOT NULL CHECK (stated IN (0, 1)),  -- 0: the limits are assumed
  CHECK (min_v <= max_v)
) STRICT;

-- What an oscilloscope should show; of every signal that pins share one row.
CREATE TABLE signal (
  id INTEGER PRIMARY KEY,
  kind TEXT NOT NULL,
  vpp_v REAL NOT NULL,
  frequency_hz REAL NOT NULL,
  mean_v REAL                             -- empty: it sits on the DC
) STRICT;

-- What an ohmmeter should read to ground, either way round, with the set off.
CREATE TABLE resistance (
  id INTEGER PRIMARY KEY,
  red_on_pin_ohm REAL,
  black_on_pin_ohm REAL
) STRICT;

-- What each pin should show, by condition; `source` is the number of one of the chip's.
CREATE TABLE pin_expectation (
  pin INTEGER NOT NULL REFERENCES pin (id),
  condition INTEGER NOT NULL REFERENCES condition (id),
  dc INTEGER REFERENCES level (id),
  signal INTEGER REFERENCES signal (id),
  resistance INTEGER REFERENCES resistance (id),
  source INTEGER NOT NULL,
  page INTEGER,
  PRIMARY KEY (pin, condition)
) STRICT, WITHOUT ROWID;

CREATE TABLE node_expectation (
  chip TEXT NOT NULL,
  node TEXT NOT NULL,
  condition INTEGER NOT NULL REFERENCES condition (id),
  dc INTEGER REFERENCES level (id),
  signal INTEGER REFERENCES signal (id),
  resistance INTEGER REFERENCES resistance (id),
  source INTEGER NOT NULL,
  page INTEGER,
  PRIMARY KEY (chip, node, condition),
  FOREIGN KEY (chip, node) REFERENCES node (chip, id),
  FOREIGN KEY (chip, source) REFERENCES source (chip, number)
) STRICT, WITHOUT ROWID;

-- What every pin and node should show, in volts, hertz and words. Both halves join for themselves,
-- so that SQLite can begin to answer without having put all of it together.
CREATE VIEW expectation AS
SELECT
  pin.chip, pin.id AS pin, pin.number, pin.symbol, NULL AS node, condition.name AS condition,
  level.typ_v AS dc_typ_v, level.min_v AS dc_min_v, level.max_v AS dc_max_v,
  level.stated AS dc_stated,
  signal.kind AS waveform_kind, signal.vpp_v, signal.frequency_hz,
  CASE WHEN signal.id IS NOT NULL THEN coalesce(signal.mean_v, level.typ_v) END AS mean_v,
  red_on_pin_ohm, black_on_pin_ohm, source.id AS source, page
FROM pin_expectation AS shown
  JOIN pin ON pin.id = shown.pin
  JOIN condition ON condition.id = shown.condition
  LEFT JOIN level ON level.id = shown.dc
  LEFT JOIN signal ON signal.id = shown.signal
  LEFT JOIN resistance ON resistance.id = shown.resistance
  JOIN source ON source.chip = pin.chip AND source.number = shown.source
UNION ALL
SELECT
  shown.chip, NULL, NULL, NULL, shown.node, condition.name,
  level.typ_v, level.min_v, level.max_v,
  level.stated,
  signal.kind, signal.vpp_v, signal.frequency_hz,
  CASE WHEN signal.id IS NOT NULL THEN coalesce(signal.mean_v, level.typ_v) END,
  red_on_pin_ohm, black_on_pin_ohm, source.id, page
FROM node_expectation AS shown
  JOIN condition ON condition.id = shown.condition
  LEFT JOIN level ON level.id = shown.dc
  LEFT JOIN signal ON signal.id = shown.signal
  LEFT JOIN resistance ON resistance.id = shown.resistance
  JOIN source ON source.chip = shown.chip AND source.number = shown.source;

-- What shops saw: the newest revision of each note, several where it is in conflict; none of a note
-- that was taken back. `note.document` is the whole revision.
CREATE TABLE note (
  id INTEGER PRIMARY KEY,
  note TEXT NOT NULL,                     -- names the note through all its revisions
  digest TEXT NOT NULL UNIQUE,
  chip TEXT NOT NULL,                     -- may be a chip that this folio does not hold
  place TEXT NOT NULL,                    -- 'pin 17', the id of a node or block, or a part
  pin INTEGER REFERENCES pin (id),
  kind TEXT NOT NULL,
  shop TEXT NOT NULL,
  author TEXT NOT NULL,
  date TEXT NOT NULL,
  confidence TEXT NOT NULL CHECK (confidence IN ('once', 'several times', 'always')),
  sets INTEGER NOT NULL,
  chassis TEXT,
  condition TEXT,
  dc_v REAL,
  vpp_v REAL,
  frequency_hz REAL,
  resistance_ohm REAL,
  symptom TEXT,
  part TEXT,
  failure TEXT,
  cure TEXT,
  text TEXT,
  in_conflict INTEGER NOT NULL CHECK (in_conflict IN (0, 1)),
  document TEXT NOT NULL CHECK (json_valid(document))
) STRICT;

-- Edits of notes by other shops than their own, which neither took nor dismissed them. They are shown
-- beside the note and count as nothing. Folios of version 0.1 lack this table.
CREATE TABLE proposal (
  id INTEGER PRIMARY KEY,
  note TEXT NOT NULL,
  digest TEXT NOT NULL UNIQUE,
  shop TEXT NOT NULL,
  document TEXT NOT NULL CHECK (json_valid(document))
) STRICT;

-- Shops whose key nobody compared when the folio was built: all of them count as one shop. Folios of
-- version 0.1 lack this table.
CREATE TABLE uncompared_shop (
  shop TEXT NOT NULL PRIMARY KEY
) STRICT;

-- Captures and pictures that the notes name by their SHA-256, each once.
CREATE TABLE attachment (
  sha256 TEXT NOT NULL PRIMARY KEY CHECK (length(sha256) = 64),
  media TEXT NOT NULL CHECK (media IN ('text/csv', 'image/png', 'image/jpeg')),
  width INTEGER,                          -- of a picture, in pixels
  height INTEGER,
  bytes BLOB NOT NULL CHECK (length(bytes) <= 4000000),
  CHECK ((media = 'text/csv') = (width IS NULL) AND (width IS NULL) = (height IS NULL))
) STRICT;
