// The list of parts: while one types, only the lines that say every word are left, in the part
// number, another marking or what the chip is. Spaces, dashes and dots in a marking do not matter,
// and ? stands for any one character. Works without a server; without this file the list is simply
// whole.
"use strict";
const narrowing = document.querySelector("p.narrow");
const typed = narrowing.querySelector("input");
const told = narrowing.querySelector("output");
const plain = (text) => text.normalize("NFKC").toUpperCase().replaceAll("\u039c", "U");
const bare = (text) => plain(text).replace(/[^\p{L}\p{N}?]/gu, "");
const lines = [...document.querySelectorAll("#parts tbody tr")].map((row) => ({
  row,
  words: plain(row.textContent),
  markings: row.querySelector("th").textContent.split(/ also marked |, /).map(bare),
}));
narrowing.hidden = false;

typed.addEventListener("input", narrow);
narrow();

function narrow() {
  const words = plain(typed.value).split(/\s+/).filter(Boolean);
  let left = 0;
  for (const { row, words: said, markings } of lines) {
    const fits = words.every((word) => said.includes(word) || markings.some((one) => holds(one, bare(word))));
    row.hidden = !fits;
    left += fits ? 1 : 0;
  }
  told.textContent = words.length ? `${left} of ${lines.length}` : "";
}

function holds(marking, key) {
  if (key.replaceAll("?", "") === "") return false;
  for (let start = 0; start + key.length <= marking.length; start++) {
    if ([...key].every((sign, at) => sign === "?" || sign === marking[start + at])) return true;
  }
  return false;
}
