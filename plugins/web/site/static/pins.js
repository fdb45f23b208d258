// The table of pins: narrows as one types, and a pin of the package lights its line and the reverse.
// Without this file the form is answered by the server.
"use strict";
const rows = [...document.querySelectorAll(".pins tbody tr")];
const links = [...document.querySelectorAll("a[data-pin]")];

for (const link of links) {
  for (const [event, lit] of [["mouseenter", true], ["mouseleave", false], ["focus", true], ["blur", false]]) {
    link.addEventListener(event, () => light(link.dataset.pin, lit));
  }
}

function light(pin, lit) {
  document.getElementById(`pin${pin}`)?.classList.toggle("lit", lit);
  for (const link of links) if (link.dataset.pin === pin) link.classList.toggle("lit", lit);
}

const words = document.getElementById("words");
if (words) {
  const [role, stage, count] = ["role", "stage", "count"].map((name) => document.getElementById(name));
  words.form.querySelector("button").hidden = true;
  words.addEventListener("input", narrow);
  words.addEventListener("keydown", (event) => {
    if (event.key !== "Enter") return;
    event.preventDefault(); // one pin left: its card
    const left = rows.filter((row) => !row.hidden);
    if (left.length === 1) left[0].querySelector("a").click();
  });
  role.addEventListener("change", narrow);
  stage.addEventListener("change", narrow);

  function narrow() {
    const wanted = words.value.toLowerCase().split(/\s+/).filter(Boolean);
    let left = 0;
    for (const row of rows) {
      const { words: has, role: own, stage: group } = row.dataset;
      const fits = wanted.every((word) => has.includes(` ${word}`)) && ["", own].includes(role.value) && ["", group].includes(stage.value);
      row.hidden = !fits;
      left += fits ? 1 : 0;
    }
    const whole = left === rows.length;
    count.textContent = whole ? "" : left ? `${left} of ${rows.length} pins` : "No pin has all of this.";
  }
}
