-- The tables of a folio. Numbers are in the unit their column's name ends in.
-- `chip.document` is the whole chip, and what models are read back from; every other table says
-- the same again in columns, for asking and browsing. A column `chip` holds a part number.

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
  markings TEXT NOT NULL,                 -- the other markings, for word search
  document TEXT NOT NULL CHECK (json_valid(document))
) STRICT;

-- Everything that may be printed on a package: the part number and the other markings.
CREATE TABLE marking (
  chip TEXT NOT NULL REFERENCES chip (part),
  text TEXT NOT NULL,
  key TEXT NOT NULL CHECK (key <> ''),
  PRIMARY KEY (chip, text)
) STRICT;

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
  id TEXT NOT NULL,
  kind TEXT NOT NULL,
  title TEXT NOT NULL,
  revision TEXT,
  date TEXT,
  PRIMARY KEY (chip, id)
) STRICT;

CREATE TABLE condition (
  chip TEXT NOT NULL REFERENCES chip (part),
  name TEXT NOT NULL,
  means TEXT NOT NULL,
  PRIMARY KEY (chip, name)
) STRICT;

CREATE TABLE block (
  chip TEXT NOT NULL REFERENCES chip (part),
  id TEXT NOT NULL,
  name TEXT NOT NULL,
  PRIMARY KEY (chip, id)
) STRICT;

CREATE TABLE block_end (
  chip TEXT NOT NULL,
  block TEXT NOT NULL,
  direction TEXT NOT NULL CHECK (direction IN ('input', 'output', 'need')),
  endpoint TEXT NOT NULL,                 -- 'pin 9', or the id of a block or node
  FOREIGN KEY (chip, block) REFERENCES block (chip, id)
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

CREATE TABLE expectation (
  chip TEXT NOT NULL REFERENCES chip (part),
  pin INTEGER REFERENCES pin (id),
  node TEXT,
  condition TEXT NOT NULL,
  dc_typ_v REAL,
  dc_min_v REAL,
  dc_max_v REAL,
  dc_stated INTEGER CHECK (dc_stated IN (0, 1)),  -- 0: the limits are assumed
  waveform_kind TEXT,
  vpp_v REAL,
  frequency_hz REAL,
  mean_v REAL,
  red_on_pin_ohm REAL,
  black_on_pin_ohm REAL,
  source TEXT NOT NULL,
  page INTEGER,
  CHECK ((pin IS NULL) <> (node IS NULL)),
  CHECK (dc_min_v <= dc_max_v),
  FOREIGN KEY (chip, node) REFERENCES node (chip, id),
  FOREIGN KEY (chip, condition) REFERENCES condition (chip, name),
  FOREIGN KEY (chip, source) REFERENCES source (chip, id)
) STRICT;

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

-- What a chip reads with every failure of the parts around it, worked out once; see
-- plugins/faultfinding/dictionary_bytes.py. A chip without a row is worked out when asked.
CREATE TABLE fault_dictionary (
  chip TEXT NOT NULL PRIMARY KEY REFERENCES chip (part),
  bytes BLOB NOT NULL
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
