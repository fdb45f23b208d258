// The search box: "/" goes to it, and what is found shows while one types. Works without this file.
"use strict";
const form = document.querySelector("form.ask");
const box = form.querySelector("input");
const found = document.createElement("div");
found.className = "found-so-far";
found.setAttribute("role", "region");
found.setAttribute("aria-label", "Found so far");
found.setAttribute("aria-live", "polite");
found.hidden = true;
form.append(found);

document.addEventListener("keydown", (event) => {
  const typing = event.target.closest("input, textarea, select");
  if (event.key === "/" && !typing && !event.ctrlKey && !event.metaKey && !event.altKey) {
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
    const answer = await fetch(`${form.action}.json?typing=1&q=${encodeURIComponent(text)}`);
    if (!answer.ok || turn !== asked) return;
    show(await answer.json());
  } catch {
    found.hidden = true; // no answer: the button still works
  }
}

const home = form.action.replace(/\/find$/, "");
const chip = (part) => `${home}/chip/${encodeURIComponent(part).replaceAll(".", "%2E")}`;
const phrase = (text) => `${form.action}?q=${encodeURIComponent(`"${text}"`)}`;
const place = (note) => (/^pin [0-9]+$/.test(note.at) ? `${chip(note.chip)}/${note.at.slice(4)}` : chip(note.chip));
const on = (shared) => `${shared.name} (${shared.chips} ${shared.chips === 1 ? "chip" : "chips"})`;
const percent = (share) => (share < 0.01 ? "under 1 %" : `${Math.min(Math.round(100 * share), 99)} %`);

// Of each group of the answer: its heading, how many to show, and the address and words of one.
const groups = {
  chips: ["Chips", 5, (c) => [chip(c.part), `${c.part}, ${c.kind}${c.probability === null ? "" : `: ${percent(c.probability)}, ${c.match}`}`]],
  pins: ["Pins", 5, (p) => [`${chip(p.part)}/${p.pin}`, `${p.part} pin ${p.pin} ${p.symbol}: ${p.function}`]],
  functions: ["What pins of several chips do", 3, (f) => [phrase(f.name), on(f)]],
  blocks: ["Stages", 3, (b) => [phrase(b.name), on(b)]],
  notes: ["Notes of shops", 2, (n) => [place(n), `${n.chip} ${n.at}: ${n.says}`]],
};

function show(answer) {
  found.replaceChildren(
    ...answer.groups.flatMap((name) => {
      const [heading, most, line] = groups[name];
      const title = document.createElement("p");
      title.textContent = heading;
      const list = document.createElement("ul");
      list.append(...answer[name].slice(0, most).map((one) => entry(...line(one))));
      return [title, list];
    }),
  );
  found.hidden = answer.groups.length === 0;
}

function entry(address, words) {
  const link = document.createElement("a");
  link.href = address;
  link.textContent = words;
  const line = document.createElement("li");
  line.append(link);
  return line;
}
