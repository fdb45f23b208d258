// A button that prints the sheet; without this file the browser's own command does it.
"use strict";
const button = document.getElementById("print");
button.hidden = false;
button.addEventListener("click", () => window.print());
