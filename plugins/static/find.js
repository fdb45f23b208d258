// The search box: "/" goes to it, and what is found shows while one types. Works without this file.
"use strict";
const form = document.querySelector("form.ask");
const box = form.querySelector("input");
const found = document.createElement("ul");
found.className = "found-so-far";
found.setAttribute("aria-live", "polite");
found.hidden = true;
form.append(found);

document.addEventListener("keydown", (event) => {
  const typing = event.target.closest("input, textarea, select");
  if (event.key === "/" && !typing && !event.ctrlKey && !event.metaKey) {
    event.preventDefault();
    box.focus();
    box.select();
  } else if (event.key === "Escape" && !found.hidden) {
    found.hidden = true;
    box.focus();
  }
});

let waiting = 0;
let asked = 0;
box.addEventListener("input", () => {
  clearTimeout(waiting);
  waiting = setTimeout(ask, 150);
});

async function ask() {
  const text = box.value.trim();
  const turn = ++asked;
  if (text.length < 2) {
    found.hidden = true;
    return;
  }
  try {
    const answer = await fetch(`${form.action}.json?q=${encodeURIComponent(text)}`);
    if (!answer.ok || turn !== asked) return;
    show(await answer.json());
  } catch {
    found.hidden = true; // no answer: the button still works
  }
}

function show(answer) {
  const chip = form.action.replace(/\/find$/, "/chip/");
  const name = (part) => encodeURIComponent(part).replaceAll(".", "%2E");
  const lines = [
    ...answer.chips.slice(0, 5).map((c) => [`${chip}${name(c.part)}`, `${c.part}, ${c.kind}`]),
    ...answer.pins
      .slice(0, 5)
      .map((p) => [`${chip}${name(p.part)}/${p.pin}`, `${p.part} pin ${p.pin} ${p.symbol}: ${p.function}`]),
  ];
  found.replaceChildren(
    ...lines.map(([address, words]) => {
      const link = document.createElement("a");
      link.href = address;
      link.textContent = words;
      const line = document.createElement("li");
      line.append(link);
      return line;
    }),
  );
  found.hidden = lines.length === 0;
}
