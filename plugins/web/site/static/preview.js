// Reloads the page when the chip file behind it was saved. Only the preview sends this file.
"use strict";
const shown = document.documentElement.dataset.version;
setInterval(async () => {
  try {
    const answer = await fetch("/-/preview.json", { cache: "no-store" });
    const state = await answer.json();
    if (String(state.version) !== shown) location.reload();
  } catch {
    // The preview was stopped; the page stays as it is.
  }
}, 1000);
