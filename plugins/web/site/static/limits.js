// Say while one types whether a figure is within its limits. The server decides; this only hints.
// Fields carry data-low, data-high (SI units) and data-span (words); the unit is in NAME_unit.
// They are the stated limits: held against good sets, the figure is left to the server.
(() => {
  const powers = { "": 1, m: 1e-3, "µ": 1e-6, u: 1e-6, k: 1e3, K: 1e3, M: 1e6 };
  const written = /^([+-]?\d*[.,]?\d+)\s*(?:([mµukKM])?(V(?:p-?p)?|Hz|Ω|ohm)?)$/i;

  const unitOf = (field) => {
    const chosen = field.form.elements[`${field.name}_unit`];
    return chosen ? chosen.value : "";
  };

  const valueOf = (field) => {
    const found = written.exec(field.value.trim());
    if (!found) return NaN;
    const bare = !found[2] && !found[3];
    const prefix = bare ? unitOf(field).replace(/V.*|Hz|Ω/, "") : found[2] || "";
    return Number(found[1].replace(",", ".")) * (powers[prefix] ?? NaN);
  };

  const tell = (field, line, usual) => {
    line.classList.remove("good", "bad");
    const against = field.form.elements.expect;
    if (!field.value.trim() || (against && against.value === "observed")) {
      line.textContent = usual;
      return;
    }
    const value = valueOf(field);
    const low = Number(field.dataset.low), high = Number(field.dataset.high);
    if (Number.isNaN(value)) {
      line.textContent = usual;
    } else if (value >= low && value <= high) {
      line.textContent = `✓ right: within ${field.dataset.span}`;
      line.classList.add("good");
    } else {
      line.textContent = `✗ ${value < low ? "too low" : "too high"}: should be ${field.dataset.span}`;
      line.classList.add("bad");
    }
  };

  for (const field of document.querySelectorAll("input[data-low]")) {
    const line = field.form.querySelector(".live");
    if (!line) continue;
    const usual = line.textContent;
    line.setAttribute("role", "status");
    const update = () => tell(field, line, usual);
    field.addEventListener("input", update);
    if (field.form.elements.expect) field.form.elements.expect.addEventListener("change", update);
    for (const choice of field.form.querySelectorAll(`[name="${field.name}_unit"]`)) {
      choice.addEventListener("change", update);
    }
  }
})();
