-- What is asked of a folio, made after the rows are in.

CREATE UNIQUE INDEX chip_part_key ON chip (part_key);
CREATE INDEX chip_kind ON chip (kind COLLATE NOCASE);
CREATE INDEX chip_package ON chip (package COLLATE NOCASE);
CREATE INDEX chip_family ON chip (family COLLATE NOCASE);
CREATE INDEX chip_pin_count ON chip (pin_count);
CREATE INDEX chip_system_system ON chip_system (system COLLATE NOCASE, chip);
CREATE INDEX marking_key ON marking (key, chip);
CREATE INDEX pin_chip ON pin (chip);
CREATE INDEX note_chip ON note (chip, place);
CREATE INDEX note_date ON note (date);

-- VACUUM may renumber the rows of `chip`, and the word index refers to rows by their numbers.
VACUUM;

-- Datasette recognises a word index only when the table it is for stands in double quotes.
CREATE VIRTUAL TABLE chip_fts USING fts5 (
  part, markings, maker, kind, summary,
  content="chip", tokenize="unicode61 remove_diacritics 2"
);
INSERT INTO chip_fts (chip_fts) VALUES ('rebuild');

-- Sizes of rows are not kept: BM25 counts them again for the few rows that it ranks, and fourteen
-- bytes a pin are saved.
CREATE VIRTUAL TABLE pin_fts USING fts5 (
  symbol, function, role, blocks,
  content="pin", content_rowid="id", tokenize="unicode61 remove_diacritics 2", columnsize=0
);
INSERT INTO pin_fts (pin_fts) VALUES ('rebuild');

CREATE VIRTUAL TABLE block_fts USING fts5 (
  name,
  content="block", content_rowid="key", tokenize="unicode61 remove_diacritics 2", columnsize=0
);
INSERT INTO block_fts (block_fts) VALUES ('rebuild');

CREATE VIRTUAL TABLE note_fts USING fts5 (
  chip, place, part, symptom, failure, cure, text, kind, chassis,
  content="note", content_rowid="id", tokenize="unicode61 remove_diacritics 2"
);
INSERT INTO note_fts (note_fts) VALUES ('rebuild');

-- How many pins say a word: what a search may look up in full, and what a beginning can go on to.
CREATE TABLE word (
  word TEXT NOT NULL PRIMARY KEY,
  pins INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
CREATE VIRTUAL TABLE temp.pin_words USING fts5vocab (main, pin_fts, row);
INSERT INTO word SELECT term, doc FROM temp.pin_words;
DROP TABLE temp.pin_words;

-- What an answer can be kept to, with the number of chips that have it; of a role, of pins.
CREATE TABLE facet (
  name TEXT NOT NULL CHECK (name IN ('kind', 'package', 'system', 'role')),
  value TEXT NOT NULL,
  count INTEGER NOT NULL,
  PRIMARY KEY (name, value)
) STRICT, WITHOUT ROWID;
INSERT INTO facet
  SELECT 'kind', kind, count(*) FROM chip GROUP BY kind
  UNION ALL SELECT 'package', package, count(*) FROM chip GROUP BY package
  UNION ALL SELECT 'system', system, count(*) FROM chip_system GROUP BY system
  UNION ALL SELECT 'role', role, count(*) FROM pin GROUP BY role;

ANALYZE;
