// Jobs begun on this machine, newest first. The bench keeps them in this browser as a list of
// {address, part, symptom, when}; nothing leaves it. Without this file the list is not shown.
"use strict";
const shown = document.getElementById("jobs");
let jobs = [];
try {
  jobs = JSON.parse(localStorage.getItem("pinfolio-jobs")) ?? [];
} catch {
  // Nothing kept, or the browser keeps nothing.
}
const ours = (job) => typeof job?.address === "string" && /^\/(?![/\\])/.test(job.address) && job.part;
const list = Array.isArray(jobs) ? jobs.filter(ours).sort((a, b) => String(b.when).localeCompare(String(a.when))) : [];

for (const job of list.slice(0, 5)) {
  const link = document.createElement("a");
  link.href = job.address;
  const picture = document.querySelector(`[data-symptom="${CSS.escape(job.symptom ?? "")}"] svg`);
  if (picture) link.append(picture.cloneNode(true));
  const name = document.createElement("b");
  name.textContent = [job.part, job.symptom].filter(Boolean).join(", ");
  const when = document.createElement("span");
  when.className = "small quiet";
  const day = new Date(job.when);
  when.textContent = Number.isNaN(day.getTime()) ? "" : day.toLocaleString([], { dateStyle: "medium", timeStyle: "short" });
  link.append(name, when);
  const line = document.createElement("li");
  line.append(link);
  shown.querySelector("ul").append(line);
}
shown.hidden = list.length === 0;
