// Keep the list of jobs begun in this browser: [{address, part, symptom, when}], newest first.
(() => {
  const key = "pinfolio-jobs", most = 8;
  const job = document.querySelector(".job");
  if (!job || !(location.search.length > 1)) return;
  try {
    const kept = JSON.parse(localStorage.getItem(key) || "[]");
    const { address, part, symptom } = job.dataset;
    const others = (Array.isArray(kept) ? kept : []).filter(
      (one) => one.part !== part || one.symptom !== symptom,
    );
    const now = { address, part, symptom, when: new Date().toISOString() };
    localStorage.setItem(key, JSON.stringify([now, ...others].slice(0, most)));
  } catch {
    // A browser may refuse to keep anything: the address of the page is the job all the same.
  }
})();
