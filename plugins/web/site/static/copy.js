// Buttons that copy a text of the page; without a clipboard they stay hidden.
(() => {
  if (!navigator.clipboard) return;
  for (const button of document.querySelectorAll("button[data-copy]")) {
    const usual = button.textContent;
    button.hidden = false;
    button.addEventListener("click", async () => {
      await navigator.clipboard.writeText(document.getElementById(button.dataset.copy).textContent);
      button.textContent = "Copied";
      setTimeout(() => { button.textContent = usual; }, 2000);
    });
  }
})();
