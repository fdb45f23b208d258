"""Rules of reading a chip file, before the whole chip is known."""

from __future__ import annotations

from .example import expect_pulses, write_pin
from .rule import reading_rule

reading_rule(
    "file-unreadable",
    faults=("", "yaml"),
    title="The file is UTF-8 text in YAML, with each key once in a map.",
    why="Nothing can be read from another file, and of two equal keys one would be lost.",
    fix="Save the file as UTF-8, and remove one of two equal keys.",
    bad="summary: First wording.\nsummary: Second wording.",
    good="summary: Second wording.",
)
reading_rule(
    "blank",
    title="No key is left without a value.",
    why="A blank is a value that is not known yet.",
    fix="Fill it in from the data sheet, or remove the key.",
    bad="maker:",
    good="maker: Tannhof Halbleiter",
)
reading_rule(
    "key-missing",
    faults=("missing",),
    title="Every entry has the keys it needs.",
    why="Without this key the entry says too little to be of use on a pin card.",
    fix="Add the key with its value.",
    bad="package: {family: SIP}",
    good="package: {family: SIP, pins: 4}",
)
reading_rule(
    "key-unknown",
    faults=("extra_forbidden",),
    title="Every key is one that the file format has.",
    why="An unknown key is a slip; the value under it would never be shown.",
    fix="Correct the spelling, or move the value to a key of the format.",
    bad="markngs: [QZ1000N]",
    good="markings: [QZ1000N]",
)
reading_rule(
    "word-unknown",
    faults=("literal_error", "union_tag_invalid"),
    title="Kinds, roles and the like are words of the vocabulary.",
    why="Each is spelt one way, so that a search for one finds all.",
    fix="Choose one of the words that the message lists.",
    bad="kind: jungel",
    good="kind: jungle",
)
reading_rule(
    "quantity-unreadable",
    faults=("quantity",),
    title="A quantity is a number with its unit and a decimal point.",
    why="A number without its unit, or with a comma, can be read in two ways; one is wrong.",
    fix="Write the number with a point and its unit: 8.0 V.",
    bad="supplies: [{name: VCC, pins: [1], voltage: '8,0'}]",
    good="supplies: [{name: VCC, pins: [1], voltage: 8.0 V}]",
)
reading_rule(
    "waveform-shape",
    faults=("waveform",),
    title="A waveform is a shape that can be drawn.",
    why="An impossible shape sends somebody looking for a fault that is not there.",
    fix="Correct the level, the time or the count that the message names.",
    bad=write_pin(4, expect_pulses("4 V", "low: 6 V, high: 2 V, duty: 50 %")),
    good=write_pin(4, expect_pulses("4 V", "low: 2 V, high: 6 V, duty: 50 %")),
)
reading_rule(
    "value-unreadable",
    title="Every value is of the type that its key takes.",
    why="A value of another type cannot be used.",
    fix="Write the value as the message shows it.",
    bad="package: {family: SIP, pins: four}",
    good="package: {family: SIP, pins: 4}",
)
